//! `replay`: recorded sentences or a scenario through the watch, as fast as it goes.

mod effects;
mod repeat;
mod source;
mod timeline;

use crate::check::{BUILT_IN, built_in_orders, read_file};
use crate::logbook::{Logbook, LogbookError, LogbookSettings, Pace};
use crate::outcome::{Outcome, time};
use crate::recording::{Item, Mark};
use crate::review;
use boat::{self, Boat, SILENT_AFTER};
use clap::Args;
use record::Act;
use record::EventRecord;
use record::Stamp;
use record::words;
use rules::{EventKind, Orders, Priority};
use scenario::{Verb, What};
use source::{Next, Playing, Source};
use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;
use terms::{FeedId, Moment, Utc};
use timeline::Steady;
use watch::{FeedSetting, Numbers, Output, Watch};

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

/// Why a replay could not go on.
#[derive(Debug, thiserror::Error)]
enum ReplayError {
    /// A configuration, orders or scenario file is bad.
    #[error("{0}")]
    BadFile(String),
    /// An input cannot be read.
    #[error("{0}: {1}")]
    Input(String, io::Error),
    /// The logbook cannot be written.
    #[error("{0}")]
    Logbook(#[from] LogbookError),
    /// A logbook lies there that was not written by a replay.
    #[error("{0}: this logbook was kept at sea and is not replaced; name another file")]
    KeptAtSea(PathBuf),
    /// Something else.
    #[error("{0}")]
    Other(String),
    /// Nobody reads the output any more.
    #[error("standard output: {0}")]
    Output(io::Error),
}

/// Replays the inputs.
pub fn replay(args: &Replay) -> Outcome {
    match run(args) {
        Ok(()) => Outcome::Done,
        Err(ReplayError::Output(e)) if e.kind() == io::ErrorKind::BrokenPipe => Outcome::Done,
        Err(ReplayError::BadFile(why)) => {
            eprintln!("{why}");
            Outcome::BadFile
        }
        Err(e) => {
            eprintln!("middlewatch: {e}");
            Outcome::Failed
        }
    }
}

fn run(args: &Replay) -> Result<(), ReplayError> {
    let boat =
        args.config.as_deref().map(|p| read_file(p, boat::read)).transpose().map_err(ReplayError::BadFile)?;
    let boat = boat.unwrap_or_default();
    let path = args.orders.clone().or_else(|| boat.orders.clone());
    let orders =
        path.as_deref().map(|p| read_file(p, Orders::read)).transpose().map_err(ReplayError::BadFile)?;
    let from = path.as_ref().map_or_else(|| BUILT_IN.to_owned(), |p| p.display().to_string());
    let mut sources = Vec::new();
    for path in &args.inputs {
        sources.push(Source::open(path, args.start)?);
    }
    let mut play = Play::new(boat, orders.unwrap_or_else(built_in_orders), &from, args)?;
    // An input that breaks off is told after what came before it.
    let played = play.run(&mut sources);
    play.end(&sources)?;
    played
}

/// A replay under way.
struct Play {
    watch: Watch,
    logbook: Option<Logbook>,
    logbook_path: Option<PathBuf>,
    out: io::BufWriter<io::Stdout>,
    json: bool,
    /// Whether all that the watch gives out is printed, and not only events.
    effects: bool,
    lines: u64,
    now: Moment,
    told: BTreeMap<Priority, u64>,
    feeds: Configured,
    boat: Boat,
    /// The orders that the command line names, and their file.
    orders: Option<(Orders, String)>,
    /// Whether a recorded watch is being repeated.
    recorded: bool,
    /// Lines that watches before this one refused.
    refused: u64,
}

impl Play {
    fn new(boat: Boat, orders: Orders, from: &str, args: &Replay) -> Result<Self, ReplayError> {
        let logbook = args.logbook.as_deref().map(open_logbook).transpose()?;
        let mut watch = Watch::new(Moment::ZERO, &boat, &[], Numbers::default(), None);
        watch.set_orders(Moment::ZERO, orders.clone(), from);
        Ok(Self {
            watch,
            logbook,
            logbook_path: args.logbook.clone(),
            out: io::BufWriter::new(io::stdout()),
            json: args.json,
            effects: args.effects,
            lines: 0,
            now: Moment::ZERO,
            told: BTreeMap::new(),
            feeds: Configured(boat.feeds.iter().map(FeedSetting::of).collect()),
            orders: args.orders.is_some().then(|| (orders.clone(), from.to_owned())),
            boat,
            recorded: false,
            refused: 0,
        })
    }

    /// Plays all inputs, merged by time; the first in the list goes first where times are the same.
    fn run(&mut self, sources: &mut [Source]) -> Result<(), ReplayError> {
        let mut playing: Vec<Playing<'_>> = sources.iter_mut().map(Playing::new).collect();
        let mut steady = Steady::default();
        loop {
            // The earliest of all; undated inputs count from their own start, which is that of the replay.
            let mut first: Option<(i64, usize)> = None;
            for (n, source) in playing.iter_mut().enumerate() {
                if let Some(ms) = source.peek()?
                    && first.is_none_or(|f| ms < f.0)
                {
                    first = Some((ms, n));
                }
            }
            let Some((ms, n)) = first else { return Ok(()) };
            let (at, broken) = steady.at(ms);
            self.advance(at)?;
            let Some(next) = playing[n].next()? else { continue };
            if let Next::Recorded(Item::Mark(Mark::Head(head))) = next {
                if head.begins || !self.recorded {
                    self.begin_anew(at, &head)?;
                    playing.iter_mut().for_each(Playing::forget_feeds);
                }
            } else {
                self.take(at, broken, &mut playing[n], next);
            }
            self.put_out()?;
        }
    }

    fn take(&mut self, at: Moment, broken: bool, source: &mut Playing<'_>, next: Next<'_>) {
        match (next, source) {
            (Next::Heard(heard), Playing::Lines { name, input, feeds }) => {
                let id = *feeds.entry(heard.source).or_insert_with(|| {
                    let own = input.source_name(heard.source);
                    let setting = self.feeds.of(own.unwrap_or(name), None);
                    add_feed(&mut self.watch, self.logbook.as_ref(), at, setting)
                });
                if broken && heard.dated {
                    self.watch.system_utc(at, Utc(heard.ms));
                }
                self.lines += 1;
                match heard.report {
                    Ok(report) => self.watch.hear_report(at, id, heard.talker, &report),
                    Err(why) => self.watch.refused(id, why),
                }
            }
            (Next::Made(timed), Playing::Scenario { feeds, .. }) => {
                if broken {
                    self.watch.system_utc(at, timed.utc);
                }
                match timed.what {
                    What::Line { feed, line } => {
                        let id = *feeds.entry(feed.to_owned()).or_insert_with(|| {
                            let setting = self.feeds.of(feed, Some(SILENT_AFTER));
                            add_feed(&mut self.watch, self.logbook.as_ref(), at, setting)
                        });
                        self.lines += 1;
                        self.watch.hear(at, id, line.as_bytes());
                    }
                    What::Act(act) => self.act(at, act),
                }
            }
            (Next::Recorded(item), _) => self.repeat(at, item),
            // Each kind of source gives its own kind.
            (Next::Heard(_) | Next::Made(_), _) => {}
        }
    }

    /// Lets every timer fire that lies before a moment, each at its own time.
    fn advance(&mut self, at: Moment) -> Result<(), ReplayError> {
        if at > self.now {
            self.watch.advance(at);
            self.now = at;
            self.put_out()?;
        }
        Ok(())
    }

    fn act(&mut self, at: Moment, act: &scenario::Act) {
        let words = act.words.trim();
        let some = |w: &str| (!w.is_empty()).then(|| w.to_owned());
        let act = match act.verb {
            Verb::Acknowledge => Act::Acknowledge { alert: None, order: some(words) },
            Verb::Silence => Act::Silence { alert: None, order: some(words) },
            Verb::Overboard => Act::Overboard { late_s: 0.0, who: some(words) },
            Verb::StandDown => Act::StandDown { casualty: None, reason: words.to_owned() },
            Verb::Declare => Act::Declare { what: words.to_owned() },
            Verb::Handover => Act::Handover { who: words.to_owned() },
            Verb::Note => Act::Note { text: words.to_owned() },
        };
        if let Err(why) = self.watch.act(at, act) {
            eprintln!("an act at {} s: {why}", at.as_s());
        }
    }

    fn put_out(&mut self) -> Result<(), ReplayError> {
        for output in self.watch.take_outputs() {
            let Output::Event { at, mut record, carry } = output else {
                if self.effects {
                    effects::row(&mut self.out, &output).map_err(ReplayError::Output)?;
                }
                if let Some(logbook) = &self.logbook {
                    logbook.take(output);
                }
                continue;
            };
            if let Some(logbook) = &self.logbook {
                record.log_id = Some(
                    logbook
                        .event(at, &record, Vec::new())
                        .blocking_recv()
                        .unwrap_or(Err(LogbookError::Closed))?,
                );
            }
            if matches!(record.event, EventKind::Raised | EventKind::Noted) {
                *self.told.entry(record.alert.priority).or_default() += 1;
            }
            self.tell(&record).map_err(ReplayError::Output)?;
            if self.effects {
                effects::carry(&mut self.out, &at, &carry).map_err(ReplayError::Output)?;
            }
        }
        Ok(())
    }

    fn tell(&mut self, record: &EventRecord) -> io::Result<()> {
        if self.json {
            serde_json::to_writer(&mut self.out, record)?;
            return self.out.write_all(b"\n");
        }
        writeln!(self.out, "{}", words::event(record))
    }

    /// The summary, and the review where a logbook was written.
    fn end(&mut self, sources: &[Source]) -> Result<(), ReplayError> {
        let now = self.now;
        let casualties = self.watch.open_casualties(now).len();
        let refused =
            sources.iter().map(Source::refused).sum::<u64>() + self.refused + self.watch.all_refused();
        self.out.flush().map_err(ReplayError::Output)?;
        if let Some(logbook) = self.logbook.take() {
            let closed = logbook.close(self.watch.stamp(now));
            drop(logbook);
            closed.blocking_recv().map_err(|_| LogbookError::Closed)??;
        }
        let mut text = format!(
            "\n{} sentences in {} of steady time, {refused} refused.",
            self.lines,
            terms::span(now.since(Moment::ZERO))
        );
        for (priority, n) in self.told.iter().rev() {
            text += &format!(" {}: {n}.", words::capital(&priority.to_string()));
        }
        if casualties > 0 {
            text += &format!(" {} not stood down.", words::count(casualties, "casualty", "casualties"));
        }
        text += "\n";
        if self.json {
            // Standard output holds one record a line; the summary is for whoever watches.
            eprint!("{}", text.trim_start());
            return Ok(());
        }
        if let Some(path) = &self.logbook_path {
            match review::read(path, review::Span::default()) {
                Ok(night) => text += &format!("\n{}", night.print()),
                Err(e) => return Err(ReplayError::Other(e.to_string())),
            }
        } else {
            text += &format!("{}\n", review::CAUTION);
        }
        self.out.write_all(text.as_bytes()).and_then(|()| self.out.flush()).map_err(ReplayError::Output)
    }
}

/// Adds a feed that the watch and the logbook know by its name.
fn add_feed(watch: &mut Watch, logbook: Option<&Logbook>, at: Moment, setting: FeedSetting) -> FeedId {
    let name = setting.name.clone();
    let feed = watch.add_feed(at, setting);
    if let Some(logbook) = logbook {
        logbook.name_feed(feed, &name);
    }
    feed
}

/// How the boat's configuration has its feeds.
struct Configured(Vec<FeedSetting>);

impl Configured {
    /// A replayed feed: as the configuration has one of this name, else silent after so long, if ever: the end of a
    /// recording is no silence.
    fn of(&self, name: &str, silent_after: Option<Duration>) -> FeedSetting {
        let known = self.0.iter().find(|f| f.name == name).cloned();
        let unknown = FeedSetting {
            name: name.to_owned(),
            checksum_optional: false,
            simulator: true,
            trusted: false,
            silent_after,
        };
        FeedSetting { simulator: true, ..known.unwrap_or(unknown) }
    }
}

/// A new logbook for a replay. One that an earlier replay wrote is replaced.
fn open_logbook(path: &Path) -> Result<Logbook, ReplayError> {
    let Ok(there) = std::fs::metadata(path) else { return new_logbook(path) };
    if there.len() > 0 && !review::was_replayed(path).unwrap_or(false) {
        return Err(ReplayError::KeptAtSea(path.to_owned()));
    }
    for end in ["", "-wal", "-shm"] {
        let mut name = path.as_os_str().to_owned();
        name.push(end);
        match std::fs::remove_file(&name) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => {
                return Err(ReplayError::Input(path.display().to_string(), e));
            }
            _ => {}
        }
    }
    new_logbook(path)
}

fn new_logbook(path: &Path) -> Result<Logbook, ReplayError> {
    let settings = LogbookSettings {
        boot: None,
        opened: Stamp { steady: Moment::ZERO, utc: None, feed: None },
        pace: Pace::Replay,
        limit_bytes: None,
    };
    Ok(Logbook::open(path, settings)?.0)
}
