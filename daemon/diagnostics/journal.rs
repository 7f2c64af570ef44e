//! Lines as journal entries (systemd, "Native Journal Protocol"): fields of name=value. A multi-line value takes the
//! form name, length as 64 bits (lowest byte first), value.

use super::Queue;
use super::sparing::Sparing;
use std::fmt::Debug;
use terms::legible;
use tracing::field::{Field, Visit};
use tracing::{Event, Level, Subscriber};
use tracing_subscriber::Layer;
use tracing_subscriber::layer::Context;

/// An entry being written.
struct Entry(Vec<u8>);

impl Entry {
    fn of(level: Level) -> Self {
        // Levels of syslog(3). An alert's event is information to the computer's owner; only a failure is a warning.
        let priority = match level {
            Level::ERROR => "3",
            Level::WARN => "4",
            Level::INFO => "6",
            _ => "7",
        };
        let mut entry = Self(Vec::new());
        entry.put("PRIORITY", priority);
        entry.put("SYSLOG_IDENTIFIER", "middlewatch");
        entry
    }

    fn put(&mut self, name: &str, value: &str) {
        let value = legible(value);
        self.0.extend_from_slice(name.as_bytes());
        if value.contains('\n') {
            self.0.push(b'\n');
            self.0.extend_from_slice(&(value.len() as u64).to_le_bytes());
        } else {
            self.0.push(b'=');
        }
        self.0.extend_from_slice(value.as_bytes());
        self.0.push(b'\n');
    }
}

impl Visit for Entry {
    fn record_str(&mut self, field: &Field, value: &str) {
        match field.name() {
            "message" => self.put("MESSAGE", value),
            name => self.put(&format!("MIDDLEWATCH_{}", name.to_uppercase()), value),
        }
    }

    fn record_debug(&mut self, field: &Field, value: &dyn Debug) {
        self.record_str(field, &format!("{value:?}"));
    }
}

/// An entry with words only.
pub fn line_of(level: Level, words: &str) -> Vec<u8> {
    let mut entry = Entry::of(level);
    entry.put("MESSAGE", words);
    entry.0
}

/// Sends every line to the journal.
pub struct Journal(Queue);

impl Journal {
    /// Writes through a queue.
    pub fn to(queue: Queue) -> Self {
        Self(queue)
    }
}

impl<S: Subscriber> Layer<S> for Sparing<Journal> {
    fn on_event(&self, event: &Event<'_>, _: Context<'_, S>) {
        let Ok((journal, left_out)) = self.admitted(event.metadata().name()) else { return };
        if let Some(words) = left_out {
            journal.0.send(line_of(Level::WARN, &words));
        }
        let mut entry = Entry::of(*event.metadata().level());
        entry.put("TARGET", event.metadata().target());
        event.record(&mut entry);
        journal.0.send(entry.0);
    }
}
