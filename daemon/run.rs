//! `run`: stands the watch until it is told to stop.

use crate::check::read_file;
use crate::clock::{self, Clock};
use crate::control::{self, Ask, Reply};
use crate::departure;
use crate::diagnostics;
use crate::feeds::{self, FeedStatus, Line, Lines, Runner};
use crate::logbook::{Logbook, LogbookSettings, Pace, Recovered, SetAside};
use crate::outcome::Outcome;
use crate::recording::{Mark, Recorder};
use crate::service::Manager;
use crate::signals::{self, News, Signals};
use boat::places;
use boat::{self, Boat, Means};
use lookout::casualty::Gap;
use record::{Act, ActError, CheckItem, Done, Entry, FeedRow, Handover, LogbookNow, SignalNow, Stamp, Tried};
use rules::{AlertId, BuiltIn, Orders};
use std::future::pending;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;
use terms::{FeedId, Mmsi, Moment, Subject, Utc, UtcSource};
use tokio::runtime::{Builder, Handle, Runtime};
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc;
use watch::{FeedOutside, FeedSetting, Numbers, Output, Outside, Watch};

/// So long the watch rests after a pass, unless a beacon is heard or the crew act: to wake costs more than a line does,
/// so what comes meanwhile on several wires is taken together. Nobody on watch notices a tenth of a second.
const REST: Duration = Duration::from_millis(100);
/// News of signals that may wait for the watch.
const NEWS: usize = 64;
/// Lines handed to the watch before it looks at its other inputs again.
const AT_ONCE: usize = 256;
/// Everything that waits for the disk when the daemon is stopped has so long to get there.
const LAST_WRITE: Duration = Duration::from_millis(1600);
/// No sentence of a live feed is older: 2026-01-01T00:00:00Z, before this program was finished.
pub(crate) const NOT_BEFORE: Utc = Utc(1_767_225_600_000);
/// The watch is told so often how its feeds do.
const FEEDS_LOOKED_AT_EVERY: Duration = Duration::from_secs(10);
/// Plotters are told so often where the casualties are, by a new report or by the estimate.
const PLACES_EVERY: Duration = Duration::from_secs(10);
/// Keys of the logbook's saved states.
const LAST_GOOD_ORDERS: &str = "last good orders";
const ALERTS: &str = "alerts";
const CASUALTIES: &str = "casualties";
const COPIED: &str = "copied";
const RATES: &str = "usual rates";
const HEARING: &str = "hearing";
/// A trial of a webhook may take so long: the answer must come before whoever asked has given up.
const TRIAL: Duration = Duration::from_secs(8);
/// The usual rates of the feeds, and what was heard of others, are kept so often.
const RATES_KEPT_EVERY: Duration = Duration::from_secs(600);

/// Stands the watch of the boat in a configuration file until SIGTERM or SIGINT.
pub fn run(config: &Path) -> Outcome {
    let _diagnostics = diagnostics::start();
    let boat = match read_file(config, boat::read) {
        Ok(b) => b,
        Err(why) => {
            diagnostics::complain(&why);
            return Outcome::BadFile;
        }
    };
    // Each has threads of its own, so that none holds up another: the watch this one, the feeds one, in which nothing is
    // called that blocks, and signals and control two, of which one may be held up by a device and the other sounds on.
    let outcome = threads().map_err(|e| e.to_string()).and_then(|(watch, wires, outward)| {
        let outcome = watch.block_on(stand(boat, &wires, outward.handle()));
        // A device that never answers must not keep the daemon from stopping.
        outward.shutdown_timeout(Duration::from_millis(100));
        outcome
    });
    match outcome {
        Ok(()) => Outcome::Done,
        Err(why) => {
            diagnostics::complain(&format!("middlewatch: {why}"));
            Outcome::Failed
        }
    }
}

/// The watch's own runtime; that of the feeds, which runs until the process ends; that of signals and control.
fn threads() -> io::Result<(Runtime, Handle, Runtime)> {
    let own = || Builder::new_current_thread().enable_all().build();
    let (watch, feeds) = (own()?, own()?);
    let outward = Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
    let wires = feeds.handle().clone();
    std::thread::Builder::new().name("feeds".to_owned()).spawn(move || feeds.block_on(pending::<()>()))?;
    Ok((watch, wires, outward))
}

/// The standing orders as they are to be had: the file, else the last good copy, else the built-in ones.
struct Found {
    orders: Orders,
    from: String,
    /// What is wrong with the file.
    trouble: Option<String>,
    /// Their text; `None` for the built-in ones.
    text: Option<String>,
}

/// A file's orders and their text.
fn read_orders(path: &Path) -> Result<(Orders, String), String> {
    read_file(path, |name, text| Orders::read(name, text).map(|o| (o, text.to_owned())))
}

fn find_orders(path: &Path, last_good: Option<&str>) -> Found {
    let name = path.display().to_string();
    let why = match read_orders(path) {
        Ok((orders, text)) => return Found { orders, from: name, trouble: None, text: Some(text) },
        Err(why) => why,
    };
    let copy = last_good.and_then(|text| Some((Orders::read("the last good copy", text).ok()?, text)));
    let (orders, from, text) = match copy {
        Some((orders, text)) => (orders, "the last good copy".to_owned(), Some(text.to_owned())),
        None => (crate::check::built_in_orders(), crate::check::BUILT_IN.to_owned(), None),
    };
    let trouble = Some(format!("The watch stands by other orders ({from}). {why}"));
    Found { orders, from, trouble, text }
}

/// Stands the watch, with the feeds and what goes outward on threads of their own.
async fn stand(boat: Boat, wires: &Handle, outward: &Handle) -> Result<(), String> {
    let clock = Clock;
    let mut manager = Manager::of_environment();
    let began = clock.now();
    let socket = boat.control.clone().unwrap_or_else(|| PathBuf::from(places::CONTROL));
    let bound = outward.spawn(async move { control::Server::bind(&socket).await });
    let server = bound.await.map_err(|e| e.to_string())?.map_err(|e| e.to_string())?;

    let path = boat.logbook.clone().unwrap_or_else(|| PathBuf::from(places::LOGBOOK));
    let settings = LogbookSettings {
        boot: clock::boot_id(),
        opened: Stamp { steady: began, utc: Some((clock.utc(), UtcSource::System)), feed: None },
        pace: Pace::Live,
        limit_bytes: None,
    };
    if let Some(folder) = path.parent() {
        // Where that fails, opening the logbook says why.
        let _ = std::fs::create_dir_all(folder);
    }
    let (logbook, recovered, _) = Logbook::open_or_wait(&path, settings);

    let orders_path = boat.orders.clone().unwrap_or_else(|| PathBuf::from(places::ORDERS));
    let found = find_orders(&orders_path, recovered.states.get(LAST_GOOD_ORDERS).map(String::as_str));

    let (news, mut signal_news) = mpsc::channel(NEWS);
    let (questions, mut asked) = control::questions();
    let (ways_back, outgoing): (Vec<_>, Vec<_>) = boat.feeds.iter().map(|_| feeds::way_back()).unzip();
    let signals = {
        let _there = outward.enter();
        control::buttons(&boat, &questions, &news);
        let by_name = boat.feeds.iter().map(|f| f.name.clone()).zip(ways_back).collect();
        Signals::start(&boat, &by_name, &logbook, clock, &news)
    };
    outward.spawn(server.run(questions, boat.listen.clone()));

    let mut lines = Lines::default();
    let crew: Vec<Mmsi> = boat.crew.iter().filter_map(|c| c.beacon).collect();
    let mut feeds = Vec::new();
    for ((feed, outgoing), n) in boat.feeds.iter().zip(outgoing).zip(0..) {
        let (runner, status) = Runner::new(FeedId(n), feed.clone(), crew.clone(), &lines, clock);
        feeds.push((Arc::from(feed.name.as_str()), status));
        logbook.name_feed(FeedId(n), &feed.name);
        wires.spawn(runner.run(outgoing));
    }

    let mut daemon =
        Daemon::new(boat, clock, logbook, signals, feeds, [orders_path, path.clone()], &recovered);
    daemon.begin(began, &recovered, found);

    let mut terminate = signal(SignalKind::terminate()).map_err(|e| e.to_string())?;
    let mut interrupt = signal(SignalKind::interrupt()).map_err(|e| e.to_string())?;
    let mut hang_up = signal(SignalKind::hangup()).map_err(|e| e.to_string())?;
    let mut health = daemon.logbook.health();
    tracing::info!(orders = %daemon.watch.orders_from(), logbook = %path.display(), "the watch stands");
    if daemon.boat.feeds.is_empty() {
        tracing::warn!(
            "no feed stands in boat.toml, so nothing is heard; `middlewatch check --live` looks for feeds"
        );
    }
    manager.ready();
    let mut rested = clock.now();
    loop {
        let now = clock.now();
        let due = manager.wake(now, daemon.next_wake()).map(|due| due.max(rested));
        let mut question = None;
        tokio::select! {
            biased;
            _ = terminate.recv() => break,
            _ = interrupt.recv() => break,
            _ = hang_up.recv() => {
                manager.reloading(clock);
                drop(daemon.reload());
                manager.ready();
            }
            Some(asked) = asked.recv() => question = Some(asked),
            Some(news) = signal_news.recv() => daemon.signal_news(news),
            Ok(()) = health.changed() => daemon.logbook_health(),
            () = lines.come(rested.since(now)) => {}
            () = clock.until(due) => {}
        }
        // What was read before goes before.
        let all = daemon.hear(&mut lines);
        if let Some(question) = question {
            daemon.answer(question);
        }
        daemon.pass();
        let now = clock.now();
        manager.passed(now);
        rested = if all { now + REST } else { now };
    }
    manager.stopping();
    // What was read before the end was heard.
    daemon.hear(&mut lines);
    daemon.stop().await;
    Ok(())
}

/// The watch and what it speaks through.
struct Daemon {
    boat: Boat,
    clock: Clock,
    watch: Watch,
    logbook: Logbook,
    signals: Signals,
    feeds: Vec<(Arc<str>, Arc<FeedStatus>)>,
    orders_path: PathBuf,
    /// Signals, buttons and the heartbeat by name, and whether they fail.
    failing_signals: Vec<(String, bool)>,
    logbook_failing: bool,
    /// The file that was set aside last, once that has been reported.
    set_aside: Option<SetAside>,
    logbook_path: PathBuf,
    /// When the logbook was copied last, in milliseconds of UTC; the least number for never.
    copied: Arc<AtomicI64>,
    feeds_told: Moment,
    feeds_looked_at: Moment,
    recorder: Recorder,
    /// When plotters were told last where the casualties are.
    places_told: Moment,
    rates_kept: Moment,
}

impl Daemon {
    fn new(
        boat: Boat,
        clock: Clock,
        logbook: Logbook,
        signals: Signals,
        feeds: Vec<(Arc<str>, Arc<FeedStatus>)>,
        [orders_path, logbook_path]: [PathBuf; 2],
        recovered: &Recovered,
    ) -> Self {
        let settings: Vec<FeedSetting> = boat.feeds.iter().map(FeedSetting::of).collect();
        let now = clock.now();
        let last = Numbers {
            alert: recovered.next_alert.saturating_sub(1),
            casualty: recovered.next_casualty.saturating_sub(1),
        };
        let watch = Watch::new(now, &boat, &settings, last, Some(NOT_BEFORE));
        let recorder = Recorder::start(&boat, last);
        let failing_signals: Vec<(String, bool)> =
            signals::names(&boat).into_iter().map(|n| (n, false)).collect();
        Self {
            boat,
            clock,
            watch,
            logbook,
            signals,
            feeds,
            orders_path,
            failing_signals,
            logbook_failing: false,
            set_aside: None,
            logbook_path,
            copied: Arc::new(AtomicI64::new(i64::MIN)),
            feeds_told: now,
            feeds_looked_at: now,
            recorder,
            places_told: now,
            rates_kept: now,
        }
    }

    /// Takes up what an earlier run left, then stands by the orders.
    fn begin(&mut self, at: Moment, recovered: &Recovered, found: Found) {
        self.watch.system_utc(at, self.clock.utc());
        let gap = if recovered.last_sign_same_boot { Gap::SameClock } else { Gap::Unknown };
        let state = |key: &str| recovered.states.get(key).map(String::as_str);
        if let Err(why) = self.watch.restore(at, state(ALERTS), state(CASUALTIES), gap) {
            tracing::warn!(%why, "what the run before left unfinished could not all be read");
        }
        if let Some(ms) = state(COPIED).and_then(|ms| ms.parse().ok()) {
            self.copied.store(ms, Ordering::Relaxed);
        }
        if let Some(rates) = state(RATES) {
            self.watch.restore_rates(rates);
        }
        if let Some(kept) = state(HEARING) {
            self.watch.restore_hearing(at, kept);
        }
        self.watch.enter(at, Entry::Began { cut_off: !recovered.stopped_in_order });
        self.put_in_force(at, found);
        self.logbook_health();
        self.pass();
    }

    fn put_in_force(&mut self, at: Moment, found: Found) {
        self.watch.set_orders(at, found.orders, &found.from);
        if let (Some(text), None) = (&found.text, &found.trouble) {
            self.logbook.save_state(self.watch.stamp(at), LAST_GOOD_ORDERS, text);
            self.watch.enter(at, Entry::OrdersRead { from: found.from.clone() });
        }
        self.recorder.orders(at, &found.from, found.text);
        self.trouble(at, BuiltIn::OrdersNotLoaded, Subject::Lookout, found.trouble);
    }

    /// Reads the orders anew: all or nothing. Those in force stay where the file is bad.
    fn reload(&mut self) -> Result<Done, ActError> {
        let at = self.clock.now();
        match read_orders(&self.orders_path) {
            Ok((orders, text)) => {
                let (count, from) = (orders.len(), self.orders_path.display().to_string());
                self.put_in_force(at, Found { orders, from: from.clone(), trouble: None, text: Some(text) });
                Ok(Done { done: format!("{count} orders in force, from {from}") })
            }
            Err(why) => {
                let told = format!("The orders in force stay. {why}");
                self.trouble(at, BuiltIn::OrdersNotLoaded, Subject::Lookout, Some(told.clone()));
                Err(ActError::Wrong(told))
            }
        }
    }

    fn answer(&mut self, ask: Ask) {
        let at = self.clock.now();
        self.watch.advance(at);
        // Whoever asked may have gone; what was done stays done.
        match ask {
            Ask::Status(reply) => drop(reply.send(Ok(self.watch.status(at, &self.outside())))),
            Ask::Handover(who, reply) => drop(reply.send(self.handover(at, who))),
            Ask::Act(act, reply) => drop(reply.send(self.act(at, act).map(|done| Done { done }))),
            Ask::Casualty(question, reply) => {
                let answer = if question.searched {
                    self.recorder.mark(at, || Mark::Casualty(question.clone()));
                    self.watch.casualty_told(at, &question)
                } else {
                    self.watch.casualty_look(at, &question)
                };
                drop(reply.send(answer));
            }
            Ask::Backup(to, reply) => self.back_up(at, to, reply),
            Ask::Reload(reply) => drop(reply.send(self.reload())),
            Ask::Test(None, reply) => {
                let signals = self.signals.test(None).into_iter().map(str::to_owned).collect();
                drop(reply.send(Ok(Tried { done: "told to sound".to_owned(), signals: Some(signals) })));
            }
            Ask::Test(Some(name), reply) => self.try_signal(&name, reply),
            Ask::Departure(reply) => {
                drop(reply.send(Ok(self.watch.departure_look(at, self.outside_items()))));
            }
            Ask::DepartureAct(act, reply) => {
                let outside = self.outside_items();
                self.recorder.mark(at, || Mark::Departure { ask: act.clone(), outside: outside.clone() });
                drop(reply.send(self.watch.departure(at, act, outside)));
            }
            Ask::Button(button, _, reply) if self.watch.is_tried(at, &button) => {
                self.recorder.mark(at, || Mark::Tried { button });
                drop(reply.send(Ok(Done { done: "tried".to_owned() })));
            }
            Ask::Button(_, act, reply) => {
                drop(reply.send(self.act(at, act).map(|done| Done { done })));
            }
        }
    }

    /// Copies the logbook. The watch does not wait for a slow stick.
    fn back_up(&self, at: Moment, to: PathBuf, reply: Reply<Done>) {
        let copied = self.logbook.backup(&to);
        let (when, last, logbook) = (self.watch.stamp(at), self.copied.clone(), self.logbook.clone());
        tokio::spawn(async move {
            let answer = match copied.await {
                Ok(Ok(bytes)) => {
                    if let Some((Utc(ms), _)) = when.utc {
                        last.store(ms, Ordering::Relaxed);
                        logbook.save_state(when, COPIED, &ms.to_string());
                    }
                    Ok(Done { done: format!("{bytes} bytes copied to {}", to.display()) })
                }
                Ok(Err(e)) => Err(ActError::Nothing(e.to_string())),
                Err(_) => Err(ActError::Nothing("the logbook is closed".to_owned())),
            };
            let _ = reply.send(answer);
        });
    }

    /// What a relief must know; where one is named, that one has the watch, and every sounder speaks so that somebody
    /// hears that it works.
    fn handover(&mut self, at: Moment, who: Option<String>) -> Result<Handover, ActError> {
        let mut told = self.watch.handover(at);
        if let Some(who) = who {
            told.done = Some(self.act(at, Act::Handover { who })?);
            told.sounding = Some(self.signals.test(None).into_iter().map(str::to_owned).collect());
        }
        Ok(told)
    }

    /// Tries one signal: a sounder sounds, of a webhook the answer comes when it was received, or not.
    fn try_signal(&self, name: &str, reply: Reply<Tried>) {
        let Some(signal) = self.boat.signals.iter().find(|s| s.name == name) else {
            drop(reply.send(Err(ActError::Wrong(format!("there is no signal `{name}`")))));
            return;
        };
        if !matches!(signal.means, Means::Webhook(_)) {
            let told: Vec<String> = self.signals.test(Some(name)).into_iter().map(str::to_owned).collect();
            let busy = || ActError::Nothing("too much waits for this signal".to_owned());
            let tried = Tried { done: "told to sound".to_owned(), signals: Some(told.clone()) };
            drop(reply.send(if told.is_empty() { Err(busy()) } else { Ok(tried) }));
            return;
        }
        let signal = signal.clone();
        self.signals.home().spawn(async move {
            let outcome = tokio::time::timeout(TRIAL, signals::trial(&signal, &[])).await;
            let answer = match outcome {
                Ok(Ok(())) => Ok(Tried { done: "received".to_owned(), signals: None }),
                Ok(Err(why)) => Err(ActError::Nothing(why)),
                Err(_) => Err(ActError::Nothing(format!("no answer within {} s", TRIAL.as_secs()))),
            };
            let _ = reply.send(answer);
        });
    }

    /// Items of the departure check about what the watch knows nothing of: the disk and the copy of the logbook.
    fn outside_items(&self) -> Vec<CheckItem> {
        let now = self.watch.stamp(self.clock.now()).utc.map(|(utc, _)| utc);
        let copied = self.copied.load(Ordering::Relaxed);
        let copied = (copied != i64::MIN).then_some(Utc(copied));
        vec![departure::disk(&self.logbook_path), departure::copy(copied, now)]
    }

    /// What a look at the picture shows and the watch cannot know.
    fn outside(&self) -> Outside {
        let feed = |(_, feed): &(Arc<str>, Arc<FeedStatus>)| FeedOutside {
            state: feed.state().to_owned(),
            counts: feed.counts(),
            dropped: feed.dropped(),
        };
        let health = self.logbook.health().borrow().clone();
        let signal = |(name, failing): &(String, bool)| SignalNow { name: name.clone(), failing: *failing };
        Outside {
            feeds: self.feeds.iter().map(feed).collect(),
            logbook: LogbookNow {
                failing: health.failing.map(|e| e.to_string()),
                waiting: health.waiting as u64,
                dropped: health.dropped,
                deliveries_waiting: self.logbook.deliveries_waiting() as u64,
            },
            signals: self.failing_signals.iter().map(signal).collect(),
        }
    }

    /// Hands the watch the lines that are ready, up to a bound; whether those were all.
    fn hear(&mut self, lines: &mut Lines) -> bool {
        for _ in 0..AT_ONCE {
            let Some(line) = lines.ready() else { return true };
            self.take(&line);
            // What it raised goes out before the next line is looked at.
            self.put_out();
        }
        false
    }

    fn take(&mut self, line: &Line) {
        if self.signals.said(&line.bytes) {
            return;
        }
        self.recorder.line(|| self.watch.stamp(line.at), line.feed, &line.bytes);
        self.watch.hear(line.at, line.feed, &line.bytes);
    }

    fn signal_news(&mut self, news: News) {
        let n = usize::from(news.signal.0);
        let Some((name, failing)) = self.failing_signals.get_mut(n) else { return };
        if *failing == news.outcome.is_err() {
            return;
        }
        *failing = news.outcome.is_err();
        let words = news.outcome.err().map(|why| format!("The {name} fails: {why}"));
        self.trouble(self.clock.now(), BuiltIn::SignalFailing, Subject::Signal(news.signal), words);
    }

    fn logbook_health(&mut self) {
        let health = self.logbook.health().borrow().clone();
        let at = self.clock.now();
        if self.logbook_failing == health.is_good() {
            self.logbook_failing = !health.is_good();
            let words = health
                .failing
                .as_ref()
                .map(|e| format!("The logbook cannot be written, the watch goes on: {e}"));
            self.trouble(at, BuiltIn::LogbookFailing, Subject::Logbook, words);
        }
        if let Some(aside) = health.set_aside.filter(|aside| self.set_aside.as_ref() != Some(aside)) {
            let entry = Entry::SetAside { to: aside.to.display().to_string(), why: aside.why.to_string() };
            tracing::warn!("{}", entry.text());
            self.watch.enter(at, entry);
            self.set_aside = Some(aside);
        }
    }

    fn act(&mut self, at: Moment, act: Act) -> Result<String, ActError> {
        self.recorder.mark(at, || Mark::Act(act.clone()));
        self.watch.act(at, act)
    }

    fn trouble(&mut self, at: Moment, what: BuiltIn, about: Subject, words: Option<String>) {
        self.recorder.mark(at, || Mark::Trouble { what, about, words: words.clone() });
        self.watch.trouble(at, what, about, words);
    }

    /// When the next pass falls due if nothing comes.
    fn next_wake(&self) -> Option<Moment> {
        let drifts = self.watch.has_casualties().then(|| self.places_told + PLACES_EVERY);
        self.watch.next_wake().into_iter().chain(drifts).min()
    }

    /// Ends a pass of the loop: timers that fell due, and everything that came out.
    fn pass(&mut self) {
        let at = self.clock.now();
        let utc = self.clock.utc();
        self.recorder.clock(at, utc);
        self.watch.system_utc(at, utc);
        if at.since(self.feeds_looked_at) >= FEEDS_LOOKED_AT_EVERY {
            self.feeds_looked_at = at;
            for ((_, feed), n) in self.feeds.iter().zip(0..) {
                let (feed, open, counts) = (FeedId(n), feed.state() == "up", feed.counts());
                self.watch.feed_state(at, feed, open, &counts);
                self.recorder.mark(at, || Mark::Feed { feed, open, counts });
            }
        }
        self.watch.advance(at);
        self.put_out();
        if let Some(failing) = self.recorder.pass(at, &self.watch, &self.boat.feeds) {
            let words = failing.map(|why| format!("Sentences are not kept, watch and logbook go on: {why}"));
            self.trouble(at, BuiltIn::LogbookFailing, Subject::Lookout, words);
            self.put_out();
        }
        if at.since(self.places_told) >= PLACES_EVERY {
            self.places_told = at;
            let places = self.watch.places(at);
            if !places.is_empty() {
                self.signals.places(self.watch.stamp(at), places);
            }
        }
        self.signals.beat(self.watch.calendar(at));
        if at.since(self.feeds_told) >= Duration::from_secs(60) {
            self.feeds_told = at;
            self.tell_feeds(at);
        }
        if at.since(self.rates_kept) >= RATES_KEPT_EVERY {
            self.rates_kept = at;
            self.logbook.save_state(self.watch.stamp(at), RATES, &self.watch.usual_rates());
            self.logbook.save_state(self.watch.stamp(at), HEARING, &self.watch.kept_hearing());
        }
    }

    fn tell_feeds(&self, at: Moment) {
        for (name, feed) in &self.feeds {
            let counts = feed.counts();
            let row = FeedRow {
                feed: name.clone(),
                bytes: counts.bytes,
                sentences: counts.sentences,
                refused: counts.all_refused(),
                dropped: feed.dropped(),
            };
            self.logbook.feed(self.watch.stamp(at), row);
        }
    }

    fn put_out(&mut self) {
        for output in self.watch.take_outputs() {
            match output {
                Output::Event { at, record, carry } => {
                    let (AlertId(alert), text) = (record.alert.id, &record.alert.text);
                    tracing::info!(event = ?record.event, priority = %record.alert.priority, alert, "{text}");
                    self.recorder.event(&record);
                    // Saved first, so that they reach the disk together with the event they belong to.
                    let [alerts, casualties] = self.watch.snapshot(at.steady);
                    self.logbook.save_state(at, ALERTS, &alerts);
                    self.logbook.save_state(at, CASUALTIES, &casualties);
                    self.signals.tell(at, *record, &carry);
                }
                other => self.logbook.take(other),
            }
        }
    }

    async fn stop(mut self) {
        let at = self.clock.now();
        self.recorder.stop();
        self.watch.enter(at, Entry::Stopped);
        self.tell_feeds(at);
        self.put_out();
        let stamp = self.watch.stamp(at);
        if tokio::time::timeout(LAST_WRITE, self.logbook.close(stamp)).await.is_err() {
            tracing::warn!("the logbook did not take everything in time");
        }
        tracing::info!("the watch ends");
    }
}
