//! What happened, as a line for people.

use units::Unit;

use super::{
    Circumstance, Closing, Connection, Correction, Dismissal, Event, Finding, Hold, Origin,
    Override, PowerPermit, Repair, Row, Site, Turn, Watch,
};
use crate::as_written;

impl Event {
    /// What happened, in one line without a full stop; the same in the ledger's page, its export and its report.
    pub fn words(&self) -> String {
        let text = match self {
            Event::Machine(e) => format!("machine named {}", e.name),
            Event::Unit(e) => {
                let serial = said(" serial ", e.serial.as_deref());
                format!("unit {} added{serial}{}", e.name, said(": ", some(&e.note)))
            }
            Event::Condition(e) => format!("{}: as found: {}", at(&e.site), e.text),
            Event::Alteration(e) => {
                let part = said(" at ", e.part.as_deref());
                format!(
                    "{}: altered by an earlier owner{part}: {}",
                    at(&e.site),
                    e.text
                )
            }
            Event::Fate(e) => {
                format!(
                    "alteration {}: {}, because {}",
                    e.alteration,
                    e.fate.word(),
                    e.reason
                )
            }
            Event::Connection(e) => connection(e),
            Event::Move(e) => format!("unit {}: moved: {}", e.unit, e.text),
            Event::Touch(e) => {
                format!(
                    "{}: touched: {} {}, because {}",
                    at(&e.site),
                    e.what,
                    e.how.word(),
                    e.reason
                )
            }
            Event::Repair(e) => repair(e),
            Event::Capacitor(e) => {
                let amps = e.amps.map(|a| as_written(a.0, Unit::Ampere));
                let amps = amps.map_or(String::new(), |a| format!(", {a}"));
                let note = said("; ", some(&e.note));
                format!(
                    "{}: {}: {}{amps} at {} min{note}",
                    at(&e.site),
                    e.part,
                    as_written(e.volts.0, Unit::Volt),
                    e.minutes
                )
            }
            Event::Order(e) => format!("{}: set-up order {}", at(&e.site), e.trimmers.join(", ")),
            Event::Mark(e) => format!(
                "{}: {} marked at {}, reads {}",
                at(&e.site),
                e.trimmer,
                e.position,
                e.measured
            ),
            Event::Turn(e) => turn(e),
            Event::Recheck(e) => format!("after turn {}: {} checked: {}", e.turn, e.what, e.result),
            Event::Reading(e) => row(e),
            Event::Test(e) => {
                let how = if e.passed { "passed" } else { "failed" };
                let text = said(": ", some(&e.text));
                format!(
                    "{}: test {} {how}{text}{}",
                    at(&e.site),
                    e.name,
                    when(&e.circumstance)
                )
            }
            Event::Trust(e) => {
                let (level, lasts) = (e.level.word(), e.lasts.word());
                format!(
                    "{}: {level}{}, lasts for {lasts}",
                    at(&e.site),
                    said(" by ", some(&e.test))
                )
            }
            Event::Finding(e) => finding(e),
            Event::Hypothesis(e) => {
                format!(
                    "finding {}: perhaps {}; then {}",
                    e.finding, e.text, e.predicts
                )
            }
            Event::Outcome(e) => {
                let how = if e.refuted { "refuted" } else { "supported" };
                format!("hypothesis {} {how}: {}", e.hypothesis, e.reason)
            }
            Event::Explanation(e) => format!("finding {} explained: {}", e.finding, e.reason),
            Event::Closing(e) => closing(e),
            Event::Ruling(e) => {
                let how = if e.out { "out" } else { "in" };
                format!(
                    "{}: {} ruled {how}, because {}",
                    at(&e.site),
                    e.suspect,
                    e.reason
                )
            }
            Event::Dismissal(e) => dismissal(e),
            Event::Harmless(e) => {
                let place = e.at.map_or_else(
                    || "all of this kind".to_owned(),
                    |t| format!("at {}", as_written(t, Unit::Second)),
                );
                format!(
                    "recording {}: {}: {} ({place}): the units' difference is harmless, because {}",
                    e.capture, e.channel, e.difference, e.reason
                )
            }
            Event::Photo(e) => {
                format!(
                    "{}: photograph, {} side: {}",
                    at(&e.site),
                    e.face.word(),
                    e.caption
                )
            }
            Event::Point(e) => format!("photograph {}: {} is at {}, {}", e.photo, e.name, e.x, e.y),
            Event::File(e) => format!("{}: file {}: {}", at(&e.site), e.name, e.caption),
            Event::Power(e) => {
                let how = if e.on { "on" } else { "off" };
                let note = said(", ", some(&e.note));
                let by = e.signed.as_ref().map(signature);
                let by = said(", without a permit, signed for by ", by.as_deref());
                format!("unit {}: power {how}, cycle {}{note}{by}", e.unit, e.cycle)
            }
            Event::Levels(e) => {
                let row = match e.row {
                    0 => "a row of its own".to_owned(),
                    row => format!("row {row}"),
                };
                format!("unit {}: gate sheet {}, {row}: {}", e.unit, e.sheet, e.seen)
            }
            Event::Permit(e) => permit(e),
            Event::Watch(e) => watch(e),
            Event::Hold(e) => hold(e),
            Event::Note(e) => format!("{}: {}", at(&e.site), e.text),
            Event::Correction(e) => correction(e),
            Event::Unknown(e) => format!("{} (of a later version): {}", e.kind, e.content),
        };
        text.replace(['\n', '\r'], " ")
    }
}

fn dismissal(e: &Dismissal) -> String {
    let what = match &e.one {
        None => "the units' difference is harmless".to_owned(),
        Some(one) => format!(
            "{} of unit {} is harmless among like ones",
            one.value, one.unit
        ),
    };
    format!(
        "board {}: {} {} {} to {}: {what}, because {}",
        e.board,
        e.state.word(),
        e.kind.word(),
        e.red,
        e.black,
        e.reason
    )
}

fn some(text: &str) -> Option<&str> {
    (!text.is_empty()).then_some(text)
}

/// A piece with what stands before it; nothing if there is none.
fn said(before: &str, text: Option<&str>) -> String {
    text.map_or(String::new(), |text| format!("{before}{text}"))
}

fn at(site: &Site) -> String {
    match (site.unit.as_str(), &site.board) {
        ("", None) => "machine".to_owned(),
        ("", Some(board)) => format!("board {board}"),
        (unit, None) => format!("unit {unit}"),
        (unit, Some(board)) => format!("unit {unit} board {board}"),
    }
}

fn when(at: &Circumstance) -> String {
    let mut list = Vec::new();
    list.extend(at.intermittent.then(|| "comes and goes".to_owned()));
    list.extend(at.minutes.map(|m| format!("{m} min")));
    list.extend(at.celsius.map(|c| format!("{} °C", c.0)));
    list.extend(at.tapped.as_ref().map(|what| format!("{what} tapped")));
    if list.is_empty() {
        String::new()
    } else {
        format!(" ({})", list.join(", "))
    }
}

fn connection(e: &Connection) -> String {
    let (kind, step) = (e.kind.word(), e.step.word());
    let (holds, note) = (said(", ", e.holds.as_deref()), said("; ", some(&e.note)));
    format!("unit {}: {kind} {} {step}{holds}{note}", e.unit, e.name)
}

fn repair(e: &Repair) -> String {
    let kept = e.kept.as_deref().unwrap_or("in place");
    let way = if e.reversible {
        "reversible"
    } else {
        "not reversible"
    };
    format!(
        "{}: repaired: {}: {}, because {}; symptom {}; original {kept}; {way}",
        at(&e.site),
        e.part,
        e.what,
        e.reason,
        e.symptom
    )
}

fn turn(e: &Turn) -> String {
    let recheck = said("; check again ", some(&e.recheck.join(", ")));
    let unmarked = said("; not marked before, because ", e.unmarked.as_deref());
    format!(
        "{}: {} turned to {}, reads {}, because {}{recheck}{unmarked}",
        at(&e.site),
        e.trimmer,
        e.position,
        e.measured,
        e.reason
    )
}

fn row(e: &Row) -> String {
    let mut more = String::new();
    more += &said(" with ", e.meter.as_deref());
    more += &said(", ", e.place.map(|p| p.word()));
    more += &said(", lifted ", some(&e.lifted.join(" ")));
    more += &said(", unplugged ", some(&e.unplugged.join(" ")));
    more += &said(", cycle ", e.cycle.as_deref());
    more += &when(&Circumstance {
        minutes: e.minutes,
        celsius: e.celsius,
        ..Circumstance::default()
    });
    more += &said("; ", some(&e.note));
    let (state, kind) = (e.state.word(), e.kind.word());
    format!(
        "{}: {state} {kind} {} to {}: {}{more}",
        at(&e.site),
        e.red,
        e.black,
        e.value
    )
}

fn finding(e: &Finding) -> String {
    let origin = match &e.origin {
        Origin::Hand => String::new(),
        Origin::Verdict { text, .. } => format!("; by the verdict {text}"),
    };
    format!(
        "{}: finding: {}{}{origin}",
        at(&e.site),
        e.text,
        when(&e.circumstance)
    )
}

fn closing(e: &Closing) -> String {
    let pairs: Vec<String> = e
        .retests
        .iter()
        .map(|r| {
            format!(
                "{} was {}, {} is {}",
                r.before,
                r.was.word(),
                r.after,
                r.is.word()
            )
        })
        .collect();
    let remedies: Vec<&str> = e.remedies.iter().map(|id| id.as_str()).collect();
    let (after, note) = (remedies.join(", "), said("; ", some(&e.reason)));
    format!(
        "finding {} closed after {after}: {}{note}",
        e.finding,
        pairs.join("; ")
    )
}

fn correction(e: &Correction) -> String {
    match &e.instead {
        None => format!("entry {} withdrawn, because {}", e.entry, e.reason),
        Some(event) => {
            format!(
                "entry {} corrected, because {}: {}",
                e.entry,
                e.reason,
                event.words()
            )
        }
    }
}

fn permit(e: &PowerPermit) -> String {
    let signed: Vec<String> = e
        .overrides()
        .map(|(name, by)| format!("{name} ({})", signature(by)))
        .collect();
    let passed = e.checks().len() - signed.len();
    format!(
        "unit {}: permit to power in stages, {passed} checks passed{}",
        e.unit(),
        said(", not passed but signed for: ", some(&signed.join("; ")))
    )
}

fn signature(by: &Override) -> String {
    format!("{}, because {}", by.by(), by.reason())
}

fn watch(e: &Watch) -> String {
    let against = said(" to ", e.black.as_deref());
    let stands = match e.is_within() {
        Some(true) => "within",
        Some(false) => "crosses its limits",
        None => "cannot be read",
    };
    format!(
        "unit {}: stage {}: {} {}{against}: {}, {stands} {}",
        e.unit,
        e.stage,
        e.kind.word(),
        e.red,
        e.value,
        e.limits()
    )
}

fn hold(e: &Hold) -> String {
    let how = match &e.signed {
        None => "hold point passed".to_owned(),
        Some(by) => format!("hold point signed for by {}", signature(by)),
    };
    let note = said("; ", some(&e.note));
    format!(
        "unit {}: stage {}: {how}, held {} min, {} readings{note}",
        e.unit,
        e.stage,
        e.minutes,
        e.readings.len()
    )
}
