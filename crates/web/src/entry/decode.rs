//! From the fields of a form to an event, by hand, kind by kind.

use store::record::event::{
    Alteration, Capacitor, Circumstance, Condition, Connection, ConnectionKind, Correction,
    Dismissal, Explanation, Face, Fate, FateWord, Harmless, How, Hypothesis, Lasts, Level, Levels,
    Mark, Move, Note, OddOne, Order, Outcome, Override, Point, Power, Recheck, Repair, Row, Ruling,
    Site, Step, Test, Touch, Trust, Turn,
};
use store::record::{Digest, Event, Id, Placement, ReadingKind, State, Work};

use crate::book::Unwritten;
use crate::form::Form;

type Made<T> = Result<T, Unwritten>;

/// The event that a form describes.
///
/// # Errors
/// With the field that cannot be used.
pub fn event(kind: &str, form: &Form, photos: &[Digest], work: &Work) -> Made<Event> {
    Ok(match kind {
        "reading" => Event::Reading(row(form)?),
        "condition" => Event::Condition(Condition {
            site: site(form),
            text: needed(form, "text", "what was seen")?,
            photos: photos.to_vec(),
        }),
        "alteration" => Event::Alteration(Alteration {
            site: site(form),
            part: form.line("part"),
            text: needed(form, "text", "what was altered")?,
            photos: photos.to_vec(),
        }),
        "fate" => Event::Fate(Fate {
            alteration: id(form, "alteration")?,
            fate: word(form, "fate", &FateWord::ALL, FateWord::word)?,
            reason: form.text("reason").to_owned(),
        }),
        "connection" => Event::Connection(Connection {
            unit: needed(form, "unit", "the unit")?,
            kind: word(form, "what", &ConnectionKind::ALL, ConnectionKind::word)?,
            name: needed(form, "name", "the name of the slot or cable")?,
            step: word(form, "step", &Step::ALL, Step::word)?,
            holds: form.line("holds"),
            note: form.text("note").to_owned(),
            photo: photos.first().copied(),
        }),
        "move" => Event::Move(Move {
            unit: needed(form, "unit", "the unit")?,
            text: needed(form, "text", "from where to where")?,
        }),
        "touch" => Event::Touch(Touch {
            site: site(form),
            what: needed(form, "what", "what is touched")?,
            how: word(form, "how", &How::ALL, How::word)?,
            reason: form.text("reason").to_owned(),
        }),
        "repair" => Event::Repair(Repair {
            site: site(form),
            part: needed(form, "part", "the part")?,
            what: needed(form, "what", "what came out and what went in")?,
            reason: form.text("reason").to_owned(),
            symptom: form.text("symptom").to_owned(),
            kept: form.line("kept"),
            reversible: form.is_ticked("reversible"),
            finding: maybe_id(form, "finding")?,
            photos: photos.to_vec(),
        }),
        "capacitor" => capacitor(form)?,
        "mark" => Event::Mark(Mark {
            site: site(form),
            trimmer: needed(form, "trimmer", "the trimmer")?,
            position: form.line("position").unwrap_or_default(),
            measured: form.line("measured").unwrap_or_default(),
            photo: photos.first().copied(),
        }),
        "turn" => Event::Turn(Turn {
            site: site(form),
            trimmer: needed(form, "trimmer", "the trimmer")?,
            position: needed(form, "position", "where it stands now")?,
            measured: needed(form, "measured", "what it sets reads now")?,
            reason: form.text("reason").to_owned(),
            recheck: each_line(form, "recheck"),
            unmarked: form.line("unmarked"),
        }),
        "order" => Event::Order(Order {
            site: site(form),
            trimmers: each_line(form, "trimmers"),
        }),
        "recheck" => Event::Recheck(Recheck {
            turn: id(form, "turn")?,
            what: needed(form, "what", "what was checked again")?,
            result: needed(form, "result", "what it reads")?,
        }),
        "test" => Event::Test(Test {
            site: site(form),
            name: form.line("name").unwrap_or_default(),
            passed: form.text("passed") == "yes",
            text: form.text("text").to_owned(),
            circumstance: circumstance(form)?,
        }),
        "trust" => Event::Trust(Trust {
            site: site(form),
            level: word(form, "level", &Level::ALL, Level::word)?,
            test: form.text("test").to_owned(),
            lasts: word(form, "lasts", &Lasts::ALL, Lasts::word)?,
        }),
        "hypothesis" => Event::Hypothesis(Hypothesis {
            finding: id(form, "finding")?,
            text: needed(form, "text", "what it might be")?,
            predicts: form.text("predicts").to_owned(),
        }),
        "outcome" => Event::Outcome(Outcome {
            hypothesis: id(form, "hypothesis")?,
            refuted: form.text("refuted") == "yes",
            evidence: ids(form, "evidence")?,
            reason: form.text("reason").to_owned(),
        }),
        "explanation" => Event::Explanation(Explanation {
            finding: id(form, "finding")?,
            reason: form.text("reason").to_owned(),
        }),
        "ruling" => Event::Ruling(Ruling {
            site: site(form),
            suspect: form.line("suspect").unwrap_or_default(),
            out: form.text("out") == "yes",
            reason: form.text("reason").to_owned(),
        }),
        "dismissal" => Event::Dismissal(Dismissal {
            board: needed(form, "board", "the board")?,
            state: word(form, "state", &State::ALL, State::word)?,
            kind: word(form, "measured", &ReadingKind::ALL, ReadingKind::word)?,
            red: needed(form, "red", "where the red lead was")?,
            black: needed(form, "black", "where the black lead was")?,
            reason: form.text("reason").to_owned(),
            one: match (form.line("unit"), form.line("value")) {
                (Some(unit), Some(value)) => Some(OddOne { unit, value }),
                _ => None,
            },
        }),
        "harmless" => Event::Harmless(Harmless {
            capture: needed(form, "capture", "the recording")?,
            channel: needed(form, "channel", "the channel")?,
            difference: needed(form, "difference", "the kind of difference")?,
            at: number(form, "at")?,
            reason: form.text("reason").to_owned(),
        }),
        "levels" => Event::Levels(Levels {
            unit: needed(form, "unit", "the unit")?,
            sheet: needed(form, "sheet", "the gate sheet")?,
            rows: form.line("rows").unwrap_or_default(),
            row: number(form, "row")?.map_or(0, |n| n as u32),
            seen: needed(form, "seen", "a net and its level, such as BUSY=0")?,
        }),
        "point" => Event::Point(Point {
            photo: id(form, "photo")?,
            name: needed(form, "name", "what is there")?,
            x: number(form, "x")?.unwrap_or(-1.0),
            y: number(form, "y")?.unwrap_or(-1.0),
        }),
        "power" => Event::Power(Power {
            unit: needed(form, "unit", "the unit")?,
            on: form.text("on") == "yes",
            cycle: needed(form, "cycle", "the name of the power cycle")?,
            note: form.text("note").to_owned(),
            signed: Override::new(form.text("by"), form.text("reason")),
        }),
        "note" => Event::Note(Note {
            site: site(form),
            text: needed(form, "text", "the remark")?,
        }),
        "correction" => correction(form, work)?,
        _ => {
            let message = format!("No entry of the kind `{kind}` is written here.");
            return Err(Unwritten::field(
                "kind",
                message,
                "Use the forms of the pages.",
            ));
        }
    })
}

/// The unit and board that a form names.
pub fn site(form: &Form) -> Site {
    Site {
        unit: form.line("unit").unwrap_or_default(),
        board: form.line("board"),
    }
}

/// The side of the board; other if it says none.
pub fn face(form: &Form) -> Face {
    let found = Face::ALL
        .into_iter()
        .find(|f| f.word() == form.text("face"));
    found.unwrap_or(Face::Other)
}

/// A reading.
pub fn row(form: &Form) -> Made<Row> {
    let words = |name: &str| -> Vec<String> {
        let parts = form.text(name).split_whitespace();
        parts.map(str::to_owned).collect()
    };
    Ok(Row {
        site: Site {
            unit: needed(form, "unit", "the unit that was read")?,
            board: Some(needed(form, "board", "the board that was read")?),
        },
        state: word(form, "state", &State::ALL, State::word)?,
        kind: word(form, "measured", &ReadingKind::ALL, ReadingKind::word)?,
        red: needed(form, "red", "where the red lead was")?,
        black: needed(form, "black", "where the black lead was")?,
        value: needed(form, "value", "the value, or OL if it was over range")?,
        meter: form.line("meter"),
        note: form.line("note").unwrap_or_default(),
        place: match form.text("place") {
            "" => None,
            _ => Some(word(form, "place", &Placement::ALL, Placement::word)?),
        },
        lifted: words("lifted"),
        unplugged: words("unplugged"),
        celsius: number(form, "celsius")?.map(celsius),
        minutes: number(form, "minutes")?,
        cycle: form.line("cycle"),
        time: form.line("time"),
    })
}

fn celsius(degrees: f64) -> store::Celsius {
    store::Celsius(degrees)
}

/// Under which circumstances something shows.
pub fn circumstance(form: &Form) -> Made<Circumstance> {
    Ok(Circumstance {
        intermittent: form.is_ticked("intermittent"),
        minutes: number(form, "minutes")?,
        celsius: number(form, "celsius")?.map(celsius),
        tapped: form.line("tapped"),
    })
}

fn capacitor(form: &Form) -> Made<Event> {
    needed(form, "volts", "what voltage is across it")?;
    needed(form, "minutes", "what time has passed since the start")?;
    let volts = quantity(form, "volts", ReadingKind::Volts)?;
    Ok(Event::Capacitor(Capacitor {
        site: site(form),
        part: needed(form, "part", "the capacitor")?,
        volts: store::Volts(volts.unwrap_or(f64::NAN)),
        amps: quantity(form, "amps", ReadingKind::Amps)?.map(store::Amps),
        minutes: number(form, "minutes")?.unwrap_or(0.0),
        note: form.text("note").to_owned(),
    }))
}

/// A correction withdraws an entry, or puts a reading or a text in its place.
fn correction(form: &Form, work: &Work) -> Made<Event> {
    let entry = id(form, "entry")?;
    let instead = match form.text("instead") {
        "" => None,
        _ => match work.event(&entry) {
            Some(Event::Reading(before)) => {
                let value = form.line("value").unwrap_or_else(|| before.value.clone());
                let note = form.line("note").unwrap_or_else(|| before.note.clone());
                Some(Event::Reading(Row {
                    value,
                    note,
                    ..before.clone()
                }))
            }
            Some(Event::Condition(before)) => Some(Event::Condition(Condition {
                text: needed(form, "text", "what was seen")?,
                ..before.clone()
            })),
            Some(Event::Note(before)) => Some(Event::Note(Note {
                text: needed(form, "text", "the remark")?,
                ..before.clone()
            })),
            _ => {
                let message = "An entry of this kind is withdrawn and written anew.";
                return Err(Unwritten::field(
                    "instead",
                    message,
                    "Withdraw it, and write another.",
                ));
            }
        },
    };
    Ok(Event::Correction(Correction {
        entry,
        reason: form.text("reason").to_owned(),
        instead: instead.map(Box::new),
    }))
}

/// A field that must say something.
pub fn needed(form: &Form, field: &'static str, what: &str) -> Made<String> {
    form.line(field).filter(|t| !t.is_empty()).ok_or_else(|| {
        Unwritten::field(
            field,
            format!("It is not said {}.", asked(what)),
            format!("Write {what}."),
        )
    })
}

/// `what was seen` stays; `the unit` becomes `which is the unit`.
fn asked(what: &str) -> String {
    match what.split(' ').next() {
        Some("what" | "where" | "from") => what.to_owned(),
        _ => format!("which is {what}"),
    }
}

/// One of the words of a list.
fn word<T: Copy>(
    form: &Form,
    field: &'static str,
    all: &[T],
    of: fn(T) -> &'static str,
) -> Made<T> {
    let text = form.text(field);
    all.iter().copied().find(|w| of(*w) == text).ok_or_else(|| {
        let words: Vec<&str> = all.iter().map(|w| of(*w)).collect();
        let message = match text {
            "" => format!("The field {field} is empty."),
            _ => format!("`{text}` is none of the words for {field}."),
        };
        Unwritten::field(
            field,
            message,
            format!("Choose one of {}.", words.join(", ")),
        )
    })
}

/// A number, if the field says any.
fn number(form: &Form, field: &'static str) -> Made<Option<f64>> {
    let text = form.text(field).replace(',', ".");
    if text.is_empty() {
        return Ok(None);
    }
    let read: Option<f64> = text.parse().ok().filter(|n: &f64| n.is_finite());
    read.map(Some).ok_or_else(|| {
        let message = format!("`{text}` is no number for {field}.");
        Unwritten::field(field, message, "Write a number, or leave it empty.")
    })
}

/// A quantity as it is written at the bench, `12m` or `4u7`, if the field says any.
fn quantity(form: &Form, field: &'static str, kind: ReadingKind) -> Made<Option<f64>> {
    let text = form.text(field).replace(',', ".");
    if text.is_empty() {
        return Ok(None);
    }
    bench::entered::written(&text, kind)
        .map(Some)
        .ok_or_else(|| {
            let message = format!("`{text}` cannot be read as {field}.");
            Unwritten::field(field, message, "Write a value such as 25, 12m or 350u.")
        })
}

/// The lines of a field, without empty ones and without saying one twice.
fn each_line(form: &Form, field: &str) -> Vec<String> {
    let mut list: Vec<String> = Vec::new();
    for line in form.text(field).lines().map(str::trim) {
        if !line.is_empty() && !list.iter().any(|l| l == line) {
            list.push(line.to_owned());
        }
    }
    list
}

/// The name of an entry.
pub fn id(form: &Form, field: &'static str) -> Made<Id> {
    maybe_id(form, field)?.ok_or_else(|| {
        let message = format!("The field {field} names no entry.");
        Unwritten::field(field, message, "Choose one on the page.")
    })
}

fn maybe_id(form: &Form, field: &'static str) -> Made<Option<Id>> {
    let Some(text) = form.line(field) else {
        return Ok(None);
    };
    Id::new(&text).map(Some).ok_or_else(|| {
        let message = format!("`{text}` is no name of an entry.");
        Unwritten::field(field, message, "Choose one on the page.")
    })
}

/// The names of several entries.
pub fn ids(form: &Form, field: &'static str) -> Made<Vec<Id>> {
    let read = |text: &str| {
        Id::new(text).ok_or_else(|| {
            let message = format!("`{text}` is no name of an entry.");
            Unwritten::field(field, message, "Choose one on the page.")
        })
    };
    form.all(field).map(read).collect()
}

/// The field of a reading that a complaint quotes.
pub fn field_of(message: &str, row: &Row) -> &'static str {
    let quotes = |text: &str| !text.is_empty() && message.contains(&format!("`{text}`"));
    if quotes(&row.red) {
        "red"
    } else if quotes(&row.black) {
        "black"
    } else if row.meter.as_deref().is_some_and(quotes) {
        "meter"
    } else {
        "value"
    }
}
