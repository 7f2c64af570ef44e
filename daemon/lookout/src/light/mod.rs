//! The light of the sky: day, twilight and night, and the moon.

mod moon;
mod sun;

pub use sun::altitude_deg as sun_altitude_deg;
pub(crate) use sun::is_up;

use std::time::Duration;
use sun::UPPER_EDGE_DEG;
use terms::{Position, Utc, rounded};

/// How far ahead is looked.
const AHEAD: Duration = Duration::from_secs(24 * 3600);
/// In such steps: in so short a time the sun passes no limit and returns, but at the edge of the midnight sun.
const STEP_MS: i64 = 300_000;
/// A time is found to this.
const FOUND_MS: i64 = 1000;
/// Civil and nautical twilight end with the sun's centre so far below the horizon.
const CIVIL_DEG: f64 = -6.0;
const NAUTICAL_DEG: f64 = -12.0;
/// Of the changes to come so many are put into words.
const WORDED: usize = 3;

terms::closed_list! {
    /// How light the sky is by the sun.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum Sky {
        /// The sun is up.
        Day = "daylight",
        /// Down by less than 6°: the horizon and a head in the water can still be made out (common practice).
        Civil = "civil twilight",
        /// Down by less than 12°: the horizon is about to go.
        Nautical = "nautical twilight",
        /// Down by more.
        Night = "night",
    }
}

terms::closed_list! {
    /// A change of the light.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum Change {
        /// The sun's upper edge comes up.
        Sunrise = "sunrise",
        /// It goes down.
        Sunset = "sunset",
        /// The sun comes within 6° of the horizon.
        CivilBegins = "civil twilight begins",
        /// It goes below them.
        CivilEnds = "civil twilight ends",
        /// The sun comes within 12° of the horizon.
        NauticalBegins = "nautical twilight begins",
        /// It goes below them.
        NauticalEnds = "nautical twilight ends",
        /// The moon's upper edge comes up.
        Moonrise = "moonrise",
        /// It goes down.
        Moonset = "moonset",
    }
}

/// The light at a place from a time on.
#[derive(Debug, Clone, PartialEq)]
pub struct Light {
    /// That time.
    pub from: Utc,
    /// The sky then.
    pub sky: Sky,
    /// Whether the moon is up then.
    pub moon_up: bool,
    /// The lit part of her disc, 0 to 1.
    pub moon_lit: f64,
    /// What changes in the 24 hours from then, in order. Times are good to a minute, by the almanacs' refraction and at the
    /// level of the sea; at the edge of the midnight sun to some minutes.
    pub changes: Vec<(Change, Utc)>,
}

impl Light {
    /// The light at a place; `None` only for dates that no calendar has.
    pub fn at(from: Utc, position: Position) -> Option<Self> {
        let sun = |utc| sun_altitude_deg(utc, position).unwrap_or(0.0);
        let moon = |utc| moon::edge_deg(utc, position);
        let altitude_deg = sun_altitude_deg(from, position)?;
        let mut changes: Vec<(Change, Utc)> = Vec::new();
        let limits = [
            (UPPER_EDGE_DEG, Change::Sunrise, Change::Sunset),
            (CIVIL_DEG, Change::CivilBegins, Change::CivilEnds),
            (NAUTICAL_DEG, Change::NauticalBegins, Change::NauticalEnds),
        ];
        let (mut then, mut sun_then, mut moon_then) = (from, altitude_deg, moon(from));
        let end = from.plus_ms(i64::try_from(AHEAD.as_millis()).unwrap_or(i64::MAX));
        while then < end {
            let now = then.plus_ms(STEP_MS);
            let (sun_now, moon_now) = (sun(now), moon(now));
            for (limit, up, down) in limits {
                if (sun_then > limit) != (sun_now > limit) {
                    let change = if sun_now > limit { up } else { down };
                    changes.push((change, crossing(then, now, |utc| sun(utc) > limit)));
                }
            }
            if (moon_then > 0.0) != (moon_now > 0.0) {
                let change = if moon_now > 0.0 { Change::Moonrise } else { Change::Moonset };
                changes.push((change, crossing(then, now, |utc| moon(utc) > 0.0)));
            }
            (then, sun_then, moon_then) = (now, sun_now, moon_now);
        }
        changes.sort_by_key(|(_, utc)| *utc);
        let sky = match altitude_deg {
            a if a > UPPER_EDGE_DEG => Sky::Day,
            a if a > CIVIL_DEG => Sky::Civil,
            a if a > NAUTICAL_DEG => Sky::Nautical,
            _ => Sky::Night,
        };
        Some(Self { from, sky, moon_up: moon(from) > 0.0, moon_lit: moon::lit(from), changes })
    }

    /// When a change comes next.
    pub fn next(&self, change: Change) -> Option<Utc> {
        self.changes.iter().find(|(c, _)| *c == change).map(|(_, utc)| *utc)
    }

    /// How long there is light to search by: until civil twilight ends. Zero once it has, `None` if it does not within a
    /// day.
    pub fn left(&self) -> Option<Duration> {
        match self.sky {
            Sky::Nautical | Sky::Night => Some(Duration::ZERO),
            Sky::Day | Sky::Civil => self.next(Change::CivilEnds).map(|utc| self.until(utc)),
        }
    }

    fn until(&self, utc: Utc) -> Duration {
        Duration::from_millis(utc.0.saturating_sub(self.from.0).unsigned_abs())
    }

    /// In words, with times as `clock` puts them: `42 min of light: sunset 19:56, civil twilight ends 20:21; moon 47 % lit,
    /// rises 22:10`.
    pub fn words(&self, clock: impl Fn(Utc) -> String) -> String {
        let of_sun = |c: &Change| !matches!(c, Change::Moonrise | Change::Moonset);
        let changes = self.changes.iter().filter(|(c, _)| of_sun(c)).take(WORDED);
        let changes: Vec<String> = changes.map(|(c, utc)| format!("{} {}", c.word(), clock(*utc))).collect();
        let now = match (self.sky, self.left()) {
            (Sky::Day | Sky::Civil, Some(left)) => format!("{} of light", rounded(left)),
            (sky, None) => format!("{} for a day and more", sky.word()),
            (sky, _) => sky.word().to_owned(),
        };
        let sun = if changes.is_empty() { now } else { format!("{now}: {}", changes.join(", ")) };
        let lit = format!("{:.0} % lit", 100.0 * self.moon_lit);
        let next = if self.moon_up { Change::Moonset } else { Change::Moonrise };
        let moon = match (self.moon_up, self.next(next)) {
            (true, Some(sets)) => format!("moon up, {lit}, sets {}", clock(sets)),
            (true, None) => format!("moon up, {lit}"),
            (false, Some(rises)) => format!("moon {lit}, rises {}", clock(rises)),
            (false, None) => "no moon".to_owned(),
        };
        format!("{sun}; {moon}")
    }
}

/// When something that holds at only one of two times changes.
fn crossing(mut from: Utc, mut to: Utc, holds: impl Fn(Utc) -> bool) -> Utc {
    let before = holds(from);
    while to.0 - from.0 > FOUND_MS {
        let middle = Utc(from.0 + (to.0 - from.0) / 2);
        if holds(middle) == before { from = middle } else { to = middle }
    }
    to
}

#[cfg(test)]
mod tests {
    use super::*;
    use Change::*;

    fn at(latitude: f64, longitude: f64, from: &str) -> Light {
        Light::at(Utc::parse(from).unwrap(), Position::new(latitude, longitude).unwrap()).unwrap()
    }

    /// Off by no more than a minute, or half of it where the almanac gives seconds.
    fn holds(light: &Light, change: Change, utc: &str, within_s: i64) {
        let want = Utc::parse(utc).unwrap();
        let found =
            light.changes.iter().any(|(c, t)| *c == change && (t.0 - want.0).abs() <= within_s * 1000);
        assert!(found, "{} {utc}: {:?}", change.word(), light.changes);
    }

    #[test]
    fn sun_twilight_and_moon_as_in_the_almanacs() {
        // USNO, Atlanta 33.8 N 84.4 W, 6 September 2009, to the minute of UTC−4 (documents of PyEphem).
        let atlanta = at(33.8, -84.4, "2009-09-06T04:00:00Z");
        for (change, utc) in [
            (CivilBegins, "2009-09-06T10:50:00Z"),
            (Sunrise, "2009-09-06T11:15:00Z"),
            (Sunset, "2009-09-06T23:56:00Z"),
            (CivilEnds, "2009-09-07T00:21:00Z"),
            (Moonset, "2009-09-06T13:05:00Z"),
            (Moonrise, "2009-09-07T00:44:00Z"),
        ] {
            holds(&atlanta, change, utc, 60);
        }
        // USNO, Boston 42°19′N 71°05′W, UTC−5, moon (tables in the sources of PyEphem).
        let boston = |from| at(42.0 + 19.0 / 60.0, -71.0 - 5.0 / 60.0, from);
        holds(&boston("1984-01-01T05:00:00Z"), Moonrise, "1984-01-01T10:53:00Z", 60);
        holds(&boston("1984-01-01T05:00:00Z"), Moonset, "1984-01-01T20:01:00Z", 60);
        holds(&boston("1984-01-10T05:00:00Z"), Moonset, "1984-01-11T04:47:00Z", 60);
        holds(&boston("1984-01-11T05:00:00Z"), Moonrise, "1984-01-11T16:38:00Z", 60);
        assert_eq!(boston("1984-01-11T05:00:00Z").next(Moonset), None, "no set on that day");
        holds(&boston("1984-07-03T05:00:00Z"), Moonrise, "1984-07-03T14:12:00Z", 60);
        holds(&boston("1984-07-03T05:00:00Z"), Moonset, "1984-07-04T03:56:00Z", 60);
        // PyEphem, to the second.
        let north = at(50.0, -20.0, "2026-06-15T00:00:00Z");
        for (change, utc) in [
            (NauticalBegins, "2026-06-15T03:20:40Z"),
            (CivilBegins, "2026-06-15T04:25:46Z"),
            (Sunrise, "2026-06-15T05:10:16Z"),
            (Sunset, "2026-06-15T21:30:56Z"),
            (CivilEnds, "2026-06-15T22:15:29Z"),
            (NauticalEnds, "2026-06-15T23:20:46Z"),
            (Moonrise, "2026-06-15T04:49:03Z"),
            (Moonset, "2026-06-15T22:44:20Z"),
        ] {
            holds(&north, change, utc, 30);
        }
        let south = at(-45.0, 150.0, "2026-11-01T08:00:00Z");
        for (change, utc) in [
            (Sunset, "2026-11-01T08:48:29Z"),
            (NauticalEnds, "2026-11-01T10:00:23Z"),
            (Moonrise, "2026-11-01T15:21:41Z"),
            (NauticalBegins, "2026-11-01T17:26:12Z"),
            (Sunrise, "2026-11-01T18:38:04Z"),
            (Moonset, "2026-11-02T00:55:15Z"),
        ] {
            holds(&south, change, utc, 30);
        }
        // 65 N 20 W, 15 June 2026: no civil night; the moon up all day.
        let far_north = at(65.0, -20.0, "2026-06-15T02:00:00Z");
        assert_eq!((far_north.next(CivilEnds), far_north.left()), (None, None));
        assert!(far_north.moon_up && far_north.next(Moonset).is_none(), "{far_north:?}");
    }

    #[test]
    fn light_left_in_words() {
        let clock = |utc: Utc| utc.to_string()[11..16].to_owned();
        let evening = at(50.0, -20.0, "2026-06-15T21:33:29Z");
        assert_eq!(
            evening.words(clock),
            "42 min of light: civil twilight ends 22:15, nautical twilight ends 23:20, nautical twilight begins 03:20; \
             moon up, 1 % lit, sets 22:44"
        );
        let night = at(50.0, -20.0, "2026-06-15T23:59:00Z");
        assert_eq!((night.sky, night.left()), (Sky::Night, Some(Duration::ZERO)));
        assert!(
            night.words(clock).starts_with("night: nautical twilight begins 03:20, civil"),
            "{}",
            night.words(clock)
        );
        assert!(
            at(80.0, 0.0, "2026-06-15T12:00:00Z")
                .words(clock)
                .starts_with("daylight for a day and more; moon")
        );
    }
}
