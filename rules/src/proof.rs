//! The proof of what is watched: for each declaration, whether an order calls for a ship on a collision course, for shoal
//! water, and at anchor for a dragging anchor.
//!
//! It is found by playing each danger to the orders on a board of its own, as a trial does; what an order is called does
//! not matter. Every order that could look away (by night, in fog) is tried both ways: something is watched only if it is
//! watched in each.

use crate::alert::Priority;
use crate::condition::{Measure, Test};
use crate::declared::{Declarations, Declared, Doing, Visibility, Waters};
use crate::order::{Order, Orders};
use crate::trial::{Call, Heard, Run, Step, Trial};
use serde::Serialize;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;
use terms::{METRES_PER_NM, Position, Quantity, Value, Whose};

/// A call later than this before the closest point of approach is none: too late to wake, look and act. Common practice
/// asks for more; this is the least.
const LATEST_CALL: Duration = Duration::from_secs(180);
/// When the ship of the proof is closest: an hour after she comes within range.
const CLOSEST: Duration = Duration::from_secs(3600);
/// Her CPA in nautical miles: a hundred metres.
const CPA_NM: f64 = 0.06;
/// Her range at the beginning in nautical miles.
const FAR_NM: f64 = 12.0;

terms::closed_list! {
    /// A danger that some order must watch.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
    pub enum Danger {
        /// A ship passes within a hundred metres.
        Ships = "ships",
        /// The water shoals to one metre.
        Depth = "depth",
        /// She drags her anchor a cable and more. Of no concern unless she may be at anchor.
        Anchor = "anchor",
    }
}

/// The order that watches a danger.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WatchedBy {
    /// The order's name.
    pub order: String,
    /// Its priority.
    pub priority: Priority,
    /// How long before the closest point of approach it calls, in seconds; `None` of other dangers.
    pub before_s: Option<f64>,
}

/// What the orders watch under one declaration. The position itself is always watched, by the built-in `fix lost`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Proof {
    /// What is declared.
    pub declared: Declarations,
    /// Each danger that matters under it, and what watches it; `None` if nothing does.
    pub dangers: BTreeMap<Danger, Option<WatchedBy>>,
}

impl Proof {
    /// The dangers that nothing watches.
    pub fn unwatched(&self) -> impl Iterator<Item = Danger> {
        self.dangers.iter().filter(|(_, by)| by.is_none()).map(|(danger, _)| *danger)
    }
}

impl Orders {
    /// What these orders watch under a declaration. Plays the dangers to them, at values every ten seconds: a few
    /// milliseconds for an ordinary file, some tenths of a second for the dearest that is allowed.
    pub fn proof(&self, declared: Declarations) -> Proof {
        let concerns = |danger: &Danger| match (danger, declared.doing) {
            // Made fast, she is in the harbour's hands.
            (_, Some(Doing::Moored)) => false,
            (Danger::Anchor, doing) => doing == Some(Doing::AtAnchor),
            _ => true,
        };
        let dangers = Danger::ALL.into_iter().filter(concerns);
        Proof { declared, dangers: dangers.map(|danger| (danger, self.watcher(danger, declared))).collect() }
    }

    /// What these orders watch under every declaration of doing and waters, undeclared included.
    pub fn proofs(&self) -> Vec<Proof> {
        let doings = std::iter::once(None).chain(Doing::ALL.into_iter().map(Some));
        let waters = || std::iter::once(None).chain(Waters::ALL.into_iter().map(Some));
        let all = doings.flat_map(|doing| waters().map(move |waters| (doing, waters)));
        all.map(|(doing, waters)| self.proof(Declarations { doing, waters, visibility: None })).collect()
    }

    /// The order that calls for a danger by night and by day, in fog and in clear air; of these the one that calls last.
    fn watcher(&self, danger: Danger, declared: Declarations) -> Option<WatchedBy> {
        let concerned = self.concerned(danger);
        let asks_sun =
            |o: &Arc<Order>| o.only.night.is_some() || asks(o, |m| m.follows() == Some(Quantity::Sun));
        // What no order asks for makes no difference.
        let suns: &[&str] = if concerned.orders.iter().any(asks_sun) { &["up", "down"] } else { &["up"] };
        let asks_visibility = concerned.orders.iter().any(|o| o.only.visibility.is_some());
        let visibilities = match declared.visibility {
            None if asks_visibility => Visibility::ALL.map(Some).to_vec(),
            same => vec![same],
        };
        let mut last: Option<(Duration, WatchedBy)> = None;
        for visibility in visibilities {
            for sun in suns {
                let declared = Declarations { visibility, ..declared };
                let trial = played(danger, declared, sun);
                let calls = Run::calls(&trial, &concerned);
                // The loudest, and of these the first.
                let counted = calls.into_iter().filter(|call| concerned.counts(danger, call)).rev();
                let call = counted.max_by_key(|call| call.priority)?;
                let before = (danger == Danger::Ships).then(|| CLOSEST.saturating_sub(call.at).as_secs_f64());
                if last.as_ref().is_none_or(|(at, _)| call.at > *at) {
                    let by = WatchedBy { order: call.order, priority: call.priority, before_s: before };
                    last = Some((call.at, by));
                }
            }
        }
        last.map(|(_, by)| by)
    }

    /// The orders about a danger, and those that they leave the call to: the others would only take time, and the watch
    /// waits for the proof.
    fn concerned(&self, danger: Danger) -> Self {
        let mut concerned: Vec<bool> = self.orders.iter().map(|o| is_about(danger, o)).collect();
        loop {
            let named = |o: &Order| {
                let waits =
                    |(other, concerned): (&Arc<Order>, &bool)| *concerned && other.unless.contains(&o.name);
                self.orders.iter().zip(&concerned).any(waits)
            };
            let more: Vec<bool> = self.orders.iter().zip(&concerned).map(|(o, c)| *c || named(o)).collect();
            if more == concerned {
                break;
            }
            concerned = more;
        }
        let orders = self.orders.iter().zip(concerned).filter(|(_, concerned)| *concerned);
        Self { orders: orders.map(|(o, _)| Arc::clone(o)).collect(), ..Self::default() }
    }

    /// Whether a call is about the danger, and one that can be acted on: for a ship it must sound, and in time.
    fn counts(&self, danger: Danger, call: &Call) -> bool {
        let heeded = danger != Danger::Ships
            || (call.priority >= Priority::Warning && call.at + LATEST_CALL <= CLOSEST);
        heeded && self.orders.iter().any(|o| o.name == call.order && is_about(danger, o))
    }
}

/// Whether an order is about a danger.
fn is_about(danger: Danger, order: &Order) -> bool {
    match danger {
        Danger::Ships => order.each == Whose::Target,
        Danger::Depth => asks(order, |m| {
            use Quantity as Q;
            let depths = [Q::DepthBelowKeel, Q::DepthBelowTransducer, Q::DepthBelowSurface];
            m.follows().is_some_and(|q| depths.contains(&q))
        }),
        Danger::Anchor => asks(order, |m| m.is_of_anchor() || matches!(m, Measure::MarkRange(..))),
    }
}

fn asks(order: &Order, wanted: impl Fn(&Measure) -> bool) -> bool {
    order.tests.iter().any(|Test { measure, .. }| wanted(measure))
}

fn number(q: Quantity, value: f64) -> Heard {
    Heard { measure: Measure::Quantity(q), value: Some(Value::Number(value)), position: None }
}

fn word(q: Quantity, value: &str) -> Heard {
    Heard { measure: Measure::Quantity(q), value: Some(Value::Word(value.into())), position: None }
}

fn place(position: Option<Position>) -> Heard {
    Heard { measure: Measure::Quantity(Quantity::Fix), value: Some(Value::There), position }
}

fn step(at: Duration, declare: Vec<Declared>, heard: Vec<Heard>) -> Step {
    Step {
        at,
        target: "the ship".to_owned(),
        feed: "the feed".to_owned(),
        gone: false,
        heard,
        declare,
        acknowledge: None,
        standing: None,
    }
}

/// A danger as it comes, all else as it is on a quiet day.
fn played(danger: Danger, declared: Declarations, sun: &str) -> Trial {
    use Quantity as Q;
    let minutes = |m: u64| Duration::from_secs(60 * m);
    let speed_kn = match declared.doing {
        Some(Doing::AtAnchor | Doing::Moored) => 0.0,
        Some(Doing::HoveTo) => 1.0,
        _ => 5.0,
    };
    let here = Position::new(0.0, 0.0).ok();
    let mut quiet = vec![place(here), word(Q::Sun, sun)];
    quiet.extend(
        [(Q::Sog, speed_kn), (Q::SpeedThroughWater, speed_kn), (Q::Cog, 0.0), (Q::Heading, 0.0)]
            .map(|(q, v)| number(q, v)),
    );
    let mut steps = vec![
        step(Duration::ZERO, Vec::new(), quiet),
        step(Duration::ZERO, declared.iter().collect(), Vec::new()),
    ];
    match danger {
        Danger::Ships => {
            let closest = |tcpa_s: f64, range: f64| {
                let numbers = [
                    (Q::Range, range),
                    (Q::Cpa, CPA_NM),
                    (Q::CpaLeast, CPA_NM),
                    (Q::CpaMost, CPA_NM),
                    (Q::Tcpa, tcpa_s),
                    (Q::TcpaLeast, tcpa_s),
                    (Q::TcpaMost, tcpa_s),
                    (Q::TcpaPrudent, tcpa_s),
                    (Q::BowCrossingRange, CPA_NM),
                    (Q::BowCrossingTime, tcpa_s),
                    (Q::BearingDrift, 0.0),
                    (Q::Bearing, 45.0),
                    (Q::RelativeBearing, 45.0),
                    (Q::TargetSog, 12.0),
                    (Q::TargetCog, 225.0),
                    (Q::TargetLength, 200.0),
                ];
                numbers.map(|(q, v)| number(q, v))
            };
            let words = [
                (Q::Kind, "vessel"),
                (Q::Contact, "held"),
                (Q::Situation, "crossing from starboard"),
                (Q::Passing, "ahead"),
                (Q::ShipType, "cargo"),
                (Q::Status, "under way using engine"),
            ];
            let mut first: Vec<Heard> = words.into_iter().map(|(q, w)| word(q, w)).collect();
            first.extend(closest(CLOSEST.as_secs_f64(), FAR_NM));
            steps.push(step(Duration::ZERO, Vec::new(), first));
            steps.push(step(CLOSEST, Vec::new(), closest(0.0, CPA_NM).into()));
        }
        Danger::Depth => {
            let depth = |m: f64| {
                [Q::DepthBelowKeel, Q::DepthBelowTransducer, Q::DepthBelowSurface]
                    .map(|q| number(q, m))
                    .into()
            };
            steps.push(step(Duration::ZERO, Vec::new(), depth(40.0)));
            steps.push(step(minutes(30), Vec::new(), depth(0.9)));
            // An order for the ocean may wait for a sounder that shows the same for long.
            steps.push(step(minutes(60), Vec::new(), depth(0.8)));
        }
        Danger::Anchor => {
            // 37 m a step, to 740 m; straight to leeward, so that all of it is drag, which is known to 5 m.
            let drags = |n: u64| {
                let moved_nm = 0.02 * n as f64;
                let drag_m = moved_nm * METRES_PER_NM;
                vec![
                    place(here.map(|here| here.at(180.0, moved_nm))),
                    number(Q::AnchorDrag, drag_m),
                    number(Q::AnchorDragLeast, (drag_m - 5.0).max(0.0)),
                    number(Q::AnchorError, 5.0),
                ]
            };
            steps.extend((0..=20).map(|n| step(minutes(2 * n), Vec::new(), drags(n))));
        }
    }
    Trial {
        name: danger.word().to_owned(),
        every: Duration::from_secs(10),
        glide: true,
        utc: None,
        calls: Vec::new(),
        steps,
    }
}

impl Proof {
    /// In words: "ships, depth and position are watched", and what is not.
    pub fn words(&self) -> String {
        let watched = self.dangers.iter().filter(|(_, by)| by.is_some()).map(|(danger, _)| danger.word());
        let watched: Vec<&str> = watched.chain(["position"]).collect();
        let are = if let ["position"] = watched[..] { "is" } else { "are" };
        let unwatched: Vec<&str> = self.unwatched().map(Danger::word).collect();
        let but = if unwatched.is_empty() {
            String::new()
        } else {
            format!("; no order watches {}", listed(&unwatched, "or"))
        };
        format!("{} {are} watched{but}", listed(&watched, "and"))
    }
}

impl Danger {
    /// What nobody calls for while it is not watched, in words.
    pub const fn unwatched(self) -> &'static str {
        match self {
            Self::Ships => "a ship on a collision course",
            Self::Depth => "shoal water",
            Self::Anchor => "a dragging anchor",
        }
    }
}

/// "ships, depth and position".
fn listed(words: &[&str], last: &str) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [before @ .., end] => format!("{} {last} {end}", before.join(", ")),
    }
}

/// What proofs say, as a table: a line for each of the waters and for the doings that fare alike there.
pub fn table(proofs: &[Proof]) -> String {
    let mut rows: Vec<[String; 4]> = Vec::new();
    for waters in std::iter::once(None).chain(Waters::ALL.into_iter().map(Some)) {
        let mut groups: Vec<(Vec<Option<Doing>>, [String; 3])> = Vec::new();
        for proof in
            proofs.iter().filter(|p| p.declared.waters == waters && p.declared.doing != Some(Doing::Moored))
        {
            let cells = Danger::ALL.map(|danger| cell(proof, danger));
            match groups.iter_mut().find(|(_, c)| *c == cells) {
                Some((doings, _)) => doings.push(proof.declared.doing),
                None => groups.push((vec![proof.declared.doing], cells)),
            }
        }
        for (doings, [ships, depth, anchor]) in groups {
            let waters = waters.map_or("waters undeclared", Waters::word);
            rows.push([format!("{waters}, {}", doings_words(&doings)), ships, depth, anchor]);
        }
    }
    let head = ["declared", "ships", "depth", "anchor"].map(str::to_owned);
    let all: Vec<&[String; 4]> = std::iter::once(&head).chain(&rows).collect();
    let width = |column: usize| all.iter().map(|r| r[column].chars().count()).max().unwrap_or(0);
    let widths = [0, 1, 2, 3].map(width);
    let line = |r: &&[String; 4]| {
        let cells = r.iter().zip(widths).map(|(cell, w)| format!("{cell:w$}"));
        format!("{}\n", cells.collect::<Vec<_>>().join("  ").trim_end())
    };
    all.iter().map(line).collect()
}

/// What watches a danger, for a table.
fn cell(proof: &Proof, danger: Danger) -> String {
    match proof.dangers.get(&danger) {
        None => "-".to_owned(),
        Some(None) => "NOT WATCHED".to_owned(),
        Some(Some(by)) => match by.before_s {
            Some(s) => format!("{}, {:.0} min before", by.order, s / 60.0),
            None if by.priority == Priority::Caution => format!("{} (caution)", by.order),
            None => by.order.clone(),
        },
    }
}

fn doings_words(doings: &[Option<Doing>]) -> String {
    let under_way = [Some(Doing::UnderSail), Some(Doing::UnderPower), Some(Doing::HoveTo)];
    let mut words = Vec::new();
    if under_way.iter().all(|d| doings.contains(d)) {
        words.push("under way");
    }
    let rest = doings.iter().filter(|d| words.is_empty() || !under_way.contains(d));
    let rest: Vec<&str> = rest.map(|d| d.map_or("undeclared", Doing::word)).collect();
    words.extend(rest);
    listed(&words, "or")
}
