//! What ends when nothing more is heard of it.

use super::ais_set::SetAlarms;
use super::review::TRANSMITTER_SILENCE;
use super::{OwnVessel, believed};
use crate::finding::changed;
use crate::{Finding, Settings};
use std::time::Duration;
use terms::{Moment, Quantity, Wakes};

/// A limit is past this much later.
const PAST: Duration = Duration::from_millis(1);

/// What ends. Together they are reported in this order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
enum End {
    /// A value of a quantity, by the place of that among all, is no longer believed.
    Value(usize),
    /// The fix is no longer believed.
    Fix,
    /// Own transmitter has been silent for too long.
    Transmitter,
    /// The first of own AIS set's alarms has not been repeated.
    SetAlarm,
}

/// When each ends.
#[derive(Debug, Clone, Default)]
pub(super) struct Ends(Wakes<End>);

impl Ends {
    /// The source in use gave a value of a quantity.
    pub fn value(&mut self, heard: Moment, q: Quantity) {
        let end = if q == Quantity::Fix { End::Fix } else { End::Value(q as usize) };
        self.0.set(end, Some(heard + believed(q) + PAST));
    }

    /// Own transmitter was heard.
    pub fn transmitter(&mut self, heard: Moment) {
        self.0.set(End::Transmitter, Some(heard + TRANSMITTER_SILENCE + PAST));
    }

    /// Own AIS set's alarms have changed, or one of them has ended.
    pub fn set_alarms(&mut self, at: Moment, alarms: &SetAlarms) {
        self.0.set(End::SetAlarm, alarms.ends().filter(|&end| end > at).min());
    }
}

impl OwnVessel {
    /// When the next value stops being believed, own transmitter has been silent for too long, or an alarm of own AIS set
    /// ends.
    pub fn next_wake(&self) -> Option<Moment> {
        self.ends.0.next()
    }

    /// Runs everything due until a moment.
    pub fn advance(&mut self, at: Moment, settings: &Settings, findings: &mut Vec<Finding>) {
        let mut ended: Vec<End> = std::iter::from_fn(|| self.ends.0.pop(at)).collect();
        ended.sort_unstable();
        for end in ended {
            let quantity = match end {
                End::Value(place) => Quantity::ALL.get(place).copied(),
                End::Fix => Some(Quantity::Fix),
                End::Transmitter => None,
                End::SetAlarm => {
                    self.ends.set_alarms(at, &self.set_alarms);
                    None
                }
            };
            findings.extend(quantity.into_iter().flat_map(changed));
        }
        self.review(at, settings, findings);
    }
}
