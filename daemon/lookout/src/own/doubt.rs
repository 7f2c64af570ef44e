//! Own vessel's instruments and clocks that cannot be right: each trouble is reported when it begins and when it ends.

use crate::Finding;
use std::collections::BTreeMap;
use std::time::Duration;
use terms::{Moment, Subject};

/// What is wrong with an instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Trouble {
    /// Two receivers give positions too far apart.
    PositionsDiffer,
    /// A position jumped further than she can have moved.
    PositionJumps,
    /// A position stays the same to the last digit while she makes way.
    PositionFrozen,
    /// A position walks away from what log and compass make of her way.
    PositionWalks,
    /// The heading does not change while she turns.
    CompassFrozen,
    /// The log shows next to nothing while she makes way over the ground.
    LogFouled,
    /// Own AIS transmitter sends a position that is not ours.
    TransmitterPosition,
    /// Own AIS transmitter sends another identity.
    TransmitterIdentity,
    /// Own AIS transmitter was heard and is heard no more.
    TransmitterSilent,
    /// Own AIS set says it does not transmit as it should.
    SetSends,
    /// Own AIS set says it does not receive as it should.
    SetReceives,
    /// Own AIS set says it lacks data it should send.
    SetSensors,
    /// Ships were heard, and suddenly none is.
    ShipsSilent,
    /// A feed gives a time that the watch does not follow.
    TimesDiffer,
}

impl Trouble {
    /// Short name, stable.
    pub const fn name(self) -> &'static str {
        match self {
            Self::PositionsDiffer => "positions differ",
            Self::PositionJumps => "position jumps",
            Self::PositionFrozen => "position frozen",
            Self::PositionWalks => "position walks",
            Self::CompassFrozen => "compass frozen",
            Self::LogFouled => "log fouled",
            Self::TransmitterPosition => "own AIS position wrong",
            Self::TransmitterIdentity => "own AIS identity wrong",
            Self::TransmitterSilent => "own AIS silent",
            Self::SetSends => "own AIS set sends badly",
            Self::SetReceives => "own AIS set receives badly",
            Self::SetSensors => "own AIS set lacks data",
            Self::ShipsSilent => "no ship heard any more",
            Self::TimesDiffer => "times differ",
        }
    }

    /// How long it must hold before it is reported, and how long it must be gone before its end is reported.
    const fn patience(self) -> (Duration, Duration) {
        let s = Duration::from_secs;
        match self {
            Self::PositionsDiffer | Self::TimesDiffer => (s(30), s(30)),
            Self::PositionJumps
            | Self::PositionFrozen
            | Self::PositionWalks
            | Self::TransmitterIdentity
            | Self::TransmitterSilent
            | Self::SetSends
            | Self::SetReceives
            | Self::ShipsSilent => (s(0), s(0)),
            // A set just switched on says so for a minute.
            Self::SetSensors => (s(90), s(0)),
            Self::CompassFrozen => (s(0), s(10)),
            Self::LogFouled => (s(600), s(120)),
            Self::TransmitterPosition => (s(60), s(60)),
        }
    }
}

#[derive(Debug, Clone, Copy)]
enum State {
    Holds {
        since: Moment,
        told: bool,
    },
    /// It was reported, and has not held since then.
    Ends {
        since: Moment,
    },
    /// Its end was reported.
    Ended {
        since: Moment,
    },
}

/// What holds again within this after its end comes and goes: it then ends only when it has been gone for as long (own
/// choice).
const STEADY: Duration = Duration::from_secs(30 * 60);

/// Troubles that hold or were reported.
#[derive(Debug, Clone, Default)]
pub(crate) struct Doubts {
    states: BTreeMap<Trouble, Known>,
}

#[derive(Debug, Clone, Copy)]
struct Known {
    state: State,
    /// It comes and goes.
    again: bool,
}

impl Doubts {
    /// Takes whether a trouble holds now.
    pub fn weigh(&mut self, at: Moment, t: Trouble, holds: Option<String>, findings: &mut Vec<Finding>) {
        let (begin, end) = t.patience();
        let known = self.states.get(&t).copied();
        let again = known.is_some_and(|k| match k.state {
            State::Ended { since } => at.since(since) < STEADY,
            _ => k.again,
        });
        let end = if again { STEADY } else { end };
        let subject = Subject::OwnVessel;
        let next = match (known.map(|k| k.state), holds) {
            (None, None) => return,
            (None | Some(State::Ended { .. }), Some(text)) => {
                let told = begin.is_zero();
                if told {
                    findings.push(Finding::Trouble { subject, trouble: t, text });
                }
                Some(State::Holds { since: at, told })
            }
            (Some(State::Holds { since, told: false }), Some(text)) => {
                let told = at.since(since) >= begin;
                if told {
                    findings.push(Finding::Trouble { subject, trouble: t, text });
                }
                Some(State::Holds { since, told })
            }
            (Some(same @ State::Holds { told: true, .. }), Some(_)) => Some(same),
            // What was held too short to be reported says nothing of how steady it is.
            (Some(State::Holds { told: false, .. }), None) => None,
            (Some(State::Ends { .. }), Some(_)) => Some(State::Holds { since: at, told: true }),
            (Some(State::Holds { told: true, .. }), None) if !end.is_zero() => {
                Some(State::Ends { since: at })
            }
            (Some(same @ State::Ends { since }), None) if at.since(since) < end => Some(same),
            (Some(State::Holds { .. } | State::Ends { .. }), None) => {
                findings.push(Finding::Mended { subject, trouble: t });
                Some(State::Ended { since: at })
            }
            (Some(same @ State::Ended { since }), None) => Some(same).filter(|_| at.since(since) < STEADY),
        };
        match next {
            Some(state) => drop(self.states.insert(t, Known { state, again })),
            None => drop(self.states.remove(&t)),
        }
    }

    /// Troubles that have been reported and not ended.
    pub fn told(&self) -> impl Iterator<Item = Trouble> + '_ {
        let stands = |s: State| matches!(s, State::Holds { told: true, .. } | State::Ends { .. });
        self.states.iter().filter(move |(_, k)| stands(k.state)).map(|(&t, _)| t)
    }
}
