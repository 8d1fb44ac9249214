//! Where the beam went and when it was lit.

use crate::axis::Axis;
use crate::blocks::blocks;
use crate::levels::levels;

/// What says when the beam is lit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Light<'a> {
    /// A recorded signal, and whether its high level lights the beam.
    Signal(&'a [f32], bool),
    /// Nothing: moves much faster than the drawing are taken as dark.
    Speed,
}

/// A beam's way over the screen.
#[derive(Clone, Debug)]
pub struct Beam<'a> {
    /// Times of the samples.
    pub axis: &'a Axis,
    /// Deflection to the right, in the channel's unit.
    pub x: &'a [f32],
    /// Deflection upwards.
    pub y: &'a [f32],
    /// Whether the beam is lit from each sample to the next; one fewer than there are samples.
    pub lit: Vec<bool>,
}

/// Why no picture can be drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Dark {
    /// Fewer samples than a stroke needs.
    #[error("There are too few samples for a picture.")]
    TooFew,
    /// The signals have different lengths.
    #[error("X, Y and blanking are not of one length.")]
    Lengths,
    /// The blanking signal rests.
    #[error("The blanking signal never changes between a dark and a lit level.")]
    NoBlanking,
    /// Nothing is lit.
    #[error("The beam is dark all the time.")]
    NeverLit,
}

/// A move this many times faster than the fast quarter of the drawing is a jump; chosen, because drawn strokes of one
/// generator differ in speed by less.
const JUMP: f64 = 5.0;

impl<'a> Beam<'a> {
    /// The way of a beam; all signals share `axis`.
    ///
    /// # Errors
    /// If the signals do not make a picture.
    pub fn new(axis: &'a Axis, x: &'a [f32], y: &'a [f32], light: Light) -> Result<Beam<'a>, Dark> {
        if x.len() != y.len() || matches!(light, Light::Signal(z, _) if z.len() != x.len()) {
            return Err(Dark::Lengths);
        }
        if x.len() < 4 {
            return Err(Dark::TooFew);
        }
        let lit = match light {
            Light::Signal(z, high) => {
                let states = levels(z, &blocks(z))
                    .filter(|l| l.two_states())
                    .ok_or(Dark::NoBlanking)?;
                let middle = states.at(0.5) as f32;
                let is_lit = |v: f32| (v > middle) == high;
                z.windows(2).map(|w| is_lit(w[0]) && is_lit(w[1])).collect()
            }
            Light::Speed => slow(x, y),
        };
        if !lit.contains(&true) {
            return Err(Dark::NeverLit);
        }
        Ok(Beam { axis, x, y, lit })
    }

    /// Least and greatest of X and of Y where the beam is lit.
    pub fn extent(&self) -> [[f64; 2]; 2] {
        let mut extent = [[f64::MAX, f64::MIN]; 2];
        let lit = (0..self.lit.len()).filter(|k| self.lit[*k]);
        for k in lit.flat_map(|k| [k, k + 1]) {
            for (e, v) in extent.iter_mut().zip([self.x[k], self.y[k]]) {
                *e = [e[0].min(v.into()), e[1].max(v.into())];
            }
        }
        extent
    }
}

/// Intervals that are not jumps.
fn slow(x: &[f32], y: &[f32]) -> Vec<bool> {
    let speed: Vec<f64> = x
        .windows(2)
        .zip(y.windows(2))
        .map(|(x, y)| f64::from(x[1] - x[0]).hypot(f64::from(y[1] - y[0])))
        .collect();
    let mut moving: Vec<f64> = speed.iter().copied().filter(|s| *s > 0.0).collect();
    if moving.is_empty() {
        return vec![true; speed.len()];
    }
    let at = moving.len() * 3 / 4;
    let (_, fast, _) = moving.select_nth_unstable_by(at, f64::total_cmp);
    let bound = JUMP * *fast;
    speed.into_iter().map(|s| s <= bound).collect()
}
