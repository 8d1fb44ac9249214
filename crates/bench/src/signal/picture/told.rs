//! What is said of pictures that are held against each other: the geometry, strokes and characters, and the tube's own figures.

use ::signal::differences::engineering;
use ::signal::tube::deflection::Plates;
use ::signal::tube::words::{Term, terms};
use ::signal::tube::{Compared, Picture, Stroke, characters, compare};
use serde::Serialize;
use units::Volts;

use crate::refused::{Complaint, Refused};
use crate::table::{Align, aligned};

/// A known figure: CSV with the columns stroke, x, y; the corners of a stroke stand in consecutive rows under its name.
///
/// # Errors
/// If a row is no stroke's corner.
pub fn figure(text: &str, file: &str) -> Result<Picture, Refused> {
    let mut corners: Vec<(String, Vec<[f64; 2]>)> = Vec::new();
    let bad = |line: usize, message: String| {
        Refused::Input(vec![Complaint {
            file: Some(file.to_owned()),
            line: Some(line),
            ..Complaint::new(
                message,
                "Write the columns stroke,x,y: a name, and the place of a corner in volts.",
            )
        }])
    };
    for (n, line) in text.lines().enumerate() {
        let fields: Vec<&str> = line.split([',', ';', '\t']).map(str::trim).collect();
        if line.trim().is_empty()
            || line.starts_with('#')
            || (n == 0 && fields[0].eq_ignore_ascii_case("stroke"))
        {
            continue;
        }
        let [name, x, y] = fields[..] else {
            return Err(bad(
                n + 1,
                format!(
                    "This row has {} fields where three were expected.",
                    fields.len()
                ),
            ));
        };
        let value = |t: &str| match t.parse::<f64>() {
            Ok(v) if v.is_finite() => Ok(v),
            _ => Err(bad(n + 1, format!("`{t}` is not a number."))),
        };
        let corner = [value(x)?, value(y)?];
        match corners.last_mut() {
            Some((last, list)) if last == name => list.push(corner),
            _ => corners.push((name.to_owned(), vec![corner])),
        }
    }
    let strokes: Vec<Stroke> = corners
        .iter()
        .filter_map(|(n, c)| Stroke::along(n, c))
        .collect();
    if strokes.is_empty() {
        return Err(bad(1, "The figure has no stroke.".to_owned()));
    }
    Ok(Picture { strokes })
}

/// One term of the geometry.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TermView {
    /// What it is, with its axis.
    pub term: String,
    /// Its value; absent if the picture does not tell.
    pub value: Option<f64>,
    /// Standard uncertainty.
    pub uncertainty: Option<f64>,
    /// `%` of half the picture's size, `deg`, or the channel's unit.
    pub unit: String,
    /// It is there: beyond chance, and large enough to be seen.
    pub stands: bool,
    /// How it looks.
    pub looks: String,
    /// What adjusts or causes it.
    pub cause: String,
}

impl From<Term> for TermView {
    fn from(t: Term) -> Self {
        Self {
            term: t.name,
            value: t.told.map(|t| t.value),
            uncertainty: t.told.map(|t| t.uncertainty).filter(|u| u.is_finite()),
            unit: t.unit,
            stands: t.stands,
            looks: t.looks,
            cause: t.cause.to_owned(),
        }
    }
}

/// A stroke that is missing, extra or off.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StrokeView {
    /// `missing`, `extra` or `moved`.
    pub kind: &'static str,
    /// Its name, or number and place.
    pub stroke: String,
    /// A sentence.
    pub detail: String,
    /// Where it begins, and where it ends.
    pub ends: [[f64; 2]; 2],
}

/// A character that is drawn otherwise, beside what the whole picture does.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CharacterView {
    /// Its number, along lines of writing.
    pub number: usize,
    /// A sentence.
    pub detail: String,
}

/// Two pictures held against each other.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct PictureView {
    /// What A and B are.
    pub names: Vec<String>,
    /// Strokes of A and of B.
    pub strokes: Vec<usize>,
    /// Strokes in both.
    pub matched: usize,
    /// The geometry; empty if there was no comparison.
    pub geometry: Vec<TermView>,
    /// Strokes that differ beside it.
    pub differences: Vec<StrokeView>,
    /// Characters that differ beside it.
    pub characters: Vec<CharacterView>,
    /// How many characters A has.
    pub of_characters: usize,
    /// Why there is no comparison.
    pub why_not: Option<String>,
    /// Deflection by the tube's dimensions.
    pub tube: Vec<TubeView>,
    /// What was assumed.
    pub notes: Vec<String>,
}

/// Holds picture B against picture A.
pub fn held(a: &Picture, b: &Picture, names: [&str; 2], units: [&str; 2]) -> PictureView {
    let mut view = PictureView {
        names: names.map(str::to_owned).to_vec(),
        strokes: vec![a.strokes.len(), b.strokes.len()],
        ..PictureView::default()
    };
    let compared = match compare(a, b) {
        Ok(compared) => compared,
        Err(why) => {
            view.why_not = Some(why.to_string());
            return view;
        }
    };
    view.matched = compared.pairs.len();
    view.geometry = terms(&compared.bend, units)
        .into_iter()
        .map(TermView::from)
        .collect();
    let groups = characters::characters(a);
    view.differences = strokes(a, b, &compared, &groups, names, units);
    view.of_characters = groups.len();
    view.characters = odd_characters(a, b, &compared, units);
    view
}

fn place(p: [f64; 2], extent: [[f64; 2]; 2]) -> &'static str {
    let third = |a: usize| {
        let wide = (extent[a][1] - extent[a][0]).max(f64::MIN_POSITIVE);
        (((p[a] - extent[a][0]) / wide * 3.0) as usize).min(2)
    };
    [
        ["lower left", "lower middle", "lower right"],
        ["left", "middle", "right"],
        ["upper left", "upper middle", "upper right"],
    ][third(1)][third(0)]
}

fn strokes(
    a: &Picture,
    b: &Picture,
    compared: &Compared,
    groups: &[Vec<usize>],
    names: [&str; 2],
    units: [&str; 2],
) -> Vec<StrokeView> {
    let (in_a, in_b) = (a.extent(), b.extent());
    let named = |k: usize| {
        let stroke = &a.strokes[k];
        let at = place(stroke.middle(), in_a);
        stroke.name.clone().unwrap_or_else(|| {
            match groups.iter().enumerate().find(|(_, g)| g.contains(&k)) {
                Some((n, g)) if g.len() > 1 => {
                    let nth = g.iter().position(|s| *s == k).unwrap_or(0) + 1;
                    format!("stroke {nth} of character {}, {at}", n + 1)
                }
                _ => format!("stroke {}, {at}", k + 1),
            }
        })
    };
    let ends = |s: &Stroke| [s.points[0], s.points[s.points.len() - 1]];
    let way = |s: &Stroke| {
        let [from, to] = ends(s).map(|p| {
            format!(
                "{}, {}",
                engineering(p[0], units[0]),
                engineering(p[1], units[1])
            )
        });
        format!("from {from} to {to}")
    };
    let missing = compared.missing.iter().map(|k| StrokeView {
        kind: "missing",
        stroke: named(*k),
        detail: format!(
            "{} does not draw it ({} of {}).",
            names[1],
            way(&a.strokes[*k]),
            names[0]
        ),
        ends: ends(&a.strokes[*k]),
    });
    let extra = compared.extra.iter().map(|k| {
        let stroke = &b.strokes[*k];
        StrokeView {
            kind: "extra",
            stroke: format!("stroke {}, {}", k + 1, place(stroke.middle(), in_b)),
            detail: format!("{} alone draws it, {}.", names[1], way(stroke)),
            ends: ends(stroke),
        }
    });
    let moved = compared
        .pairs
        .iter()
        .filter(|p| p.moved)
        .map(|p| StrokeView {
            kind: "moved",
            stroke: named(p.a),
            detail: format!(
                "It lies {} right and {} up of where the rest of {} would put it.",
                engineering(p.off[0], units[0]),
                engineering(p.off[1], units[1]),
                names[1]
            ),
            ends: ends(&b.strokes[p.b]),
        });
    missing.chain(moved).chain(extra).collect()
}

/// A character differs if place, size or shape are off by more than this share; chosen as what an eye sees.
const SEEN: f64 = 0.02;

fn odd_characters(
    a: &Picture,
    b: &Picture,
    compared: &Compared,
    units: [&str; 2],
) -> Vec<CharacterView> {
    let all = characters::compare(a, b, compared);
    let one = |(n, c): (usize, &characters::Character)| {
        let mut said = Vec::new();
        if c.missing == c.strokes.len() {
            said.push("is not drawn at all".to_owned());
        } else {
            if c.missing > 0 {
                said.push(format!(
                    "lacks {} of its {} strokes",
                    c.missing,
                    c.strokes.len()
                ));
            }
            if (0..2).any(|k| c.off[k].abs() > SEEN * compared.bend.half[k]) {
                let [x, y] = [0, 1].map(|k| engineering(c.off[k], units[k]));
                said.push(format!("stands {x} right and {y} up of its place"));
            }
            for (k, word) in ["wide", "high"].into_iter().enumerate() {
                if let Some(s) = c.scale[k].filter(|s| (s - 1.0).abs() > 4.0 * SEEN) {
                    said.push(format!("is {s:.2} times as {word} as the others make it"));
                }
            }
            if c.left > SEEN {
                said.push("has another shape".to_owned());
            }
        }
        (!said.is_empty()).then(|| CharacterView {
            number: n + 1,
            detail: format!("Character {} {}.", n + 1, said.join(", and ")),
        })
    };
    all.iter().enumerate().filter_map(one).collect()
}

/// Deflection of one axis by the tube's dimensions.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TubeView {
    /// `X` or `Y`.
    pub axis: &'static str,
    /// Metres on the screen a volt between the plates.
    pub metres_per_volt: f64,
    /// Volts a centimetre.
    pub volts_per_cm: f64,
    /// Volts at which the beam meets a plate.
    pub limit: f64,
    /// Metres that the picture of B, or of A alone, is wide or high, if its signals are volts between the plates.
    pub size: Option<f64>,
}

/// A tube's plates: `20mm,5mm,200mm`, the length, the distance and the way to the screen, and the accelerating volts.
///
/// # Errors
/// If they are not three lengths and volts above zero.
pub fn plates(text: &str, anode: f64) -> Result<Plates, Refused> {
    let metres = |t: &str| {
        let t = t.trim();
        let (number, factor) = match (
            t.strip_suffix("mm"),
            t.strip_suffix("cm"),
            t.strip_suffix('m'),
        ) {
            (Some(n), ..) => (n, 1e-3),
            (_, Some(n), _) => (n, 1e-2),
            (.., Some(n)) => (n, 1.0),
            _ => (t, 1e-3),
        };
        number.trim().parse::<f64>().ok().map(|v| v * factor)
    };
    let all: Vec<f64> = text.split(',').filter_map(metres).collect();
    let whole = (text.split(',').count() == 3 && all.len() == 3)
        .then(|| Plates::new(all[0], all[1], all[2], Volts(anode)))
        .flatten();
    whole.ok_or_else(|| {
        Refused::input(
            format!("`{text}` at {anode} V are no plates of a tube."),
            "Write the length of the plates, their distance and the way from their middle to the screen, such as 20mm,5mm,200mm.",
        )
    })
}

/// Deflection figures of an axis; `span` is the recorded swing if it is in volts.
pub fn tube(axis: &'static str, plates: &Plates, span: Option<f64>) -> TubeView {
    TubeView {
        axis,
        metres_per_volt: plates.sensitivity(),
        volts_per_cm: plates.volts(0.01).0,
        limit: plates.limit().0,
        size: span.map(|v| v * plates.sensitivity()),
    }
}

/// A comparison of pictures in words: what stands first, then the whole table.
pub fn text(view: &PictureView) -> String {
    let mut said = String::new();
    if let [first, second] = &view.names[..] {
        said += &format!(
            "{first} has {} strokes, {second} {}; {} are in both.\n",
            view.strokes[0], view.strokes[1], view.matched
        );
    }
    if let Some(why) = &view.why_not {
        said += &format!("{why}\n");
    }
    for t in view.geometry.iter().filter(|t| t.stands) {
        said += &format!(
            "\n{}: {}\n  {}\n  {}\n",
            t.term,
            figure_words(t),
            t.looks,
            t.cause
        );
    }
    if view.why_not.is_none()
        && !view.geometry.is_empty()
        && !view.geometry.iter().any(|t| t.stands)
    {
        said += "No term of the geometry stands out.\n";
    }
    for d in &view.differences {
        said += &format!("\n{}: {}. {}\n", d.kind, d.stroke, d.detail);
    }
    for c in &view.characters {
        said += &format!("{}\n", c.detail);
    }
    if !view.geometry.is_empty() {
        let row = |t: &TermView| vec![t.term.clone(), figure_words(t)];
        let rows: Vec<_> = view.geometry.iter().map(row).collect();
        said += &format!(
            "\n{}",
            aligned(
                &[("term", Align::Left), ("B against A", Align::Left)],
                &rows
            )
        );
    }
    for t in &view.tube {
        said += &format!("\n{}\n", tube_words(t));
    }
    said + &view
        .notes
        .iter()
        .map(|n| format!("{n}\n"))
        .collect::<String>()
}

/// A term's figure with its uncertainty.
pub fn figure_words(t: &TermView) -> String {
    match (t.value, t.uncertainty) {
        (Some(v), Some(u)) if t.unit == "%" || t.unit == "deg" => {
            format!("{v:+.2} +- {:.2} {}", 2.0 * u, t.unit)
        }
        (Some(v), Some(u)) => format!(
            "{} +- {}",
            engineering(v, &t.unit),
            engineering(2.0 * u, &t.unit)
        ),
        (Some(v), None) => format!("{v:+.2} {}", t.unit),
        (None, _) => "not told by this picture".to_owned(),
    }
}

/// Deflection of an axis as a sentence.
pub fn tube_words(t: &TubeView) -> String {
    let size = t.size.map_or(String::new(), |s| {
        format!(
            " The picture is {} there, if what was recorded is the volts between the plates.",
            engineering(s, "m")
        )
    });
    format!(
        "{} plates: {} on the screen a volt, {:.1} V a centimetre; the beam meets a plate at {:.0} V.{size}",
        t.axis,
        engineering(t.metres_per_volt, "m"),
        t.volts_per_cm,
        t.limit
    )
}
