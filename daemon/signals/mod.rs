//! Signals: what tells people. Each runs in a task of its own behind a bounded queue, so that a slow or dead one never
//! delays another, nor the watch.

mod buzzer;
mod command;
mod heartbeat;
mod http;
mod nmea;
mod signature;
mod standing;
#[cfg(feature = "https")]
mod tls;
mod webhook;

pub use nmea::WaysBack;

use crate::clock::Clock;
use crate::logbook::Logbook;
use boat::{Audience, Boat, Feed, Means, Signal, Told};
use command::Program;
use http::Trouble;
use nmea::Said;
use record::Stamp;
use record::{CasualtyPart, EventRecord, example};
use rules::Carry;
use std::sync::Arc;
use terms::{SignalId, Utc};
use tokio::runtime::Handle;
use tokio::sync::{Notify, mpsc, watch};
use webhook::{Sender, is_urgent};

/// Events that may wait for a signal's task.
const WAITING: usize = 1024;

/// How a signal has fared, or a button or the heartbeat, which are numbered on behind the signals.
#[derive(Debug)]
pub struct News {
    /// Which.
    pub signal: SignalId,
    /// Whether it told what it was given, or why not.
    pub outcome: Result<(), String>,
}

/// What each number of [`News`] is called in a report.
pub fn names(boat: &Boat) -> Vec<String> {
    let signals = boat.signals.iter().map(|s| format!("signal {}", s.name));
    let buttons = boat.buttons.iter().map(|b| format!("button {}", b.name));
    signals.chain(buttons).chain(boat.heartbeat.iter().map(|_| "heartbeat line".to_owned())).collect()
}

/// Where the open casualties are, and when that was looked at.
type Places = (Option<Utc>, Vec<CasualtyPart>);

/// All signals of the boat.
pub struct Signals {
    logbook: Logbook,
    ends: Vec<End>,
    /// Told of each finished pass of the watch.
    passes: Vec<Arc<Notify>>,
    /// Where the open casualties are.
    places: watch::Sender<Places>,
    /// What bridges were told lately.
    said: Said,
    /// Ship's time less UTC, for the hours of rest.
    ship_time_s: i64,
    /// Where their tasks run.
    home: Handle,
}

/// The near end of one signal.
struct End {
    name: String,
    audience: Audience,
    way: Way,
}

/// How events get to a signal's task.
enum Way {
    /// Directly, to what sounds.
    Sounder(mpsc::Sender<Told>),
    /// Through the logbook's outbox, to a webhook; it is told when that is urgent.
    Outbox(Arc<Notify>),
}

impl Signals {
    /// Starts a task for each signal, in the runtime that is entered. Their news goes to `news`; when that is full it is left out, since then the watch
    /// has plenty of the same.
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
        let mut all = Self {
            logbook: logbook.clone(),
            ends: Vec::new(),
            passes: Vec::new(),
            places: watch::channel(Places::default()).0,
            said: Said::default(),
            ship_time_s: boat.watch.ship_time_s,
            home: Handle::current(),
        };
        for (s, n) in boat.signals.iter().zip(0u16..) {
            let way = all.start_one(s, ways_back, SignalId(n), clock, news.clone());
            all.ends.push(End { name: s.name.clone(), audience: s.audience.clone(), way });
        }
        if let Some(line) = &boat.heartbeat {
            let n = u16::try_from(boat.signals.len() + boat.buttons.len()).unwrap_or(u16::MAX);
            tokio::spawn(heartbeat::run(SignalId(n), line.clone(), all.listen(), news.clone()));
        }
        all
    }

    /// The runtime of all tasks of signals.
    pub fn home(&self) -> &Handle {
        &self.home
    }

    /// An ear for the watch's passes.
    fn listen(&mut self) -> Arc<Notify> {
        let ear = Arc::new(Notify::new());
        self.passes.push(ear.clone());
        ear
    }

    fn start_one(
        &mut self,
        s: &Signal,
        ways_back: &WaysBack,
        id: SignalId,
        clock: Clock,
        news: mpsc::Sender<News>,
    ) -> Way {
        if let Means::Webhook(webhook) = &s.means {
            let urgent = Arc::new(Notify::new());
            let sender = Sender {
                id,
                name: s.name.clone(),
                webhook: webhook.clone(),
                timeout: s.timeout,
                clock,
                logbook: self.logbook.clone(),
                news,
                urgent: urgent.clone(),
            };
            tokio::spawn(sender.run());
            return Way::Outbox(urgent);
        }
        let (to, events) = mpsc::channel(WAITING);
        let tell = move |outcome| drop(news.try_send(News { signal: id, outcome }));
        match s.means.clone() {
            Means::Webhook(_) => {}
            Means::Command(argv) => {
                drop(tokio::spawn(command::run(Program::new(argv, s.timeout), events, tell)));
            }
            Means::Switched { what, line, sense } => {
                drop(tokio::spawn(buzzer::run(what, line, sense, events, tell)));
            }
            Means::Nmea(bridge) => {
                let places = self.places.subscribe();
                let ways = (self.said.clone(), ways_back.clone());
                drop(tokio::spawn(nmea::run(bridge, ways, events, self.listen(), places, tell)));
            }
        }
        Way::Sounder(to)
    }

    /// The watch has finished a pass: it lives.
    pub fn beat(&self) {
        self.passes.iter().for_each(|p| p.notify_one());
    }

    /// Whether a line from a feed is one that a bridge was told, brought back.
    pub fn said(&self, line: &[u8]) -> bool {
        self.said.has(line)
    }

    /// Tells plotters where the open casualties are by now.
    pub fn places(&self, at: Stamp, casualties: Vec<CasualtyPart>) {
        self.places.send_replace((at.utc.map(|(utc, _)| utc), casualties));
    }

    /// Lets everything sound that sounds, or the one that is named, with words that say it is a test; their names. Webhooks
    /// and bridges, which may be far away, are left in peace.
    pub fn test(&self, only: Option<&str>) -> Vec<&str> {
        let record = Arc::new(example::record());
        let mut told = Vec::new();
        for end in self.ends.iter().filter(|e| only.is_none_or(|name| e.name == name)) {
            let test = Told { record: record.clone(), aloud: true, carried: true, level: 0 };
            if let Way::Sounder(to) = &end.way
                && to.try_send(test).is_ok()
            {
                told.push(end.name.as_str());
            }
        }
        told
    }

    /// Tells an event: to the sounders at once; into the logbook and the webhooks' outbox in one transaction.
    pub fn tell(&self, at: Stamp, record: EventRecord, carry: &Carry) {
        let record = Arc::new(record);
        let ship_time = at.utc.map(|(utc, _)| utc.plus_ms(self.ship_time_s * 1000));
        let mut deliveries = Vec::new();
        for end in &self.ends {
            let carried = end.audience.carries(&end.name, &record, carry, ship_time);
            match &end.way {
                Way::Sounder(to) => {
                    let told =
                        Told { record: record.clone(), aloud: carry.aloud, carried, level: carry.level };
                    if to.try_send(told).is_err() {
                        tracing::warn!(signal = %end.name, "too many events wait for this signal; one is left out");
                    }
                }
                Way::Outbox(_) if !carried => {}
                Way::Outbox(urgent) => {
                    deliveries.push(end.name.clone());
                    if is_urgent(record.alert.priority, carry.aloud) {
                        urgent.notify_one();
                    }
                }
            }
        }
        // Nobody waits for the disk here: how it fares is the logbook's health.
        drop(self.logbook.event(at, &record, deliveries));
    }
}

/// Tries a signal once with words that say it is a test; a bridge on a feed's wire opens it for that.
///
/// # Errors
/// What went wrong, in words.
pub async fn trial(signal: &Signal, feeds: &[Feed]) -> Result<(), String> {
    let record = example::record();
    match &signal.means {
        Means::Command(argv) => Program::new(argv.clone(), signal.timeout).once(&record).await,
        Means::Switched { line, sense, .. } => buzzer::trial(line, sense.as_ref()).await,
        Means::Nmea(bridge) => nmea::trial(bridge, feeds).await,
        Means::Webhook(webhook) => {
            let body = serde_json::to_string(&record).map_err(|e| e.to_string())?;
            // A trial is no delivery: it has a key of its own each time.
            let key = format!("test-{}", Clock.utc().0);
            webhook::post(webhook, &body, &key, Clock, signal.timeout).await.map_err(Trouble::words)
        }
    }
}
