//! March tests with their coverage, operations for a store, its worst pattern, and pass maps.

use ::memory::first_read::WritePermit;
use ::memory::half_select::{delta_noise, worst_pattern};
use ::memory::march::{FaultClass, OperationKind, backgrounds, coverage, march_tests, operations};
use ::memory::pass_map::{Margins, PassMap};
use serde::Serialize;

use super::{Store, complaints};
use crate::loading::Text;
use crate::refused::Refused;
use crate::table::{Align, aligned};

/// One test of the coverage table.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CoverageView {
    /// Its name.
    pub test: &'static str,
    /// Its elements in the usual notation.
    pub sequence: String,
    /// Operations for each word and background.
    pub operations: usize,
    /// Per cent of each class that it is sure to find, by the usual letters.
    pub finds: Vec<(&'static str, f64)>,
}

/// Cells with which coverage is simulated: enough for every pair and its neighbours.
const CELLS: usize = 5;

/// The tests with what they are sure to find.
pub fn march() -> Vec<CoverageView> {
    let finds = |m: &::memory::march::March| {
        FaultClass::ALL
            .map(|c| (c.letters(), coverage(m, c, CELLS).percent()))
            .to_vec()
    };
    let view = |m: ::memory::march::March| CoverageView {
        test: m.name,
        sequence: m.to_string(),
        operations: m.length(),
        finds: finds(&m),
    };
    march_tests().into_iter().map(view).collect()
}

/// The table for people.
pub fn march_text(tests: &[CoverageView]) -> String {
    let mut head = vec![("test", Align::Left), ("n", Align::Right)];
    head.extend(FaultClass::ALL.map(|c| (c.letters(), Align::Right)));
    head.push(("sequence", Align::Left));
    let row = |t: &CoverageView| {
        let mut row = vec![t.test.to_owned(), t.operations.to_string()];
        row.extend(t.finds.iter().map(|(_, p)| format!("{p:.1}")));
        row.push(t.sequence.clone());
        row
    };
    aligned(&head, &tests.iter().map(row).collect::<Vec<_>>())
}

impl Store {
    /// The names of the tests that [`patterns`] knows for this store.
    pub fn tests(&self) -> Vec<&'static str> {
        let mut names: Vec<&str> = march_tests().iter().map(|m| m.name).collect();
        if self.wiring.is_coincident() {
            names.extend(["worst", "worst-inverse"]);
        }
        names
    }
}

/// What to write into a store and to expect of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MarchView {
    /// Why writing is allowed.
    pub ground: String,
    /// The steps in order: step, `write` or `read`, address, word.
    pub operations: Vec<(String, &'static str, u32, String)>,
    /// Noise of the worst half-selected word, in units of one core's difference; patterns only.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub noise: Option<i64>,
}

/// The operations of a march test, or of the worst half-select pattern (`worst`, `worst-inverse`), on a store.
///
/// # Errors
/// A test that is not known; the worst pattern of a store without half-selected cores.
pub fn patterns(store: &Store, test: &str, permit: &WritePermit) -> Result<MarchView, Refused> {
    let wiring = &store.wiring;
    let digits = usize::from(wiring.shape().bits).div_ceil(4);
    let ground = permit.ground().to_owned();
    if let Some(inverse) = [("worst", false), ("worst-inverse", true)]
        .iter()
        .find(|(n, _)| *n == test)
        .map(|(_, i)| *i)
    {
        if !wiring.is_coincident() {
            return Err(Refused::input(
                "Only a coincident-current store has half-selected cores.",
                "Choose a march test instead.",
            ));
        }
        let weave = wiring.shape().weave;
        let words = worst_pattern(wiring, weave, inverse);
        let text = |a: &u32| format!("{:0digits$X}", words[*a as usize]);
        let write = wiring
            .addresses()
            .iter()
            .map(|a| ("fill".to_owned(), "write", *a, text(a)));
        let read = wiring
            .addresses()
            .iter()
            .map(|a| ("check".to_owned(), "read", *a, text(a)));
        let noise = wiring
            .addresses()
            .iter()
            .map(|a| delta_noise(wiring, weave, &words, 0, *a).0.abs())
            .max();
        return Ok(MarchView {
            ground,
            operations: write.chain(read).collect(),
            noise,
        });
    }
    let Some(march) = march_tests()
        .into_iter()
        .find(|m| m.name.eq_ignore_ascii_case(test))
    else {
        let names: Vec<&str> = march_tests().iter().map(|m| m.name).collect();
        return Err(Refused::input(
            format!("`{test}` is not a test known here."),
            format!("Choose {}, worst or worst-inverse.", names.join(", ")),
        ));
    };
    let kind = |k: OperationKind| {
        if k == OperationKind::Write {
            "write"
        } else {
            "read"
        }
    };
    let list = operations(wiring, &march, &backgrounds(wiring.shape().bits));
    let row = |o: ::memory::march::Operation| {
        (
            o.step,
            kind(o.kind),
            o.address,
            format!("{:0digits$X}", o.word),
        )
    };
    Ok(MarchView {
        ground,
        operations: list.into_iter().map(row).collect(),
        noise: None,
    })
}

impl MarchView {
    /// The operations as CSV.
    pub fn to_csv(&self) -> String {
        let mut out = "step,operation,address,word\n".to_owned();
        for (step, kind, address, word) in &self.operations {
            out += &format!("{step},{kind},{address:X},{word}\n");
        }
        out
    }
}

/// Distance to the last pass, and to the first failure if one was met.
pub type SideView = (f64, Option<f64>);

/// A pass map with its margins.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MapView {
    /// The two parameters.
    pub parameters: [String; 2],
    /// Settings of both.
    pub settings: [Vec<f64>; 2],
    /// Rows from the lowest second setting: `pass`, `fail` or `not tried`.
    pub outcomes: Vec<Vec<&'static str>>,
    /// The working point.
    pub point: (f64, f64),
    /// Points of the passing region around the working point.
    pub region: usize,
    /// Their places among the settings of the first and of the second parameter.
    #[serde(skip)]
    pub inside: Vec<(usize, usize)>,
    /// Distances from the working point down and up along each parameter: to the last pass, and to the first failure if
    /// one was met. `None`: the working point does not pass.
    pub margins: Option<[[SideView; 2]; 2]>,
    /// Centre of the passing region.
    pub centre: Option<(f64, f64)>,
    /// How far the centre moved since the earlier map.
    pub drift: Option<(f64, f64)>,
}

/// Reads a pass map, and an earlier one to hold it against. Without a working point the one counts that the map names
/// in a remark, `# at 380,210`.
///
/// # Errors
/// Bad rows in either file; no working point.
pub fn pass_map(
    map: &Text,
    earlier: Option<&Text>,
    point: Option<(f64, f64)>,
) -> Result<MapView, Refused> {
    let now = read_map(map)?;
    let point = point
        .or_else(|| PassMap::working_point(&map.text))
        .ok_or_else(|| {
            Refused::input(
                "The working point is not known.",
                "Name it with --at, as in --at 380,210, or in the map as a line `# at 380,210`.",
            )
        })?;
    let then = earlier.map(read_map).transpose()?;
    let word = |o: &::memory::pass_map::Outcome| match o {
        ::memory::pass_map::Outcome::Pass => "pass",
        ::memory::pass_map::Outcome::Fail(_) => "fail",
        ::memory::pass_map::Outcome::NotTried => "not tried",
    };
    let sides =
        |m: Margins| [m.across, m.up].map(|pair| pair.map(|side| (side.passes_to, side.fails_at)));
    Ok(MapView {
        point,
        inside: now.region(point),
        region: now.region(point).len(),
        margins: now.margins(point).map(sides),
        centre: now.centre(point),
        drift: then.and_then(|t| now.drift(&t, point)),
        outcomes: now
            .outcomes
            .iter()
            .map(|row| row.iter().map(word).collect())
            .collect(),
        parameters: now.names,
        settings: [now.across, now.up],
    })
}

fn read_map(text: &Text) -> Result<PassMap, Refused> {
    let (map, found) = PassMap::read(&text.text);
    match map {
        Some(map) if found.is_empty() => Ok(map),
        _ => Err(Refused::Input(complaints(
            &text.file,
            Some(&text.text),
            &found,
        ))),
    }
}

impl MapView {
    /// The map and its margins in words, the highest second setting at the top.
    pub fn to_text(&self) -> String {
        let mut out = format!(
            "{} upwards, {} across; + passes, - fails, @ the working point\n",
            self.parameters[1], self.parameters[0]
        );
        for (up, row) in self.settings[1].iter().zip(&self.outcomes).rev() {
            let mark = |(setting, o): (&f64, &&'static str)| match *o {
                _ if (*setting, *up) == self.point => '@',
                "pass" => '+',
                "fail" => '-',
                _ => ' ',
            };
            let marks = self.settings[0].iter().zip(row).map(mark);
            out += &format!("{up:>10}  {}\n", marks.collect::<String>());
        }
        match &self.margins {
            None => out += "The working point does not pass.\n",
            Some(margins) => {
                for (name, sides) in self.parameters.iter().zip(margins) {
                    for (word, (passes_to, fails_at)) in ["down", "up"].iter().zip(sides) {
                        let end = fails_at
                            .map_or("no failure was met".to_owned(), |f| format!("fails at {f}"));
                        out += &format!("{name} {word}: passes for {passes_to}, {end}\n");
                    }
                }
            }
        }
        if let Some((a, u)) = self.drift {
            out += &format!(
                "Since the earlier map the middle moved by {a} {} and {u} {}.\n",
                self.parameters[0], self.parameters[1]
            );
        }
        out
    }
}
