//! A board drawn as an outline, for places to be put on before there is a photograph: a picture like any other.

/// Where the fingers of the edge connector are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Edge {
    /// None is drawn.
    None,
    /// Along the upper edge.
    Top,
    /// Along the right edge.
    Right,
    /// Along the lower edge.
    Bottom,
    /// Along the left edge.
    Left,
}

impl Edge {
    /// All of them.
    pub const ALL: [Edge; 5] = [Edge::Bottom, Edge::Top, Edge::Left, Edge::Right, Edge::None];

    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            Edge::None => "none",
            Edge::Top => "top",
            Edge::Right => "right",
            Edge::Bottom => "bottom",
            Edge::Left => "left",
        }
    }
}

/// Longest side in picture elements, and the margin around the board; chosen to be sharp on a phone and small in the ledger.
const SIDE: f64 = 960.0;
const MARGIN: u32 = 12;

/// A PNG picture of a board of this size in millimetres, with a dot every 10 mm.
pub fn draw(width: f64, height: f64, edge: Edge) -> Vec<u8> {
    let scale = SIDE / width.max(height);
    let side = |mm: f64| ((mm * scale).round() as u32).max(1) + 2 * MARGIN;
    let (w, h) = (side(width), side(height));
    let (right, bottom) = (w - 1 - MARGIN, h - 1 - MARGIN);
    let is_ink = |x: u32, y: u32| {
        let inside = (MARGIN..=right).contains(&x) && (MARGIN..=bottom).contains(&y);
        let near = |a: u32, b: u32, by: u32| a.abs_diff(b) < by;
        let on_border =
            near(x, MARGIN, 3) || near(x, right, 3) || near(y, MARGIN, 3) || near(y, bottom, 3);
        let grid = 10.0 * scale;
        let off = |at: u32| {
            let steps = f64::from(at - MARGIN) / grid;
            (steps - steps.round()).abs() * grid
        };
        // Fingers take half of their pitch, from a tenth to nine tenths of the edge.
        let finger = |along: u32, from: u32, to: u32| {
            let share = f64::from(along - from) / f64::from((to - from).max(1));
            (0.1..0.9).contains(&share) && f64::from(along - from) % (5.0 * scale) < 2.5 * scale
        };
        let deep = (6.0 * scale).round() as u32;
        let on_edge = || match edge {
            Edge::None => false,
            Edge::Top => y < MARGIN + deep && finger(x, MARGIN, right),
            Edge::Bottom => y + deep > bottom && finger(x, MARGIN, right),
            Edge::Left => x < MARGIN + deep && finger(y, MARGIN, bottom),
            Edge::Right => x + deep > right && finger(y, MARGIN, bottom),
        };
        inside && (on_border || (off(x) < 1.5 && off(y) < 1.5) || on_edge())
    };
    png(w, h, is_ink)
}

/// A picture of one bit an element (W3C PNG, third edition): grey, black where `is_ink`.
fn png(width: u32, height: u32, is_ink: impl Fn(u32, u32) -> bool) -> Vec<u8> {
    let mut rows = Vec::new();
    for y in 0..height {
        rows.push(0); // no filter
        for first in (0..width).step_by(8) {
            let bit = |k: u32| {
                let white = first + k >= width || !is_ink(first + k, y);
                u8::from(white) << (7 - k)
            };
            rows.push((0..8).map(bit).sum());
        }
    }
    let mut head = Vec::new();
    head.extend(width.to_be_bytes());
    head.extend(height.to_be_bytes());
    head.extend([1, 0, 0, 0, 0]); // one bit, grey, deflate, adaptive filters, no interlace
    let mut picture = b"\x89PNG\r\n\x1a\n".to_vec();
    chunk(&mut picture, b"IHDR", &head);
    chunk(&mut picture, b"IDAT", &stored(&rows));
    chunk(&mut picture, b"IEND", &[]);
    picture
}

fn chunk(picture: &mut Vec<u8>, name: &[u8; 4], content: &[u8]) {
    let length = u32::try_from(content.len()).expect("an outline is small");
    picture.extend(length.to_be_bytes());
    let summed = [name.as_slice(), content].concat();
    picture.extend(&summed);
    picture.extend(crc(&summed).to_be_bytes());
}

/// A zlib stream (RFC 1950) of stored blocks (RFC 1951, 3.2.4).
fn stored(bytes: &[u8]) -> Vec<u8> {
    let mut stream = vec![0x78, 0x01];
    let mut blocks = bytes.chunks(0xffff).peekable();
    while let Some(block) = blocks.next() {
        let length = u16::try_from(block.len()).expect("cut so");
        stream.push(u8::from(blocks.peek().is_none()));
        stream.extend(length.to_le_bytes());
        stream.extend((!length).to_le_bytes());
        stream.extend(block);
    }
    stream.extend(adler(bytes).to_be_bytes());
    stream
}

/// Adler-32 (RFC 1950, 8.2).
fn adler(bytes: &[u8]) -> u32 {
    let (mut a, mut b) = (1u32, 0u32);
    for byte in bytes {
        a = (a + u32::from(*byte)) % 65521;
        b = (b + a) % 65521;
    }
    (b << 16) | a
}

/// CRC-32 as in PNG, annex D.
fn crc(bytes: &[u8]) -> u32 {
    let step = |sum: u32| {
        if sum & 1 == 1 {
            0xedb8_8320 ^ (sum >> 1)
        } else {
            sum >> 1
        }
    };
    !bytes.iter().fold(u32::MAX, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |s, _| step(s))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sums_are_those_of_the_standards() {
        // The check value of CRC-32 (ITU-T V.42, catalogued over the digits 1 to 9), and RFC 1950's sum over "Wikipedia" as
        // the encyclopaedia of that name works it out.
        assert_eq!(crc(b"123456789"), 0xcbf4_3926);
        assert_eq!(crc(b"IEND"), 0xae42_6082);
        assert_eq!(adler(b"Wikipedia"), 0x11e6_0398);
    }

    #[test]
    fn an_outline_is_a_picture_of_the_boards_shape() {
        let picture = draw(120.0, 80.0, Edge::Bottom);
        let (kind, (width, height)) = crate::photo::known(&picture).expect("a picture");
        assert_eq!(kind, "image/png");
        // 120 mm are 960 elements and 80 mm 640, with 12 of margin on each side.
        assert_eq!((width, height), (984, 664));
        assert_ne!(picture, draw(120.0, 80.0, Edge::None));
        assert!(picture.len() < 100_000, "{}", picture.len());
    }
}
