//! What a core store held when it came is history: nothing may be written into it before that has been read and kept.

use crate::votes::Dump;
use crate::wiring::Wiring;

/// Leave to write into a store; made only by [`permit_writes`] and [`nothing_to_save`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WritePermit {
    ground: String,
}

impl WritePermit {
    /// Why writing is allowed, a whole sentence.
    pub fn ground(&self) -> &str {
        &self.ground
    }
}

/// Why a store may not be written yet.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WritesBlocked {
    /// The store is read only.
    #[error("This store cannot be written: it is a read-only one.")]
    ReadOnly,
    /// The kept read lacks words.
    #[error("The kept read lacks {missing} of {words} words, the first at address {first:X}.")]
    Incomplete {
        /// Words of the store.
        words: usize,
        /// Words that the read lacks.
        missing: usize,
        /// The first of them.
        first: u32,
    },
}

/// Allows writing once a complete first read is kept.
///
/// # Errors
/// What is still missing.
pub fn permit_writes(wiring: &Wiring, kept: &Dump) -> Result<WritePermit, WritesBlocked> {
    writable(wiring)?;
    let lacks = |a: &&u32| kept.words.get(**a as usize).copied().flatten().is_none();
    let missing: Vec<&u32> = wiring.addresses().iter().filter(lacks).collect();
    match missing.first() {
        None => Ok(WritePermit {
            ground: format!("A complete first read is kept in {}.", kept.name),
        }),
        Some(first) => Err(WritesBlocked::Incomplete {
            words: wiring.addresses().len(),
            missing: missing.len(),
            first: **first,
        }),
    }
}

/// Allows writing because a person says that the store holds nothing worth keeping.
///
/// # Errors
/// If the store is read only.
pub fn nothing_to_save(wiring: &Wiring) -> Result<WritePermit, WritesBlocked> {
    writable(wiring)?;
    Ok(WritePermit {
        ground: "It was said that the store holds nothing worth keeping.".to_owned(),
    })
}

fn writable(wiring: &Wiring) -> Result<(), WritesBlocked> {
    if wiring.shape().organisation.is_writable() {
        Ok(())
    } else {
        Err(WritesBlocked::ReadOnly)
    }
}
