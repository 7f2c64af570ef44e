//! A night at anchor through the built binary with the shipped orders, judged by the scenario's truth.

use crate::night::{BOAT, Event, Night, approach, replay, spans};
use std::path::Path;
use std::time::Duration;
use terms::{METRES_PER_NM, Mmsi, Moment};

const ANCHORAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/at-anchor.toml");
const ORDERS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/rules/orders/passage.toml");
/// When the crew declares that she lies at anchor.
const ANCHORED: Moment = Moment(120_000);
const ORRIN_FALDE: u32 = 636_990_158;
const TROIS_COMMERES: u32 = 227_990_336;

fn raised<'n>(night: &'n Night, order: &str) -> Vec<&'n Event> {
    // That an order cannot be judged is told as a caution of the same name, and is another matter.
    let judged = |e: &&Event| e.0["alert"]["priority"] != "caution";
    let others = |e: &&Event| e.target().is_none_or(|t| t == u64::from(ORRIN_FALDE));
    night
        .events
        .iter()
        .filter(|e| e.what() == "raised" && e.order() == order)
        .filter(others)
        .filter(judged)
        .collect()
}

/// Raised once: not before the truth is near the limit, and soon after it is surely over it.
fn once_between(
    night: &Night,
    order: &str,
    near: &[(Moment, Moment)],
    over: &[(Moment, Moment)],
    late_s: u64,
) {
    let raised = raised(night, order);
    assert_eq!(raised.len(), 1, "{order}: {raised:#?}");
    let at = raised[0].at();
    assert!(
        at >= near[0].0 && at <= over[0].0 + Duration::from_secs(late_s),
        "{order} at {at:?}: {near:?} {over:?}"
    );
}

#[test]
fn an_anchor_that_drags_a_ship_that_comes_and_shoaling_water_are_called() {
    let night = replay(Path::new(ANCHORAGE), &["--config", BOAT, "--orders", ORDERS]);
    let s = &night.scenario;

    // 45 m from where she was when it was declared, held 20 s; the fix wanders by 3 m, up to six deviations of it.
    let anchor = s.own(ANCHORED).position;
    let dragged = |m: f64| spans(s, |at| s.own(at).position.range_and_bearing(anchor).0 * METRES_PER_NM > m);
    once_between(&night, "anchor drags", &dragged(27.0), &dragged(63.0), 30);

    // 1 m below the keel: 1.8 m of draught less 0.5 m to the transducer. Sounded every 2 s, 0.05 m of noise and 0.5 %.
    let shoal = |m: f64| spans(s, |at| s.depth_below_transducer_m(at).unwrap() - 1.3 < m);
    once_between(&night, "water shoals at anchor", &shoal(1.3), &shoal(0.8), 30);

    // CPA under 0.1 nm within ten minutes by the prudent TCPA, two minutes sooner at most, held 10 s; she reports every ten seconds or oftener.
    let comes = |cpa_nm: f64, tcpa_s: f64| {
        let ship = Mmsi::new(ORRIN_FALDE).unwrap();
        spans(s, |at| {
            let (cpa, tcpa) = approach(&s.own(at), &s.ship(ship, at).unwrap());
            cpa < cpa_nm && (0.0..tcpa_s).contains(&tcpa)
        })
    };
    once_between(&night, "ship comes at us", &comes(0.13, 750.0), &comes(0.07, 560.0), 60);
    let hers = night.events.iter().filter(|e| e.target() == Some(u64::from(ORRIN_FALDE)));
    let over = hers.filter(|e| e.order() == "ship comes at us").find(|e| e.what() == "cleared").unwrap();
    // It ends above 0.2 nm: she has begun to turn, and by the truth too passes clear of the limit of 0.1 nm.
    let (cpa, _) = approach(&s.own(over.at()), &s.ship(Mmsi::new(ORRIN_FALDE).unwrap(), over.at()).unwrap());
    assert!(cpa > 0.15, "over while she still came, CPA {cpa}");

    assert_eq!(raised(&night, "gusts at anchor").len(), 1);
    assert!(raised(&night, "another vessel close").is_empty(), "she never came within a tenth of a mile");
    let small = |e: &&Event| {
        e.what() == "raised" && e.at() > ANCHORED && e.target() == Some(u64::from(TROIS_COMMERES))
    };
    let of_small: Vec<&str> = night.events.iter().filter(small).map(Event::order).collect();
    assert_eq!(of_small, ["ship comes at us", "another vessel close"]);
    // Nothing else of that weight.
    let heavy = |e: &&Event| e.what() == "raised" && e.at() > ANCHORED && e.0["alert"]["priority"] == "alarm";
    let heavy: Vec<&Event> = night.events.iter().filter(heavy).collect();
    assert_eq!(heavy.len(), 4, "{heavy:#?}");
}
