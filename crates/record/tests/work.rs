//! What the fold makes of entries: corrections, trust and what ends it, trimmers, connections, readings.

mod board;
mod book;

use book::{Book, DAY, MINUTE, correct, finding, moment, reading, repair, row, site, touch};
use proptest::prelude::*;
use record::event::{
    Alteration, Connection, ConnectionKind, Dismissal, Face, Fate, FateWord, How, Lasts, Level,
    Machine, Mark, Move, Order, Photo, Point, Power, Recheck, Row, Ruling, Step, Touch, Trust,
    Turn, Unit,
};
use record::work::Lapse;
use record::{
    Counting, Digest, Event, Id, Known, Moment, Placement, ReadingKind, State, Work, parse_readings,
};
use sheet::meter::Meter;
use units::Celsius;

fn values(work: &Work) -> Vec<&str> {
    work.readings(None).map(|(_, r)| r.value.as_str()).collect()
}

#[test]
fn a_correction_names_what_it_corrects_and_edits_nothing() {
    let mut book = Book::default();
    let first = book.accepted(reading("1k"));
    book.accepted(reading("2k"));
    let correction = book.accepted(correct(&first, Some(reading("3k"))));
    let work = book.work();
    assert_eq!(values(&work), ["3k", "2k"]);
    assert_eq!(work.entries()[0].event, reading("1k"));
    assert!(matches!(work.counting(&first), Some(Counting::Replaced(by)) if by.id == correction));

    let withdrawn = book.accepted(correct(&first, None));
    assert_eq!(values(&book.work()), ["2k"]);
    // The withdrawal is withdrawn: the correction before it is in force again; then that one, too.
    book.accepted(correct(&withdrawn, None));
    assert_eq!(values(&book.work()), ["3k", "2k"]);
    book.accepted(correct(&correction, None));
    assert_eq!(values(&book.work()), ["1k", "2k"]);
}

#[test]
fn a_correction_keeps_the_kind_and_obeys_the_rules() {
    let mut book = Book::default();
    let first = book.accepted(reading("1k"));
    let other = book.refused(correct(&first, Some(Event::Finding(finding()))));
    assert_eq!(
        other.message,
        "Entry 1 is of the kind reading, and what is to count instead is not."
    );
    let nobody = Id::new("nobody").expect("an id");
    assert_eq!(
        book.refused(correct(&nobody, None)).message,
        "There is no entry nobody before it."
    );
    // What counts instead is judged like anything else.
    book.write(correct(&first, Some(reading("soup"))));
    let work = book.work();
    assert_eq!(values(&work), [""; 0]);
    let (_, refusal) = work.refused().next().expect("a refusal");
    assert_eq!(refusal.message, "`soup` cannot be read as ohms.");
}

fn power(on: bool, cycle: &str) -> Event {
    Event::Power(Power {
        unit: "1".to_owned(),
        on,
        cycle: cycle.to_owned(),
        note: String::new(),
        signed: None,
    })
}

fn trust(level: Level, lasts: Lasts) -> Event {
    Event::Trust(Trust {
        site: site(),
        level,
        test: "full cold card".to_owned(),
        lasts,
    })
}

fn slot(step: Step, holds: Option<&str>) -> Event {
    Event::Connection(Connection {
        unit: "1".to_owned(),
        kind: ConnectionKind::Slot,
        name: "7".to_owned(),
        step,
        holds: holds.map(str::to_owned),
        note: String::new(),
        photo: None,
    })
}

/// Number of the entry that ended trust after these events, if one did.
#[track_caller]
fn ends(lasts: Lasts, events: Vec<Event>) -> Option<u64> {
    let mut book = Book::default();
    book.accepted(slot(Step::Found, Some("A2")));
    book.accepted(trust(Level::Proven, lasts));
    for event in events {
        book.accepted(event);
    }
    let work = book.work();
    let standing = work.trust("1", "A2", moment(20 * DAY));
    assert_eq!(standing.trust.expect("said").1.level, Level::Proven);
    standing.lapse.map(|lapse| match lapse {
        Lapse::Moved(e)
        | Lapse::Pulled(e)
        | Lapse::Changed(e)
        | Lapse::Cycled(e)
        | Lapse::Crossed(e) => e.number,
        Lapse::Old { days } => panic!("{days} days are not old"),
    })
}

#[test]
fn trust_ends_at_a_move_a_pulled_board_a_repair_and_by_time() {
    let moved = |unit: &str| {
        Event::Move(Move {
            unit: unit.to_owned(),
            text: "to the cellar".to_owned(),
        })
    };
    let weeks = Lasts::Weeks;
    assert_eq!(ends(weeks, vec![]), None);
    assert_eq!(ends(weeks, vec![reading("1k"), moved("1")]), Some(4));
    assert_eq!(ends(weeks, vec![moved("2")]), None);
    // The slot ledger knows which board was pulled, though the entry does not say it.
    assert_eq!(ends(weeks, vec![slot(Step::Parted, None)]), Some(3));
    assert_eq!(
        ends(
            weeks,
            vec![slot(Step::Joined, Some("A3")), slot(Step::Parted, None)]
        ),
        None
    );
    assert_eq!(ends(weeks, vec![Event::Repair(repair())]), Some(3));
    assert_eq!(ends(weeks, vec![touch(How::Reseated)]), Some(3));
    assert_eq!(ends(weeks, vec![touch(How::Cleaned)]), None);
    assert_eq!(ends(weeks, vec![power(true, "1"), power(false, "1")]), None);
    assert_eq!(ends(Lasts::Cycle, vec![power(false, "1")]), Some(3));
}

#[test]
fn trust_is_unknown_then_earned_then_four_weeks_old() {
    let mut book = Book::default();
    let at = |work: &Work, after: i64| {
        let standing = work.trust("1", "A2", moment(after));
        (
            standing.trust.map(|(_, t)| t.level),
            standing.lapse.map(|l| l.words()),
        )
    };
    assert_eq!(at(&book.work(), 0), (None, None));
    book.accepted(trust(Level::Consistent, Lasts::Weeks));
    let work = book.work();
    let just_before = MINUTE + 28 * DAY - 1;
    assert_eq!(at(&work, just_before), (Some(Level::Consistent), None));
    assert_eq!(
        at(&work, just_before + 1),
        (
            Some(Level::Consistent),
            Some("It is 28 days old; four weeks is as long as it lasts.".to_owned())
        )
    );
    let nothing = Event::Trust(Trust {
        site: site(),
        level: Level::Proven,
        test: " ".to_owned(),
        lasts: Lasts::Weeks,
    });
    assert_eq!(
        book.refused(nothing).message,
        "Nothing is proven without a test."
    );
}

#[test]
fn powered_readings_hold_for_one_power_cycle_cold_ones_longer() {
    let mut book = Book::default();
    let cold = book.accepted(reading("1k"));
    book.accepted(power(true, "c1"));
    let volts = |cycle: Option<&str>| {
        Event::Reading(Row {
            state: State::Powered,
            kind: ReadingKind::Volts,
            cycle: cycle.map(str::to_owned),
            ..row("-12.1")
        })
    };
    let unnamed = book.accepted(volts(None));
    let named = book.accepted(volts(Some("c1")));
    let now = moment(DAY);
    let lapsed = |book: &Book, id: &Id| book.work().reading_lapse(id, now).map(|l| l.words());
    assert_eq!(book.work().cycle("1"), Some("c1"));
    assert_eq!(lapsed(&book, &unnamed), None);
    book.accepted(power(false, "c1"));
    assert_eq!(book.work().cycle("1"), None);
    for id in [&unnamed, &named] {
        assert_eq!(
            lapsed(&book, id).as_deref(),
            Some("It held for one power cycle, which has ended (entry 5).")
        );
    }
    assert_eq!(lapsed(&book, &cold), None);
    book.accepted(Event::Repair(repair()));
    assert_eq!(
        lapsed(&book, &cold).as_deref(),
        Some("The board was changed since (entry 6).")
    );
}

#[test]
fn a_trimmer_is_marked_before_it_is_turned_and_owes_what_it_disturbs() {
    let mut book = Book::default();
    let mark = |trimmer: &str, measured: &str| {
        Event::Mark(Mark {
            site: site(),
            trimmer: trimmer.to_owned(),
            position: "two o'clock, scribed".to_owned(),
            measured: measured.to_owned(),
            photo: None,
        })
    };
    let turn = |trimmer: &str, unmarked: Option<&str>| {
        Event::Turn(Turn {
            site: site(),
            trimmer: trimmer.to_owned(),
            position: "three o'clock".to_owned(),
            measured: "-12.0 V".to_owned(),
            reason: "rail was low".to_owned(),
            recheck: vec!["-12 V rail".to_owned(), "ripple".to_owned()],
            unmarked: unmarked.map(str::to_owned),
        })
    };
    let early = book.refused(turn("RV1", None));
    assert_eq!(
        early.message,
        "RV1 was not marked and measured before it is turned."
    );
    assert_eq!(
        book.refused(mark("RV1", "")).message,
        "RV1 is not marked and measured."
    );
    book.accepted(Event::Order(Order {
        site: site(),
        trimmers: vec!["RV1".to_owned(), "RV2".to_owned()],
    }));
    book.accepted(mark("RV1", "-11.6 V"));
    book.accepted(mark("RV2", "0.2 V"));
    book.accepted(turn("RV2", None));
    let turned = book.accepted(turn("RV1", None));
    book.accepted(turn("RV9", Some("it was found loose and moved by itself")));
    let recheck = |what: &str| {
        Event::Recheck(Recheck {
            turn: turned.clone(),
            what: what.to_owned(),
            result: "-12.0 V".to_owned(),
        })
    };
    assert_eq!(
        book.refused(recheck("hum")).message,
        "Entry 5 does not ask for `hum`."
    );
    book.accepted(recheck("-12 V rail"));
    let work = book.work();
    let list = work.trimmers("1", "A2");
    let seen: Vec<_> = list
        .iter()
        .map(|t| {
            (
                t.trimmer,
                t.place,
                t.marks.len(),
                t.out_of_order,
                t.owed.len(),
            )
        })
        .collect();
    // RV2 was set before RV1, which disturbs it: it is to be set again.
    assert_eq!(
        seen,
        [
            ("RV1", Some(1), 1, false, 1),
            ("RV2", Some(2), 1, true, 2),
            ("RV9", None, 0, false, 2)
        ]
    );
    assert!(work.trimmers("2", "A2").is_empty());
}

#[test]
fn a_slot_is_owed_until_it_is_joined_as_found_and_checked() {
    let mut book = Book::default();
    let owed = |book: &Book| {
        let work = book.work();
        let list = work.connections("1");
        (
            list[0].holds.map(str::to_owned),
            list[0].parted,
            list[0].is_owed(),
        )
    };
    let a2 = Some("A2".to_owned());
    book.accepted(slot(Step::Found, Some("A2")));
    assert_eq!(owed(&book), (a2.clone(), false, false));
    book.accepted(slot(Step::Parted, None));
    assert_eq!(owed(&book), (a2.clone(), true, true));
    book.accepted(slot(Step::Joined, None));
    assert_eq!(owed(&book), (a2.clone(), false, true));
    book.accepted(slot(Step::Checked, None));
    assert_eq!(owed(&book), (a2, false, false));
    // Two look-alike boards in each other's slots.
    book.accepted(slot(Step::Joined, Some("A3")));
    book.accepted(slot(Step::Checked, None));
    assert_eq!(owed(&book), (Some("A3".to_owned()), false, true));
}

#[test]
fn units_alterations_photographs_and_rulings() {
    let mut book = Book::default();
    let unit = |name: &str| {
        Event::Unit(Unit {
            name: name.to_owned(),
            serial: Some("0217".to_owned()),
            note: String::new(),
        })
    };
    book.accepted(Event::Machine(Machine {
        name: "Tamarisk 40".to_owned(),
    }));
    book.accepted(unit("1"));
    assert_eq!(
        book.refused(unit("1")).message,
        "There is a unit 1 already."
    );
    let altered = book.accepted(Event::Alteration(Alteration {
        site: site(),
        part: Some("F1".to_owned()),
        text: "fuse bridged by wire".to_owned(),
        photos: vec![],
    }));
    for fate in [FateWord::Undo, FateWord::Undone] {
        book.accepted(Event::Fate(Fate {
            alteration: altered.clone(),
            fate,
            reason: "a fuse belongs there".to_owned(),
        }));
    }
    let photo = book.accepted(Event::Photo(Photo {
        site: site(),
        face: Face::Component,
        caption: "as found".to_owned(),
        attachment: Digest([7; 32]),
    }));
    let point = |x| {
        Event::Point(Point {
            photo: photo.clone(),
            name: "TP3".to_owned(),
            x,
            y: 0.5,
        })
    };
    book.accepted(point(0.1));
    book.accepted(point(0.2));
    for outside in [-0.01, 1.01, f64::NAN] {
        assert_eq!(
            book.work().check(&point(outside)).unwrap_err().message,
            "TP3 lies outside the photograph."
        );
    }
    let ruling = |out, reason: &str| {
        Event::Ruling(Ruling {
            site: site(),
            suspect: "R4 open".to_owned(),
            out,
            reason: reason.to_owned(),
        })
    };
    assert_eq!(
        book.refused(ruling(true, "")).message,
        "No reason is given."
    );
    book.accepted(ruling(true, "measured lifted"));
    book.accepted(ruling(false, "measured the wrong one"));
    book.accepted(Event::Dismissal(Dismissal {
        board: "A2".to_owned(),
        state: State::Powered,
        kind: ReadingKind::Volts,
        red: "REF".to_owned(),
        black: "0V".to_owned(),
        reason: "the trimmer is set for each slot".to_owned(),
        one: None,
    }));
    let work = book.work();
    assert_eq!(work.machine(), Some("Tamarisk 40"));
    assert_eq!(work.units().len(), 1);
    assert_eq!(
        work.alterations("1")[0].fate.expect("a fate").1.fate,
        FateWord::Undone
    );
    assert_eq!(work.points(&photo).len(), 1);
    assert_eq!(work.points(&photo)[0].1.x, 0.2);
    assert_eq!(work.rulings("1", "A2").len(), 1);
    assert!(!work.rulings("1", "A2")[0].1.out);
    assert_eq!(work.dismissals("A2").len(), 1);
    assert_eq!(work.photos(None, Some("A2")).len(), 1);
    assert_eq!(work.history("1", Some("A2")).count(), 4);
    let unlogged = Event::Touch(Touch {
        site: site(),
        what: "J1".to_owned(),
        how: How::Reseated,
        reason: String::new(),
    });
    assert_eq!(book.refused(unlogged).message, "No reason is given.");
}

#[test]
fn entered_readings_make_a_readings_file() {
    let full = Row {
        place: Some(Placement::BoardOut),
        lifted: vec!["R1.1".to_owned(), "Q1.b".to_owned()],
        unplugged: vec!["J1".to_owned()],
        celsius: Some(Celsius(21.5)),
        minutes: Some(7.0),
        cycle: Some("c1".to_owned()),
        time: Some("after lunch".to_owned()),
        meter: Some("moving-coil".to_owned()),
        note: "a \"note\", with\nline ends".to_owned(),
        ..row("1k8..OL")
    };
    let mut book = Book::default();
    book.accepted(Event::Reading(full.clone()));
    book.accepted(reading("2k2"));
    let work = book.work();
    assert_eq!(work.boards_read(), ["A2"]);
    let sheet = board::sheet();
    let known = Known {
        sheet: &sheet,
        meters: Meter::shipped(),
        units: None,
    };
    let (readings, found) = parse_readings(&work.readings_file("A2"), "ledger", &known);
    assert_eq!(found, []);
    assert_eq!(readings.len(), 2);
    let first = &readings[0];
    assert_eq!(
        (first.written.as_str(), first.note.as_str()),
        ("1k8..OL", full.note.as_str())
    );
    assert_eq!(first.conditions.placement, full.place);
    assert_eq!(first.conditions.lifted.len(), 2);
    assert_eq!(first.conditions.unplugged.len(), 1);
    assert_eq!(first.conditions.celsius, full.celsius);
    assert_eq!(first.conditions.minutes, full.minutes);
    assert_eq!(first.conditions.cycle, full.cycle);
    assert_eq!(first.time, full.time);
    assert_eq!(first.meter, full.meter);
    assert_eq!(work.readings_file("A9").lines().count(), 1);
}

#[test]
fn moments_have_one_spelling() {
    // RFC 3339, section 5.8, gives the first two; the last two are the ends of the range and a leap day (from memory:
    // `date -u -d @951782400`).
    for (text, milliseconds) in [
        ("1985-04-12T23:20:50.520Z", 482_196_050_520),
        ("1970-01-01T00:00:00.000Z", 0),
        ("9999-12-31T23:59:59.999Z", 253_402_300_799_999),
        ("2000-02-29T00:00:00.000Z", 951_782_400_000),
    ] {
        let moment = Moment::new(milliseconds).expect("in range");
        assert_eq!(moment.to_string(), text);
        assert_eq!(Moment::read(text), Some(moment));
    }
    for wrong in [
        "1985-04-12",
        "1985-02-30T00:00:00.000Z",
        "1985-04-12T24:00:00.000Z",
        "1985-04-12T23:20:50.52Z",
        "+985-04-12T23:20:50.520Z",
    ] {
        assert_eq!(Moment::read(wrong), None, "{wrong}");
    }
    assert_eq!(
        (Moment::new(-1), Moment::new(253_402_300_800_000)),
        (None, None)
    );
}

/// Entries that refer to each other at random, some against the rules.
fn any_event(before: u64) -> impl Strategy<Value = Event> {
    let id = (1..=before.max(1)).prop_map(|n| Id::new(&format!("e{n}")).expect("an id"));
    let value = prop::sample::select(vec!["1k", "OL", "soup"]);
    let ids = prop::collection::vec(id.clone(), 0..2);
    prop_oneof![
        3 => value.prop_map(reading),
        1 => Just(Event::Finding(finding())),
        1 => Just(Event::Repair(repair())),
        2 => (id.clone(), prop::option::of(prop::sample::select(vec!["9k", "soup"])))
            .prop_map(|(id, v)| correct(&id, v.map(reading))),
        1 => id.clone().prop_map(|id| book::hypothesis(&id)),
        2 => (id.clone(), ids, id.clone(), id).prop_map(|(f, remedies, a, b)| {
            let remedies: Vec<&Id> = remedies.iter().collect();
            book::closing(&f, &remedies, &[book::retest(&a, &b)])
        }),
    ]
}

fn any_book() -> impl Strategy<Value = Book> {
    let one = (0u64..24).prop_flat_map(any_event);
    prop::collection::vec(one, 0..24).prop_map(|events| {
        let mut book = Book::default();
        for event in events {
            book.write(event);
        }
        book
    })
}

proptest! {
    /// However a ledger is handed over, the state is the same; and no entry is lost or changed on the way.
    #[test]
    fn the_fold_does_not_care_how_entries_arrive(book in any_book(), cuts in prop::collection::vec(0usize..24, 0..4)) {
        let whole = book.work();
        prop_assert_eq!(whole.entries(), &book.entries[..]);
        let mut parts = Work::default();
        let mut cuts = cuts;
        cuts.sort_unstable();
        for cut in cuts {
            // Overlapping hand-overs, as after a lost answer.
            parts.extend(book.entries[..cut.min(book.entries.len())].to_vec());
        }
        parts.extend(book.entries.clone());
        prop_assert_eq!(parts, whole);
    }

    /// A rule asked before appending and the fold afterwards say the same.
    #[test]
    fn what_check_says_the_fold_does(book in any_book(), next in any_event(24)) {
        let asked = book.work().check(&next);
        let mut longer = Book { entries: book.entries.clone() };
        let id = longer.write(next);
        let work = longer.work();
        let refused = work.refused().find(|(entry, _)| entry.id == id).map(|(_, refusal)| refusal.clone());
        prop_assert_eq!(asked.err(), refused);
    }
}
