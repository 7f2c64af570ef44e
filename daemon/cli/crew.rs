//! The verbs that talk to the running daemon.

use crate::clock::Clock;
use crate::control;
use crate::control::places::{self, Place};
use crate::outcome::{self, Outcome, complain, print_on};
use crate::status::screen;
use crate::window::Window;
use boat::places::CONTROL;
use clap::Subcommand;
use record::Act;
use record::{Backup, CasualtyAnswer, CasualtyQuestion, Done, Handover, Nothing, Refusal, Status};
use rules::AlertId;
use rules::Switch;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::time::Duration;
use terms::{CasualtyId, ShipTime, legible, span};

/// Interval between pictures with `--follow`.
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
    /// Show the picture as it is now
    Status {
        /// Refresh it each second until interrupted
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
    /// Report that somebody has gone over the side
    Overboard {
        /// Who
        #[arg(value_name = "NAME")]
        who: Vec<String>,
        /// How many seconds ago it happened
        #[arg(long, default_value_t = 0.0, value_name = "SECONDS")]
        late: f64,
        /// Nobody saw it: when last seen aboard, at most a day ago (02:10 by ship's time, 02:10 UTC, 90 min)
        #[arg(long, value_name = "TIME", conflicts_with = "late")]
        last_seen: Option<String>,
        /// When missed, written likewise; default: now
        #[arg(long, value_name = "TIME", requires = "last_seen")]
        missed: Option<String>,
        #[command(flatten)]
        to: To,
    },
    /// Report that somebody sees a casualty: sighted port bow 200
    Sighted {
        /// The side (ahead, port bow, port beam, port quarter, astern …), unless a bearing is given; then the metres
        #[arg(required = true, value_name = "SIDE METRES")]
        what: Vec<String>,
        /// The true bearing in place of a side, in degrees
        #[arg(long)]
        bearing: Option<f64>,
        /// Its number; required if there are several
        #[arg(long)]
        casualty: Option<u32>,
        #[command(flatten)]
        to: To,
    },
    /// Close the case of a casualty
    StandDown {
        /// Its number; required if there are several
        casualty: Option<u32>,
        /// recovered, false activation, test, or handed over
        #[arg(long)]
        reason: String,
        #[command(flatten)]
        to: To,
    },
    /// Show a casualty: its line, the sheet to read over the radio, a search pattern
    Casualty {
        /// Number of the casualty; required if there are several
        casualty: Option<u32>,
        /// The sheet for the coordinator
        #[arg(long)]
        brief: bool,
        /// A search pattern: square, sector or line
        #[arg(long, value_name = "PATTERN")]
        search: Option<String>,
        #[command(flatten)]
        laying: Laying,
        /// The pattern was searched in vain: count it
        #[arg(long)]
        searched: bool,
        /// Write the pattern as GPX 1.1
        #[arg(long, value_name = "FILE", requires = "search")]
        gpx: Option<PathBuf>,
        #[command(flatten)]
        to: To,
    },
    /// Declare what the vessel is doing (under sail, under power, hove to, at anchor, moored), the waters (ocean, coastal) or the visibility (good visibility, restricted visibility)
    Declare {
        /// In the words above
        #[arg(required = true)]
        what: Vec<String>,
        /// With at anchor: how far the anchor lies from the bow
        #[arg(long, value_name = "M")]
        metres: Option<f64>,
        /// Its true bearing from the bow; default: where it dropped, else ahead
        #[arg(long, value_name = "DEG", requires = "metres")]
        bearing: Option<f64>,
        #[command(flatten)]
        to: To,
    },
    /// Mark where the anchor drops: `anchor here`; then declare at anchor when she lies to it
    Anchor {
        /// It drops here
        what: AnchorWord,
        #[command(flatten)]
        to: To,
    },
    /// Sail a search pattern: each turn is announced, and own track counts as searched when it ends
    Search {
        /// Whether it begins or ends
        what: SearchWord,
        /// Number of the casualty; required if there are several
        casualty: Option<u32>,
        /// square, sector or line
        #[arg(long, required_if_eq("what", "begin"))]
        pattern: Option<String>,
        #[command(flatten)]
        laying: Laying,
        #[command(flatten)]
        to: To,
    },
    /// Show what the relief must know, or hand the watch over
    Handover {
        /// Who takes the watch; every sounder sounds, to prove that it works
        who: Option<String>,
        #[command(flatten)]
        to: To,
    },
    /// Set ship's time, by which roster, hours and orders go, at once
    ShipTime {
        /// Hours from UTC, e.g. +2 or -3:30, or zone: that of the longitude
        #[arg(value_name = "HOURS", allow_hyphen_values = true)]
        ship_time: String,
        #[command(flatten)]
        to: To,
    },
    /// Reset the watch alarm, or switch it on, off or to automatic
    WatchAlarm {
        /// What to do to it
        what: AlarmWord,
        /// With reset: the lookout position it is reset from, by its name in boat.toml; here by default
        from: Option<String>,
        #[command(flatten)]
        to: To,
    },
    /// Hold the departure check: the program judges what it can, and asks you the rest
    Departure(super::departure::Departure),
    /// Begin a passage here, or end it, whatever was declared
    Passage {
        /// Its name
        name: Vec<String>,
        /// End it
        #[arg(long, conflicts_with = "name")]
        end: bool,
        #[command(flatten)]
        to: To,
    },
    /// Practise: overboard, fender, feed, fix, ship or watch-alarm begins an exercise; spotter and alongside mark; end ends it; without a word, show its state
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
        /// A new name, or that of an earlier copy of this logbook, which is replaced
        file: PathBuf,
        #[command(flatten)]
        to: To,
    },
    /// Reread the orders file
    Reload {
        #[command(flatten)]
        to: To,
    },
}

/// How a search pattern is laid.
#[derive(Debug, clap::Args)]
pub(super) struct Laying {
    /// Track spacing in nautical miles
    #[arg(long, value_name = "NM")]
    spacing: Option<f64>,
    /// Width in which a head in the water is surely seen, in nautical miles
    #[arg(long, value_name = "NM")]
    sweep_width: Option<f64>,
    /// Radius in nautical miles; default: from the datum
    #[arg(long, value_name = "NM")]
    radius: Option<f64>,
    /// Speed through the water in knots; default: the present speed
    #[arg(long, value_name = "KN")]
    speed: Option<f64>,
    /// Course of the first leg, true; default: down-drift
    #[arg(long, value_name = "DEG")]
    first_course: Option<f64>,
    /// The second pass of the pattern
    #[arg(long)]
    second_pass: bool,
}

impl Laying {
    fn question(self, casualty: Option<u32>, pattern: Option<String>) -> CasualtyQuestion {
        CasualtyQuestion {
            casualty: casualty.map(CasualtyId),
            pattern,
            spacing_nm: self.spacing,
            sweep_width_nm: self.sweep_width,
            radius_nm: self.radius,
            speed_kn: self.speed,
            first_course_deg: self.first_course,
            second_pass: self.second_pass,
            ..CasualtyQuestion::default()
        }
    }
}

/// What is done with a search.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum SearchWord {
    /// It begins.
    Begin,
    /// It ends.
    End,
}

/// What to do with the watch alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum AlarmWord {
    /// Somebody is awake.
    Reset,
    /// By hand, whatever is declared.
    On,
    /// By hand, whatever is declared.
    Off,
    /// By the declared state and the hours.
    Automatic,
}

/// What the anchor does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum AnchorWord {
    /// It drops now, at the bow.
    Here,
}

impl Verb {
    pub(super) fn ask(self) -> Outcome {
        let (to, act) = match self {
            Self::Status { follow: true, to } => return follow(&to),
            Self::Status { follow: false, to } => {
                return exchange(&to, &places::STATUS, &Nothing {}, |status| {
                    screen(status, Window::of_output())
                });
            }
            Self::Departure(departure) => return departure.hold(),
            Self::Reload { to } => return exchange(&to, &places::RELOAD, &Nothing {}, done),
            Self::Handover { who: None, to } => {
                return exchange(&to, &places::HANDOVER, &Nothing {}, handover);
            }
            Self::Handover { who: Some(who), to } => {
                return exchange(&to, &places::TAKE_WATCH, &Act::Handover { who }, handover);
            }
            Self::Backup { file, to } => {
                // The daemon has its own working directory.
                let copy = Backup { to: std::path::absolute(&file).unwrap_or(file) };
                return exchange(&to, &places::BACKUP, &copy, done);
            }
            Self::ShipTime { ship_time, to } => match (ship_time.as_str(), ShipTime::parse(&ship_time)) {
                ("zone", _) => (to, Act::ShipTime { ship_time_h: None }),
                (_, Some(ship)) => (to, Act::ShipTime { ship_time_h: Some(ship.hours()) }),
                (_, None) => {
                    eprintln!("middlewatch: write ship's time as +2 or -3:30, or zone");
                    return Outcome::Usage;
                }
            },
            Self::WatchAlarm { what, from, to } => match (what, from) {
                (AlarmWord::Reset, from) => (to, Act::ResetWatchAlarm { from }),
                (AlarmWord::On, None) => (to, Act::WatchAlarm { switch: Switch::On }),
                (AlarmWord::Off, None) => (to, Act::WatchAlarm { switch: Switch::Off }),
                (AlarmWord::Automatic, None) => (to, Act::WatchAlarm { switch: Switch::Automatic }),
                _ => {
                    complain(
                        "middlewatch: only a reset takes a lookout position (watch-alarm reset POSITION)",
                    );
                    return Outcome::Usage;
                }
            },
            Self::Casualty { casualty, brief, search, laying, searched, gpx, to } => {
                let question = CasualtyQuestion { brief, searched, ..laying.question(casualty, search) };
                return match ask(&to, &places::CASUALTY, &question) {
                    Ok(answer) => {
                        let written = gpx.map_or(Outcome::Done, |file| write_pattern(&file, &answer));
                        let shown = show(&to, &answer, of_casualty);
                        if matches!(written, Outcome::Done) { shown } else { written }
                    }
                    Err(outcome) => outcome,
                };
            }
            Self::Drill { what: None, to } => return exchange(&to, &places::STATUS, &Nothing {}, exercise),
            Self::Drill { what: Some(what), to } => (to, Act::Drill { what }),
            Self::Acknowledge { alert, to } => {
                (to, Act::Acknowledge { alert: alert.map(AlertId), order: None })
            }
            Self::Silence { alert, to } => (to, Act::Silence { alert: alert.map(AlertId), order: None }),
            Self::Overboard { who, last_seen: Some(last_seen), missed, to, .. } => {
                (to, Act::Missing { who: words(&who), last_seen, missed })
            }
            Self::Overboard { who, late, to, .. } => (to, Act::Overboard { late_s: late, who: words(&who) }),
            Self::Sighted { mut what, bearing, casualty, to } => {
                let Some(metres) = what.pop().and_then(|m| m.trim_end_matches('m').trim().parse().ok())
                else {
                    complain("middlewatch: the distance in metres comes last, such as: sighted port bow 200");
                    return Outcome::Usage;
                };
                let (side, casualty) = (words(&what), casualty.map(CasualtyId));
                (to, Act::Sighted { side, bearing_deg: bearing, metres, casualty })
            }
            Self::StandDown { casualty, reason, to } => {
                (to, Act::StandDown { casualty: casualty.map(CasualtyId), reason })
            }
            Self::Declare { what, metres, bearing, to } => {
                (to, Act::Declare { what: what.join(" "), metres, bearing_deg: bearing })
            }
            Self::Search { what: SearchWord::Begin, casualty, pattern, laying, to } => {
                (to, Act::SearchBegin { plan: laying.question(casualty, pattern) })
            }
            Self::Search { what: SearchWord::End, laying, to, .. } => {
                (to, Act::SearchEnd { sweep_width_nm: laying.sweep_width })
            }
            Self::Anchor { what: AnchorWord::Here, to } => (to, Act::AnchorHere {}),
            Self::Passage { name, end, to } => (to, Act::Passage { name: words(&name), ends: end }),
            Self::Note { text, to } => (to, Act::Note { text: text.join(" ") }),
        };
        exchange(&to, &places::ACT, &act, done)
    }
}

/// Joins words into one text; `None` if there are none.
fn words(all: &[String]) -> Option<String> {
    (!all.is_empty()).then(|| all.join(" "))
}

/// What is known of a casualty.
fn of_casualty(answer: &CasualtyAnswer) -> String {
    let parts = [Some(&answer.words), answer.brief.as_ref(), answer.plan.as_ref()];
    parts.into_iter().flatten().map(|part| format!("{}\n", part.trim_end())).collect()
}

/// Writes the answer's search pattern to a file.
fn write_pattern(file: &Path, answer: &CasualtyAnswer) -> Outcome {
    let xml = answer.gpx.as_ref().ok_or_else(|| "there is no pattern to write".to_owned());
    let written = xml.and_then(|xml| std::fs::write(file, xml).map_err(|e| e.to_string()));
    written.map_or_else(
        |why| {
            complain(&format!("middlewatch: {}: {why}", file.display()));
            Outcome::Failed
        },
        |()| Outcome::Done,
    )
}

/// The handover, line by line.
fn handover(answer: &Handover) -> String {
    let window = if std::io::stdout().is_terminal() { Window::of_output() } else { Window::page() };
    let mut text: String =
        answer.lines.iter().flat_map(|line| window.wrap(0, line)).map(|line| line + "\n").collect();
    if let Some(done) = &answer.done {
        text += &format!(
            "{done}\nEvery sounder says now that it is tested: hear it before the other one sleeps.\n"
        );
    }
    text
}

/// The running exercise.
fn exercise(status: &Status) -> String {
    let Some(e) = &status.exercise else { return "No exercise is on.\n".to_owned() };
    let began = Duration::try_from_secs_f64(e.began_s).unwrap_or_default();
    let words = e.words.as_ref().map_or(String::new(), |w| format!("{w}\n"));
    format!("EXERCISE, on for {}: {}\n{words}{}\n", span(began), e.title, e.measured)
}

/// What the daemon reports it has done.
fn done(answer: &Done) -> String {
    format!("{}\n", answer.done)
}

/// Shows the picture each second. If the daemon does not answer, it shows that instead and keeps trying.
fn follow(to: &To) -> Outcome {
    let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
        Ok(r) => r,
        Err(e) => {
            complain(&format!("middlewatch: {e}"));
            return Outcome::Failed;
        }
    };
    // On a terminal each picture replaces the one before (ECMA-48: cursor home, erase below).
    let (home, below) =
        if std::io::stdout().is_terminal() && !to.json { ("\x1b[H\x1b[2J", "") } else { ("", "\n") };
    let mut heard = Clock.now();
    loop {
        let answer = runtime.block_on(control::ask(&to.control, &places::STATUS, &Nothing {}));
        let text = match &answer {
            Ok(answer) if to.json => legible(json_line(answer)),
            Ok(answer) => format!("{home}{}{below}", legible(screen(answer, Window::of_output()))),
            Err(e) if to.json => json_line(&Refusal { error: e.to_string() }),
            Err(e) => {
                let (silent, e) = (span(Clock.now().since(heard)), legible(e.to_string()));
                format!(
                    "{home}*** NO ANSWER FROM THE DAEMON ***\nfor {silent}: nobody keeps the electronic\nlookout.\n{e}\n{below}"
                )
            }
        };
        if answer.is_ok() {
            heard = Clock.now();
        }
        if print_on(&text).is_err() {
            return Outcome::Done;
        }
        std::thread::sleep(EVERY);
    }
}

/// Sends a request to the daemon and prints the answer.
fn exchange<B: Serialize, A: Serialize + DeserializeOwned>(
    to: &To,
    place: &Place<B, A>,
    body: &B,
    print: impl Fn(&A) -> String,
) -> Outcome {
    match ask(to, place, body) {
        Ok(answer) => show(to, &answer, print),
        Err(outcome) => outcome,
    }
}

/// The daemon's answer; on failure the reason has already been printed.
fn ask<B: Serialize, A: DeserializeOwned>(to: &To, place: &Place<B, A>, body: &B) -> Result<A, Outcome> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let answer = runtime.map_err(|e| e.to_string()).and_then(|runtime| {
        runtime.block_on(control::ask(&to.control, place, body)).map_err(|e| e.to_string())
    });
    answer.map_err(|why| {
        complain(&format!("middlewatch: {why}"));
        Outcome::Failed
    })
}

fn show<A: Serialize>(to: &To, answer: &A, print: impl Fn(&A) -> String) -> Outcome {
    outcome::print(&if to.json { json_line(answer) } else { print(answer) })
}

/// An answer as one line of JSON.
pub(super) fn json_line(answer: &impl Serialize) -> String {
    // A record holds only numbers and text, which always serialize to JSON.
    format!("{}\n", serde_json::to_string(answer).unwrap_or_default())
}
