//! The messenger carries inputs to the watch and into the recording, and effects to the signals and the logbook. It
//! decides nothing.

use super::book::Book;
use super::every::Every;
use super::orders::{self, Found, Reloads};
use crate::clock::{self, Clock};
use crate::control::{Ask, Reply};
use crate::feeds::{FeedStatus, Line, Lines};
use crate::logbook::{Logbook, Recovered};
use crate::recording::Recorder;
use crate::signals::{self, News, Signals};
use boat::{Boat, Means};
use lookout::casualty::Gap;
use record::{Act, ActError, Done, Handover, LogbookNow, SignalNow, Tried};
use serde::de::DeserializeOwned;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use terms::{Moment, SignalId, Utc};
use tokio::sync::mpsc;
use watch::{
    Answer, Begin, Effect, Fault, FeedOutside, FeedSetting, Input, Kept, Numbers, Outside, Taken, Watch,
};

/// Most lines handed to the watch before its other inputs are checked again.
const AT_ONCE: usize = 256;
/// The same in time: by heavy orders a line takes long.
const HEARS_FOR: Duration = Duration::from_millis(100);
/// How long a webhook trial may take: the answer must come before whoever asked gives up.
const TRIAL: Duration = Duration::from_secs(8);
/// Live sentences are never older than this: 2026-01-01T00:00:00Z, before this program was finished.
const NOT_BEFORE: Utc = Utc(1_767_225_600_000);
/// A larger offset than this between two looks means that the computer's clock was set, not that it drifted.
const CLOCK_SET_MS: i64 = 500;
/// Orders read again within this time of the last reading, and found unchanged, are not taken up again.
const READ_LATELY: Duration = Duration::from_secs(60);
/// Keys of the logbook's saved states.
const LAST_GOOD_ORDERS: &str = "last good orders";
pub(super) const RATES: &str = "usual rates";
/// The same for the feeds' usual silences.
pub(super) const RHYTHMS: &str = "usual silences";
pub(super) const HEARING: &str = "hearing";

/// The watch and its outlets.
pub(super) struct Messenger {
    pub boat: Boat,
    pub clock: Clock,
    pub watch: Watch,
    pub logbook: Logbook,
    pub signals: Signals,
    pub feeds: Vec<(Arc<str>, Arc<FeedStatus>)>,
    orders_path: PathBuf,
    /// Where orders go once they are read again.
    orders_read: mpsc::Sender<orders::Read>,
    reloads: Reloads,
    pub book: Book,
    /// The names of signals, buttons and the heartbeat, by number.
    signal_names: Vec<String>,
    pub recorder: Recorder,
    /// When the orders were last read again and taken up, and their text.
    reread: Option<(Moment, String)>,
    /// Why control is shut, as last given to the watch.
    control: Option<String>,
    /// Offset between steady time and the computer's clock.
    clock_offset_ms: Option<i64>,
    pub every: Every,
}

impl Messenger {
    pub fn new(
        boat: Boat,
        logbook: Logbook,
        signals: Signals,
        feeds: Vec<(Arc<str>, Arc<FeedStatus>)>,
        [orders_path, logbook_path]: [PathBuf; 2],
        orders_read: mpsc::Sender<orders::Read>,
    ) -> Self {
        Self {
            watch: Watch::new(&boat),
            recorder: Recorder::start(&boat),
            clock: Clock,
            logbook,
            signals,
            feeds,
            orders_path,
            orders_read,
            reloads: Reloads::default(),
            book: Book::new(logbook_path),
            signal_names: signals::names(&boat),
            reread: None,
            control: None,
            clock_offset_ms: None,
            every: Every::new(Clock.now()),
            boat,
        }
    }

    /// Takes up what an earlier run left, then stands by the orders.
    pub fn begin(&mut self, at: Moment, recovered: &Recovered, read: orders::Read) {
        self.book.begin(recovered);
        let found = orders::find(read, recovered.states.get(LAST_GOOD_ORDERS).map(String::as_str));
        let kept = Kept {
            alerts: state(recovered, crate::logbook::ALERTS),
            casualties: state(recovered, crate::logbook::CASUALTIES),
            anchor: state(recovered, crate::logbook::ANCHOR).unwrap_or_default(),
            asked: state(recovered, crate::logbook::ASKED).unwrap_or_default(),
            calls: state(recovered, crate::logbook::CALLS).unwrap_or_default(),
            guidance: state(recovered, crate::logbook::GUIDANCE).unwrap_or_default(),
            search: state::<Option<_>>(recovered, crate::logbook::SEARCH).flatten(),
        };
        let gap = match &kept.alerts {
            Some(kept) if recovered.last_sign_same_boot => Gap::Of(at.since(kept.at)),
            _ if recovered.last_sign_same_boot => Gap::SameClock,
            _ => Gap::Unknown,
        };
        let utc = self.clock.utc();
        self.clock_offset_ms = Some(utc.0.saturating_sub(at.0));
        let begin = Begin {
            boot: clock::boot_id(),
            utc: Some(utc),
            begins: true,
            cut_off: !recovered.stopped_in_order,
            not_before: Some(NOT_BEFORE),
            last_sign: recovered.last_sign.and_then(|at| at.by_satellite()),
            feeds: self.boat.feeds.iter().map(FeedSetting::of).collect(),
            last: Numbers {
                alert: recovered.next_alert.saturating_sub(1),
                casualty: recovered.next_casualty.saturating_sub(1),
            },
            kept,
            gap,
            hearing: state(recovered, HEARING),
            rates: state(recovered, RATES).unwrap_or_default(),
            rhythms: state(recovered, RHYTHMS).unwrap_or_default(),
            orders: Arc::clone(&found.orders),
            ..Begin::default()
        };
        self.carry(at, Input::Begin(Box::new(begin)));
        self.keep_good(at, &found);
        self.carry(at, Input::Fault { what: Fault::Orders, why: found.trouble });
        self.logbook_health();
        self.pass();
    }

    /// The one door to the watch: records every input and passes on its effects at once.
    pub fn tell(&mut self, at: Moment, input: Input) -> Taken {
        let at = self.watch.moment(at);
        self.recorder.input(at, &input, &self.watch);
        let taken = self.watch.take(at, input);
        self.put_out();
        // An emergency is out by now. What else the line brings belongs to it.
        if self.watch.is_amid_a_line() {
            self.watch.advance(at);
            self.put_out();
        }
        taken
    }

    /// The same for inputs without an answer.
    pub fn carry(&mut self, at: Moment, input: Input) {
        // Only acts can be refused.
        let _ = self.tell(at, input);
    }

    /// Saves a copy of orders that read without errors.
    fn keep_good(&self, at: Moment, found: &Found) {
        if found.trouble.is_none() {
            self.logbook.save_state(self.watch.stamp(at), LAST_GOOD_ORDERS, found.orders.source());
        }
    }

    /// Has the orders read again; the watch goes on meanwhile, and [`Self::reloaded`] gets what was read.
    pub fn reload(&mut self, reply: Option<Reply<Done>>) {
        if self.reloads.ask(reply) {
            self.read_orders();
        }
    }

    fn read_orders(&self) {
        let (path, to) = (self.orders_path.clone(), self.orders_read.clone());
        self.signals.home().spawn(async move {
            let read = orders::read(&path).await;
            // Nobody wants it once the watch ends.
            let _ = to.send(read).await;
        });
    }

    /// Takes orders that were read, and answers those who asked. Whether no further reading is under way.
    pub fn reloaded(&mut self, read: orders::Read) -> bool {
        let answer = self.take_orders(read);
        let (waiting, again) = self.reloads.done();
        for reply in waiting {
            let _ = reply.send(answer.clone());
        }
        if again {
            self.read_orders();
        }
        !again
    }

    /// Puts orders into force: all or nothing. If the file is bad, those in force stay. However often a storm of requests
    /// has the same orders read, they are taken up and entered once a minute.
    fn take_orders(&mut self, read: orders::Read) -> Result<Done, ActError> {
        let at = self.clock.now();
        match read {
            Ok(orders) => {
                let done = format!("{} orders in force, from {}", orders.len(), orders.name());
                let is_same = |(when, text): &(Moment, String)| {
                    at.since(*when) < READ_LATELY && text == orders.source()
                };
                if self.reread.as_ref().is_some_and(is_same) && !self.watch.is_failing(Fault::Orders) {
                    return Ok(Done { done });
                }
                self.reread = Some((at, orders.source().to_owned()));
                let found = Found { orders, trouble: None };
                self.keep_good(at, &found);
                self.carry(at, Input::Orders(found.orders));
                self.carry(at, Input::Fault { what: Fault::Orders, why: None });
                Ok(Done { done })
            }
            Err(why) => {
                let why = format!("The orders in force stay. {why}");
                self.carry(at, Input::Fault { what: Fault::Orders, why: Some(why.clone()) });
                Err(ActError::Wrong(why))
            }
        }
    }

    fn act(&mut self, at: Moment, act: Act) -> Result<Done, ActError> {
        self.tell(at, Input::Act(act)).map(|answer| Done { done: answer.words() })
    }

    /// Answers a request. A look bypasses the door: it changes nothing.
    pub fn answer(&mut self, ask: Ask) {
        let at = self.clock.now();
        self.watch.advance(at);
        self.put_out();
        // Whoever asked may have gone; what was done stays done.
        match ask {
            Ask::Status(reply) => drop(reply.send(Ok(self.watch.status(at, &self.outside())))),
            Ask::Handover(None, reply) => drop(reply.send(Ok(self.watch.handover(at)))),
            Ask::Handover(Some(who), reply) => {
                let told = self.handover(at, who);
                self.when_written(told, reply, |told| told.done.as_mut());
            }
            Ask::Act(act, reply) => {
                let done = self.act(at, act);
                self.when_written(done, reply, |done| Some(&mut done.done));
            }
            Ask::Casualty(question, reply) if question.searched => {
                let answer = self.tell(at, Input::Searched(question));
                drop(reply.send(answer.and_then(|a| match a {
                    Answer::Casualty(casualty) => Ok(*casualty),
                    _ => Err(ActError::Nothing("the watch gave no answer".to_owned())),
                })));
            }
            Ask::Casualty(question, reply) => drop(reply.send(self.watch.casualty_look(at, &question))),
            Ask::Backup(to, reply) => self.back_up(at, to, reply),
            Ask::Reload(reply) => self.reload(Some(reply)),
            Ask::Test(None, reply) => {
                let signals = self.signals.test(None).into_iter().map(str::to_owned).collect();
                drop(reply.send(Ok(Tried { done: "sounding".to_owned(), signals: Some(signals) })));
            }
            Ask::Test(Some(name), reply) => self.try_signal(&name, reply),
            Ask::Departure(reply) => {
                drop(reply.send(Ok(self.watch.departure_look(at, self.outside_items()))));
            }
            Ask::DepartureAct(act, reply) => {
                let outside = self.outside_items();
                let answer = self.tell(at, Input::Departure(act, outside));
                drop(reply.send(answer.and_then(|a| match a {
                    Answer::Sheet(sheet) => Ok(*sheet),
                    _ => Err(ActError::Nothing("the watch gave no answer".to_owned())),
                })));
            }
            Ask::Button(name, act, reply) => {
                let answer = self.tell(at, Input::Button { name, act });
                drop(reply.send(answer.map(|a| Done { done: a.words() })));
            }
        }
    }

    /// Hands the watch over, and tells the relief what to know. Every sounder sounds, so that people hear it works.
    fn handover(&mut self, at: Moment, who: String) -> Result<Handover, ActError> {
        let mut told = self.watch.handover(at);
        told.done = Some(self.act(at, Act::Handover { who })?.done);
        told.sounding = Some(self.signals.test(None).into_iter().map(str::to_owned).collect());
        Ok(told)
    }

    /// Tries one signal: a sounder sounds; a webhook answers once its receiver has accepted the message, or has not.
    fn try_signal(&self, name: &str, reply: Reply<Tried>) {
        let Some(signal) = self.boat.signals.iter().find(|s| s.name == name) else {
            drop(reply.send(Err(ActError::Wrong(format!("there is no signal `{name}`")))));
            return;
        };
        if !matches!(signal.means, Means::Webhook(_)) {
            let told: Vec<String> = self.signals.test(Some(name)).into_iter().map(str::to_owned).collect();
            let busy = || ActError::Nothing("too much waits for this signal".to_owned());
            let tried = Tried { done: "sounding".to_owned(), signals: Some(told.clone()) };
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

    /// The part of a look that the watch cannot know.
    fn outside(&self) -> Outside {
        let feed = |(_, feed): &(Arc<str>, Arc<FeedStatus>)| FeedOutside {
            state: feed.state().to_owned(),
            counts: feed.counts(),
            dropped: feed.dropped(),
        };
        let health = self.logbook.health().borrow().clone();
        let signal = |(name, n): (&String, u16)| SignalNow {
            name: name.clone(),
            failing: self.watch.is_failing(Fault::Signal(SignalId(n))),
        };
        Outside {
            feeds: self.feeds.iter().map(feed).collect(),
            logbook: LogbookNow {
                failing: health.failing.map(|e| e.to_string()),
                waiting: health.waiting as u64,
                dropped: health.dropped,
                deliveries_waiting: self.logbook.deliveries_waiting() as u64,
                removed: Some(health.removed).filter(|r| !r.rows.is_empty()),
            },
            signals: self.signal_names.iter().zip(0..).map(signal).collect(),
        }
    }

    /// Hands the watch the lines that are ready, up to a bound; returns whether that was all.
    pub fn hear(&mut self, lines: &mut Lines) -> bool {
        let began = self.clock.now();
        for _ in 0..AT_ONCE {
            let now = self.clock.now();
            if now.since(began) > HEARS_FOR {
                return false;
            }
            let Some(Line { at, feed, line, .. }) = lines.ready(now) else { return true };
            if !self.signals.said(line.as_bytes()) {
                self.carry(at, Input::Line(feed, line));
            }
        }
        false
    }

    pub fn signal_news(&mut self, news: News) {
        let Some(name) = self.signal_names.get(usize::from(news.signal.0)) else { return };
        let why = news.outcome.err().map(|why| format!("The {name} fails: {why}"));
        self.fault(Fault::Signal(news.signal), why);
    }

    /// Gives the watch what fails or works outside the picture, if that is news to it.
    pub fn fault(&mut self, what: Fault, why: Option<String>) {
        if self.watch.is_news(what, why.is_some()) {
            self.carry(self.clock.now(), Input::Fault { what, why });
        }
    }

    /// Takes why control is shut. New words count too: another way in may be shut meanwhile.
    pub fn control_health(&mut self, why: Option<String>) {
        let is_news = self.watch.is_news(Fault::Control, why.is_some());
        if is_news || why != self.control {
            self.control.clone_from(&why);
            self.carry(self.clock.now(), Input::Fault { what: Fault::Control, why });
        }
    }

    /// Ends a pass of the loop: runs the due timers and the periodic work.
    pub fn pass(&mut self) {
        let at = self.clock.now();
        let utc = self.clock.utc();
        let offset = utc.0.saturating_sub(at.0);
        if self.clock_offset_ms.is_none_or(|before| (offset - before).abs() >= CLOCK_SET_MS) {
            self.clock_offset_ms = Some(offset);
            self.carry(at, Input::Clock { utc });
        }
        self.watch.advance(at);
        self.put_out();
        self.periodically(at);
        let why = self.recorder.pass(at, &self.watch);
        let why = why.map(|why| format!("Sentences are not kept, watch and logbook go on: {why}"));
        self.fault(Fault::Recording, why);
        self.signals.beat(self.watch.calendar(at), self.watch.ship_time());
    }

    /// Sends all effects to signals and logbook.
    pub fn put_out(&mut self) {
        for effect in self.watch.effects() {
            match effect {
                Effect::Event(at, record, carry) => {
                    let (alert, text) = (record.alert.id.0, &record.alert.text);
                    tracing::info!(event = ?record.event, priority = %record.alert.priority, alert, "{text}");
                    self.signals.tell(at, *record, &carry);
                }
                Effect::Places(at, places) => self.signals.places(at, places),
                other => self.logbook.take(other),
            }
        }
    }

    /// Ends the watch.
    ///
    /// # Errors
    /// If the last records did not reach the logbook: where they are.
    pub async fn stop(mut self) -> Result<(), String> {
        let at = self.clock.now();
        self.carry(at, Input::End);
        self.recorder.stop();
        self.log_feeds(at);
        let stamp = self.watch.stamp(at);
        self.close_logbook(stamp).await
    }
}

/// What an earlier run saved under a key. An unreadable value is reported and left.
fn state<T: DeserializeOwned>(recovered: &Recovered, key: &str) -> Option<T> {
    let text = recovered.states.get(key)?;
    record::from_json(text.as_bytes())
        .map_err(|why| tracing::warn!(key, %why, "what the run before left unfinished could not be read"))
        .ok()
}
