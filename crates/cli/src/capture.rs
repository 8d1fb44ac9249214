//! Verbs about recorded waveforms.

use std::fs::File;
use std::path::Path;
use std::process::ExitCode;

use bench::Refused;
use bench::signal::{self, Asked, Recording};

use crate::arguments::{CaptureCommon, CaptureVerb};
use crate::output;

/// Measures a recording, or compares two.
pub fn run(verb: CaptureVerb) -> ExitCode {
    match verb {
        CaptureVerb::Measure {
            file,
            channel,
            common,
        } => {
            let asked = asked(&common, channel, None);
            let view =
                open(&file).and_then(|recording| signal::measure_recording(recording, &asked));
            output::answer(view, common.json, signal::measure_text)
        }
        CaptureVerb::Compare {
            a,
            b,
            channel,
            tolerance,
            common,
        } => {
            let asked = asked(&common, channel, tolerance);
            let view = open(&a)
                .and_then(|a| Ok((a, open(&b)?)))
                .and_then(|(a, b)| signal::compare_recordings(a, b, &asked));
            output::answer(view, common.json, signal::compare_text)
        }
    }
}

fn asked(common: &CaptureCommon, channel: Option<String>, tolerance: Option<f64>) -> Asked {
    Asked {
        interval: common.interval,
        full_scale: common.full_scale,
        channel,
        tolerance,
    }
}

fn open(path: &Path) -> Result<Recording<'static>, Refused> {
    let file = path.display().to_string();
    match File::open(path) {
        Ok(bytes) => Ok(Recording {
            file,
            bytes: Box::new(bytes),
        }),
        Err(e) => Err(Refused::input(
            format!("`{file}` cannot be read: {e}."),
            "Check the name, and that the file may be read.",
        )),
    }
}
