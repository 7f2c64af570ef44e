//! How often the shipped orders call on standard nights, made by seed, and whether they call for all that is due. The
//! crew acknowledges each minute. `MIDDLEWATCH_CALLS=1` prints each call. The whole table, into DEVELOPERS.md:
//!
//!     WRITE_EXPECTED=1 cargo test --test all -- --ignored budget:: --nocapture

mod made;

use crate::night::{Draw, approach};
use made::{Made, anchorage, busy_coast, quiet_ocean, thin_wire, trade_wind};
use record::Act;
use rules::{EventKind, Orders, Priority};
use scenario::{Scenario, What};
use std::collections::BTreeMap;
use std::fmt::Write;
use std::sync::Arc;
use std::time::Duration;
use terms::{FeedId, Mmsi, Moment, Position, Utc};
use watch::{Begin, Effect, FeedSetting, Input, Silence, Watch};

const BOAT: &str = "version = 1\n[vessel]\nname = \"Windlestraw\"\nmmsi = \"232990417\"\ndraught_m = 1.8\n\
    transducer_depth_m = 0.5\nmasthead_m = 14\n";
/// 2026-01-01, before which no live sentence was sent.
const NOT_BEFORE: Utc = Utc(1_767_225_600_000);
/// When the crew declares what she does, the waters being declared before: she has a fix by then.
const DECLARED: Moment = Moment(10_000);
const HEAD: &str = "| night | hours | calls an hour | of at most | cautions an hour | due | missed |";
/// From a danger that begins to the call for it at the latest: reports of class A, and of class B, lost by bad luck.
const LATE_S: [i64; 2] = [60, 150];
/// The truth of ships is looked up this often, in seconds.
const STEP_S: i64 = 10;

/// A kind of night: how many calls an hour at warning and above it may have, and as many cautions again.
struct Kind {
    name: &'static str,
    most_an_hour: f64,
    hours: i64,
    declared: [&'static str; 2],
    made: fn(&mut Draw, i64) -> Made,
    /// Miles and seconds within which a ship's closest approach is surely due, by the orders' limits less what noise may do.
    due: (f64, f64),
}

const KINDS: [Kind; 5] = [
    Kind {
        name: "quiet ocean",
        most_an_hour: 0.05,
        hours: 10,
        declared: ["under sail", "ocean"],
        made: quiet_ocean,
        due: (1.75, 1440.0),
    },
    Kind {
        name: "trade wind, six ships, three squalls",
        most_an_hour: 0.5,
        hours: 12,
        declared: ["under sail", "ocean"],
        made: trade_wind,
        due: (1.75, 1440.0),
    },
    Kind {
        name: "busy coast, 116 vessels",
        most_an_hour: 3.0,
        hours: 4,
        declared: ["under sail", "coastal"],
        made: busy_coast,
        due: (0.35, 660.0),
    },
    Kind {
        name: "anchorage",
        most_an_hour: 0.3,
        hours: 10,
        declared: ["at anchor", "coastal"],
        made: anchorage,
        due: (0.05, 500.0),
    },
    Kind {
        name: "thin AIS wire",
        most_an_hour: 0.5,
        hours: 10,
        declared: ["under sail", "ocean"],
        made: thin_wire,
        due: (1.75, 1440.0),
    },
];

/// What came out of a night.
struct Event {
    at: Moment,
    what: EventKind,
    priority: Priority,
    order: String,
    target: Option<Mmsi>,
    text: String,
}

fn stand(kind: &Kind, scenario: &Scenario) -> Vec<Event> {
    let boat = boat::read("boat.toml", BOAT).unwrap().0;
    let mut watch = Watch::new(&boat);
    let names: Vec<String> = scenario.feeds().map(str::to_owned).collect();
    let feed = |name: &String| FeedSetting {
        name: name.clone(),
        checksum_optional: false,
        simulator: true,
        trusted: false,
        silent_after: Silence::Unusual,
    };
    let begin = Begin {
        begins: true,
        utc: Some(scenario.start()),
        not_before: Some(NOT_BEFORE),
        feeds: names.iter().map(feed).collect(),
        // She has stood many watches, and knows that her AIS wire brings nothing but ships.
        rhythms: [("ais".to_owned(), serde_json::from_str(r#"{"lost": true}"#).unwrap())].into(),
        orders: Arc::new(Orders::read("passage.toml", rules::SHIPPED).unwrap()),
        ..Begin::default()
    };
    watch.take(Moment::ZERO, Input::Begin(Box::new(begin))).unwrap();
    let [doing, waters] = kind
        .declared
        .map(|what| Input::Act(Act::Declare { what: what.to_owned(), metres: None, bearing_deg: None }));
    watch.take(Moment::ZERO, waters).unwrap();
    let mut doing = Some(doing);
    let mut out = Vec::new();
    let mut acknowledged = Moment(60_000);
    for t in scenario.play() {
        while acknowledged <= t.at {
            let _ = watch.take(acknowledged, Input::Act(Act::Acknowledge { alert: None, order: None }));
            acknowledged = acknowledged + Duration::from_secs(60);
        }
        if t.at >= DECLARED
            && let Some(doing) = doing.take()
        {
            watch.take(t.at, doing).unwrap();
        }
        if let What::Line { feed, line } = t.what {
            let n = names.iter().position(|name| name == feed).unwrap();
            watch.take(t.at, Input::Line(FeedId(n as u16), line.parse().unwrap())).unwrap();
        }
        for effect in watch.effects() {
            let Effect::Event(at, record, _) = effect else { continue };
            out.push(Event {
                at: at.steady,
                what: record.event,
                priority: record.alert.priority,
                order: record.alert.order.clone(),
                target: record.target.as_ref().map(|t| t.mmsi),
                text: record.alert.text.clone(),
            });
        }
    }
    out
}

/// How nights of a kind went.
#[derive(Default)]
struct Sum {
    hours: i64,
    calls: u32,
    cautions: u32,
    due: u32,
    missed: Vec<String>,
    by_order: BTreeMap<String, u32>,
}

impl Sum {
    fn add(&mut self, kind: &Kind, seed: u64, hours: i64) {
        let mut draw = Draw::seeded(seed.wrapping_mul(31).wrapping_add(kind.name.len() as u64));
        let made = (kind.made)(&mut draw, hours);
        let scenario = Scenario::read(kind.name, &made.text).unwrap_or_else(|p| panic!("{p}"));
        let events = stand(kind, &scenario);
        self.hours += hours;
        for e in events.iter().filter(|e| e.what.calls() && e.priority >= Priority::Caution) {
            let count = if e.priority > Priority::Caution { &mut self.calls } else { &mut self.cautions };
            *count += 1;
            *self.by_order.entry(format!("{} ({})", e.order, e.priority)).or_default() += 1;
            if std::env::var_os("MIDDLEWATCH_CALLS").is_some() {
                println!("{} {seed} {:>6} {:?} {}: {}", kind.name, e.at.0 / 1000, e.what, e.order, e.text);
            }
        }
        for due in made.due {
            self.due += 1;
            if !stands_within(&events, due.order, due.from, due.until) {
                self.missed.push(format!("seed {seed}: {} from {:?}", due.order, due.from));
            }
        }
        for mmsi in scenario.ships() {
            for (from, until) in dangers(kind, &scenario, mmsi) {
                let late = LATE_S[usize::from(is_class_b(&made.text, mmsi))];
                let known = from + Duration::from_secs(late as u64);
                if known >= until {
                    continue;
                }
                self.due += 1;
                let hers: Vec<&Event> = events
                    .iter()
                    .filter(|e| e.target == Some(mmsi) && e.priority > Priority::Caution)
                    .collect();
                let stands = hers.iter().take_while(|e| e.at <= known).fold(0, |n, e| match e.what {
                    EventKind::Raised => n + 1,
                    EventKind::Cleared => n - 1,
                    _ => n,
                });
                if stands <= 0 {
                    self.missed.push(format!("seed {seed}: {mmsi} from {from:?} to {until:?}"));
                }
            }
        }
    }

    fn an_hour(&self, n: u32) -> f64 {
        f64::from(n) / self.hours as f64
    }
}

fn is_class_b(scenario: &str, mmsi: Mmsi) -> bool {
    let (_, hers) = scenario.split_once(&format!("mmsi = \"{}\"", mmsi.number())).unwrap();
    hers.split_once("class = \"").is_some_and(|(_, class)| class.starts_with('B'))
}

/// Whether an order stood at some time between two moments.
fn stands_within(events: &[Event], order: &str, from: Moment, until: Moment) -> bool {
    let its = events.iter().filter(|e| e.order.starts_with(order) && e.priority > Priority::Caution);
    let mut stands = false;
    for e in its.take_while(|e| e.at <= until) {
        match e.what {
            EventKind::Raised if e.at >= from => return true,
            EventKind::Raised => stands = true,
            EventKind::Cleared if e.at < from => stands = false,
            _ => {}
        }
    }
    stands
}

/// Stretches in which a ship's closest approach is surely due.
fn dangers(kind: &Kind, scenario: &Scenario, mmsi: Mmsi) -> Vec<(Moment, Moment)> {
    let mut spans: Vec<(Moment, Moment)> = Vec::new();
    let (cpa_most, tcpa_most) = kind.due;
    for s in (STEP_S..scenario.end().0 / 1000).step_by(STEP_S as usize) {
        let at = Moment(s * 1000);
        let (own, other) = (scenario.own(at), scenario.ship(mmsi, at).unwrap());
        let near = |a: Position, b: Position| (a.latitude_deg() - b.latitude_deg()).abs() < 0.4;
        if !near(own.position, other.position) || other.sog_kn < 1.0 {
            continue;
        }
        let (cpa, tcpa) = approach(&own, &other);
        if cpa < cpa_most
            && (20.0..tcpa_most).contains(&tcpa)
            && own.position.range_and_bearing(other.position).0 < 22.0
        {
            match spans.last_mut().filter(|(_, until)| at.since(*until).as_secs() <= STEP_S as u64) {
                Some((_, until)) => *until = at,
                None => spans.push((at, at)),
            }
        }
    }
    spans
}

/// The table as DEVELOPERS.md has it.
fn table(sums: &[(&Kind, Sum)]) -> String {
    let mut text = format!("{HEAD}\n|---|---|---|---|---|---|---|\n");
    for (kind, sum) in sums {
        let _ = writeln!(
            text,
            "| {} | {} | {:.2} | {} | {:.2} | {} | {} |",
            kind.name,
            sum.hours,
            sum.an_hour(sum.calls),
            kind.most_an_hour,
            sum.an_hour(sum.cautions),
            sum.due,
            sum.missed.len()
        );
    }
    text
}

/// Which orders called, and what was missed.
fn causes(sums: &[(&Kind, Sum)]) -> String {
    sums.iter().map(|(kind, sum)| format!("{}: {:?} {:?}\n", kind.name, sum.by_order, sum.missed)).collect()
}

fn sums(nights: u64, hours: impl Fn(&Kind) -> i64) -> Vec<(&'static Kind, Sum)> {
    let of = |kind: &'static Kind| {
        let mut sum = Sum::default();
        (0..nights).for_each(|seed| sum.add(kind, seed, hours(kind)));
        (kind, sum)
    };
    KINDS.iter().map(of).collect()
}

#[test]
fn short_nights_call_for_all_that_is_due_and_hardly_more() {
    let sums = sums(1, |_| 2);
    for (kind, sum) in &sums {
        // Room for chance: what a night of so few hours brings differs by three deviations of as many rare events.
        let fair = kind.most_an_hour * sum.hours as f64;
        let most = fair + 3.0 * fair.sqrt() + 1.0;
        let quiet = f64::from(sum.calls) <= most && f64::from(sum.cautions) <= most;
        assert!(
            quiet && sum.missed.is_empty(),
            "{}: at most {most:.1}\n{}{}",
            kind.name,
            table(&sums),
            causes(&sums)
        );
    }
}

#[test]
#[ignore = "thirty nights take a minute"]
fn standard_nights_stay_within_their_budget_and_developers_md_has_their_table() {
    let sums = sums(6, |kind| kind.hours);
    let table = table(&sums);
    println!("{table}\n{}", causes(&sums));
    for (kind, sum) in &sums {
        let quiet = [sum.calls, sum.cautions].iter().all(|&n| sum.an_hour(n) <= kind.most_an_hour);
        assert!(quiet && sum.missed.is_empty(), "{}", kind.name);
    }
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/DEVELOPERS.md");
    let text = std::fs::read_to_string(file).unwrap();
    let from = text.find(HEAD).unwrap();
    let until = from + text[from..].find("\n\n").unwrap() + 1;
    if std::env::var_os("WRITE_EXPECTED").is_some() {
        std::fs::write(file, [&text[..from], &table, &text[until..]].concat()).unwrap();
    } else {
        assert_eq!(&text[from..until], table, "WRITE_EXPECTED=1 writes it");
    }
}
