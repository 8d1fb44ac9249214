//! Device classes and registered type numbers: the parameters and spreads that a name on a sheet stands for.

mod file;

use std::collections::BTreeMap;
use std::sync::{LazyLock, OnceLock};

use units::{Amps, Ohms, Volts};

use crate::{DeviceType, Diagnostic, Parameters, Polarity, Ratings, Spread};

/// What a junction is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Material {
    /// Silicon.
    Silicon,
    /// Germanium.
    Germanium,
    /// Selenium plates; one cell unless written as several in series.
    Selenium,
}

/// Factors of one standard deviation, 1.0 = none; all lognormal.
///
/// `lot` is common to all parts of one type in one unit; `own` is each part's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ModelSpread {
    /// Saturation current, common to the lot.
    pub is_lot: f64,
    /// Saturation current, each part's own.
    pub is_own: f64,
    /// Forward gain, common to the lot.
    pub bf_lot: f64,
    /// Forward gain, each part's own.
    pub bf_own: f64,
    /// Reverse gain, each part's own.
    pub br_own: f64,
}

/// I = is (exp(V / (n VT)) - 1), with `rs` in series, at 300 K.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DiodeModel {
    /// Saturation current at 300 K.
    pub is: Amps,
    /// Emission coefficient.
    pub n: f64,
    /// Series resistance.
    pub rs: Ohms,
    /// What it is made of.
    pub material: Material,
    /// How healthy examples differ.
    pub spread: ModelSpread,
    /// What the type withstands; a rating written on the part stands above it.
    pub ratings: Ratings,
}

/// Ebers-Moll in transport form with nf = nr = 1, at 300 K.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TransistorModel {
    /// Transport saturation current at 300 K.
    pub is: Amps,
    /// Forward gain.
    pub bf: f64,
    /// Reverse gain.
    pub br: f64,
    /// Collector series resistance.
    pub rc: Ohms,
    /// Early voltage; none means no Early effect.
    pub vaf: Option<Volts>,
    /// What it is made of.
    pub material: Material,
    /// How healthy examples differ.
    pub spread: ModelSpread,
    /// What the type withstands; a rating written on the part stands above it.
    pub ratings: Ratings,
}

/// One entry of the device file.
#[derive(Clone, Debug, PartialEq)]
struct Entry<Model> {
    model: Model,
    /// Of a registered transistor; a class word may be either, a diode has none.
    polarity: Option<Polarity>,
    source: String,
}

/// Whether a name is meant as a diode or as a transistor; one class word may be both.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sort {
    /// A diode.
    Diode,
    /// A transistor.
    Transistor,
}

/// The device file, read; of the shipped file each entry is read when it is first asked for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Devices {
    diodes: BTreeMap<String, Slot<DiodeModel>>,
    transistors: BTreeMap<String, Slot<TransistorModel>>,
    spreads: file::Spreads,
}

/// An entry, or the line from which it will be read: the whole file takes 60 ms, a line takes none that one notices.
#[derive(Clone, Debug, Default, PartialEq)]
struct Slot<Model> {
    line: &'static str,
    read: OnceLock<Entry<Model>>,
}

static SHIPPED: LazyLock<Devices> = LazyLock::new(|| file::index(SHIPPED_TEXT));

const SHIPPED_TEXT: &str = include_str!("../data/devices.kdl");

impl Devices {
    /// The devices that come with the program.
    pub fn shipped() -> &'static Devices {
        &SHIPPED
    }

    /// Reads a device file; a bad entry costs that entry alone.
    pub fn parse(text: &str, file: &str) -> (Devices, Vec<Diagnostic>) {
        file::parse(text, file)
    }

    fn diode_entry(&self, name: &str) -> Option<&Entry<DiodeModel>> {
        let slot = self.diodes.get(name)?;
        Some(
            slot.read
                .get_or_init(|| file::diode_line(slot.line, &self.spreads)),
        )
    }

    fn transistor_entry(&self, name: &str) -> Option<&Entry<TransistorModel>> {
        let slot = self.transistors.get(name)?;
        Some(
            slot.read
                .get_or_init(|| file::transistor_line(slot.line, &self.spreads)),
        )
    }

    /// Whether a diode may bear that name.
    pub fn knows_diode(&self, name: &str) -> bool {
        self.diodes.contains_key(name)
    }

    /// Whether a transistor may bear that name.
    pub fn knows_transistor(&self, name: &str) -> bool {
        self.transistors.contains_key(name)
    }

    /// The polarity of a registered transistor; none for a class word, which may be either, and for unknown names.
    pub fn polarity(&self, name: &str) -> Option<Polarity> {
        self.transistor_entry(name)?.polarity
    }

    /// Where the figures of a name come from.
    pub fn source(&self, sort: Sort, name: &str) -> Option<&str> {
        match sort {
            Sort::Diode => self.diode_entry(name).map(|e| e.source.as_str()),
            Sort::Transistor => self.transistor_entry(name).map(|e| e.source.as_str()),
        }
    }

    /// All names of that sort, in order.
    pub fn names(&self, sort: Sort) -> Vec<&str> {
        match sort {
            Sort::Diode => self.diodes.keys().map(String::as_str).collect(),
            Sort::Transistor => self.transistors.keys().map(String::as_str).collect(),
        }
    }

    /// The diode that a type with its overrides stands for; none if the name is unknown.
    ///
    /// With `is` given, whatever else is not given is ideal: n = 1, rs = 0.
    pub fn diode(&self, device: &DeviceType, spread: &Spread) -> Option<DiodeModel> {
        let book = self.diode_entry(&device.name)?.model;
        let given = &device.given;
        let ideal = given.is.is_some();
        Some(DiodeModel {
            is: given.is.unwrap_or(book.is),
            n: given.n.unwrap_or(if ideal { 1.0 } else { book.n }),
            rs: given.rs.unwrap_or(if ideal { Ohms(0.0) } else { book.rs }),
            spread: written_spread(book.spread, spread),
            ..book
        })
    }

    /// The transistor that a type with its overrides stands for; none if the name is unknown.
    ///
    /// With `is` given, whatever else is not given is ideal: br = 1, rc = 0, no Early effect; `bf` stays the type's,
    /// since no gain is ideal.
    pub fn transistor(&self, device: &DeviceType, spread: &Spread) -> Option<TransistorModel> {
        let book = self.transistor_entry(&device.name)?.model;
        let Parameters {
            is,
            bf,
            br,
            rc,
            vaf,
            ..
        } = device.given;
        let ideal = is.is_some();
        Some(TransistorModel {
            is: is.unwrap_or(book.is),
            bf: bf.unwrap_or(book.bf),
            br: br.unwrap_or(if ideal { 1.0 } else { book.br }),
            rc: rc.unwrap_or(if ideal { Ohms(0.0) } else { book.rc }),
            vaf: vaf.or(if ideal { None } else { book.vaf }),
            spread: written_spread(book.spread, spread),
            ..book
        })
    }
}

/// A spread written on the part replaces lot and individual factor together: the part is independent of all others.
fn written_spread(book: ModelSpread, written: &Spread) -> ModelSpread {
    let (is_lot, is_own) = written
        .is
        .map_or((book.is_lot, book.is_own), |own| (1.0, own));
    let (bf_lot, bf_own) = written
        .bf
        .map_or((book.bf_lot, book.bf_own), |own| (1.0, own));
    ModelSpread {
        is_lot,
        is_own,
        bf_lot,
        bf_own,
        br_own: written.br.unwrap_or(book.br_own),
    }
}

impl Ratings {
    /// The ratings written on a part, filled up with those of its type.
    pub fn or(self, of_type: Ratings) -> Ratings {
        Ratings {
            volts: self.volts.or(of_type.volts),
            vceo: self.vceo.or(of_type.vceo),
            amps: self.amps.or(of_type.amps),
            watts: self.watts.or(of_type.watts),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_file_has_no_mistake_and_its_lines_alone_give_what_the_whole_gives() {
        let (whole, mistakes) = Devices::parse(SHIPPED_TEXT, "devices.kdl");
        assert_eq!(mistakes, []);
        let lines = Devices::shipped();
        for sort in [Sort::Diode, Sort::Transistor] {
            assert_eq!(whole.names(sort), lines.names(sort));
        }
        for name in whole.names(Sort::Diode) {
            assert_eq!(whole.diode_entry(name), lines.diode_entry(name));
        }
        for name in whole.names(Sort::Transistor) {
            assert_eq!(whole.transistor_entry(name), lines.transistor_entry(name));
        }
    }
}
