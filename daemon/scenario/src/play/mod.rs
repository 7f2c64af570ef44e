//! The scenario as it happens: every sender in turn, and what each feed carries of it.

mod beacon;
mod instruments;
mod stations;
mod wire;

use crate::Scenario;
use crate::plan::Act;
use std::cmp::Reverse;
use std::collections::BinaryHeap;
use terms::{Moment, Utc};
use wire::Wires;

/// Something that happens at a moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Timed<'a> {
    /// Since the scenario's start.
    pub at: Moment,
    /// The same in UTC.
    pub utc: Utc,
    /// What.
    pub what: What<'a>,
}

/// What happens.
#[derive(Debug, Clone, PartialEq)]
pub enum What<'a> {
    /// A line comes by a feed, without its line end.
    Line {
        /// Which.
        feed: &'a str,
        /// The sentence, with its TAG block if the feed writes one.
        line: String,
    },
    /// The crew does something.
    Act(&'a Act),
}

/// A sender or actor, and the noise that belongs to it.
enum Sender<'a> {
    Instrument(instruments::Instrument),
    Ship(stations::Ship<'a>),
    Static(stations::Static<'a>),
    Aid(stations::Aid<'a>),
    Base(stations::Base<'a>),
    Beacon(beacon::Burst<'a>),
    Act(usize),
}

/// Lines and acts in order of time. Holds one entry for each sender, and the lines of the moment.
pub struct Play<'a> {
    scenario: &'a Scenario,
    senders: Vec<Sender<'a>>,
    /// When each sender is due; of two at one moment the first in the file goes first.
    due: BinaryHeap<Reverse<(Moment, usize)>>,
    wires: Wires<'a>,
}

impl<'a> Play<'a> {
    pub(crate) fn new(scenario: &'a Scenario) -> Self {
        let mut play =
            Self { scenario, senders: Vec::new(), due: BinaryHeap::new(), wires: Wires::new(scenario) };
        let plan = &scenario.plan;
        for (i, (at, _)) in plan.acts.iter().enumerate() {
            play.add(*at, Sender::Act(i));
        }
        for (feed, wire) in plan.feeds.iter().enumerate() {
            for (formatter, every) in &wire.sentences {
                let (at, sender) = instruments::Instrument::new(scenario, feed, *formatter, *every);
                play.add(at, Sender::Instrument(sender));
            }
        }
        if plan.feeds.iter().any(|f| f.hears.is_some()) {
            play.add_stations();
        }
        play
    }

    /// Adds those heard by radio.
    fn add_stations(&mut self) {
        let (plan, world) = (&self.scenario.plan, &self.scenario.world);
        let own = world.own_ship.iter().zip(std::iter::once(&world.own));
        for (ship, track) in own.chain(plan.ships.iter().zip(&world.ships)) {
            let (at, sender) = stations::Ship::new(plan.seed, ship, track);
            self.add(at, Sender::Ship(sender));
            if let Some((at, sender)) = stations::Static::new(plan.seed, ship, track) {
                self.add(at, Sender::Static(sender));
            }
        }
        for aid in &plan.aids {
            let (at, sender) = stations::Aid::new(plan.seed, aid);
            self.add(at, Sender::Aid(sender));
        }
        for base in &plan.bases {
            let (at, sender) = stations::Base::new(plan.seed, base);
            self.add(at, Sender::Base(sender));
        }
        for (i, worn) in plan.beacons.iter().enumerate() {
            for test in &worn.tests {
                self.add(*test, Sender::Beacon(beacon::Burst::test(worn, &world.own)));
            }
            let track = world.casualties.get(i).and_then(Option::as_ref);
            if let (Some(overboard), Some(track)) = (&worn.overboard, track) {
                let (at, sender) = beacon::Burst::overboard(plan.seed, worn, overboard, track);
                self.add(at, Sender::Beacon(sender));
            }
        }
    }

    fn add(&mut self, at: Moment, sender: Sender<'a>) {
        self.due.push(Reverse((at, self.senders.len())));
        self.senders.push(sender);
    }

    /// Lets one sender send; returns when it will next.
    fn fire(&mut self, at: Moment, i: usize) -> Option<Moment> {
        let (scenario, wires) = (self.scenario, &mut self.wires);
        match self.senders.get_mut(i)? {
            Sender::Instrument(sender) => sender.fire(scenario, at, wires),
            Sender::Ship(sender) => sender.fire(scenario, at, wires),
            Sender::Static(sender) => sender.fire(at, wires),
            Sender::Aid(sender) => sender.fire(scenario, at, wires),
            Sender::Base(sender) => sender.fire(scenario, at, wires),
            Sender::Beacon(sender) => sender.fire(scenario, at, wires),
            Sender::Act(i) => {
                let (_, act) = scenario.plan.acts.get(*i)?;
                wires.put(at, What::Act(act));
                None
            }
        }
    }
}

impl<'a> Iterator for Play<'a> {
    type Item = Timed<'a>;

    fn next(&mut self) -> Option<Timed<'a>> {
        loop {
            let due = self.due.peek().map(|Reverse((at, _))| *at).filter(|at| *at < self.scenario.end());
            // A feed may carry a line later than it was sent, so lines wait until no sender can come before them.
            if let Some(timed) = self.wires.take(due) {
                return Some(timed);
            }
            due?;
            let Reverse((at, i)) = self.due.pop()?;
            if let Some(next) = self.fire(at, i) {
                self.due.push(Reverse((next, i)));
            }
        }
    }
}
