//! The way back to one of ours overboard, in short lines between the calls of its alert.

use super::case::{Kind, Whose};
use super::spoken::{Near, how_near, old_clue, short_name, where_aloud};
use super::state::CasualtyState;
use serde::{Deserialize, Serialize};
use terms::METRES_PER_NM;
use terms::speech::{self, Side};

/// Closer than this a person abeam is being passed (own choice).
const PASSING_NM: f64 = 0.1;
/// Slower than this she passes nobody.
const PASSING_KN: f64 = 1.0;
/// A place is known well enough to be alongside it with this radius, three times the error of a beacon's fix (own choice).
const ALONGSIDE_RADIUS_NM: f64 = 0.04;

/// A turn back as this crew drilled it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Turn {
    /// From the alarm until she headed back, in seconds.
    pub time_s: f64,
    /// How far off she was by then at the most, in nautical miles.
    pub greatest_nm: f64,
}

/// What a line of guidance depends on besides the casualty.
#[derive(Debug, Clone, Copy, Default)]
pub struct Guide {
    /// The side that was named last.
    pub said: Option<Side>,
    /// There are others that the watch is guided to, so that each needs a name.
    pub among_others: bool,
    /// The turn as drilled, if it is to be said.
    pub turn: Option<Turn>,
}

impl CasualtyState {
    /// Whether it is one of ours in the water: somebody to turn back for.
    pub fn is_ours(&self) -> bool {
        self.kind == Kind::PersonOverboard && self.whose == Whose::Ours
    }

    /// The side it lies on, if one can be named. `said` is the side last named.
    pub fn side(&self, said: Option<Side>) -> Option<Side> {
        match how_near(self) {
            Near::Off(_) => self.relative_bearing_deg.map(|deg| Side::of(deg, said)),
            Near::CloseBy | Near::NotKnown => None,
        }
    }

    /// Whether it is known to lie within so many metres.
    pub fn is_within(&self, metres: f64) -> bool {
        self.range_nm.is_some_and(|nm| nm * METRES_PER_NM <= metres)
            && self.radius95_nm.is_none_or(|nm| nm <= ALONGSIDE_RADIUS_NM)
    }

    /// Whether anything can be said of its place.
    pub fn is_placed(&self) -> bool {
        how_near(self) != Near::NotKnown
    }

    /// Whether she makes way past it, close and abeam: the moment to have slowed down by.
    pub fn is_passing(&self, said: Option<Side>) -> bool {
        passing(self, said).is_some()
    }

    /// Whether the range opens while it lies abaft the beam: she has yet to turn.
    pub fn is_left_astern(&self) -> bool {
        let abaft =
            matches!(self.side(None), Some(Side::Astern | Side::PortQuarter | Side::StarboardQuarter));
        abaft && self.closing_kn.is_some_and(|kn| kn < 0.0)
    }
}

/// A line of guidance: who where several are, side, distance, closing or opening, and what matters next.
pub fn guidance(s: &CasualtyState, guide: Guide) -> String {
    let who = match s.crew.as_deref() {
        Some(name) => Some(short_name(name)),
        None if guide.among_others => Some(format!("casualty {}", speech::whole(s.id.0))),
        None => None,
    };
    let place = passing(s, guide.said).unwrap_or_else(|| where_aloud(s, guide.said));
    let first: Vec<String> = who.into_iter().chain(place).collect();
    let next = match (old_clue(s), guide.turn) {
        (Some(old), _) => format!("lost sight, {old}"),
        (None, Some(turn)) => {
            format!("turn as drilled, {}, {}", speech::time(turn.time_s), speech::distance(turn.greatest_nm))
        }
        (None, None) => String::new(),
    };
    let reckoned = if s.reckoned.is_some() && s.range_nm.is_some() { "by dead reckoning" } else { "" };
    speech::sentences([first.join(", ").as_str(), reckoned, &next])
}

/// The last line: close enough to look and to talk.
pub fn alongside(s: &CasualtyState, metres: f64) -> String {
    let who = s.crew.as_deref().map_or_else(|| "casualty".to_owned(), short_name);
    let metres = speech::whole(metres.round().clamp(0.0, 1e6) as u32);
    speech::sentences([format!("{who} within {metres} metres").as_str()])
}

/// Abeam and near while she makes way.
fn passing(s: &CasualtyState, said: Option<Side>) -> Option<Vec<String>> {
    let Near::Off(range_nm) = how_near(s) else { return None };
    let side = match s.side(said)? {
        Side::PortBeam => "port",
        Side::StarboardBeam => "starboard",
        _ => return None,
    };
    let moves = s.reach_at_present.is_some_and(|r| r.speed_kn > PASSING_KN);
    (moves && range_nm <= PASSING_NM)
        .then(|| vec![format!("passing abeam to {side}"), speech::distance(range_nm)])
}
