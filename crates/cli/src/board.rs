//! Verbs about a board.

use std::process::ExitCode;
use std::time::{Duration, Instant};

use bench::{Refused, campaign, expect, judged, next, proves, risk, simulated, suspects};
use cpu_time::ProcessTime;

use crate::arguments::{BoardVerb, Common, Priors, State};
use crate::{files, output};

/// Does what the verb says.
pub fn run(verb: BoardVerb) -> ExitCode {
    match verb {
        BoardVerb::Expect {
            sheet,
            pairs,
            state,
            with,
            common,
        } => {
            let view = (|| {
                let options = expect::Options {
                    state: state_word(state),
                    meter: files::meter(common.meter.as_deref(), &sheet)?,
                    pairs: pairs.as_deref().map(files::read).transpose()?,
                    with,
                    lenient: common.lenient,
                };
                let text = files::read(&sheet)?;
                let view = expect::expect(&text, &options, &output::progress, &|| false)?;
                none_at_all(&view)?;
                Ok(view)
            })();
            if let (Ok(view), false) = (&view, common.json) {
                output::skipped(&view.skipped);
            }
            output::answer(view, common.json, expect::View::to_text)
        }
        BoardVerb::Judge {
            sheet,
            readings,
            common,
        } => {
            let view = judge(&sheet, &readings, &common);
            if let (Ok(view), false) = (&view, common.json) {
                output::skipped(&view.skipped);
            }
            output::answer(view, common.json, judged::View::to_text)
        }
        BoardVerb::Suspects {
            sheet,
            readings,
            unit,
            priors,
            common,
        } => {
            let view = (|| {
                let options = diagnosis(&sheet, &readings, unit, priors, &common)?;
                let text = files::read(&sheet)?;
                let kept = bench::Kept::default();
                suspects::suspects(&text, &options, &kept, &output::steps, &|| false)
            })();
            if let (Ok(view), false) = (&view, common.json) {
                output::skipped(&view.skipped);
            }
            output::answer(view, common.json, suspects::View::to_text)
        }
        BoardVerb::Campaign {
            sheet,
            seconds,
            common,
        } => {
            let view = run_campaign(&sheet, seconds, &common);
            if let (Ok(view), false) = (&view, common.json) {
                output::skipped(&view.skipped);
            }
            output::answer(view, common.json, campaign::View::to_text)
        }
        BoardVerb::Next {
            sheet,
            readings,
            unit,
            powered,
            priors,
            common,
        } => {
            let view = (|| {
                let options = diagnosis(&sheet, &readings, Some(unit), priors, &common)?;
                let text = files::read(&sheet)?;
                {
                    let kept = bench::Kept::default();
                    next::next(&text, &options, powered, &kept, &output::steps, &|| false)
                }
            })();
            if let (Ok(view), false) = (&view, common.json) {
                output::skipped(&view.skipped);
            }
            output::answer(view, common.json, next::View::to_text)
        }
        BoardVerb::Risk {
            sheet,
            unit,
            common,
        } => {
            let view = (|| {
                let options = risk::Options {
                    meter: files::meter(common.meter.as_deref(), &files::beside(&sheet))?,
                    lenient: common.lenient,
                };
                let input = files::sheet_or_project(&sheet, unit)?;
                risk::risk(&input, &options, &output::steps, &|| false)
            })();
            if let (Ok(view), false) = (&view, common.json) {
                output::skipped(&view.skipped);
            }
            output::answer(view, common.json, risk::View::to_text)
        }
        BoardVerb::Proves {
            sheet,
            fault,
            common,
        } => {
            let view = (|| {
                let options = proves::Options {
                    fault,
                    meter: files::meter(common.meter.as_deref(), &sheet)?,
                    lenient: common.lenient,
                };
                let text = files::read(&sheet)?;
                proves::proves(&text, &options, &output::progress, &|| false)
            })();
            output::answer(view, common.json, proves::View::to_text)
        }
        BoardVerb::Simulate {
            sheet,
            seed,
            pairs,
            state,
            with,
            unit,
            common,
        } => {
            let csv = (|| {
                let options = simulated::Options {
                    seed,
                    pairs: files::read(&pairs)?,
                    state: state_word(state),
                    with,
                    unit,
                    meter: files::meter(common.meter.as_deref(), &sheet)?,
                    lenient: common.lenient,
                };
                simulated::simulate(&files::read(&sheet)?, &options)
            })();
            output::answer(csv, common.json, String::clone)
        }
    }
}

fn judge(
    sheet: &std::path::Path,
    readings: &std::path::Path,
    common: &Common,
) -> Result<judged::View, Refused> {
    let options = judged::Options {
        readings: files::read(readings)?,
        machine: files::machine(sheet)?,
        meter: files::meter(common.meter.as_deref(), sheet)?,
        lenient: common.lenient,
    };
    let text = files::read(sheet)?;
    judged::judge_file(&text, &options, &output::progress, &|| false)
}

fn diagnosis(
    sheet: &std::path::Path,
    readings: &std::path::Path,
    unit: Option<String>,
    priors: Priors,
    common: &Common,
) -> Result<suspects::Options, Refused> {
    Ok(suspects::Options {
        readings: files::read(readings)?,
        machine: files::machine(sheet)?,
        meter: files::meter(common.meter.as_deref(), sheet)?,
        unit,
        priors: match priors {
            Priors::Published => suspects::Opinion::Published,
            Priors::Flat => suspects::Opinion::Flat,
        },
        lenient: common.lenient,
    })
}

fn run_campaign(
    sheet: &std::path::Path,
    seconds: Option<f64>,
    common: &Common,
) -> Result<campaign::View, Refused> {
    let allowed = match seconds.map(Duration::try_from_secs_f64) {
        None => Duration::MAX,
        Some(Ok(allowed)) if !allowed.is_zero() => allowed,
        Some(_) => {
            return Err(Refused::input(
                "The time allowed is not above zero.",
                "Write seconds, such as --seconds 10.",
            ));
        }
    };
    let options = campaign::Options {
        meter: files::meter(common.meter.as_deref(), sheet)?,
        lenient: common.lenient,
    };
    let text = files::read(sheet)?;
    let start = Instant::now();
    let stop = || start.elapsed() >= allowed;
    let view = campaign::campaign(&text, &options, &output::progress, &stop)?;
    let cpu = ProcessTime::now().as_duration();
    Ok(view.timed(start.elapsed().as_secs_f64(), cpu.as_secs_f64()))
}

/// The state as the facade has it.
pub fn state_word(state: State) -> bench::State {
    match state {
        State::Cold => bench::State::Cold,
        State::Powered => bench::State::Powered,
    }
}

/// If not one reading could be predicted, the command could not be done.
fn none_at_all(view: &expect::View) -> Result<(), Refused> {
    match view.expectations.first() {
        Some(first) if view.expectations.iter().all(|r| r.refused.is_some()) => {
            Err(Refused::unable(
                first.refused.clone().unwrap_or_default(),
                "Name other pairs, another meter, or mend the sheet.",
            ))
        }
        _ => Ok(()),
    }
}
