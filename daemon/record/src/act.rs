//! What the crew does to the watch, from the control socket, a button or a scenario. A replay of the same lines and the
//! same acts at the same times gives the same events.

use crate::CasualtyQuestion;
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
    /// Acknowledges one alert, or all open ones.
    Acknowledge {
        /// Which alert; all by default.
        #[serde(default, deserialize_with = "whole::alert")]
        #[schemars(with = "Option<u32>")]
        alert: Option<AlertId>,
        /// Only alerts of this order.
        #[serde(default)]
        order: Option<String>,
    },
    /// Stops the sound for a while.
    Silence {
        /// Which alert; all by default.
        #[serde(default, deserialize_with = "whole::alert")]
        #[schemars(with = "Option<u32>")]
        alert: Option<AlertId>,
        /// Only alerts of this order.
        #[serde(default)]
        order: Option<String>,
    },
    /// Somebody went over the side, now or a moment ago.
    Overboard {
        /// How many seconds ago, 0 to 3600.
        #[serde(default)]
        late_s: f64,
        /// Who.
        #[serde(default)]
        who: Option<String>,
    },
    /// Somebody is missing, and nobody saw the fall: it lies on own track between two times.
    Missing {
        /// Who.
        #[serde(default)]
        who: Option<String>,
        /// When last seen aboard, at most a day ago: `02:10` by ship's time, `02:10 UTC`, or `90 min` ago.
        last_seen: String,
        /// When missed, written likewise; now by default.
        #[serde(default)]
        missed: Option<String>,
    },
    /// Somebody sees a casualty: a clue to its place like any other.
    Sighted {
        /// ahead, port bow, port beam, port quarter, astern, starboard quarter, starboard beam or starboard bow.
        #[serde(default)]
        side: Option<String>,
        /// In place of the side: the true bearing.
        #[serde(default)]
        bearing_deg: Option<f64>,
        /// How far off, 1 to 5000 m.
        metres: f64,
        /// Which casualty; may be omitted if there is only one.
        #[serde(default, deserialize_with = "whole::casualty")]
        #[schemars(with = "Option<u32>")]
        casualty: Option<CasualtyId>,
    },
    /// Closes a casualty's case, with the reason.
    StandDown {
        /// Which casualty; may be omitted if there is only one.
        #[serde(default, deserialize_with = "whole::casualty")]
        #[schemars(with = "Option<u32>")]
        casualty: Option<CasualtyId>,
        /// recovered, false activation, test, or handed over.
        reason: String,
    },
    /// Declares what the vessel is doing, which waters she is in, or the visibility.
    Declare {
        /// under sail, under power, hove to, at anchor, moored; ocean, coastal; good visibility, restricted visibility.
        what: String,
        /// With at anchor: how far the anchor lies from the bow, 1 to 200 m.
        #[serde(default)]
        metres: Option<f64>,
        /// With at anchor and metres: on which true bearing from the bow; by default where it was dropped, else ahead.
        #[serde(default)]
        bearing_deg: Option<f64>,
    },
    /// The anchor drops now, at the bow.
    AnchorHere {},
    /// A search pattern is sailed from now on: each turn is announced, and own track is what counts as searched.
    SearchBegin {
        /// The casualty and the pattern, as in a question about a casualty.
        plan: CasualtyQuestion,
    },
    /// The search is over: what own track has searched counts for the datum.
    SearchEnd {
        /// Sweep width, nautical miles; that of the plan by default. Without any nothing counts.
        #[serde(default)]
        sweep_width_nm: Option<f64>,
    },
    /// Somebody takes the watch.
    Handover {
        /// Who.
        who: String,
    },
    /// Sets ship's time.
    ShipTime {
        /// Ship's time less UTC in hours, east positive, -14 to 14; by the zone at her longitude if not given.
        #[serde(default)]
        ship_time_h: Option<f64>,
    },
    /// Resets the watch alarm, as any other act does too.
    ResetWatchAlarm {
        /// The lookout position it is reset from, by its configured name; a name that is none of them is refused.
        #[serde(default)]
        from: Option<String>,
    },
    /// Switches the watch alarm.
    WatchAlarm {
        /// on, off, or automatic: by the declared state and the hours.
        #[schemars(with = "OneOf<Switch>")]
        switch: Switch,
    },
    /// A passage begins or ends here, whatever was declared.
    Passage {
        /// Its name.
        #[serde(default)]
        name: Option<String>,
        /// Ends the passage.
        #[serde(default)]
        ends: bool,
    },
    /// Begins, marks or ends an exercise.
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

/// Why an act failed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ActError {
    /// Nothing of that number, or nothing at all, to act on.
    #[error("{0}")]
    Nothing(String),
    /// The words of the act make no sense.
    #[error("{0}")]
    Wrong(String),
}
