//! Any bytes: a capture of finite values, or a fault; never a crash.
#![no_main]

use libfuzzer_sys::fuzz_target;
use signal::Trace;
use signal::read::{Given, read};

fuzz_target!(|bytes: &[u8]| {
    for interval in [None, Some(units::Seconds(1e-6))] {
        let given = Given { interval, full_scale: None };
        if let Ok(capture) = read(bytes, &given) {
            for channel in &capture.channels {
                if let Trace::Sampled { samples, .. } = &channel.trace {
                    assert!(samples.iter().all(|v| v.is_finite()));
                }
                signal::measure::measure(&channel.trace);
            }
        }
    }
});
