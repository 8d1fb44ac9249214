//! The hash that chains each entry to the one before it.

use record::Digest;
use sha2::{Digest as _, Sha256};

/// The sum of some bytes.
pub fn sum(bytes: &[u8]) -> Digest {
    Digest(Sha256::digest(bytes).into())
}

/// The hash of an entry: SHA-256 over the 32 bytes of the hash before, then its body.
pub fn link(before: Digest, body: &str) -> Digest {
    let mut hasher = Sha256::new();
    hasher.update(before.0);
    hasher.update(body.as_bytes());
    Digest(hasher.finalize().into())
}
