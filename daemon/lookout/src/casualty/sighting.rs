//! Somebody saw the casualty: a side or a bearing, and a distance by eye. A clue like any other.

use super::Casualties;
use super::own::OwnContext;
use super::stand_down::NoSuchCasualty;
use serde::{Deserialize, Serialize};
use terms::{CasualtyId, METRES_PER_NM, Moment, Position, normal_deg};

/// Sightings kept of a casualty; the oldest goes.
pub(super) const KEPT: usize = 32;
/// Standard deviation each way as a part of the distance, which is judged by eye over water (own choice): a quarter where
/// the side is named in words, three twentieths with a compass bearing.
const BY_SIDE: f64 = 0.25;
const BY_BEARING: f64 = 0.15;
/// And never better than this, in nautical miles (own choice: 15 m, as a beacon's own fix).
const LEAST_NM: f64 = 0.008;

/// On which side somebody saw it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Seen {
    /// Off the bow, in degrees, port negative: from a side named in words.
    OffBow(f64),
    /// A true bearing in degrees.
    Bearing(f64),
}

/// A sighting, as a place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Sighting {
    /// When.
    pub at: Moment,
    /// Where the casualty was then.
    pub position: Position,
    /// Standard deviation each way, in nautical miles.
    pub deviation_nm: f64,
}

/// Why a sighting places nobody.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotPlaced {
    /// There is no such casualty.
    #[error(transparent)]
    None(#[from] NoSuchCasualty),
    /// Own position is not known.
    #[error("own position is not known, so the sighting marks no place")]
    NoPosition,
    /// Neither heading nor course is known.
    #[error("neither heading nor course is known: give the true bearing")]
    NoHeading,
}

impl Casualties {
    /// Takes a sighting of an open casualty at a distance in metres; returns the place.
    ///
    /// # Errors
    /// If there is no such casualty, or own position or heading is not known.
    pub fn sighted(
        &mut self,
        at: Moment,
        id: CasualtyId,
        seen: Seen,
        metres: f64,
        own: &OwnContext,
    ) -> Result<Position, NotPlaced> {
        self.follow(at, own);
        let over = self.closed.iter().any(|c| c.id == id);
        let none = if over { NoSuchCasualty::StoodDown(id) } else { NoSuchCasualty::Unknown(id) };
        let case = self.open.iter_mut().find(|c| c.id == id).ok_or(none)?;
        let here = own.position_at(at).ok_or(NotPlaced::NoPosition)?;
        let (bearing_deg, share) = match seen {
            Seen::Bearing(deg) => (deg, BY_BEARING),
            Seen::OffBow(deg) => (own.ahead(at).ok_or(NotPlaced::NoHeading)?.0 + deg, BY_SIDE),
        };
        let range_nm = metres / METRES_PER_NM;
        let position = here.at(normal_deg(bearing_deg), range_nm);
        let deviation_nm = (share * range_nm).max(LEAST_NM);
        case.sightings.push_back(Sighting { at, position, deviation_nm });
        if case.sightings.len() > KEPT {
            case.sightings.pop_front();
        }
        Ok(position)
    }
}
