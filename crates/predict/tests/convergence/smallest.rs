//! Takes parts, faults and questions away from a refused circuit while it is still refused.

use crate::trial::{Trial, Verdict, read};

/// The smallest trial found that is refused as the given one is.
pub fn of(trial: &Trial) -> Trial {
    let mut small = trial.clone();
    let mut step = small.circuit.lines.len() / 2;
    // Halves first, then quarters, down to single parts; again while anything goes.
    loop {
        let before = small.circuit.lines.len() + small.faults.len() + small.pairs.len();
        while step >= 1 {
            let mut at = 0;
            while at < small.circuit.lines.len() {
                let mut fewer = small.clone();
                let end = (at + step).min(fewer.circuit.lines.len());
                fewer.circuit.lines.drain(at..end);
                if still_refused(&mut fewer) {
                    small = fewer;
                } else {
                    at += step;
                }
            }
            step /= 2;
        }
        for k in (0..small.faults.len()).rev() {
            let mut fewer = small.clone();
            fewer.faults.remove(k);
            if still_refused(&mut fewer) {
                small = fewer;
            }
        }
        for k in (0..small.pairs.len()).rev() {
            let mut fewer = small.clone();
            fewer.pairs.remove(k);
            if still_refused(&mut fewer) {
                small = fewer;
            }
        }
        if small.circuit.lines.len() + small.faults.len() + small.pairs.len() == before {
            return small;
        }
        step = 1;
    }
}

/// Also drops faults and pairs whose part or net is gone.
fn still_refused(trial: &mut Trial) -> bool {
    let sheet = read(&trial.circuit);
    trial
        .faults
        .retain(|f| circuit::Fault::parse(f, &sheet).is_ok());
    trial
        .pairs
        .retain(|(a, b)| sheet.net(a).is_some() && sheet.net(b).is_some());
    // A load that was put beside a bleeder is meaningless without it.
    let lost = trial.circuit.lines.iter().any(|l| {
        l.strip_prefix("load LDA").is_some_and(|rest| {
            let k = rest.split(' ').next().unwrap_or_default();
            !trial
                .circuit
                .lines
                .iter()
                .any(|o| o.starts_with(&format!("load LDB{k} ")))
        })
    });
    !lost && matches!(trial.verdict(), Verdict::Refused(_))
}
