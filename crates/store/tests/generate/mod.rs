//! Random events of every kind, and folders for tests.

#![allow(dead_code, reason = "each test file uses its own part")]

use std::path::PathBuf;

use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use record::event::*;
use record::{Digest, Draft, Event, Id, Moment, Placement, ReadingKind, State, VerdictWord};
use units::{Amps, Celsius, Volts};

/// Kinds that [`event`] knows; a correction among them holds one of the others.
pub const KINDS: usize = 35;

/// What events are made of.
#[derive(Clone, Debug)]
pub struct Pieces {
    texts: [String; 6],
    site: Site,
    ids: Vec<Id>,
    hashes: Vec<Digest>,
    numbers: [f64; 3],
    choices: [usize; 3],
    flags: [bool; 2],
}

impl Pieces {
    /// Pieces that are always the same, with everything in them that may be absent, or nothing.
    pub fn plain(attachment: Digest, full: bool) -> Self {
        Self {
            texts: [
                "R4",
                "as found, \"loose\"",
                "0V",
                "4k7",
                "two\nlines",
                "Größe 5 µF",
            ]
            .map(str::to_owned),
            site: Site {
                unit: "1".to_owned(),
                board: full.then(|| "A2".to_owned()),
            },
            ids: ["first", "second"]
                .map(|t| Id::new(t).expect("an id"))
                .to_vec(),
            hashes: vec![attachment],
            numbers: [0.1, -12.345, 1e-9],
            choices: [1, 2, 3],
            flags: [full, full],
        }
    }
}

/// Any pieces; of the attachments only these are named.
pub fn pieces(attached: Vec<Digest>) -> impl Strategy<Value = Pieces> {
    let text = || {
        prop_oneof![
            "[a-zA-Z0-9 ,;.\"\\\\]{0,12}",
            "\\PC{0,6}",
            Just("two\nlines\t".to_owned())
        ]
    };
    let texts = [text(), text(), text(), text(), text(), text()];
    let site =
        ("[a-z0-9]{1,3}", option::of("[A-Z][0-9]")).prop_map(|(unit, board)| Site { unit, board });
    let id = "[a-zA-Z0-9_.-]{1,12}".prop_map(|t| Id::new(&t).expect("an id"));
    let hashes = if attached.is_empty() {
        Just(Vec::new()).boxed()
    } else {
        vec(prop::sample::select(attached), 1..3).boxed()
    };
    let number = || any::<f64>().prop_filter("finite", |n| n.is_finite());
    (
        texts,
        site,
        vec(id, 2..4),
        hashes,
        [number(), number(), number()],
        [0usize..60, 0..60, 0..60],
        any::<[bool; 2]>(),
    )
        .prop_map(
            |(texts, site, ids, hashes, numbers, choices, flags)| Pieces {
                texts,
                site,
                ids,
                hashes,
                numbers,
                choices,
                flags,
            },
        )
}

/// Any event that names only these attachments.
pub fn any_event(attached: Vec<Digest>) -> impl Strategy<Value = Event> {
    (0..KINDS, pieces(attached)).prop_map(|(kind, pieces)| event(kind, &pieces))
}

/// Any drafts, each with an id of its own.
pub fn any_drafts(attached: Vec<Digest>, most: usize) -> impl Strategy<Value = Vec<Draft>> {
    let one = (any_event(attached), 0i64..4_000_000_000_000, "\\PC{0,8}");
    vec(one, 0..most).prop_map(|list| {
        let drafts = list.into_iter().enumerate();
        drafts
            .map(|(n, (event, time, author))| Draft {
                id: Id::new(&format!("id-{n}")).expect("an id"),
                time: Moment::new(time).expect("a moment"),
                author,
                event,
            })
            .collect()
    })
}

fn pick<T: Copy>(all: &[T], choice: usize) -> T {
    all[choice % all.len()]
}

/// An event of a kind.
pub fn event(kind: usize, p: &Pieces) -> Event {
    let [a, b, c, d, e, f] = p.texts.clone();
    let maybe = |text: &str| p.flags[0].then(|| text.to_owned());
    let site = p.site.clone();
    let id = p.ids[0].clone();
    let hash = p.hashes.first().copied();
    let circumstance = Circumstance {
        intermittent: p.flags[1],
        minutes: p.flags[0].then_some(p.numbers[0]),
        celsius: p.flags[1].then_some(Celsius(p.numbers[1])),
        tapped: maybe(&f),
    };
    let state = pick(&State::ALL, p.choices[0]);
    let measured = pick(&ReadingKind::ALL, p.choices[1]);
    match kind {
        0 => Event::Machine(Machine { name: a }),
        1 => Event::Unit(Unit {
            name: a,
            serial: maybe(&b),
            note: c,
        }),
        2 => Event::Condition(Condition {
            site,
            text: a,
            photos: p.hashes.clone(),
        }),
        3 => Event::Alteration(Alteration {
            site,
            part: maybe(&a),
            text: b,
            photos: p.hashes.clone(),
        }),
        4 => Event::Fate(Fate {
            alteration: id,
            fate: pick(&FateWord::ALL, p.choices[0]),
            reason: a,
        }),
        5 => Event::Connection(Connection {
            unit: a,
            kind: pick(&ConnectionKind::ALL, p.choices[0]),
            name: b,
            step: pick(&Step::ALL, p.choices[1]),
            holds: maybe(&c),
            note: d,
            photo: hash,
        }),
        6 => Event::Move(Move { unit: a, text: b }),
        7 => Event::Touch(Touch {
            site,
            what: a,
            how: pick(&How::ALL, p.choices[0]),
            reason: b,
        }),
        8 => Event::Repair(Repair {
            site,
            part: a,
            what: b,
            reason: c,
            symptom: d,
            kept: maybe(&e),
            reversible: p.flags[1],
            finding: p.flags[0].then_some(id),
            photos: p.hashes.clone(),
        }),
        9 => Event::Capacitor(Capacitor {
            site,
            part: a,
            volts: Volts(p.numbers[0]),
            amps: p.flags[0].then_some(Amps(p.numbers[1])),
            minutes: p.numbers[2],
            note: b,
        }),
        10 => Event::Order(Order {
            site,
            trimmers: vec![a, b],
        }),
        11 => Event::Mark(Mark {
            site,
            trimmer: a,
            position: b,
            measured: c,
            photo: hash,
        }),
        12 => Event::Turn(Turn {
            site,
            trimmer: a,
            position: b,
            measured: c,
            reason: d,
            recheck: vec![e],
            unmarked: maybe(&f),
        }),
        13 => Event::Recheck(Recheck {
            turn: id,
            what: a,
            result: b,
        }),
        14 => Event::Reading(Row {
            site,
            state,
            kind: measured,
            red: a,
            black: b,
            value: c,
            meter: maybe(&d),
            note: e,
            place: p.flags[1].then_some(pick(&Placement::ALL, p.choices[2])),
            lifted: vec![f.clone()],
            unplugged: vec![],
            celsius: circumstance.celsius,
            minutes: circumstance.minutes,
            cycle: maybe(&f),
            time: maybe("t"),
        }),
        15 => Event::Test(Test {
            site,
            name: a,
            passed: p.flags[0],
            text: b,
            circumstance,
        }),
        16 => Event::Trust(Trust {
            site,
            level: pick(&Level::ALL, p.choices[0]),
            test: a,
            lasts: pick(&Lasts::ALL, p.choices[1]),
        }),
        17 => Event::Finding(Finding {
            site,
            text: a,
            origin: if p.flags[1] {
                Origin::Hand
            } else {
                Origin::Verdict {
                    reading: p.flags[0].then_some(id),
                    text: b,
                }
            },
            circumstance,
        }),
        18 => Event::Hypothesis(Hypothesis {
            finding: id,
            text: a,
            predicts: b,
        }),
        19 => Event::Outcome(Outcome {
            hypothesis: id,
            refuted: p.flags[0],
            evidence: p.ids.clone(),
            reason: a,
        }),
        20 => Event::Explanation(Explanation {
            finding: id,
            reason: a,
        }),
        21 => Event::Closing(Closing {
            finding: id.clone(),
            remedies: p.ids.clone(),
            retests: vec![Retest {
                before: id,
                was: VerdictWord::Disagrees,
                after: p.ids[1].clone(),
                is: pick(
                    &[
                        VerdictWord::Agrees,
                        VerdictWord::Edge,
                        VerdictWord::NoExpectation,
                    ],
                    p.choices[0],
                ),
                tapped: maybe(&a),
            }],
            reason: b,
        }),
        22 => Event::Ruling(Ruling {
            site,
            suspect: a,
            out: p.flags[0],
            reason: b,
        }),
        23 => Event::Dismissal(Dismissal {
            board: a,
            state,
            kind: measured,
            red: b,
            black: c,
            reason: d,
            one: p.flags[0].then(|| OddOne {
                unit: p.texts[4].clone(),
                value: p.texts[5].clone(),
            }),
        }),
        24 => match hash {
            Some(attachment) => Event::Photo(Photo {
                site,
                face: pick(&Face::ALL, p.choices[0]),
                caption: a,
                attachment,
            }),
            None => Event::Note(Note { site, text: a }),
        },
        25 => Event::Point(Point {
            photo: id,
            name: a,
            x: p.numbers[0],
            y: p.numbers[1],
        }),
        26 => match hash {
            Some(attachment) => Event::File(File {
                site,
                name: a,
                caption: b,
                attachment,
            }),
            None => Event::Note(Note { site, text: b }),
        },
        27 => Event::Power(Power {
            unit: a,
            on: p.flags[0],
            cycle: b,
            note: c,
            signed: p.flags[1].then(|| signed(p)),
        }),
        28 => Event::Note(Note { site, text: a }),
        29 => {
            let other = p.choices[2] % (KINDS - 1);
            let other = if other < 29 { other } else { other + 1 };
            Event::Correction(Correction {
                entry: id,
                reason: a,
                instead: p.flags[0].then(|| Box::new(event(other, p))),
            })
        }
        30 => {
            let check = |name: String, stand| ColdCheck {
                name: format!("check {name}"),
                stand,
            };
            let passed = check(a, Stand::Passed(id));
            let signed = check(b, Stand::Overridden(signed(p)));
            let list = if p.flags[0] {
                vec![passed, signed]
            } else {
                vec![passed]
            };
            Event::Permit(PowerPermit::grant("1", &list).expect("all are passed or signed for"))
        }
        31 => Event::Watch(Watch {
            unit: a,
            permit: id,
            stage: p.choices[0] as u32,
            kind: measured,
            red: b,
            black: maybe(&c),
            value: d,
            low: p.numbers[0],
            high: p.numbers[1],
        }),
        32 => Event::Harmless(Harmless {
            capture: a,
            channel: b,
            difference: c,
            at: p.flags[0].then_some(p.numbers[0]),
            reason: d,
        }),
        33 => Event::Levels(Levels {
            unit: a,
            sheet: b,
            rows: c,
            row: p.choices[0] as u32,
            seen: format!("X=1 {d}"),
        }),
        _ => Event::Hold(Hold {
            unit: a,
            permit: id,
            stage: p.choices[0] as u32,
            readings: p.ids.clone(),
            minutes: p.numbers[0],
            note: b,
            signed: p.flags[0].then(|| signed(p)),
        }),
    }
}

fn signed(p: &Pieces) -> Override {
    let [a, b, ..] = &p.texts;
    Override::new(&format!("by {a}."), &format!("for {b}.")).expect("a name and a reason")
}

/// A reading of unit 1, board A2, that says its number.
pub fn reading(number: usize, author: &str) -> Draft {
    let row = Row {
        site: Site {
            unit: "1".to_owned(),
            board: Some("A2".to_owned()),
        },
        state: State::Cold,
        kind: ReadingKind::Ohms,
        red: "REF".to_owned(),
        black: "0V".to_owned(),
        value: format!("{number}"),
        meter: Some("bench-digital".to_owned()),
        note: String::new(),
        place: Some(Placement::BoardOut),
        lifted: Vec::new(),
        unplugged: Vec::new(),
        celsius: Some(Celsius(21.5)),
        minutes: None,
        cycle: None,
        time: None,
    };
    Draft {
        id: Id::new(&format!("{author}-{number}")).expect("an id"),
        time: Moment::new(1_709_287_200_000 + 1000 * number as i64).expect("a moment"),
        author: author.to_owned(),
        event: Event::Reading(row),
    }
}

/// A fresh, empty folder of a test's own.
pub fn folder(name: &str) -> PathBuf {
    let folder = PathBuf::from(option_env!("CARGO_TARGET_TMPDIR").unwrap_or("."))
        .join(format!("store-{}-{name}", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder can be made");
    folder
}
