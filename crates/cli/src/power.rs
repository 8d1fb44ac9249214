//! Verbs about power.

use std::path::PathBuf;
use std::process::ExitCode;

use bench::power::{Asked, discharge, lamp, number, plan, reform};
use clap::Subcommand;

use crate::arguments::Common;
use crate::{files, output};

/// Verbs about power.
#[derive(Debug, Subcommand)]
pub enum PowerVerb {
    /// A supply brought up in stages: limits, what to read, where to hold, and what to do when a limit is crossed.
    Plan {
        /// Circuit sheet, or a project folder with machine.kdl.
        sheet: PathBuf,
        /// Of a project: the unit whose differences from the sheets count.
        #[arg(long, value_name = "U")]
        unit: Option<String>,
        /// Healthy units that are drawn to set the limits.
        #[arg(long, value_name = "N", default_value_t = 200)]
        units: usize,
        /// Frequency of the mains.
        #[arg(long, value_name = "HERTZ", default_value = "50")]
        hertz: String,
        /// What all verbs take.
        #[command(flatten)]
        common: Common,
    },
    /// Reforming an electrolytic: published ways, expected leakage, and what a log of it says.
    Reform {
        /// Capacitance, such as 20u.
        #[arg(long, value_name = "C")]
        farads: String,
        /// Rated voltage.
        #[arg(long, value_name = "V")]
        volts: String,
        /// Years without voltage.
        #[arg(long, value_name = "N")]
        years: Option<f64>,
        /// What was noted so far: CSV with minutes,volts,amps.
        #[arg(long, value_name = "FILE")]
        log: Option<PathBuf>,
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
    /// How long capacitors stay charged after switch-off, through what is really there.
    Discharge {
        /// Circuit sheet: all its capacitors, charged as when powered.
        #[arg(conflicts_with_all = ["farads", "ohms", "volts"], required_unless_present_all = ["farads", "ohms", "volts"])]
        sheet: Option<PathBuf>,
        /// One capacitor instead of a sheet: its capacitance,
        #[arg(long, value_name = "C")]
        farads: Option<String>,
        /// the resistance across it,
        #[arg(long, value_name = "R")]
        ohms: Option<String>,
        /// and its voltage at switch-off.
        #[arg(long, value_name = "V")]
        volts: Option<String>,
        /// Use the good lines of a file in spite of bad ones.
        #[arg(long)]
        lenient: bool,
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
    /// Which lamp in series with the mains lets a load come up, and what its brightness says.
    Lamp {
        /// Mains voltage.
        #[arg(long, value_name = "V", default_value = "230")]
        mains: String,
        /// What the load takes at that voltage, in watts.
        #[arg(
            long,
            value_name = "W",
            conflicts_with = "ohms",
            required_unless_present = "ohms"
        )]
        watts: Option<String>,
        /// The load's resistance instead.
        #[arg(long, value_name = "R")]
        ohms: Option<String>,
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
}

/// Does what the verb says.
pub fn run(verb: PowerVerb) -> ExitCode {
    match verb {
        PowerVerb::Plan {
            sheet,
            unit,
            units,
            hertz,
            common,
        } => {
            let view = (|| {
                let options = plan::Options {
                    meter: files::meter(common.meter.as_deref(), &files::beside(&sheet))?,
                    units: units.max(20),
                    hertz: number(&hertz, "--hertz", Asked::Plain)?,
                    lenient: common.lenient,
                };
                let input = files::sheet_or_project(&sheet, unit)?;
                plan::plan(&input, &options, &output::steps, &|| false)
            })();
            if let (Ok(view), false) = (&view, common.json) {
                output::skipped(&view.skipped);
            }
            output::answer(view, common.json, plan::View::to_text)
        }
        PowerVerb::Reform {
            farads,
            volts,
            years,
            log,
            json,
        } => {
            let view = (|| {
                let log = match log {
                    Some(path) => {
                        let text = files::read(&path)?;
                        reform::read_log(&text.text, &text.file)?
                    }
                    None => Vec::new(),
                };
                reform::reform(&reform::Options {
                    farads: number(&farads, "--farads", Asked::Farads)?,
                    volts: number(&volts, "--volts", Asked::Volts)?,
                    years,
                    log,
                })
            })();
            output::answer(view, json, reform::View::to_text)
        }
        PowerVerb::Discharge {
            sheet,
            farads,
            ohms,
            volts,
            lenient,
            json,
        } => {
            let view = (|| {
                let input = match sheet {
                    Some(path) => discharge::Input::Sheet {
                        text: files::read(&path)?,
                        lenient,
                    },
                    None => discharge::Input::Plain {
                        farads: number(&farads.unwrap_or_default(), "--farads", Asked::Farads)?,
                        ohms: number(&ohms.unwrap_or_default(), "--ohms", Asked::Ohms)?,
                        volts: number(&volts.unwrap_or_default(), "--volts", Asked::Volts)?,
                    },
                };
                let view = discharge::discharge(&input)?;
                if !json {
                    output::skipped(&view.skipped);
                }
                Ok(view)
            })();
            output::answer(view, json, discharge::View::to_text)
        }
        PowerVerb::Lamp {
            mains,
            watts,
            ohms,
            json,
        } => {
            let view = (|| {
                let mains = number(&mains, "--mains", Asked::Volts)?;
                let ohms = match (ohms, watts) {
                    (Some(ohms), _) => number(&ohms, "--ohms", Asked::Ohms)?,
                    (None, watts) => {
                        mains * mains / number(&watts.unwrap_or_default(), "--watts", Asked::Watts)?
                    }
                };
                lamp::lamp(&lamp::Options { mains, ohms })
            })();
            output::answer(view, json, lamp::View::to_text)
        }
    }
}
