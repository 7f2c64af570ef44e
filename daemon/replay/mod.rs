//! `replay`: recorded sentences or a scenario through the watch, as fast as it goes.

mod effects;
mod source;
mod timeline;

use crate::check::{built_in_orders, read_file};
use crate::logbook::{Logbook, LogbookError, LogbookSettings, Pace};
use crate::outcome::{Outcome, complain, time};
use crate::recording::Boots;
use crate::review;
use boat::{self, Boat};
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
use std::sync::Arc;
use terms::{FeedId, Moment, Utc, one_line};
use timeline::Steady;
use watch::{Begin, Effect, FeedSetting, Input, Silence, Watch};

/// `replay`.
#[derive(Debug, Args)]
pub struct Replay {
    /// The boat; without it her own position comes from the sentences alone
    #[arg(long)]
    pub config: Option<PathBuf>,
    /// The standing orders; without it the built-in ones
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
            complain(&why);
            Outcome::BadFile
        }
        Err(e) => {
            complain(&format!("middlewatch: {e}"));
            Outcome::Failed
        }
    }
}

fn run(args: &Replay) -> Result<(), ReplayError> {
    let boat =
        args.config.as_deref().map(|p| read_file(p, boat::read)).transpose().map_err(ReplayError::BadFile)?;
    let boat = boat.map(|(boat, _)| boat).unwrap_or_default();
    let path = args.orders.clone().or_else(|| boat.orders.clone());
    let orders =
        path.as_deref().map(|p| read_file(p, Orders::read)).transpose().map_err(ReplayError::BadFile)?;
    let (mut sources, boots) = (Vec::new(), Boots::default());
    for path in &args.inputs {
        sources.push(Source::open(path, args.start, &boots)?);
    }
    let orders = Arc::new(orders.unwrap_or_else(built_in_orders));
    let mut play = Play::new(&boat, orders, args)?;
    // Report an input that breaks off after what came before it.
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
    effects: bool,
    lines: u64,
    now: Moment,
    told: BTreeMap<Priority, u64>,
    feeds: Configured,
    /// How many feeds this watch knows.
    known: u16,
    /// Orders from the command line override recorded ones.
    orders: Option<Arc<Orders>>,
    /// Whether this repeats a recorded watch.
    recorded: bool,
    /// Lines refused by earlier watches.
    refused: u64,
}

impl Play {
    fn new(boat: &Boat, orders: Arc<Orders>, args: &Replay) -> Result<Self, ReplayError> {
        let logbook = args.logbook.as_deref().map(open_logbook).transpose()?;
        let mut play = Self {
            watch: Watch::new(boat),
            logbook,
            logbook_path: args.logbook.clone(),
            out: io::BufWriter::new(io::stdout()),
            json: args.json,
            effects: args.effects,
            lines: 0,
            now: Moment::ZERO,
            told: BTreeMap::new(),
            feeds: Configured(boat.feeds.iter().map(FeedSetting::of).collect()),
            known: 0,
            orders: args.orders.is_some().then(|| Arc::clone(&orders)),
            recorded: false,
            refused: 0,
        };
        play.take(Moment::ZERO, Input::Begin(Box::new(Begin { orders, ..Begin::default() })));
        Ok(play)
    }

    /// Plays all inputs, merged by time; on equal times the first in the list goes first.
    fn run(&mut self, sources: &mut [Source]) -> Result<(), ReplayError> {
        let mut playing: Vec<Playing<'_>> = sources.iter_mut().map(Playing::new).collect();
        let mut steady = Steady::default();
        loop {
            // The earliest of all; undated inputs count from their own start, which is the replay's.
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
            if let Next::Recorded(Input::Begin(begin)) = next {
                if begin.begins || !self.recorded {
                    self.begin_again(at, begin);
                    playing.iter_mut().for_each(Playing::forget_feeds);
                }
            } else {
                self.play(at, broken, &mut playing[n], next);
            }
            self.put_out()?;
        }
    }

    /// Gives the watch the next item of a source.
    fn play(&mut self, at: Moment, broken: bool, source: &mut Playing<'_>, next: Next<'_>) {
        match (next, source) {
            (Next::Heard(heard), Playing::Lines { name, input, feeds }) => {
                let id = *feeds.entry(heard.source).or_insert_with(|| {
                    let own = input.source_name(heard.source);
                    self.add_feed(at, self.feeds.of(own.unwrap_or(name), Silence::Never))
                });
                if broken && heard.dated {
                    self.take(at, Input::Clock { utc: Utc(heard.ms) });
                }
                self.lines += 1;
                self.take(at, Input::Read(id, heard.talker, Box::new(heard.report)));
            }
            (Next::Made(timed), Playing::Scenario { feeds, .. }) => {
                if broken {
                    self.take(at, Input::Clock { utc: timed.utc });
                }
                match timed.what {
                    What::Line { feed, line } => {
                        let id = *feeds
                            .entry(feed.to_owned())
                            .or_insert_with(|| self.add_feed(at, self.feeds.of(feed, Silence::Unusual)));
                        self.lines += 1;
                        self.take(
                            at,
                            match line.parse() {
                                Ok(line) => Input::Line(id, line),
                                Err(why) => Input::Read(id, None, Box::new(Err(why))),
                            },
                        );
                    }
                    What::Act(act) => {
                        if let Err(why) = self.watch.take(at, Input::Act(act_of(act))) {
                            complain(&format!("an act at {} s: {why}", at.as_s()));
                        }
                    }
                }
            }
            (Next::Recorded(input), _) => {
                self.lines += u64::from(matches!(input, Input::Line(..)));
                let input = match (input, &self.orders) {
                    (Input::Orders(_), Some(named)) => Input::Orders(Arc::clone(named)),
                    (input, _) => input,
                };
                self.take(at, input);
            }
            // Each kind of source yields its own kind.
            (Next::Heard(_) | Next::Made(_), _) => {}
        }
    }

    /// Gives the watch an input. What was refused when recorded is refused again.
    fn take(&mut self, at: Moment, input: Input) {
        let _ = self.watch.take(at, input);
    }

    /// Begins a watch the way the recorded one began or continued.
    fn begin_again(&mut self, at: Moment, mut begin: Box<Begin>) {
        if !self.recorded && self.lines == 0 {
            // The watch that waited for the first input stood for nothing.
            drop(self.watch.effects());
        }
        self.recorded = true;
        self.refused += self.watch.all_refused();
        if let Some(logbook) = &self.logbook {
            begin.feeds.iter().zip(0..).for_each(|(f, n)| logbook.name_feed(FeedId(n), &f.name));
        }
        if let Some(named) = &self.orders {
            begin.orders = Arc::clone(named);
        }
        self.known = u16::try_from(begin.feeds.len()).unwrap_or(u16::MAX);
        self.take(at, Input::Begin(begin));
    }

    /// Names a feed to the watch and the logbook.
    fn add_feed(&mut self, at: Moment, setting: FeedSetting) -> FeedId {
        let feed = FeedId(self.known);
        self.known = self.known.saturating_add(1);
        if let Some(logbook) = &self.logbook {
            logbook.name_feed(feed, &setting.name);
        }
        self.take(at, Input::Named(setting));
        feed
    }

    /// Fires every timer due before a moment, each at its own time.
    fn advance(&mut self, at: Moment) -> Result<(), ReplayError> {
        if at > self.now {
            self.watch.advance(at);
            self.now = at;
            self.put_out()?;
        }
        Ok(())
    }

    fn put_out(&mut self) -> Result<(), ReplayError> {
        for effect in self.watch.effects() {
            let Effect::Event(at, mut record, carry) = effect else {
                if self.effects {
                    effects::row(&mut self.out, &effect).map_err(ReplayError::Output)?;
                }
                if let Some(logbook) = &self.logbook
                    && !matches!(effect, Effect::Keep(..))
                {
                    logbook.take(effect);
                }
                continue;
            };
            if let Some(logbook) = self.logbook.as_ref().filter(|_| !carry.passing) {
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
            // People read what the logbook keeps.
            if self.json || !carry.passing {
                print(&mut self.out, self.json, &record).map_err(ReplayError::Output)?;
            }
            if self.effects {
                effects::carry(&mut self.out, &at, &carry).map_err(ReplayError::Output)?;
            }
        }
        Ok(())
    }

    /// Prints the summary, and the review if a logbook was written.
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
            // Standard output holds one record a line; the summary is for whoever is watching.
            complain(text.trim());
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

/// Prints an event as a line.
fn print(out: &mut impl Write, json: bool, record: &EventRecord) -> io::Result<()> {
    if json {
        serde_json::to_writer(&mut *out, record)?;
        return out.write_all(b"\n");
    }
    writeln!(out, "{}", words::event(record))
}

/// An act of a scenario.
pub fn act_of(act: &scenario::Act) -> Act {
    let words = act.words.trim();
    let some = |w: &str| (!w.is_empty()).then(|| w.to_owned());
    match act.verb {
        Verb::Acknowledge => Act::Acknowledge { alert: None, order: some(words) },
        Verb::Silence => Act::Silence { alert: None, order: some(words) },
        Verb::Overboard => Act::Overboard { late_s: 0.0, who: some(words) },
        Verb::StandDown => Act::StandDown { casualty: None, reason: words.to_owned() },
        Verb::Declare => Act::Declare { what: words.to_owned(), metres: None, bearing_deg: None },
        Verb::Handover => Act::Handover { who: words.to_owned() },
        Verb::Note => Act::Note { text: words.to_owned() },
    }
}

/// The feeds as the boat's file configures them.
struct Configured(Vec<FeedSetting>);

impl Configured {
    /// A replayed feed. Takes the settings of the configured feed of this name; otherwise `silent_after`, since the end of a
    /// recording is no silence.
    fn of(&self, name: &str, silent_after: Silence) -> FeedSetting {
        let known = self.0.iter().find(|f| f.name == name).cloned();
        let unknown = FeedSetting {
            name: one_line(name),
            checksum_optional: false,
            simulator: true,
            trusted: false,
            silent_after,
        };
        FeedSetting { simulator: true, ..known.unwrap_or(unknown) }
    }
}

/// Makes a new logbook for a replay, replacing one that an earlier replay wrote.
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
