//! The disk's own twins of the events: their names are those in the file and do not follow the program's.
//!
//! A field may be added if it may be absent; anything else is a new kind.

use serde::{Deserialize, Serialize};

/// An event in the file.
#[derive(Debug, Deserialize, Serialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
#[allow(
    missing_docs,
    reason = "docs/ledger.md describes every field of the file"
)]
pub enum Twin {
    Machine {
        name: String,
    },
    Unit {
        name: String,
        serial: Option<String>,
        note: String,
    },
    Condition {
        site: Site,
        text: String,
        photos: Vec<String>,
    },
    Alteration {
        site: Site,
        part: Option<String>,
        text: String,
        photos: Vec<String>,
    },
    Fate {
        alteration: String,
        fate: String,
        reason: String,
    },
    Connection {
        unit: String,
        what: String,
        name: String,
        step: String,
        holds: Option<String>,
        note: String,
        photo: Option<String>,
    },
    Move {
        unit: String,
        text: String,
    },
    Touch {
        site: Site,
        what: String,
        how: String,
        reason: String,
    },
    Repair {
        site: Site,
        part: String,
        what: String,
        reason: String,
        symptom: String,
        kept: Option<String>,
        reversible: bool,
        finding: Option<String>,
        photos: Vec<String>,
    },
    Capacitor {
        site: Site,
        part: String,
        volts: f64,
        amps: Option<f64>,
        minutes: f64,
        note: String,
    },
    Order {
        site: Site,
        trimmers: Vec<String>,
    },
    Mark {
        site: Site,
        trimmer: String,
        position: String,
        measured: String,
        photo: Option<String>,
    },
    Turn {
        site: Site,
        trimmer: String,
        position: String,
        measured: String,
        reason: String,
        recheck: Vec<String>,
        unmarked: Option<String>,
    },
    Recheck {
        turn: String,
        what: String,
        result: String,
    },
    Reading {
        site: Site,
        state: String,
        measured: String,
        red: String,
        black: String,
        value: String,
        meter: Option<String>,
        note: String,
        place: Option<String>,
        lifted: Vec<String>,
        unplugged: Vec<String>,
        celsius: Option<f64>,
        minutes: Option<f64>,
        cycle: Option<String>,
        time: Option<String>,
    },
    Test {
        site: Site,
        name: String,
        passed: bool,
        text: String,
        circumstance: Circumstance,
    },
    Trust {
        site: Site,
        level: String,
        test: String,
        lasts: String,
    },
    Finding {
        site: Site,
        text: String,
        verdict: Option<Verdict>,
        circumstance: Circumstance,
    },
    Hypothesis {
        finding: String,
        text: String,
        predicts: String,
    },
    Outcome {
        hypothesis: String,
        refuted: bool,
        evidence: Vec<String>,
        reason: String,
    },
    Explanation {
        finding: String,
        reason: String,
    },
    Closing {
        finding: String,
        remedies: Vec<String>,
        retests: Vec<Retest>,
        reason: String,
    },
    Ruling {
        site: Site,
        suspect: String,
        out: bool,
        reason: String,
    },
    Harmless {
        capture: String,
        channel: String,
        difference: String,
        at: Option<f64>,
        reason: String,
    },
    Dismissal {
        board: String,
        state: String,
        measured: String,
        red: String,
        black: String,
        reason: String,
        unit: Option<String>,
        value: Option<String>,
    },
    Photo {
        site: Site,
        face: String,
        caption: String,
        attachment: String,
    },
    Point {
        photo: String,
        name: String,
        x: f64,
        y: f64,
    },
    File {
        site: Site,
        name: String,
        caption: String,
        attachment: String,
    },
    Power {
        unit: String,
        on: bool,
        cycle: String,
        note: String,
        signed: Option<Signature>,
    },
    Levels {
        unit: String,
        sheet: String,
        rows: String,
        row: u32,
        seen: String,
    },
    Permit {
        unit: String,
        checks: Vec<Checked>,
    },
    Watch {
        unit: String,
        permit: String,
        stage: u32,
        measured: String,
        red: String,
        black: Option<String>,
        value: String,
        low: f64,
        high: f64,
    },
    Hold {
        unit: String,
        permit: String,
        stage: u32,
        readings: Vec<String>,
        minutes: f64,
        note: String,
        signed: Option<Signature>,
    },
    Note {
        site: Site,
        text: String,
    },
    Correction {
        entry: String,
        reason: String,
        instead: Option<Box<Twin>>,
    },
}

/// A unit, and a board of it.
#[derive(Debug, Deserialize, Serialize)]
#[allow(
    missing_docs,
    reason = "docs/ledger.md describes every field of the file"
)]
pub struct Site {
    pub unit: String,
    pub board: Option<String>,
}

/// When something shows.
#[derive(Debug, Deserialize, Serialize)]
#[allow(
    missing_docs,
    reason = "docs/ledger.md describes every field of the file"
)]
pub struct Circumstance {
    pub intermittent: bool,
    pub minutes: Option<f64>,
    pub celsius: Option<f64>,
    pub tapped: Option<String>,
}

/// The verdict that opened a finding.
#[derive(Debug, Deserialize, Serialize)]
#[allow(
    missing_docs,
    reason = "docs/ledger.md describes every field of the file"
)]
pub struct Verdict {
    pub reading: Option<String>,
    pub text: String,
}

/// The same thing before and after.
#[derive(Debug, Deserialize, Serialize)]
#[allow(
    missing_docs,
    reason = "docs/ledger.md describes every field of the file"
)]
pub struct Retest {
    pub before: String,
    pub was: String,
    pub after: String,
    pub is: String,
    pub tapped: Option<String>,
}

/// A check that a permit rests on: passed by an entry, or signed for.
#[derive(Debug, Deserialize, Serialize)]
#[allow(
    missing_docs,
    reason = "docs/ledger.md describes every field of the file"
)]
pub struct Checked {
    pub name: String,
    pub entry: Option<String>,
    pub signed: Option<Signature>,
}

/// Who signs, and why.
#[derive(Debug, Deserialize, Serialize)]
#[allow(
    missing_docs,
    reason = "docs/ledger.md describes every field of the file"
)]
pub struct Signature {
    pub by: String,
    pub reason: String,
}
