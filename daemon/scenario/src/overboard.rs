//! A scenario of one beacon, for an exercise: somebody goes over the side here and now.

use crate::plan::{self, Beacon, Class, Feed, Hearing, Own, Plan, Waters};
use crate::profile::{Profile, east_north};
use crate::{Scenario, What};
use std::time::Duration;
use terms::{Mmsi, Moment, Position, Utc};

/// How long it plays at most.
const LASTS: Duration = Duration::from_secs(3600);

/// Somebody with a beacon who lies in the water as a person does: wind and current carry them.
#[derive(Debug, Clone, PartialEq)]
pub struct Overboard {
    /// UTC at the fall.
    pub utc: Utc,
    /// Where it happens; kept to the ten-thousandth of a minute, as AIS has it.
    pub position: Position,
    /// The beacon's identity.
    pub beacon: Mmsi,
    /// Where the wind comes from in degrees, and its speed in knots (0 to 60), each kept to a tenth. Without it there
    /// is no leeway.
    pub wind: Option<(f64, f64)>,
    /// Where the water goes in degrees, to a tenth, and how fast in knots (0 to 9), to a hundredth.
    pub current: Option<(f64, f64)>,
    /// Where the noise comes from: the same seed gives the same sentences.
    pub seed: u64,
}

impl Overboard {
    /// What the beacon sends in an hour as an AIS receiver writes it, each sentence with the time from the fall.
    pub fn sentences(&self) -> Vec<(Duration, String)> {
        let scenario = Scenario::of(self.plan());
        let line = |t: crate::Timed<'_>| match t.what {
            What::Line { line, .. } => Some((t.at.since(Moment::ZERO), line)),
            What::Act(_) => None,
        };
        scenario.play().filter_map(line).collect()
    }

    fn plan(&self) -> Plan {
        let (position, mmsi) = (to_ten_thousandths(self.position), self.beacon);
        let at_start = |numbers| Profile::new(vec![(Moment::ZERO, numbers)]);
        let wind = self.wind.map(|(from, kn)| {
            at_start(east_north(rounded(from.rem_euclid(360.0), 1) + 180.0, rounded(kn.clamp(0.0, 60.0), 1)))
        });
        let current = self
            .current
            .map(|(set, kn)| at_start(east_north(rounded(set, 1), rounded(kn.clamp(0.0, 9.0), 2))));
        let overboard = plan::Overboard {
            at: Moment::ZERO,
            drift: None,
            activation: Duration::from_secs(1),
            first_fix: Duration::from_secs(20),
            until: None,
            silent: Vec::new(),
            no_fix: Vec::new(),
        };
        Plan {
            title: String::new(),
            start: self.utc,
            end: Moment::ZERO + LASTS,
            seed: self.seed,
            own: own(position, Mmsi::new(0).unwrap_or(mmsi)),
            waters: Waters {
                current: current.unwrap_or_default(),
                wind: wind.unwrap_or_default(),
                ..Waters::default()
            },
            feeds: vec![receiver()],
            ships: Vec::new(),
            aids: Vec::new(),
            bases: Vec::new(),
            beacons: vec![Beacon {
                mmsi,
                name: String::new(),
                tests: Vec::new(),
                overboard: Some(overboard),
                range_nm: 4.0,
                position_error_m: 10.0,
            }],
            acts: Vec::new(),
        }
    }
}

/// Own vessel, which does nothing but be there.
fn own(position: Position, mmsi: Mmsi) -> Own {
    Own {
        mmsi,
        name: String::new(),
        class: Class::BCarrierSense,
        nav_status: 0,
        transmits: false,
        position,
        course_deg: 0.0,
        speed_kn: 0.0,
        turn_deg_min: 180.0,
        yaw_deg: 0.0,
        yaw_period_s: 8.0,
        variation_deg: 0.0,
        legs: Vec::new(),
    }
}

/// An AIS receiver that hears all.
fn receiver() -> Feed {
    Feed {
        name: String::new(),
        talker: "AI".to_owned(),
        tag_source: None,
        sentences: Vec::new(),
        hears: Some(Hearing { probability: 1.0, range_nm: 50.0 }),
        gps_error_m: 0.0,
        delay: Duration::ZERO,
        damaged: 0.0,
        outages: Vec::new(),
        no_fix: Vec::new(),
    }
}

/// A number with this many decimals, as it is written.
fn rounded(n: f64, decimals: usize) -> f64 {
    format!("{n:.decimals$}").parse().unwrap_or(n)
}

fn to_ten_thousandths(p: Position) -> Position {
    let part = |deg: f64| {
        let all = (deg.abs() * 600_000.0).round();
        ((all / 600_000.0).floor() + all % 600_000.0 / 10_000.0 / 60.0).copysign(deg)
    };
    Position::new(part(p.latitude_deg()), part(p.longitude_deg())).unwrap_or(p)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_sends_what_a_file_of_the_same_would_give_to_the_byte() {
        let file = "version = 1\ntitle = \"x\"\nstart = \"2026-09-14T22:00:00Z\"\nduration = \"1 h\"\nseed = 123456\n\
            [own]\nmmsi = \"211000000\"\nname = \"EXERCISE\"\nposition = \"47°12.3457′N 009°41.0000′W\"\n\
            course_deg = 0\nspeed_kn = 0\n\
            [[feed]]\nname = \"drill\"\ntalker = \"AI\"\nhears = { probability = 1, range_nm = 50 }\n\
            [[beacon]]\nmmsi = \"972000999\"\nname = \"EXERCISE\"\n\
            [beacon.overboard]\nat = \"0:00:00\"\nactivation = \"1 s\"\nfirst_fix = \"20 s\"\n\
            [[wind]]\nat = \"0:00\"\nfrom_deg = 230.4\nspeed_kn = 17.3\n\
            [[current]]\nat = \"0:00\"\nset_deg = 91.2\ndrift_kn = 1.23\n";
        let scenario = Scenario::read("drill", file).unwrap();
        let lines: Vec<(Duration, String)> = scenario
            .play()
            .map(|t| match t.what {
                What::Line { line, .. } => (Duration::from_millis(t.at.0 as u64), line),
                What::Act(_) => panic!("nobody acts"),
            })
            .collect();
        let mut overboard = Overboard {
            utc: Utc::parse("2026-09-14T22:00:00Z").unwrap(),
            position: Position::new(47.0 + 12.345_68 / 60.0, -(9.0 + 41.0 / 60.0)).unwrap(),
            beacon: Mmsi::new(972_000_999).unwrap(),
            wind: Some((-129.62, 17.29)),
            current: Some((91.18, 1.2349)),
            seed: 123_456,
        };
        assert_eq!(overboard.sentences(), lines);
        assert!(lines.len() > 400, "{}", lines.len());
        overboard.seed = 1;
        assert_ne!(overboard.sentences(), lines, "other noise");
    }
}
