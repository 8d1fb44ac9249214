//! From events to the disk's twins.

use record::event as e;
use record::{Digest, Event, Id};

use super::twins::{Checked, Circumstance, Retest, Signature, Site, Twin, Verdict};

fn site(site: &e::Site) -> Site {
    Site {
        unit: site.unit.clone(),
        board: site.board.clone(),
    }
}

fn circumstance(at: &e::Circumstance) -> Circumstance {
    Circumstance {
        intermittent: at.intermittent,
        minutes: at.minutes,
        celsius: at.celsius.map(|c| c.0),
        tapped: at.tapped.clone(),
    }
}

fn hash(hash: &Option<Digest>) -> Option<String> {
    hash.map(|h| h.to_string())
}

fn hashes(list: &[Digest]) -> Vec<String> {
    list.iter().map(Digest::to_string).collect()
}

fn ids(list: &[Id]) -> Vec<String> {
    list.iter().map(Id::to_string).collect()
}

/// The twin of an event that is known.
pub fn twin(event: &Event) -> Option<Twin> {
    Some(match event {
        Event::Machine(m) => Twin::Machine {
            name: m.name.clone(),
        },
        Event::Unit(u) => Twin::Unit {
            name: u.name.clone(),
            serial: u.serial.clone(),
            note: u.note.clone(),
        },
        Event::Condition(c) => Twin::Condition {
            site: site(&c.site),
            text: c.text.clone(),
            photos: hashes(&c.photos),
        },
        Event::Alteration(a) => Twin::Alteration {
            site: site(&a.site),
            part: a.part.clone(),
            text: a.text.clone(),
            photos: hashes(&a.photos),
        },
        Event::Fate(f) => Twin::Fate {
            alteration: f.alteration.to_string(),
            fate: f.fate.word().to_owned(),
            reason: f.reason.clone(),
        },
        Event::Connection(c) => Twin::Connection {
            unit: c.unit.clone(),
            what: c.kind.word().to_owned(),
            name: c.name.clone(),
            step: c.step.word().to_owned(),
            holds: c.holds.clone(),
            note: c.note.clone(),
            photo: hash(&c.photo),
        },
        Event::Move(m) => Twin::Move {
            unit: m.unit.clone(),
            text: m.text.clone(),
        },
        Event::Touch(t) => Twin::Touch {
            site: site(&t.site),
            what: t.what.clone(),
            how: t.how.word().to_owned(),
            reason: t.reason.clone(),
        },
        Event::Repair(r) => Twin::Repair {
            site: site(&r.site),
            part: r.part.clone(),
            what: r.what.clone(),
            reason: r.reason.clone(),
            symptom: r.symptom.clone(),
            kept: r.kept.clone(),
            reversible: r.reversible,
            finding: r.finding.as_ref().map(Id::to_string),
            photos: hashes(&r.photos),
        },
        Event::Capacitor(c) => Twin::Capacitor {
            site: site(&c.site),
            part: c.part.clone(),
            volts: c.volts.0,
            amps: c.amps.map(|a| a.0),
            minutes: c.minutes,
            note: c.note.clone(),
        },
        Event::Order(o) => Twin::Order {
            site: site(&o.site),
            trimmers: o.trimmers.clone(),
        },
        Event::Mark(m) => Twin::Mark {
            site: site(&m.site),
            trimmer: m.trimmer.clone(),
            position: m.position.clone(),
            measured: m.measured.clone(),
            photo: hash(&m.photo),
        },
        Event::Turn(t) => Twin::Turn {
            site: site(&t.site),
            trimmer: t.trimmer.clone(),
            position: t.position.clone(),
            measured: t.measured.clone(),
            reason: t.reason.clone(),
            recheck: t.recheck.clone(),
            unmarked: t.unmarked.clone(),
        },
        Event::Recheck(r) => Twin::Recheck {
            turn: r.turn.to_string(),
            what: r.what.clone(),
            result: r.result.clone(),
        },
        Event::Reading(row) => reading(row),
        Event::Test(t) => Twin::Test {
            site: site(&t.site),
            name: t.name.clone(),
            passed: t.passed,
            text: t.text.clone(),
            circumstance: circumstance(&t.circumstance),
        },
        Event::Trust(t) => Twin::Trust {
            site: site(&t.site),
            level: t.level.word().to_owned(),
            test: t.test.clone(),
            lasts: t.lasts.word().to_owned(),
        },
        Event::Finding(f) => Twin::Finding {
            site: site(&f.site),
            text: f.text.clone(),
            verdict: match &f.origin {
                e::Origin::Hand => None,
                e::Origin::Verdict { reading, text } => Some(Verdict {
                    reading: reading.as_ref().map(Id::to_string),
                    text: text.clone(),
                }),
            },
            circumstance: circumstance(&f.circumstance),
        },
        Event::Hypothesis(h) => Twin::Hypothesis {
            finding: h.finding.to_string(),
            text: h.text.clone(),
            predicts: h.predicts.clone(),
        },
        Event::Outcome(o) => Twin::Outcome {
            hypothesis: o.hypothesis.to_string(),
            refuted: o.refuted,
            evidence: ids(&o.evidence),
            reason: o.reason.clone(),
        },
        Event::Explanation(x) => Twin::Explanation {
            finding: x.finding.to_string(),
            reason: x.reason.clone(),
        },
        Event::Closing(c) => Twin::Closing {
            finding: c.finding.to_string(),
            remedies: ids(&c.remedies),
            retests: c.retests.iter().map(retest).collect(),
            reason: c.reason.clone(),
        },
        Event::Ruling(r) => Twin::Ruling {
            site: site(&r.site),
            suspect: r.suspect.clone(),
            out: r.out,
            reason: r.reason.clone(),
        },
        Event::Dismissal(d) => Twin::Dismissal {
            board: d.board.clone(),
            state: d.state.word().to_owned(),
            measured: d.kind.word().to_owned(),
            red: d.red.clone(),
            black: d.black.clone(),
            reason: d.reason.clone(),
            unit: d.one.as_ref().map(|one| one.unit.clone()),
            value: d.one.as_ref().map(|one| one.value.clone()),
        },
        Event::Harmless(h) => Twin::Harmless {
            capture: h.capture.clone(),
            channel: h.channel.clone(),
            difference: h.difference.clone(),
            at: h.at,
            reason: h.reason.clone(),
        },
        Event::Photo(p) => Twin::Photo {
            site: site(&p.site),
            face: p.face.word().to_owned(),
            caption: p.caption.clone(),
            attachment: p.attachment.to_string(),
        },
        Event::Point(p) => Twin::Point {
            photo: p.photo.to_string(),
            name: p.name.clone(),
            x: p.x,
            y: p.y,
        },
        Event::File(f) => Twin::File {
            site: site(&f.site),
            name: f.name.clone(),
            caption: f.caption.clone(),
            attachment: f.attachment.to_string(),
        },
        Event::Levels(l) => Twin::Levels {
            unit: l.unit.clone(),
            sheet: l.sheet.clone(),
            rows: l.rows.clone(),
            row: l.row,
            seen: l.seen.clone(),
        },
        Event::Power(p) => Twin::Power {
            unit: p.unit.clone(),
            on: p.on,
            cycle: p.cycle.clone(),
            note: p.note.clone(),
            signed: p.signed.as_ref().map(signature),
        },
        Event::Permit(p) => Twin::Permit {
            unit: p.unit().to_owned(),
            checks: p.checks().iter().map(checked).collect::<Option<_>>()?,
        },
        Event::Watch(w) => Twin::Watch {
            unit: w.unit.clone(),
            permit: w.permit.to_string(),
            stage: w.stage,
            measured: w.kind.word().to_owned(),
            red: w.red.clone(),
            black: w.black.clone(),
            value: w.value.clone(),
            low: w.low,
            high: w.high,
        },
        Event::Hold(h) => Twin::Hold {
            unit: h.unit.clone(),
            permit: h.permit.to_string(),
            stage: h.stage,
            readings: ids(&h.readings),
            minutes: h.minutes,
            note: h.note.clone(),
            signed: h.signed.as_ref().map(signature),
        },
        Event::Note(n) => Twin::Note {
            site: site(&n.site),
            text: n.text.clone(),
        },
        Event::Correction(c) => Twin::Correction {
            entry: c.entry.to_string(),
            reason: c.reason.clone(),
            instead: match &c.instead {
                None => None,
                Some(event) => Some(Box::new(twin(event)?)),
            },
        },
        Event::Unknown(_) => return None,
    })
}

fn reading(row: &e::Row) -> Twin {
    Twin::Reading {
        site: site(&row.site),
        state: row.state.word().to_owned(),
        measured: row.kind.word().to_owned(),
        red: row.red.clone(),
        black: row.black.clone(),
        value: row.value.clone(),
        meter: row.meter.clone(),
        note: row.note.clone(),
        place: row.place.map(|p| p.word().to_owned()),
        lifted: row.lifted.clone(),
        unplugged: row.unplugged.clone(),
        celsius: row.celsius.map(|c| c.0),
        minutes: row.minutes,
        cycle: row.cycle.clone(),
        time: row.time.clone(),
    }
}

fn retest(retest: &e::Retest) -> Retest {
    Retest {
        before: retest.before.to_string(),
        was: retest.was.word().to_owned(),
        after: retest.after.to_string(),
        is: retest.is.word().to_owned(),
        tapped: retest.tapped.clone(),
    }
}

fn checked(check: &e::ColdCheck) -> Option<Checked> {
    let (entry, signed) = match &check.stand {
        e::Stand::Passed(id) => (Some(id.to_string()), None),
        e::Stand::Overridden(by) => (None, Some(signature(by))),
        e::Stand::Owed | e::Stand::Failed(_) => return None,
    };
    Some(Checked {
        name: check.name.clone(),
        entry,
        signed,
    })
}

fn signature(by: &e::Override) -> Signature {
    Signature {
        by: by.by().to_owned(),
        reason: by.reason().to_owned(),
    }
}
