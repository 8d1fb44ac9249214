//! Which meter profile is in force.

use record::ReadingKind;
use sheet::meter::Meter;

use circuit::meter::{Function, setups};
use predict::Question;

use crate::loading::Text;
use crate::refused::{Complaint, Refused};

/// What the command line said about meters.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MeterChoice {
    /// `--meter`: a name, or the text of a profile file.
    pub chosen: Option<Chosen>,
    /// The text of `meter.kdl` beside the sheet.
    pub beside: Option<Text>,
}

/// The value of `--meter`.
#[derive(Clone, Debug, PartialEq)]
pub enum Chosen {
    /// A profile's name.
    Name(String),
    /// A profile file; its first profile is in force.
    File(Text),
}

/// All profiles that may be named, and the one in force when a reading names none.
#[derive(Clone, Debug, PartialEq)]
pub struct Meters {
    /// All profiles; one's own come first and hide shipped ones of the same name.
    pub all: Vec<Meter>,
    /// Index of the one in force.
    pub current: usize,
}

impl Meters {
    /// Settles what is in force: `--meter`, then `meter.kdl` beside the sheet, then the default.
    ///
    /// # Errors
    /// If a profile file has mistakes or a name is unknown.
    pub fn settle(choice: &MeterChoice) -> Result<Self, Refused> {
        let mut all = Vec::new();
        let mut current = None;
        if let Some(Chosen::File(text)) = &choice.chosen {
            all.extend(read(text)?);
            current = Some(0);
        }
        if let Some(text) = &choice.beside {
            let beside = all.len();
            all.extend(read(text)?);
            current = current.or((all.len() > beside).then_some(beside));
        }
        all.extend(Meter::shipped().iter().cloned());
        let position = |name: &str| all.iter().position(|m| m.name == name);
        if let Some(Chosen::Name(name)) = &choice.chosen {
            current = Some(position(name).ok_or_else(|| unknown(name, &all))?);
        }
        let current = current
            .or_else(|| position(Meter::DEFAULT))
            .ok_or_else(|| unknown(Meter::DEFAULT, &all))?;
        Ok(Self { all, current })
    }

    /// The profile in force.
    pub fn current(&self) -> &Meter {
        &self.all[self.current]
    }

    /// The profile that a reading names, or the one in force.
    pub fn named(&self, name: Option<&str>) -> &Meter {
        name.and_then(|n| self.all.iter().find(|m| m.name == n))
            .unwrap_or_else(|| self.current())
    }
}

fn read(text: &Text) -> Result<Vec<Meter>, Refused> {
    let (meters, mistakes) = Meter::parse(&text.text, &text.file);
    let complaints: Vec<Complaint> = mistakes
        .iter()
        .filter(|d| d.is_error())
        .map(Complaint::from)
        .collect();
    if !complaints.is_empty() {
        return Err(Refused::Input(complaints));
    }
    if meters.is_empty() {
        return Err(Refused::input(
            format!("`{}` holds no meter profile.", text.file),
            "Write a profile such as `meter my-meter { volts ohms=\"10M\" accuracy=\"1%\" }`.",
        ));
    }
    Ok(meters)
}

fn unknown(name: &str, all: &[Meter]) -> Refused {
    let names: Vec<&str> = all.iter().map(|m| m.name.as_str()).collect();
    Refused::input(
        format!("No meter profile is called `{name}`."),
        format!(
            "Name one of {}, or a file that ends in .kdl.",
            names.join(", ")
        ),
    )
}

/// The meter's ranges for a kind of reading; `None` if it is not one that is predicted, or the
/// meter has no such function.
pub fn question(meter: &Meter, kind: ReadingKind) -> Option<Question> {
    let function = match kind {
        ReadingKind::Ohms => Function::Ohms,
        ReadingKind::Diode => Function::Diode,
        ReadingKind::Volts => Function::Volts,
        _ => return None,
    };
    let (setups, choice) = setups(meter, function)?;
    Some(Question {
        function,
        setups,
        choice,
    })
}

/// Why there is no prediction of a kind of reading with a meter.
pub fn no_question(meter: &Meter, kind: ReadingKind) -> String {
    match kind {
        ReadingKind::Ohms | ReadingKind::Diode | ReadingKind::Volts => {
            format!("The meter {} does not measure {}.", meter.name, kind.word())
        }
        _ => format!("No expectation is computed for {}.", kind.word()),
    }
}
