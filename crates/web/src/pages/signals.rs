//! Signals: where two units first part, any stretch of time of both, and the picture on the tube.

mod curve;
mod known;
mod overlay;
mod send;
mod tube;

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use bench::captures::{CaptureSet, unit_of};
use bench::pages::signals::{Recorded, Signals, Taken};
use bench::signal::known::Known;
use bench::signal::picture::Panels;
use bench::signal::{Asked, Recording};
use bench::{Complaint, Text};
use maud::{Markup, html};
use store::record::event::Harmless;
use store::record::{Digest, Event};

use super::enter::{Given, choice};
use super::ledger::coded;
use super::room::{framed, others};
use super::{Bench, blocking, problem, version};
use crate::project::Now;

pub use known::post as post_known;
pub use send::post;

/// Sets of recordings that are kept open; chosen so that going back and forth between two is quick.
const KEPT: usize = 2;

/// Recordings that were opened, each with what it rests on; the last one used stands last.
#[derive(Default)]
pub struct Shelf {
    open: Mutex<Vec<(String, String, Arc<Signals>)>>,
    /// Held while one is opened, so that nothing is opened twice.
    pen: Mutex<()>,
}

impl Shelf {
    fn found(&self, name: &str, stamp: &str) -> Option<Arc<Signals>> {
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        let at = open.iter().position(|(n, s, _)| n == name && s == stamp)?;
        let one = open.remove(at);
        let signals = Arc::clone(&one.2);
        open.push(one);
        Some(signals)
    }

    fn signals(&self, bench: &Bench, now: &Now, set: &Set, given: &Given) -> Arc<Signals> {
        let picked = set.picked(&units(now), given);
        let (taken, complaints) = taken(now, set, &picked);
        // what a sheet predicts changes with any file of the project
        let rests = if taken.sheets.is_empty() {
            0
        } else {
            now.files
        };
        let about = set.about.as_ref().map(|t| t.text.clone());
        let stamp = version((&picked, &set.files, about, rests));
        if let Some(signals) = self.found(&set.name, &stamp) {
            return signals;
        }
        let _pen = self.pen.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(signals) = self.found(&set.name, &stamp) {
            return signals;
        }
        let (mut recordings, mut unread) = (Vec::new(), Vec::new());
        for (unit, file) in picked {
            match file.open(bench) {
                Ok(bytes) => recordings.push(Recorded {
                    unit,
                    recording: Recording {
                        file: file.name,
                        bytes,
                    },
                }),
                Err(why) => unread.push(why),
            }
        }
        let known_units = units(now);
        let again = set
            .again(&known_units, recordings.first())
            .filter_map(|file| {
                let bytes: Box<dyn std::io::Read> = file.open(bench).ok()?;
                let file = file.name.clone();
                Some(Recording { file, bytes })
            });
        let again = again.collect();
        let mut signals = Signals::open(recordings, again, &Asked::default(), &taken);
        signals.view.remarks.extend(complaints);
        let lost = unread
            .into_iter()
            .map(|why| Complaint::new(why, "Check that it may be read."));
        signals.view.remarks.extend(lost);
        let signals = Arc::new(signals);
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        open.retain(|(n, ..)| *n != set.name);
        if open.len() >= KEPT {
            open.remove(0);
        }
        open.push((set.name.clone(), stamp, Arc::clone(&signals)));
        signals
    }
}

/// What is known of a set, the sheets that it was taken from, and what is wrong in that.
fn taken(now: &Now, set: &Set, picked: &[(String, Held)]) -> (Taken, Vec<Complaint>) {
    let Some(text) = &set.about else {
        return Default::default();
    };
    let mut known = Known::read(text);
    let mut complaints = known.remarks.clone();
    let of_file = |message: String, help: &str| Complaint {
        file: Some(text.file.clone()),
        ..Complaint::new(message, help)
    };
    if let Some(name) = known.gates().map(str::to_owned) {
        let sheet = now.project.logic.iter().find(|l| l.name == name);
        match sheet.and_then(|l| l.shape.as_ref()) {
            Some(sheet) => {
                if let Err(refused) = known.take_gates(sheet) {
                    complaints.extend_from_slice(refused.complaints());
                }
            }
            None => complaints.push(of_file(
                format!("There is no gate sheet {name} in this project."),
                "Name a file under logic/ without its ending.",
            )),
        }
    }
    let mut sheets = Vec::new();
    match known.board().map(|name| (name, now.project.board(name))) {
        Some((_, Some(board))) => {
            let (sheet, _) = board.read_sheet();
            for (channel, net) in known.nets() {
                if !bench::captures::is_place(&sheet, net) {
                    complaints.push(of_file(
                        format!("The sheet of {} has no net or point {net}, where {channel} is said to be taken.", board.name),
                        "Write it as the sheet spells it.",
                    ));
                }
            }
            if board.sheet.is_some() {
                for (unit, _) in picked {
                    let unit = unit.split(' ').next().unwrap_or_default();
                    let built = now.project.as_built(&sheet, &board.name, unit);
                    let built = built.map_or_else(|| sheet.clone(), |b| b.0);
                    sheets.push((unit.to_owned(), built));
                }
            }
        }
        Some((name, None)) => complaints.push(of_file(
            format!("The project has no board {name}."),
            "Name a board as the bench page does.",
        )),
        None => {}
    }
    if !known.is_curve() {
        sheets.clear();
    }
    let known = Some(known);
    (Taken { known, sheets }, complaints)
}

/// A recording, in the project's folder or in the ledger.
#[derive(Clone, Hash)]
struct Held {
    name: String,
    stamp: u64,
    sum: Option<String>,
}

impl Held {
    fn open(&self, bench: &Bench) -> Result<Box<dyn std::io::Read + Send>, String> {
        let Some(sum) = self.sum.as_deref().and_then(Digest::read) else {
            return bench.current.source.open(&self.name);
        };
        match bench.book.attachment(sum) {
            Ok(Some(found)) => Ok(Box::new(std::io::Cursor::new(found.bytes))),
            Ok(None) => Err(format!(
                "The content of {} is missing from the ledger.",
                self.name
            )),
            Err(trouble) => Err(trouble.message),
        }
    }
}

/// All recordings of one signal.
struct Set {
    name: String,
    files: Vec<Held>,
    about: Option<Text>,
}

impl Set {
    /// Up to two other recordings of the unit that stands first, the last ones.
    fn again<'a>(
        &'a self,
        units: &'a [String],
        first: Option<&Recorded>,
    ) -> impl Iterator<Item = &'a Held> + use<'a> {
        let shown = first.map(|r| (r.unit.clone(), r.recording.file.clone()));
        let own = move |f: &&Held| {
            shown.as_ref().is_some_and(|(unit, file)| {
                f.name != *file && unit_of(&f.name, units) == Some(unit.as_str())
            })
        };
        self.files.iter().rev().filter(own).take(2)
    }

    /// What is shown: the files that were chosen, else the last recording of each unit; where only one unit was recorded, its last two.
    fn picked(&self, units: &[String], given: &Given) -> Vec<(String, Held)> {
        let chosen: Vec<&Held> = ["first", "second"]
            .iter()
            .filter_map(|key| self.files.iter().find(|f| Some(&f.name) == given.get(*key)))
            .collect();
        if let [a, b] = chosen[..] {
            let unit = |f: &Held| unit_of(&f.name, units).unwrap_or("?").to_owned();
            let label = |f: &Held| {
                if unit(a) == unit(b) {
                    format!("{} ({})", unit(f), short(&f.name))
                } else {
                    unit(f)
                }
            };
            return [a, b].map(|f| (label(f), f.clone())).into();
        }
        let of = |unit: &String| -> Vec<&Held> {
            let own = |f: &&Held| unit_of(&f.name, units) == Some(unit);
            self.files.iter().filter(own).collect()
        };
        let all: Vec<(&String, Vec<&Held>)> = units
            .iter()
            .map(|u| (u, of(u)))
            .filter(|(_, f)| !f.is_empty())
            .collect();
        if let [(unit, files)] = &all[..] {
            let named = |f: &&&Held| (format!("{unit} ({})", short(&f.name)), (**f).clone());
            return files[files.len().saturating_sub(2)..]
                .iter()
                .map(|f| named(&f))
                .collect();
        }
        let last = |(unit, files): &(&String, Vec<&Held>)| {
            Some(((*unit).clone(), (*files.last()?).clone()))
        };
        all.iter().filter_map(last).take(2).collect()
    }
}

fn short(file: &str) -> &str {
    file.rsplit('/').next().unwrap_or(file)
}

fn units(now: &Now) -> Vec<String> {
    now.project.units.iter().map(|u| u.name.clone()).collect()
}

/// A difference that was put away, and the number of its entry.
type Put = (u64, Harmless);

/// The room of the recordings among the names that the ledger gives to files.
const ROOM: &str = "captures/";

/// All sets: those of the folder, with what the ledger keeps of each, and those of the ledger alone.
fn sets(bench: &Bench, now: &Now) -> Vec<Set> {
    let of_folder = |s: &CaptureSet| Set {
        name: s.name.clone(),
        about: s.about.clone(),
        files: s
            .files
            .iter()
            .map(|f| Held {
                name: f.file.clone(),
                stamp: f.stamp,
                sum: None,
            })
            .collect(),
    };
    let mut all: Vec<Set> = now.project.captures.iter().map(of_folder).collect();
    let kept = bench.book.read();
    for (entry, event) in kept.work.events() {
        let Event::File(file) = event else { continue };
        let Some((name, own)) = file.name.strip_prefix(ROOM).and_then(|n| n.split_once('/')) else {
            continue;
        };
        let held = Held {
            name: format!("entry {}/{own}", entry.number),
            stamp: entry.number,
            sum: Some(file.attachment.to_string()),
        };
        match all.iter_mut().find(|s| s.name == name) {
            Some(set) => set.files.push(held),
            None => all.push(Set {
                name: name.to_owned(),
                files: vec![held],
                about: None,
            }),
        }
    }
    all
}

/// The address of a signal's page.
fn address(name: &str) -> String {
    format!("/signals/{}", coded(name))
}

/// The page of all signals: that of the first, or how to begin.
pub async fn first(bench: State<Bench>, given: Query<Given>) -> Response {
    let now = bench.now();
    let name = sets(&bench, &now).first().map(|s| s.name.clone());
    match name {
        Some(name) => page(bench, Path(name), given).await,
        None => {
            let main = html! {
                h1 { "Signals" }
                p.answer { "Nothing was recorded yet" }
                p { "Record the same signals in both units, and put the files beside the project: " code { "captures/NAME/1-first.csv" } ", the unit before the hyphen. CSV, VCD, FST, WAV and NPY are read. Or send one here." }
                p { "Channels named x and y, with unblank or blank beside them, are drawn as the picture on the tube." }
                p { "The oscilloscope keeps its earth; what is not at earth is recorded with two channels or a differential probe." }
                (send::form(&now, ""))
            };
            framed(&bench, &now, "/signals", "Signals", main)
        }
    }
}

/// Opens a set by its name and answers with what is made of it.
fn with(
    bench: &Bench,
    name: &str,
    given: &Given,
    make: impl FnOnce(&Now, &Set, &Signals) -> Response,
) -> Response {
    let now = bench.now();
    match sets(bench, &now).iter().find(|s| s.name == name) {
        Some(set) => make(&now, set, &bench.signals.signals(bench, &now, set, given)),
        None => unknown(bench, &now, name),
    }
}

fn unknown(bench: &Bench, now: &Now, name: &str) -> Response {
    problem(
        bench,
        &now.project,
        &format!("There is no recording {name} in this project."),
        "A recording is named by its folder, captures/NAME.",
    )
}

/// The chosen files as the rest of an address, begun with `&`; empty if none were chosen.
fn chosen(given: &Given) -> String {
    let one = |key: &str| given.get(key).map(|f| format!("&{key}={}", coded(f)));
    [one("first"), one("second")]
        .into_iter()
        .flatten()
        .collect()
}

/// Which of several files are laid over each other.
fn choose(set: &Set, signals: &Signals) -> Markup {
    let shown = |k: usize| signals.view.units.get(k).map_or("", |u| u.1.as_str());
    let words: Vec<(&str, &str)> = set
        .files
        .iter()
        .map(|f| (f.name.as_str(), short(&f.name)))
        .collect();
    html! {
        @if set.files.len() > 2 {
            details id="choose" {
                summary { "Lay other files over each other" }
                form.enter method="get" action=(address(&set.name)) {
                    div.fields {
                        (choice("first", "First", &words, shown(0)))
                        (choice("second", "Second", &words, shown(1)))
                        button.go type="submit" { "Show these" }
                    }
                }
            }
        }
    }
}

/// Differences of a set that were put away.
fn put_away(bench: &Bench, name: &str) -> Vec<Put> {
    let kept = bench.book.read();
    let list = kept.work.harmless(name);
    list.into_iter()
        .map(|(e, h)| (e.number, h.clone()))
        .collect()
}

/// The page of one signal.
pub async fn page(
    State(bench): State<Bench>,
    Path(name): Path<String>,
    Query(given): Query<Given>,
) -> Response {
    blocking(move || {
        with(&bench, &name, &given, |now, set, signals| {
            let harmless = put_away(&bench, &name);
            let is_open = bench.book.closed().is_none();
            let shown = overlay::Shown {
                name: &name,
                signals,
                chosen: ends(&given),
                files: &chosen(&given),
                harmless: &harmless,
                is_open,
            };
            let all: Vec<String> = sets(&bench, now).into_iter().map(|s| s.name).collect();
            let main = html! {
                (others("Signals", &all, &name, address))
                h1 { "Signals: " (name) }
                @if signals.view.curve.is_some() || signals.view.known.as_ref().is_some_and(Known::is_curve) {
                    (curve::section(&name, signals))
                } @else if signals.view.picture.is_some() {
                    (tube::section(&name, signals))
                    details id="signals" { summary { "X, Y and blanking against time" } (overlay::section(&shown)) }
                } @else if signals.view.sequences.is_some() {
                    (known::sequences(signals))
                    details id="signals" { summary { "The channels against time" } (overlay::section(&shown)) }
                } @else {
                    (overlay::section(&shown))
                }
                (known::judged(signals))
                (overlay::measured(signals))
                (choose(set, signals))
                (known::form(set, None, is_open))
                @if bench.book.closed().is_none() { (send::form(now, &name)) }
                details id="files" {
                    summary { (set.files.len()) " files of this recording" }
                    ul.done { @for f in &set.files { li { (f.name) @if signals.view.units.iter().any(|u| u.1 == f.name) { ", shown" } } } }
                }
                @if !signals.view.remarks.is_empty() {
                    details.remarks open id="remarks" {
                        summary { (signals.view.remarks.len()) " remarks on these files" }
                        ol { @for r in &signals.view.remarks { li {
                            p { strong { @if let Some(file) = &r.file { (file) } @if let Some(line) = r.line { ", line " (line) } @if r.file.is_some() { ": " } } (r.message) }
                            @if let Some(help) = &r.help { p { (help) } }
                        } } }
                    }
                }
            };
            framed(&bench, now, "/signals", &format!("{name} - {}", now.project.name), main)
        })
    })
    .await
}

/// The stretch of time that is asked for.
fn ends(given: &HashMap<String, String>) -> Option<[f64; 2]> {
    let number = |name: &str| {
        given
            .get(name)?
            .parse::<f64>()
            .ok()
            .filter(|v| v.is_finite())
    };
    let ends = [number("from")?, number("to")?];
    (ends[1] > ends[0]).then_some(ends)
}

/// What to draw of a stretch of time, as JSON.
pub async fn window(
    State(bench): State<Bench>,
    Path(name): Path<String>,
    Query(given): Query<Given>,
) -> Response {
    blocking(move || {
        with(&bench, &name, &given, |_, _, signals| {
            let [from, to] = ends(&given).unwrap_or([0.0, 0.0]);
            let columns = given
                .get("columns")
                .and_then(|c| c.parse().ok())
                .unwrap_or(800);
            let window = signals.window(from, to, columns);
            match serde_json::to_string(&window) {
                Ok(text) => ([(header::CONTENT_TYPE, "application/json")], text).into_response(),
                Err(e) => (StatusCode::INTERNAL_SERVER_ERROR, format!("{e}\n")).into_response(),
            }
        })
    })
    .await
}

/// A picture of the tube, as PNG.
pub async fn picture(
    State(bench): State<Bench>,
    Path(name): Path<String>,
    Query(given): Query<Given>,
) -> Response {
    blocking(move || {
        with(&bench, &name, &given, |_, _, signals| {
            let panels = match given.get("show").map(String::as_str) {
                Some("0") => Panels::One(0),
                Some("1") => Panels::One(1),
                _ => Panels::Over,
            };
            match signals.image(panels, 720) {
                Ok(bytes) => ([(header::CONTENT_TYPE, "image/png")], bytes).into_response(),
                Err(refused) => (
                    StatusCode::NOT_FOUND,
                    format!("{}\n", refused.complaints()[0].message),
                )
                    .into_response(),
            }
        })
    })
    .await
}

/// The curves of a pin, as SVG.
pub async fn drawing(
    State(bench): State<Bench>,
    Path(name): Path<String>,
    Query(given): Query<Given>,
) -> Response {
    blocking(move || {
        with(&bench, &name, &given, |_, _, signals| {
            match &signals.view.curve {
                Some(view) => {
                    let text = bench::signal::curve::svg(view, true);
                    ([(header::CONTENT_TYPE, "image/svg+xml")], text).into_response()
                }
                None => (
                    StatusCode::NOT_FOUND,
                    "These recordings are no curve of a pin.\n",
                )
                    .into_response(),
            }
        })
    })
    .await
}
