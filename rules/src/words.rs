//! The words of an event or an alert, and what is added to the last ones of an alert that ends.

use serde::{Deserialize, Serialize};
use std::time::Duration;

/// What is told to people. Empty: nothing of its own is told, so whoever looks asks the picture or falls back on a name.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Words {
    /// As it is written: on a screen, in the logbook, in a message.
    pub written: String,
    /// As it is read aloud, where that differs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spoken: Option<String>,
}

impl Words {
    /// Whether nothing is said.
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

    /// The subject is gone: what was said last is all there is.
    pub(crate) fn no_longer_heard(self) -> Self {
        self.and("; no longer heard")
    }

    /// Cleared by the bound on alerts that wait for an acknowledgement.
    pub(crate) fn too_many_wait(self) -> Self {
        self.and("; cleared unacknowledged, since too many wait")
    }

    /// Ended some time after a restart.
    pub(crate) fn not_met_again(self) -> Self {
        self.and("; not met again since the restart")
    }

    /// Said before a restart, so long ago, and not confirmed since. `at_least`: a gap of unknown length lies between.
    pub(crate) fn last_known(self, ago: Duration, at_least: bool) -> Self {
        let at_least = if at_least { "at least " } else { "" };
        self.and(&format!("; last known {at_least}{} ago, before the restart", terms::rounded(ago)))
    }

    /// Told for so many other alerts as well.
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
