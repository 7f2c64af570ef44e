//! `departure`: asks what only a person can tell, tries what can be tried, and ends with the sheet.

use super::Outcome;
use super::crew::To;
use crate::clock::Clock;
use crate::control::{self, ClientError};
use crate::departure::{page, sheet};
use serde_json::{Value, json};
use std::io::{BufRead, IsTerminal, Write};
use std::path::PathBuf;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::Duration;

/// The daemon is asked so often whether a button or a beacon was heard.
const ASKED_EVERY: Duration = Duration::from_millis(300);

/// `departure`.
#[derive(Debug, clap::Args)]
pub(super) struct Departure {
    /// Who checks; else it is asked
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

/// What a person answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Answer {
    Yes,
    No,
    /// Left out, or nobody there.
    None,
}

/// The line between the departure check and a person: questions go to standard error, answers come by standard input.
struct Person {
    answers: mpsc::Receiver<String>,
    /// Nobody answers any more.
    gone: bool,
}

impl Person {
    fn new() -> Self {
        let (to, answers) = mpsc::channel();
        // Ends with the program: a read of a terminal cannot be taken back.
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

    /// A question without a line end behind it.
    fn say(words: &str) {
        let mut out = std::io::stderr().lock();
        // Whoever closed it does not want to be asked.
        let _ = write!(out, "{words}").and_then(|()| out.flush());
    }

    /// A line, once it comes; `None` when nobody is there.
    fn line(&mut self) -> Option<String> {
        if self.gone {
            return None;
        }
        let line = self.answers.recv().ok();
        self.gone = line.is_none();
        line.map(|l| l.trim().to_owned())
    }

    /// Yes, no, or left out; asked again when it is none of these.
    fn yes_or_no(&mut self, question: &str) -> Answer {
        loop {
            Self::say(&format!("{question} [yes, no; return leaves it out] "));
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

    /// Whether a line came within a while: somebody does not want to wait any more.
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
    /// Holds the departure check to its end.
    pub fn hold(self) -> Outcome {
        let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
            Ok(r) => r,
            Err(e) => {
                eprintln!("middlewatch: {e}");
                return Outcome::Failed;
            }
        };
        let ask = |path: &str, body: Option<Value>| {
            runtime.block_on(control::request(&self.to.control, path, body.as_ref()))
        };
        let told = match if self.look { ask("/departure", None) } else { self.ask_all(&ask) } {
            Ok(told) => told,
            Err(e) => {
                eprintln!("middlewatch: {e}");
                return Outcome::Failed;
            }
        };
        let mut outcome = super::print(&if self.to.json { format!("{told}\n") } else { sheet(&told) });
        if let Some(path) = &self.html
            && let Err(e) = std::fs::write(path, page(&told))
        {
            eprintln!("middlewatch: {}: {e}", path.display());
            outcome = Outcome::Failed;
        }
        let all_passed = told["lines"].as_array().is_some_and(|l| l.iter().all(|l| l["outcome"] == "passed"));
        if all_passed { outcome } else { Outcome::Failed }
    }

    fn ask_all(
        &self,
        ask: &impl Fn(&str, Option<Value>) -> Result<Value, ClientError>,
    ) -> Result<Value, ClientError> {
        let mut person = Person::new();
        let begun = ask("/departure", Some(json!({"departure": "begin"})))?;
        let by = self.by.clone().unwrap_or_else(|| {
            Person::say("Who checks the boat? ");
            person.line().unwrap_or_default()
        });
        let who = if by.is_empty() { "nobody by name" } else { &by };
        let tell = |what: &Value, outcome: &str, words: &str, by: &str| {
            let line =
                json!({"departure": "line", "what": what, "outcome": outcome, "words": words, "by": by});
            ask("/departure", Some(line))
        };
        for asked in begun["asked"].as_array().into_iter().flatten() {
            let (what, name) = (&asked["what"], asked["name"].as_str().unwrap_or(""));
            match asked["part"].as_str().unwrap_or("") {
                "sounder" => {
                    if let Err(e) = ask("/test", Some(json!({"signal": name}))) {
                        tell(what, "failed", &e.to_string(), "the lookout")?;
                        continue;
                    }
                    match person.yes_or_no(&format!("Sounder {name} sounds now. Do you hear or see it?")) {
                        Answer::Yes => tell(what, "passed", "heard", who)?,
                        Answer::No => tell(what, "failed", "told to sound, and not heard", who)?,
                        Answer::None => continue,
                    };
                }
                "webhook" => {
                    Person::say(&format!("Webhook {name} is tried … "));
                    let (outcome, words) = match ask("/test", Some(json!({"signal": name}))) {
                        Ok(_) => ("passed", "received".to_owned()),
                        Err(e) => ("failed", e.to_string()),
                    };
                    Person::say(&format!("{words}\n"));
                    tell(what, outcome, &words, "the lookout")?;
                }
                "button" => {
                    let question = format!(
                        "Press the button {name}: this one press is only a try. [return leaves it out]"
                    );
                    let look = json!({"departure": "button", "name": name});
                    match self.wait_for(ask, &mut person, what, &question, &look)? {
                        Some(true) => {}
                        Some(false) => drop(tell(what, "failed", "asked for, and no press came", who)?),
                        // The button is itself again at once.
                        None => drop(tell(what, "not-tried", "left out", who)?),
                    }
                }
                _ if asked["beacon"].is_null() => {}
                _ => {
                    let question =
                        format!("{name}: start the test of your beacon now. [return leaves it out]");
                    let look = json!({"departure": "look"});
                    if self.wait_for(ask, &mut person, what, &question, &look)? == Some(false) {
                        let words = format!("its test was not heard within {} s", self.wait);
                        tell(what, "failed", &words, who)?;
                    }
                }
            }
        }
        ask("/departure", Some(json!({"departure": "close", "by": by})))
    }

    /// Waits until a line has passed: `None` when somebody left it out or nobody is there to do it.
    fn wait_for(
        &self,
        ask: &impl Fn(&str, Option<Value>) -> Result<Value, ClientError>,
        person: &mut Person,
        what: &Value,
        question: &str,
        look: &Value,
    ) -> Result<Option<bool>, ClientError> {
        Person::say(&format!("{question} "));
        let (began, wait) = (Clock.now(), Duration::from_secs(self.wait));
        loop {
            let now = ask("/departure", Some(look.clone()))?;
            let line = now["lines"].as_array().into_iter().flatten().find(|l| &l["what"] == what);
            if let Some(l) = line.filter(|l| l["outcome"] == "passed") {
                Person::say(&format!("{}\n", l["words"].as_str().unwrap_or("")));
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
