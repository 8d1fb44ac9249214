//! Least and greatest values at every scale, built while a recording passes by, so that a hundred million samples can be drawn.

use crate::read::{Head, Sink};

/// Samples under one value of the finest level.
pub const FINEST: usize = 16;
/// Values of one level under one of the next.
const FACTOR: usize = 4;

/// Least and greatest of a stretch of samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extent {
    /// Least sample.
    pub low: f32,
    /// Greatest sample.
    pub high: f32,
}

impl Extent {
    const NONE: Extent = Extent {
        low: f32::INFINITY,
        high: f32::NEG_INFINITY,
    };

    fn with(self, other: Extent) -> Extent {
        Extent {
            low: self.low.min(other.low),
            high: self.high.max(other.high),
        }
    }
}

/// Extents of one channel at all scales: level 0 covers [`FINEST`] samples a value, each next one four times as many.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pyramid {
    levels: Vec<Vec<Extent>>,
    samples: usize,
}

impl Pyramid {
    /// Number of samples that went in.
    pub fn samples(&self) -> usize {
        self.samples
    }

    /// Takes the next samples.
    pub fn push(&mut self, samples: &[f32]) {
        if self.levels.is_empty() {
            self.levels.push(Vec::new());
        }
        let mut rest = samples;
        while !rest.is_empty() {
            let filled = self.samples % FINEST;
            let (now, later) = rest.split_at((FINEST - filled).min(rest.len()));
            let extent = now
                .iter()
                .fold(Extent::NONE, |e, v| e.with(Extent { low: *v, high: *v }));
            match self.levels[0].last_mut() {
                Some(last) if filled > 0 => *last = last.with(extent),
                _ => self.levels[0].push(extent),
            }
            self.samples += now.len();
            rest = later;
        }
    }

    /// Builds the coarser levels once all samples are in.
    pub fn finish(&mut self) {
        self.levels.truncate(1);
        while let Some(last) = self.levels.last().filter(|l| l.len() > FACTOR) {
            let next = last
                .chunks(FACTOR)
                .map(|c| c.iter().fold(Extent::NONE, |e, x| e.with(*x)))
                .collect();
            self.levels.push(next);
        }
    }

    /// Extents of `columns` equal stretches of the samples `from..to`, from the coarsest level that is fine enough.
    ///
    /// A column may take in up to a quarter of its neighbours' samples, never less than its own; one with no samples is absent.
    pub fn view(&self, from: usize, to: usize, columns: usize) -> Vec<Option<Extent>> {
        let to = to.min(self.samples);
        let width = to.saturating_sub(from) as f64 / columns.max(1) as f64;
        let fit = |level: usize| (FINEST * FACTOR.pow(level as u32)) as f64 <= width / 4.0;
        let level = (0..self.levels.len()).rev().find(|&l| fit(l)).unwrap_or(0);
        let (Some(extents), true) = (self.levels.get(level), width > 0.0) else {
            return vec![None; columns];
        };
        let each = (FINEST * FACTOR.pow(level as u32)) as f64;
        let column = |c: usize| {
            let (a, b) = (
                from as f64 + c as f64 * width,
                from as f64 + (c + 1) as f64 * width,
            );
            let (first, last) = (
                (a / each) as usize,
                ((b / each).ceil() as usize).min(extents.len()),
            );
            (first < last).then(|| {
                extents[first..last]
                    .iter()
                    .fold(Extent::NONE, |e, x| e.with(*x))
            })
        };
        (0..columns).map(column).collect()
    }
}

/// A sink that builds the pyramid of each channel and keeps no sample.
#[derive(Debug, Default)]
pub struct Pyramids {
    /// Names and units of the channels.
    pub heads: Vec<Head>,
    /// One pyramid a channel.
    pub channels: Vec<Pyramid>,
}

impl Sink for Pyramids {
    fn open(&mut self, heads: &[Head]) {
        self.heads = heads.to_vec();
        self.channels = vec![Pyramid::default(); heads.len()];
    }

    fn block(&mut self, channel: usize, samples: &[f32]) {
        self.channels[channel].push(samples);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_view_holds_every_spike_and_nothing_from_far_away() {
        let mut samples = vec![0.0f32; 1_000_003];
        samples[777_777] = 9.0;
        samples[5] = -4.0;
        let mut pyramid = Pyramid::default();
        samples.chunks(4093).for_each(|block| pyramid.push(block));
        pyramid.finish();
        assert_eq!(pyramid.samples(), samples.len());
        for (from, to, columns) in [
            (0, 1_000_003, 1000),
            (700_000, 800_000, 640),
            (777_700, 777_900, 5),
            (0, 64, 3),
        ] {
            let width = (to - from) as f64 / columns as f64;
            for (c, extent) in pyramid.view(from, to, columns).into_iter().enumerate() {
                let extent = extent.expect("samples");
                let (a, b) = (
                    from as f64 + c as f64 * width,
                    from as f64 + (c + 1) as f64 * width,
                );
                let own = &samples[a.ceil() as usize..(b.floor() as usize).min(samples.len())];
                let slack = (width / 4.0).max(FINEST as f64);
                let wide = &samples
                    [(a - slack).max(0.0) as usize..((b + slack) as usize).min(samples.len())];
                let (low, high) = own
                    .iter()
                    .fold((f32::MAX, f32::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
                assert!(extent.low <= low && extent.high >= high);
                let (low, high) = wide
                    .iter()
                    .fold((f32::MAX, f32::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
                assert!(extent.low >= low && extent.high <= high);
            }
        }
        assert!(pyramid.view(5, 5, 4).iter().all(Option::is_none));
    }
}
