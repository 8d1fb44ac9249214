//! The verbs of the group `logic` on gate sheets.

use std::cell::Cell;
use std::fmt::Write;
use std::process::ExitCode;

use bench::logic::{
    GateCase, GateResult, NextInputs, NextNet, NextView, Simulated, is_gate_sheet, known_packages,
    next_of_netlist,
};
use bench::{Refused, Text};
use cpu_time::ProcessTime;
use serde::Serialize;

use super::SHOWN;
use crate::arguments::{self, Diagnose, Simulate};
use crate::{files, output};

/// Seconds after which no further pairs of named faults are tried: there are millions of them on a large sheet, and few are likely.
const NAMED_SECONDS: f64 = 20.0;

#[derive(Serialize)]
struct Timed {
    #[serde(flatten)]
    result: GateResult,
    seconds: f64,
}

#[derive(Serialize)]
struct Results {
    results: Vec<Timed>,
    warnings: Vec<String>,
}

/// `logic diagnose` of a gate sheet.
pub fn diagnose(options: &Diagnose, sheet: &Text, rows: &Text) -> Result<(), Refused> {
    let reading = ProcessTime::now();
    let case = GateCase::read(sheet, Some(rows), options.lenient)?;
    let which: Vec<Option<usize>> = if options.together {
        vec![None]
    } else {
        (0..case.len()).map(Some).collect()
    };
    let share = reading.elapsed().as_secs_f64() / which.len() as f64;
    let mut results = Vec::new();
    for index in which {
        let start = ProcessTime::now();
        let stop = || {
            options
                .seconds
                .is_some_and(|s| start.elapsed().as_secs_f64() + share >= s * 0.8)
        };
        // The time for named faults begins when they do, after the search for parts.
        let named = Cell::new(None);
        let enough = || {
            let since = named.get().unwrap_or_else(|| start.elapsed());
            named.set(Some(since));
            stop() || (start.elapsed() - since).as_secs_f64() >= NAMED_SECONDS
        };
        let result = case.diagnose(index, &stop, &enough);
        results.push(Timed {
            result,
            seconds: start.elapsed().as_secs_f64() + share,
        });
    }
    let mut warnings = case.warnings.clone();
    for timed in results.iter().filter(|t| t.result.refused > 0) {
        warnings.push(format!(
            "{}: {} proposed sets did not stand up to simulation and were left out; please report this.",
            timed.result.id, timed.result.refused
        ));
    }
    if options.json {
        output::json(&Results { results, warnings });
        return Ok(());
    }
    output::skipped(&case.skipped);
    let mut text = String::new();
    for warning in &warnings {
        let _ = writeln!(text, "note: {warning}");
    }
    results.iter().for_each(|t| told(&mut text, &t.result));
    output::print(&text);
    Ok(())
}

fn told(text: &mut String, result: &GateResult) {
    let name = if result.id.is_empty() {
        "all rows"
    } else {
        &result.id
    };
    if let Some(first) = &result.first {
        let _ = writeln!(
            text,
            "{name}: row {} (line {} of the file) is the first that the sheet does not give: {}.",
            first.row,
            first.line,
            first.nets.join(", ")
        );
    }
    let count = result.count;
    let _ = match (result.min_cardinality, result.complete) {
        (Some(0), _) => writeln!(text, "{name}: every level is as it should be."),
        (None, true) => writeln!(text, "{name}: no set of parts explains what was seen."),
        (Some(n), true) => writeln!(
            text,
            "{name}: at least {n} at fault; {count} sets of {n} explain it, and no others."
        ),
        (Some(n), false) => writeln!(
            text,
            "{name}: at least {n} at fault; {count} sets of {n} found, there may be more."
        ),
        (None, false) => writeln!(text, "{name}: the time was up before a set was found."),
    };
    if result.min_cardinality == Some(0) {
        return;
    }
    for set in result.diagnoses.iter().take(SHOWN) {
        let _ = writeln!(text, "    {}", set.join(" + "));
    }
    if count > SHOWN {
        let _ = writeln!(text, "    and {} more (all with --json)", count - SHOWN);
    }
    let rest = if result.named_complete {
        ""
    } else {
        "; not all were tried"
    };
    match result.named.len() {
        0 if result.named_complete => {
            let _ = writeln!(
                text,
                "  No pin stuck, no open input, no slow output and no bridge of neighbouring pins, one or two of them, gives exactly this: a fault that comes and goes, or one of another kind."
            );
        }
        0 => {
            let _ = writeln!(text, "  No named fault was found in the time{rest}.");
        }
        n => {
            let _ = writeln!(text, "  {n} named faults give exactly this{rest}:");
        }
    }
    for set in result.named.iter().take(SHOWN) {
        let _ = writeln!(text, "    {}", set.join(" + "));
    }
    if result.named.len() > SHOWN {
        let _ = writeln!(
            text,
            "    and {} more (all with --json)",
            result.named.len() - SHOWN
        );
    }
}

/// `logic simulate`.
pub fn simulate(options: &Simulate) -> ExitCode {
    let answer = || -> Result<Simulated, Refused> {
        let (sheet, rows) = (files::read(&options.sheet)?, files::read(&options.rows)?);
        let case = GateCase::read(&sheet, Some(&rows), false)?;
        let faults = options
            .faults
            .iter()
            .map(|f| case.fault(f))
            .collect::<Result<Vec<_>, _>>()?;
        Ok(case.simulate(&faults))
    };
    output::answer(answer(), options.json, table)
}

fn table(shown: &Simulated) -> String {
    let mut text = String::new();
    for run in &shown.runs {
        if !run.is_settled {
            let _ = writeln!(
                text,
                "note: run `{}` does not settle; gates swing for ever, and the levels are of no worth.",
                run.id
            );
        }
        let width = shown
            .nets
            .iter()
            .map(|n| n.chars().count())
            .max()
            .unwrap_or(0);
        // A line a net, a column a row: time runs to the right, as on paper.
        for (at, net) in shown.nets.iter().enumerate() {
            let levels: String = run
                .rows
                .iter()
                .filter_map(|r| r.levels.chars().nth(at))
                .collect();
            let wrong: Vec<String> = run
                .rows
                .iter()
                .enumerate()
                .filter(|(_, r)| r.differs.contains(net))
                .map(|(i, _)| (i + 1).to_string())
                .collect();
            let said = if wrong.is_empty() {
                String::new()
            } else {
                format!("   seen otherwise in row {}", wrong.join(", "))
            };
            let _ = writeln!(text, "{net:width$}  {levels}{said}");
        }
        text.push('\n');
    }
    text
}

/// `logic next`.
pub fn next(options: &arguments::NextNet) -> ExitCode {
    let start = ProcessTime::now();
    let stop = || start.elapsed().as_secs_f64() >= options.seconds;
    let answer = || -> Result<NextView, Refused> {
        let (sheet, rows) = (
            files::read(&options.netlist)?,
            files::read(&options.observations)?,
        );
        if is_gate_sheet(&sheet) {
            Ok(GateCase::read(&sheet, Some(&rows), false)?.next(&stop))
        } else {
            next_of_netlist(&sheet, &rows, &stop)
        }
    };
    output::answer(answer(), options.json, proposals)
}

fn proposals(view: &NextView) -> String {
    let mut text = String::new();
    if let Some(stop) = &view.stop {
        let _ = writeln!(text, "{stop}");
    }
    let mut lines: Vec<(f64, String)> = view
        .candidates
        .iter()
        .map(|c| (c.bits / c.minutes, net_line(c, view.sets)))
        .collect();
    let inputs = view.inputs.iter();
    lines.extend(inputs.map(|i| (i.bits / i.minutes, inputs_line(i, view.sets))));
    // Nets stay in their own order, which may look two steps ahead; other inputs go before the first net that tells less for its time.
    let nets = view.candidates.len();
    let mut order: Vec<usize> = (0..nets).collect();
    for at in nets..lines.len() {
        let place = order.iter().position(|i| lines[*i].0 < lines[at].0);
        order.insert(place.unwrap_or(order.len()), at);
    }
    for (at, line) in order.into_iter().enumerate() {
        let lead = if at == 0 { "next" } else { "or  " };
        let _ = writeln!(text, "{lead}  {}", lines[line].1);
    }
    text
}

fn net_line(c: &NextNet, sets: usize) -> String {
    let when = if c.run.is_empty() {
        format!("row {}", c.row)
    } else if c.row == 1 {
        c.run.clone()
    } else {
        format!("row {} of {}", c.row, c.run)
    };
    let pins: Vec<&str> = c.pins.iter().take(4).map(String::as_str).collect();
    let place = if pins.is_empty() {
        String::new()
    } else {
        format!(" at {}", pins.join(", "))
    };
    format!(
        "{} in {}{place}: {:.2} bits; 0 leaves {}, 1 leaves {} of {sets}",
        c.net, when, c.bits, c.left[0], c.left[1]
    )
}

fn inputs_line(i: &NextInputs, sets: usize) -> String {
    let what = match (i.run.as_str(), i.row) {
        ("", row) => format!(
            "the run again with {} in row {row} only",
            i.changes.join(", ")
        ),
        (run, 1) => format!("{run} with {}", i.changes.join(", ")),
        (run, row) => format!(
            "{run} again with {} in row {row} only",
            i.changes.join(", ")
        ),
    };
    let watch: Vec<&str> = i.watch.iter().take(6).map(String::as_str).collect();
    format!(
        "put on {what}, look at {}: {:.2} bits in about {:.0} minutes; at most {} of {sets} are left",
        watch.join(", "),
        i.bits,
        i.minutes,
        i.most_left
    )
}

/// `logic packages`.
pub fn packages(number: Option<&str>, as_json: bool) -> ExitCode {
    let mut list = known_packages();
    list.retain(|p| number.is_none_or(|n| p.number.contains(n)));
    let answer: Result<_, Refused> = if list.is_empty() {
        Err(Refused::input(
            "No package has such a number.",
            "Write part of a number, such as 74, or nothing for all.",
        ))
    } else {
        Ok(list)
    };
    output::answer(answer, as_json, |list| {
        let mut text = String::new();
        for p in list {
            let _ = writeln!(
                text,
                "{:<15} {}\n{:15} in {}; out {}",
                p.number,
                p.title,
                "",
                p.inputs.join(" "),
                p.outputs.join(" ")
            );
        }
        text
    })
}
