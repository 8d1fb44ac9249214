//! Signals: where two units first part, any stretch of time of both, and the picture on the tube.

mod overlay;
mod send;
mod tube;

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use bench::captures::{CaptureSet, unit_of};
use bench::pages::signals::{Recorded, Signals};
use bench::signal::picture::Panels;
use bench::signal::{Asked, Recording};
use maud::html;
use store::record::{Digest, Event};

use super::enter::Given;
use super::ledger::coded;
use super::room::{framed, others};
use super::{Bench, blocking, problem, version};
use crate::project::Now;

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

    fn signals(&self, bench: &Bench, now: &Now, set: &Set) -> Arc<Signals> {
        let picked = set.picked(&units(now));
        let stamp = version(&picked);
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
        let mut signals = Signals::open(recordings, &Asked::default());
        let lost = unread
            .into_iter()
            .map(|why| ::bench::Complaint::new(why, "Check that it may be read."));
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
}

impl Set {
    /// What is shown: the last recording of each unit; where only one unit was recorded, its last two.
    fn picked(&self, units: &[String]) -> Vec<(String, Held)> {
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

/// The room of the recordings among the names that the ledger gives to files.
const ROOM: &str = "captures/";

/// All sets: those of the folder, with what the ledger keeps of each, and those of the ledger alone.
fn sets(bench: &Bench, now: &Now) -> Vec<Set> {
    let of_folder = |s: &CaptureSet| Set {
        name: s.name.clone(),
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
    make: impl FnOnce(&Now, &Set, &Signals) -> Response,
) -> Response {
    let now = bench.now();
    match sets(bench, &now).iter().find(|s| s.name == name) {
        Some(set) => make(&now, set, &bench.signals.signals(bench, &now, set)),
        None => problem(
            bench,
            &now.project,
            &format!("There is no recording {name} in this project."),
            "A recording is named by its folder, captures/NAME.",
        ),
    }
}

/// The page of one signal.
pub async fn page(
    State(bench): State<Bench>,
    Path(name): Path<String>,
    Query(given): Query<Given>,
) -> Response {
    blocking(move || {
        with(&bench, &name, |now, set, signals| {
            let all: Vec<String> = sets(&bench, now).into_iter().map(|s| s.name).collect();
            let ends = ends(&given);
            let main = html! {
                (others("Signals", &all, &name, address))
                h1 { "Signals: " (name) }
                @if signals.view.picture.is_some() {
                    (tube::section(&name, signals))
                    details id="signals" { summary { "X, Y and blanking against time" } (overlay::section(&name, signals, ends)) }
                } @else {
                    (overlay::section(&name, signals, ends))
                }
                (overlay::measured(signals))
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
        with(&bench, &name, |_, _, signals| {
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
        with(&bench, &name, |_, _, signals| {
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
