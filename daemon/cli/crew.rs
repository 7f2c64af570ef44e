//! The verbs that talk to the running daemon.

use super::{CONTROL, Outcome};
use crate::act::Act;
use crate::clock::Clock;
use crate::control;
use clap::Subcommand;
use rules::AlertId;
use serde_json::{Value, json};
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::time::Duration;
use terms::CasualtyId;

/// Between two pictures that are followed.
const EVERY: Duration = Duration::from_secs(1);

#[derive(Debug, clap::Args)]
pub(super) struct To {
    /// The daemon's control socket
    #[arg(long, default_value = CONTROL, value_name = "PATH")]
    pub(super) control: PathBuf,
    /// The answer as one JSON object
    #[arg(long)]
    pub(super) json: bool,
}

#[derive(Debug, Subcommand)]
pub(super) enum Verb {
    /// The picture as it is now
    Status {
        /// Show it anew each second, until interrupted
        #[arg(long)]
        follow: bool,
        #[command(flatten)]
        to: To,
    },
    /// Acknowledge one alert, or all that are open
    Acknowledge {
        /// Number of the alert
        alert: Option<u32>,
        #[command(flatten)]
        to: To,
    },
    /// Stop the sound of one alert, or of all, for 30 seconds
    Silence {
        /// Number of the alert
        alert: Option<u32>,
        #[command(flatten)]
        to: To,
    },
    /// Somebody has gone over the side
    Overboard {
        /// Who
        #[arg(value_name = "NAME")]
        who: Vec<String>,
        /// How many seconds ago
        #[arg(long, default_value_t = 0.0, value_name = "SECONDS")]
        late: f64,
        #[command(flatten)]
        to: To,
    },
    /// Close the case of a casualty
    StandDown {
        /// Number of the casualty; needed where there are several
        casualty: Option<u32>,
        /// recovered, false activation, test, or handed over
        #[arg(long)]
        reason: String,
        #[command(flatten)]
        to: To,
    },
    /// Tell of a casualty: its line, the sheet to read over the radio, a search pattern
    Casualty {
        /// Number of the casualty; needed where there are several
        casualty: Option<u32>,
        /// The sheet for the coordinator
        #[arg(long)]
        brief: bool,
        /// A search pattern: square or sector
        #[arg(long, value_name = "PATTERN")]
        search: Option<String>,
        /// Track spacing in nautical miles
        #[arg(long, value_name = "NM")]
        spacing: Option<f64>,
        /// Width in which a head in the water is surely seen, in nautical miles
        #[arg(long, value_name = "NM")]
        sweep_width: Option<f64>,
        /// Radius in nautical miles; else by the datum
        #[arg(long, value_name = "NM")]
        radius: Option<f64>,
        /// Speed through the water in knots; else the present one
        #[arg(long, value_name = "KN")]
        speed: Option<f64>,
        /// Course of the first leg, true; else down-drift
        #[arg(long, value_name = "DEG")]
        first_course: Option<f64>,
        /// The second pass of the pattern
        #[arg(long)]
        second_pass: bool,
        /// The pattern was searched in vain: count it
        #[arg(long)]
        searched: bool,
        /// Write the pattern as GPX 1.1
        #[arg(long, value_name = "FILE", requires = "search")]
        gpx: Option<PathBuf>,
        #[command(flatten)]
        to: To,
    },
    /// Declare what the vessel does (under sail, under power, hove to, at anchor, moored), the waters (ocean, coastal) or the visibility (good visibility, restricted visibility)
    Declare {
        /// In the words above
        #[arg(required = true)]
        what: Vec<String>,
        #[command(flatten)]
        to: To,
    },
    /// What the one who takes the watch over must know
    Handover {
        /// Who takes it; the sounders speak then, so that it is heard that they work
        who: Option<String>,
        #[command(flatten)]
        to: To,
    },
    /// The watch alarm: reset it, or switch it on, off or to automatic
    WatchAlarm {
        /// reset, on, off or automatic
        what: String,
        /// The lookout position it is reset from, by its name in boat.toml
        from: Option<String>,
        #[command(flatten)]
        to: To,
    },
    /// The departure check: what the lookout can judge, and what it asks of you
    Departure(super::departure::Departure),
    /// A passage begins here, or ends, whatever was declared
    Passage {
        /// What it is to be called
        name: Vec<String>,
        /// It ends
        #[arg(long, conflicts_with = "name")]
        end: bool,
        #[command(flatten)]
        to: To,
    },
    /// An exercise: overboard, fender, feed, fix, ship or watch-alarm begins one; spotter and alongside mark; end ends it; nothing tells how it stands
    Drill {
        /// In the words above
        what: Option<String>,
        #[command(flatten)]
        to: To,
    },
    /// Write a remark into the logbook
    Note {
        /// The remark
        #[arg(required = true)]
        text: Vec<String>,
        #[command(flatten)]
        to: To,
    },
    /// Copy the logbook to another file, while the watch goes on
    Backup {
        /// The copy; one that is there already is replaced
        file: PathBuf,
        #[command(flatten)]
        to: To,
    },
    /// Read the orders file anew
    Reload {
        #[command(flatten)]
        to: To,
    },
}

impl Verb {
    pub(super) fn ask(self) -> Outcome {
        let (to, act) = match self {
            Self::Status { follow: true, to } => return follow(&to),
            Self::Status { follow: false, to } => {
                return exchange(&to, "/status", None, crate::status::screen);
            }
            Self::Departure(departure) => return departure.hold(),
            Self::Reload { to } => return exchange(&to, "/reload", Some(json!({})), told),
            Self::Handover { who: None, to } => return exchange(&to, "/handover", None, handover),
            Self::Handover { who: Some(who), to } => {
                let act = json!({"act": "handover", "who": who});
                return exchange(&to, "/act", Some(act), handover);
            }
            Self::Backup { file, to } => {
                // The daemon has a working folder of its own.
                let file = std::path::absolute(&file).unwrap_or(file);
                return exchange(&to, "/backup", Some(json!({"to": file})), told);
            }
            Self::WatchAlarm { what, from: Some(from), to } if what == "reset" => {
                (to, Act::ResetWatchAlarm { from })
            }
            Self::WatchAlarm { what, from: None, to } if what != "reset" => {
                let act = json!({"act": "watch-alarm", "switch": what});
                return exchange(&to, "/act", Some(act), told);
            }
            Self::WatchAlarm { .. } => {
                eprintln!(
                    "middlewatch: the watch alarm is reset from a lookout position (watch-alarm reset POSITION), or switched on, off or to automatic"
                );
                return Outcome::Usage;
            }
            Self::Casualty {
                casualty,
                brief,
                search,
                spacing,
                sweep_width,
                radius,
                speed,
                first_course,
                second_pass,
                searched,
                gpx,
                to,
            } => {
                let question = json!({
                    "casualty": casualty, "brief": brief, "pattern": search, "spacing_nm": spacing,
                    "sweep_width_nm": sweep_width, "radius_nm": radius, "speed_kn": speed,
                    "first_course_deg": first_course, "second_pass": second_pass, "searched": searched,
                });
                return match ask(&to, "/casualty", Some(&question)) {
                    Ok(answer) => {
                        let written = gpx.map_or(Outcome::Done, |file| write_pattern(&file, &answer));
                        let shown = show(&to, &answer, of_casualty);
                        if matches!(written, Outcome::Done) { shown } else { written }
                    }
                    Err(outcome) => outcome,
                };
            }
            Self::Drill { what: None, to } => return exchange(&to, "/status", None, exercise),
            Self::Drill { what: Some(what), to } => (to, Act::Drill { what }),
            Self::Acknowledge { alert, to } => {
                (to, Act::Acknowledge { alert: alert.map(AlertId), order: None })
            }
            Self::Silence { alert, to } => (to, Act::Silence { alert: alert.map(AlertId), order: None }),
            Self::Overboard { who, late, to } => (to, Act::Overboard { late_s: late, who: words(&who) }),
            Self::StandDown { casualty, reason, to } => {
                (to, Act::StandDown { casualty: casualty.map(CasualtyId), reason })
            }
            Self::Declare { what, to } => (to, Act::Declare { what: what.join(" ") }),
            Self::Passage { name, end, to } => (to, Act::Passage { name: words(&name), ends: end }),
            Self::Note { text, to } => (to, Act::Note { text: text.join(" ") }),
        };
        // An act is made of numbers and texts, which always have a form in JSON.
        let body = serde_json::to_value(act).unwrap_or(Value::Null);
        exchange(&to, "/act", Some(body), told)
    }
}

/// Words as one text, where there are any.
fn words(all: &[String]) -> Option<String> {
    (!all.is_empty()).then(|| all.join(" "))
}

/// What is told of a casualty.
fn of_casualty(answer: &Value) -> String {
    let parts = ["words", "brief", "plan"].map(|part| answer[part].as_str());
    parts.into_iter().flatten().map(|part| format!("{}\n", part.trim_end())).collect()
}

/// Writes the pattern of an answer into a file.
fn write_pattern(file: &Path, answer: &Value) -> Outcome {
    let written = match answer["gpx"].as_str() {
        Some(xml) => std::fs::write(file, xml).map_err(|e| format!("{}: {e}", file.display())),
        None => Err(format!("there is no pattern to write to {}", file.display())),
    };
    match written {
        Ok(()) => Outcome::Done,
        Err(why) => {
            eprintln!("middlewatch: {why}");
            Outcome::Failed
        }
    }
}

/// The handover, line by line.
fn handover(answer: &Value) -> String {
    let mut text = String::new();
    for line in answer["lines"].as_array().into_iter().flatten() {
        text += &format!("{}\n", line.as_str().unwrap_or(""));
    }
    if answer["done"].is_string() {
        text += &told(answer);
        text += "Every sounder says now that it is tested: hear it before the other one sleeps.\n";
    }
    text
}

/// The exercise that is on.
fn exercise(status: &Value) -> String {
    let e = &status["exercise"];
    if e.is_null() {
        return "No exercise is on.\n".to_owned();
    }
    let text = |key: &str| e[key].as_str().unwrap_or("");
    let began = Duration::try_from_secs_f64(e["began_s"].as_f64().unwrap_or(0.0)).unwrap_or_default();
    let mut out = format!("EXERCISE, on for {}: {}\n", crate::words::span(began), text("title"));
    if !text("words").is_empty() {
        out += &format!("{}\n", text("words"));
    }
    out + &format!("{}\n", text("measured"))
}

/// What the daemon says it has done.
fn told(answer: &Value) -> String {
    format!("{}\n", answer["done"].as_str().unwrap_or("done"))
}

/// Shows the picture each second. A daemon that does not answer is told of in the place of the picture, and waited for.
fn follow(to: &To) -> Outcome {
    let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
        Ok(r) => r,
        Err(e) => {
            eprintln!("middlewatch: {e}");
            return Outcome::Failed;
        }
    };
    // On a terminal each picture takes the place of the one before (ECMA-48: cursor home, erase below).
    let (home, below) =
        if std::io::stdout().is_terminal() && !to.json { ("\x1b[H\x1b[2J", "") } else { ("", "\n") };
    let mut heard = Clock.now();
    loop {
        let answer = runtime.block_on(control::request(&to.control, "/status", None));
        let text = match &answer {
            Ok(answer) if to.json => format!("{answer}\n"),
            Ok(answer) => format!("{home}{}{below}", crate::status::screen(answer)),
            Err(e) if to.json => format!("{}\n", json!({"error": e.to_string()})),
            Err(e) => {
                let silent = crate::words::span(Clock.now().since(heard));
                format!(
                    "{home}*** NO ANSWER FROM THE DAEMON ***\nfor {silent}: nobody keeps the electronic\nlookout.\n{e}\n{below}"
                )
            }
        };
        if answer.is_ok() {
            heard = Clock.now();
        }
        if super::print_on(&text).is_err() {
            return Outcome::Done;
        }
        std::thread::sleep(EVERY);
    }
}

/// Asks the daemon, and prints its answer.
fn exchange(to: &To, path: &str, body: Option<Value>, print: impl Fn(&Value) -> String) -> Outcome {
    match ask(to, path, body.as_ref()) {
        Ok(answer) => show(to, &answer, print),
        Err(outcome) => outcome,
    }
}

/// The daemon's answer; where there is none, why has been said.
fn ask(to: &To, path: &str, body: Option<&Value>) -> Result<Value, Outcome> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let answer = runtime.map_err(|e| e.to_string()).and_then(|runtime| {
        runtime.block_on(control::request(&to.control, path, body)).map_err(|e| e.to_string())
    });
    answer.map_err(|why| {
        eprintln!("middlewatch: {why}");
        Outcome::Failed
    })
}

fn show(to: &To, answer: &Value, print: impl Fn(&Value) -> String) -> Outcome {
    super::print(&if to.json { format!("{answer}\n") } else { print(answer) })
}
