//! More ships than are held: whatever one feed brings, the ships of another and the dangerous ones keep their places.

use lookout::{Finding, Lookout, Settings};
use sentence::ais::AisReport;
use sentence::{Fix, Report};
use std::collections::BTreeSet;
use terms::{FeedId, Mmsi, Moment, Position, Subject};

const GPS: FeedId = FeedId(0);
const WIRE: FeedId = FeedId(1);
const GUEST: FeedId = FeedId(2);
const TANKER: u32 = 538_000_001;

fn at(s: f64) -> Moment {
    Moment::from_s(s)
}

fn mmsi(number: u32) -> Mmsi {
    Mmsi::new(number).unwrap()
}

/// Own vessel runs north at 6 kn.
fn own(s: f64) -> Position {
    Position::new(50.0, -6.0).unwrap().at(0.0, 6.0 * s / 3600.0)
}

/// A lookout that follows own vessel and notes what it lets go.
struct Bridge {
    lookout: Lookout,
    gone: BTreeSet<u32>,
    noted: usize,
    /// All findings.
    found: usize,
}

impl Bridge {
    fn new(targets_max: usize) -> Self {
        let lookout = Lookout::new(Settings { targets_max, ..Settings::default() });
        let mut bridge = Self { lookout, gone: BTreeSet::new(), noted: 0, found: 0 };
        for s in -10..=0 {
            bridge.fix(f64::from(s));
        }
        bridge
    }

    fn fix(&mut self, s: f64) {
        let fix = Fix { position: Some(own(s)), sog_kn: Some(6.0), cog_deg: Some(0.0), ..Fix::default() };
        self.lookout.advance(at(s));
        self.lookout.hear(at(s), GPS, &Report::Fix(fix));
        self.look();
    }

    fn look(&mut self) {
        for f in self.lookout.take_findings() {
            self.found += 1;
            match f {
                Finding::Gone(Subject::Target(m)) => drop(self.gone.insert(m.number())),
                Finding::Noted { .. } => self.noted += 1,
                _ => {}
            }
        }
    }

    fn ship(&mut self, s: f64, feed: FeedId, number: u32, place: Position, sog_kn: f64, cog_deg: f64) {
        let report = AisReport {
            position: Some(place),
            sog_kn: Some(sog_kn),
            cog_deg: Some(cog_deg),
            nav_status: Some(0),
            ..AisReport::new(1, 0, mmsi(number))
        };
        self.lookout.hear(at(s), feed, &Report::Ais(Box::new(report)));
        self.look();
    }

    /// The tanker: right ahead, 12 kn southward, so that she meets own vessel after 20 minutes.
    fn tanker(&mut self, s: f64, feed: FeedId) {
        let meets = own(1200.0);
        self.ship(s, feed, TANKER, meets.at(0.0, 12.0 * (1200.0 - s) / 3600.0), 12.0, 180.0);
    }

    fn holds(&self, number: u32) -> bool {
        self.lookout.target(at(0.0), mmsi(number)).is_some()
    }

    fn count(&self, numbers: std::ops::Range<u32>) -> usize {
        self.lookout.identities().filter(|m| numbers.contains(&m.number())).count()
    }
}

const FORGED: u32 = 211_000_000;
/// Forged in one second.
const A_SECOND: u32 = 20_000;

/// Ten seconds with a flood by one feed in the fourth to sixth, and the tanker's reports by another every second one. A
/// forgery is near own vessel and passes well clear, or comes straight at her.
fn flooded(tanker_by: FeedId, collides: bool) -> Bridge {
    let mut bridge = Bridge::new(4_096);
    let mut forged = FORGED;
    for s in 0..10 {
        let now = f64::from(s);
        bridge.fix(now);
        if s % 2 == 0 {
            bridge.tanker(now, tanker_by);
            let named =
                AisReport { name: Some("ROTTERDAM".to_owned()), ..AisReport::new(5, 0, mmsi(TANKER)) };
            bridge.lookout.hear(at(now), tanker_by, &Report::Ais(Box::new(named)));
        }
        for n in 0..if (4..7).contains(&s) { A_SECOND / 2 } else { 0 } {
            let bearing = f64::from(n) * 137.5;
            let range = 1.5 + f64::from(n % 100) / 100.0;
            // As fast as own vessel and on her course she keeps her distance; else she is there in five minutes or so.
            let (sog_kn, cog_deg) = if collides { (24.0, bearing + 180.0) } else { (6.0, 0.0) };
            bridge.ship(now, GUEST, forged, own(now).at(bearing, range), sog_kn, cog_deg.rem_euclid(360.0));
            forged += 1;
            assert!(s < 1 || bridge.holds(TANKER), "pushed out by forgery {n} of second {s}");
        }
    }
    assert_eq!(bridge.lookout.targets(at(9.0)).len(), 4_096);
    let tanker = bridge.lookout.target(at(9.0), mmsi(TANKER)).unwrap();
    assert_eq!(tanker.name.as_deref(), Some("ROTTERDAM"));
    assert!(tanker.cpa_nm.unwrap() < 0.05, "{tanker:?}");
    bridge
}

#[test]
fn a_flood_of_near_ships_on_another_feed_does_not_push_out_the_one_that_will_collide() {
    assert!(!flooded(WIRE, false).gone.contains(&TANKER));
}

#[test]
fn nor_does_a_flood_whose_ships_all_collide_sooner() {
    assert!(!flooded(WIRE, true).gone.contains(&TANKER));
}

#[test]
fn nor_does_a_flood_of_near_ships_on_her_own_feed() {
    assert!(!flooded(GUEST, false).gone.contains(&TANKER));
}

/// So many ships of a feed, on a ring far off, all alike.
fn ring(bridge: &mut Bridge, s: f64, feed: FeedId, numbers: std::ops::Range<u32>, range_nm: f64) {
    for number in numbers {
        bridge.ship(s, feed, number, own(s).at(f64::from(number) * 137.5, range_nm), 6.0, 0.0);
    }
}

#[test]
fn a_feed_takes_what_another_leaves_and_gives_it_back() {
    let mut bridge = Bridge::new(100);
    ring(&mut bridge, 0.0, WIRE, 1_000_000..1_000_010, 20.0);
    ring(&mut bridge, 0.0, GUEST, 2_000_000..2_000_500, 2.0);
    assert_eq!((bridge.count(1_000_000..1_000_010), bridge.count(2_000_000..2_000_500)), (10, 90));
    assert_eq!(bridge.noted, 1);
    // Far ships of the one against near ships of the other: half of the table is theirs.
    ring(&mut bridge, 1.0, WIRE, 1_000_010..1_000_300, 20.0);
    assert_eq!((bridge.count(1_000_000..1_000_300), bridge.count(2_000_000..2_000_500)), (50, 50));
    // A third feed has a third.
    ring(&mut bridge, 2.0, FeedId(3), 3_000_000..3_000_300, 30.0);
    let held = [1_000_000, 2_000_000, 3_000_000].map(|n| bridge.count(n..n + 500));
    assert!(held.iter().all(|n| (33..=34).contains(n)), "{held:?}");
}

#[test]
fn no_ship_loses_her_place_to_a_newer_one_that_is_no_more_dangerous() {
    let mut bridge = Bridge::new(50);
    ring(&mut bridge, 0.0, WIRE, 1_000_000..1_000_050, 5.1);
    let before = bridge.found;
    ring(&mut bridge, 1.0, WIRE, 2_000_000..2_000_500, 5.1);
    ring(&mut bridge, 1.0, WIRE, 3_000_000..3_000_500, 9.0);
    assert_eq!(bridge.found - before, 1_001, "that the feed speaks, and once that there are too many");
    assert!(bridge.gone.is_empty(), "{:?}", bridge.gone);
    assert_eq!(bridge.count(1_000_000..1_000_050), 50);
    // Nearer ones are more dangerous.
    ring(&mut bridge, 2.0, WIRE, 4_000_000..4_000_020, 3.0);
    assert_eq!((bridge.count(1_000_000..1_000_050), bridge.count(4_000_000..4_000_020)), (30, 20));
    // Those of before report again, all but ten; these have fallen silent, and others as dangerous take their places.
    ring(&mut bridge, 70.0, WIRE, 4_000_000..4_000_020, 3.0);
    let still: Vec<u32> = bridge.lookout.identities().map(Mmsi::number).filter(|n| *n < 2_000_000).collect();
    for number in &still[..20] {
        ring(&mut bridge, 70.0, WIRE, *number..number + 1, 5.1);
    }
    bridge.fix(71.0);
    ring(&mut bridge, 71.0, WIRE, 5_000_000..5_000_100, 5.1);
    assert_eq!(bridge.count(5_000_000..5_000_100), 10);
    assert!(still[..20].iter().all(|n| bridge.holds(*n)));
}

#[test]
fn a_ship_that_two_feeds_report_is_let_go_after_one_that_a_single_feed_reports() {
    let mut bridge = Bridge::new(40);
    ring(&mut bridge, 0.0, GUEST, 1_000_000..1_000_020, 5.1);
    ring(&mut bridge, 0.0, WIRE, 2_000_000..2_000_020, 5.1);
    // The other feed brings the same messages of ten: they are no news, but they count.
    ring(&mut bridge, 0.0, WIRE, 1_000_000..1_000_010, 5.1);
    bridge.fix(20.0);
    ring(&mut bridge, 20.0, GUEST, 3_000_000..3_000_010, 4.1);
    let held = [1_000_000..1_000_010, 1_000_010..1_000_020, 2_000_000..2_000_020, 3_000_000..3_000_010]
        .map(|numbers| bridge.count(numbers));
    assert_eq!(held, [10, 0, 20, 10]);
}

#[test]
fn a_feed_that_repeats_the_ships_of_another_first_does_not_push_them_out_afterwards() {
    let mut bridge = Bridge::new(400);
    ring(&mut bridge, 0.0, WIRE, 1_000_000..1_000_150, 20.0);
    bridge.tanker(0.0, WIRE);
    // While the guest holds fewer ships, what both report counts as his.
    ring(&mut bridge, 0.5, GUEST, 1_000_000..1_000_150, 20.0);
    bridge.tanker(0.5, GUEST);
    ring(&mut bridge, 1.0, GUEST, 2_000_000..2_002_000, 0.5);
    assert_eq!(bridge.count(1_000_000..1_000_150), 150);
    assert!(bridge.gone.iter().all(|n| *n >= 2_000_000), "{:?}", bridge.gone);
    assert!(bridge.holds(TANKER));
}

#[test]
fn a_ship_whose_feed_falls_silent_counts_in_the_share_of_the_one_that_still_reports_her() {
    let mut bridge = Bridge::new(30);
    ring(&mut bridge, 0.0, WIRE, 1_000_000..1_000_010, 20.0);
    for s in (0..=720).step_by(30) {
        let now = f64::from(s);
        bridge.fix(now);
        ring(&mut bridge, now, GUEST, 1_000_000..1_000_010, 20.0);
    }
    // Now all of them are the guest's, and his more dangerous ones come first.
    ring(&mut bridge, 721.0, GUEST, 2_000_000..2_000_100, 2.0);
    assert_eq!((bridge.count(1_000_000..1_000_010), bridge.count(2_000_000..2_000_100)), (0, 30));
}
