//! Value change dumps (IEEE 1364, section on extended VCD left out), read as a stream with the line of every fault.

use crate::capture::{Capture, Channel, Format, Steps, Trace};
use crate::fault::{Fault, Place, Wrong};
use std::collections::HashMap;
use std::io::Read;

/// A longer word is no part of a dump.
const LONGEST_WORD: usize = 1 << 16;
/// Wider vectors are no bus of these machines.
const WIDEST: usize = 4096;

struct Words<R> {
    source: R,
    held: Vec<u8>,
    at: usize,
    line: u64,
    ended: bool,
}

impl<R: Read> Words<R> {
    fn fill(&mut self) -> Result<(), Fault> {
        self.held.drain(..self.at);
        self.at = 0;
        let before = self.held.len();
        self.source
            .by_ref()
            .take(1 << 18)
            .read_to_end(&mut self.held)?;
        self.ended = self.held.len() == before;
        Ok(())
    }

    /// Range of the next word in `held`; none at the end of the file.
    #[inline]
    fn next(&mut self) -> Result<Option<(usize, usize)>, Fault> {
        loop {
            let mut from = self.at;
            while let Some(byte) = self.held.get(from).filter(|b| **b <= b' ') {
                self.line += (*byte == b'\n') as u64;
                from += 1;
            }
            self.at = from;
            let mut to = from;
            while self.held.get(to).is_some_and(|b| *b > b' ') {
                to += 1;
            }
            if to < self.held.len() || (self.ended && to > from) {
                self.at = to;
                return Ok(Some((from, to)));
            }
            if self.ended {
                return Ok(None);
            }
            if to - from > LONGEST_WORD {
                return Err(Wrong::LongLine {
                    limit: LONGEST_WORD,
                }
                .at(self.place()));
            }
            self.fill()?;
        }
    }

    fn word(&mut self, what: &'static str) -> Result<String, Fault> {
        match self.next()? {
            Some((from, to)) => Ok(String::from_utf8_lossy(&self.held[from..to]).into_owned()),
            None => Err(Wrong::EndsInside { what }.at(self.place())),
        }
    }

    fn until_end(&mut self, what: &'static str) -> Result<Vec<String>, Fault> {
        let mut words = Vec::new();
        loop {
            match self.word(what)? {
                word if word == "$end" => return Ok(words),
                word if words.len() < 10_000 => words.push(word),
                _ => return Err(Wrong::EndsInside { what }.at(self.place())),
            }
        }
    }

    fn place(&self) -> Place {
        Place::Line(self.line, 1)
    }
}

/// A declared variable: its name, width and the bits or the number that it becomes.
pub(super) struct Variable {
    pub(super) name: String,
    pub(super) width: usize,
    pub(super) code: u32,
}

/// Tracks of changes by the code of their variable.
pub(super) struct Store {
    /// First track of each code, and its width; a real number has width 0 and one track.
    pub(super) first: Vec<(u32, u32)>,
    pub(super) tracks: Vec<Track>,
}

impl Store {
    /// Empty tracks for codes of these widths.
    pub(super) fn new(widths: &[usize]) -> Store {
        let mut store = Store {
            first: Vec::new(),
            tracks: Vec::new(),
        };
        for width in widths {
            store.first.push((store.tracks.len() as u32, *width as u32));
            store
                .tracks
                .extend((0..(*width).max(1)).map(|_| Track::default()));
        }
        store
    }
}

/// Changes of one bit or one number.
#[derive(Default)]
pub(super) struct Track {
    pub(super) times: Vec<f64>,
    values: Vec<Option<f32>>,
}

impl Track {
    #[inline]
    pub(super) fn set(&mut self, time: f64, value: Option<f32>) {
        match (self.times.last(), self.values.last()) {
            (_, Some(last)) if *last == value => {}
            // of several changes at one time the last one holds
            (Some(last), _) if *last == time => {
                self.values.pop();
                if self.values.last() == Some(&value) {
                    self.times.pop();
                } else {
                    self.values.push(value);
                }
            }
            _ => {
                self.times.push(time);
                self.values.push(value);
            }
        }
    }
}

/// Looks codes up: short ones in a table, long ones in a map.
#[derive(Default)]
struct Codes {
    short: Vec<u32>,
    long: HashMap<Vec<u8>, u32>,
}

const SHORT: usize = 94 * 95 * 95;

impl Codes {
    #[inline]
    fn slot(code: &[u8]) -> Option<usize> {
        if code.is_empty() || code.len() > 3 {
            return None;
        }
        let mut slot = 0;
        for byte in code {
            let digit = byte.wrapping_sub(b'!') as usize;
            if digit >= 94 {
                return None;
            }
            slot = slot * 95 + digit + 1;
        }
        Some(slot)
    }

    #[inline]
    fn get(&self, code: &[u8]) -> Option<u32> {
        match Codes::slot(code) {
            Some(slot) => self.short.get(slot).copied().filter(|i| *i != u32::MAX),
            None => self.long.get(code).copied(),
        }
    }

    fn add(&mut self, code: &[u8], index: u32) {
        match Codes::slot(code) {
            Some(slot) => {
                if self.short.len() <= slot {
                    self.short
                        .resize((slot + 1).clamp(95, SHORT + 95 * 95), u32::MAX);
                }
                self.short[slot] = index;
            }
            None => {
                self.long.insert(code.to_vec(), index);
            }
        }
    }
}

/// Reads a whole dump; each bit of a vector becomes a channel `name[i]`.
pub fn read(source: impl Read) -> Result<Capture, Fault> {
    let mut words = Words {
        source,
        held: Vec::new(),
        at: 0,
        line: 1,
        ended: false,
    };
    let mut scopes: Vec<String> = Vec::new();
    let mut variables: Vec<Variable> = Vec::new();
    let mut codes = Codes::default();
    let mut widths: Vec<usize> = Vec::new();
    let mut tick = None;
    loop {
        match words.word("the declarations")?.as_str() {
            "$enddefinitions" => {
                words.until_end("the declarations")?;
                break;
            }
            "$timescale" => {
                let text = words.until_end("the time scale")?.concat();
                tick = Some(timescale(&text).ok_or_else(|| {
                    Wrong::NotUnderstood {
                        what: "A time scale",
                        text,
                    }
                    .at(words.place())
                })?);
            }
            "$scope" => {
                let scope = words.until_end("a scope")?;
                scopes.push(scope.into_iter().nth(1).unwrap_or_default());
            }
            "$upscope" => {
                words.until_end("a scope")?;
                scopes.pop();
            }
            "$var" => {
                let text = words.until_end("a variable")?;
                let wrong = |text: &[String]| Wrong::NotUnderstood {
                    what: "A variable",
                    text: text.join(" "),
                };
                let [kind, width, code, name, rest @ ..] = &text[..] else {
                    return Err(wrong(&text).at(words.place()));
                };
                let width = if kind.starts_with("real") {
                    Some(0)
                } else {
                    width.parse().ok().filter(|w| (1..=WIDEST).contains(w))
                };
                let width: usize = width.ok_or_else(|| wrong(&text).at(words.place()))?;
                let index = codes.get(code.as_bytes()).unwrap_or_else(|| {
                    codes.add(code.as_bytes(), widths.len() as u32);
                    widths.push(width);
                    widths.len() as u32 - 1
                });
                if widths[index as usize] != width {
                    return Err(wrong(&text).at(words.place()));
                }
                let range = if width == 1 {
                    rest.concat()
                } else {
                    String::new()
                };
                variables.push(Variable {
                    name: qualified(&scopes, name, &range),
                    width,
                    code: index,
                });
            }
            word if word.starts_with('$') => {
                words.until_end("a declaration")?;
            }
            other => {
                return Err(Wrong::NotUnderstood {
                    what: "A word among the declarations",
                    text: other.chars().take(40).collect(),
                }
                .at(words.place()));
            }
        }
    }
    if variables.is_empty() {
        return Err(Wrong::NoChannel.at(words.place()));
    }
    let tick = tick.ok_or_else(|| Wrong::NoTimeBase.at(Place::Whole))?;
    let mut store = Store::new(&widths);
    let end = changes(&mut words, &codes, &mut store, tick)?;
    Ok(assemble(Format::Vcd, variables, store, tick, end))
}

pub(super) fn qualified(scopes: &[String], name: &str, range: &str) -> String {
    // the outermost scope is the recording itself
    let inner = scopes
        .iter()
        .skip(1)
        .cloned()
        .chain([format!("{name}{range}")]);
    inner.collect::<Vec<_>>().join(".")
}

fn timescale(text: &str) -> Option<f64> {
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    let power = match &text[digits..] {
        "s" => 0,
        "ms" => -3,
        "us" => -6,
        "ns" => -9,
        "ps" => -12,
        "fs" => -15,
        _ => return None,
    };
    let number: f64 = text[..digits].parse().ok()?;
    matches!(number as u32, 1 | 10 | 100).then(|| crate::number::scaled(number, power))
}

fn changes<R: Read>(
    words: &mut Words<R>,
    codes: &Codes,
    store: &mut Store,
    tick: f64,
) -> Result<f64, Fault> {
    let (mut now, mut time) = (0u64, 0.0);
    while let Some((from, to)) = words.next()? {
        match words.held[from] {
            b'#' => {
                let Some(ticks) = whole_number(&words.held[from + 1..to]) else {
                    return Err(bad(words, from, to, "A time"));
                };
                if ticks < now {
                    let (before, after) = (time, ticks as f64 * tick);
                    return Err(Wrong::TimeGoesBack { before, after }.at(words.place()));
                }
                now = ticks;
                time = ticks as f64 * tick;
            }
            sign @ (b'0' | b'1' | b'x' | b'X' | b'z' | b'Z' | b'u' | b'U' | b'w' | b'W' | b'l'
            | b'L' | b'h' | b'H' | b'-') => {
                let code = &words.held[from + 1..to];
                let Some(index) = codes.get(code) else {
                    return Err(unknown(words, from + 1, to));
                };
                let (first, width) = store.first[index as usize];
                if width == 0 {
                    return Err(bad(words, from, to, "A change of a real number"));
                }
                let value = bit(sign);
                store.tracks[first as usize].set(time, value);
                for extra in 1..width {
                    // a scalar given to a vector extends to the left (IEEE 1364: 0 for 0 and 1)
                    let filled = if sign == b'0' || sign == b'1' {
                        Some(0.0)
                    } else {
                        None
                    };
                    store.tracks[(first + extra) as usize].set(time, filled);
                }
            }
            b'b' | b'B' => {
                let bits = words.held[from + 1..to].to_vec();
                let Some((from, to)) = words.next()? else {
                    return Err(Wrong::EndsInside {
                        what: "a vector's change",
                    }
                    .at(words.place()));
                };
                let Some(index) = codes.get(&words.held[from..to]) else {
                    return Err(unknown(words, from, to));
                };
                let (first, width) = store.first[index as usize];
                let known = |b: &u8| matches!(b, b'0' | b'1') || bit(*b).is_none();
                if bits.is_empty() || bits.len() > width as usize || !bits.iter().all(known) {
                    let text = String::from_utf8_lossy(&bits[..bits.len().min(40)]).into_owned();
                    return Err(Wrong::NotUnderstood {
                        what: "A vector's value",
                        text,
                    }
                    .at(words.place()));
                }
                let filler = if matches!(bits[0], b'0' | b'1') {
                    Some(0.0)
                } else {
                    None
                };
                for i in 0..width as usize {
                    let value = bits
                        .len()
                        .checked_sub(i + 1)
                        .map_or(filler, |at| bit(bits[at]));
                    store.tracks[first as usize + i].set(time, value);
                }
            }
            b'r' | b'R' => {
                let number: Option<f64> = std::str::from_utf8(&words.held[from + 1..to])
                    .ok()
                    .and_then(|t| t.parse().ok());
                let Some(number) = number.filter(|v| v.is_finite()) else {
                    return Err(bad(words, from, to, "A real number"));
                };
                let Some((from, to)) = words.next()? else {
                    return Err(Wrong::EndsInside {
                        what: "a real number's change",
                    }
                    .at(words.place()));
                };
                let Some(index) = codes.get(&words.held[from..to]) else {
                    return Err(unknown(words, from, to));
                };
                let (first, width) = store.first[index as usize];
                if width != 0 {
                    return Err(bad(words, from, to, "A real number for a wire"));
                }
                store.tracks[first as usize].set(time, Some(number as f32));
            }
            b'$' => match &words.held[from..to] {
                b"$end" | b"$dumpvars" | b"$dumpall" | b"$dumpon" | b"$dumpoff" => {}
                b"$comment" => {
                    words.until_end("a comment")?;
                }
                _ => return Err(bad(words, from, to, "A word among the changes")),
            },
            _ => return Err(bad(words, from, to, "A change")),
        }
    }
    Ok(time)
}

pub(super) fn bit(sign: u8) -> Option<f32> {
    match sign {
        b'0' | b'l' | b'L' => Some(0.0),
        b'1' | b'h' | b'H' => Some(1.0),
        _ => None,
    }
}

#[inline]
fn whole_number(text: &[u8]) -> Option<u64> {
    if text.is_empty() || text.len() > 18 {
        return None;
    }
    text.iter().try_fold(0u64, |sum, b| {
        b.is_ascii_digit().then(|| sum * 10 + (b - b'0') as u64)
    })
}

fn bad<R>(words: &Words<R>, from: usize, to: usize, what: &'static str) -> Fault {
    let text = String::from_utf8_lossy(&words.held[from..to.min(from + 40)]).into_owned();
    Wrong::NotUnderstood { what, text }.at(Place::Line(words.line, 1))
}

fn unknown<R>(words: &Words<R>, from: usize, to: usize) -> Fault {
    let code = String::from_utf8_lossy(&words.held[from..to.min(from + 40)]).into_owned();
    Wrong::UnknownCode { code }.at(Place::Line(words.line, 1))
}

/// Makes channels of tracks, the most significant bit of a vector first.
pub(super) fn assemble(
    format: Format,
    variables: Vec<Variable>,
    mut store: Store,
    tick: f64,
    end: f64,
) -> Capture {
    let mut left = vec![0; store.first.len()];
    variables.iter().for_each(|v| left[v.code as usize] += 1);
    let mut channels = Vec::new();
    for variable in variables {
        let first = store.first[variable.code as usize].0 as usize;
        left[variable.code as usize] -= 1;
        for i in (0..variable.width.max(1)).rev() {
            let track = &mut store.tracks[first + i];
            let last = left[variable.code as usize] == 0;
            let track = if last {
                std::mem::take(track)
            } else {
                Track {
                    times: track.times.clone(),
                    values: track.values.clone(),
                }
            };
            let name = if variable.width > 1 {
                format!("{}[{i}]", variable.name)
            } else {
                variable.name.clone()
            };
            let steps = Steps {
                times: track.times,
                values: track.values,
                end,
                tick,
            };
            channels.push(Channel {
                name,
                unit: String::new(),
                trace: Trace::Stepped(steps),
            });
        }
    }
    Capture {
        format,
        channels,
        notes: Vec::new(),
    }
}
