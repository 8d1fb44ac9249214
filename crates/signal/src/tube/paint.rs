//! The picture as the beam would draw it: where it dwells it is bright, its spot is finite, and what was drawn long ago has faded.

use super::beam::Beam;

/// The part of the deflection plane that is shown; it is as many units wide as it is high.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Window {
    /// Middle, X and Y.
    pub middle: [f64; 2],
    /// Half of its side.
    pub half: f64,
}

impl Window {
    /// The smallest square that shows all of several extents with a margin of a tenth.
    pub fn around(extents: &[[[f64; 2]; 2]]) -> Window {
        let all = |axis: usize| {
            let low = extents.iter().map(|e| e[axis][0]).fold(f64::MAX, f64::min);
            let high = extents.iter().map(|e| e[axis][1]).fold(f64::MIN, f64::max);
            (low, high)
        };
        let (x, y) = (all(0), all(1));
        let half = 0.5 * (x.1 - x.0).max(y.1 - y.0);
        Window {
            middle: [0.5 * (x.0 + x.1), 0.5 * (y.0 + y.1)],
            half: if half > 0.0 { 1.1 * half } else { 1.0 },
        }
    }
}

/// What it is drawn on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Screen {
    /// Pixels a side.
    pub side: usize,
    /// Standard deviation of the spot's brightness, pixels.
    pub spot: f64,
    /// Seconds in which the light falls to 1/e; none if it does not fade.
    pub persistence: Option<f64>,
}

/// Seconds of beam for each pixel, row by row from the top, spread by the spot.
pub fn expose(beam: &Beam, window: &Window, screen: &Screen) -> Vec<f32> {
    let side = screen.side;
    let mut plane = vec![0f32; side * side];
    let scale = side as f64 / (2.0 * window.half);
    let place = |k: usize| {
        [
            (f64::from(beam.x[k]) - window.middle[0] + window.half) * scale - 0.5,
            (window.middle[1] + window.half - f64::from(beam.y[k])) * scale - 0.5,
        ]
    };
    let end = beam.axis.time(beam.lit.len() as f64);
    for k in (0..beam.lit.len()).filter(|k| beam.lit[*k]) {
        let (from, to) = (place(k), place(k + 1));
        let now = beam.axis.time(k as f64);
        let dwell = beam.axis.time(k as f64 + 1.0) - now;
        let left = screen
            .persistence
            .map_or(1.0, |tau| (-(end - now) / tau).exp());
        let length = (to[0] - from[0]).hypot(to[1] - from[1]);
        // steps of half a pixel; what leaves the screen by far needs no more of them
        let steps = ((2.0 * length).ceil() as usize).clamp(1, 4 * side);
        let each = (dwell * left / steps as f64) as f32;
        for s in 0..steps {
            let f = (s as f64 + 0.5) / steps as f64;
            let at = [
                from[0] + f * (to[0] - from[0]),
                from[1] + f * (to[1] - from[1]),
            ];
            deposit(&mut plane, side, at, each);
        }
    }
    blur(&mut plane, side, screen.spot);
    plane
}

/// Shares an amount among the four pixels around a place.
fn deposit(plane: &mut [f32], side: usize, at: [f64; 2], amount: f32) {
    let (x, y) = (at[0].floor(), at[1].floor());
    let (fx, fy) = ((at[0] - x) as f32, (at[1] - y) as f32);
    for (dx, wx) in [(0.0, 1.0 - fx), (1.0, fx)] {
        for (dy, wy) in [(0.0, 1.0 - fy), (1.0, fy)] {
            let (px, py) = (x + dx, y + dy);
            if px >= 0.0 && py >= 0.0 && px < side as f64 && py < side as f64 {
                plane[py as usize * side + px as usize] += amount * wx * wy;
            }
        }
    }
}

/// Spreads every pixel by a Gaussian, first along rows, then along columns.
fn blur(plane: &mut [f32], side: usize, sigma: f64) {
    if sigma < 0.2 {
        return;
    }
    let reach = (3.0 * sigma).ceil() as usize;
    let weight = |d: usize| (-0.5 * (d as f64 / sigma).powi(2)).exp();
    let sum = weight(0) + 2.0 * (1..=reach).map(weight).sum::<f64>();
    let weights: Vec<f32> = (0..=reach).map(|d| (weight(d) / sum) as f32).collect();
    let mut line = vec![0f32; side];
    let mut along = |start: usize, step: usize| {
        for (k, v) in line.iter_mut().enumerate() {
            *v = plane[start + k * step];
        }
        for k in 0..side {
            let mut total = weights[0] * line[k];
            for (d, w) in weights.iter().enumerate().skip(1) {
                if k >= d {
                    total += w * line[k - d];
                }
                if k + d < side {
                    total += w * line[k + d];
                }
            }
            plane[start + k * step] = total;
        }
    };
    (0..side).for_each(|row| along(row * side, 1));
    (0..side).for_each(|column| along(column, side));
}

/// The exposure that shows as a well-lit stroke: the median of what is lit at all.
pub fn usual(plane: &[f32]) -> f32 {
    let peak = plane.iter().copied().fold(0.0, f32::max);
    let mut lit: Vec<f32> = plane.iter().copied().filter(|v| *v > 0.02 * peak).collect();
    if lit.is_empty() {
        return 1.0;
    }
    let middle = lit.len() / 2;
    *lit.select_nth_unstable_by(middle, f32::total_cmp).1
}

/// Brightness from 0 to 1; a phosphor saturates, and so does this.
pub fn bright(exposure: f32, usual: f32) -> f32 {
    1.0 - (-1.4 * exposure / usual).exp()
}

/// A picture of red, green and blue bytes, row by row, as a PNG file.
pub fn png(width: usize, height: usize, pixels: &[u8]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width as u32, height as u32);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    // memory takes every byte, and the sizes are the picture's own
    let written = encoder
        .write_header()
        .and_then(|mut writer| writer.write_image_data(pixels));
    debug_assert!(written.is_ok());
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::axis::Axis;
    use crate::tube::Light;

    fn beam_of(points: &[[f32; 2]], paint: impl Fn(&Beam)) {
        let axis = Axis::uniform(0.0, 1e-3);
        let (x, y): (Vec<f32>, Vec<f32>) = points.iter().map(|p| (p[0], p[1])).unzip();
        paint(&Beam::new(&axis, &x, &y, Light::Speed).expect("a picture"));
    }

    const SCREEN: Screen = Screen {
        side: 101,
        spot: 1.5,
        persistence: None,
    };
    const WHOLE: Window = Window {
        middle: [0.0, 0.0],
        half: 1.0,
    };

    #[test]
    fn all_the_time_of_the_beam_is_on_the_screen_and_rest_is_brighter_than_motion() {
        // 200 ms at rest on the left, then 200 ms along a line on the right
        let mut points = vec![[-0.5f32, 0.0]; 201];
        points.extend((0..201).map(|k| [0.4, -0.5 + k as f32 / 200.0]));
        beam_of(&points, |beam| {
            let plane = expose(beam, &WHOLE, &SCREEN);
            let total: f64 = plane.iter().map(|v| f64::from(*v)).sum();
            assert!((total - 0.4).abs() < 1e-3, "{total}");
            let at = |x: f64, y: f64| {
                let column = ((x + 1.0) * 50.5 - 0.5).round() as usize;
                let row = ((1.0 - y) * 50.5 - 0.5).round() as usize;
                plane[row * 101 + column]
            };
            // a resting spot of sigma 1.5 has 1/(2 pi sigma^2) of its time in its middle pixel
            let peak = 0.2 / (2.0 * std::f32::consts::PI * 1.5 * 1.5);
            assert!(
                (at(-0.5, 0.0) / peak - 1.0).abs() < 0.05,
                "{}",
                at(-0.5, 0.0)
            );
            // a line of 50.5 pixels in 200 ms: 1/(sigma sqrt(2 pi)) of the time a pixel of its length
            let line = 0.2 / 50.5 / (1.5 * (2.0 * std::f32::consts::PI).sqrt());
            assert!((at(0.4, 0.0) / line - 1.0).abs() < 0.05, "{}", at(0.4, 0.0));
            assert!(at(0.4, 0.9) < 1e-6 && at(0.0, 0.0) < 1e-6);
        });
    }

    #[test]
    fn what_was_drawn_before_fades() {
        let mut points: Vec<[f32; 2]> = (0..101).map(|k| [-0.5, k as f32 / 100.0 - 0.5]).collect();
        points.extend((0..101).map(|k| [0.5, k as f32 / 100.0 - 0.5]));
        beam_of(&points, |beam| {
            let fading = Screen {
                persistence: Some(0.1),
                ..SCREEN
            };
            let plane = expose(beam, &WHOLE, &fading);
            let half = |right: bool| -> f32 {
                let keep = |k: &usize| (k % 101 > 50) == right;
                (0..plane.len()).filter(keep).map(|k| plane[k]).sum()
            };
            // the left line is 101 ms older: e^-1.01 of the light
            assert!((half(false) / half(true) - (-1.01f32).exp()).abs() < 0.01);
        });
    }

    #[test]
    fn the_file_reads_back_as_the_picture() {
        let pixels: Vec<u8> = (0..3 * 7 * 5).map(|k| (k * 37 % 251) as u8).collect();
        let bytes = png(7, 5, &pixels);
        let mut reader = png::Decoder::new(std::io::Cursor::new(bytes))
            .read_info()
            .expect("a file");
        let mut read = vec![0; reader.output_buffer_size().expect("a size")];
        let info = reader.next_frame(&mut read).expect("a picture");
        assert_eq!((info.width, info.height), (7, 5));
        assert_eq!(read, pixels);
    }
}
