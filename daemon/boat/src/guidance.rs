//! `[guidance]`: how often the way back to one of ours overboard is said, and until when.

use form::{Key, Nested, Table, key};
use std::time::Duration;

const GUIDANCE: Key<Nested> =
    key("guidance", "the way back to one of the crew overboard, said again and again");
const EVERY: Key<Duration> = key("every", "how often it is said").or("12 s").within("8 s", "2 min");
const UNTIL: Key<f64> =
    key("until_m", "how near she is alongside: it ends there, and begins again at twice that")
        .or("30")
        .within("10", "200");

/// How the way back is said.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Guidance {
    /// Time from one line to the next.
    pub every: Duration,
    /// Range in metres at which it ends.
    pub until_m: f64,
}

impl Default for Guidance {
    fn default() -> Self {
        let every = EVERY.default_value().unwrap_or(Duration::from_secs(12));
        Self { every, until_m: UNTIL.default_value().unwrap_or(30.0) }
    }
}

pub(crate) fn guidance(t: &mut Table<'_>) -> Option<Guidance> {
    let Some(mut t) = t.table(&GUIDANCE) else { return Some(Guidance::default()) };
    let (every, until_m) = (t.take(&EVERY), t.take(&UNTIL));
    Some(Guidance { every: every?, until_m: until_m? })
}
