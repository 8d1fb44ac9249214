//! A finding is closed only by a re-test that could have failed, taken after what was done against it.

mod book;

use book::{
    Book, closing, correct, finding, hypothesis, reading, repair, retest, row, site, touch,
};
use record::event::{Circumstance, Explanation, Finding, How, Outcome, Retest, Row, Site, Test};
use record::work::FindingWord;
use record::{Event, Id, VerdictWord};
use units::Celsius;

/// Reading off, finding, repair: what stands before a closing.
struct Before {
    book: Book,
    off: Id,
    finding: Id,
    repair: Id,
}

fn before(finding: Finding) -> Before {
    let mut book = Book::default();
    let off = book.accepted(reading("OL"));
    let finding = book.accepted(Event::Finding(finding));
    let repair = book.accepted(Event::Repair(repair()));
    Before {
        book,
        off,
        finding,
        repair,
    }
}

#[track_caller]
fn stands(book: &Book, word: FindingWord) {
    let work = book.work();
    assert_eq!(work.findings()[0].word, word);
}

#[test]
fn a_reading_off_before_and_right_after_the_repair_closes() {
    let mut b = before(finding());
    stands(&b.book, FindingWord::Open);
    let after = b.book.accepted(reading("2k2"));
    b.book
        .accepted(closing(&b.finding, &[&b.repair], &[retest(&b.off, &after)]));
    stands(&b.book, FindingWord::Mended);
}

#[test]
fn a_touch_alone_leaves_it_quiet_not_mended() {
    let mut book = Book::default();
    let off = book.accepted(reading("OL"));
    let open = book.accepted(Event::Finding(finding()));
    let touched = book.accepted(touch(How::Reseated));
    let after = book.accepted(reading("2k2"));
    book.accepted(closing(&open, &[&touched], &[retest(&off, &after)]));
    stands(&book, FindingWord::Quiet);
}

#[track_caller]
fn refused(book: &Book, event: Event, message: &str) {
    let refusal = book.refused(event);
    assert_eq!(refusal.message, message);
    assert!(refusal.help.ends_with('.'), "{}", refusal.help);
    stands(book, FindingWord::Open);
}

#[test]
fn a_closing_names_what_was_done_and_what_shows_it() {
    let mut b = before(finding());
    let after = b.book.accepted(reading("2k2"));
    refused(
        &b.book,
        closing(&b.finding, &[&b.repair], &[]),
        "The closing names no re-test.",
    );
    refused(
        &b.book,
        closing(&b.finding, &[], &[retest(&b.off, &after)]),
        "The closing names nothing that was done against the finding.",
    );
    refused(
        &b.book,
        closing(&b.off, &[&b.repair], &[retest(&b.off, &after)]),
        "Entry 1 is of the kind reading, and a finding is needed.",
    );
    let nobody = Id::new("nobody").expect("an id");
    refused(
        &b.book,
        closing(&b.finding, &[&nobody], &[retest(&b.off, &after)]),
        "There is no entry nobody that counts, and a repair, a turn or a touch is needed.",
    );
}

#[test]
fn a_reading_taken_before_the_repair_shows_nothing() {
    let mut book = Book::default();
    let off = book.accepted(reading("OL"));
    let open = book.accepted(Event::Finding(finding()));
    let early = book.accepted(reading("2k2"));
    let done = book.accepted(Event::Repair(repair()));
    refused(
        &book,
        closing(&open, &[&done], &[retest(&off, &early)]),
        "Entry 3 was taken before the remedy, entry 4: it says nothing of it.",
    );
    let late = book.accepted(reading("2k2"));
    refused(
        &book,
        closing(&open, &[&done], &[retest(&late, &late)]),
        "Entry 5 was taken after the remedy, entry 4.",
    );
    // One good re-test does not carry a bad one.
    refused(
        &book,
        closing(
            &open,
            &[&done],
            &[retest(&off, &late), retest(&off, &early)],
        ),
        "Entry 3 was taken before the remedy, entry 4: it says nothing of it.",
    );
}

#[test]
fn what_agreed_before_too_could_not_have_failed() {
    let mut b = before(finding());
    let after = b.book.accepted(reading("2k2"));
    let with = |was, is| Retest {
        was,
        is,
        ..retest(&b.off, &after)
    };
    refused(
        &b.book,
        closing(
            &b.finding,
            &[&b.repair],
            &[with(VerdictWord::Agrees, VerdictWord::Agrees)],
        ),
        "Entry 1 agreed before, too: a re-test of it could not have failed.",
    );
    refused(
        &b.book,
        closing(
            &b.finding,
            &[&b.repair],
            &[with(VerdictWord::Edge, VerdictWord::Agrees)],
        ),
        "Entry 1 was at the edge of its band, where chance alone may put the next one inside.",
    );
    for is in [
        VerdictWord::Disagrees,
        VerdictWord::Edge,
        VerdictWord::NoExpectation,
    ] {
        refused(
            &b.book,
            closing(
                &b.finding,
                &[&b.repair],
                &[with(VerdictWord::Disagrees, is)],
            ),
            "Entry 4 does not show that anything is better.",
        );
    }
}

#[test]
fn without_an_expectation_the_reading_itself_must_have_changed() {
    let mut b = before(finding());
    let same = b.book.accepted(reading(" OL"));
    let other = b.book.accepted(reading("2k2"));
    let with = |after: &Id| Retest {
        was: VerdictWord::NoExpectation,
        is: VerdictWord::NoExpectation,
        ..retest(&b.off, after)
    };
    refused(
        &b.book,
        closing(&b.finding, &[&b.repair], &[with(&same)]),
        "Entry 4 does not show that anything is better.",
    );
    b.book
        .accepted(closing(&b.finding, &[&b.repair], &[with(&other)]));
}

#[test]
fn a_retest_reads_the_same_thing_in_the_same_place() {
    let mut b = before(finding());
    let elsewhere = Row {
        site: Site {
            board: Some("A1".to_owned()),
            ..site()
        },
        ..row("2k2")
    };
    let others = [
        Row {
            red: "SET".to_owned(),
            ..row("2k2")
        },
        Row {
            kind: record::ReadingKind::Diode,
            ..row("0.6")
        },
        Row {
            lifted: vec!["R4.1".to_owned()],
            ..row("2k2")
        },
    ];
    let away = b.book.accepted(Event::Reading(elsewhere));
    refused(
        &b.book,
        closing(&b.finding, &[&b.repair], &[retest(&b.off, &away)]),
        "Entry 4 is about another unit or board than the finding.",
    );
    for (other, number) in others.into_iter().zip(5..) {
        let other = b.book.accepted(Event::Reading(other));
        refused(
            &b.book,
            closing(&b.finding, &[&b.repair], &[retest(&b.off, &other)]),
            &format!("Entries 1 and {number} do not read the same thing in the same way."),
        );
    }
}

#[test]
fn what_shows_late_warm_or_tapped_is_tested_so() {
    let shy = Finding {
        circumstance: Circumstance {
            intermittent: true,
            minutes: Some(40.0),
            celsius: Some(Celsius(45.0)),
            tapped: Some("J1".to_owned()),
        },
        ..finding()
    };
    let mut b = before(shy);
    let mut attempt = |minutes, celsius, tapped: Option<&str>| {
        let after = b.book.accepted(Event::Reading(Row {
            minutes,
            celsius,
            ..row("2k2")
        }));
        let retest = Retest {
            tapped: tapped.map(str::to_owned),
            ..retest(&b.off, &after)
        };
        let event = closing(&b.finding, &[&b.repair], &[retest]);
        b.book.work().check(&event).map_err(|r| r.message)
    };
    let warm = Some(Celsius(43.0));
    assert_eq!(
        attempt(None, warm, Some("J1")),
        Err("The finding showed 40 minutes after switch-on, and entry 4 was not taken as late as that.".to_owned())
    );
    assert_eq!(
        attempt(Some(20.0), warm, Some("J1")),
        Err("The finding showed 40 minutes after switch-on, and entry 5 was not taken as late as that.".to_owned())
    );
    assert_eq!(
        attempt(Some(40.0), Some(Celsius(21.0)), Some("J1")),
        Err(
            "The finding showed at 45 degrees, and entry 6 was not taken within 5 degrees of that."
                .to_owned()
        )
    );
    assert_eq!(
        attempt(Some(40.0), warm, None),
        Err("The finding showed when J1 was tapped, and entry 7 was taken without.".to_owned())
    );
    assert_eq!(attempt(Some(40.0), warm, Some("J1")), Ok(()));
}

#[test]
fn a_test_with_a_name_closes_when_it_failed_before() {
    let test = |passed| {
        Event::Test(Test {
            site: site(),
            name: "count to 999".to_owned(),
            passed,
            text: String::new(),
            circumstance: Circumstance::default(),
        })
    };
    let mut book = Book::default();
    let passed_before = book.accepted(test(true));
    let failed = book.accepted(test(false));
    let open = book.accepted(Event::Finding(finding()));
    let done = book.accepted(Event::Repair(repair()));
    let failed_again = book.accepted(test(false));
    let passed = book.accepted(test(true));
    refused(
        &book,
        closing(&open, &[&done], &[retest(&passed_before, &passed)]),
        "Entry 1 agreed before, too: a re-test of it could not have failed.",
    );
    refused(
        &book,
        closing(&open, &[&done], &[retest(&failed, &failed_again)]),
        "Entry 5 does not show that anything is better.",
    );
    book.accepted(closing(&open, &[&done], &[retest(&failed, &passed)]));
    stands(&book, FindingWord::Mended);
}

#[test]
fn a_corrected_reading_or_a_withdrawn_repair_opens_it_again() {
    let mut b = before(finding());
    let after = b.book.accepted(reading("2k2"));
    let shut = b
        .book
        .accepted(closing(&b.finding, &[&b.repair], &[retest(&b.off, &after)]));
    let withdrawal = b.book.accepted(correct(&b.repair, None));
    stands(&b.book, FindingWord::Open);
    let work = b.book.work();
    let (entry, refusal) = work.refused().next().expect("the closing no longer counts");
    assert_eq!(entry.id, shut);
    assert_eq!(
        refusal.message,
        "There is no entry e3 that counts, and a repair, a turn or a touch is needed."
    );
    // Withdrawing the withdrawal brings the repair back, and with it the closing.
    b.book.accepted(correct(&withdrawal, None));
    stands(&b.book, FindingWord::Mended);
}

#[test]
fn hypotheses_stand_before_the_probe_and_refuted_ones_stay() {
    let mut book = Book::default();
    let early = book.accepted(reading("OL"));
    let open = book.accepted(Event::Finding(finding()));
    let thought = book.accepted(hypothesis(&open));
    let outcome = |evidence: &[&Id]| {
        Event::Outcome(Outcome {
            hypothesis: thought.clone(),
            refuted: true,
            evidence: evidence.iter().map(|id| (*id).clone()).collect(),
            reason: "R4 reads 2k2 lifted".to_owned(),
        })
    };
    refused(
        &book,
        outcome(&[&early]),
        "Entry 1 was taken before the hypothesis was written as entry 3.",
    );
    refused(
        &book,
        outcome(&[]),
        "The outcome names no reading and no test.",
    );
    let probe = book.accepted(reading("2k2"));
    book.accepted(outcome(&[&probe]));
    book.accepted(hypothesis(&open));
    let work = book.work();
    let findings = work.findings_at("1", Some("A2"));
    let refuted: Vec<Option<bool>> = findings[0]
        .hypotheses
        .iter()
        .map(|h| h.outcome.map(|(_, o)| o.refuted))
        .collect();
    assert_eq!(refuted, [Some(true), None]);
    assert!(work.findings_at("2", None).is_empty());
}

#[test]
fn an_explanation_is_not_a_closing() {
    let mut book = Book::default();
    let open = book.accepted(Event::Finding(finding()));
    let explain = |reason: &str| {
        Event::Explanation(Explanation {
            finding: open.clone(),
            reason: reason.to_owned(),
        })
    };
    refused(&book, explain(" "), "No reason is given.");
    book.accepted(explain("the drawing shows R4 where a link is fitted"));
    stands(&book, FindingWord::Explained);
}
