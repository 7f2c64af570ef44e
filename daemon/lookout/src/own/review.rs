//! Whether own vessel's instruments can be right, as far as they contradict one another.

use super::doubt::Trouble;
use super::{OwnVessel, TOGETHER};
use crate::source::{Heard, Origin};
use crate::{Finding, Settings};
use std::time::Duration;
use terms::{Moment, Position, Quantity, turn_deg};

/// The instruments are weighed no more often than this.
const REVIEWED_EVERY: Duration = Duration::from_millis(500);
/// Positions compared with one another are no older than this.
const FRESH: Duration = Duration::from_secs(10);
/// A position further than this beyond the most she can have moved is a jump.
const JUMP_NM: f64 = 0.1;
/// How long a jump is reported after the last one.
const JUMP_TOLD_FOR: Duration = Duration::from_secs(120);
/// A position after a longer silence is not compared with anything.
const JUMP_WITHIN: Duration = Duration::from_secs(60);
/// How much faster than reported she may have gone between two positions.
const JUMP_MARGIN_KN: f64 = 20.0;
/// A position that stays the same to the last digit for so long while she makes way at this speed or more is frozen: even
/// in hundredths of a minute it changes every twenty seconds.
const STANDS_FOR: Duration = Duration::from_secs(60);
/// A heading that stays the same to a twentieth of a degree has not moved.
const FROZEN_DEG: f64 = 0.05;
/// It is frozen if she makes way at this speed, and either her course has swung by this much meanwhile …
const MAKES_WAY_KN: f64 = 2.0;
const SWUNG_DEG: f64 = 30.0;
const SWUNG_AFTER: Duration = Duration::from_secs(30);
/// … or for this long: no small boat holds one heading to the tenth of a degree (common practice).
const FROZEN_AFTER: Duration = Duration::from_secs(600);
/// A log is fouled if it shows less than this part of the speed over ground, and this much less in knots.
const FOULED_PART: f64 = 1.0 / 3.0;
const FOULED_KN: f64 = 2.0;
/// A station at rest reports every three minutes (ITU-R M.1371-5 table 1): own transmitter is silent if it is not heard
/// for more than twice that.
pub(super) const TRANSMITTER_SILENCE: Duration = Duration::from_secs(400);

/// What must be remembered to judge the instruments.
#[derive(Debug, Clone, Default)]
pub(super) struct Watched {
    jump: Option<(Moment, f64)>,
    /// The position in use, since when it is the same, and when it was last heard.
    stands: Option<(Position, Moment, Moment)>,
    /// Since when the heading has stayed the same, the course then, and how far the course has swung since.
    heading: Option<(Moment, f64)>,
    heading_heard: Option<Moment>,
    course_then_deg: Option<f64>,
    swung_deg: f64,
    makes_way_since: Option<Moment>,
    reviewed: Option<Moment>,
    transmitter: Option<Moment>,
    transmitter_position: Option<(Moment, Position)>,
}

impl Watched {
    pub fn hear_position(
        &mut self,
        at: Moment,
        before: Option<&Heard<Position>>,
        now: Position,
        sog_kn: Option<f64>,
    ) {
        let Some(before) = before.filter(|b| at.since(b.at) <= JUMP_WITHIN) else { return };
        let hours = at.since(before.at).as_secs_f64() / 3600.0;
        let may_nm = JUMP_NM + (sog_kn.unwrap_or(10.0) + JUMP_MARGIN_KN) * hours;
        // A degree of latitude is 60 nm: no need for the geodesic for the many positions close together.
        let near_deg = may_nm / 130.0;
        if (before.value.latitude_deg() - now.latitude_deg()).abs() < near_deg
            && turn_deg(before.value.longitude_deg(), now.longitude_deg()).abs() < near_deg
        {
            return;
        }
        let moved_nm = before.value.range_and_bearing(now).0;
        if moved_nm > may_nm {
            self.jump = Some((at, moved_nm));
        }
    }

    /// Takes the position in use.
    pub fn hear_used(&mut self, at: Moment, position: Position) {
        let same = self.stands.filter(|(p, _, heard)| *p == position && at.since(*heard) <= JUMP_WITHIN);
        self.stands = Some((position, same.map_or(at, |(_, since, _)| since), at));
    }

    /// Whether a position jumped at this moment.
    pub fn jumped_at(&self, at: Moment) -> bool {
        self.jump.is_some_and(|(then, _)| then == at)
    }

    pub fn hear_course(&mut self, at: Moment, under_way: Option<(f64, f64)>) {
        let Some((_, cog_deg)) = under_way.filter(|(sog_kn, _)| *sog_kn >= MAKES_WAY_KN) else {
            self.makes_way_since = None;
            self.course_then_deg = None;
            self.swung_deg = 0.0;
            return;
        };
        self.makes_way_since.get_or_insert(at);
        let then = *self.course_then_deg.get_or_insert(cog_deg);
        self.swung_deg = self.swung_deg.max(turn_deg(then, cog_deg).abs());
    }

    pub fn hear_heading(&mut self, at: Moment, deg: f64) {
        self.heading_heard = Some(at);
        if !self.heading.is_some_and(|(_, same)| turn_deg(same, deg).abs() <= FROZEN_DEG) {
            self.heading = Some((at, deg));
            self.course_then_deg = None;
            self.swung_deg = 0.0;
        }
    }

    pub fn hear_transmitter(&mut self, at: Moment, position: Option<Position>) {
        self.transmitter = Some(at);
        self.transmitter_position = position.map(|p| (at, p)).or(self.transmitter_position);
    }

    pub fn transmitted(&self) -> Option<Moment> {
        self.transmitter
    }

    fn frozen(&self, at: Moment) -> Option<String> {
        let (since, deg) = self.heading?;
        let heard = self.heading_heard.is_some_and(|h| at.since(h) <= TOGETHER);
        let way = at.since(self.makes_way_since?.max(since));
        let swung = self.swung_deg >= SWUNG_DEG && way >= SWUNG_AFTER;
        (heard && (swung || way >= FROZEN_AFTER)).then(|| {
            let why = if swung {
                format!("while the course swung by {:.0}°", self.swung_deg)
            } else {
                String::new()
            };
            format!("heading stands at {deg:.1}° for {} s {why}", way.as_secs()).trim_end().to_owned()
        })
    }
}

impl OwnVessel {
    /// Weighs every trouble by what was last heard.
    pub(super) fn review(&mut self, at: Moment, settings: &Settings, findings: &mut Vec<Finding>) {
        if self.watched.reviewed.is_some_and(|r| at >= r && at.since(r) < REVIEWED_EVERY) {
            return;
        }
        self.watched.reviewed = Some(at);
        let jump = self.watched.jump.filter(|(then, _)| at.since(*then) < JUMP_TOLD_FOR);
        let silent = self.watched.transmitter.filter(|&t| at.since(t) > TRANSMITTER_SILENCE);
        let weighed = [
            (Trouble::PositionsDiffer, self.positions_differ(at, settings)),
            (
                Trouble::PositionJumps,
                jump.map(|(_, nm)| format!("position jumped by {nm:.2} nm, further than she can have moved")),
            ),
            (Trouble::PositionFrozen, self.position_frozen(at)),
            (Trouble::PositionWalks, self.fix_in_doubt()),
            (Trouble::CompassFrozen, self.watched.frozen(at)),
            (Trouble::LogFouled, self.log_fouled(at)),
            (Trouble::TransmitterPosition, self.transmitter_astray(at, settings)),
            (
                Trouble::TransmitterSilent,
                silent
                    .map(|t| format!("own AIS transmitter not heard for {} min", at.since(t).as_secs() / 60)),
            ),
        ];
        let alarms = [Trouble::SetSends, Trouble::SetReceives, Trouble::SetSensors];
        let weighed = weighed.into_iter().chain(alarms.map(|t| (t, self.set_alarms.say(at, t))));
        for (trouble, holds) in weighed {
            self.doubts.weigh(at, trouble, holds, findings);
        }
    }

    /// The two receivers' positions furthest apart, if that is too far.
    fn positions_differ(&self, at: Moment, settings: &Settings) -> Option<String> {
        let fresh: Vec<&Heard<Position>> = self
            .position
            .all()
            .iter()
            .filter(|h| at.since(h.at) <= FRESH && h.source.origin == Origin::Instrument)
            .collect();
        let sog_kn = self.value(at, Quantity::Sog).unwrap_or(0.0);
        for (i, a) in fresh.iter().enumerate() {
            for b in fresh.iter().skip(i + 1).filter(|b| b.source != a.source) {
                let apart_nm = a.value.range_and_bearing(b.value).0;
                let moved_nm = sog_kn * a.at.seconds_from(b.at).abs() / 3600.0;
                if apart_nm > settings.positions_differ_nm + moved_nm {
                    let (a, b) = (a.source.describe(settings), b.source.describe(settings));
                    return Some(format!("positions of {a} and {b} are {apart_nm:.2} nm apart"));
                }
            }
        }
        None
    }

    /// The position stands while the log shows way, or the receiver itself does.
    fn position_frozen(&self, at: Moment) -> Option<String> {
        let (_, since, heard) = self.watched.stands.filter(|s| at.since(s.2) <= FRESH)?;
        let speed_kn =
            [Quantity::SpeedThroughWater, Quantity::Sog].into_iter().find_map(|q| self.recent(at, q))?;
        let stood = heard.since(since);
        (stood >= STANDS_FOR && speed_kn >= MAKES_WAY_KN).then(|| {
            format!("position has not changed for {} s while she makes {speed_kn:.1} kn", stood.as_secs())
        })
    }

    pub(super) fn log_fouled(&self, at: Moment) -> Option<String> {
        let log_kn = self.recent(at, Quantity::SpeedThroughWater)?;
        let sog_kn = self.recent(at, Quantity::Sog)?;
        (log_kn < sog_kn * FOULED_PART && sog_kn - log_kn >= FOULED_KN).then(|| {
            format!("log shows {log_kn:.1} kn and she makes {sog_kn:.1} kn over ground: fouled, or a strong current")
        })
    }

    fn transmitter_astray(&self, at: Moment, settings: &Settings) -> Option<String> {
        let (then, sent) = self.watched.transmitter_position.filter(|(t, _)| at.since(*t) <= FRESH)?;
        let used = self.position.current()?;
        if used.source.origin == Origin::Transmitter || at.since(used.at) > FRESH {
            return None;
        }
        let sog_kn = self.value(at, Quantity::Sog).unwrap_or(0.0);
        let apart_nm = used.value.range_and_bearing(sent).0;
        // A transmitter's report may already be some ten seconds old when sent.
        let moved_nm = sog_kn * (then.seconds_from(used.at).abs() + 10.0) / 3600.0;
        (apart_nm > settings.positions_differ_nm + moved_nm)
            .then(|| format!("own AIS transmitter sends a position {apart_nm:.2} nm from ours"))
    }

    /// Troubles reported and not ended.
    pub fn troubles(&self) -> impl Iterator<Item = Trouble> + '_ {
        self.doubts.told()
    }
}
