//! The command line.

mod crew;
mod departure;
mod pages;

use crate::check::Checked;
use crate::demo::Demo;
use crate::handbook::{Chapter, contents};
use crate::listen::Input;
use crate::outcome::{Outcome, complain, print};
use crate::quick::Card;
use crate::replay::Replay;
use crate::review::Review;
use boat::places::BOAT;
use clap::{CommandFactory, Parser, Subcommand};
use std::path::PathBuf;
use std::process::ExitCode;

/// The electronic lookout of a small boat.
///
/// Hears overboard beacons and ships that will pass too close, watches what the standing orders say, keeps the logbook.
/// An aid only: it does not replace a proper lookout, the vessel's own procedures, the collision regulations, local
/// rules or licensed practice.
#[derive(Debug, Parser)]
#[command(name = "middlewatch", version, disable_help_subcommand = true)]
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
    /// Explain each sentence that comes; wires that a running watch has open are read through it
    Listen {
        /// One JSON object a line
        #[arg(long)]
        json: bool,
        /// The boat, for her feeds and for the watch that runs
        #[arg(long)]
        config: Option<PathBuf>,
        /// feed:NAME of the boat, serial:PATH@BAUD, tcp:HOST:PORT, udp:ADDRESS:PORT, files, or '-' for standard input
        #[arg(required = true, value_name = "INPUT", value_parser = Input::read)]
        inputs: Vec<Input>,
    },
    /// Find every mistake in the boat and orders files
    Check {
        /// Print every key of the boat's file, with what it is for and its default
        #[arg(long, exclusive = true)]
        reference: bool,
        /// The boat
        #[arg(long)]
        config: Option<PathBuf>,
        /// The standing orders
        #[arg(long)]
        orders: Option<PathBuf>,
        /// Try the feeds and signals too; if the boat has no feed yet, find which serial ports speak and draft a first file
        #[arg(long)]
        live: bool,
        /// Write the draft there instead of printing it; an existing file is never replaced
        #[arg(long, value_name = "FILE", requires = "live")]
        write: Option<PathBuf>,
        /// One JSON object a line
        #[arg(long)]
        json: bool,
        /// Serial ports to try, instead of all that are found
        #[arg(requires = "live", value_name = "PORT")]
        ports: Vec<PathBuf>,
    },
    /// Play an invented night passage through a watch, sixty times as fast, with its sounds and its card
    Demo(Demo),
    /// Show what the night was like
    Review(Review),
    /// The quick card of this boat for the chart table and the companionway, to be printed
    Card(Card),
    #[command(flatten)]
    Crew(crew::Verb),
    /// Show a chapter of the handbook, or what a verb takes
    Help {
        /// A chapter or a verb; without one, all of them
        about: Option<String>,
    },
    /// Explain a quantity, a key, an alert, a field or a figure: CPA, feed.silent_after, "fix lost"
    Explain {
        /// The word; without one, all of them
        word: Vec<String>,
    },
    /// Write the manual pages and the completions for shells
    #[command(hide = true)]
    Pages {
        /// Where to
        folder: PathBuf,
    },
}

/// Parses the command line and runs it.
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
        Verb::Listen { json, config, inputs } => crate::listen::listen(inputs, config.as_deref(), json),
        Verb::Check { reference: true, .. } => print(&boat::reference().to_string()),
        Verb::Check { config, orders, live, write, json, ports, .. } => crate::check::check(Checked {
            boat: config.as_deref(),
            orders: orders.as_deref(),
            live: live.then_some(ports),
            write: write.as_deref(),
            json,
        }),
        Verb::Demo(demo) => crate::demo::demo(&demo),
        Verb::Review(review) => crate::review::verb(&review),
        Verb::Card(asked) => crate::quick::card(&asked),
        Verb::Crew(verb) => verb.ask(),
        Verb::Help { about } => help(about.as_deref()),
        Verb::Explain { word } => crate::explain::explain(&word.join(" ")),
        Verb::Pages { folder } => pages::write(&folder),
    };
    outcome.into()
}

/// Prints a chapter, or how a verb is used.
fn help(about: Option<&str>) -> Outcome {
    let mut command = Cli::command();
    let Some(about) = about else {
        let handbook = format!("\nThe handbook (middlewatch help CHAPTER):\n{}", contents());
        return print(&format!("{}{handbook}", command.render_long_help()));
    };
    if let Some(chapter) = Chapter::named(about) {
        let verb = command.find_subcommand(about).is_some();
        let more = format!("\n`middlewatch {about} --help` shows what the verb takes.\n");
        return print(&format!("{}{}", chapter.text, if verb { &more } else { "" }));
    }
    // What the parser adds to each verb (its whole name, --help) is there once it is built.
    command.build();
    if let Some(verb) = command.find_subcommand_mut(about) {
        return print(&verb.render_long_help().to_string());
    }
    complain(&format!(
        "middlewatch: no chapter and no verb is called {about}. The chapters are:\n{}",
        contents()
    ));
    Outcome::Usage
}
