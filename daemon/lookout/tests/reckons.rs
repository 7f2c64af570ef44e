//! Dead reckoning: without a fix, and against one that is wrong.

use lookout::casualty::{aloud, in_full};
use lookout::{Finding, Lookout, ReckonedBy, Settings};
use sentence::{Fix, Heading, Report};
use std::time::Duration;
use terms::{FeedId, Moment, Plane, Position};

const BUS: FeedId = FeedId(0);

/// A boat under way: course steered, log and the stream, as the truth has them; perfect instruments.
struct Passage {
    lookout: Lookout,
    here: Position,
    second: u32,
    course_deg: f64,
    log_kn: f64,
    stream_kn: (f64, f64),
    found: Vec<String>,
}

/// What is wrong with the receiver.
#[derive(Clone, Copy)]
enum Gps {
    Good,
    None,
    /// Moved by so many miles east.
    Off(f64),
    /// Stands where she was.
    Frozen(Position),
}

impl Passage {
    fn new(course_deg: f64, log_kn: f64, stream_kn: (f64, f64)) -> Self {
        Self {
            lookout: Lookout::new(Settings::default()),
            here: Position::new(49.0, 179.9).unwrap(),
            second: 0,
            course_deg,
            log_kn,
            stream_kn,
            found: Vec::new(),
        }
    }

    fn now(&self) -> Moment {
        Moment::from_s(f64::from(self.second))
    }

    fn sail(&mut self, minutes: u32, log_and_compass: bool, gps: Gps) {
        for _ in 0..minutes * 60 {
            self.second += 1;
            let at = self.now();
            let (e, n) = self.course_deg.to_radians().sin_cos();
            let (east, north) = (self.log_kn * e + self.stream_kn.0, self.log_kn * n + self.stream_kn.1);
            self.here = Plane::at(self.here).position(east / 3600.0, north / 3600.0);
            if log_and_compass {
                let heading = Heading { true_deg: Some(self.course_deg), ..Heading::default() };
                let speed_through_water_kn = Some(self.log_kn);
                let water = Report::WaterSpeed { speed_through_water_kn, ground_speed_kn: None, heading };
                self.lookout.hear(at, BUS, &water);
            }
            let position = match gps {
                Gps::Good => Some(self.here),
                Gps::None => None,
                Gps::Off(nm) => Some(self.here.at(90.0, nm)),
                Gps::Frozen(at) => Some(at),
            };
            let course = (east.atan2(north).to_degrees().rem_euclid(360.0), east.hypot(north));
            if position.is_some() {
                let (cog_deg, sog_kn) = (Some(course.0), Some(course.1));
                let fix = Fix { position, cog_deg, sog_kn, ..Fix::default() };
                self.lookout.hear(at, BUS, &Report::Fix(fix));
            }
            self.lookout.advance(at);
            for f in self.lookout.take_findings() {
                let minute = self.second / 60;
                match f {
                    Finding::Trouble { trouble, .. } => {
                        self.found.push(format!("{minute} {}", trouble.name()))
                    }
                    Finding::Mended { trouble, .. } => {
                        self.found.push(format!("{minute} no {}", trouble.name()))
                    }
                    Finding::Noted { text, .. } => self.found.push(format!("{minute} {text}")),
                    _ => {}
                }
            }
        }
    }

    fn off_nm(&self) -> f64 {
        self.lookout.dead_reckoning(self.now()).unwrap().position.range_and_bearing(self.here).0
    }
}

#[test]
fn without_a_fix_she_goes_on_by_log_compass_and_the_last_known_stream() {
    // Bowditch, chapter on dead reckoning, as the check values have it: 15 nm on 060° in 3 h through the water, 1.8 nm
    // toward 145° by the fix, is a stream of 145° 0.6 kn.
    let (set, drift) = (145f64.to_radians(), 0.6);
    let mut p = Passage::new(60.0, 5.0, (drift * set.sin(), drift * set.cos()));
    p.sail(180, true, Gps::Good);
    assert_eq!(p.lookout.reckons(p.now()), None, "there is a fix");
    p.course_deg = 330.0;
    p.sail(120, true, Gps::None);
    let r = p.lookout.reckons(p.now()).unwrap();
    let stream = r.stream.unwrap();
    assert!((stream.set_deg - 145.0).abs() < 2.0 && (stream.drift_kn - 0.6).abs() < 0.02, "{stream:?}");
    assert!(p.off_nm() < 0.05, "{}", p.off_nm());
    assert!((r.run_nm - 10.0).abs() < 0.02 && r.by == ReckonedBy::LogAndCompass, "{r:?}");
    // Two hours at 0.7 kn are more than 7 % of ten miles.
    assert!((r.error_nm - 1.41).abs() < 0.01, "{}", r.error_nm);
    assert_eq!(r.since, Moment::from_s(180.0 * 60.0));
}

#[test]
fn the_error_grows_as_published() {
    // A navigation school's glossary: 150 nm in 10 h are good to 11 nm, in 30 h to 21 nm.
    for (log_kn, hours, error_nm) in [(15.0, 10, 10.5), (5.0, 30, 21.0)] {
        let mut p = Passage::new(270.0, log_kn, (0.0, 0.0));
        p.sail(1, true, Gps::Good);
        p.sail(hours * 60, true, Gps::None);
        let r = p.lookout.reckons(p.now()).unwrap();
        assert!((r.error_nm - error_nm).abs() < 0.05, "{log_kn} kn: {r:?}");
        assert!(r.position.range_and_bearing(p.here).0 < 0.5);
    }
    // Without log and compass half of the way may be wrong.
    let mut p = Passage::new(270.0, 6.0, (0.0, 0.0));
    p.sail(1, false, Gps::Good);
    p.sail(60, false, Gps::None);
    let r = p.lookout.reckons(p.now()).unwrap();
    assert_eq!(r.by, ReckonedBy::LastCourseAndSpeed);
    assert!((r.error_nm - 3.0).abs() < 0.05 && p.off_nm() < 0.02, "{r:?}");
}

#[test]
fn a_casualty_is_led_to_by_dead_reckoning_and_joined_to_the_fix_that_comes_back() {
    let mut p = Passage::new(90.0, 6.0, (0.0, 0.5));
    p.sail(60, true, Gps::Good);
    // The stream turns in the moment in which the fix goes: reckoning errs by a knot to the north.
    p.stream_kn = (0.0, -0.5);
    p.sail(10, true, Gps::None);
    let (at, fell) = (p.now(), p.here);
    let id = p.lookout.overboard(at, Duration::ZERO, Some("Ada".to_owned()));
    p.sail(10, true, Gps::None);
    let state = p.lookout.casualty(p.now(), id).unwrap();
    // One mile back on own track, drifting as the stream before does: that is all anybody can know now.
    assert!((state.range_nm.unwrap() - 1.0).abs() < 0.1, "{state:?}");
    assert!((state.bearing_deg.unwrap() - 270.0).abs() < 6.0, "{state:?}");
    let by = state.reckoned.unwrap();
    assert!((by.error_nm - 0.12).abs() < 0.02 && by.age == Duration::from_secs(1200), "{by:?}");
    assert!(in_full(&state).contains("own position by dead reckoning for 20 minutes, give or take"));
    assert!(aloud(&state, None).to_lowercase().contains("by dead reckoning"), "{}", aloud(&state, None));
    let mark = state.last_known.unwrap();
    assert!(mark.value.range_and_bearing(fell).0 > 0.1, "reckoned, and not where she was");
    p.sail(1, true, Gps::Good);
    let state = p.lookout.casualty(p.now(), id).unwrap();
    let mark = state.last_known.unwrap();
    assert!(mark.value.range_and_bearing(fell).0 < 0.02, "{mark:?} {fell:?}");
    assert_eq!(state.reckoned, None);
    let back = p.found.iter().find(|f| f.contains("by satellite again")).unwrap();
    assert!(back.contains("after 20 min: 0.3") && back.contains("toward 180° from dead reckoning"), "{back}");
}

#[test]
fn a_fix_that_jumps_freezes_or_comes_back_elsewhere_is_doubted_as_long_as_reckoning_contradicts_it() {
    let mut p = Passage::new(0.0, 5.0, (0.3, 0.0));
    p.sail(60, true, Gps::Good);
    p.found.clear();
    p.sail(10, true, Gps::Off(0.5));
    assert!(
        p.found[0].starts_with("60 position jumps") || p.found[0].starts_with("60 position walks"),
        "{:?}",
        p.found
    );
    let doubt = p.lookout.fix_in_doubt().unwrap();
    assert!(doubt.starts_with("position doubtful: 0.50 nm toward 090° from dead reckoning,"), "{doubt}");
    assert!(p.off_nm() < 0.02, "reckoning goes on from the fixes before");
    p.sail(1, true, Gps::Good);
    assert_eq!(p.lookout.fix_in_doubt(), None);
    // What stays off is believed once reckoning itself may err by as much: 0.4 nm at 0.7 kn.
    p.sail(10, true, Gps::Good);
    p.sail(25, true, Gps::Off(-0.5));
    assert!(p.lookout.fix_in_doubt().is_some());
    p.sail(12, true, Gps::Off(-0.5));
    assert_eq!(p.lookout.fix_in_doubt(), None);

    let mut p = Passage::new(0.0, 5.0, (0.3, 0.0));
    p.sail(60, true, Gps::Good);
    p.found.clear();
    p.sail(10, true, Gps::Frozen(p.here));
    assert_eq!(p.found[0], "61 position frozen", "{:?}", p.found);
    assert!(p.found.iter().any(|f| f.ends_with("position walks")), "{:?}", p.found);
    let doubt = p.lookout.fix_in_doubt().unwrap();
    assert!(doubt.contains("toward 18") && doubt.contains("and growing"), "{doubt}");

    // Jammed, then led astray.
    let mut p = Passage::new(0.0, 5.0, (0.3, 0.0));
    p.sail(60, true, Gps::Good);
    p.sail(20, true, Gps::None);
    p.found.clear();
    p.sail(1, true, Gps::Off(2.0));
    assert_eq!(p.found, ["80 position walks"]);
    assert!(p.lookout.fix_in_doubt().unwrap().starts_with("position doubtful: 2.0"));
    // It walks at three knots for ten minutes: half a mile, and growing.
    let mut p = Passage::new(0.0, 5.0, (0.3, 0.0));
    p.sail(60, true, Gps::Good);
    for minute in 1..=10 {
        p.sail(1, true, Gps::Off(0.05 * f64::from(minute)));
    }
    let doubt = p.lookout.fix_in_doubt().unwrap();
    assert!(doubt.contains(" nm toward 09") && doubt.contains("and growing"), "{doubt}");
}
