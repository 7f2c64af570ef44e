//! The words of an event or an alert, and what is added to the last words of an alert that ends.

use serde::{Deserialize, Serialize};
use std::time::Duration;
use terms::speech;

/// What people read and hear. Empty words stand for none: the picture's are used, or a name.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Words {
    /// As written on a screen, in the logbook, in a message.
    pub written: String,
    /// As a voice says it, in at most twenty words; `None` until it is worked out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spoken: Option<String>,
}

impl Words {
    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.written.is_empty()
    }

    fn and(mut self, more: &str) -> Self {
        self.written.push_str(more);
        self
    }

    /// Last words about a subject that is gone.
    pub(crate) fn no_longer_heard(self) -> Self {
        self.and("; lost target")
    }

    /// Last words of an alert that gave way to that of a worse subject.
    pub(crate) fn counts_with_the_rest(self) -> Self {
        self.and("; others are worse, it now counts with the rest")
    }

    /// Last words of an alert cleared by the bound on those that wait for an acknowledgement.
    pub(crate) fn too_many_wait(self) -> Self {
        self.and("; cleared unacknowledged, since too many wait")
    }

    /// Last words of an alert from before a restart whose condition was not met again.
    pub(crate) fn not_met_again(self) -> Self {
        self.and("; not met again since the restart")
    }

    /// Words from before a restart that nothing has confirmed since, with their age. `at_least` says that a gap of unknown
    /// length lies in between.
    pub(crate) fn last_known(self, ago: Duration, at_least: bool) -> Self {
        let at_least = if at_least { "at least " } else { "" };
        self.and(&format!("; last known {at_least}{} ago, before the restart", terms::rounded(ago)))
    }

    /// Words that also cover a number of other alerts.
    pub(crate) fn and_more(self, more: u32) -> Self {
        if more == 0 {
            return self;
        }
        // Where the first one is matters more than how many others there are. One more sentence takes a pause, too, as long as
        // two words.
        let more_aloud = format!(" And {} more.", speech::whole(more));
        let room = |s: &String| speech::words(s) + speech::words(&more_aloud) + 2 <= speech::MOST_WORDS;
        let spoken = self.spoken.clone().map(|s| if room(&s) { s + &more_aloud } else { s });
        Self { spoken, ..self.and(&format!("; and {more} more")) }
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
