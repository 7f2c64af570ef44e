//! Parsed standing orders.

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

/// Which of several subjects is worst, and so comes first.
#[derive(Debug, Clone, PartialEq)]
pub struct Worst {
    /// By this measure.
    pub by: Measure,
    /// The highest value is worst; otherwise the lowest.
    pub highest: bool,
}

/// One thing that the skipper wants to be called for.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// Its name, unique in a file.
    pub name: String,
    /// Whose: own vessel, each target or each feed.
    pub each: Whose,
    /// Notice to alarm.
    pub priority: Priority,
    /// All tests of both conditions.
    pub tests: Vec<Test>,
    /// When to call.
    pub when: Condition,
    /// When it is over; `None`: as soon as `when` is false.
    pub until: Option<Condition>,
    /// If it has called and this becomes true, it calls again, once, even if acknowledged.
    pub worse: Option<Condition>,
    /// How long `when` must hold before it calls, and `worse` before it calls again.
    pub held: Duration,
    /// How long the end must last before it is over.
    pub over_for: Duration,
    /// What it announces.
    pub text: Vec<Piece>,
    /// When it applies.
    pub only: Only,
    /// Signals by name; `None`: all that carry its priority.
    pub signals: Option<Vec<String>>,
    /// How long it may go unjudged before it says so; `None`: never.
    pub patience: Option<Duration>,
    /// How often it repeats while unacknowledged; `None`: as its priority has it.
    pub repeats: Option<Duration>,
    /// How long it may go unacknowledged before it escalates; `None`: as its priority has it.
    pub escalates: Option<Duration>,
    /// How long it rests once acknowledged, or once announced if it needs no acknowledgement.
    pub rests: Duration,
    /// Which subject comes first.
    pub worst: Option<Worst>,
}

/// A signal's name as an order wrote it, to check against those that exist.
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

/// Orders serialize as their name and text, and are read back from these.
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

/// Equal if name and text are: everything else is read from these.
impl PartialEq for Orders {
    fn eq(&self, other: &Self) -> bool {
        (&self.file_name, &self.text) == (&other.file_name, &other.text)
    }
}

impl Orders {
    /// Its name: the file, or its other source.
    pub fn name(&self) -> &str {
        &self.file_name
    }

    /// Reads a file of orders.
    ///
    /// # Errors
    /// Everything wrong with it, with line and column.
    pub fn read(file_name: &str, text: &str) -> Result<Self, Problems> {
        crate::read::orders(file_name, text)
    }

    /// Every key of an orders file, with what it is for.
    pub fn reference() -> form::Reference {
        crate::read::reference()
    }

    /// Checks that every signal named in the file is one of `known`.
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

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.orders.is_empty()
    }

    /// The text they were read from.
    pub fn source(&self) -> &str {
        &self.text
    }
}
