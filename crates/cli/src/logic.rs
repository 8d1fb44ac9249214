//! The verbs of the group `logic`.

mod gates;
mod keys;

use std::io::{self, BufWriter, Write};
use std::process::ExitCode;

use bench::Refused;
use bench::logic::{LogicCase, LogicResult, QUIET, bounce, bounce_text, is_gate_sheet};
use cpu_time::ProcessTime;

use crate::arguments::{Diagnose, LogicVerb};
use crate::{capture, files, output};

/// Sets shown to a person before the rest is only counted.
const SHOWN: usize = 20;

/// Runs a verb.
pub fn run(verb: LogicVerb) -> ExitCode {
    match verb {
        LogicVerb::Diagnose(options) => match diagnose(&options) {
            Ok(()) => ExitCode::SUCCESS,
            Err(refused) => output::refusal(&refused, options.json),
        },
        LogicVerb::Simulate(options) => gates::simulate(&options),
        LogicVerb::Next(options) => gates::next(&options),
        LogicVerb::Keys {
            keyboard,
            codes,
            json,
        } => keys::keys(&keyboard, codes.as_deref(), json),
        LogicVerb::Bounce {
            a,
            b,
            channel,
            quiet,
            common,
        } => {
            let asked = capture::asked(&common, channel, None);
            let opened = std::iter::once(&a)
                .chain(&b)
                .map(|file| capture::open(file))
                .collect::<Result<Vec<_>, _>>();
            let view = opened.and_then(|list| bounce(list, &asked, quiet.unwrap_or(QUIET)));
            output::answer(view, common.json, bounce_text)
        }
        LogicVerb::Packages { number, json } => gates::packages(number.as_deref(), json),
    }
}

fn diagnose(options: &Diagnose) -> Result<(), Refused> {
    if options.seconds.is_some_and(|s| !(s.is_finite() && s > 0.0)) {
        return Err(Refused::input(
            "The time allowed is not above zero.",
            "Write seconds, such as --seconds 1.",
        ));
    }
    let netlist = files::read(&options.netlist)?;
    let observations = files::read(&options.observations)?;
    if is_gate_sheet(&netlist) {
        return gates::diagnose(options, &netlist, &observations);
    }
    let reading = ProcessTime::now();
    let case = LogicCase::read(&netlist, &observations, options.lenient)?;
    let runs = if options.together { 1 } else { case.len() };
    let share = reading.elapsed().as_secs_f64() / runs as f64;
    let mut out = BufWriter::new(io::stdout().lock());
    let written = if options.json {
        write_json(&mut out, options, &case, runs, share)
    } else {
        write_text(&mut out, options, &case, runs)
    };
    // A closed pipe is the reader's choice, not a failure of the work.
    match written.and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            let message = format!("The answer could not be written: {error}.");
            Err(Refused::unable(
                message,
                "See that there is room where it goes.",
            ))
        }
        _ => Ok(()),
    }
}

fn one<'c>(
    options: &Diagnose,
    case: &'c LogicCase,
    index: usize,
    start: ProcessTime,
    share: f64,
) -> LogicResult<'c> {
    let spent = |part: f64| {
        options
            .seconds
            .is_some_and(|s| start.elapsed().as_secs_f64() + share >= s * part)
    };
    if options.together {
        case.diagnose_together(&spent)
    } else {
        case.diagnose(index, &spent)
    }
}

fn refused_warning(result: &LogicResult<'_>) -> Option<String> {
    (result.refused > 0).then(|| {
        format!("{}: {} proposed sets did not stand up to simulation and were left out; please report this.", result.id, result.refused)
    })
}

/// Each result is written as soon as it is known; its time includes its share of reading the files and the writing of its sets.
fn write_json(
    out: &mut impl Write,
    options: &Diagnose,
    case: &LogicCase,
    runs: usize,
    share: f64,
) -> io::Result<()> {
    let mut warnings = case.warnings.clone();
    out.write_all(b"{\"results\":[")?;
    for index in 0..runs {
        let start = ProcessTime::now();
        let result = one(options, case, index, start, share);
        warnings.extend(refused_warning(&result));
        let mut text = serde_json::to_vec(&result)?;
        drop(result);
        // The object is closed again after the time, which is only known now.
        text.pop();
        if index > 0 {
            out.write_all(b",")?;
        }
        out.write_all(&text)?;
        drop(text);
        write!(
            out,
            ",\"seconds\":{:.6}}}",
            start.elapsed().as_secs_f64() + share
        )?;
    }
    out.write_all(b"],\"warnings\":")?;
    serde_json::to_writer(&mut *out, &warnings)?;
    if options.lenient {
        out.write_all(b",\"skipped\":")?;
        serde_json::to_writer(&mut *out, &case.skipped)?;
    }
    out.write_all(b"}\n")
}

fn write_text(
    out: &mut impl Write,
    options: &Diagnose,
    case: &LogicCase,
    runs: usize,
) -> io::Result<()> {
    for warning in &case.warnings {
        writeln!(out, "note: {warning}")?;
    }
    output::skipped(&case.skipped);
    for index in 0..runs {
        let result = one(options, case, index, ProcessTime::now(), 0.0);
        write_result(out, &result)?;
    }
    Ok(())
}

fn write_result(out: &mut impl Write, result: &LogicResult<'_>) -> io::Result<()> {
    if let Some(warning) = refused_warning(result) {
        writeln!(out, "note: {warning}")?;
    }
    let count = result.count();
    match (result.min_cardinality, result.complete) {
        (Some(0), _) => return writeln!(out, "{}: every level is as it should be.", result.id),
        (_, true) if count == 0 => {
            return writeln!(
                out,
                "{}: no set of gates explains what was seen.",
                result.id
            );
        }
        (Some(size), true) => {
            writeln!(
                out,
                "{}: at least {size} at fault; {count} sets of {size} explain it, and no others.",
                result.id
            )?;
        }
        (Some(size), false) if result.family.is_some() => {
            let family = result.family.unwrap_or_default();
            writeln!(
                out,
                "{}: at least {size} at fault; {family:.0} sets of {size} explain it, too many to write in time.",
                result.id
            )?;
        }
        (Some(size), false) => {
            writeln!(
                out,
                "{}: at least {size} at fault; {count} sets of {size} found, there may be more.",
                result.id
            )?;
        }
        (None, _) => writeln!(
            out,
            "{}: the time was up; {count} sets found, smaller ones may exist.",
            result.id
        )?,
    }
    for set in result.diagnoses().take(SHOWN) {
        writeln!(out, "    {}", set.join(" + "))?;
    }
    if count > SHOWN {
        writeln!(out, "    and {} more (all with --json)", count - SHOWN)?;
    }
    for (gate, share) in result.gates.iter().take(SHOWN) {
        writeln!(out, "    {gate:<16} in {:5.1} % of the sets", share * 100.0)?;
    }
    match result.basis {
        "counted" => Ok(()),
        "sampled" => writeln!(out, "    (shares of an even sample of all sets)"),
        _ => writeln!(
            out,
            "    (shares of the sets that were found in the time; they are no fair sample)"
        ),
    }
}
