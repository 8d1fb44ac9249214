//! Processor time and time on the clock of reading and comparing, with references in the same run: `cargo bench -p signal --bench cpu [-- FILE.csv]`.
//!
//! Without a file, text is read from memory; `tests/outside/speed_csv.py` names a file and reads the same with another library.

use cpu_time::ProcessTime;
use signal::axis::Axis;
use signal::capture::Trace;
use signal::compare::{Settings, compare};
use signal::read::{Given, read};
use std::fmt::Write;
use std::sync::Arc;
use std::time::Instant;

fn main() {
    // First, so that the greatest memory so far is its own and that of its recordings.
    let [a, b, c, d] = four_captures();
    let settings = Settings::default();
    let seconds = best(7, || {
        let (x, y) = (compare(&a, &c, &settings), compare(&b, &d, &settings));
        assert!(x.alignment.is_ok() && y.alignment.is_ok() && x.matched + y.matched > 100_000);
        assert!(x.differences.is_empty() && y.differences.is_empty());
    });
    println!(
        "Align and compare 4 x 10 million samples: {}, {} MB with the 160 MB of the samples",
        seconds.words(),
        peak()
    );
    drop((a, b, c, d));
    let file = std::env::args().skip(1).find(|a| !a.starts_with("--"));
    let held = file.map(|f| std::fs::read(&f).expect("a file"));
    let text = held.unwrap_or_else(|| rows(2_000_000).into_bytes());
    let megabytes = text.len() as f64 / 1e6;
    let own = best(5, || {
        read(&text[..], &Given::default()).expect("a capture");
    });
    let plain = best(3, || {
        std::hint::black_box(split(&text));
    });
    println!(
        "CSV: {megabytes:.0} MB in {}, {:.0} MB/s; split into fields that the standard library reads {:.0} MB/s",
        own.words(),
        megabytes / own.cpu,
        megabytes / plain.cpu
    );
    drop(text);
    let dump = dump(2_000_000);
    let megabytes = dump.len() as f64 / 1e6;
    let own = best(5, || {
        signal::read::vcd::read(dump.as_bytes()).expect("a capture");
    });
    let library = best(5, || library(&dump));
    println!(
        "VCD: {:.0} MB/s; the library that reads it {:.0} MB/s",
        megabytes / own.cpu,
        megabytes / library.cpu
    );
}

/// Seconds of the processor and on the clock.
#[derive(Clone, Copy)]
struct Time {
    cpu: f64,
    wall: f64,
}

impl Time {
    fn words(self) -> String {
        let (cpu, wall) = (1e3 * self.cpu, 1e3 * self.wall);
        format!("{cpu:.0} ms of processor time, {wall:.0} ms on the clock")
    }
}

/// The try of so many that took the least processor time.
fn best(tries: usize, mut work: impl FnMut()) -> Time {
    let one = |_| {
        let (cpu, wall) = (ProcessTime::now(), Instant::now());
        work();
        Time {
            cpu: cpu.elapsed().as_secs_f64(),
            wall: wall.elapsed().as_secs_f64(),
        }
    };
    let all = (0..tries).map(one);
    all.min_by(|a, b| a.cpu.total_cmp(&b.cpu)).expect("a try")
}

/// Largest resident memory so far in megabytes, as Linux tells it.
fn peak() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmHWM"));
    let kilobytes = line.and_then(|l| l.split_whitespace().nth(1)?.parse::<u64>().ok());
    kilobytes.unwrap_or(0) * 1024 / 1_000_000
}

/// The reference: every row split, every field read by the standard library.
fn split(text: &[u8]) -> f64 {
    let text = std::str::from_utf8(text).expect("text");
    let fields = text.lines().skip(1).flat_map(|l| l.split(','));
    fields.filter_map(|f| f.parse::<f64>().ok()).sum()
}

fn rows(rows: usize) -> String {
    let mut text = String::from("Time (s),CH1 (V),CH2 (V)\n");
    for i in 0..rows {
        let value = ((i * 7919) % 10_007) as f64 * 1e-3;
        let _ = writeln!(
            text,
            "{:.9e},{:.5},{:.5}",
            i as f64 * 4e-9,
            value,
            -value * 0.5
        );
    }
    text
}

fn dump(changes: usize) -> String {
    let mut text = String::from("$timescale 1 ns $end\n$scope module unit $end\n");
    (0..16).for_each(|i| text += &format!("$var wire 1 {} w{i} $end\n", (b'!' + i as u8) as char));
    text += "$upscope $end\n$enddefinitions $end\n";
    let mut state = 5u64;
    for tick in 0..changes {
        state = state
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        let _ = write!(
            text,
            "#{}\n{}{}\n",
            tick * 10,
            state >> 60 & 1,
            (b'!' + (state >> 40) as u8 % 16) as char
        );
    }
    text
}

fn library(text: &str) {
    let mut waves =
        wellen::simple::read_from_reader(std::io::Cursor::new(text.as_bytes().to_vec()))
            .expect("a dump");
    let ids: Vec<_> = waves
        .hierarchy()
        .all_vars()
        .map(|v| waves.hierarchy()[v].signal_ref())
        .collect();
    waves.load_signals(&ids);
}

/// Two channels of ten million samples in each of two recordings at 50 ppm, already in memory.
fn four_captures() -> [Trace; 4] {
    let samples = 10_000_000;
    let make = |seed: u64, offset: f64, rate: f64| {
        let mut state = seed;
        let mut wave = vec![0f32; samples];
        let (mut t, mut level, mut at) = (50.0, 0.0, 0);
        while at < samples {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            t += 30.0 + (state >> 33) as f64 / (1u64 << 31) as f64 * 140.0;
            let edge = offset + t * (1.0 + rate);
            let (to, next) = ((edge - 2.0).max(0.0) as usize, 5.0 - level);
            wave[at.min(samples)..to.min(samples)].fill(level as f32);
            (to..(to + 5).min(samples)).for_each(|i| {
                wave[i] = (level + (next - level) * ((i as f64 - edge) / 4.0 + 0.5).clamp(0.0, 1.0))
                    as f32;
            });
            (level, at) = (next, to + 5);
        }
        Trace::Sampled {
            axis: Arc::new(Axis::uniform(0.0, 1e-8)),
            samples: wave,
        }
    };
    [
        make(1, 0.0, 0.0),
        make(2, 0.0, 0.0),
        make(1, 1234.5, 50e-6),
        make(2, 1234.5, 50e-6),
    ]
}
