//! The readings that were entered, and the readings file that they make.

use super::Work;
use crate::event::Row;
use crate::guard::guarded;
use crate::print::line;
use crate::{Entry, Event};

/// A column: its name, and what a row puts there.
type Column = (&'static str, fn(&Row) -> String);

const COLUMNS: [Column; 15] = [
    ("unit", |r| r.site.unit.clone()),
    ("state", |r| r.state.word().to_owned()),
    ("kind", |r| r.kind.word().to_owned()),
    ("red", |r| r.red.clone()),
    ("black", |r| r.black.clone()),
    ("value", |r| r.value.clone()),
    ("meter", |r| r.meter.clone().unwrap_or_default()),
    ("note", |r| r.note.clone()),
    ("place", |r| r.place.map_or("", |p| p.word()).to_owned()),
    ("lifted", |r| r.lifted.join(" ")),
    ("unplugged", |r| r.unplugged.join(" ")),
    ("celsius", |r| {
        r.celsius.map_or_else(String::new, |c| c.0.to_string())
    }),
    ("minutes", |r| {
        r.minutes.map_or_else(String::new, |m| m.to_string())
    }),
    ("cycle", |r| r.cycle.clone().unwrap_or_default()),
    ("time", |r| r.time.clone().unwrap_or_default()),
];

impl Work {
    /// The readings that count, oldest first; of one board, or all with none.
    pub fn readings<'a>(
        &'a self,
        board: Option<&'a str>,
    ) -> impl Iterator<Item = (&'a Entry, &'a Row)> {
        let rows = self
            .listed(&self.readings)
            .filter_map(|(entry, event)| match event {
                Event::Reading(row) => Some((entry, row)),
                _ => None,
            });
        rows.filter(move |(_, row)| board.is_none() || row.site.board.as_deref() == board)
    }

    /// The boards that have readings, in the order of their names.
    pub fn boards_read(&self) -> Vec<&str> {
        let boards = self
            .readings(None)
            .filter_map(|(_, row)| row.site.board.as_deref());
        let mut list: Vec<&str> = boards.collect();
        list.sort_unstable();
        list.dedup();
        list
    }

    /// The readings of a board as a readings file, header first, with every column and guarded for spreadsheets; it is read
    /// by [`crate::parse_readings`] like one from the folder. Line `n` is the reading `n - 2` of [`Work::readings`], unless
    /// a note holds line ends.
    pub fn readings_file(&self, board: &str) -> String {
        let mut text = Row::file_header();
        for (_, row) in self.readings(Some(board)) {
            text.push_str(&line(COLUMNS.iter().map(|(_, of)| guarded(&of(row)))));
        }
        text
    }
}

impl Row {
    /// The header of a readings file with every column, with its end.
    pub fn file_header() -> String {
        line(COLUMNS.iter().map(|(name, _)| (*name).to_owned()))
    }

    /// This reading as one line of such a file, with its end; line ends inside a field become blanks.
    pub fn file_line(&self) -> String {
        let one_line = |text: String| text.replace(['\n', '\r'], " ");
        line(COLUMNS.iter().map(|(_, of)| one_line(of(self))))
    }
}
