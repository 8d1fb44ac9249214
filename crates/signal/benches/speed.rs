//! How much processor time reading and comparing take; own references in the same run, so that machines do not matter.
//!
//! The reference for text is the `csv` way of doing it: split every row into strings and let the standard library parse each field.

use divan::Bencher;
use divan::counter::BytesCount;
use signal::axis::Axis;
use signal::capture::Trace;
use signal::compare::{Settings, compare};
use signal::read::{Given, Head, Sink};
use std::sync::Arc;

fn main() {
    divan::main();
}

/// A sink that lets samples go, as a pyramid for a viewer would.
#[derive(Default)]
struct Sum(f64);

impl Sink for Sum {
    fn open(&mut self, _: &[Head]) {}
    fn block(&mut self, _: usize, samples: &[f32]) {
        self.0 += samples.iter().map(|v| *v as f64).sum::<f64>();
    }
}

fn text(rows: usize) -> String {
    let mut text = String::from("Time (s),CH1 (V),CH2 (V)\n");
    for i in 0..rows {
        let value = ((i * 7919) % 10_007) as f64 * 1e-3;
        text += &format!("{:.9e},{:.5},{:.5}\n", i as f64 * 4e-9, value, -value * 0.5);
    }
    text
}

#[divan::bench(sample_count = 8)]
fn text_of_samples(bencher: Bencher) {
    let text = text(300_000);
    bencher.counter(BytesCount::of_str(&text)).bench(|| {
        let mut sink = Sum::default();
        signal::read::csv::stream(text.as_bytes(), &Given::default(), &mut sink)
            .expect("a capture");
        sink.0
    });
}

#[divan::bench(sample_count = 4)]
fn text_of_samples_reference(bencher: Bencher) {
    let text = text(300_000);
    bencher.counter(BytesCount::of_str(&text)).bench(|| {
        let rows = text.lines().skip(1).map(|l| {
            l.split(',')
                .map(|f| f.parse::<f64>().expect("a number"))
                .sum::<f64>()
        });
        rows.sum::<f64>()
    });
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
        text += &format!(
            "#{}\n{}{}\n",
            tick * 10,
            state >> 60 & 1,
            (b'!' + (state >> 40) as u8 % 16) as char
        );
    }
    text
}

#[divan::bench(sample_count = 8)]
fn value_change_dump(bencher: Bencher) {
    let text = dump(500_000);
    bencher
        .counter(BytesCount::of_str(&text))
        .bench(|| signal::read::vcd::read(text.as_bytes()).expect("a capture"));
}

#[divan::bench(sample_count = 8)]
fn value_change_dump_by_the_published_library(bencher: Bencher) {
    let text = dump(500_000);
    bencher.counter(BytesCount::of_str(&text)).bench(|| {
        let mut waves =
            wellen::simple::read_from_reader(std::io::Cursor::new(text.clone().into_bytes()))
                .expect("a dump");
        let ids: Vec<_> = waves
            .hierarchy()
            .all_vars()
            .map(|v| waves.hierarchy()[v].signal_ref())
            .collect();
        waves.load_signals(&ids);
        waves
    });
}

/// Two channels of ten million samples in each of two recordings at 50 ppm, already in memory.
fn four_captures() -> [Trace; 4] {
    let samples = 10_000_000;
    let make = |seed: u64, offset: f64, rate: f64| {
        let mut state = seed;
        let mut wave = vec![0f32; samples];
        let mut t = 50.0;
        let mut level = 0.0;
        let mut at = 0;
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

#[divan::bench(sample_count = 10)]
fn align_and_compare_four_times_ten_million(bencher: Bencher) {
    let [a, b, c, d] = four_captures();
    let settings = Settings::default();
    bencher.bench_local(|| {
        let (x, y) = (compare(&a, &c, &settings), compare(&b, &d, &settings));
        assert!(
            x.alignment.is_ok()
                && y.alignment.is_ok()
                && x.differences.is_empty()
                && y.differences.is_empty()
        );
        (x.matched, y.matched)
    });
}
