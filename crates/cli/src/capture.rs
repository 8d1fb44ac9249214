//! Verbs about recorded waveforms.

use std::fs::File;
use std::path::Path;
use std::process::ExitCode;

use bench::Refused;
use bench::signal::curve::{self, CurveView};
use bench::signal::known::{self, JudgedView, Known};
use bench::signal::picture::{self, How, Panels, PictureView, Scope};
use bench::signal::{self, Asked, CompareView, Recording};

use crate::arguments::{CaptureCommon, CaptureCurve, CapturePicture, CaptureVerb, Lit};
use crate::board::state_word;
use crate::{files, output};

/// Measures a recording, or compares two.
pub fn run(verb: CaptureVerb) -> ExitCode {
    match verb {
        CaptureVerb::Measure {
            file,
            channel,
            common,
        } => {
            let asked = asked(&common, channel, None);
            let view =
                open(&file).and_then(|recording| signal::measure_recording(recording, &asked));
            output::answer(view, common.json, signal::measure_text)
        }
        CaptureVerb::Compare {
            a,
            b,
            channel,
            tolerance,
            by,
            again,
            common,
        } => {
            let asked = asked(&common, channel, tolerance);
            let view = open(&a)
                .and_then(|a| Ok((a, open(&b)?)))
                .and_then(|(a, b)| {
                    let again: Result<Vec<_>, _> = again.iter().map(|f| open(f)).collect();
                    signal::compare_with_repeats(a, b, again?, &asked)
                })
                .and_then(|view| ranked(view, by.as_deref()));
            output::answer(view, common.json, signal::compare_text)
        }
        CaptureVerb::Judge { a, b, by, common } => {
            let view = judged(&a, b.as_deref(), &by, &asked(&common, None, None));
            output::answer(view, common.json, known::judged_text)
        }
        CaptureVerb::Picture(given) => {
            output::answer(drawn(&given), given.common.json, picture::text)
        }
        CaptureVerb::Curve(given) => {
            output::answer(curves(&given), given.common.json, curve::plain)
        }
    }
}

/// A comparison with what drives what in it, if a text says that.
fn ranked(mut view: CompareView, by: Option<&Path>) -> Result<CompareView, Refused> {
    if let Some(by) = by {
        let known = Known::read_strictly(&files::read(by)?)?;
        view.sources = known::sources(Some(&known), &view, &|_, _, _| true);
    }
    Ok(view)
}

/// Holds recordings against what is known of them.
fn judged(a: &Path, b: Option<&Path>, by: &Path, asked: &Asked) -> Result<JudgedView, Refused> {
    let known = Known::read_strictly(&files::read(by)?)?;
    let mut all = vec![("A".to_owned(), open(a)?)];
    if let Some(b) = b {
        all.push(("B".to_owned(), open(b)?));
    }
    known::judge_recordings(&known, all, asked)
}

/// Draws the curves of a pin, and holds them against each other and against the sheet.
fn curves(given: &CaptureCurve) -> Result<CurveView, Refused> {
    let asked = asked(&given.common, None, None);
    let how = curve::How {
        volts: given.volts.clone(),
        amps: given.amps.clone(),
        shunt: given.shunt,
        accuracy: given.accuracy.unwrap_or(curve::ACCURACY),
    };
    let mut sweeps = Vec::new();
    for (name, file) in [("A", Some(&given.a)), ("B", given.b.as_ref())] {
        if let Some(file) = file {
            sweeps.push((name.to_owned(), curve::read(open(file)?, &asked, &how)?));
        }
    }
    let pins = match (&given.sheet, &given.red, &given.black) {
        (Some(sheet), Some(red), Some(black)) => {
            let pin = curve::pin(&files::read(sheet)?, red, black, state_word(given.state))?;
            vec![pin; sweeps.len()]
        }
        _ => Vec::new(),
    };
    let mut view = curve::hold(&sweeps, &pins, &how)?;
    if let Some(path) = &given.output {
        if path
            .extension()
            .is_none_or(|e| !e.eq_ignore_ascii_case("svg"))
        {
            return Err(Refused::input(
                format!("`{}` is not the name of an SVG file.", path.display()),
                "Curves are drawn as SVG: let the name end in .svg.",
            ));
        }
        std::fs::write(path, curve::svg(&view, true)).map_err(|e| {
            Refused::unable(
                format!("`{}` cannot be written: {e}.", path.display()),
                "Name a file in a folder that may be written.",
            )
        })?;
        view.notes.push(format!("Drawn into {}.", path.display()));
    }
    Ok(view)
}

/// Draws a picture, and holds it against another.
fn drawn(given: &CapturePicture) -> Result<PictureView, Refused> {
    let asked = asked(&given.common, None, None);
    let how = How {
        x: given.x.clone(),
        y: given.y.clone(),
        blank: given.blank.clone(),
        high_is_dark: given.lit.map(|l| l == Lit::Low),
        persistence: given.persistence,
    };
    let first = Scope::read(open(&given.a)?, &asked, &how)?;
    let second = match &given.b {
        Some(b) => Some(Scope::read(open(b)?, &asked, &how)?),
        None => None,
    };
    let units = [first.units[0].as_str(), first.units[1].as_str()];
    let own = first.picture()?;
    let shown = second.as_ref().map(Scope::picture).transpose()?;
    let mut view = match (&given.figure, &shown) {
        (Some(file), _) => {
            let text = files::read(file)?;
            let figure = picture::figure(&text.text, &text.file)?;
            picture::held(&figure, &own, ["the figure", "the picture"], units)
        }
        (None, Some(other)) => picture::held(&own, other, ["A", "B"], units),
        (None, None) => PictureView {
            names: vec!["A".to_owned()],
            strokes: vec![own.strokes.len()],
            ..PictureView::default()
        },
    };
    let extent = shown.as_ref().unwrap_or(&own).extent();
    for (axis, name, plates) in [(0, "X", &given.plates_x), (1, "Y", &given.plates_y)] {
        if let (Some(plates), Some(anode)) = (plates, given.anode) {
            let plates = picture::plates(plates, anode)?;
            let span = (units[axis] == "V").then(|| extent[axis][1] - extent[axis][0]);
            view.tube.push(picture::tube(name, &plates, span));
        }
    }
    let said = |name: &str, s: &Scope| {
        s.notes
            .iter()
            .map(|n| format!("{name}: {n}"))
            .collect::<Vec<_>>()
    };
    view.notes.extend(said("A", &first));
    view.notes.extend(second.iter().flat_map(|s| said("B", s)));
    if let Some(path) = &given.output {
        let scopes: Vec<&Scope> = std::iter::once(&first).chain(&second).collect();
        let bytes = picture::image(&scopes, Panels::All, given.side)?;
        std::fs::write(path, bytes).map_err(|e| {
            Refused::unable(
                format!("`{}` cannot be written: {e}.", path.display()),
                "Name a file in a folder that may be written.",
            )
        })?;
        view.notes.push(format!("Drawn into {}.", path.display()));
    }
    Ok(view)
}

pub(crate) fn asked(
    common: &CaptureCommon,
    channel: Option<String>,
    tolerance: Option<f64>,
) -> Asked {
    Asked {
        interval: common.interval,
        full_scale: common.full_scale,
        channel,
        tolerance,
    }
}

pub(crate) fn open(path: &Path) -> Result<Recording<'static>, Refused> {
    let file = path.display().to_string();
    match File::open(path) {
        Ok(bytes) => Ok(Recording {
            file,
            bytes: Box::new(bytes),
        }),
        Err(e) => Err(Refused::input(
            format!("`{file}` cannot be read: {e}."),
            "Check the name, and that the file may be read.",
        )),
    }
}
