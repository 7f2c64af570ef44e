//! A picture set by hand, and a board that is fed from it.

use rules::{AlertEvent, AlertId, Board, BoardSettings, EventKind, Orders, Origin, Picture, Words};
use std::cell::Cell;
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use terms::{Dimension, FeedId, Mmsi, Moment, Position, Quantity, Reading, Subject, Utc, Value, Whose};

#[derive(Default)]
pub struct Chart {
    pub readings: BTreeMap<(Subject, u8), Reading>,
    pub transducers: BTreeMap<String, (Dimension, Reading)>,
    pub position: Option<Position>,
    pub utc: Option<Utc>,
    /// What is said of alerts that no order raised.
    pub says: BTreeMap<Subject, String>,
    /// The feeds that subjects are known by.
    pub feeds: BTreeMap<Subject, FeedId>,
    /// Those who lie still.
    pub still: BTreeSet<Subject>,
    /// Those who are not heard any more.
    pub unheard: BTreeSet<Subject>,
    /// How long ago those reported last whose reports have stopped.
    pub last_heard: BTreeMap<Subject, Duration>,
    /// How often anything was read.
    pub read: Cell<usize>,
}

impl Picture for Chart {
    fn reading(&self, subject: Subject, quantity: Quantity) -> Reading {
        self.read.set(self.read.get() + 1);
        self.readings.get(&(subject, quantity as u8)).cloned().unwrap_or_default()
    }
    fn transducer(&self, name: &str) -> Option<(Dimension, Reading)> {
        self.transducers.get(name).cloned()
    }
    fn subjects(&self, whose: Whose) -> Vec<Subject> {
        let mut all: Vec<Subject> = self.readings.keys().map(|(s, _)| *s).collect();
        all.dedup();
        all.retain(|s| match s {
            Subject::Target(_) => whose == Whose::Target,
            Subject::Feed(_) => whose == Whose::Feed,
            _ => whose == Whose::Own,
        });
        all
    }
    fn name_of(&self, subject: Subject) -> String {
        match subject {
            Subject::Target(mmsi) => format!("MV {mmsi}"),
            Subject::Feed(f) => format!("feed {}", f.0),
            _ => "own vessel".to_owned(),
        }
    }
    fn feed_of(&self, subject: Subject) -> Option<FeedId> {
        self.feeds.get(&subject).copied()
    }
    fn lies_still(&self, subject: Subject) -> bool {
        self.still.contains(&subject)
    }
    fn is_out_of_hearing(&self, subject: Subject) -> bool {
        self.unheard.contains(&subject)
    }
    fn last_heard(&self, subject: Subject) -> Option<Duration> {
        self.last_heard.get(&subject).copied()
    }
    fn utc(&self) -> Option<Utc> {
        self.utc
    }
    fn position(&self) -> Option<Position> {
        self.position
    }
    fn says(&self, _: &Origin, about: Subject) -> Option<Words> {
        self.says.get(&about).map(|s| s.as_str().into())
    }
}

/// Board and picture with a clock that only this moves.
pub struct Table {
    pub board: Board,
    pub chart: Chart,
    pub now_s: f64,
    pub events: Vec<AlertEvent>,
}

#[allow(dead_code)]
pub const SHIP: Subject = Subject::Target(match Mmsi::new(230_000_001) {
    Some(m) => m,
    None => panic!(),
});

#[allow(dead_code)]
impl Table {
    pub fn with(orders: &str) -> Self {
        let mut t = Self {
            board: Board::new(BoardSettings::default()),
            chart: Chart::default(),
            now_s: 0.0,
            events: Vec::new(),
        };
        t.orders(orders);
        t
    }

    pub fn orders(&mut self, orders: &str) {
        let orders =
            Orders::read("orders.toml", &format!("version = 1\n{orders}")).unwrap_or_else(|p| panic!("{p}"));
        self.board.set_orders(self.at(), &orders, &self.chart);
    }

    pub fn at(&self) -> Moment {
        Moment::from_s(self.now_s)
    }

    /// Lets time pass, stopping at every wake the board asks for.
    pub fn pass(&mut self, seconds: f64) -> &mut Self {
        let end = Moment::from_s(self.now_s + seconds);
        self.drain();
        let mut steps = 0;
        while let Some(wake) = self.board.next_wake().filter(|w| *w <= end) {
            self.board.advance(wake, &self.chart);
            self.drain();
            steps += 1;
            assert!(steps < 1_000_000, "the board wakes without end");
        }
        self.now_s += seconds;
        self.board.advance(end, &self.chart);
        self.drain();
        self
    }

    pub fn set(&mut self, subject: Subject, quantity: Quantity, value: f64) -> &mut Self {
        self.put(subject, quantity, Value::Number(value))
    }

    pub fn word(&mut self, subject: Subject, quantity: Quantity, word: &str) -> &mut Self {
        self.put(subject, quantity, Value::Word(word.to_owned()))
    }

    pub fn put(&mut self, subject: Subject, quantity: Quantity, value: Value) -> &mut Self {
        let reading = Reading { value: Some(value), heard: Some(self.at()) };
        self.chart.readings.insert((subject, quantity as u8), reading);
        self.board.changed(self.at(), subject, quantity, &self.chart);
        self.drain();
        self
    }

    /// A value is no longer to be believed.
    pub fn lose(&mut self, subject: Subject, quantity: Quantity) -> &mut Self {
        if let Some(r) = self.chart.readings.get_mut(&(subject, quantity as u8)) {
            r.value = None;
        }
        self.board.changed(self.at(), subject, quantity, &self.chart);
        self.drain();
        self
    }

    pub fn drain(&mut self) {
        self.events.extend(self.board.take_events(&self.chart));
    }

    /// Kinds of the events since this was last asked.
    pub fn kinds(&mut self) -> Vec<EventKind> {
        self.drain();
        std::mem::take(&mut self.events).into_iter().map(|e| e.kind).collect()
    }

    /// Order, kind and text of the events since this was last asked.
    pub fn told(&mut self) -> Vec<String> {
        self.drain();
        std::mem::take(&mut self.events)
            .into_iter()
            .map(|e| format!("{:?} {}: {}", e.kind, e.alert.order, e.words.written))
            .collect()
    }

    /// The words of now of all alerts that are not over.
    pub fn words(&self) -> Vec<String> {
        self.board.alerts().map(|a| self.board.words(a, &self.chart).written).collect()
    }

    pub fn first_alert(&self) -> AlertId {
        self.board.alerts().next().expect("an alert stands").id
    }
}
