//! What to measure next: the pattern, address and bit, or the meter reading, that separates the leading explanations.

use crate::element::elements_of;
use crate::fault::Fault;
use crate::shape::Word;
use crate::simulate::read;
use crate::wiring::Wiring;

/// A measurement that would separate explanations.
#[derive(Clone, Debug, PartialEq)]
pub struct Measurement {
    /// What to do, a whole sentence.
    pub what: String,
    /// What must be done or known before, whole sentences.
    pub before: Vec<String>,
    /// Each outcome, and the explanations (by their place in the list) that it speaks for.
    pub outcomes: Vec<(String, Vec<usize>)>,
    /// Expected information, in bits.
    pub bits: f64,
}

/// Words that may be read, each with the explanations that give it.
type Outcomes = Vec<(Word, Vec<usize>)>;

/// Measurements that separate the given explanations (sets of faults with probabilities), the most telling first.
/// Test patterns are offered for stores that can be written; meter readings always.
pub fn measurements(wiring: &Wiring, explanations: &[(Vec<Fault>, f64)]) -> Vec<Measurement> {
    let mut all = Vec::new();
    if explanations.len() > 1 && wiring.shape().organisation.is_writable() {
        all.extend(
            patterns(wiring)
                .into_iter()
                .filter_map(|(name, content)| by_pattern(wiring, explanations, name, &content)),
        );
    }
    all.sort_by(|a, b| b.bits.total_cmp(&a.bits));
    all.truncate(3);
    if let Some((set, _)) = explanations.first() {
        all.extend(set.iter().filter_map(|f| by_meter(wiring, *f)));
    }
    all
}

fn patterns(wiring: &Wiring) -> Vec<(&'static str, Vec<Word>)> {
    let mask = wiring.shape().mask();
    let striped: Word = 0x5555_5555_5555_5555_5555_5555_5555_5555;
    let each = |f: &dyn Fn(u32) -> Word| {
        (0..wiring.space() as u32)
            .map(|a| f(a) & mask)
            .collect::<Vec<_>>()
    };
    let mixed = |a: u32| {
        (0..4).fold(0 as Word, |w, n| {
            w << 32 | Word::from(a.wrapping_add(n).wrapping_mul(0x9E37_79B1))
        })
    };
    vec![
        ("all zeros", each(&|_| 0)),
        ("all ones", each(&|_| Word::MAX)),
        (
            "a checkerboard",
            each(&|a| {
                if a.count_ones() % 2 == 0 {
                    striped
                } else {
                    !striped
                }
            }),
        ),
        (
            "the opposite checkerboard",
            each(&|a| {
                if a.count_ones() % 2 == 1 {
                    striped
                } else {
                    !striped
                }
            }),
        ),
        (
            "a different word at every address (address x 9E3779B1, repeated)",
            each(&mixed),
        ),
    ]
}

fn entropy(shares: impl Iterator<Item = f64>) -> f64 {
    shares.filter(|p| *p > 0.0).map(|p| -p * p.log2()).sum()
}

fn by_pattern(
    wiring: &Wiring,
    explanations: &[(Vec<Fault>, f64)],
    name: &str,
    content: &[Word],
) -> Option<Measurement> {
    let total: f64 = explanations.iter().map(|(_, p)| p).sum();
    let mut best: Option<(f64, u32, Outcomes)> = None;
    for a in wiring.addresses() {
        let mut outcomes: Outcomes = Vec::new();
        for (number, (set, _)) in explanations.iter().enumerate() {
            let word = read(wiring, content, set, *a);
            match outcomes.iter_mut().find(|(w, _)| *w == word) {
                Some((_, who)) => who.push(number),
                None => outcomes.push((word, vec![number])),
            }
        }
        let share = |who: &Vec<usize>| who.iter().map(|n| explanations[*n].1).sum::<f64>() / total;
        let bits = entropy(outcomes.iter().map(|(_, who)| share(who)));
        if bits > 1e-9 && best.as_ref().is_none_or(|(b, ..)| bits > *b + 1e-12) {
            best = Some((bits, *a, outcomes));
        }
    }
    let (bits, a, outcomes) = best?;
    let digits = usize::from(wiring.shape().bits).div_ceil(4);
    Some(Measurement {
        what: format!("Write {name} into the whole store, then read address {a:X}."),
        before: vec!["What the store holds now is history: keep a complete first read of it before anything is written.".to_owned()],
        outcomes: outcomes.into_iter().map(|(word, who)| (format!("reads {word:0digits$X}"), who)).collect(),
        bits,
    })
}

/// The meter reading that tells the elements behind one fault apart, or confirms the only one.
fn by_meter(wiring: &Wiring, fault: Fault) -> Option<Measurement> {
    let names: Vec<String> = elements_of(wiring, fault)
        .into_iter()
        .map(|e| e.name)
        .collect();
    let first = names.first()?;
    let what = match fault {
        Fault::LineDead(..) => {
            "Read ohms along the line from its decoder or driver end to its far end, then the diode test across its selection diode, if it has one, both ways: an open wire or diode reads over range, and if both are sound the decoder output is at fault."
        }
        Fault::SenseDead(..) | Fault::InhibitDead(..) | Fault::InhibitOn(..) => {
            "Read ohms of the winding at its terminals and compare it with the windings of the other bits: an open one reads over range, and if it is like its fellows the amplifier or driver is at fault."
        }
        Fault::LinesBridged(..) => {
            "Read ohms between the two lines at their far ends, compared with another pair of neighbours: a bridge reads a few ohms."
        }
        Fault::DiodeShorted(..) | Fault::CrossingShorted(..) => {
            "Read the diode test across it both ways: a shorted diode reads near zero both ways, a sound one in one direction only."
        }
        Fault::LineOn(..) => {
            "Look at the decoder output with the store addressed elsewhere: it should be off."
        }
        Fault::DriverDead(..) | Fault::DriverOn(..) | Fault::SinkDead(..) | Fault::SinkOn(..) => {
            "Read ohms and the diode test between the leads of the driving transistor, and compare it with its fellows in the same matrix."
        }
        Fault::AddressStuck(..) | Fault::AddressBridged { .. } | Fault::AddressExchanged(..) => {
            "Reseat the card first and note it as touched; then read ohms from the line to its neighbours and to the rails, at the register and at the decoder."
        }
        Fault::BitStuck(..) | Fault::BitsBridged { .. } | Fault::BitsExchanged(..) => {
            "Reseat the card first and note it as touched; then read ohms from the data line to its neighbours and to the rails."
        }
        Fault::StrobeDead(..) => {
            "Look at the strobe with an oscilloscope at the sense amplifiers of this group, or read ohms along its path."
        }
        Fault::Bit(..) => return None,
    };
    Some(Measurement {
        what: format!(
            "For \"{first}\": {}{}",
            what[..1].to_lowercase(),
            &what[1..]
        ),
        before: vec![
            "Power off, and prove the rails discharged, before any ohms or diode reading."
                .to_owned(),
        ],
        outcomes: names.into_iter().map(|n| (n, vec![0])).collect(),
        bits: 0.0,
    })
}
