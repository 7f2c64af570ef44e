//! The words of an event or an alert, and what is added to the last words of an alert that ends.

use serde::{Deserialize, Serialize};
use std::time::Duration;

/// Words for people. Empty: it has none of its own, so whoever looks asks the picture or falls back on a name.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Words {
    /// The written form: on a screen, in the logbook, in a message.
    pub written: String,
    /// The spoken form, if different.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spoken: Option<String>,
}

impl Words {
    /// Whether there are no words.
    pub fn is_empty(&self) -> bool {
        self.written.is_empty()
    }

    fn and(mut self, more: &str) -> Self {
        self.written.push_str(more);
        if let Some(spoken) = &mut self.spoken {
            spoken.push_str(more);
        }
        self
    }

    /// The subject is gone: its last words are all there is.
    pub(crate) fn no_longer_heard(self) -> Self {
        self.and("; no longer heard")
    }

    /// Cleared by the bound on alerts awaiting acknowledgement.
    pub(crate) fn too_many_wait(self) -> Self {
        self.and("; cleared unacknowledged, since too many wait")
    }

    /// Ended some time after a restart.
    pub(crate) fn not_met_again(self) -> Self {
        self.and("; not met again since the restart")
    }

    /// From before a restart, this long ago, and not confirmed since. `at_least`: a gap of unknown length lies
    /// between.
    pub(crate) fn last_known(self, ago: Duration, at_least: bool) -> Self {
        let at_least = if at_least { "at least " } else { "" };
        self.and(&format!("; last known {at_least}{} ago, before the restart", terms::rounded(ago)))
    }

    /// Covers other alerts as well.
    pub(crate) fn and_more(self, more: u32) -> Self {
        if more == 0 { self } else { self.and(&format!("; and {more} more")) }
    }
}

impl From<String> for Words {
    fn from(written: String) -> Self {
        Self { written, spoken: None }
    }
}

impl From<&str> for Words {
    fn from(written: &str) -> Self {
        written.to_owned().into()
    }
}
