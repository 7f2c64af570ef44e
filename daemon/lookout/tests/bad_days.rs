//! The datum on bad days: reports that are wrong, late or lacking, and falls that nobody saw.
//!
//! Truth is that of [`crate::drift_truth`], by another drift model than the estimate's. A beacon's fix errs by a part that
//! wanders over minutes, as that of a small receiver awash does, one that is new each time, and now and then by much more.

use crate::dice::Dice;
use crate::drift_truth::{Boat, Class, Person, STEP_S, Sea};
use lookout::casualty::{Casualties, CrewMember, Fell, OwnContext};
use sentence::ais::{AisReport, PositionSource};
use std::f64::consts::PI;
use std::time::Duration;
use terms::{CasualtyId, Mmsi, Moment, Plane, Position, Utc, UtcSource};

const BEACON: u32 = 972_123_456;
/// A whole minute of UTC, at the origin of time.
const ORIGIN_MS: i64 = 1_789_000_020_000 / 60_000 * 60_000;

#[derive(Debug, Clone, Copy, PartialEq)]
enum Day {
    /// One burst of a beacon of ours is wrong by 0.3 to 5 nm.
    WrongBurst,
    /// The same of a stranger's, of which own track says nothing; never the first.
    StrangersWrongBurst,
    /// All positions are wrong by the same 0.3 to 3 nm.
    Offset,
    /// From some burst on, the position stays.
    Frozen,
    /// Each position comes by a relay too, up to 25 s late.
    Relayed,
    /// For ten minutes no position, or one of elsewhere.
    FindsItselfLate,
    /// A tide of 3 kn; looked at between two bursts.
    Tide,
    /// Nobody saw it for a quarter of an hour to eight hours.
    Unseen,
    /// The button is pushed one to sixty minutes late, and the crew say how late by guess.
    Remembered,
}

const DAYS: [(Day, &str); 9] = [
    (Day::WrongBurst, "one wrong burst"),
    (Day::StrangersWrongBurst, "one wrong burst, stranger"),
    (Day::Offset, "constant offset"),
    (Day::Frozen, "frozen fix"),
    (Day::Relayed, "late relay"),
    (Day::FindsItselfLate, "finds itself after ten minutes"),
    (Day::Tide, "3 kn of tide, between bursts"),
    (Day::Unseen, "nobody saw it"),
    (Day::Remembered, "button late, by memory"),
];

/// One casualty, with the truth of it.
struct Run {
    d: Dice,
    plane: Plane,
    sea: Sea,
    boat: Boat,
    c: Casualties,
    own: OwnContext,
    t_s: f64,
    person: Option<Person>,
    /// Where the person was a minute ago.
    before: [f64; 2],
    /// The wandering part of the beacon's error.
    bias: [f64; 2],
}

impl Run {
    fn new(seed: u64, day: Day) -> Self {
        let mut d = Dice(seed);
        let plane = Plane::at(Position::new(d.between(-65.0, 65.0), d.between(-180.0, 180.0)).unwrap());
        let mut sea = Sea::new(&mut d);
        if day == Day::Tide {
            (sea.steady, sea.tide_kn) = ([0.0; 2], 3.0);
        }
        let boat = Boat::new(&mut d);
        let stranger = day == Day::StrangersWrongBurst;
        let ours = CrewMember { name: "Ada".into(), mmsi: Mmsi::new(BEACON).filter(|_| !stranger) };
        let bias = [d.normal(0.005), d.normal(0.005)];
        let mut run = Self {
            d,
            plane,
            sea,
            boat,
            c: Casualties::new(vec![ours]),
            own: OwnContext::default(),
            t_s: 0.0,
            person: None,
            before: [0.0; 2],
            bias,
        };
        (0..30).for_each(|_| run.minute());
        run
    }

    /// A minute passes.
    fn minute(&mut self) {
        self.sea.step(&mut self.d);
        let own = self.boat.step(&self.sea, self.t_s, &self.plane, Class::Button, &mut self.d);
        if let Some(person) = &mut self.person {
            self.before = person.place;
            person.step(&self.sea, self.t_s, &mut self.d);
        }
        self.t_s += STEP_S;
        self.own = OwnContext {
            utc: Some((Utc(ORIGIN_MS + (self.t_s * 1000.0) as i64), UtcSource::Satellite)),
            ..own
        };
        for b in &mut self.bias {
            *b = *b * 0.8 + self.d.normal(0.003);
        }
        self.c.advance(Moment::from_s(self.t_s), &self.own);
    }

    /// Somebody falls.
    fn falls(&mut self) {
        self.person = Some(Person::new(self.boat.place, &mut self.d));
        self.before = self.boat.place;
    }

    /// Where the person was so many seconds ago, within the last minute.
    fn truth(&self, ago_s: f64) -> [f64; 2] {
        let now = self.person.as_ref().unwrap().place;
        let part = ago_s / STEP_S;
        [0, 1].map(|i| now[i] + (self.before[i] - now[i]) * part)
    }

    fn position(&self, at: [f64; 2]) -> Position {
        self.plane.position(at[0], at[1])
    }

    /// A beacon's position, as measured.
    fn measured(&mut self, at: [f64; 2]) -> Position {
        let off = if self.d.uniform() < 0.03 { 0.03 } else { 0.004 };
        let place = [0, 1].map(|i| at[i] + self.bias[i] + self.d.normal(off));
        // AIS resolves a ten-thousandth of a minute.
        let p = self.position(place);
        let grain = |deg: f64| (deg * 600_000.0).round() / 600_000.0;
        Position::new(grain(p.latitude_deg()), grain(p.longitude_deg())).unwrap()
    }

    /// The time so many seconds before the end of the minute, with own vessel as she was known then.
    fn at(&self, ago_s: f64) -> (Moment, OwnContext) {
        let at = Moment::from_s(self.t_s - ago_s);
        let utc = Some((Utc(ORIGIN_MS + ((self.t_s - ago_s) * 1000.0) as i64), UtcSource::Satellite));
        (at, OwnContext { utc, ..self.own.clone() })
    }

    /// A position is heard, so many seconds before the end of the minute, measured so many before that.
    fn hear(&mut self, ago_s: f64, late_s: f64, position: Option<Position>) {
        let (at, own) = self.at(ago_s);
        let mut r = AisReport::new(1, 0, Mmsi::new(BEACON).unwrap());
        r.nav_status = Some(14);
        r.position_source =
            Some(if position.is_some() { PositionSource::Fix } else { PositionSource::Inoperative });
        let second = (self.t_s - ago_s - late_s).rem_euclid(60.0);
        r.utc_second = position.map(|_| second as u8);
        r.position = position;
        self.c.hear_ais(at, &r, &own);
    }

    /// A place that is wrong by so much.
    fn wrong(&mut self, least_nm: f64, most_nm: f64) -> [f64; 2] {
        let (nm, towards) = (self.d.between(least_nm, most_nm), self.d.between(0.0, 2.0 * PI));
        [nm * towards.sin(), nm * towards.cos()]
    }

    /// The beacon sends, each minute, where it is plus what a rule of the minute says.
    fn sends(&mut self, minutes: usize, rule: &mut Rule<'_>) {
        // The first comes some seconds after the fall, the others a minute apart.
        let ago = self.d.between(5.0, 55.0);
        for minute in 0..minutes {
            self.minute();
            let at = self.truth(ago);
            let position = rule(self, minute, at);
            self.hear(ago, 0.0, position);
        }
    }
}

/// What a beacon sends in a minute, of where the person then is.
type Rule<'r> = dyn FnMut(&mut Run, usize, [f64; 2]) -> Option<Position> + 'r;

/// Whether the region held the truth, its area, and how far from the last report, or the place last seen, that was.
struct Outcome {
    held: bool,
    area_nm2: f64,
    circle_nm2: f64,
    away_nm: f64,
}

fn run(seed: u64, day: Day) -> Outcome {
    let mut r = Run::new(seed, day);
    let mut last: Option<Position> = None;
    let mut looked_ago_s = 0.0;
    match day {
        Day::WrongBurst | Day::StrangersWrongBurst => {
            r.falls();
            let bursts = r.d.between(2.0, 12.0) as usize;
            let first = if day == Day::WrongBurst { 0.0 } else { 1.0 };
            let (bad, by) = (r.d.between(first, bursts as f64) as usize, r.wrong(0.3, 5.0));
            r.sends(bursts, &mut |r, minute, at| {
                let at = if minute == bad { [at[0] + by[0], at[1] + by[1]] } else { at };
                last = Some(r.measured(at));
                last
            });
            // Mostly while it still sends, in one of three long after.
            if r.d.uniform() < 0.33 {
                let silent = r.d.between(1.0, 90.0) as usize;
                (0..silent).for_each(|_| r.minute());
            }
        }
        Day::Offset => {
            r.falls();
            let (bursts, by) = (r.d.between(1.0, 40.0) as usize, r.wrong(0.3, 3.0));
            r.sends(bursts, &mut |r, _, at| {
                last = Some(r.measured([at[0] + by[0], at[1] + by[1]]));
                last
            });
        }
        Day::Frozen => {
            r.falls();
            let (good, bursts) = (r.d.between(1.0, 15.0) as usize, r.d.between(20.0, 120.0) as usize);
            r.sends(bursts, &mut |r, minute, at| {
                if minute < good {
                    last = Some(r.measured(at));
                }
                last
            });
        }
        Day::Relayed => {
            r.falls();
            let bursts = r.d.between(2.0, 20.0) as usize;
            for _ in 0..bursts {
                r.minute();
                let at = r.truth(40.0);
                let position = r.measured(at);
                let late = r.d.between(1.0, 25.0);
                // Which of the two is heard is a matter of luck.
                if r.d.uniform() < 0.6 {
                    r.hear(40.0, 0.0, Some(position));
                }
                r.hear(40.0 - late, late, Some(position));
                last = Some(position);
            }
            looked_ago_s = r.d.between(0.0, 12.0);
        }
        Day::FindsItselfLate => {
            r.falls();
            let elsewhere = r.wrong(0.5, 8.0);
            let (silent, wanders) = (r.d.uniform() < 0.5, r.d.uniform() < 0.5);
            let stale = r.measured([r.boat.place[0] + elsewhere[0], r.boat.place[1] + elsewhere[1]]);
            let bursts = r.d.between(3.0, 30.0) as usize;
            let from = r.boat.place;
            r.sends(bursts, &mut |r, minute, at| {
                let position = match minute {
                    0..10 if silent => return None,
                    0..10 if wanders => r.measured([from[0] + elsewhere[0], from[1] + elsewhere[1]]),
                    0..10 => stale,
                    _ => r.measured(at),
                };
                last = Some(position);
                last
            });
            last = last.or(Some(r.position(from)));
        }
        Day::Tide => {
            r.falls();
            let bursts = r.d.between(1.0, 15.0) as usize;
            r.sends(bursts, &mut |r, _, at| {
                last = Some(r.measured(at));
                last
            });
            r.minute();
            looked_ago_s = r.d.between(11.0, 60.0);
        }
        Day::Unseen => {
            let minutes = r.d.between(15.0, 480.0) as usize;
            last = Some(r.position(r.boat.place));
            let (falls, found) = (r.d.between(0.0, minutes as f64) as usize, r.d.between(0.0, 60.0) as usize);
            for minute in 0..minutes {
                if minute == falls {
                    r.falls();
                }
                r.minute();
            }
            (0..found).for_each(|_| r.minute());
            let (at, own) = r.at(0.0);
            let ago = |minutes: usize| Duration::from_secs(60 * minutes as u64);
            r.c.overboard(
                at,
                Fell::Between { last_seen: ago(minutes + found), missed: ago(found) },
                None,
                &own,
            );
            let later = r.d.between(0.0, 90.0) as usize;
            (0..later).for_each(|_| r.minute());
        }
        Day::Remembered => {
            let late = r.d.between(1.0, 60.0) as usize;
            r.falls();
            last = Some(r.position(r.boat.place));
            (0..late).for_each(|_| r.minute());
            let (at, own) = r.at(0.0);
            // A guess errs by a factor, and people round to what is easy to say.
            let guess_min = late as f64 * r.d.normal(0.18).exp();
            let step = if guess_min < 10.0 { 1.0 } else { 5.0 };
            let said_s = 60.0 * ((guess_min / step).round() * step).max(1.0);
            r.c.overboard(at, Duration::from_secs_f64(said_s), None, &own);
            let later = r.d.between(0.0, 90.0) as usize;
            (0..later).for_each(|_| r.minute());
        }
    }
    let truth = r.position(r.truth(looked_ago_s));
    let (at, _) = r.at(looked_ago_s);
    let datum = r.c.datum(at, CasualtyId(1)).unwrap();
    Outcome {
        held: datum.holds(truth),
        area_nm2: datum.area95_nm2,
        circle_nm2: datum.circle95_nm2,
        away_nm: last.unwrap().range_and_bearing(truth).0,
    }
}

/// Each day so many times; prints a row of the table for each, and returns how many of 100 were held.
fn days(runs: u64, seeds_from: u64) -> Vec<(&'static str, f64)> {
    let mut out = Vec::new();
    println!("| day | region holds | region nm² | circles nm² | plain circle nm² |\n|---|---|---|---|---|");
    for (number, (day, name)) in (0u64..).zip(DAYS) {
        let all: Vec<Outcome> = (0..runs).map(|n| run(seeds_from + 1_000_000 * number + n, day)).collect();
        let held = 100.0 * all.iter().filter(|o| o.held).count() as f64 / runs as f64;
        let mean = |of: &dyn Fn(&Outcome) -> f64| all.iter().map(of).sum::<f64>() / runs as f64;
        // Round the last report, or where she was when somebody was last seen, just wide enough for 95 of 100.
        let mut away: Vec<f64> = all.iter().map(|o| o.away_nm).collect();
        away.sort_by(f64::total_cmp);
        let plain_nm = away[away.len() * 95 / 100];
        println!(
            "| {name} | {held:.1} % | {:.3} | {:.3} | {:.2} |",
            mean(&|o| o.area_nm2),
            mean(&|o| o.circle_nm2),
            PI * plain_nm * plain_nm
        );
        out.push((name, held));
    }
    out
}

#[test]
fn the_region_holds_the_truth_on_bad_days() {
    for (name, held) in days(60, 5_000_000_000) {
        assert!(held >= 85.0, "{name}: {held} of 100");
    }
}

#[test]
#[ignore = "two thousand runs of each day take minutes; run by .ci/deep"]
fn the_region_holds_95_of_100_on_each_bad_day() {
    for (name, held) in days(2_000, 11_000_000_000) {
        // Two to either side of 95, and what 2,000 runs leave to chance.
        assert!((92.5..=97.5).contains(&held), "{name}: {held} of 100");
    }
}
