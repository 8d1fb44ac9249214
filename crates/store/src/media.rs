//! Endings of file names for media types, so that an exported file opens by a double click.

/// Media types and their endings (IANA media types; common practice).
const ENDINGS: [(&str, &str); 10] = [
    ("image/jpeg", "jpg"),
    ("image/png", "png"),
    ("image/webp", "webp"),
    ("image/gif", "gif"),
    ("text/csv", "csv"),
    ("text/plain", "txt"),
    ("application/json", "json"),
    ("application/pdf", "pdf"),
    ("audio/wav", "wav"),
    ("video/mp4", "mp4"),
];

/// The ending for a media type; `bin` for one that is not known.
pub fn ending(media: &str) -> &'static str {
    let bare = media.split(';').next().unwrap_or_default().trim();
    let found = ENDINGS
        .iter()
        .find(|(name, _)| name.eq_ignore_ascii_case(bare));
    found.map_or("bin", |(_, ending)| ending)
}
