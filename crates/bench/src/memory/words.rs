//! Micro-words by their fields: found, compared between units, and followed through captured sequences of addresses.

use ::memory::micro_word::{Parting, differences, field_value, find, follow, parting_sentence};
use ::memory::read::read_sequence;
use ::memory::shape::{Field, Word};
use ::memory::votes::{Dump, Votes};
use serde::Serialize;

use super::{Source, Store, Writing, complaints};
use crate::refused::{Complaint, Refused};
use crate::table::{Align, aligned};

/// What one unit's reads say: most of them, where they disagree.
pub(crate) struct Held {
    /// The unit, or the file if no unit was named.
    pub unit: String,
    /// Words by address.
    pub words: Vec<Option<Word>>,
    /// Bits on which its reads disagree, by address.
    pub unsteady: Vec<Word>,
}

/// Words by their fields.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct WordsView {
    /// The fields that the shape file names.
    pub fields: Vec<String>,
    /// The units, in the order given.
    pub units: Vec<String>,
    /// The words that were found, with their fields, of the first unit.
    pub words: Vec<WordView>,
    /// Fields that differ between the first two units, among the words found.
    pub differences: Vec<DifferenceView>,
    /// Lines that were skipped.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub skipped: Vec<Complaint>,
}

/// One word.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WordView {
    /// The address.
    pub address: u32,
    /// The word, hexadecimal.
    pub word: String,
    /// The value of each field.
    pub values: Vec<u128>,
}

/// A field that differs between two units.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DifferenceView {
    /// The address.
    pub address: u32,
    /// The field; empty for bits that belong to none.
    pub field: String,
    /// Its value in both.
    pub values: [u128; 2],
    /// The data bits that differ.
    pub bits: Vec<u8>,
    /// Some reads of one unit disagree on one of these bits.
    pub unsteady: bool,
}

/// Where two captured sequences part.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FollowView {
    /// The units.
    pub units: [String; 2],
    /// Step, from 0, at which they part; none if they do not.
    pub step: Option<usize>,
    /// The last address that both went through.
    pub after: Option<u32>,
    /// What the units read differently there.
    pub differences: Vec<DifferenceView>,
    /// All of it in a sentence.
    pub says: String,
}

/// Groups reads by unit and takes what most say.
pub(crate) fn held(
    store: &Store,
    sources: &[Source],
    writing: Writing,
    skipped: &mut Vec<Complaint>,
) -> Result<Vec<Held>, Refused> {
    let mut units: Vec<(String, Vec<Dump>)> = Vec::new();
    for source in sources {
        let name = source.unit.clone().unwrap_or_else(|| source.file.clone());
        let dumps = store.dumps(source, writing, skipped)?;
        match units.iter_mut().find(|(n, _)| *n == name) {
            Some((_, all)) => all.extend(dumps),
            None => units.push((name, dumps)),
        }
    }
    let one = |(unit, dumps): (String, Vec<Dump>)| {
        let votes = Votes::count(&store.wiring, &dumps);
        let word = |a: usize| (votes.reads[a] > 0).then_some(votes.majority[a]);
        Held {
            unit,
            words: (0..store.wiring.space()).map(word).collect(),
            unsteady: votes.unstable,
        }
    };
    Ok(units.into_iter().map(one).collect())
}

/// The field that was asked for, and the value: `branch=1`, `next address=0x2B`.
fn query<'s>(store: &'s Store, text: &str) -> Result<(&'s Field, Word), Refused> {
    let shape = store.wiring.shape();
    let names: Vec<&str> = shape.fields.iter().map(|f| f.name.as_str()).collect();
    let known = || match names.is_empty() {
        true => "Name fields in the shape file: field \"next address\" bits=\"0-6\".".to_owned(),
        false => format!("Write FIELD=VALUE. The fields are {}.", names.join(", ")),
    };
    let (name, value) = text
        .split_once('=')
        .ok_or_else(|| Refused::input(format!("`{text}` names no field and value."), known()))?;
    let field = shape
        .fields
        .iter()
        .find(|f| f.name.eq_ignore_ascii_case(name.trim()))
        .ok_or_else(|| {
            Refused::input(
                format!("The store has no field `{}`.", name.trim()),
                known(),
            )
        })?;
    let value = value.trim();
    let number = match value.strip_prefix("0d") {
        Some(decimal) => decimal.parse().ok(),
        None => Word::from_str_radix(value.trim_start_matches("0x"), 16).ok(),
    };
    number.map(|n| (field, n)).ok_or_else(|| {
        Refused::input(
            format!("`{value}` is not a value."),
            "Values are hexadecimal; `0d10` is decimal.",
        )
    })
}

/// Words by their fields: all, or those that hold what each of `wanted` (`FIELD=VALUE`) says; of two units, what
/// differs among them. A word is found if either unit holds it.
///
/// # Errors
/// Files that cannot be read; fields that the shape file does not name.
pub fn words(
    store: &Store,
    sources: &[Source],
    wanted: &[String],
    writing: Writing,
) -> Result<WordsView, Refused> {
    let mut skipped = Vec::new();
    let units = held(store, sources, writing, &mut skipped)?;
    let shape = store.wiring.shape();
    let queries: Vec<(&Field, Word)> = wanted
        .iter()
        .map(|w| query(store, w))
        .collect::<Result<_, _>>()?;
    let holds = |a: u32| {
        units.iter().take(2).any(|u| {
            let found =
                |(field, value): &(&Field, Word)| find(field, *value, &u.words).contains(&a);
            queries.iter().all(found)
        })
    };
    let chosen: Vec<u32> = store
        .wiring
        .addresses()
        .iter()
        .copied()
        .filter(|a| holds(*a))
        .collect();
    let digits = usize::from(shape.bits).div_ceil(4);
    let word = |a: &u32| {
        let word = units.first()?.words[*a as usize]?;
        Some(WordView {
            address: *a,
            word: format!("{word:0digits$X}"),
            values: shape.fields.iter().map(|f| field_value(f, word)).collect(),
        })
    };
    let differences = match &units[..] {
        [first, second, ..] => differing(store, first, second)
            .into_iter()
            .filter(|d| chosen.binary_search(&d.address).is_ok())
            .collect(),
        _ => Vec::new(),
    };
    Ok(WordsView {
        fields: shape.fields.iter().map(|f| f.name.clone()).collect(),
        words: chosen.iter().filter_map(word).collect(),
        differences,
        units: units.into_iter().map(|u| u.unit).collect(),
        skipped,
    })
}

/// Fields in which two units differ.
pub(crate) fn differing(store: &Store, first: &Held, second: &Held) -> Vec<DifferenceView> {
    differences(store.wiring.shape(), &first.words, &second.words)
        .into_iter()
        .map(|d| difference(d, first, second))
        .collect()
}

fn difference(
    d: ::memory::micro_word::FieldDifference,
    first: &Held,
    second: &Held,
) -> DifferenceView {
    let unsteady = first.unsteady[d.address as usize] | second.unsteady[d.address as usize];
    DifferenceView {
        unsteady: d.bits.iter().any(|b| unsteady >> b & 1 == 1),
        address: d.address,
        field: d.field,
        values: d.values,
        bits: d.bits,
    }
}

/// Follows the captured sequences of two units until they part, and says what of the word before made them.
///
/// # Errors
/// Files that cannot be read; other than two units.
pub fn follow_sequences(
    store: &Store,
    sources: &[Source],
    sequences: &[Source],
    writing: Writing,
) -> Result<FollowView, Refused> {
    let units = held(store, sources, writing, &mut Vec::new())?;
    let [one, two] = sequences else {
        return Err(Refused::input(
            format!(
                "{} captured sequences are named, and two are needed.",
                sequences.len()
            ),
            "Give --sequence UNIT=FILE twice, once for each unit.",
        ));
    };
    let mut addresses = Vec::new();
    let mut of = Vec::new();
    for source in [one, two] {
        addresses.push(sequence(store, source, writing)?);
        let name = source.unit.clone().unwrap_or_else(|| source.file.clone());
        let found = units.iter().find(|u| u.unit == name).ok_or_else(|| {
            Refused::input(
                format!("There are no reads of unit {name}, whose sequence is to be followed."),
                "Name its reads as UNIT=FILE, with the same name of the unit.",
            )
        })?;
        of.push(found);
    }
    Ok(followed(
        store,
        [of[0], of[1]],
        [&addresses[0], &addresses[1]],
    ))
}

/// Reads a captured sequence.
pub(crate) fn sequence(
    store: &Store,
    source: &Source,
    writing: Writing,
) -> Result<Vec<u32>, Refused> {
    let text = String::from_utf8_lossy(&source.bytes);
    let (addresses, found) = read_sequence(&text, &store.reading(writing));
    if found.is_empty() || (writing.lenient && !addresses.is_empty()) {
        return Ok(addresses);
    }
    Err(Refused::Input(complaints(
        &source.file,
        Some(&text),
        &found,
    )))
}

pub(crate) fn followed(store: &Store, units: [&Held; 2], addresses: [&[u32]; 2]) -> FollowView {
    let [first, second] = units;
    let parting = follow(
        store.wiring.shape(),
        addresses,
        [&first.words, &second.words],
    );
    let mut says = parting_sentence(&parting, [&first.unit, &second.unit]);
    let (step, after, fields) = match parting {
        Parting::Together { .. } => (None, None, Vec::new()),
        Parting::SameWord { step, after } => (Some(step), after, Vec::new()),
        Parting::OtherWord {
            step,
            after,
            fields,
        } => (Some(step), Some(after), fields),
    };
    let differences: Vec<DifferenceView> = fields
        .into_iter()
        .map(|d| difference(d, first, second))
        .collect();
    if differences.iter().any(|d| d.unsteady) {
        says += " Reads of that bit do not agree in one unit: this says what most of them read.";
    } else if let Some(after) = after
        && differences.is_empty()
        && first.unsteady[after as usize] | second.unsteady[after as usize] != 0
    {
        says += " Some of its bits are unsteady, and may have read otherwise when it ran.";
    }
    FollowView {
        units: [first.unit.clone(), second.unit.clone()],
        step,
        after,
        differences,
        says,
    }
}

impl WordsView {
    /// A table of words, or of differences between two units.
    pub fn to_text(&self) -> String {
        if let [first, second, ..] = &self.units[..] {
            return self.differences_text(first, second);
        }
        let mut head = vec![("address", Align::Right), ("word", Align::Right)];
        head.extend(self.fields.iter().map(|f| (f.as_str(), Align::Right)));
        let row = |w: &WordView| {
            let mut row = vec![format!("{:X}", w.address), w.word.clone()];
            row.extend(w.values.iter().map(|v| format!("{v:X}")));
            row
        };
        let rows: Vec<Vec<String>> = self.words.iter().map(row).collect();
        let words = if rows.len() == 1 { "word" } else { "words" };
        format!("{}{} {words}.\n", aligned(&head, &rows), rows.len())
    }

    fn differences_text(&self, first: &str, second: &str) -> String {
        if self.differences.is_empty() {
            return format!("{first} and {second} read alike in these words.\n");
        }
        let head = [
            ("address", Align::Right),
            ("field", Align::Left),
            (first, Align::Right),
            (second, Align::Right),
            ("bits", Align::Left),
        ];
        let row = |d: &DifferenceView| {
            let bits: Vec<String> = d.bits.iter().map(u8::to_string).collect();
            let note = if d.unsteady { " (unsteady)" } else { "" };
            vec![
                format!("{:X}", d.address),
                if d.field.is_empty() {
                    "-".to_owned()
                } else {
                    d.field.clone()
                },
                format!("{:X}", d.values[0]),
                format!("{:X}", d.values[1]),
                format!("{}{note}", bits.join(" ")),
            ]
        };
        let rows: Vec<Vec<String>> = self.differences.iter().map(row).collect();
        aligned(&head, &rows)
    }
}

impl FollowView {
    /// The sentence.
    pub fn to_text(&self) -> String {
        format!("{}\n", self.says)
    }
}
