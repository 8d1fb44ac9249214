//! The recordings of the demo: invented signals and pictures of two units, drawn from a documented seed.
//!
//! The machine, its digits and its faults are invented. `README.md` of the demo tells what is planted.

/// SplitMix64 (Steele, Lea, Flood, OOPSLA 2014): the same draws on every machine.
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let a = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let b = (a ^ (a >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        b ^ (b >> 31)
    }

    fn uniform(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Mean 0, standard deviation 1: twelve draws added up, which needs no function that differs between machines.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

/// Files of the demo's recordings: path under `captures/`, and content.
pub fn files() -> Vec<(String, String)> {
    let mut all = Vec::new();
    for unit in 1..=2 {
        all.push((format!("clock/{unit}-first.csv"), clock(unit)));
        all.push((format!("tube/{unit}-first.csv"), tube(unit)));
        all.push((format!("steps/{unit}-first.vcd"), steps(unit)));
    }
    all
}

/// Seconds from sample to sample of the clock's recordings.
const STEP: f64 = 0.2e-6;

/// CLOCK and CARRY of the counter, 0 V and -10 V: the clock of unit 2 runs 30 in a million fast and was caught 31 us later. Unit
/// 2 lacks one pulse of CARRY, one rising edge of CLOCK is slow, and one low plateau of CARRY reaches only -7 V.
fn clock(unit: u64) -> String {
    let mut plan = Draw(1968);
    let mut noise = Draw(680 + unit);
    let (mut edges, mut at) = (Vec::new(), 40e-6);
    for _ in 0..70 {
        // a cycle of 12 us with the mark that its logic gives it
        edges.push((at, at + 4e-6 + 3e-6 * plan.uniform()));
        at += 12e-6 + 4e-6 * plan.uniform();
    }
    let carries: Vec<(f64, f64)> = edges.iter().step_by(5).map(|e| (e.1, e.1 + 9e-6)).collect();
    let (shift, rate) = if unit == 2 {
        (31e-6, 1.0 + 30e-6)
    } else {
        (0.0, 1.0)
    };
    let mut text =
        format!("Invented recording of unit {unit}; seed 1968\nTime,CLOCK,CARRY\ns,V,V\n");
    for k in 0..6000 {
        let t = (k as f64 * STEP - shift) / rate;
        // pulses go from -10 V up to 0 V and back, with edges that settle in a few samples
        let pulse = |from: f64, to: f64, rise: f64| {
            let up = |t: f64, tau: f64| if t > 0.0 { 1.0 - (-t / tau).exp() } else { 0.0 };
            up(t - from, rise) - up(t - to, 0.3e-6)
        };
        let mut clock = -10.0;
        for (n, (from, to)) in edges.iter().enumerate() {
            // the slow one begins earlier by what it takes longer to its half, so that only its course is wrong
            let (early, rise) = if unit == 2 && n == 42 {
                (0.901e-6, 1.6e-6)
            } else {
                (0.0, 0.3e-6)
            };
            clock += 10.0 * pulse(*from - early, *to, rise);
        }
        let mut carry = -10.0;
        for (n, (from, to)) in carries.iter().enumerate() {
            if unit == 1 || n != 3 {
                carry += 10.0 * pulse(*from, *to, 0.3e-6);
            }
        }
        if unit == 2 {
            carry += 3.0 * pulse(carries[9].1 + 1e-6, carries[10].0 - 1e-6, 0.3e-6);
        }
        let mut read = |v: f64| v + 0.06 * noise.normal();
        text += &format!(
            "{:.1e},{:.2},{:.2}\n",
            k as f64 * STEP,
            read(clock),
            read(carry)
        );
    }
    text
}

/// Words of the micro-address in the order that unit 1 takes them, again and again.
const PATH: [u8; 14] = [0, 1, 2, 3, 4, 5, 6, 7, 12, 13, 9, 10, 11, 14];
/// Where unit 2 goes instead from step 22 on, the second time after address 7: it never comes back.
const ASTRAY: [u8; 3] = [8, 4, 6];

/// STEP and the four lines of the micro-address as a logic recorder writes them. Unit 2 was caught three steps later; after address 7 it
/// goes to 8 instead of 12, and then round and round.
fn steps(unit: u64) -> String {
    let mut draws = Draw(1970 + unit);
    let mut text = format!(
        "$comment Invented recording of unit {unit}; seed 1970 $end\n$timescale 10 ns $end\n$scope module unit{unit} $end\n$var wire 1 ! STEP $end\n"
    );
    for bit in (0..4).rev() {
        text += &format!("$var wire 1 {} A{bit} $end\n", char::from(b'a' + bit));
    }
    text += "$upscope $end\n$enddefinitions $end\n#0\n0!\n0a\n0b\n0c\n0d\n";
    let first = if unit == 2 { 3 } else { 0 };
    let (mut at, mut last) = (200 + 37 * unit, 0u8);
    for k in first..60 {
        let word = match (unit, k) {
            (2, 22..) => ASTRAY[(k - 22) % 3],
            _ => PATH[k % PATH.len()],
        };
        text += &format!("#{at}\n");
        for bit in 0..4u8 {
            if (word ^ last) >> bit & 1 == 1 || k == first {
                text += &format!("{}{}\n", word >> bit & 1, char::from(b'a' + bit));
            }
        }
        last = word;
        text += &format!("#{}\n1!\n#{}\n0!\n", at + 60, at + 100);
        at += 180 + (20.0 * draws.uniform()) as u64;
    }
    text + &format!("#{at}\n")
}

/// Corners of the segments of a digit, in a cell of 1 x 2.
const SEGMENTS: [[[f64; 2]; 2]; 7] = [
    [[0.0, 2.0], [1.0, 2.0]],
    [[1.0, 2.0], [1.0, 1.0]],
    [[1.0, 1.0], [1.0, 0.0]],
    [[1.0, 0.0], [0.0, 0.0]],
    [[0.0, 0.0], [0.0, 1.0]],
    [[0.0, 1.0], [0.0, 2.0]],
    [[0.0, 1.0], [1.0, 1.0]],
];
const DIGITS: [u8; 10] = [0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7D, 0x07, 0x7F, 0x6F];
/// What stands on the screen.
const SHOWN: [[u8; 6]; 3] = [[3, 1, 4, 1, 5, 9], [2, 7, 1, 8, 2, 8], [0, 5, 7, 7, 2, 1]];

/// X and Y at the deflection amplifiers' inputs and UNBLANK, two whole pictures. In unit 2 Y gets into X (5 in 100), the Y gain is
/// 18 in 100 low, and the upper stroke of the second 7 of the lowest line is not lit.
fn tube(unit: u64) -> String {
    let mut noise = Draw(700 + unit);
    let mut text =
        format!("Invented recording of unit {unit}; seed 1968\nTime,X,Y,UNBLANK\ns,V,V,V\n");
    let (mut sample, mut from) = (0u32, [0.0, 0.0]);
    for _ in 0..2 {
        for (row, digits) in SHOWN.iter().enumerate() {
            for (column, digit) in digits.iter().enumerate() {
                for (k, segment) in SEGMENTS.iter().enumerate() {
                    if DIGITS[usize::from(*digit)] >> k & 1 == 0 {
                        continue;
                    }
                    let corner = |p: [f64; 2]| {
                        [
                            -4.0 + 8.0 * (column as f64 + 0.55 * p[0]) / 6.0,
                            3.0 - 2.0 * (row as f64 + 0.95 - 0.35 * p[1]),
                        ]
                    };
                    let (a, b) = (corner(segment[0]), corner(segment[1]));
                    let is_lost = unit == 2 && (row, column, k) == (2, 3, 0);
                    for s in 0..30 {
                        let (f, lit) = if s < 6 {
                            (f64::from(s) / 6.0, false)
                        } else {
                            (f64::from(s - 6) / 23.0, true)
                        };
                        let (start, end) = if lit { (a, b) } else { (from, a) };
                        let mut p = [0, 1].map(|axis| start[axis] + f * (end[axis] - start[axis]));
                        if unit == 2 {
                            p = [p[0] + 0.05 * p[1], 0.82 * p[1]];
                        }
                        let mut read = |v: f64| v + 0.008 * noise.normal();
                        let z = if lit && !is_lost { 5.0 } else { 0.2 };
                        text += &format!(
                            "{:.1e},{:.3},{:.3},{z:.1}\n",
                            f64::from(sample) * 1e-6,
                            read(p[0]),
                            read(p[1])
                        );
                        sample += 1;
                    }
                    from = b;
                }
            }
        }
    }
    text
}
