//! Near spellings, for "did you mean".

/// The candidate nearest to a word, if it is near enough to be meant.
///
/// Distance: insertions, deletions, substitutions and exchanges of neighbours (optimal string alignment; Damerau, A
/// technique for computer detection and correction of spelling errors, CACM 7 (3), 1964); letters of another case count
/// half. A third of the word may be wrong, chosen because more suggests strangers.
pub(crate) fn nearest<'a>(
    word: &str,
    candidates: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    let word: Vec<char> = word.chars().take(40).collect();
    let allowed = (2 * word.len()).div_ceil(3).min(5);
    candidates
        .into_iter()
        .filter(|c| c.chars().count().abs_diff(word.len()) <= 2)
        .map(|c| (distance(&word, &c.chars().collect::<Vec<_>>()), c))
        .filter(|(d, _)| *d <= allowed)
        .min_by_key(|(d, _)| *d)
        .map(|(_, c)| c)
}

/// "Did you mean `x`?" or the other advice.
pub fn did_you_mean<'a>(
    word: &str,
    candidates: impl IntoIterator<Item = &'a str>,
    otherwise: impl Into<String>,
) -> String {
    match nearest(word, candidates) {
        Some(near) => format!("Did you mean `{near}`?"),
        None => otherwise.into(),
    }
}

/// In halves of an error.
fn distance(a: &[char], b: &[char]) -> usize {
    let cost = |x: char, y: char| match x {
        _ if x == y => 0,
        _ if x.to_lowercase().eq(y.to_lowercase()) => 1,
        _ => 2,
    };
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).map(|j| 2 * j).collect();
    for i in 1..=a.len() {
        let mut row = vec![2 * i];
        for j in 1..=b.len() {
            let mut best = (last[j] + 2)
                .min(row[j - 1] + 2)
                .min(last[j - 1] + cost(a[i - 1], b[j - 1]));
            let exchanged = i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1];
            if exchanged {
                best = best.min(before[j - 2] + 2);
            }
            row.push(best);
        }
        before = std::mem::replace(&mut last, row);
    }
    last[b.len()]
}
