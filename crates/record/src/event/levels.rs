//! Logic levels seen at nets of a gate sheet.

/// Levels were seen in one row of what is recorded of a gate sheet; of a net that is named again the last word counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Levels {
    /// The unit that was looked at.
    pub unit: String,
    /// Name of the gate sheet.
    pub sheet: String,
    /// Name of the file of rows that they belong to; empty if there is none.
    pub rows: String,
    /// The row, counted from 1 over all rows of the file and those that were entered after it; 0 is a row of its own after the last.
    pub row: u32,
    /// As written: nets or pins with their levels, such as `BUSY=0 U3.8=H DONE=3.1V`.
    pub seen: String,
}
