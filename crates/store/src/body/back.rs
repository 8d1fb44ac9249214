//! From the disk's twins to events; a word that is not known makes the whole event unknown, never another.

use record::event as e;
use record::{Digest, Event, Id, Placement, ReadingKind, State, VerdictWord};
use units::{Amps, Celsius, Volts};

use super::twins::{Checked, Circumstance, Retest, Signature, Site, Twin};

fn site(site: Site) -> e::Site {
    e::Site {
        unit: site.unit,
        board: site.board,
    }
}

fn circumstance(at: Circumstance) -> e::Circumstance {
    e::Circumstance {
        intermittent: at.intermittent,
        minutes: at.minutes,
        celsius: at.celsius.map(Celsius),
        tapped: at.tapped,
    }
}

/// The one of a list that has this word.
fn word<T: Copy>(all: &[T], of: impl Fn(T) -> &'static str, text: &str) -> Option<T> {
    all.iter().copied().find(|one| of(*one) == text)
}

fn state(text: &str) -> Option<State> {
    word(&State::ALL, State::word, text)
}

fn measured(text: &str) -> Option<ReadingKind> {
    word(&ReadingKind::ALL, ReadingKind::word, text)
}

fn verdict(text: &str) -> Option<VerdictWord> {
    let all = [
        VerdictWord::Agrees,
        VerdictWord::Edge,
        VerdictWord::Disagrees,
        VerdictWord::NoExpectation,
    ];
    word(&all, VerdictWord::word, text)
}

/// None stays none; what cannot be read makes the whole unreadable.
fn maybe<T>(text: Option<String>, read: impl Fn(&str) -> Option<T>) -> Option<Option<T>> {
    text.map_or(Some(None), |text| read(&text).map(Some))
}

fn all<T>(list: Vec<String>, read: impl Fn(&str) -> Option<T>) -> Option<Vec<T>> {
    list.iter().map(|text| read(text)).collect()
}

/// The event of a twin; none if a word, id or hash in it cannot be read.
pub fn event(twin: Twin) -> Option<Event> {
    Some(match twin {
        Twin::Machine { name } => Event::Machine(e::Machine { name }),
        Twin::Unit { name, serial, note } => Event::Unit(e::Unit { name, serial, note }),
        Twin::Condition {
            site: at,
            text,
            photos,
        } => Event::Condition(e::Condition {
            site: site(at),
            text,
            photos: all(photos, Digest::read)?,
        }),
        Twin::Alteration {
            site: at,
            part,
            text,
            photos,
        } => Event::Alteration(e::Alteration {
            site: site(at),
            part,
            text,
            photos: all(photos, Digest::read)?,
        }),
        Twin::Fate {
            alteration,
            fate,
            reason,
        } => Event::Fate(e::Fate {
            alteration: Id::new(&alteration)?,
            fate: word(&e::FateWord::ALL, e::FateWord::word, &fate)?,
            reason,
        }),
        Twin::Connection {
            unit,
            what,
            name,
            step,
            holds,
            note,
            photo,
        } => Event::Connection(e::Connection {
            unit,
            kind: word(&e::ConnectionKind::ALL, e::ConnectionKind::word, &what)?,
            name,
            step: word(&e::Step::ALL, e::Step::word, &step)?,
            holds,
            note,
            photo: maybe(photo, Digest::read)?,
        }),
        Twin::Move { unit, text } => Event::Move(e::Move { unit, text }),
        Twin::Touch {
            site: at,
            what,
            how,
            reason,
        } => Event::Touch(e::Touch {
            site: site(at),
            what,
            how: word(&e::How::ALL, e::How::word, &how)?,
            reason,
        }),
        Twin::Repair {
            site: at,
            part,
            what,
            reason,
            symptom,
            kept,
            reversible,
            finding,
            photos,
        } => Event::Repair(e::Repair {
            site: site(at),
            part,
            what,
            reason,
            symptom,
            kept,
            reversible,
            finding: maybe(finding, Id::new)?,
            photos: all(photos, Digest::read)?,
        }),
        Twin::Capacitor {
            site: at,
            part,
            volts,
            amps,
            minutes,
            note,
        } => Event::Capacitor(e::Capacitor {
            site: site(at),
            part,
            volts: Volts(volts),
            amps: amps.map(Amps),
            minutes,
            note,
        }),
        Twin::Order { site: at, trimmers } => Event::Order(e::Order {
            site: site(at),
            trimmers,
        }),
        Twin::Mark {
            site: at,
            trimmer,
            position,
            measured,
            photo,
        } => Event::Mark(e::Mark {
            site: site(at),
            trimmer,
            position,
            measured,
            photo: maybe(photo, Digest::read)?,
        }),
        Twin::Turn {
            site: at,
            trimmer,
            position,
            measured,
            reason,
            recheck,
            unmarked,
        } => Event::Turn(e::Turn {
            site: site(at),
            trimmer,
            position,
            measured,
            reason,
            recheck,
            unmarked,
        }),
        Twin::Recheck { turn, what, result } => Event::Recheck(e::Recheck {
            turn: Id::new(&turn)?,
            what,
            result,
        }),
        reading @ Twin::Reading { .. } => row(reading)?,
        Twin::Test {
            site: at,
            name,
            passed,
            text,
            circumstance: when,
        } => Event::Test(e::Test {
            site: site(at),
            name,
            passed,
            text,
            circumstance: circumstance(when),
        }),
        Twin::Trust {
            site: at,
            level,
            test,
            lasts,
        } => Event::Trust(e::Trust {
            site: site(at),
            level: word(&e::Level::ALL, e::Level::word, &level)?,
            test,
            lasts: word(&e::Lasts::ALL, e::Lasts::word, &lasts)?,
        }),
        Twin::Finding {
            site: at,
            text,
            verdict,
            circumstance: when,
        } => Event::Finding(e::Finding {
            site: site(at),
            text,
            origin: match verdict {
                None => e::Origin::Hand,
                Some(verdict) => e::Origin::Verdict {
                    reading: maybe(verdict.reading, Id::new)?,
                    text: verdict.text,
                },
            },
            circumstance: circumstance(when),
        }),
        Twin::Hypothesis {
            finding,
            text,
            predicts,
        } => Event::Hypothesis(e::Hypothesis {
            finding: Id::new(&finding)?,
            text,
            predicts,
        }),
        Twin::Outcome {
            hypothesis,
            refuted,
            evidence,
            reason,
        } => Event::Outcome(e::Outcome {
            hypothesis: Id::new(&hypothesis)?,
            refuted,
            evidence: all(evidence, Id::new)?,
            reason,
        }),
        Twin::Explanation { finding, reason } => Event::Explanation(e::Explanation {
            finding: Id::new(&finding)?,
            reason,
        }),
        Twin::Closing {
            finding,
            remedies,
            retests,
            reason,
        } => Event::Closing(e::Closing {
            finding: Id::new(&finding)?,
            remedies: all(remedies, Id::new)?,
            retests: retests.into_iter().map(retest).collect::<Option<_>>()?,
            reason,
        }),
        Twin::Ruling {
            site: at,
            suspect,
            out,
            reason,
        } => Event::Ruling(e::Ruling {
            site: site(at),
            suspect,
            out,
            reason,
        }),
        Twin::Dismissal {
            board,
            state: in_state,
            measured: what,
            red,
            black,
            reason,
            unit,
            value,
        } => Event::Dismissal(e::Dismissal {
            board,
            state: state(&in_state)?,
            kind: measured(&what)?,
            red,
            black,
            reason,
            one: match (unit, value) {
                (None, None) => None,
                (Some(unit), Some(value)) => Some(e::OddOne { unit, value }),
                _ => return None,
            },
        }),
        Twin::Harmless {
            capture,
            channel,
            difference,
            at,
            reason,
        } => Event::Harmless(e::Harmless {
            capture,
            channel,
            difference,
            at,
            reason,
        }),
        Twin::Photo {
            site: at,
            face,
            caption,
            attachment,
        } => Event::Photo(e::Photo {
            site: site(at),
            face: word(&e::Face::ALL, e::Face::word, &face)?,
            caption,
            attachment: Digest::read(&attachment)?,
        }),
        Twin::Point { photo, name, x, y } => Event::Point(e::Point {
            photo: Id::new(&photo)?,
            name,
            x,
            y,
        }),
        Twin::File {
            site: at,
            name,
            caption,
            attachment,
        } => Event::File(e::File {
            site: site(at),
            name,
            caption,
            attachment: Digest::read(&attachment)?,
        }),
        Twin::Levels {
            unit,
            sheet,
            rows,
            row,
            seen,
        } => Event::Levels(e::Levels {
            unit,
            sheet,
            rows,
            row,
            seen,
        }),
        Twin::Power {
            unit,
            on,
            cycle,
            note,
            signed,
        } => Event::Power(e::Power {
            unit,
            on,
            cycle,
            note,
            signed: match signed {
                None => None,
                Some(signed) => Some(signature(&signed)?),
            },
        }),
        Twin::Permit { unit, checks } => {
            let checks: Vec<e::ColdCheck> =
                checks.into_iter().map(checked).collect::<Option<_>>()?;
            Event::Permit(e::PowerPermit::grant(&unit, &checks).ok()?)
        }
        twin @ Twin::Watch { .. } => watch(twin)?,
        Twin::Hold {
            unit,
            permit,
            stage,
            readings,
            minutes,
            note,
            signed,
        } => Event::Hold(e::Hold {
            unit,
            permit: Id::new(&permit)?,
            stage,
            readings: all(readings, Id::new)?,
            minutes,
            note,
            signed: match signed {
                None => None,
                Some(signed) => Some(signature(&signed)?),
            },
        }),
        Twin::Note { site: at, text } => Event::Note(e::Note {
            site: site(at),
            text,
        }),
        Twin::Correction {
            entry,
            reason,
            instead,
        } => Event::Correction(e::Correction {
            entry: Id::new(&entry)?,
            reason,
            instead: match instead {
                None => None,
                Some(twin) => Some(Box::new(event(*twin)?)),
            },
        }),
    })
}

fn row(twin: Twin) -> Option<Event> {
    let Twin::Reading {
        site: at,
        state: in_state,
        measured: what,
        red,
        black,
        value,
        meter,
        note,
        place,
        lifted,
        unplugged,
        celsius,
        minutes,
        cycle,
        time,
    } = twin
    else {
        return None;
    };
    Some(Event::Reading(e::Row {
        site: site(at),
        state: state(&in_state)?,
        kind: measured(&what)?,
        red,
        black,
        value,
        meter,
        note,
        place: maybe(place, |text| word(&Placement::ALL, Placement::word, text))?,
        lifted,
        unplugged,
        celsius: celsius.map(Celsius),
        minutes,
        cycle,
        time,
    }))
}

fn retest(twin: Retest) -> Option<e::Retest> {
    Some(e::Retest {
        before: Id::new(&twin.before)?,
        was: verdict(&twin.was)?,
        after: Id::new(&twin.after)?,
        is: verdict(&twin.is)?,
        tapped: twin.tapped,
    })
}

fn watch(twin: Twin) -> Option<Event> {
    let Twin::Watch {
        unit,
        permit,
        stage,
        measured: what,
        red,
        black,
        value,
        low,
        high,
    } = twin
    else {
        return None;
    };
    Some(Event::Watch(e::Watch {
        unit,
        permit: Id::new(&permit)?,
        stage,
        kind: measured(&what)?,
        red,
        black,
        value,
        low,
        high,
    }))
}

fn checked(twin: Checked) -> Option<e::ColdCheck> {
    let stand = match (twin.entry, twin.signed) {
        (Some(id), None) => e::Stand::Passed(Id::new(&id)?),
        (None, Some(by)) => e::Stand::Overridden(signature(&by)?),
        _ => return None,
    };
    Some(e::ColdCheck {
        name: twin.name,
        stand,
    })
}

fn signature(twin: &Signature) -> Option<e::Override> {
    e::Override::new(&twin.by, &twin.reason)
}
