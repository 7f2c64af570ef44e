//! A search that is being sailed: what to steer at each turn, and what own track has searched.

use super::coverage::{Area, Searched};
use super::plan::{Leg, Plan, hm};
use crate::casualty::{Known, SetDrift};
use serde::{Deserialize, Serialize};
use std::time::Duration;
use terms::{CasualtyId, Moment, Plane, Position, Utc, rounded, speech, three_digits, turn_deg};

/// Own track is kept in points so far apart in time, …
const STEP: Duration = Duration::from_secs(10);
/// … and so many of them: six hours.
const POINTS: usize = 2160;
/// Most strips that a search is counted in.
const STRIPS: usize = 48;
/// Own track is taken as straight where it strays from a line by no more than this part of the spacing.
const STRAIGHT: f64 = 0.25;
/// A turn by less is not worth a word.
const TURNS_DEG: f64 = 5.0;

/// A search that is being sailed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sailing {
    /// Whom it is for.
    pub casualty: CasualtyId,
    /// The plan.
    pub plan: Plan,
    /// When it began.
    pub began: Moment,
    /// How many of its legs are over, the one to the datum included.
    over: usize,
    track: Vec<Known<Position>>,
}

/// What own track has searched.
#[derive(Debug, Clone, PartialEq)]
pub struct Swept {
    /// The strips along it; empty without a sweep width.
    pub areas: Vec<Searched>,
    /// How long the track is, as seen from the drifting datum, in nautical miles.
    pub run_nm: f64,
    /// How long it took.
    pub time: Duration,
}

impl Sailing {
    /// A plan that begins to be sailed.
    pub fn new(at: Moment, casualty: CasualtyId, plan: Plan) -> Self {
        Self { casualty, plan, began: at, over: 0, track: Vec::new() }
    }

    fn legs(&self) -> impl Iterator<Item = &Leg> {
        self.plan.approach.iter().chain(&self.plan.legs)
    }

    /// When the next turn is due; `None` once the last leg is over.
    pub fn due(&self) -> Option<Moment> {
        self.legs().nth(self.over).map(|l| l.begins + l.time)
    }

    /// Goes on to the leg of this moment; returns whether that is another one.
    pub fn advance(&mut self, at: Moment) -> bool {
        let before = self.over;
        while self.due().is_some_and(|due| due <= at) {
            self.over += 1;
        }
        self.over != before
    }

    /// Takes own place.
    pub fn follow(&mut self, at: Moment, here: Position) {
        let due = self.track.last().is_none_or(|last| at.since(last.at) >= STEP);
        if due && self.track.len() < POINTS {
            self.track.push(Known::new(here, at));
        }
    }

    /// What to steer now, written and spoken. `utc` is that of `at`.
    pub fn words(&self, at: Moment, utc: Option<Utc>) -> (String, String) {
        let number = self.plan.number;
        let Some(leg) = self.legs().nth(self.over) else {
            return (
                format!("Search {number}: the pattern is sailed. `search end` counts what was searched"),
                speech::sentences(["search", "the last leg is over"]),
            );
        };
        let before = self.over.checked_sub(1).and_then(|n| self.legs().nth(n));
        let turn = before.map(|b| turn_deg(b.heading_deg, leg.heading_deg));
        let turn = turn.map(|deg| match deg {
            d if d.abs() < TURNS_DEG => "keep your course",
            d if d < 0.0 => "turn to port",
            _ => "turn to starboard",
        });
        let (steer, by) = match leg.heading_magnetic_deg {
            Some(magnetic) => (magnetic, "magnetic"),
            None => (leg.heading_deg, "true"),
        };
        let ends = leg.begins + leg.time;
        let until =
            utc.map_or(String::new(), |u| format!(", until {}", hm(u.plus_ms(ends.0.saturating_sub(at.0)))));
        let name = match self.over.checked_sub(usize::from(self.plan.approach.is_some())) {
            None => "to the datum".to_owned(),
            Some(n) => format!("leg {} of {}{}", n + 1, self.plan.legs.len(), self.plan.at_end(n + 1)),
        };
        let left = ends.since(at);
        let written = format!(
            "Search {number}, {name}: {}steer {}° true{} for {}{until}",
            turn.map_or(String::new(), |t| format!("{t}, ")),
            three_digits(leg.heading_deg),
            leg.heading_magnetic_deg.map_or(String::new(), |m| format!(" ({}° magnetic)", three_digits(m))),
            rounded(left),
        );
        let steer = format!(
            "steer {} {by}, {}",
            speech::digits(&three_digits(steer)),
            speech::time(left.as_secs_f64())
        );
        (written, speech::sentences(["search", turn.unwrap_or_default(), &steer]))
    }

    /// What own track has searched until a moment. With the sweep width (by default the plan's) it counts: along each
    /// straight piece of the track a strip as wide as the spacing, in which the coverage is sweep width by spacing.
    pub fn swept(&self, at: Moment, sweep_width_nm: Option<f64>) -> Swept {
        let time = at.since(self.began);
        let Some(first) = self.track.first() else {
            return Swept { areas: Vec::new(), run_nm: 0.0, time };
        };
        let plane = Plane::at(first.value);
        let drift = SetDrift::components(self.plan.drift);
        let hours = |at: Moment| at.since(first.at).as_secs_f64() / 3600.0;
        // As seen from the datum, which drifts on.
        let seen: Vec<(Moment, [f64; 2])> = self
            .track
            .iter()
            .map(|k| {
                let (east, north) = plane.east_north(k.value);
                (k.at, [east - drift.0 * hours(k.at), north - drift.1 * hours(k.at)])
            })
            .collect();
        let run_nm = seen.windows(2).map(|w| apart(w[0].1, w[1].1)).sum();
        let mut stray_nm = STRAIGHT * self.plan.spacing_nm;
        let mut corners = straight(&seen, stray_nm);
        while corners.len() > STRIPS + 1 {
            stray_nm *= 2.0;
            corners = straight(&seen, stray_nm);
        }
        let width_nm = sweep_width_nm.or(self.plan.sweep_width_nm).filter(|w| w.is_finite() && *w > 0.0);
        let strip = |pair: &[usize], sweep_nm: f64| {
            let ((t0, a), (t1, b)) = (seen[pair[0]], seen[pair[1]]);
            let middle = t0 + t1.since(t0) / 2;
            let centre = [0, 1].map(|i| (a[i] + b[i]) / 2.0);
            let half_width_nm = 0.5 * self.plan.spacing_nm.max(sweep_nm);
            let along = SetDrift::from_components(b[0] - a[0], b[1] - a[1]);
            Searched {
                at: middle,
                centre: plane
                    .position(centre[0] + drift.0 * hours(middle), centre[1] + drift.1 * hours(middle)),
                area: Area::Strip {
                    half_length_nm: along.drift_kn / 2.0,
                    half_width_nm,
                    along_deg: along.set_deg,
                },
                coverage: sweep_nm / (2.0 * half_width_nm),
                number: self.plan.number,
            }
        };
        let areas = width_nm.map(|w| corners.windows(2).map(|pair| strip(pair, w)).collect());
        Swept { areas: areas.unwrap_or_default(), run_nm, time }
    }
}

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    (b[0] - a[0]).hypot(b[1] - a[1])
}

/// The corners of a track: between two of them no point strays further from the straight line than this (Douglas and
/// Peucker 1973).
fn straight(track: &[(Moment, [f64; 2])], stray_nm: f64) -> Vec<usize> {
    let mut corners = vec![0, track.len().saturating_sub(1)];
    let mut pieces = vec![(0, track.len().saturating_sub(1))];
    while let Some((from, to)) = pieces.pop() {
        let (a, b) = (track[from].1, track[to].1);
        let whole = apart(a, b);
        let stray = |p: [f64; 2]| match whole {
            w if w > 1e-9 => {
                let along = ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / (w * w);
                let t = along.clamp(0.0, 1.0);
                apart(p, [0, 1].map(|i| a[i] + t * (b[i] - a[i])))
            }
            _ => apart(p, a),
        };
        let furthest = (from + 1..to).map(|i| (i, stray(track[i].1))).max_by(|x, y| x.1.total_cmp(&y.1));
        if let Some((corner, _)) = furthest.filter(|f| f.1 > stray_nm) {
            corners.push(corner);
            pieces.extend([(from, corner), (corner, to)]);
        }
    }
    corners.sort_unstable();
    corners.dedup();
    corners
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::casualty::{Casualties, OwnContext};
    use crate::search::{Pattern, Sweep, Wish};

    /// A search for somebody who drifts at 1 kn toward 090, begun at the datum, and its track as it is sailed; `late_s` is
    /// how much longer each leg is held than planned.
    fn sailed(
        pattern: Pattern,
        sweep_nm: f64,
        legs: usize,
        late_s: f64,
    ) -> (Sailing, Casualties, CasualtyId, Moment) {
        let here = Position::new(50.0, 179.99).unwrap();
        let own = OwnContext {
            position: Some(Known::new(here, Moment(0))),
            sog_kn: Some(Known::new(0.0, Moment(0))),
            cog_deg: Some(Known::new(0.0, Moment(0))),
            current: Some(SetDrift { set_deg: 90.0, drift_kn: 1.0 }),
            ..OwnContext::default()
        };
        let mut c = Casualties::new(vec![]);
        let id = c.overboard(Moment(0), Duration::ZERO, None, &own);
        let datum = c.datum(Moment(0), id).unwrap();
        let wish = Wish {
            pattern,
            second_pass: false,
            number: 1,
            spacing_nm: Some(0.1),
            sweep: Some(Sweep::ByHand(sweep_nm)),
            radius_nm: Some(0.5),
            speed_kn: 5.0,
            first_course_deg: Some(0.0),
        };
        let plan = Plan::new(&datum, &own, &c.current(&own), &wish).unwrap();
        let mut s = Sailing::new(Moment(0), id, plan.clone());
        let (mut at, mut place) = (Moment(0), here);
        s.follow(at, place);
        for leg in plan.legs.iter().take(legs) {
            let seconds = leg.time.as_secs_f64() + late_s;
            let mut left = seconds;
            while left > 0.0 {
                let step = left.min(10.0);
                place = place.at(leg.track_deg, leg.over_ground_nm * step / leg.time.as_secs_f64());
                at = Moment(at.0 + (step * 1000.0) as i64);
                left -= step;
                s.follow(at, place);
            }
        }
        (s, c, id, at)
    }

    #[test]
    fn each_turn_is_called_with_heading_and_time() {
        let (mut s, ..) = sailed(Pattern::Sector, 0.1, 0, 0.0);
        let utc = Utc::parse("2026-11-01T02:00:00Z");
        // She lies at the datum: the way there takes no time.
        let mut at = Moment(0);
        assert!(s.advance(at));
        let (written, spoken) = s.words(at, utc);
        assert!(written.starts_with("Search 1, leg 1 of 9: "), "{written}");
        assert!(written.contains("steer 000° true for 6 min, until 02:06 UTC"), "{written}");
        assert!(spoken.contains("teer zero zero zero true, six minutes"), "{spoken}");
        let mut said = Vec::new();
        while let Some(due) = s.due() {
            at = due;
            assert!(s.advance(at));
            said.push(s.words(at, utc).0);
        }
        // Turns of 120° to starboard, and straight on through the datum (IAMSAR, as quoted).
        assert!(said[0].contains("leg 2 of 9: turn to starboard, steer 120° true for 6 min"), "{said:?}");
        assert!(said[1].contains("leg 3 of 9 to the marker: turn to starboard, steer 240° true"), "{said:?}");
        assert!(said[2].contains("leg 4 of 9: keep your course, steer 240° true"), "{said:?}");
        assert!(said[8].contains("the pattern is sailed"), "{said:?}");
        assert_eq!((said.len(), at.0 / 60_000), (9, 54), "54 minutes (three triangles are nine radii)");
        assert!(said.iter().all(|w| w.len() < 200));
    }

    #[test]
    fn what_counts_as_searched_is_own_track_and_not_the_plan() {
        // Sailed as planned, the strips find what the planned square of coverage 1 finds (Koopman, from memory: 63.2 % of
        // what lies in it; the region is larger by the end).
        let (s, mut c, id, at) = sailed(Pattern::ExpandingSquare, 0.1, 99, 0.0);
        let swept = s.swept(at, None);
        let planned: f64 = s.plan.legs.iter().map(|l| l.through_water_nm).sum();
        assert!((swept.run_nm - planned).abs() < 0.02 * planned, "{} {planned}", swept.run_nm);
        assert_eq!(swept.areas.len(), s.plan.legs.len(), "a strip a leg");
        let mut by_plan = c.clone();
        by_plan.searched(id, s.plan.area.unwrap());
        let planned = 1.0 - by_plan.datum(at, id).unwrap().missed_so_far();
        swept.areas.iter().for_each(|a| c.searched(id, *a));
        let found = 1.0 - c.datum(at, id).unwrap().missed_so_far();
        assert!((found - planned).abs() < 0.15, "{found} {planned}");
        // Only two legs of it sailed: little was searched, whatever the plan.
        let (s, mut c, id, at) = sailed(Pattern::ExpandingSquare, 0.1, 2, 0.0);
        let swept = s.swept(at, None);
        assert_eq!(swept.areas.len(), 2, "{swept:?}");
        swept.areas.iter().for_each(|a| c.searched(id, *a));
        let less = 1.0 - c.datum(at, id).unwrap().missed_so_far();
        assert!(less < found - 0.05, "the first legs find most, and not all: {less} {found}");
        // Without a sweep width nothing can be counted.
        let (s, .., at) = sailed(Pattern::Sector, 0.1, 9, 0.0);
        let mut blind = s.clone();
        blind.plan.sweep_width_nm = None;
        assert!(
            blind.swept(at, None).areas.is_empty() && blind.swept(at, Some(0.2)).areas[0].coverage == 1.0
        );
        // A helm that holds each leg half a minute too long has searched elsewhere.
        let (late, .., then) = sailed(Pattern::Sector, 0.1, 3, 30.0);
        let (area, planned) = (late.swept(then, None).areas[1], s.swept(at, None).areas[1]);
        let off_nm = area
            .centre
            .at(270.0, area.at.seconds_from(planned.at) / 3600.0)
            .range_and_bearing(planned.centre)
            .0;
        assert!(off_nm > 0.03, "{off_nm}");
    }
}
