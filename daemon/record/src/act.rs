//! What the crew does to the watch, from the control socket, from a button or from a scenario. A replay with the same
//! lines and the same acts at the same times gives the same events.

use crate::schema::OneOf;
use crate::whole;
use rules::{AlertId, Switch};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use terms::CasualtyId;

/// An act of the crew.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "act", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Act {
    /// Takes note of one alert, or of all that are open.
    Acknowledge {
        /// Which; all where not told.
        #[serde(default, deserialize_with = "whole::alert")]
        #[schemars(with = "Option<u32>")]
        alert: Option<AlertId>,
        /// Those of one order only.
        #[serde(default)]
        order: Option<String>,
    },
    /// Stops the sound for a while.
    Silence {
        /// Which; all where not told.
        #[serde(default, deserialize_with = "whole::alert")]
        #[schemars(with = "Option<u32>")]
        alert: Option<AlertId>,
        /// Those of one order only.
        #[serde(default)]
        order: Option<String>,
    },
    /// Somebody has gone over the side, now or a moment ago.
    Overboard {
        /// How many seconds ago, 0 to 3600.
        #[serde(default)]
        late_s: f64,
        /// Who.
        #[serde(default)]
        who: Option<String>,
    },
    /// A casualty's case is closed, and why.
    StandDown {
        /// Which; the only one where not told.
        #[serde(default, deserialize_with = "whole::casualty")]
        #[schemars(with = "Option<u32>")]
        casualty: Option<CasualtyId>,
        /// recovered, false activation, test, or handed over.
        reason: String,
    },
    /// What the vessel is doing, or which waters she is in, or how far can be seen.
    Declare {
        /// under sail, under power, hove to, at anchor, moored; ocean, coastal.
        what: String,
    },
    /// Somebody takes the watch.
    Handover {
        /// Who.
        who: String,
    },
    /// Resets the watch alarm.
    ResetWatchAlarm {
        /// The lookout position it is reset from, by a name that the configuration knows.
        from: String,
    },
    /// Switches the watch alarm.
    WatchAlarm {
        /// on, off, or automatic: by what is declared and by the hours.
        #[schemars(with = "OneOf<Switch>")]
        switch: Switch,
    },
    /// A passage begins or ends here, whatever was declared.
    Passage {
        /// What it is called.
        #[serde(default)]
        name: Option<String>,
        /// It ends.
        #[serde(default)]
        ends: bool,
    },
    /// An exercise: begun, marked or ended.
    Drill {
        /// overboard, fender, feed, fix, ship or watch-alarm begins one; spotter and alongside mark; end ends it.
        what: String,
    },
    /// A remark for the logbook.
    Note {
        /// The remark.
        text: String,
    },
}

/// Why an act could not be done.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ActError {
    /// There is nothing of that number, or nothing at all, to act on.
    #[error("{0}")]
    Nothing(String),
    /// The words of the act make no sense.
    #[error("{0}")]
    Wrong(String),
}
