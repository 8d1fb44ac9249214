//! Time and names for new entries: the two things that no page can be computed from.

use std::hash::{BuildHasher, Hasher, RandomState};
use std::time::{SystemTime, UNIX_EPOCH};

use store::record::{Id, Moment};

/// The time now.
pub fn now() -> Moment {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    let milliseconds = since.map_or(0, |d| i64::try_from(d.as_millis()).unwrap_or(i64::MAX));
    Moment::new(milliseconds).unwrap_or_else(|| Moment::new(0).expect("1970 is a moment"))
}

/// A name that no other entry has: time, and 64 bits that differ at each call (the standard library seeds its maps so).
pub fn fresh() -> Id {
    let random = RandomState::new().build_hasher().finish();
    let text = format!("{:x}-{random:016x}", now().milliseconds());
    Id::new(&text).expect("digits and a hyphen make a name")
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    #[test]
    fn names_differ() {
        let names: HashSet<_> = (0..1000).map(|_| super::fresh()).collect();
        assert_eq!(names.len(), 1000);
    }
}
