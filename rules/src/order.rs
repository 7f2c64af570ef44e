//! Standing orders as read.

use crate::alert::Priority;
use crate::condition::{Condition, Measure, Only, Test};
use crate::trial::Trial;
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};
use std::ops::Range;
use std::sync::Arc;
use std::time::Duration;
use terms::{Problems, Whose};

/// A part of an order's text.
#[derive(Debug, Clone, PartialEq)]
pub enum Piece {
    /// As written.
    Words(String),
    /// The subject's name.
    Name,
    /// The value of a measure.
    Value(Measure),
}

/// Which of several subjects is the worst, and so is announced first.
#[derive(Debug, Clone, PartialEq)]
pub struct Worst {
    /// By this measure.
    pub by: Measure,
    /// The highest value is worst; otherwise the lowest.
    pub highest: bool,
}

/// A standing order: something the skipper wants to be called for.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// Its name, unique in a file.
    pub name: String,
    /// What it is about: own vessel, each target or each feed.
    pub each: Whose,
    /// Notice to alarm.
    pub priority: Priority,
    /// The tests of all its conditions.
    pub tests: Vec<Test>,
    /// When to call.
    pub when: Condition,
    /// When it is over; `None`: as soon as `when` is false.
    pub until: Option<Condition>,
    /// If this becomes true after the order has called, it calls again, once, even if acknowledged.
    pub worse: Option<Condition>,
    /// How long `when` must be true before it calls, and `worse` before it calls again.
    pub held: Duration,
    /// How long the end must be true before the alert is over.
    pub over_for: Duration,
    /// The text of its alerts.
    pub text: Vec<Piece>,
    /// What a voice says of it; `None` if that is worked out.
    pub say: Option<Vec<Piece>>,
    /// When it applies.
    pub only: Only,
    /// Signals by name; `None`: all that carry its priority.
    pub signals: Option<Vec<String>>,
    /// How long it may be impossible to judge before it raises a caution; `None` for ever.
    pub patience: Option<Duration>,
    /// Interval of repetition until acknowledged; `None` as its priority has it.
    pub repeats: Option<Duration>,
    /// How long until it escalates unacknowledged; `None` as its priority has it.
    pub escalates: Option<Duration>,
    /// How long it does not call again about a subject once acknowledged, or once announced if it needs no acknowledgement.
    pub rests: Duration,
    /// Which subject is announced first.
    pub worst: Option<Worst>,
    /// Orders of the same file: while one of them has an active alert about a subject, this order does not call about it.
    pub unless: Vec<String>,
}

/// The name of a signal or of another order as an order wrote it, for the check against those there are.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct NamedSignal {
    pub name: String,
    pub span: Range<usize>,
    pub about: String,
}

/// A file of standing orders.
#[derive(Debug, Clone, Default)]
pub struct Orders {
    pub(crate) orders: Vec<Arc<Order>>,
    pub(crate) signals: Vec<NamedSignal>,
    pub(crate) trials: Vec<Trial>,
    pub(crate) file_name: String,
    pub(crate) text: String,
}

/// Orders are written down as their name and their text, and read again from these.
#[derive(Serialize, Deserialize)]
struct Written {
    from: String,
    text: String,
}

impl Serialize for Orders {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        Written { from: self.file_name.clone(), text: self.text.clone() }.serialize(s)
    }
}

impl<'de> Deserialize<'de> for Orders {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let Written { from, text } = Written::deserialize(d)?;
        if text.is_empty() {
            return Ok(Self { file_name: from, ..Self::default() });
        }
        Self::read(&from, &text).map_err(de::Error::custom)
    }
}

/// The same where name and text are the same: all else is read from these.
impl PartialEq for Orders {
    fn eq(&self, other: &Self) -> bool {
        (&self.file_name, &self.text) == (&other.file_name, &other.text)
    }
}

impl Orders {
    /// Its name: the file, or where else it comes from.
    pub fn name(&self) -> &str {
        &self.file_name
    }

    /// Reads a file of orders.
    ///
    /// # Errors
    /// Everything that is wrong with it, with line and column.
    pub fn read(file_name: &str, text: &str) -> Result<Self, Problems> {
        crate::read::orders(file_name, text)
    }

    /// Every key of an orders file, with what it is for.
    pub fn reference() -> form::Reference {
        crate::read::reference()
    }

    /// Checks that every signal named in the file is one of these.
    ///
    /// # Errors
    /// Those that are not, with line and column.
    pub fn check_signals<'a>(&self, known: impl IntoIterator<Item = &'a str>) -> Result<(), Problems> {
        let known: Vec<&str> = known.into_iter().collect();
        let mut problems = Problems::new(&self.file_name, &self.text);
        for s in self.signals.iter().filter(|s| !known.contains(&s.name.as_str())) {
            let hint = crate::read::did_you_mean(&s.name, known.iter().copied());
            let expected = if known.is_empty() {
                "none is configured".to_owned()
            } else {
                format!("expected {}", known.join(", "))
            };
            problems.add(
                s.span.clone(),
                format!("{}there is no signal \"{}\"; {expected}{hint}", s.about, s.name),
            );
        }
        problems.or_else_ok(())
    }

    /// The orders, as they stand in the file.
    pub fn list(&self) -> impl Iterator<Item = &Order> {
        self.orders.iter().map(Arc::as_ref)
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.orders.len()
    }

    /// Whether the file has none.
    pub fn is_empty(&self) -> bool {
        self.orders.is_empty()
    }

    /// What they may cost the watch at their worst, in points; at most [`crate::MOST_COST`].
    pub fn cost(&self) -> u64 {
        self.list().map(crate::cost::cost).fold(0, u64::saturating_add)
    }

    /// The text they were read from.
    pub fn source(&self) -> &str {
        &self.text
    }
}
