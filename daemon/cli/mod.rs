//! The command line.

mod crew;
mod departure;
mod pages;

use crate::listen::Input;
use crate::review::ShipTime;
use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;
use std::process::ExitCode;
use terms::Utc;

/// Where `run` looks for the boat when it is not told.
pub const BOAT: &str = "/etc/middlewatch/boat.toml";
/// Where the standing orders lie when the boat doesn't say.
pub const ORDERS: &str = "/etc/middlewatch/orders.toml";
/// Where the logbook lies when the boat doesn't say.
pub const LOGBOOK: &str = "/var/lib/middlewatch/logbook.db";
/// Where the control socket is when the boat doesn't say.
pub const CONTROL: &str = "/run/middlewatch/control.sock";

/// How a verb ended, as the exit code says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// 0.
    Done,
    /// 1.
    Failed,
    /// 2: wrong usage.
    Usage,
    /// 78: a bad configuration or orders file (EX_CONFIG of sysexits.h).
    BadFile,
}

impl From<Outcome> for ExitCode {
    fn from(o: Outcome) -> Self {
        Self::from(match o {
            Outcome::Done => 0,
            Outcome::Failed => 1,
            Outcome::Usage => 2,
            Outcome::BadFile => 78,
        })
    }
}

/// The electronic lookout of a small boat.
///
/// Hears overboard beacons and ships that will pass too close, watches what the standing orders say, keeps the logbook.
/// An aid only: it does not replace a proper lookout, the vessel's own procedures, the collision regulations, local
/// rules or licensed practice.
#[derive(Debug, Parser)]
#[command(name = "middlewatch", version)]
struct Cli {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, Subcommand)]
enum Verb {
    /// Stand the watch
    Run {
        /// The boat: her crew, wires and sounders
        #[arg(long, default_value = BOAT)]
        config: PathBuf,
    },
    /// Run recorded sentences or a scenario through the watch, as fast as it goes
    Replay(Replay),
    /// Tell what each sentence says
    Listen {
        /// One JSON object a line
        #[arg(long)]
        json: bool,
        /// Files, '-' for standard input, serial:PATH@BAUD, tcp:HOST:PORT or udp:ADDRESS:PORT
        #[arg(required = true, value_name = "INPUT", value_parser = Input::read)]
        inputs: Vec<Input>,
    },
    /// Find every problem of the boat and orders files
    Check {
        /// The boat
        #[arg(long)]
        config: Option<PathBuf>,
        /// The standing orders
        #[arg(long)]
        orders: Option<PathBuf>,
        /// Try the feeds and signals too; where the boat has no feed yet, look which serial ports speak and offer a first file
        #[arg(long)]
        live: bool,
        /// One JSON object a line
        #[arg(long)]
        json: bool,
        /// Serial ports to look at, in place of those that are found
        #[arg(requires = "live", value_name = "PORT")]
        ports: Vec<PathBuf>,
    },
    /// Tell what the night was like
    Review(Review),
    #[command(flatten)]
    Crew(crew::Verb),
    /// Write the manual pages and the completions for shells
    #[command(hide = true)]
    Pages {
        /// Where to
        folder: PathBuf,
    },
}

/// `replay`.
#[derive(Debug, Args)]
pub struct Replay {
    /// The boat; without it her own position comes from the sentences alone
    #[arg(long)]
    pub config: Option<PathBuf>,
    /// The standing orders; without it those for ocean waters
    #[arg(long)]
    pub orders: Option<PathBuf>,
    /// Write the logbook here; one written by a replay is replaced, any other is refused
    #[arg(long)]
    pub logbook: Option<PathBuf>,
    /// UTC of the first line where the sentences tell no time
    #[arg(long, value_name = "UTC", value_parser = time)]
    pub start: Option<Utc>,
    /// Event records, one JSON object a line
    #[arg(long)]
    pub json: bool,
    /// With --json, also each event's addressee and loudness, and each row and entry for the logbook
    #[arg(long, hide = true, requires = "json")]
    pub effects: bool,
    /// Files of sentences, scenarios (.toml), or '-' for standard input
    #[arg(required = true, value_name = "INPUT")]
    pub inputs: Vec<PathBuf>,
}

/// `review`.
#[derive(Debug, Args)]
pub struct Review {
    /// The logbook
    #[arg(long, default_value = LOGBOOK)]
    pub logbook: PathBuf,
    /// From this UTC on, e.g. 2026-11-01T18:00:00Z
    #[arg(long, value_name = "UTC", value_parser = time)]
    pub since: Option<Utc>,
    /// Until this UTC
    #[arg(long, value_name = "UTC", value_parser = time)]
    pub until: Option<Utc>,
    /// One passage by its number, or the last
    #[arg(long, value_name = "NUMBER|last", conflicts_with_all = ["since", "until"])]
    pub passage: Option<String>,
    /// List the passages: told apart by what was declared, by long stops and by the verb `passage`
    #[arg(long)]
    pub passages: bool,
    /// One JSON object
    #[arg(long)]
    pub json: bool,
    /// Write the whole night as one page
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Write own track and the marks for navigation software (GPX 1.1)
    #[arg(long, value_name = "FILE")]
    pub gpx: Option<PathBuf>,
    /// Write own track, ships, alerts and casualties as GeoJSON
    #[arg(long, value_name = "FILE")]
    pub geojson: Option<PathBuf>,
    /// Write own vessel and her instruments by the minute as CSV
    #[arg(long, value_name = "FILE")]
    pub csv: Option<PathBuf>,
    /// Print the deck log by the hour instead
    #[arg(long)]
    pub deck_log: bool,
    /// Ship's time as hours from UTC, e.g. +2 or -3:30; by the longitude where it is not given
    #[arg(long, value_name = "HOURS", allow_hyphen_values = true, value_parser = ship_time)]
    pub ship_time: Option<ShipTime>,
}

fn time(text: &str) -> Result<Utc, &'static str> {
    Utc::parse(text).ok_or("a time is written as 2026-11-01T18:00:00Z")
}

fn ship_time(text: &str) -> Result<ShipTime, &'static str> {
    ShipTime::parse(text).ok_or("ship's time is written as +2 or -3:30")
}

/// Parses the command line and does what it says.
pub fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(e) => {
            let _ = e.print();
            // clap's own codes are 0 for help and 2 for wrong usage.
            return ExitCode::from(if e.use_stderr() { 2 } else { 0 });
        }
    };
    let outcome = match cli.verb {
        Verb::Run { config } => crate::run::run(&config),
        Verb::Replay(replay) => crate::replay::replay(&replay),
        Verb::Listen { json, inputs } => crate::listen::listen(inputs, json),
        Verb::Check { config, orders, live, json, ports } => {
            crate::check::check(config.as_deref(), orders.as_deref(), live.then_some(ports), json)
        }
        Verb::Review(review) => crate::review::verb(&review),
        Verb::Crew(verb) => verb.ask(),
        Verb::Pages { folder } => pages::write(&folder),
    };
    outcome.into()
}

/// Writes to standard output what will be followed by more.
fn print_on(text: &str) -> std::io::Result<()> {
    use std::io::Write;
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes()).and_then(|()| out.flush())
}

/// Writes to standard output. A reader that has gone away (a closed pipe) ends the verb without an outcry.
pub fn print(text: &str) -> Outcome {
    match print_on(text) {
        Ok(()) => Outcome::Done,
        Err(e) if e.kind() == std::io::ErrorKind::BrokenPipe => Outcome::Done,
        Err(e) => {
            eprintln!("middlewatch: standard output: {e}");
            Outcome::Failed
        }
    }
}
