//! A recorded signal of both units: where they first part, what to draw of any stretch of time, and the picture on the tube.

mod windows;

use ::signal::Capture;
use ::signal::align::Alignment;
use ::signal::capture::Trace;
use ::signal::pyramid::Pyramid;
use record::State;
use serde::Serialize;
use sheet::Sheet;

use crate::refused::{Complaint, Refused};
use crate::signal::curve::{self, CurveView, Pin};
use crate::signal::known::{Judged, Known, Sequences, judge, sequences};
use crate::signal::picture::{
    self, How, Panels, PictureView, Scope, TubeView, held, image, window_of,
};
use crate::signal::{
    Asked, CompareView, DifferenceView, MeasureView, Recording, laid, mark_varying, measured, take,
};

/// A recording and the unit that it is of.
pub struct Recorded<'a> {
    /// The unit.
    pub unit: String,
    /// Its file.
    pub recording: Recording<'a>,
}

/// One unit's recording, ready to be drawn at any scale.
struct Opened {
    unit: String,
    file: String,
    capture: Capture,
    pyramids: Vec<Option<Pyramid>>,
}

/// What is known of a set of recordings, and where on which sheets it was taken.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Taken {
    /// The text about it.
    pub known: Option<Known>,
    /// Of a curve: the board's sheet as each unit is built, by the unit's name.
    pub sheets: Vec<(String, Sheet)>,
}

/// Recordings of one signal, opened.
pub struct Signals {
    /// What the page says.
    pub view: View,
    opened: Vec<Opened>,
    pairs: Vec<(usize, Option<usize>)>,
    alignment: Option<Alignment>,
    scopes: Vec<Scope>,
}

/// What the page of a signal says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct View {
    /// Units that were recorded, with their files; the first two are compared.
    pub units: Vec<(String, String)>,
    /// Names and units of the channels that are drawn.
    pub channels: Vec<(String, String)>,
    /// First and last time on the first unit's axis, seconds.
    pub span: Option<[f64; 2]>,
    /// The comparison of the first two units.
    pub compared: Option<CompareView>,
    /// What was measured on each unit.
    pub measured: Vec<(String, MeasureView)>,
    /// The pictures held against each other; that of one unit has strokes only.
    pub picture: Option<PictureView>,
    /// The curves of a pin, if that is what was recorded.
    pub curve: Option<CurveView>,
    /// Figures that are expected, with what was measured of them.
    pub judged: Vec<Judged>,
    /// Words in sequence.
    pub sequences: Option<Sequences>,
    /// What is known of these recordings.
    pub known: Option<Known>,
    /// What could not be used.
    pub remarks: Vec<Complaint>,
}

impl View {
    /// All differences with the channel that they are in, in order of time.
    pub fn differences(&self) -> Vec<(&str, &DifferenceView)> {
        let channels = self.compared.iter().flat_map(|c| &c.channels);
        let mut all: Vec<(&str, &DifferenceView)> = channels
            .flat_map(|c| c.differences.iter().map(|d| (c.name.as_str(), d)))
            .collect();
        all.sort_by(|a, b| a.1.at_a.total_cmp(&b.1.at_a));
        all
    }
}

/// A stroke that is marked on a picture, in thousandths of its side from the upper left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// Its number among the differences, from 1.
    pub number: usize,
    /// On which picture.
    pub picture: usize,
    /// Where it begins.
    pub from: [f64; 2],
    /// Where it ends.
    pub to: [f64; 2],
}

/// A stretch of time, as it is to be drawn.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Window {
    /// Its ends on the first unit's axis, seconds.
    pub from: f64,
    /// Its end.
    pub to: f64,
    /// The channels.
    pub channels: Vec<Lane>,
}

/// One channel of a window.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Lane {
    /// Its name.
    pub name: String,
    /// Symbol of its unit.
    pub unit: String,
    /// Least and greatest value of the whole recordings.
    pub low: f32,
    /// Greatest value.
    pub high: f32,
    /// One trace a unit.
    pub traces: Vec<Drawn>,
}

/// A trace of one unit in a window.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Drawn {
    /// So few samples that each is drawn: times on the first unit's axis, and values.
    Points {
        /// Seconds.
        t: Vec<f64>,
        /// Values.
        v: Vec<f32>,
        /// Each value holds until the next one's time.
        steps: bool,
    },
    /// Least and greatest of each of equal columns; none where nothing was recorded.
    Columns {
        /// Least values.
        low: Vec<Option<f32>>,
        /// Greatest values.
        high: Vec<Option<f32>>,
    },
}

impl Signals {
    /// Opens the recordings of a signal, in the order of the units. What cannot be used becomes a remark.
    /// `again` are other recordings of the first unit, by which it is learned what varies by itself.
    pub fn open(
        recordings: Vec<Recorded>,
        again: Vec<Recording>,
        asked: &Asked,
        taken: &Taken,
    ) -> Signals {
        let mut view = View {
            known: taken.known.clone(),
            ..View::default()
        };
        let is_curve = taken
            .known
            .as_ref()
            .is_some_and(|k| k.about.curve.is_some());
        let mut opened: Vec<Opened> = Vec::new();
        for r in recordings {
            let file = r.recording.file.clone();
            view.units.push((r.unit.clone(), file.clone()));
            let read = if is_curve {
                curve::timeless(r.recording, asked)
            } else {
                take(r.recording, asked)
            };
            match read {
                Ok(capture) => opened.push(Opened {
                    pyramids: capture
                        .channels
                        .iter()
                        .map(|c| windows::pyramid(&c.trace))
                        .collect(),
                    unit: r.unit,
                    file,
                    capture,
                }),
                Err(refused) => view.remarks.extend_from_slice(refused.complaints()),
            }
        }
        let mut signals = Signals {
            view,
            opened,
            pairs: Vec::new(),
            alignment: None,
            scopes: Vec::new(),
        };
        signals.look(asked, taken);
        signals.hold_again(again, asked);
        signals
    }

    fn look(&mut self, asked: &Asked, taken: &Taken) {
        let Some(first) = self.opened.first() else {
            return;
        };
        let told = taken.known.as_ref().and_then(|k| k.about.curve.as_ref());
        if told.is_some() || self.opened.iter().all(|o| curve::is_curve(&o.capture)) {
            match curves(&self.opened, taken) {
                Ok(view) => self.view.curve = Some(view),
                Err(refused) => self.view.remarks.extend_from_slice(refused.complaints()),
            }
            return;
        }
        let is_picture = self.opened.iter().all(|o| Scope::is_picture(&o.capture));
        self.pairs = (0..first.capture.channels.len())
            .map(|k| (k, None))
            .collect();
        match self.opened.get(1) {
            Some(second) if !is_picture => {
                match laid(
                    &first.capture,
                    &second.capture,
                    [&first.file, &second.file],
                    asked,
                ) {
                    Ok(found) => {
                        self.pairs = found.pairs.iter().map(|(i, j)| (*i, Some(*j))).collect();
                        self.alignment = found.alignment;
                        self.view.compared = Some(found.view);
                    }
                    Err(refused) => self.view.remarks.extend_from_slice(refused.complaints()),
                }
            }
            // pictures are held against each other as pictures; as signals they lie by name
            Some(second) => {
                let twin = |name: &str| second.capture.channels.iter().position(|c| c.name == name);
                for (k, j) in &mut self.pairs {
                    *j = twin(&first.capture.channels[*k].name);
                }
            }
            None => {}
        }
        let named = |(k, _): &(usize, Option<usize>)| {
            let c = &first.capture.channels[*k];
            (c.name.clone(), c.unit.clone())
        };
        self.view.channels = self.pairs.iter().map(named).collect();
        let spans = first.capture.channels.iter().filter_map(|c| c.trace.span());
        self.view.span = spans
            .reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
            .map(|s| [s.0, s.1]);
        if is_picture {
            let (scopes, complaints) = scopes(&self.opened);
            self.view.picture = pictures(&scopes, &self.opened, &mut self.view.remarks);
            if let Some(known) = &taken.known
                && let Some(view) = &mut self.view.picture
            {
                match tubes(known, scopes.last()) {
                    Ok(found) => view.tube = found,
                    Err(refused) => self.view.remarks.extend_from_slice(refused.complaints()),
                }
            }
            self.scopes = scopes;
            self.view.remarks.extend(complaints);
        } else {
            for o in &self.opened {
                match measured(&o.capture, &o.file, asked) {
                    Ok(m) => self.view.measured.push((o.unit.clone(), m)),
                    Err(refused) => self.view.remarks.extend_from_slice(refused.complaints()),
                }
            }
        }
        if let Some(known) = &taken.known {
            let held: Vec<(&str, &Capture)> = self
                .opened
                .iter()
                .map(|o| (o.unit.as_str(), &o.capture))
                .collect();
            self.view.judged = judge(known, &held);
            match sequences(known, &held) {
                Some(Ok(found)) => self.view.sequences = Some(found),
                Some(Err(refused)) => self.view.remarks.extend_from_slice(refused.complaints()),
                None => {}
            }
        }
    }

    /// Marks differences that the first unit shows to itself, too.
    fn hold_again(&mut self, again: Vec<Recording>, asked: &Asked) {
        let (Some(view), Some(first)) = (&mut self.view.compared, self.opened.first()) else {
            return;
        };
        for one in again {
            let file = one.file.clone();
            let own = take(one, asked)
                .and_then(|other| laid(&first.capture, &other, [&first.file, &file], asked));
            // what cannot be read is told where it is shown
            if let Ok(own) = own {
                mark_varying(view, &own.view);
                view.notes.push(format!(
                    "Unit {} was held against its own {file}, to learn what varies by itself.",
                    first.unit
                ));
            }
        }
    }

    /// What to draw of a stretch of time on the first unit's axis, in so many columns.
    pub fn window(&self, from: f64, to: f64, columns: usize) -> Window {
        let columns = columns.clamp(16, 4096);
        let whole = self.view.span.unwrap_or([0.0, 1.0]);
        let is_stretch = from.is_finite() && to.is_finite() && to > from;
        let (from, to) = if is_stretch {
            (from, to)
        } else {
            (whole[0], whole[1])
        };
        let lane = |(i, j): &(usize, Option<usize>)| {
            let mut traces = Vec::new();
            let (mut low, mut high) = (f32::INFINITY, f32::NEG_INFINITY);
            for (n, (o, k)) in self.opened.iter().zip([Some(*i), *j]).enumerate() {
                let Some(k) = k else { continue };
                let lies = (n == 1).then_some(self.alignment.as_ref()).flatten();
                let trace = &o.capture.channels[k].trace;
                traces.push(windows::drawn(
                    trace,
                    o.pyramids[k].as_ref(),
                    lies,
                    [from, to],
                    columns,
                ));
                let extent = windows::extent(trace, o.pyramids[k].as_ref());
                (low, high) = (low.min(extent.0), high.max(extent.1));
            }
            let channel = &self.opened[0].capture.channels[*i];
            Lane {
                name: channel.name.clone(),
                unit: channel.unit.clone(),
                low: if low.is_finite() { low } else { 0.0 },
                high: if high.is_finite() { high } else { 1.0 },
                traces,
            }
        };
        Window {
            from,
            to,
            channels: self.pairs.iter().map(lane).collect(),
        }
    }

    /// Where the strokes that differ are on the pictures: what unit 2 lacks on that of unit 1, the others on its own.
    pub fn marks(&self) -> Vec<Mark> {
        let Some(window) = window_of(&self.scopes.iter().collect::<Vec<_>>()) else {
            return Vec::new();
        };
        let place = |p: [f64; 2]| {
            let share = |a: usize| (p[a] - window.middle[a]) / window.half;
            [500.0 * (1.0 + share(0)), 500.0 * (1.0 - share(1))]
        };
        let differences = self.view.picture.iter().flat_map(|p| &p.differences);
        let mark = |(n, d): (usize, &crate::signal::picture::StrokeView)| Mark {
            number: n + 1,
            picture: usize::from(d.kind != "missing"),
            from: place(d.ends[0]),
            to: place(d.ends[1]),
        };
        differences.enumerate().map(mark).collect()
    }

    /// The pictures as a PNG file.
    ///
    /// # Errors
    /// If there is no picture.
    pub fn image(&self, panels: Panels, side: usize) -> Result<Vec<u8>, Refused> {
        if self.scopes.is_empty() {
            return Err(Refused::input(
                "These recordings make no picture.",
                "Name the channels x and y.",
            ));
        }
        image(&self.scopes.iter().collect::<Vec<_>>(), panels, side)
    }
}

/// What the tube's dimensions say of its deflection, by the electrostatic formula.
fn tubes(known: &Known, last: Option<&Scope>) -> Result<Vec<TubeView>, Refused> {
    let mut found = Vec::new();
    let Some(tube) = &known.about.tube else {
        return Ok(found);
    };
    let extent = last.and_then(|s| Some((s.picture().ok()?.extent(), &s.units)));
    for (axis, name, plates) in [(0, "X", &tube.x), (1, "Y", &tube.y)] {
        if let Some(plates) = plates {
            let plates = picture::plates(plates, tube.anode)?;
            let in_volts = extent.as_ref().filter(|(_, units)| units[axis] == "V");
            let span = in_volts.map(|(e, _)| e[axis][1] - e[axis][0]);
            found.push(picture::tube(name, &plates, span));
        }
    }
    Ok(found)
}

/// The curves of a pin, on the sheets as the units are built.
fn curves(opened: &[Opened], taken: &Taken) -> Result<CurveView, Refused> {
    let told = taken.known.as_ref().and_then(|k| k.about.curve.as_ref());
    let how = told.map_or_else(curve::How::default, |t| curve::How {
        volts: t.volts.clone(),
        amps: t.amps.clone(),
        shunt: t.shunt,
        ..curve::How::default()
    });
    let mut sweeps = Vec::new();
    for o in opened.iter().take(2) {
        let name = format!("unit {}", o.unit);
        sweeps.push((name, curve::of(&o.capture, &o.file, &how)?));
    }
    let pin = |o: &Opened| {
        let told = told?;
        let unit = o.unit.split(' ').next().unwrap_or_default();
        let sheet = taken.sheets.iter().find(|s| s.0 == unit)?.1.clone();
        Some(Pin {
            sheet,
            red: told.red.clone(),
            black: told.black.clone(),
            state: if told.powered {
                State::Powered
            } else {
                State::Cold
            },
        })
    };
    let pins: Vec<Pin> = opened.iter().take(2).filter_map(pin).collect();
    // without the sheet of every unit nothing is expected of any
    let pins = if pins.len() == sweeps.len() {
        pins
    } else {
        Vec::new()
    };
    curve::hold(&sweeps, &pins, &how)
}

fn scopes(opened: &[Opened]) -> (Vec<Scope>, Vec<Complaint>) {
    let (mut good, mut bad) = (Vec::new(), Vec::new());
    for o in opened {
        match Scope::of(&o.capture, &o.file, &How::default()) {
            Ok(scope) => good.push(scope),
            Err(refused) => bad.extend_from_slice(refused.complaints()),
        }
    }
    (good, bad)
}

fn pictures(
    scopes: &[Scope],
    opened: &[Opened],
    remarks: &mut Vec<Complaint>,
) -> Option<PictureView> {
    let mut drawn = Vec::new();
    for (scope, o) in scopes.iter().zip(opened) {
        match scope.picture() {
            Ok(p) => drawn.push((p, scope, format!("unit {}", o.unit))),
            Err(refused) => remarks.extend_from_slice(refused.complaints()),
        }
    }
    let mut view = match &drawn[..] {
        [] => return None,
        [(one, _, name)] => PictureView {
            names: vec![name.clone()],
            strokes: vec![one.strokes.len()],
            ..PictureView::default()
        },
        [(a, scope, first), (b, _, second), ..] => {
            let units = [scope.units[0].as_str(), scope.units[1].as_str()];
            held(a, b, [first, second], units)
        }
    };
    for (_, scope, name) in &drawn {
        view.notes
            .extend(scope.notes.iter().map(|n| format!("{name}: {n}")));
    }
    Some(view)
}

/// Whether bytes can be read as a recording.
///
/// # Errors
/// Why not.
pub fn check(file: &str, bytes: &[u8], asked: &Asked) -> Result<(), Refused> {
    let recording = Recording {
        file: file.to_owned(),
        bytes: Box::new(bytes),
    };
    let capture = take(recording, asked)?;
    let holds = |t: &Trace| t.span().is_some_and(|s| s.1 > s.0);
    if capture.channels.iter().any(|c| holds(&c.trace)) {
        return Ok(());
    }
    Err(Refused::input(
        "The file holds no stretch of time.",
        "Record at least a few samples.",
    ))
}
