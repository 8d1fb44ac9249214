//! Text files of samples in the many shapes that oscilloscopes write, read as a stream.

use super::csv_layout::{self, Column, Layout};
use super::{Given, Head, Sink, Told};
use crate::axis::{Axis, AxisBuilder};
use crate::fault::{Fault, Place, Wrong};
use crate::number::{self, Mould};
use std::io::Read;

/// Bytes looked at to find out how the file is laid out.
const OPENING: usize = 1 << 18;
/// Bytes read at a time.
const CHUNK: usize = 1 << 18;
/// A longer line is no row of samples.
const LONGEST: usize = 1 << 17;
/// Rows handed on at a time.
const ROWS: usize = 4096;

/// Reads rows as they come and hands the samples on; the time base comes back at the end.
pub fn stream(mut source: impl Read, given: &Given, sink: &mut dyn Sink) -> Result<Told, Fault> {
    let given = given.seconds()?;
    let mut held = Vec::with_capacity(OPENING + CHUNK);
    source
        .by_ref()
        .take(OPENING as u64)
        .read_to_end(&mut held)?;
    let ended = held.len() < OPENING;
    check_opening(&held)?;
    let skip = if held.starts_with(b"\xef\xbb\xbf") {
        3
    } else {
        0
    };
    held.drain(..skip);
    let layout = csv_layout::find(&opening_lines(&held, ended))?;
    let mut rows = Rows::new(layout, given, sink)?;
    let mut line = 0;
    loop {
        let (used, lines) = rows.whole_lines(&held, line)?;
        line += lines;
        held.drain(..used);
        if held.len() > LONGEST {
            return Err(Wrong::LongLine { limit: LONGEST }.at(Place::Line(line + 1, 1)));
        }
        let before = held.len();
        source.by_ref().take(CHUNK as u64).read_to_end(&mut held)?;
        if held.len() == before {
            rows.line(&held, line + 1)?;
            return rows.finish(given);
        }
    }
}

fn check_opening(held: &[u8]) -> Result<(), Fault> {
    if held.is_empty() {
        return Err(Wrong::Empty.at(Place::Whole));
    }
    if held.starts_with(b"\xff\xfe")
        || held.starts_with(b"\xfe\xff")
        || (held.len() > 3 && held[1] == 0 && held[3] == 0)
    {
        return Err(Wrong::SixteenBitText.at(Place::Byte(0)));
    }
    match held.iter().position(|&b| b == 0) {
        Some(at) => Err(Wrong::NotUnderstood {
            what: "A zero byte in text",
            text: "\\0".into(),
        }
        .at(Place::Byte(at as u64))),
        None => Ok(()),
    }
}

fn opening_lines(held: &[u8], ended: bool) -> Vec<&[u8]> {
    let whole = match held.iter().rposition(|&b| b == b'\n') {
        Some(at) if !ended => &held[..at],
        _ => held,
    };
    let mut lines: Vec<&[u8]> = whole
        .split(|&b| b == b'\n')
        .map(|l| l.strip_suffix(b"\r").unwrap_or(l))
        .collect();
    if lines.last().is_some_and(|l| l.is_empty()) {
        lines.pop();
    }
    lines
}

struct Rows<'a> {
    layout: Layout,
    sink: &'a mut dyn Sink,
    blocks: Vec<Vec<f32>>,
    stamps: AxisBuilder,
    has_time: bool,
    rows: u64,
    scale: Vec<f64>,
    /// Last printed digit of the time column as it was last, and what it is worth in seconds.
    printed: (i32, f64),
    /// How each column's number was laid out last.
    moulds: Vec<Mould>,
}

impl<'a> Rows<'a> {
    fn new(
        mut layout: Layout,
        given: Option<f64>,
        sink: &'a mut dyn Sink,
    ) -> Result<Rows<'a>, Fault> {
        let has_time = layout.columns.iter().any(|c| matches!(c, Column::Time(_)));
        if (!has_time || layout.maybe_time) && layout.interval.or(given).is_some() {
            // with the interval known otherwise, an unnamed first column that counts is only a count
            layout.notes.extend(layout.maybe_time.then(|| "The first column has no heading; it is read as time if its steps are not whole numbers.".to_owned()));
        } else if !has_time {
            return Err(Wrong::NoTimeBase.at(Place::Whole));
        }
        let heads: Vec<Head> = layout
            .columns
            .iter()
            .filter_map(|c| match c {
                Column::Value(name, unit, _) => Some(Head {
                    name: name.clone(),
                    unit: unit.clone(),
                }),
                _ => None,
            })
            .collect();
        sink.open(&heads);
        let scale = layout.columns.iter().map(|c| match c {
            Column::Value(_, _, power) | Column::Time(power) => 10f64.powi(*power),
            Column::Count => 1.0,
        });
        let scale = scale.collect();
        let blocks = heads.iter().map(|_| Vec::with_capacity(ROWS)).collect();
        let moulds = vec![Mould::default(); layout.columns.len()];
        Ok(Rows {
            moulds,
            layout,
            sink,
            blocks,
            stamps: AxisBuilder::default(),
            has_time,
            rows: 0,
            scale,
            printed: (i32::MIN, 0.0),
        })
    }

    /// Reads all lines that end within `held`; gives the bytes and lines used.
    fn whole_lines(&mut self, held: &[u8], line: u64) -> Result<(usize, u64), Fault> {
        let (mut at, mut lines) = (0, 0);
        while at < held.len() {
            let number = line + lines + 1;
            let fast = if number > self.layout.above as u64 {
                self.fast(&held[at..])
            } else {
                None
            };
            let used = match fast {
                Some(used) => used,
                None => {
                    let Some(length) = held[at..].iter().position(|&b| b == b'\n') else {
                        break;
                    };
                    self.line(&held[at..at + length], number)?;
                    length + 1
                }
            };
            at += used;
            lines += 1;
            if self.blocks[0].len() >= ROWS {
                self.flush();
            }
        }
        Ok((at, lines))
    }

    /// Reads one complete row of plain numbers; none if anything about it is out of the ordinary.
    #[inline]
    fn fast(&mut self, text: &[u8]) -> Option<usize> {
        if self.layout.lead > 0 {
            return None;
        }
        let (mut at, mut channel) = (0, 0);
        let (sign, separator, last) = (
            self.layout.decimal_sign,
            self.layout.separator,
            self.layout.columns.len() - 1,
        );
        let rows = self.blocks[0].len();
        let mut stamp = None;
        let mut ok = true;
        for (i, column) in self.layout.columns.iter().enumerate() {
            let rest = &text[at..];
            let ends = |used: usize| {
                let end = *rest.get(used).unwrap_or(&0);
                if i < last {
                    end == separator
                } else {
                    end == b'\n' || end == b'\r'
                }
            };
            let read = match self.moulds[i].read(rest, sign, !matches!(column, Column::Value(..))) {
                Some(read) if ends(read.1) => Some(read),
                _ => {
                    let read = number::plain_prefix(rest, sign).filter(|r| ends(r.1));
                    self.moulds[i] = read.map_or(Mould::default(), |r| Mould::of(rest, r.1, sign));
                    read
                }
            };
            let Some((decimal, used)) = read else {
                ok = false;
                break;
            };
            at += used;
            if number::is_over_range(decimal.value) {
                ok = false;
                break;
            }
            match column {
                Column::Value(_, _, power) => {
                    let value = if *power == 0 {
                        decimal.value
                    } else {
                        number::scaled(decimal.value, *power)
                    };
                    self.blocks[channel].push(value as f32);
                    channel += 1;
                }
                Column::Time(power) => {
                    if decimal.last_digit != self.printed.0 {
                        self.printed = (decimal.last_digit, decimal.quantum() * self.scale[i]);
                    }
                    let time = if *power == 0 {
                        decimal.value
                    } else {
                        number::scaled(decimal.value, *power)
                    };
                    stamp = Some((time, self.printed.1));
                }
                Column::Count => {}
            }
            at += 1;
        }
        if ok && text.get(at - 1) == Some(&b'\r') {
            ok = text.get(at) == Some(&b'\n');
            at += 1;
        }
        if ok && let Some((time, quantum)) = stamp {
            ok = self.stamps.push(time, quantum);
        }
        if !ok {
            // the careful reader takes the row from its start
            self.blocks.iter_mut().for_each(|b| b.truncate(rows));
            return None;
        }
        self.rows += 1;
        Some(at)
    }

    fn line(&mut self, line: &[u8], number: u64) -> Result<(), Fault> {
        if number <= self.layout.above as u64 || line.trim_ascii().is_empty() {
            return Ok(());
        }
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        let fields = csv_layout::split(line, self.layout.separator);
        let wanted = self.layout.lead + self.layout.columns.len();
        let column_of = |field: &[u8]| field.as_ptr() as u64 - line.as_ptr() as u64 + 1;
        let spare = fields.iter().skip(wanted).any(|f| !f.is_empty());
        if fields.len() < wanted {
            return Err(Wrong::TooFewFields {
                found: fields.len(),
                wanted,
            }
            .at(Place::Line(number, 1)));
        }
        if spare {
            return Err(Wrong::TooManyFields {
                found: fields.len(),
                wanted,
            }
            .at(Place::Line(number, 1)));
        }
        let mut channel = 0;
        for (i, bytes) in fields
            .iter()
            .skip(self.layout.lead)
            .take(self.layout.columns.len())
            .enumerate()
        {
            let place = Place::Line(number, column_of(bytes));
            let text = || String::from_utf8_lossy(&bytes[..bytes.len().min(40)]).into_owned();
            let Some(decimal) = number::field(bytes, self.layout.decimal_sign) else {
                let low = text().to_lowercase();
                let over = [
                    "ol", "overflow", "over", "inf", "+inf", "-inf", "nan", "****", "-ol", "clip",
                ]
                .contains(&low.trim_matches('"'));
                let wrong = if over {
                    Wrong::OverRange { text: text() }
                } else {
                    Wrong::NotANumber { text: text() }
                };
                return Err(wrong.at(place));
            };
            if number::is_over_range(decimal.value) {
                return Err(Wrong::OverRange { text: text() }.at(place));
            }
            match &self.layout.columns[i] {
                Column::Value(_, _, power) => {
                    self.blocks[channel].push(number::scaled(decimal.value, *power) as f32);
                    channel += 1;
                }
                Column::Time(power) => {
                    let (before, after) =
                        (self.stamps.last(), number::scaled(decimal.value, *power));
                    if !self.stamps.push(after, decimal.quantum() * self.scale[i]) {
                        return Err(Wrong::TimeGoesBack { before, after }.at(place));
                    }
                }
                Column::Count => {}
            }
        }
        self.rows += 1;
        Ok(())
    }

    fn flush(&mut self) {
        for (channel, block) in self.blocks.iter_mut().enumerate() {
            self.sink.block(channel, block);
            block.clear();
        }
    }

    fn finish(mut self, given: Option<f64>) -> Result<Told, Fault> {
        self.flush();
        if self.rows == 0 {
            return Err(Wrong::NoRows.at(Place::Whole));
        }
        let known = self.layout.interval;
        let uniform = |interval: f64, origin: f64| Axis::uniform(origin, interval);
        let column = if self.has_time {
            self.stamps.finish()
        } else {
            None
        };
        let mut notes = self.layout.notes;
        if self.layout.maybe_time {
            // without a heading the first column is time only if it rises in steps that no count would have
            let timelike = column.as_ref().filter(|a| a.interval().fract() != 0.0);
            return match (timelike, known.or(given)) {
                (Some(axis), None) => {
                    notes.push("The first column has no heading; it rises steadily and is read as time in seconds.".into());
                    Ok(Told {
                        axis: axis.clone(),
                        notes,
                    })
                }
                (_, Some(interval)) => Ok(Told {
                    axis: uniform(interval, self.layout.origin.unwrap_or(0.0)),
                    notes,
                }),
                (None, None) => Err(Wrong::NoTimeBase.at(Place::Whole)),
            };
        }
        if self.has_time {
            let axis = match column {
                Some(axis) => axis,
                None if self.rows == 1 => uniform(
                    known.or(given).ok_or(Wrong::NoTimeBase.at(Place::Whole))?,
                    0.0,
                ),
                None => return Err(Wrong::NoTimeBase.at(Place::Whole)),
            };
            let file = axis.interval();
            return match given {
                Some(given) if axis.is_uniform() && (given / file - 1.0).abs() > 0.01 => {
                    Err(Wrong::TwoTimeBases { file, given }.at(Place::Whole))
                }
                _ => Ok(Told { axis, notes }),
            };
        }
        if let (Some(file), Some(given)) = (known, given)
            && (given / file - 1.0).abs() > 0.01
        {
            return Err(Wrong::TwoTimeBases { file, given }.at(Place::Whole));
        }
        let interval = known.or(given).ok_or(Wrong::NoTimeBase.at(Place::Whole))?;
        Ok(Told {
            axis: uniform(interval, self.layout.origin.unwrap_or(0.0)),
            notes,
        })
    }
}
