//! Pictures of a tube from X, Y and blanking: drawn, and held against the other unit's or a known figure, as plain view data.

mod told;

use ::signal::capture::Trace;
use ::signal::tube::paint::{Screen, Window, bright, expose, png, usual};
use ::signal::tube::{Beam, Light, Picture};
use ::signal::{Capture, axis::Axis};

use super::{Asked, Recording, take};
use crate::refused::Refused;

pub use told::{
    CharacterView, PictureView, StrokeView, TermView, TubeView, figure, figure_words, held, plates,
    text, tube, tube_words,
};

/// What a person said about a picture besides its file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct How {
    /// Channel of the horizontal deflection; `x` if not said.
    pub x: Option<String>,
    /// Channel of the vertical deflection.
    pub y: Option<String>,
    /// Channel that lights or darkens the beam.
    pub blank: Option<String>,
    /// Its high level is dark; by its name if not said.
    pub high_is_dark: Option<bool>,
    /// Seconds in which the light falls to 1/e.
    pub persistence: Option<f64>,
}

/// A recording of a picture.
pub struct Scope {
    /// Its file.
    pub file: String,
    /// What was assumed.
    pub notes: Vec<String>,
    /// Units of X and of Y.
    pub units: [String; 2],
    axis: Axis,
    x: Vec<f32>,
    y: Vec<f32>,
    blank: Option<(Vec<f32>, bool)>,
    persistence: Option<f64>,
}

/// Names by which channels are known without being told.
const BLANKS: [&str; 8] = [
    "z",
    "blank",
    "blanking",
    "unblank",
    "unblanking",
    "bright",
    "brightness",
    "intensity",
];

impl Scope {
    /// Reads a recording.
    ///
    /// # Errors
    /// If the file is at fault, or it is not said which channels are X and Y.
    pub fn read(recording: Recording, asked: &Asked, how: &How) -> Result<Scope, Refused> {
        let file = recording.file.clone();
        let capture = take(recording, asked)?;
        Scope::of(&capture, &file, how)
    }

    /// Whether a capture names channels that make a picture.
    pub fn is_picture(capture: &Capture) -> bool {
        let has = |n: &str| {
            capture
                .channels
                .iter()
                .any(|c| c.name.eq_ignore_ascii_case(n))
        };
        has("x") && has("y")
    }

    /// The picture in a capture.
    ///
    /// # Errors
    /// If it is not said which channels are X and Y, or they are no recordings of volts.
    pub fn of(capture: &Capture, file: &str, how: &How) -> Result<Scope, Refused> {
        let mut notes = capture.notes.clone();
        let (x, axis) = sampled(capture, file, how.x.as_deref().unwrap_or("x"), "--x")?;
        let (y, other) = sampled(capture, file, how.y.as_deref().unwrap_or("y"), "--y")?;
        if axis != other {
            return Err(Refused::input(
                format!("X and Y of `{file}` were not sampled at the same times."),
                "Record both in one go.",
            ));
        }
        let unit = |named: Option<&str>, usual: &str| {
            let name = named.unwrap_or(usual);
            let found = capture
                .channels
                .iter()
                .find(|c| c.name.eq_ignore_ascii_case(name));
            found.map_or(String::new(), |c| c.unit.clone())
        };
        let units = [unit(how.x.as_deref(), "x"), unit(how.y.as_deref(), "y")];
        let known = capture
            .channels
            .iter()
            .map(|c| c.name.as_str())
            .find(|n| BLANKS.iter().any(|b| n.eq_ignore_ascii_case(b)));
        let name = how.blank.as_deref().or(known);
        let blank = match name {
            None => {
                notes.push("No blanking was recorded: moves much faster than the drawing are taken as dark.".to_owned());
                None
            }
            Some(name) => {
                let lower = name.to_ascii_lowercase();
                let by_name = lower.starts_with("blank");
                let dark = how.high_is_dark.unwrap_or(by_name);
                if how.high_is_dark.is_none() {
                    let what = if dark { "dark" } else { "lit" };
                    notes.push(format!(
                        "The high level of {name} is taken as {what}, by its name."
                    ));
                }
                Some((levels_of(capture, file, name, &axis, x.len())?, !dark))
            }
        };
        Ok(Scope {
            file: file.to_owned(),
            notes,
            units,
            axis,
            x,
            y,
            blank,
            persistence: how.persistence,
        })
    }

    fn beam(&self) -> Result<Beam<'_>, Refused> {
        let light = match &self.blank {
            Some((z, high)) => Light::Signal(z, *high),
            None => Light::Speed,
        };
        Beam::new(&self.axis, &self.x, &self.y, light).map_err(|why| {
            Refused::input(
                format!("`{}` makes no picture: {why}", self.file),
                "Record X, Y and the blanking of at least one whole picture.",
            )
        })
    }

    /// Its strokes.
    ///
    /// # Errors
    /// If there is no picture, or it is nothing but noise.
    pub fn picture(&self) -> Result<Picture, Refused> {
        Picture::of(&self.beam()?).ok_or_else(|| {
            Refused::input(
                format!(
                    "`{}` holds more different strokes than any picture has.",
                    self.file
                ),
                "Look whether X and Y are quiet, and whether the picture stands still.",
            )
        })
    }
}

fn sampled(
    capture: &Capture,
    file: &str,
    name: &str,
    option: &str,
) -> Result<(Vec<f32>, Axis), Refused> {
    let plain = ::signal::read::unit::heading(name).0;
    let found = capture
        .channels
        .iter()
        .find(|c| c.name.eq_ignore_ascii_case(name) || c.name.eq_ignore_ascii_case(&plain));
    let names: Vec<&str> = capture
        .channels
        .iter()
        .map(|c| c.name.as_str())
        .take(20)
        .collect();
    match found.map(|c| &c.trace) {
        Some(Trace::Sampled { axis, samples }) => Ok((samples.clone(), axis.as_ref().clone())),
        Some(Trace::Stepped(_)) => Err(Refused::input(
            format!("`{name}` of `{file}` holds logic levels, no deflection."),
            "Record it with an analogue channel.",
        )),
        None => Err(Refused::input(
            format!("`{file}` has no channel `{name}`."),
            format!("Say which with {option} NAME; it has {}.", names.join(", ")),
        )),
    }
}

/// A blanking channel as levels at the samples of the deflection.
fn levels_of(
    capture: &Capture,
    file: &str,
    name: &str,
    axis: &Axis,
    count: usize,
) -> Result<Vec<f32>, Refused> {
    let found = capture
        .channels
        .iter()
        .find(|c| c.name.eq_ignore_ascii_case(name));
    if let Some(Trace::Stepped(steps)) = found.map(|c| &c.trace) {
        let at = |k: usize| {
            let next = steps.times.partition_point(|t| *t <= axis.time(k as f64));
            next.checked_sub(1)
                .and_then(|i| steps.values[i])
                .unwrap_or(0.0)
        };
        return Ok((0..count).map(at).collect());
    }
    sampled(capture, file, name, "--blank").map(|(samples, _)| samples)
}

/// How a picture is coloured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Ink {
    Alone,
    First,
    Second,
}

impl Ink {
    /// Red, green, blue; the inks of two pictures add up to white.
    fn colour(self) -> [f32; 3] {
        match self {
            Ink::Alone => [225.0, 240.0, 215.0],
            Ink::First => [255.0, 150.0, 40.0],
            Ink::Second => [0.0, 150.0, 255.0],
        }
    }
}

/// Which panels an image has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Panels {
    /// One of the pictures, by its number.
    One(usize),
    /// The first two over each other.
    Over,
    /// Every picture, then the first two over each other.
    All,
}

/// The part of the plane that pictures are drawn in; none if there is no picture.
pub(crate) fn window_of(scopes: &[&Scope]) -> Option<Window> {
    let extents: Vec<_> = scopes
        .iter()
        .filter_map(|s| s.beam().ok())
        .map(|b| b.extent())
        .collect();
    (!extents.is_empty()).then(|| Window::around(&extents))
}

/// Draws pictures at one scale and one brightness, as a PNG file; `side` is a panel's in pixels.
///
/// # Errors
/// If a recording makes no picture.
pub fn image(scopes: &[&Scope], panels: Panels, side: usize) -> Result<Vec<u8>, Refused> {
    let side = side.clamp(32, 2048);
    let beams: Vec<Beam> = scopes.iter().map(|s| s.beam()).collect::<Result<_, _>>()?;
    let extents: Vec<_> = beams.iter().map(Beam::extent).collect();
    let window = Window::around(&extents);
    let planes: Vec<Vec<f32>> = beams
        .iter()
        .zip(scopes)
        .map(|(beam, scope)| {
            let screen = Screen {
                side,
                spot: side as f64 / 400.0,
                persistence: scope.persistence,
            };
            expose(beam, &window, &screen)
        })
        .collect();
    // a unit recorded for longer is not brighter for that: each is held against its own usual stroke
    let usuals: Vec<f32> = planes.iter().map(|p| usual(p)).collect();
    let over = [(0, Ink::First), (1, Ink::Second)];
    let mut drawn: Vec<Vec<(usize, Ink)>> = Vec::new();
    if let Panels::One(k) = panels {
        drawn.push(vec![(k.min(planes.len() - 1), Ink::Alone)]);
    }
    if panels == Panels::All {
        drawn.extend((0..planes.len()).map(|k| vec![(k, Ink::Alone)]));
    }
    if panels != Panels::One(0) && planes.len() > 1 && !matches!(panels, Panels::One(_)) {
        drawn.push(over.to_vec());
    }
    let width = side * drawn.len() + drawn.len().saturating_sub(1);
    let mut pixels = vec![90u8; 3 * width * side];
    for (n, layers) in drawn.iter().enumerate() {
        for row in 0..side {
            for column in 0..side {
                let at = 3 * (row * width + n * (side + 1) + column);
                let mut sum = [10f32, 11.0, 10.0];
                for (k, ink) in layers {
                    let light = bright(planes[*k][row * side + column], usuals[*k]);
                    for (s, c) in sum.iter_mut().zip(ink.colour()) {
                        *s += light * c;
                    }
                }
                for (p, s) in pixels[at..at + 3].iter_mut().zip(sum) {
                    *p = s.min(255.0) as u8;
                }
            }
        }
    }
    Ok(png(width, side, &pixels))
}
