//! `departure`: asks what only a person can answer, tries what can be tried, and ends with the sheet.

use super::crew::To;
use super::crew::json_line;
use crate::clock::Clock;
use crate::control::places::{self, Place};
use crate::control::{self, ClientError};
use crate::departure::{page, sheet as sheet_of};
use crate::outcome::{Outcome, complain, print};
use crate::window::Window;
use record::{Asked, DepartureAct, DepartureSheet, Nothing, Part, SignalTest, Verdict};
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::io::{BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::Duration;

/// How often the daemon is asked whether it heard a button or a beacon.
const ASKED_EVERY: Duration = Duration::from_millis(300);

/// Who judges the items that need no person.
const LOOKOUT: &str = "the lookout";

/// `departure`.
#[derive(Debug, clap::Args)]
pub(super) struct Departure {
    /// Who checks; asked for if omitted
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// How long to wait for a button or a beacon, in seconds
    #[arg(long, default_value_t = 120, value_name = "SECONDS", value_parser = clap::value_parser!(u64).range(1..=3600))]
    wait: u64,
    /// Only show how it stands: ask nothing, write nothing
    #[arg(long)]
    look: bool,
    /// Write the sheet as a page to be printed
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    #[command(flatten)]
    to: To,
}

/// How a wait is cut short.
const SKIP: &str = "Enter to skip";

/// A question and how it is answered, in 80 columns.
fn prompt(question: &str, answers: &str) -> String {
    let page = Window::page();
    let mut lines = page.wrap(0, question);
    match lines.last_mut() {
        // The answers stay together, and there is room for one.
        Some(last) if last.chars().count() + answers.chars().count() + 6 <= page.columns => {
            last.push_str(&format!(" {answers}: "));
        }
        _ => lines.push(format!("{answers}: ")),
    }
    lines.join("\n")
}

/// A person's answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Answer {
    Yes,
    No,
    /// Skipped, or nobody there.
    None,
}

/// The dialogue with a person: questions go to standard error, answers come from standard input.
struct Person {
    answers: mpsc::Receiver<String>,
    /// Nobody answers any more.
    gone: bool,
}

impl Person {
    fn new() -> Self {
        let (to, answers) = mpsc::channel();
        // Ends with the program: a terminal read cannot be cancelled.
        std::thread::spawn(move || {
            for line in std::io::stdin().lock().lines() {
                let Ok(line) = line else { return };
                if to.send(line).is_err() {
                    return;
                }
            }
        });
        Self { answers, gone: false }
    }

    /// Prints a question without a line end.
    fn say(words: &str) {
        let mut out = std::io::stderr().lock();
        // Whoever closed it does not want to be asked.
        let _ = write!(out, "{words}").and_then(|()| out.flush());
    }

    /// The next line; `None` when nobody is there.
    fn line(&mut self) -> Option<String> {
        if self.gone {
            return None;
        }
        let line = self.answers.recv().ok();
        self.gone = line.is_none();
        line.map(|l| l.trim().to_owned())
    }

    /// Yes, no, or skipped; asks again on any other answer.
    fn yes_or_no(&mut self, question: &str) -> Answer {
        loop {
            Self::say(&prompt(question, "[y]es [n]o, Enter to skip"));
            let Some(line) = self.line() else {
                Self::say("\n");
                return Answer::None;
            };
            match line.to_lowercase().as_str() {
                "y" | "yes" => return Answer::Yes,
                "n" | "no" => return Answer::No,
                "" => return Answer::None,
                _ => {}
            }
        }
    }

    /// Whether a line came within a while: somebody does not want to wait any longer.
    fn leaves_out(&mut self, within: Duration) -> bool {
        if self.gone {
            std::thread::sleep(within);
            return false;
        }
        match self.answers.recv_timeout(within) {
            Ok(_) => true,
            Err(RecvTimeoutError::Timeout) => false,
            Err(RecvTimeoutError::Disconnected) => {
                self.gone = true;
                false
            }
        }
    }
}

impl Departure {
    /// Runs the departure check to its end.
    pub fn hold(self) -> Outcome {
        let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
            Ok(r) => r,
            Err(e) => {
                complain(&format!("middlewatch: {e}"));
                return Outcome::Failed;
            }
        };
        let daemon = Daemon { runtime, socket: &self.to.control };
        let sheet =
            if self.look { daemon.ask(&places::DEPARTURE, &Nothing {}) } else { self.ask_all(&daemon) };
        let told = match sheet {
            Ok(told) => told,
            Err(e) => {
                complain(&format!("middlewatch: {e}"));
                return Outcome::Failed;
            }
        };
        let mut outcome = print(&if self.to.json { json_line(&told) } else { sheet_of(&told) });
        if let Some(path) = &self.html
            && let Err(e) = std::fs::write(path, page(&told))
        {
            complain(&format!("middlewatch: {}: {e}", path.display()));
            outcome = Outcome::Failed;
        }
        let all_passed = told.items.iter().all(|i| i.verdict == Verdict::Passed);
        if all_passed { outcome } else { Outcome::Failed }
    }

    fn ask_all(&self, daemon: &Daemon<'_>) -> Result<DepartureSheet, ClientError> {
        let mut person = Person::new();
        let begun = daemon.act(DepartureAct::Begin)?;
        let by = self.by.clone().unwrap_or_else(|| {
            Person::say("Who checks the boat? ");
            person.line().unwrap_or_default()
        });
        let who = if by.is_empty() { "nobody by name" } else { &by };
        for asked in &begun.asked {
            self.ask_for(daemon, &mut person, asked, who)?;
        }
        daemon.act(DepartureAct::Close { by })
    }

    /// Asks for one thing, or tries it.
    fn ask_for(
        &self,
        daemon: &Daemon<'_>,
        person: &mut Person,
        asked: &Asked,
        who: &str,
    ) -> Result<(), ClientError> {
        let name = &asked.name;
        let tell = |verdict, words: &str, by: &str| {
            let (what, words, by) = (asked.what.clone(), words.to_owned(), by.to_owned());
            daemon.act(DepartureAct::Item { what, verdict, words, by }).map(drop)
        };
        let test = || daemon.ask(&places::TEST, &SignalTest { signal: Some(name.clone()) });
        match asked.part {
            Part::Sounder => {
                if let Err(e) = test() {
                    return tell(Verdict::Failed, &e.to_string(), LOOKOUT);
                }
                match person.yes_or_no(&format!("Sounder {name} sounds now. Do you hear or see it?")) {
                    Answer::Yes => tell(Verdict::Passed, "heard", who),
                    Answer::No => tell(Verdict::Failed, "sounded, and was not heard", who),
                    Answer::None => Ok(()),
                }
            }
            Part::Webhook => {
                Person::say(&format!("Webhook {name} is tried … "));
                let (verdict, words) = match test() {
                    Ok(_) => (Verdict::Passed, "received".to_owned()),
                    Err(e) => (Verdict::Failed, e.to_string()),
                };
                Person::say(&format!("{words}\n"));
                tell(verdict, &words, LOOKOUT)
            }
            Part::Button => {
                let question =
                    prompt(&format!("Press the button {name}: this one press is only a try."), SKIP);
                let look = DepartureAct::Button { name: name.clone() };
                match self.wait_for(daemon, person, &asked.what, &question, &look)? {
                    Some(true) => Ok(()),
                    Some(false) => tell(Verdict::Failed, "asked for, and no press came", who),
                    // The button returns to its usual work at once.
                    None => tell(Verdict::NotTried, "left out", who),
                }
            }
            Part::BeaconOf if asked.beacon.is_none() => Ok(()),
            Part::BeaconOf => {
                let question = prompt(&format!("{name}: start the test of your beacon now."), SKIP);
                if self.wait_for(daemon, person, &asked.what, &question, &DepartureAct::Look)? == Some(false)
                {
                    let words = format!("its test was not heard within {} s", self.wait);
                    return tell(Verdict::Failed, &words, who);
                }
                Ok(())
            }
        }
    }

    /// Waits until an item has passed; `None` if somebody skips it or nobody is there to do it.
    fn wait_for(
        &self,
        daemon: &Daemon<'_>,
        person: &mut Person,
        what: &str,
        question: &str,
        look: &DepartureAct,
    ) -> Result<Option<bool>, ClientError> {
        Person::say(question);
        let (began, wait) = (Clock.now(), Duration::from_secs(self.wait));
        loop {
            let now = daemon.act(look.clone())?;
            let passed = now.items.iter().find(|i| i.what == what && i.verdict == Verdict::Passed);
            if let Some(item) = passed {
                Person::say(&format!("{}\n", item.words));
                return Ok(Some(true));
            }
            if Clock.now().since(began) >= wait {
                Person::say("nothing came\n");
                return Ok(Some(false));
            }
            if person.leaves_out(ASKED_EVERY) {
                Person::say(if std::io::stdin().is_terminal() { "" } else { "\n" });
                return Ok(None);
            }
            if person.gone {
                Person::say("nobody is there\n");
                return Ok(None);
            }
        }
    }
}

/// The daemon that is asked.
struct Daemon<'a> {
    runtime: tokio::runtime::Runtime,
    socket: &'a Path,
}

impl Daemon<'_> {
    fn ask<B: Serialize, A: DeserializeOwned>(
        &self,
        place: &Place<B, A>,
        body: &B,
    ) -> Result<A, ClientError> {
        self.runtime.block_on(control::ask(self.socket, place, body))
    }

    fn act(&self, act: DepartureAct) -> Result<DepartureSheet, ClientError> {
        self.ask(&places::DEPARTURE_ACT, &act)
    }
}
