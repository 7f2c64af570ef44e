//! The end of a casualty, and what its beacon may do after it.

use super::Casualties;
use super::case::{Kind, StandDown};
use super::intake::Message;
use super::news::CasualtyNews;
use super::own::OwnContext;
use std::time::Duration;
use terms::{CasualtyId, Moment};
use thiserror::Error;

/// Casualties kept after they were stood down.
const CLOSED_CASES: usize = 64;
/// Silence after which an active beacon that was stood down counts as a new one.
pub(super) const SILENCE_ENDS_STAND_DOWN: Duration = Duration::from_secs(600);
/// The same if others have taken the casualty over: own vessel sails out of its range and in again.
const SILENCE_ENDS_HANDOVER: Duration = Duration::from_secs(6 * 3600);
/// The beacon of a recovered wearer is aboard; further off than this it is not.
const RECOVERED_WITHIN_NM: f64 = 0.25;

/// No such casualty.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum NoSuchCasualty {
    /// Never heard of, or forgotten.
    #[error("there is no casualty {}", .0.0)]
    Unknown(CasualtyId),
    /// Already over.
    #[error("casualty {} has been stood down already", .0.0)]
    StoodDown(CasualtyId),
}

impl Casualties {
    /// Ends a casualty: the only way one ends.
    ///
    /// # Errors
    /// If there is none of this number, or it is over already.
    pub fn stand_down(
        &mut self,
        at: Moment,
        id: CasualtyId,
        reason: StandDown,
    ) -> Result<(), NoSuchCasualty> {
        let Some(index) = self.open.iter().position(|c| c.id == id) else {
            let over = self.closed.iter().any(|c| c.id == id);
            return Err(if over { NoSuchCasualty::StoodDown(id) } else { NoSuchCasualty::Unknown(id) });
        };
        let mut case = self.open.remove(index);
        case.stood_down = Some((at, reason));
        case.noted = false;
        if let Some(identity) = &case.identity {
            self.tests.forget(identity);
        }
        if matches!(case.kind, Kind::ManyBeacons { .. }) {
            self.crowd.clear();
        }
        self.closed.push_back(case);
        if self.closed.len() > CLOSED_CASES {
            self.closed.pop_front();
        }
        self.tell(id, CasualtyNews::StoodDown(reason));
        Ok(())
    }

    /// Whether a beacon that was stood down may keep sending unheeded: it has not been silent since, and if its wearer
    /// was recovered it is not far off.
    pub(super) fn is_quiet_after_stand_down(
        &mut self,
        at: Moment,
        message: &Message,
        own: &OwnContext,
    ) -> bool {
        let Some(case) = self.closed.iter_mut().rev().find(|c| c.is(&message.identity)) else {
            return false;
        };
        let Some((ended, reason)) = case.stood_down else { return false };
        let heard = case.heard.map_or(ended, |h| h.max(ended));
        let silence = at.since(heard);
        let range_nm =
            message.fixed_position().zip(own.position_at(at)).map(|(p, o)| o.range_and_bearing(p).0);
        let quiet = match reason {
            StandDown::HandedOver => silence <= SILENCE_ENDS_HANDOVER,
            StandDown::FalseActivation | StandDown::Test => silence <= SILENCE_ENDS_STAND_DOWN,
            StandDown::Recovered => {
                silence <= SILENCE_ENDS_STAND_DOWN && range_nm.is_none_or(|r| r <= RECOVERED_WITHIN_NM)
            }
        };
        if !quiet {
            return false;
        }
        case.heard = Some(at);
        let told = std::mem::replace(&mut case.noted, true);
        let id = case.id.0;
        if !told {
            let mmsi = case.mmsi();
            self.note(mmsi, format!("the beacon of casualty {id}, which was stood down, is still sending"));
        }
        true
    }
}
