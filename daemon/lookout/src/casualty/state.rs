//! What is known about a casualty at a moment.

use super::case::{Case, ElapsedIs, Identity, Kind, Source, StandDown, Whose, Why};
use super::fixes::{BeaconFix, Doubt};
use super::own::{Known, OwnContext, RelativeTo, SetDrift};
use super::whereabouts::{self, Whereabouts};
use crate::drift::{DriftFrom, OnLine, Surroundings};
use crate::hearing::TELLING_NM;
use std::time::Duration;
use terms::{CasualtyId, Mmsi, Moment, Position, normal_deg};

/// Bursts come once a minute (ITU-R M.1371-5 annex 9, from memory): once two of them and some seconds are overdue, the
/// beacon is no longer at its last position.
pub(crate) const SILENT_AFTER: Duration = Duration::from_secs(130);

terms::closed_list! {
    /// What a position is based on.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum Placed {
        /// The beacon's own fix, no older than two bursts, carried on from the moment it was measured.
        Reported = "reported",
        /// Worked out: an older fix carried on, own track at the likely time, a call's whole minutes.
        Estimated = "estimated",
        /// Not known.
        None = "none",
    }
}

/// How far off a beacon is heard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Audible {
    /// As far as tests of this one were heard.
    Tested {
        /// The furthest.
        to_nm: f64,
    },
    /// As far as a low beacon can be expected to be heard, measured with this antenna.
    Expected {
        /// As likely to be more as less.
        to_nm: f64,
        /// No less than this, with 95 %.
        least_nm: f64,
        /// No more than this, with 95 %.
        most_nm: f64,
    },
}

impl Audible {
    /// The distance.
    pub fn to_nm(self) -> f64 {
        let (Self::Tested { to_nm } | Self::Expected { to_nm, .. }) = self;
        to_nm
    }
}

/// Getting to a place at a speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// In knots.
    pub speed_kn: f64,
    /// How long it takes.
    pub time: Duration,
}

/// Another place where a casualty may be: reports that do not fit the rest, or own track that a beacon's reports do not
/// fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Elsewhere {
    /// Where, carried on to now.
    pub place: Position,
    /// Radius around it that holds the casualty with 95 %, if it is here at all.
    pub radius95_nm: f64,
    /// From own vessel.
    pub range_nm: Option<f64>,
    /// From own vessel, true.
    pub bearing_deg: Option<f64>,
    /// From the more likely place.
    pub off_nm: f64,
    /// How likely the casualty is here, from 0 to 1.
    pub share: f64,
    /// How many bursts put it here; none: it is the mark, by own track.
    pub bursts: u32,
}

/// Own position by dead reckoning, as far as it matters for where a casualty is from here.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reckoned {
    /// Since the last fix.
    pub age: Duration,
    /// How far off range and bearing may be by it: all of its error for a beacon's fix, and for a mark on own track what
    /// it has grown by since.
    pub error_nm: f64,
}

/// A casualty at a moment. `None` is not available.
#[derive(Debug, Clone, PartialEq)]
pub struct CasualtyState {
    /// Its number.
    pub id: CasualtyId,
    /// What it is.
    pub kind: Kind,
    /// Whose it is.
    pub whose: Whose,
    /// What reported it.
    pub source: Source,
    /// Why it was raised.
    pub why: Why,
    /// Identity of its beacon; never that of a ship.
    pub beacon_mmsi: Option<Mmsi>,
    /// Identity of the ship in distress.
    pub ship_mmsi: Option<Mmsi>,
    /// The station that relayed the ship's distress.
    pub relayed_by: Option<Mmsi>,
    /// The emitter of a MOB sentence without an MMSI.
    pub emitter: Option<String>,
    /// The crew member's name.
    pub crew: Option<String>,
    /// What the position is based on.
    pub position: Placed,
    /// Where.
    pub place: Option<Position>,
    /// Radius around it that holds the casualty with 95 %.
    pub radius95_nm: Option<f64>,
    /// How long ago the fall can have been, if nobody saw it: last seen, and missed.
    pub unseen: Option<(Duration, Duration)>,
    /// The line on which it lies, in the order of the moments of the fall: at most nine places. Empty where the moment is
    /// known.
    pub line: Vec<OnLine>,
    /// The share of that time for which own track is not known.
    pub line_unknown: f64,
    /// The other place where it may be, if the clues do not agree.
    pub elsewhere: Option<Elsewhere>,
    /// Where it was last known to be, and when: its last good fix, else the mark.
    pub last_known: Option<Known<Position>>,
    /// Own position is by dead reckoning.
    pub reckoned: Option<Reckoned>,
    /// From own vessel.
    pub range_nm: Option<f64>,
    /// From own vessel, true.
    pub bearing_deg: Option<f64>,
    /// The same, magnetic.
    pub bearing_magnetic_deg: Option<f64>,
    /// Off the bow or the course, [0, 360).
    pub relative_bearing_deg: Option<f64>,
    /// What it is measured from.
    pub relative_to: Option<RelativeTo>,
    /// Since it began.
    pub elapsed: Duration,
    /// How exactly that is known.
    pub elapsed_is: ElapsedIs,
    /// Where it drifts.
    pub drift: Option<SetDrift>,
    /// What that is worked out from.
    pub drift_from: DriftFrom,
    /// How fast the range closes; negative while it opens.
    pub closing_kn: Option<f64>,
    /// Getting there straight at the present speed.
    pub reach_at_present: Option<Reach>,
    /// Getting there straight under engine.
    pub reach_under_engine: Option<Reach>,
    /// Age of the last message of its beacon.
    pub heard_age: Option<Duration>,
    /// Age of its last good fix.
    pub fix_age: Option<Duration>,
    /// Age of the last sighting by somebody aboard; `None` if nobody saw it.
    pub sighted_age: Option<Duration>,
    /// The last position that was not believed, and why.
    pub doubtful: Option<(Position, Doubt)>,
    /// Its beacon's battery is low.
    pub battery_low: Option<bool>,
    /// The furthest its beacon was heard in this case.
    pub heard_to_nm: Option<f64>,
    /// How far off its beacon is heard, and how that is known.
    pub audible: Option<Audible>,
    /// When and why it was stood down.
    pub stood_down: Option<(Moment, StandDown)>,
}

impl CasualtyState {
    /// Nature of a ship's distress, in words (ITU-R M.493).
    pub fn nature(&self) -> Option<&'static str> {
        match self.kind {
            Kind::VesselInDistress(nature) => Some(super::nature::words(nature)),
            _ => None,
        }
    }
}

/// The state of a case. `tested_to_nm` is the furthest a test of its beacon was heard.
pub(super) fn of(
    case: &Case,
    at: Moment,
    own: &OwnContext,
    surroundings: &Surroundings,
    tested_to_nm: Option<f64>,
) -> CasualtyState {
    let here = own.position_at(at);
    let whereabouts = whereabouts::of(case, at, surroundings);
    let place = whereabouts.place;
    let range_and_bearing = here.zip(place).map(|(own, p)| own.range_and_bearing(p));
    let bearing_deg = range_and_bearing.map(|r| r.1);
    let ahead = own.ahead(at).filter(|_| bearing_deg.is_some());
    let range_nm = range_and_bearing.map(|r| r.0);
    let age = |m: Option<Moment>| m.map(|m| at.since(m));
    let of_ship = matches!(case.kind, Kind::VesselInDistress(_));
    CasualtyState {
        id: case.id,
        kind: case.kind,
        whose: case.whose(),
        source: case.source,
        why: case.why,
        beacon_mmsi: case.mmsi().filter(|_| !of_ship),
        ship_mmsi: case.mmsi().filter(|_| of_ship),
        relayed_by: case.relayed_by,
        emitter: match &case.identity {
            Some(Identity::Emitter(e)) if !e.is_empty() => Some(e.clone()),
            _ => None,
        },
        crew: case.crew.clone(),
        position: whereabouts.placed,
        place,
        radius95_nm: whereabouts.radius95_nm,
        unseen: case.line.as_ref().filter(|l| l.unseen).map(|l| (at.since(l.since), at.since(l.until))),
        line_unknown: case.line.as_ref().map_or(0.0, |l| l.unknown),
        elsewhere: elsewhere(&whereabouts, here),
        last_known: last_known(case, whereabouts.last),
        reckoned: reckoned(case, at, own),
        range_nm,
        bearing_deg,
        bearing_magnetic_deg: bearing_deg.zip(own.variation_deg).map(|(b, v)| normal_deg(b - v)),
        relative_bearing_deg: bearing_deg.zip(ahead).map(|(b, a)| normal_deg(b - a.0)),
        relative_to: ahead.map(|a| a.1),
        elapsed: at.since(case.began),
        elapsed_is: case.elapsed_is,
        drift: whereabouts.drift,
        drift_from: whereabouts.drift_from,
        closing_kn: closing_kn(at, own, bearing_deg, whereabouts.drift),
        reach_at_present: reach(range_nm, own.velocity(at).map(|v| v.drift_kn)),
        reach_under_engine: reach(range_nm, own.motoring_speed_kn),
        heard_age: age(case.heard),
        line: whereabouts.line,
        fix_age: age(whereabouts.last.map(|f| f.at)),
        sighted_age: age(whereabouts.sighted),
        doubtful: whereabouts.doubtful.map(|(f, d)| (f.position, d)),
        battery_low: case.battery_low,
        heard_to_nm: case.heard_to_nm,
        audible: audible(case, own, tested_to_nm),
        stood_down: case.stood_down,
    }
}

/// What dead reckoning costs.
fn reckoned(case: &Case, at: Moment, own: &OwnContext) -> Option<Reckoned> {
    let by = own.reckoned?;
    let age = at.since(by.since);
    // A mark on own track errs as that track did then.
    let mark = case.mark.filter(|_| case.fixes.last().is_none());
    let since = mark.map_or(age, |m| at.since(m.at).min(age));
    let part = if age.is_zero() { 1.0 } else { since.as_secs_f64() / age.as_secs_f64() };
    Some(Reckoned { age, error_nm: by.error_nm * part })
}

/// How far off its beacon is heard: by measured reception, or by its own tests if those were heard as far.
fn audible(case: &Case, own: &OwnContext, tested_to_nm: Option<f64>) -> Option<Audible> {
    let tested = tested_to_nm.filter(|nm| *nm >= TELLING_NM);
    let low = case.kind == Kind::PersonOverboard && case.mmsi().is_some();
    let audible = match (own.low_beacon.filter(|_| low), tested) {
        (Some(e), tested) if tested.is_none_or(|nm| nm < e.range_nm) => {
            let least_nm = e.least_nm.max(tested.unwrap_or(0.0));
            Audible::Expected { to_nm: e.range_nm, least_nm, most_nm: e.most_nm }
        }
        (_, tested) => Audible::Tested { to_nm: tested? },
    };
    // The range it was heard to in this case proves more.
    case.heard_to_nm.is_none_or(|h| h <= audible.to_nm()).then_some(audible)
}

/// The other place, as seen from here and from the more likely one.
fn elsewhere(whereabouts: &Whereabouts, here: Option<Position>) -> Option<Elsewhere> {
    let (other, place) = whereabouts.elsewhere.as_ref().zip(whereabouts.place)?;
    let from_here = here.map(|h| h.range_and_bearing(other.place));
    Some(Elsewhere {
        place: other.place,
        radius95_nm: other.radius95_nm,
        range_nm: from_here.map(|r| r.0),
        bearing_deg: from_here.map(|r| r.1),
        off_nm: place.range_and_bearing(other.place).0,
        share: other.share,
        bursts: other.bursts,
    })
}

/// The last fix that fits, else the mark.
fn last_known(case: &Case, last: Option<BeaconFix>) -> Option<Known<Position>> {
    let fix = last.map(|f| Known::new(f.position, f.at));
    fix.or(case.mark.map(|m| Known::new(m.position, m.at)))
}

/// How fast own vessel closes a place that itself drifts.
fn closing_kn(
    at: Moment,
    own: &OwnContext,
    bearing_deg: Option<f64>,
    drift: Option<SetDrift>,
) -> Option<f64> {
    let (sin, cos) = bearing_deg?.to_radians().sin_cos();
    let (own_east, own_north) = own.velocity(at)?.components();
    let (east, north) = drift.map_or((0.0, 0.0), SetDrift::components);
    Some((own_east - east) * sin + (own_north - north) * cos)
}

/// Time for a distance at a speed; `None` below a tenth of a knot.
fn reach(range_nm: Option<f64>, speed_kn: Option<f64>) -> Option<Reach> {
    let (range_nm, speed_kn) = range_nm.zip(speed_kn)?;
    let hours = range_nm / speed_kn;
    let possible = speed_kn >= 0.1 && hours.is_finite() && hours < 1e5;
    possible.then(|| Reach { speed_kn, time: Duration::from_secs_f64(hours.max(0.0) * 3600.0) })
}
