//! `demo`: the invented night passage, played fast through a watch that really stands, with its sounds and its card, so that
//! a crew can see and hear it before the boat is wired.

use crate::clock::{self, Clock};
use crate::control::{self, places};
use crate::outcome::{Outcome, complain, print_on};
use crate::{replay, run};
use nix::sys::signal::{Signal, kill};
use nix::sys::stat::Mode;
use nix::unistd::{Pid, mkfifo};
use scenario::{Scenario, Verb, What};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs::File;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::time::Duration;
use terms::Moment;

/// The scenario, its boat and her orders: the same as the README's demo.
const NIGHT: &str = include_str!("../fixtures/night-passage.toml");
const BOAT: &str = include_str!("../fixtures/windlestraw.toml");
const ORDERS: &str = include_str!("../fixtures/windlestraw-orders.toml");
/// What the watch card asks for before it acts: no secret, for the card is served to this computer alone.
const TOKEN: &str = "the-demo-keeps-no-secret";
/// Programs that speak what they read, with their arguments, in the order in which they are looked for.
const VOICES: [&[&str]; 2] = [&["espeak-ng", "--stdin"], &["espeak", "--stdin"]];
/// Scenario time before the first line.
const LEAD_MS: i64 = 5_000;

/// How the demo is played.
#[derive(Debug, clap::Args)]
pub struct Demo {
    /// How many times as fast as it happens
    #[arg(long, default_value_t = 60, value_parser = clap::value_parser!(u16).range(1..=600))]
    pub rate: u16,
    /// Where the watch card is served; this computer alone can see it
    #[arg(long, default_value_t = 8127, value_name = "PORT")]
    pub port: u16,
    /// Leave the crew's part to you: nobody acknowledges, declares or stands down but you
    #[arg(long)]
    pub alone: bool,
    /// Make no sound
    #[arg(long)]
    pub silent: bool,
}

/// Plays the demo until it ends or is interrupted.
pub fn demo(demo: &Demo) -> Outcome {
    let folder = std::env::temp_dir().join(format!("middlewatch-demo-{}", std::process::id()));
    let night = match Scenario::read("night-passage.toml", NIGHT) {
        Ok(night) => night,
        Err(problems) => {
            complain(&format!("middlewatch: {problems}"));
            return Outcome::BadFile;
        }
    };
    let pipes = match lay_out(demo, &folder) {
        Ok(pipes) => pipes,
        Err(e) => {
            complain(&format!("middlewatch: {}: {e}", folder.display()));
            return Outcome::Failed;
        }
    };
    let socket = folder.join("control.sock");
    let about = format!(
        "{}, {} times as fast as it happens. Interrupt it with ctrl-C.\n\
         The watch card is at http://127.0.0.1:{}/ (its token: {TOKEN}), and the verbs take --control {}\n",
        night.title(),
        demo.rate,
        demo.port,
        socket.display()
    );
    if print_on(&about).is_err() {
        return Outcome::Done;
    }
    clock::hasten(demo.rate, night.start().plus_ms(-LEAD_MS));
    let (rate, alone) = (u32::from(demo.rate), demo.alone);
    std::thread::spawn(move || {
        if let Err(e) = play(&night, rate, &pipes, (!alone).then_some(&socket)) {
            complain(&format!("middlewatch: the demo's wires: {e}"));
        }
        // The watch ends as it does when anybody stops it.
        let _ = kill(Pid::this(), Signal::SIGTERM);
    });
    let outcome = run::run(&folder.join("boat.toml"));
    let _ = print_on(&format!(
        "The night is over. What it was like:\n    middlewatch review --logbook {}\n",
        folder.join("logbook.db").display()
    ));
    outcome
}

/// Writes the boat's files and makes a pipe for each of her wires; returns them by their feeds' names.
fn lay_out(demo: &Demo, folder: &Path) -> io::Result<BTreeMap<String, PathBuf>> {
    std::fs::create_dir(folder)?;
    let mut pipes = BTreeMap::new();
    let mut boat = String::new();
    let mut feed = None;
    for line in BOAT.lines() {
        if line == "[[feed]]" {
            feed = Some(String::new());
        } else if let (Some(name), Some(of_feed)) = (quoted(line, "name"), &mut feed) {
            *of_feed = name.to_owned();
        }
        match (&feed, quoted(line, "serial")) {
            (Some(name), Some(_)) => {
                let pipe = folder.join(name);
                mkfifo(&pipe, Mode::S_IRUSR | Mode::S_IWUSR)?;
                // Writing into a string cannot fail.
                let _ = writeln!(boat, "file = \"{name}\"");
                pipes.insert(name.clone(), pipe);
            }
            _ if line.starts_with("baud") => {}
            _ => {
                let _ = writeln!(boat, "{line}");
            }
        }
    }
    let _ = writeln!(boat, "[logbook]\npath = \"logbook.db\"");
    let _ = writeln!(
        boat,
        "[control]\npath = \"control.sock\"\nlisten = \"127.0.0.1:{}\"\ntoken_file = \"token\"",
        demo.port
    );
    if let Some(voice) = VOICES.iter().find(|v| !demo.silent && v.first().is_some_and(|name| is_there(name)))
    {
        let _ = writeln!(boat, "[[signal]]\nname = \"voice\"\ncommand = {voice:?}\nfrom = \"warning\"");
    }
    std::fs::write(folder.join("token"), TOKEN)?;
    std::fs::write(folder.join("windlestraw-orders.toml"), ORDERS)?;
    std::fs::write(folder.join("boat.toml"), boat)?;
    Ok(pipes)
}

/// The text of a key on its own line.
fn quoted<'a>(line: &'a str, key: &str) -> Option<&'a str> {
    line.strip_prefix(key)?.strip_prefix(" = \"")?.strip_suffix('"')
}

/// Whether a program is in the path.
fn is_there(program: &str) -> bool {
    std::env::var_os("PATH")
        .is_some_and(|path| std::env::split_paths(&path).any(|p| p.join(program).is_file()))
}

/// Writes each line to its wire when it is due, and does what the crew of the night did.
fn play(
    night: &Scenario,
    rate: u32,
    pipes: &BTreeMap<String, PathBuf>,
    crew: Option<&PathBuf>,
) -> io::Result<()> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    // The watch opens each pipe for reading and writing, so these wait for it and for nothing else.
    let mut wires: BTreeMap<&str, File> = BTreeMap::new();
    for (name, pipe) in pipes {
        wires.insert(name, File::options().write(true).open(pipe)?);
    }
    let start = Moment(Clock.now().0 + LEAD_MS);
    for timed in night.play() {
        let due = start + Duration::from_millis(u64::try_from(timed.at.0).unwrap_or(0));
        wait(due, rate);
        match timed.what {
            What::Line { feed, line } => {
                if let Some(wire) = wires.get_mut(feed) {
                    wire.write_all(format!("{line}\r\n").as_bytes())?;
                }
            }
            What::Act(act) => {
                let verb = Verb::ALL.iter().find(|(_, v)| *v == act.verb).map_or("", |(word, _)| *word);
                let shown = format!("{} {verb} {}", timed.utc, act.words.trim());
                match crew {
                    Some(socket) => {
                        let _ = print_on(&format!("the crew: {shown}\n"));
                        if let Err(e) =
                            runtime.block_on(control::ask(socket, &places::ACT, &replay::act_of(act)))
                        {
                            complain(&format!("middlewatch: {e}"));
                        }
                    }
                    None => {
                        let _ = print_on(&format!("the crew of the night did this: {shown}\n"));
                    }
                }
            }
        }
    }
    Ok(())
}

/// Sleeps until a moment of the demo's time.
fn wait(due: Moment, rate: u32) {
    loop {
        let left = due.since(Clock.now());
        if left.is_zero() {
            return;
        }
        std::thread::sleep(left.min(Duration::from_secs(60)) / rate);
    }
}
