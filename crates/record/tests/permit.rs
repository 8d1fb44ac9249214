//! Leave to power a unit: what grants it, what ends it, and in which order stages and hold points come.

mod book;

use book::{Book, DAY, MINUTE, moment, reading, repair, row, site, touch};
use record::event::{Circumstance, Row};
use record::event::{
    ColdCheck, Connection, ConnectionKind, Hold, How, Move, Override, PowerPermit, Site, Stand,
    Step, Test, Watch,
};
use record::work::Lapse;
use record::{Event, Id, ReadingKind};

fn check(name: &str, stand: Stand) -> ColdCheck {
    ColdCheck {
        name: name.to_owned(),
        stand,
    }
}

fn signed() -> Override {
    Override::new("J. Doe", "the part is not fitted").expect("a signature")
}

fn test(passed: bool) -> Event {
    Event::Test(Test {
        site: Site {
            unit: "1".to_owned(),
            board: None,
        },
        name: "earth bond".to_owned(),
        passed,
        text: "0.06 ohm".to_owned(),
        circumstance: Circumstance::default(),
    })
}

#[test]
fn a_permit_is_granted_by_checks_or_signatures_and_by_nothing_else() {
    let id = Id::new("e1").expect("an id");
    let owed = check("fuse", Stand::Owed);
    let failed = check("ohms +5V to 0V", Stand::Failed(id.clone()));
    let passed = check("earth bond", Stand::Passed(id));
    let refused = PowerPermit::grant("1", &[owed.clone(), passed.clone(), failed.clone()]);
    assert_eq!(refused, Err(vec![owed, failed]));
    assert_eq!(PowerPermit::grant("1", &[]), Err(vec![]));
    assert_eq!(
        PowerPermit::grant(" ", std::slice::from_ref(&passed)),
        Err(vec![])
    );
    let over = check("fuse", Stand::Overridden(signed()));
    let permit = PowerPermit::grant("1", &[passed, over]).expect("granted");
    let list: Vec<(&str, &str)> = permit.overrides().map(|(n, s)| (n, s.by())).collect();
    assert_eq!(list, [("fuse", "J. Doe")]);
    assert_eq!(Override::new("J. Doe", "  "), None);
    assert_eq!(Override::new("", "because"), None);
}

/// A book with a passed test and reading, and a permit that rests on both.
fn permitted(book: &mut Book) -> Id {
    let bond = book.accepted(test(true));
    let ohms = book.accepted(reading("1k"));
    let checks = [
        check("earth bond", Stand::Passed(bond)),
        check("ohms REF to 0V, above 500R", Stand::Passed(ohms)),
    ];
    book.accepted(Event::Permit(
        PowerPermit::grant("1", &checks).expect("granted"),
    ))
}

fn watch(permit: &Id, stage: u32, value: &str) -> Event {
    Event::Watch(Watch {
        unit: "1".to_owned(),
        permit: permit.clone(),
        stage,
        kind: ReadingKind::Volts,
        red: "+5V".to_owned(),
        black: Some("0V".to_owned()),
        value: value.to_owned(),
        low: 4.5,
        high: 5.5,
    })
}

fn hold(permit: &Id, stage: u32, readings: &[&Id], signed: Option<Override>) -> Event {
    Event::Hold(Hold {
        unit: "1".to_owned(),
        permit: permit.clone(),
        stage,
        readings: readings.iter().map(|id| (*id).clone()).collect(),
        minutes: 5.0,
        note: "nothing warm".to_owned(),
        signed,
    })
}

#[test]
fn what_a_permit_rests_on_must_be_there_passed_and_still_hold() {
    let mut book = Book::default();
    let grant = |id: &Id| {
        let checks = [check("earth bond", Stand::Passed(id.clone()))];
        Event::Permit(PowerPermit::grant("1", &checks).expect("granted"))
    };
    let nobody = Id::new("nobody").expect("an id");
    assert_eq!(
        book.refused(grant(&nobody)).message,
        "There is no entry nobody that counts, and a cold reading or a test is needed."
    );
    let failed = book.accepted(test(false));
    assert_eq!(
        book.refused(grant(&failed)).message,
        "The test of entry 1 was failed."
    );
    let other = book.accepted(Event::Reading(Row {
        site: Site {
            unit: "2".to_owned(),
            ..site()
        },
        ..row("1k")
    }));
    assert_eq!(
        book.refused(grant(&other)).message,
        "Entry 2 is not of unit 1."
    );
    let passed = book.accepted(test(true));
    book.accepted(touch(How::Reseated));
    assert_eq!(
        book.refused(grant(&passed)).message,
        "The check of entry 3 no longer holds. The board was pulled since (entry 4)."
    );
    let again = book.accepted(test(true));
    book.accepted(grant(&again));
}

#[test]
fn stages_come_one_after_the_other_and_only_past_their_hold_points() {
    let mut book = Book::default();
    let permit = permitted(&mut book);
    assert_eq!(
        book.refused(watch(&permit, 2, "5.0")).message,
        "Stage 2 is not open: stage 1 is."
    );
    assert_eq!(
        book.refused(hold(&permit, 1, &[], None)).message,
        "Nothing was read at stage 1."
    );
    let first = book.accepted(watch(&permit, 1, "4.98"));
    book.accepted(hold(&permit, 1, &[&first], None));
    assert_eq!(
        book.refused(hold(&permit, 1, &[&first], None)).message,
        "Stage 1 is not open: stage 2 is."
    );
    assert_eq!(
        book.refused(hold(&permit, 2, &[&first], None)).message,
        format!("Entry {} is of another stage or permit.", 4)
    );
    // Nothing could be read at the second: a signature opens the third.
    book.accepted(hold(&permit, 2, &[], Some(signed())));
    book.accepted(watch(&permit, 3, "4.6..5.4"));
    let work = book.work();
    let state = work.bring_up("1", moment(0)).expect("granted");
    assert_eq!((state.open_stage(), state.holds.len()), (3, 2));
    assert!(state.permit().is_some());
    assert_eq!(
        book.refused(watch(&permit, 3, "soup")).message,
        "`soup` cannot be read as volts."
    );
}

/// What ends a permit after these events, in the words of the lapse.
#[track_caller]
fn ends(events: Vec<Event>) -> Option<String> {
    let mut book = Book::default();
    permitted(&mut book);
    for event in events {
        book.accepted(event);
    }
    let work = book.work();
    let state = work.bring_up("1", moment(27 * DAY)).expect("granted");
    assert_eq!(state.permit().is_none(), state.lapse.is_some());
    state.lapse.map(|l| l.words())
}

#[test]
fn a_permit_ends_at_a_move_a_pulled_board_a_change_and_by_time() {
    let moved = |unit: &str| {
        Event::Move(Move {
            unit: unit.to_owned(),
            text: "to the cellar".to_owned(),
        })
    };
    let slot = |step| {
        Event::Connection(Connection {
            unit: "1".to_owned(),
            kind: ConnectionKind::Slot,
            name: "7".to_owned(),
            step,
            holds: Some("A9".to_owned()),
            note: String::new(),
            photo: None,
        })
    };
    assert_eq!(ends(vec![]), None);
    assert_eq!(ends(vec![moved("2"), slot(Step::Joined)]), None);
    let moved = ends(vec![moved("1")]);
    assert_eq!(
        moved.as_deref(),
        Some("The unit was moved since (entry 4).")
    );
    // Any board of the unit: the card was drawn for the whole of it.
    let pulled = ends(vec![slot(Step::Parted)]);
    assert_eq!(
        pulled.as_deref(),
        Some("The board was pulled since (entry 4).")
    );
    assert!(ends(vec![touch(How::Reseated)]).is_some());
    assert!(ends(vec![Event::Repair(repair())]).is_some());
    assert_eq!(ends(vec![touch(How::Cleaned)]), None);

    let mut book = Book::default();
    permitted(&mut book);
    let work = book.work();
    let at = |after: i64| work.bring_up("1", moment(after)).expect("granted").lapse;
    assert_eq!(at(3 * MINUTE + 28 * DAY - 1), None);
    assert_eq!(at(3 * MINUTE + 28 * DAY), Some(Lapse::Old { days: 28 }));
    assert_eq!(work.bring_up("2", moment(0)), None);
}

#[test]
fn a_crossed_limit_ends_the_permit_unless_it_was_mistyped() {
    for value in ["5.6", "4.4", "OL", "5.0..6.0"] {
        let mut book = Book::default();
        let permit = permitted(&mut book);
        let crossed = book.accepted(watch(&permit, 1, value));
        let refusal = book.refused(hold(&permit, 1, &[], Some(signed())));
        assert_eq!(
            refusal.message,
            "The permit of unit 1 has ended. A limit was crossed (entry 4)."
        );
        assert_eq!(book.work().crossed("1").len(), 1);
        // Withdrawn, it never was.
        book.accepted(book::correct(&crossed, None));
        book.accepted(watch(&permit, 1, "5.0"));
        // A new permit begins at the first stage.
        let second = {
            let bond = book.accepted(test(true));
            let checks = [check("earth bond", Stand::Passed(bond))];
            book.accepted(Event::Permit(
                PowerPermit::grant("1", &checks).expect("granted"),
            ))
        };
        assert_eq!(
            book.refused(watch(&permit, 1, "5.0")).message,
            "Unit 1 has a later permit."
        );
        book.accepted(watch(&second, 1, "5.0"));
    }
}
