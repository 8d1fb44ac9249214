//! Invented recordings: random pulse trains sampled as a recorder would, with a second unit's clock and planted differences.
#![allow(dead_code, reason = "each test file uses its part")]

use signal::Trace;
use signal::axis::Axis;
use signal::differences::Kind;
use std::sync::Arc;

/// A small generator of repeatable noise.
pub struct Noise(pub u64);

impl Noise {
    pub fn uniform(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        let mixed = (self.0 ^ (self.0 >> 29)).wrapping_mul(0xBF58476D1CE4E5B9);
        ((mixed ^ (mixed >> 32)) >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    pub fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.uniform()).ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// One planted difference, in samples of A.
#[derive(Clone, Copy, Debug)]
pub struct Planted {
    pub kind: Kind,
    pub at: f64,
    pub until: f64,
}

impl Planted {
    pub fn explains(&self, kind: Kind, at: f64) -> bool {
        kind == self.kind && at > self.at - 4.0 && at < self.until + 4.0
    }
}

#[derive(Clone, Debug)]
pub struct Plan {
    pub samples: usize,
    pub b_samples: Option<usize>,
    pub interval: f64,
    /// Samples of A's length by which B is later at time zero.
    pub offset: f64,
    pub rate: f64,
    /// Amplitude in samples of one slow cycle of drift over the recording.
    pub drift: f64,
    pub noise: f64,
    /// Standard deviation of each edge in each unit, samples.
    pub jitter: f64,
    /// 10 to 90 % duration of an edge, samples.
    pub rise: f64,
    /// Start and width of each pulse in samples of A.
    pub pulses: Vec<(f64, f64)>,
    pub lost_share: f64,
    pub lost: Vec<usize>,
    pub extra: Vec<(f64, f64)>,
    /// Pulse, and samples by which its rising edge comes late in B.
    pub moved: Vec<(usize, f64)>,
    /// Pulse, and level of its top in B as a fraction of the amplitude.
    pub levels: Vec<(usize, f64)>,
    /// Pulse, and factor by which its rising edge is slower in B.
    pub slow: Vec<(usize, f64)>,
    pub seed: u64,
}

pub struct Made {
    pub a: Trace,
    pub b: Trace,
    pub planted: Vec<Planted>,
    plan: Plan,
}

impl Made {
    /// Where sample `t` of A lies on B's axis, in samples.
    pub fn truth(&self, t: f64) -> f64 {
        self.plan.place(t)
    }
}

impl Plan {
    fn place(&self, t: f64) -> f64 {
        self.offset
            + (1.0 + self.rate) * t
            + self.drift * (std::f64::consts::TAU * t / self.samples as f64).sin()
    }
}

pub fn random_plan(seed: u64, samples: usize) -> Plan {
    let mut noise = Noise(seed.wrapping_mul(0x9E3779B97F4A7C15) ^ 77);
    let mut pulses = Vec::new();
    let mut at = 80.0;
    loop {
        let (width, gap) = (noise.between(20.0, 160.0), noise.between(20.0, 160.0));
        if at + width + gap > samples as f64 - 60.0 {
            break;
        }
        pulses.push((at, width));
        at += width + gap;
    }
    Plan {
        samples,
        b_samples: None,
        interval: 1e-7,
        offset: 0.0,
        rate: 0.0,
        drift: 0.0,
        noise: 0.0,
        jitter: 0.0,
        rise: 4.0,
        pulses,
        lost_share: 0.0,
        lost: vec![],
        extra: vec![],
        moved: vec![],
        levels: vec![],
        slow: vec![],
        seed,
    }
}

/// A random pair with three to five differences at least four pulses apart.
pub fn planted(n: u64) -> Plan {
    let mut noise = Noise(n.wrapping_mul(0xD1342543DE82EF95) ^ 4242);
    let mut plan = random_plan(5000 + n, 100_000);
    plan.offset = noise.between(-3000.0, 3000.0);
    plan.rate = noise.between(-100e-6, 100e-6);
    plan.drift = if n.is_multiple_of(3) {
        noise.between(0.0, 3.0)
    } else {
        0.0
    };
    plan.noise = [0.0, 0.005, 0.01, 0.03][n as usize % 4];
    plan.jitter = noise.between(0.0, 0.2);
    plan.rise = noise.between(1.5, 6.0);
    let count = plan.pulses.len();
    let mut taken: Vec<usize> = Vec::new();
    for k in 0..3 + (n as usize % 3) {
        let pulse = loop {
            let pulse = 40 + (noise.uniform() * (count - 80) as f64) as usize;
            if taken.iter().all(|t| t.abs_diff(pulse) > 4) {
                break pulse;
            }
        };
        taken.push(pulse);
        let (start, width) = plan.pulses[pulse];
        let sign = if noise.uniform() < 0.5 { -1.0 } else { 1.0 };
        match (n as usize + k) % 5 {
            0 => plan.lost.push(pulse),
            1 => {
                // a wide gap after this pulse to put another one into
                plan.pulses[pulse].1 = 20.0;
                let next = plan.pulses[pulse + 1].0;
                let room = next - start - 20.0;
                plan.extra.push((start + 20.0 + 0.35 * room, 0.3 * room));
            }
            2 => plan
                .moved
                .push((pulse, sign * noise.between(4.0, 8.0).min(0.4 * width))),
            3 => plan
                .levels
                .push((pulse, 1.0 + sign * noise.between(0.15, 0.3))),
            _ => plan.slow.push((pulse, noise.between(3.0, 4.0))),
        }
    }
    plan
}

pub fn sampled(samples: Vec<f32>, interval: f64) -> Trace {
    Trace::Sampled {
        axis: Arc::new(Axis::uniform(0.0, interval)),
        samples,
    }
}

#[derive(Clone, Copy)]
struct Edge {
    at: f64,
    step: f64,
    rise: f64,
}

/// Smooth step: a logistic edge, 10 to 90 % in `rise`.
fn course(
    edges: &[Edge],
    samples: usize,
    noise_level: f64,
    noise: &mut Noise,
    gain: (f64, f64),
) -> Vec<f32> {
    let mut value = vec![0.0f64; samples];
    let mut level = 0.0;
    let mut from = 0usize;
    // plateaus first, then each edge's course around its place
    for edge in edges {
        let to = edge.at.ceil().clamp(0.0, samples as f64) as usize;
        value[from.min(to)..to].iter_mut().for_each(|v| *v += level);
        level += edge.step;
        from = to;
    }
    value[from..].iter_mut().for_each(|v| *v += level);
    for edge in edges {
        let scale = edge.rise / (2.0 * 9f64.ln());
        let reach = 20.0 * scale + 2.0;
        let (first, last) = (
            (edge.at - reach).max(0.0) as usize,
            ((edge.at + reach).max(0.0) as usize).min(samples),
        );
        let near = value.iter_mut().enumerate().take(last).skip(first);
        for (i, v) in near {
            let x = (i as f64 - edge.at) / scale;
            let ideal = if i as f64 >= edge.at { 1.0 } else { 0.0 };
            *v += edge.step * (1.0 / (1.0 + (-x).exp()) - ideal);
        }
    }
    value
        .iter()
        .map(|v| {
            (gain.0
                + gain.1
                    * (v + if noise_level > 0.0 {
                        noise_level * noise.normal()
                    } else {
                        0.0
                    })) as f32
        })
        .collect()
}

pub fn pair(plan: &Plan) -> Made {
    let mut noise = Noise(plan.seed ^ 0xABCDEF);
    let mut planted = Vec::new();
    let (mut a, mut b): (Vec<Edge>, Vec<Edge>) = (Vec::new(), Vec::new());
    for (k, (start, width)) in plan.pulses.iter().enumerate() {
        let mut jittered = |t: f64| t + plan.jitter * noise.normal();
        a.push(Edge {
            at: jittered(*start),
            step: 1.0,
            rise: plan.rise,
        });
        a.push(Edge {
            at: jittered(start + width),
            step: -1.0,
            rise: plan.rise,
        });
        let (rise, fall) = (
            jittered(plan.place(*start)),
            jittered(plan.place(start + width)),
        );
        let note = |kind| Planted {
            kind,
            at: *start,
            until: start + width,
        };
        if plan.lost.contains(&k) {
            planted.push(note(Kind::Missing));
            continue;
        }
        if plan.lost_share > 0.0 && noise.uniform() < plan.lost_share {
            continue;
        }
        let find = |list: &[(usize, f64)]| list.iter().find(|(p, _)| *p == k).map(|(_, v)| *v);
        let (mut at, mut top, mut duration) = (rise, 1.0, plan.rise);
        if let Some(by) = find(&plan.moved) {
            at += by;
            planted.push(Planted {
                until: *start,
                ..note(Kind::Moved)
            });
        }
        if let Some(level) = find(&plan.levels) {
            top = level;
            planted.push(note(Kind::Level));
        }
        if let Some(factor) = find(&plan.slow) {
            duration *= factor;
            planted.push(Planted {
                until: *start,
                ..note(Kind::Shape)
            });
        }
        b.push(Edge {
            at,
            step: top,
            rise: duration,
        });
        b.push(Edge {
            at: fall,
            step: -top,
            rise: plan.rise,
        });
    }
    for (start, width) in &plan.extra {
        b.push(Edge {
            at: plan.place(*start),
            step: 1.0,
            rise: plan.rise,
        });
        b.push(Edge {
            at: plan.place(start + width),
            step: -1.0,
            rise: plan.rise,
        });
        planted.push(Planted {
            kind: Kind::Extra,
            at: *start,
            until: start + width,
        });
    }
    a.sort_by(|x, y| x.at.total_cmp(&y.at));
    b.sort_by(|x, y| x.at.total_cmp(&y.at));
    let wave_a = course(&a, plan.samples, plan.noise, &mut noise, (-12.0, 12.0));
    let wave_b = course(
        &b,
        plan.b_samples.unwrap_or(plan.samples),
        plan.noise,
        &mut noise,
        (-12.0, 12.0),
    );
    Made {
        a: sampled(wave_a, plan.interval),
        b: sampled(wave_b, plan.interval),
        planted,
        plan: plan.clone(),
    }
}
