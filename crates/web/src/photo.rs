//! Photographs are known by their content, not by what the browser calls them.

/// Most picture elements along one side; chosen above any camera on a bench.
const SIDE: u32 = 30_000;

/// The media type of a PNG or JPEG picture; none for anything else.
///
/// PNG: signature and first chunk (W3C PNG, third edition, 5.2 and 11.2.1). JPEG: markers up to the frame header
/// (ITU-T T.81, annex B).
pub fn media(bytes: &[u8]) -> Option<&'static str> {
    known(bytes).map(|(kind, _)| kind)
}

/// The media type of a picture, with its width and height.
pub fn known(bytes: &[u8]) -> Option<(&'static str, (u32, u32))> {
    let (kind, (width, height)) = match bytes {
        [0x89, b'P', b'N', b'G', b'\r', b'\n', 0x1a, b'\n', rest @ ..] => ("image/png", png(rest)?),
        [0xff, 0xd8, rest @ ..] => ("image/jpeg", jpeg(rest)?),
        _ => return None,
    };
    let fits = |side: u32| (1..=SIDE).contains(&side);
    (fits(width) && fits(height)).then_some((kind, (width, height)))
}

fn png(rest: &[u8]) -> Option<(u32, u32)> {
    let head = rest.get(..16)?;
    if head[..4] != 13u32.to_be_bytes() || &head[4..8] != b"IHDR" {
        return None;
    }
    let number = |at: usize| head[at..at + 4].try_into().ok().map(u32::from_be_bytes);
    Some((number(8)?, number(12)?))
}

fn jpeg(mut rest: &[u8]) -> Option<(u32, u32)> {
    loop {
        let [0xff, marker, tail @ ..] = rest else {
            return None;
        };
        match marker {
            // Fill bytes before a marker.
            0xff => rest = &rest[1..],
            0xc0..=0xcf if ![0xc4, 0xc8, 0xcc].contains(marker) => {
                let frame = tail.get(..7)?;
                let number = |at: usize| u32::from(u16::from_be_bytes([frame[at], frame[at + 1]]));
                return Some((number(5), number(3)));
            }
            0xd0..=0xd9 | 0x01 => return None,
            _ => {
                let length = usize::from(u16::from_be_bytes([*tail.first()?, *tail.get(1)?]));
                rest = tail.get(length.max(2)..)?;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_are_known_by_their_content() {
        let mut png = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x02\0\0\0\x03".to_vec();
        assert_eq!(media(&png), Some("image/png"));
        png[19] = 0;
        assert_eq!(media(&png), None, "no width");
        // SOI, an APP0 segment, a frame header of 3 x 2.
        let jpeg = b"\xff\xd8\xff\xe0\0\x04ab\xff\xc0\0\x0b\x08\0\x03\0\x02\x01\x01\x11\0";
        assert_eq!(media(jpeg), Some("image/jpeg"));
        for other in [
            &b""[..],
            b"<svg xmlns=\"http://www.w3.org/2000/svg\"/>",
            b"GIF89a\x01\0\x01\0",
            b"\x89PNG\r\n\x1a\n<script>",
            b"\xff\xd8\xff\xe0\xff\xff",
            b"\xff\xd8\xff",
            b"%PDF-1.7",
        ] {
            assert_eq!(media(other), None, "{other:?}");
        }
    }
}
