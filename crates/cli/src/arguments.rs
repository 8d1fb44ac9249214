//! The words of the command line.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

/// Computes what every reading on an old electronic machine's boards should be, and judges what was read.
#[derive(Debug, Parser)]
#[command(name = "knowngood", version)]
pub struct Arguments {
    /// What to do; without it the bench opens on the demo.
    #[command(subcommand)]
    pub group: Option<Group>,
}

/// Groups of verbs.
#[derive(Debug, Subcommand)]
pub enum Group {
    /// The bench in the browser.
    #[command(subcommand)]
    Bench(BenchVerb),
    /// Readings on a board: what to expect, what they say.
    #[command(subcommand)]
    Board(BoardVerb),
    /// Circuit sheets: mistakes, canonical form.
    #[command(subcommand)]
    Sheet(SheetVerb),
    /// Gates: the fewest parts that explain the levels that were seen.
    #[command(subcommand)]
    Logic(LogicVerb),
    /// Recorded waveforms: measured, and two of them compared.
    #[command(subcommand)]
    Capture(CaptureVerb),
    /// Stores: from wrong bits to the wire behind them.
    #[command(subcommand)]
    Memory(crate::memory::MemoryVerb),
    /// Supplies: brought up in stages, reformed, discharged, behind a lamp.
    #[command(subcommand)]
    Power(crate::power::PowerVerb),
    /// Meter profiles.
    #[command(subcommand)]
    Meter(MeterVerb),
}

/// Verbs about the bench as a whole.
#[derive(Debug, Subcommand)]
pub enum BenchVerb {
    /// Serves a project in the browser, for this computer alone.
    Open {
        /// Project folder; without it the demo, laid out in your data folder.
        project: Option<PathBuf>,
        /// Port on the loopback address; 0 takes any that is free.
        #[arg(long, value_name = "N")]
        port: Option<u16>,
    },
    /// Makes an empty project.
    New {
        /// Folder; made if it is not there, and empty if it is.
        folder: PathBuf,
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
    /// Checks the ledger: every entry against the chain, every attachment against its name.
    Verify {
        /// Project folder.
        project: PathBuf,
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
    /// Writes everything into one file that reads without the program.
    Export {
        /// Project folder.
        project: PathBuf,
        /// The file, a zip.
        #[arg(short, long, value_name = "FILE")]
        output: PathBuf,
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
    /// Makes a project again from such a file.
    Import {
        /// The file.
        file: PathBuf,
        /// Folder; without it one named after the file.
        folder: Option<PathBuf>,
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
}

/// Verbs about a board.
#[derive(Debug, Subcommand)]
pub enum BoardVerb {
    /// What a healthy board reads, with its band and the reason.
    Expect {
        /// Circuit sheet.
        sheet: PathBuf,
        /// Pairs to predict: a readings file, or kind,red,black[,state]. Without it every net against ground.
        #[arg(long, value_name = "FILE")]
        pairs: Option<PathBuf>,
        /// State of pairs that do not say.
        #[arg(long, value_enum, default_value_t = State::Cold)]
        state: State,
        /// A fault to assume, such as "R4 open"; may be repeated.
        #[arg(long, value_name = "FAULT")]
        with: Vec<String>,
        /// What all verbs take.
        #[command(flatten)]
        common: Common,
    },
    /// Readings of one or two units held against what healthy boards read.
    Judge {
        /// Circuit sheet.
        sheet: PathBuf,
        /// Readings file.
        readings: PathBuf,
        /// What all verbs take.
        #[command(flatten)]
        common: Common,
    },
    /// What would explain the readings: suspects, each with what speaks for and against it.
    Suspects {
        /// Circuit sheet.
        sheet: PathBuf,
        /// Readings file.
        readings: PathBuf,
        /// Only this unit.
        #[arg(long, value_name = "U")]
        unit: Option<String>,
        /// What is thought of the parts before anything is read.
        #[arg(long, value_enum, default_value_t = Priors::Published)]
        priors: Priors,
        /// What all verbs take.
        #[command(flatten)]
        common: Common,
    },
    /// Every single fault against every diode reading, counted and timed.
    Campaign {
        /// Circuit sheet.
        sheet: PathBuf,
        /// Stop at the end of a reading once so many seconds have passed.
        #[arg(long, value_name = "S")]
        seconds: Option<f64>,
        /// What all verbs take.
        #[command(flatten)]
        common: Common,
    },
    /// Where to put the probe next, and what each outcome would mean.
    Next {
        /// Circuit sheet.
        sheet: PathBuf,
        /// Readings file; one with a header only is a start.
        readings: PathBuf,
        /// The unit that is read.
        #[arg(long, value_name = "U")]
        unit: String,
        /// Offer readings with the supplies on, too; only past the hold point.
        #[arg(long)]
        powered: bool,
        /// What is thought of the parts before anything is read.
        #[arg(long, value_enum, default_value_t = Priors::Published)]
        priors: Priors,
        /// What all verbs take.
        #[command(flatten)]
        common: Common,
    },
    /// What an unseen fault would destroy at switch-on, and the cold readings that rule it out.
    Risk {
        /// Circuit sheet, or a project folder with machine.kdl: then all its boards, joined at their connectors.
        sheet: PathBuf,
        /// Of a project: the unit whose differences from the sheets count.
        #[arg(long, value_name = "U")]
        unit: Option<String>,
        /// What all verbs take.
        #[command(flatten)]
        common: Common,
    },
    /// The shortest set of readings that would show a fault.
    Proves {
        /// Circuit sheet.
        sheet: PathBuf,
        /// The fault, such as "R4 open" or "C6 leaky=330".
        fault: String,
        /// What all verbs take.
        #[command(flatten)]
        common: Common,
    },
    /// Readings of one random unit, as CSV.
    Simulate {
        /// Circuit sheet.
        sheet: PathBuf,
        /// Fixes the unit and the meter's errors.
        #[arg(long)]
        seed: u64,
        /// Pairs to read.
        #[arg(long, value_name = "FILE")]
        pairs: PathBuf,
        /// State of pairs that do not say.
        #[arg(long, value_enum, default_value_t = State::Cold)]
        state: State,
        /// A fault to plant; may be repeated.
        #[arg(long, value_name = "FAULT")]
        with: Vec<String>,
        /// Name of the unit.
        #[arg(long, default_value = "1")]
        unit: String,
        /// What all verbs take.
        #[command(flatten)]
        common: Common,
    },
}

/// What all verbs about a board take.
#[derive(Debug, Args)]
pub struct Common {
    /// Meter profile: a name, or a file that ends in .kdl.
    #[arg(long, value_name = "NAME|FILE")]
    pub meter: Option<String>,
    /// Use the good lines of a file in spite of bad ones.
    #[arg(long)]
    pub lenient: bool,
    /// One JSON document instead of text.
    #[arg(long)]
    pub json: bool,
}

/// Verbs about sheets.
#[derive(Debug, Subcommand)]
pub enum SheetVerb {
    /// Errors and doubtful places.
    Check {
        /// Circuit sheets.
        #[arg(required = true)]
        sheets: Vec<PathBuf>,
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
    /// The canonical form.
    Print {
        /// Circuit sheets.
        #[arg(required = true)]
        sheets: Vec<PathBuf>,
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
}

/// Verbs about gates.
#[derive(Debug, Subcommand)]
pub enum LogicVerb {
    /// All smallest sets of gates whose misbehaviour explains each observation.
    Diagnose(Diagnose),
    /// Levels of all nets of a gate sheet, row by row.
    Simulate(Simulate),
    /// Where to put the probe next: the net whose level tells most.
    Next(NextNet),
    /// A keyboard: which key gives which code, and what explains the codes that came.
    Keys {
        /// Keyboard: lines, and keys with the lines that they pull.
        keyboard: PathBuf,
        /// Codes that came: CSV with the columns key and code, and unit if there are two.
        codes: Option<PathBuf>,
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
    /// Bounce of contacts from a recording, or from one of each unit: how long, how many changes.
    Bounce {
        /// Recording, a channel a contact.
        a: PathBuf,
        /// The same of the other unit.
        b: Option<PathBuf>,
        /// One channel only.
        #[arg(long)]
        channel: Option<String>,
        /// Seconds without a change after which a contact is quiet; 20 ms if not said.
        #[arg(long, value_name = "S", value_parser = seconds)]
        quiet: Option<f64>,
        #[command(flatten)]
        common: CaptureCommon,
    },
    /// Packages that a gate sheet can name by number, with their pins.
    Packages {
        /// Only those whose number holds this.
        number: Option<String>,
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
}

/// What `logic simulate` takes.
#[derive(Debug, Args)]
pub struct Simulate {
    /// Gate sheet.
    pub sheet: PathBuf,
    /// Rows: CSV with a column a net; inputs are applied, what else is there is compared.
    pub rows: PathBuf,
    /// A fault, such as "U3.8 stuck at 0", "U3.1 open", "U3.8 slow", "X and Y bridged"; may be given again.
    #[arg(long = "with", value_name = "FAULT")]
    pub faults: Vec<String>,
    /// One JSON document instead of text.
    #[arg(long)]
    pub json: bool,
}

/// What `logic next` takes.
#[derive(Debug, Args)]
pub struct NextNet {
    /// Gate sheet, or netlist in CSV.
    pub netlist: PathBuf,
    /// Rows or observations.
    pub observations: PathBuf,
    /// Seconds of processor time for finding what explains them.
    #[arg(long, value_name = "S", default_value_t = 20.0)]
    pub seconds: f64,
    /// One JSON document instead of text.
    #[arg(long)]
    pub json: bool,
}

/// What `logic diagnose` takes.
#[derive(Debug, Args)]
pub struct Diagnose {
    /// Gate sheet, or netlist: CSV with the columns gate, function, output, inputs.
    pub netlist: PathBuf,
    /// Observations: JSON lines, or CSV with a column a net and x where a net was not seen; of a sheet that keeps a state, rows follow one another.
    pub observations: PathBuf,
    /// Seconds of processor time for each observation; without it each is finished.
    #[arg(long, value_name = "S")]
    pub seconds: Option<f64>,
    /// One answer that explains all observations.
    #[arg(long)]
    pub together: bool,
    /// Use the good lines of a file in spite of bad ones.
    #[arg(long)]
    pub lenient: bool,
    /// One JSON document instead of text.
    #[arg(long)]
    pub json: bool,
}

/// Verbs about recorded waveforms.
#[derive(Debug, Subcommand)]
pub enum CaptureVerb {
    /// Levels, transition times, widths, periods and overshoot of each channel.
    Measure {
        /// Recorded file: CSV, VCD, FST, WAV or NPY, told apart by content.
        file: PathBuf,
        /// One channel only, by its name.
        #[arg(long, value_name = "NAME")]
        channel: Option<String>,
        /// What both verbs take.
        #[command(flatten)]
        common: CaptureCommon,
    },
    /// Two recordings of like signals: laid over each other, and where they differ.
    Compare {
        /// First recording.
        a: PathBuf,
        /// Second recording.
        b: PathBuf,
        /// One channel only, by its name.
        #[arg(long, value_name = "NAME")]
        channel: Option<String>,
        /// A transition has moved if it is shifted by more than this; two samples if not given.
        #[arg(long, value_name = "SECONDS", value_parser = seconds)]
        tolerance: Option<f64>,
        /// A text about the recordings that says what drives what: differences nearest to the source come first.
        #[arg(long, value_name = "FILE")]
        by: Option<PathBuf>,
        /// Another recording of the first unit; what differs between its own recordings varies by itself. May be given more than once.
        #[arg(long, value_name = "FILE")]
        again: Vec<PathBuf>,
        /// What both verbs take.
        #[command(flatten)]
        common: CaptureCommon,
    },
    /// Recordings held against what is known of them: figures with verdicts, and words in sequence.
    Judge {
        /// Recorded file of one unit.
        a: PathBuf,
        /// The other unit's.
        b: Option<PathBuf>,
        /// The text about them; the project's documentation says how it is written.
        #[arg(long, value_name = "FILE")]
        by: PathBuf,
        /// What all verbs take.
        #[command(flatten)]
        common: CaptureCommon,
    },
    /// The picture that X and Y draw on the tube, and what is wrong with it beside the other unit's or a known figure.
    Picture(CapturePicture),
    /// Volts against current at a pin: both units' curves, and the one that a sheet predicts, with its band.
    Curve(CaptureCurve),
}

/// What `capture curve` takes.
#[derive(Debug, Args)]
pub struct CaptureCurve {
    /// Recorded file with the volts at the pin and the current into it.
    pub a: PathBuf,
    /// The other unit's.
    pub b: Option<PathBuf>,
    /// The circuit sheet that says what healthy boards would show.
    #[arg(long, value_name = "SHEET", requires = "red", requires = "black")]
    pub sheet: Option<PathBuf>,
    /// Where the source's positive lead was: a net, a point or a pin of the sheet.
    #[arg(long, value_name = "PLACE", requires = "sheet")]
    pub red: Option<String>,
    /// Where its other lead was.
    #[arg(long, value_name = "PLACE", requires = "sheet")]
    pub black: Option<String>,
    /// State of the circuit.
    #[arg(long, value_enum, default_value_t = State::Cold)]
    pub state: State,
    /// Channel of the volts; by its unit if not said.
    #[arg(long, value_name = "NAME")]
    pub volts: Option<String>,
    /// Channel of the current.
    #[arg(long, value_name = "NAME")]
    pub amps: Option<String>,
    /// The current's channel holds the volts across a resistance of so many ohms.
    #[arg(long, value_name = "OHMS", value_parser = ohms)]
    pub shunt: Option<f64>,
    /// Error of each channel, 95 in 100 within it; 3% if not said.
    #[arg(long, value_name = "PERCENT", value_parser = percentage)]
    pub accuracy: Option<f64>,
    /// Where the drawing goes, as SVG.
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// What all verbs take.
    #[command(flatten)]
    pub common: CaptureCommon,
}

/// What `capture picture` takes.
#[derive(Debug, Args)]
pub struct CapturePicture {
    /// Recorded file with the X and Y signals, and the blanking if it was recorded.
    pub a: PathBuf,
    /// The other unit's, to be held against the first.
    pub b: Option<PathBuf>,
    /// The figure that the first file should show: CSV with the columns stroke,x,y.
    #[arg(long, value_name = "FILE", conflicts_with = "b")]
    pub figure: Option<PathBuf>,
    /// Where the picture goes, as PNG.
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// Channel of the horizontal deflection.
    #[arg(long, value_name = "NAME")]
    pub x: Option<String>,
    /// Channel of the vertical deflection.
    #[arg(long, value_name = "NAME")]
    pub y: Option<String>,
    /// Channel that lights or darkens the beam.
    #[arg(long, value_name = "NAME")]
    pub blank: Option<String>,
    /// Which level of that channel lights the beam; by its name if not said.
    #[arg(long, value_enum, value_name = "LEVEL")]
    pub lit: Option<Lit>,
    /// Time in which the light falls to 1/e; it does not fade if not said.
    #[arg(long, value_name = "SECONDS", value_parser = seconds)]
    pub persistence: Option<f64>,
    /// Pixels a side of each picture.
    #[arg(long, value_name = "N", default_value_t = 640)]
    pub side: usize,
    /// Plates for X: length, distance, and way from their middle to the screen, such as 20mm,5mm,200mm.
    #[arg(long, value_name = "SIZES", requires = "anode")]
    pub plates_x: Option<String>,
    /// Plates for Y.
    #[arg(long, value_name = "SIZES", requires = "anode")]
    pub plates_y: Option<String>,
    /// Accelerating volts of the tube, cathode to the last anode.
    #[arg(long, value_name = "VOLTS")]
    pub anode: Option<f64>,
    /// What all verbs take.
    #[command(flatten)]
    pub common: CaptureCommon,
}

/// Which level lights the beam.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Lit {
    /// The higher voltage.
    High,
    /// The lower voltage.
    Low,
}

/// What all verbs about recorded waveforms take.
#[derive(Debug, Args)]
pub struct CaptureCommon {
    /// Time from one sample to the next, for files that do not say.
    #[arg(long, value_name = "SECONDS", value_parser = seconds)]
    pub interval: Option<f64>,
    /// Volts at full scale, for files that hold fractions of it.
    #[arg(long, value_name = "VOLTS")]
    pub full_scale: Option<f64>,
    /// One JSON document instead of text.
    #[arg(long)]
    pub json: bool,
}

/// Reads seconds: a number above zero, with or without an engineering suffix and `s`.
fn seconds(text: &str) -> Result<f64, String> {
    bench::signal::seconds(text)
        .ok_or_else(|| format!("`{text}` is no time; write it like 1e-6 or 1us"))
}

/// Reads ohms above zero: `100R`, `1k`.
fn ohms(text: &str) -> Result<f64, String> {
    bench::signal::ohms(text)
        .ok_or_else(|| format!("`{text}` is no resistance above zero; write it like 100R or 1k"))
}

/// Reads a share: `3%`.
fn percentage(text: &str) -> Result<f64, String> {
    bench::signal::percentage(text)
        .ok_or_else(|| format!("`{text}` is no share between 0 and 100 %; write it like 3%"))
}

/// Verbs about meter profiles.
#[derive(Debug, Subcommand)]
pub enum MeterVerb {
    /// Names of all profiles.
    List {
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
    /// All ranges of a profile.
    Show {
        /// Its name, or a file that ends in .kdl.
        name: String,
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
}

/// What is thought of the parts before anything is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Priors {
    /// Published failure rates and modes.
    Published,
    /// All parts alike.
    Flat,
}

/// State of the circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum State {
    /// No supply connected.
    Cold,
    /// Supplies on and settled.
    Powered,
}
