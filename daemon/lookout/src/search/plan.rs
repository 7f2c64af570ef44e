//! A search pattern laid round the datum, leg by leg, in moving water.
//!
//! Legs are laid relative to the casualty's own drift: what counts is the track through the water that carries it. So
//! each leg is a heading through the water and a time, with the track over ground given alongside.

use super::coverage::{Area, Searched, probability_of_detection};
use super::line;
use super::sweep::Sweep;
use crate::casualty::{OwnContext, SetDrift, WindFrom};
use crate::drift::{Current, CurrentFrom, Datum};
use crate::light::{Change, Light, Sky};
use serde::{Deserialize, Serialize};
use std::f64::consts::PI;
use std::time::Duration;
use terms::{Moment, Position, Utc, normal_deg, turn_deg};
use thiserror::Error;

/// The pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pattern {
    /// Outward in a square spiral: legs of 1, 1, 2, 2, 3, 3 … spacings, turns of 90° to starboard.
    ExpandingSquare,
    /// Out, across and in again three times: nine legs of one radius, turns of 120° to starboard, through the
    /// datum each time. For a datum that is well known.
    Sector,
    /// Along the datum line from its nearer end, for somebody whom nobody saw fall.
    TrackLine,
}

/// The request.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wish {
    /// The pattern.
    pub pattern: Pattern,
    /// The second pass of the same pattern: turned by 45° (square) or 30° (sector).
    pub second_pass: bool,
    /// Which search this is, from 1; the radius grows with it.
    pub number: usize,
    /// Track spacing by hand in nautical miles; first choice. Else the sweep width.
    pub spacing_nm: Option<f64>,
    /// Sweep width, if there is an idea of it: it gives the coverage.
    pub sweep: Option<Sweep>,
    /// Radius by hand in nautical miles; else by the datum.
    pub radius_nm: Option<f64>,
    /// Speed through the water in knots.
    pub speed_kn: f64,
    /// Course of the first leg, true; else down-drift.
    pub first_course_deg: Option<f64>,
}

/// Why no plan can be made.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum NoPlan {
    /// Neither spacing nor sweep width.
    #[error("give a track spacing between 0.01 and 5 nm, or a sweep width to take it from")]
    Spacing,
    /// Too slow, or not a speed.
    #[error(
        "a speed of {0} kn is too slow to lay a pattern in this drift; it takes 0.5 to 50 kn and more than the leeway"
    )]
    Speed(f64),
    /// No datum line.
    #[error(
        "there is no datum line to search along: the moment of the fall is known, or the beacon reports where it is"
    )]
    Line,
    /// Not a radius.
    #[error("a radius of {0} nm is none; it takes 0.05 to 20 nm")]
    Radius(f64),
}

/// One leg.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Leg {
    /// Heading to steer through the water, true.
    pub heading_deg: f64,
    /// The same, magnetic.
    pub heading_magnetic_deg: Option<f64>,
    /// Length through the water.
    pub through_water_nm: f64,
    /// How long it takes.
    pub time: Duration,
    /// Track over ground.
    pub track_deg: f64,
    /// Length over ground.
    pub over_ground_nm: f64,
    /// Where it begins and ends over ground.
    pub from: Position,
    /// Its end.
    pub to: Position,
    /// When it begins.
    pub begins: Moment,
    /// Whether a sailing boat can lay it: not closer to the wind than 45°. `None` without wind.
    pub under_sail: Option<bool>,
}

/// A plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// The pattern.
    pub pattern: Pattern,
    /// Whether it is the second pass.
    pub second_pass: bool,
    /// Which search this is.
    pub number: usize,
    /// Track spacing; no less than can be steered.
    pub spacing_nm: f64,
    /// Sweep width, if there is an idea of it.
    pub sweep_width_nm: Option<f64>,
    /// Speed through the water.
    pub speed_kn: f64,
    /// What it covers, to either side of the middle.
    pub radius_nm: f64,
    /// What the next search should cover.
    pub next_radius_nm: f64,
    /// From where own vessel is to the datum; `None` where own position is not known.
    pub approach: Option<Leg>,
    /// The pattern itself.
    pub legs: Vec<Leg>,
    /// When the last leg ends: the plan holds until then, unless a new fix or a wind shift calls for a new one.
    pub holds_until: Moment,
    /// Begin the first leg no later than this: by then the datum has drifted half a spacing away from where the plan has
    /// it, or half of the time that the plan takes is over.
    pub begin_by: Moment,
    /// Drift it is laid in.
    pub drift: SetDrift,
    /// Sweep width by spacing, if a sweep width is known.
    pub coverage: Option<f64>,
    /// The probability of finding what is there.
    pub probability_of_detection: Option<f64>,
    /// How likely the casualty is within what a search along the datum line covers, from 0 to 1.
    pub containment: Option<f64>,
    /// The area as it counts once searched in vain.
    pub area: Option<Searched>,
    /// The light at the datum, as the plan is made; `None` without UTC.
    #[serde(skip)]
    pub light: Option<Light>,
    /// What must be said with it.
    pub cautions: Vec<String>,
}

/// Total probable errors covered by the first to the fifth search (IAMSAR, from memory).
const SEARCH_FACTORS: [f64; 5] = [1.1, 1.6, 2.0, 2.3, 2.5];
/// A circular normal's 95 % radius by its 50 % radius, which is the total probable error: √(ln 20 / ln 2).
const RADIUS95_PER_PROBABLE_ERROR: f64 = 2.078_9;
/// A sailing boat lays no leg closer to the wind than this (common practice).
const CLOSEST_TO_WIND_DEG: f64 = 45.0;
/// No leg is shorter than this takes: a small boat needs a quarter of a minute for a turn, as long to settle on the new
/// course, and the helm must look out on it besides (own choice; ships are given legs of six minutes).
const LEAST_LEG: Duration = Duration::from_secs(60);
/// Rounds of a square at most: 24 legs.
const ROUNDS: usize = 12;
/// Heads every plan.
pub const FIRST_CAUTION: &str =
    "The coordinator ashore and the vessel's own procedure come first. This is guidance, not an instruction.";

/// Radius of the n-th search (from 1) from the datum's 95 % radius.
pub fn search_radius_nm(radius95_nm: f64, number: usize) -> f64 {
    let factor = SEARCH_FACTORS.get(number.max(1) - 1).or(SEARCH_FACTORS.last()).copied().unwrap_or(2.5);
    factor * radius95_nm / RADIUS95_PER_PROBABLE_ERROR
}

/// The shortest leg that can be steered at a speed, and so the least spacing, in nautical miles.
pub fn least_leg_nm(speed_kn: f64) -> f64 {
    speed_kn * LEAST_LEG.as_secs_f64() / 3600.0
}

/// Velocities the legs are laid in: of the datum over ground, and its leeway through the water.
struct Frame {
    drift: (f64, f64),
    leeway: (f64, f64),
    speed_kn: f64,
    wind: Option<WindFrom>,
    variation_deg: Option<f64>,
}

impl Frame {
    /// A leg of a length on a course, both as seen from the drifting datum. `None` if the speed is too low.
    fn leg(&self, from: Position, begins: Moment, course_deg: f64, length_nm: f64) -> Option<Leg> {
        let (sin, cos) = course_deg.to_radians().sin_cos();
        let along = self.leeway.0 * sin + self.leeway.1 * cos;
        let leeway2 = self.leeway.0 * self.leeway.0 + self.leeway.1 * self.leeway.1;
        let under_root = along * along - leeway2 + self.speed_kn * self.speed_kn;
        let over_datum_kn = under_root.max(0.0).sqrt() - along;
        if under_root < 0.0 || over_datum_kn < 0.1 {
            return None;
        }
        let hours = length_nm / over_datum_kn;
        let water = (over_datum_kn * sin + self.leeway.0, over_datum_kn * cos + self.leeway.1);
        let heading_deg = normal_deg(water.0.atan2(water.1).to_degrees());
        let ground =
            SetDrift::from_components(over_datum_kn * sin + self.drift.0, over_datum_kn * cos + self.drift.1);
        let over_ground_nm = ground.drift_kn * hours;
        Some(Leg {
            heading_deg,
            heading_magnetic_deg: self.variation_deg.map(|v| normal_deg(heading_deg - v)),
            through_water_nm: self.speed_kn * hours,
            time: Duration::try_from_secs_f64(hours * 3600.0).ok()?,
            track_deg: ground.set_deg,
            over_ground_nm,
            from,
            to: from.at(ground.set_deg, over_ground_nm),
            begins,
            under_sail: self.wind.map(|w| turn_deg(heading_deg, w.from_deg).abs() >= CLOSEST_TO_WIND_DEG),
        })
    }
}

impl Plan {
    /// Lays a pattern round the datum for own vessel.
    ///
    /// # Errors
    /// If no pattern can be laid with the spacing, radius or speed.
    pub fn new(datum: &Datum, own: &OwnContext, current: &Current, wish: &Wish) -> Result<Self, NoPlan> {
        let width_nm = wish.sweep.and_then(Sweep::width_nm);
        let wanted_spacing_nm =
            wish.spacing_nm.or(width_nm).filter(|s| (0.01..=5.0).contains(s)).ok_or(NoPlan::Spacing)?;
        let least_nm = if wish.speed_kn.is_finite() { least_leg_nm(wish.speed_kn) } else { 0.0 };
        let spacing_nm = wanted_spacing_nm.max(least_nm);
        let wanted_nm = wish.radius_nm.unwrap_or_else(|| search_radius_nm(datum.radius95_nm, wish.number));
        if wish.radius_nm.is_some() && !(0.05..=20.0).contains(&wanted_nm) || !wanted_nm.is_finite() {
            return Err(NoPlan::Radius(wanted_nm));
        }
        let frame = frame(datum, own, current, wish).ok_or(NoPlan::Speed(wish.speed_kn))?;
        let slow = NoPlan::Speed(wish.speed_kn);
        let line = match wish.pattern {
            Pattern::TrackLine => line::from_nearer_end(&datum.line, own.position_at(datum.at)),
            Pattern::ExpandingSquare | Pattern::Sector => Vec::new(),
        };
        if wish.pattern == Pattern::TrackLine && line.len() < 2 {
            return Err(NoPlan::Line);
        }
        let target = line.first().copied().unwrap_or(datum.place);
        let approach = approach(target, datum.at, own, &frame).ok_or(slow)?;
        let begins = approach.map_or(datum.at, |a| a.begins + a.time);
        let hours = begins.since(datum.at).as_secs_f64() / 3600.0;
        let start = target.at(datum.drift.set_deg, datum.drift.drift_kn * hours);
        let first = wish.first_course_deg.unwrap_or(datum.drift.set_deg);
        let (courses, radius_nm) = match wish.pattern {
            Pattern::ExpandingSquare => square(first, wish.second_pass, spacing_nm, wanted_nm),
            Pattern::Sector => sector(first, wish.second_pass, wanted_nm.max(0.05).max(least_nm)),
            Pattern::TrackLine => {
                let half_nm = if wish.second_pass { 1.5 * spacing_nm } else { 0.5 * spacing_nm };
                (line::courses(&line, spacing_nm, wish.second_pass), half_nm)
            }
        };
        let mut legs: Vec<Leg> = Vec::with_capacity(courses.len());
        for (course_deg, length_nm) in courses {
            let (from, begins) = legs.last().map_or((start, begins), |l: &Leg| (l.to, l.begins + l.time));
            legs.push(frame.leg(from, begins, course_deg, length_nm).ok_or(slow)?);
        }
        let holds_until = legs.last().map_or(begins, |l| l.begins + l.time);
        let coverage = width_nm.map(|w| match wish.pattern {
            Pattern::ExpandingSquare | Pattern::TrackLine => w / spacing_nm,
            // Nine legs of one radius in a circle.
            Pattern::Sector => 9.0 * w / (PI * radius_nm),
        });
        let mut plan = Self {
            pattern: wish.pattern,
            second_pass: wish.second_pass,
            number: wish.number.max(1),
            spacing_nm,
            sweep_width_nm: width_nm,
            speed_kn: wish.speed_kn,
            radius_nm,
            next_radius_nm: search_radius_nm(datum.radius95_nm, wish.number.max(1) + 1).max(radius_nm),
            approach,
            legs,
            holds_until,
            begin_by: begins
                + half_spacing(spacing_nm, datum.drift.drift_kn).min(holds_until.since(begins) / 2),
            drift: datum.drift,
            coverage,
            probability_of_detection: coverage.map(probability_of_detection),
            containment: None,
            area: None,
            light: own.utc.and_then(|(utc, _)| Light::at(utc, datum.place)),
            cautions: vec![FIRST_CAUTION.to_owned()],
        };
        let middle = begins + holds_until.since(begins) / 2;
        if wish.pattern == Pattern::TrackLine {
            plan.next_radius_nm = 1.5 * spacing_nm;
            let lies =
                line::area(&line, spacing_nm, wish.second_pass, datum.at, coverage.unwrap_or_default());
            plan.containment = lies.map(|lies| datum.share(|place| lies.holds(place)));
            plan.area = lies.filter(|_| coverage.is_some()).map(|a| Searched { number: plan.number, ..a });
        } else {
            plan.area = coverage.map(|coverage| plan.area_at(start, begins, middle, first, coverage));
        }
        plan.caution(wish, wanted_nm, current);
        if spacing_nm > wanted_spacing_nm {
            plan.cautions.push(format!(
                "Spacing widened from {wanted_spacing_nm:.2} to {spacing_nm:.2} nm: at {:.1} kn a shorter leg is over within a \
                 minute and cannot be steered. For a closer search go slower.",
                wish.speed_kn
            ));
        }
        plan.cautions.extend(plan.dark(datum.at));
        Ok(plan)
    }

    /// The area as it lies in the middle of the search.
    fn area_at(
        &self,
        start: Position,
        begins: Moment,
        middle: Moment,
        first: f64,
        coverage: f64,
    ) -> Searched {
        let hours = middle.since(begins).as_secs_f64() / 3600.0;
        let turned = if self.second_pass { 45.0 } else { 0.0 };
        let area = match self.pattern {
            Pattern::ExpandingSquare => {
                Area::Square { half_nm: self.radius_nm, side_deg: normal_deg(first + turned) }
            }
            Pattern::Sector | Pattern::TrackLine => Area::Circle { radius_nm: self.radius_nm },
        };
        let centre = start.at(self.drift.set_deg, self.drift.drift_kn * hours);
        Searched { at: middle, centre, area, coverage, number: self.number }
    }

    /// What must be said of the light. `now` is the moment that the light is of.
    fn dark(&self, now: Moment) -> Option<String> {
        const NO_TABLE: &str = "there is no published sweep width by night";
        let light = self.light.as_ref()?;
        if matches!(light.sky, Sky::Nautical | Sky::Night) {
            return Some(format!(
                "It is dark: {NO_TABLE}. Lights, reflectors and voices find people by night."
            ));
        }
        let ends = light.next(Change::CivilEnds)?;
        let gone = now + light.left()?;
        let leg = self.legs.iter().position(|l| l.begins + l.time > gone)? + 1;
        Some(format!("The light goes at {} on leg {leg}: {NO_TABLE}.", hm(ends)))
    }

    /// What must be said with the plan.
    fn caution(&mut self, wish: &Wish, wanted_nm: f64, current: &Current) {
        let mut say = |text: String| self.cautions.push(text);
        if let Some(limits) = wish.sweep.and_then(Sweep::limits) {
            say(format!("Limits: {limits}."));
        }
        if wish.sweep.is_some_and(|s| s.width_nm().is_none()) {
            say("The table has no sweep width for this visibility: no coverage is given.".to_owned());
        }
        if current.from == CurrentFrom::Nothing {
            say("The current is not known: the casualty is taken to move with the water.".to_owned());
        }
        if wanted_nm > self.radius_nm * 1.01 && self.pattern != Pattern::TrackLine {
            say(format!(
                "The pattern ends at {:.2} nm; the datum asks for {wanted_nm:.2} nm. Other vessels or a wider spacing are needed.",
                self.radius_nm
            ));
        }
        let unlaid: Vec<String> = (1..)
            .zip(&self.legs)
            .filter(|(_, l)| l.under_sail == Some(false))
            .map(|(n, _): (usize, _)| n.to_string())
            .collect();
        if !unlaid.is_empty() {
            self.cautions.push(format!(
                "A sailing boat cannot lay leg {}: closer to the wind than {CLOSEST_TO_WIND_DEG:.0} degrees. Engine, or tacks.",
                unlaid.join(", ")
            ));
        }
    }
}

/// Hours and minutes of UTC.
pub(super) fn hm(utc: Utc) -> String {
    utc.civil().map_or(String::new(), |t| t.format("%H:%M UTC").to_string())
}

/// How long the datum takes to drift half a spacing; an hour at most.
fn half_spacing(spacing_nm: f64, drift_kn: f64) -> Duration {
    let hours = if drift_kn > 0.0 { 0.5 * spacing_nm / drift_kn } else { 1.0 };
    Duration::from_secs_f64(3600.0 * hours.clamp(0.0, 1.0))
}

/// The velocities of the datum and its leeway; `None` if the boat cannot outrun them.
fn frame(datum: &Datum, own: &OwnContext, current: &Current, wish: &Wish) -> Option<Frame> {
    let drift = datum.drift.components();
    let leeway = if current.from == CurrentFrom::Nothing {
        (0.0, 0.0)
    } else {
        (drift.0 - current.east_kn, drift.1 - current.north_kn)
    };
    let fast = (0.5..=50.0).contains(&wish.speed_kn) && wish.speed_kn > leeway.0.hypot(leeway.1);
    fast.then(|| Frame {
        drift,
        leeway,
        speed_kn: wish.speed_kn,
        wind: own.wind.map(|w| w.value),
        variation_deg: own.variation_deg,
    })
}

/// The leg to a drifting place: none if own position is not known; the outer `None` if it is never reached.
fn approach(place: Position, at: Moment, own: &OwnContext, frame: &Frame) -> Option<Option<Leg>> {
    let Some(here) = own.position_at(at) else { return Some(None) };
    let (range_nm, bearing_deg) = here.range_and_bearing(place);
    frame.leg(here, at, bearing_deg, range_nm).map(Some)
}

/// Courses and lengths of an expanding square, and what it covers to either side of its middle.
fn square(first_deg: f64, second_pass: bool, spacing_nm: f64, wanted_nm: f64) -> (Vec<(f64, f64)>, f64) {
    let first_deg = first_deg + if second_pass { 45.0 } else { 0.0 };
    let rounds = ((2.0 * wanted_nm / spacing_nm - 1.0).ceil().clamp(2.0, ROUNDS as f64)) as usize;
    let legs =
        (0..2 * rounds).map(|i| (normal_deg(first_deg + 90.0 * i as f64), (i / 2 + 1) as f64 * spacing_nm));
    (legs.collect(), 0.5 * (rounds + 1) as f64 * spacing_nm)
}

/// Courses and lengths of a sector search: out, across, in, and on through the datum.
fn sector(first_deg: f64, second_pass: bool, radius_nm: f64) -> (Vec<(f64, f64)>, f64) {
    let first_deg = first_deg + if second_pass { 30.0 } else { 0.0 };
    let turns = [0.0, 120.0, 240.0, 240.0, 0.0, 120.0, 120.0, 240.0, 0.0];
    (turns.iter().map(|t| (normal_deg(first_deg + t), radius_nm)).collect(), radius_nm)
}
