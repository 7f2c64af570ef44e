//! Signals: the means of calling people. Each runs in a task of its own behind a bounded queue, so that a slow or dead
//! one never delays another, nor the watch.

mod buzzer;
mod command;
mod ear;
mod heartbeat;
mod http;
mod nmea;
mod signature;
mod standing;
#[cfg(test)]
mod tests;
#[cfg(feature = "https")]
mod tls;
mod turn;
mod webhook;

pub use nmea::WaysBack;

use crate::clock::Clock;
use crate::logbook::{Logbook, is_urgent};
use boat::{Audience, Boat, Feed, Hears, Means, Signal};
use command::Program;
use ear::{Acquaintance, Ear, Heard, Resting, Time};
use http::Trouble;
use nmea::Said;
use record::{CasualtyPart, EventRecord, Stamp, example};
use rules::{Carry, EventKind};
use std::sync::Arc;
use std::time::Duration;
use terms::{ShipTime, SignalId, Utc};
use tokio::runtime::Handle;
use tokio::sync::{Notify, mpsc, watch};
use webhook::Sender;

/// Events that may queue for a signal's task.
const WAITING: usize = 1024;
/// Wait before retrying a line or wire that cannot be opened.
const TRY_AGAIN: Duration = Duration::from_secs(5);

/// The health of a signal, button or the heartbeat; the last two are numbered after the signals.
#[derive(Debug)]
pub struct News {
    /// Which.
    pub signal: SignalId,
    /// Success, or why it failed.
    pub outcome: Result<(), String>,
}

/// Reports the health of one signal when it changes.
struct Reporter {
    signal: SignalId,
    news: mpsc::Sender<News>,
    /// `None` before the first outcome: an alert from before a restart may wait for it.
    good: Option<bool>,
}

impl Reporter {
    fn new(signal: SignalId, news: mpsc::Sender<News>) -> Self {
        Self { signal, news, good: None }
    }

    /// Reports the first outcome, then each that differs from the one before. If the queue to the watch is full, it reports the next one.
    fn report(&mut self, outcome: Result<(), String>) {
        let good = Some(outcome.is_ok());
        if good != self.good && self.news.try_send(News { signal: self.signal, outcome }).is_ok() {
            self.good = good;
        }
    }
}

/// The report name of each number in [`News`].
pub fn names(boat: &Boat) -> Vec<String> {
    ::watch::outlets(boat).map(|item| item.to_string()).collect()
}

/// Where the open casualties are, and at what time.
type Places = (Option<Utc>, Vec<CasualtyPart>);

/// All signals of the boat.
pub struct Signals {
    logbook: Logbook,
    ends: Vec<End>,
    /// Notified of each finished pass of the watch.
    passes: Vec<Arc<Notify>>,
    /// Where the open casualties are.
    places: watch::Sender<Places>,
    /// Sentences recently sent to bridges.
    said: Said,
    /// The time for the hours of rest, as of the watch's last pass.
    time: watch::Sender<Time>,
    /// The runtime of their tasks.
    home: Handle,
}

/// The sending end of one signal.
struct End {
    name: String,
    audience: Audience,
    acquaintance: Acquaintance,
    way: Way,
}

/// The route of events to a signal's task.
enum Way {
    /// Directly to a sounder.
    Sounder(mpsc::Sender<Heard>),
    /// Through the logbook's outbox to a webhook, which is notified of urgent events.
    Outbox(Arc<Notify>),
}

impl Signals {
    /// Starts a task for each signal in the current runtime. Health reports go to `news`.
    pub fn start(
        boat: &Boat,
        ways_back: &WaysBack,
        logbook: &Logbook,
        clock: Clock,
        news: &mpsc::Sender<News>,
    ) -> Self {
        let webhooks: Vec<&str> = boat
            .signals
            .iter()
            .filter(|s| matches!(s.means, Means::Webhook(_)))
            .map(|s| s.name.as_str())
            .collect();
        logbook.keep_signals(&webhooks);
        // The computer's clock until the watch's first pass: better than no time at all.
        let time = Time { utc: Some(clock.utc()), ship: ShipTime::from_seconds(boat.watch.ship_time_s) };
        let mut all = Self {
            logbook: logbook.clone(),
            ends: Vec::new(),
            passes: Vec::new(),
            places: watch::channel(Places::default()).0,
            said: Said::default(),
            time: watch::channel(time).0,
            home: Handle::current(),
        };
        for (s, n) in boat.signals.iter().zip(0u16..) {
            let resting = Resting::new(s.audience.rest, all.time.subscribe());
            let way = all.start_one(s, ways_back, resting, clock, Reporter::new(SignalId(n), news.clone()));
            let (name, audience) = (s.name.clone(), s.audience.clone());
            all.ends.push(End { name, audience, acquaintance: Acquaintance::default(), way });
        }
        if let Some(line) = &boat.heartbeat {
            let n = u16::try_from(boat.signals.len() + boat.buttons.len()).unwrap_or(u16::MAX);
            let reporter = Reporter::new(SignalId(n), news.clone());
            tokio::spawn(heartbeat::run(line.clone(), all.listen(), reporter));
        }
        all
    }

    /// The runtime of all signal tasks.
    pub fn home(&self) -> &Handle {
        &self.home
    }

    /// Subscribes to the watch's passes.
    fn listen(&mut self) -> Arc<Notify> {
        let ear = Arc::new(Notify::new());
        self.passes.push(ear.clone());
        ear
    }

    fn start_one(
        &mut self,
        s: &Signal,
        ways_back: &WaysBack,
        resting: Resting,
        clock: Clock,
        reporter: Reporter,
    ) -> Way {
        if let Means::Webhook(webhook) = &s.means {
            let urgent = Arc::new(Notify::new());
            let sender = Sender {
                name: s.name.clone(),
                webhook: webhook.clone(),
                timeout: s.timeout,
                clock,
                logbook: self.logbook.clone(),
                resting,
                reporter,
                urgent: urgent.clone(),
            };
            tokio::spawn(sender.run());
            return Way::Outbox(urgent);
        }
        let (to, events) = mpsc::channel(WAITING);
        let ear = Ear::new(events, resting);
        match s.means.clone() {
            Means::Webhook(_) => {}
            Means::Command(argv) => {
                drop(tokio::spawn(command::run(Program::new(argv, s.timeout), ear, reporter)));
            }
            Means::Switched { what, line, sense } => {
                drop(tokio::spawn(buzzer::run(what, line, sense, ear, reporter)));
            }
            Means::Nmea(bridge) => {
                let places = self.places.subscribe();
                let ways = (self.said.clone(), ways_back.clone());
                drop(tokio::spawn(nmea::run(bridge, ways, ear, self.listen(), places, reporter)));
            }
        }
        Way::Sounder(to)
    }

    /// Reports a finished pass: the watch is alive. `utc` is the watch's time, which with ship's time governs hours of
    /// rest; while it is unknown no signal rests.
    pub fn beat(&self, utc: Option<Utc>, ship: ShipTime) {
        // Hours of rest need no better than whole seconds.
        let second = |utc: Option<Utc>| utc.map(|Utc(ms)| ms.div_euclid(1000));
        self.time.send_if_modified(|time| {
            let moved_on = second(time.utc) != second(utc) || time.ship != ship;
            *time = Time { utc, ship };
            moved_on
        });
        self.passes.iter().for_each(|p| p.notify_one());
    }

    /// Whether a line from a feed is an echo of one sent to a bridge.
    pub fn said(&self, line: &[u8]) -> bool {
        self.said.has(line)
    }

    /// Gives plotters the current positions of the open casualties.
    pub fn places(&self, at: Stamp, casualties: Vec<CasualtyPart>) {
        self.places.send_replace((at.utc.map(|(utc, _)| utc), casualties));
    }

    /// Sounds every sounder, or only the named one, with words that say it is a test; returns their names. Leaves out
    /// webhooks and bridges, which may be far away.
    pub fn test(&self, only: Option<&str>) -> Vec<&str> {
        let record = Arc::new(example::record());
        let mut told = Vec::new();
        for end in self.ends.iter().filter(|e| only.is_none_or(|name| e.name == name)) {
            if let Way::Sounder(to) = &end.way
                && to.try_send(Heard::test(record.clone())).is_ok()
            {
                told.push(end.name.as_str());
            }
        }
        told
    }

    /// Delivers an event: to the sounders at once; to the logbook and the webhooks' outbox in one transaction.
    pub fn tell(&mut self, at: Stamp, record: EventRecord, carry: &Carry) {
        let record = Arc::new(record);
        let mut deliveries = Vec::new();
        let guidance = record.event == EventKind::Guidance;
        for end in self.ends.iter_mut().filter(|e| !guidance || e.audience.guidance) {
            let hears = end.audience.hears(&end.name, &record.alert, carry);
            // Whom it does not concern keeps what it holds of the alert.
            if guidance && hears == Hears::Elsewhere {
                continue;
            }
            let heard = end.acquaintance.meet(&record, hears, carry);
            match &end.way {
                Way::Sounder(to) => {
                    if to.try_send(heard).is_err() {
                        tracing::warn!(signal = %end.name, "too many events wait for this signal; one is left out");
                    }
                }
                Way::Outbox(_) if heard.hears == Hears::Elsewhere => {}
                Way::Outbox(urgent) => {
                    deliveries.push(end.name.clone());
                    if carry.aloud && is_urgent(record.alert.priority) {
                        urgent.notify_one();
                    }
                }
            }
        }
        // Nobody waits for the disk here; the logbook reports its own health.
        if !carry.passing || !deliveries.is_empty() {
            drop(self.logbook.event(at, &record, deliveries));
        }
    }
}

/// Tries a signal once with words that say it is a test. For a bridge on a feed's wire it opens that wire.
///
/// # Errors
/// What went wrong.
pub async fn trial(signal: &Signal, feeds: &[Feed]) -> Result<(), String> {
    let record = example::record();
    match &signal.means {
        Means::Command(argv) => Program::new(argv.clone(), signal.timeout).once(&record).await,
        Means::Switched { line, sense, .. } => buzzer::trial(line, sense.as_ref()).await,
        Means::Nmea(bridge) => nmea::trial(bridge, feeds).await,
        Means::Webhook(webhook) => {
            let body = serde_json::to_string(&record).map_err(|e| e.to_string())?;
            // A trial is no delivery: each gets a key of its own.
            let key = format!("test-{}", Clock.utc().0);
            webhook::post(webhook, &body, &key, Clock, signal.timeout).await.map_err(Trouble::words)
        }
    }
}
