//! The board: the orders in force, judged as the picture changes, and the alerts that stand.

mod events;
mod exercise;
mod guidance;
mod hold;
mod possible;
mod snapshot;
mod watch;
mod watched;

use crate::alert::{Alert, AlertId, Origin, Priority, Refused};
use crate::builtin::BuiltIn;
use crate::declared::{Declarations, Declared, Doing};
use crate::judge::Sight;
use crate::life::{Alerts, Raise};
use crate::order::{Order, Orders};
use crate::picture::Picture;
use crate::rest::Duties;
use crate::roster::Roster;
use crate::watch_alarm::{KeptWatchAlarm, WatchAlarm};
use crate::words::Words;
pub use possible::Possible;
use snapshot::KeptOrder;
pub use snapshot::Snapshot;
use std::collections::BTreeMap;
use std::sync::Arc;
use terms::{CasualtyId, Moment, Position, Quantity, Subject, Utc, Value, Whose, assert_ahead, soonest};
pub use watch::Handover;
use watch::ShipClock;
pub use watched::{MOST_SUBJECTS, ONE_BY_ONE};
use watched::{Timers, Tools, Watched};

/// Greatest number of built-in alerts at once; beyond it all but emergencies are only noted.
const MOST_BUILT_IN: usize = 512;

/// The board's settings.
#[derive(Debug, Clone, PartialEq)]
pub struct BoardSettings {
    /// Everything is part of an exercise.
    pub exercise: bool,
    /// Greatest number of signals a minute, counted for each priority together with those above it. Beyond it only
    /// emergencies and the first of each feed in that minute sound at once; the rest follow as soon as there is room again.
    /// Default 20.
    pub signals_per_min: usize,
    /// Ship's time less UTC by the boat's file, in seconds.
    pub ship_time_s: i64,
    /// The number of the last alert of this logbook.
    pub last_alert: u32,
}

impl Default for BoardSettings {
    fn default() -> Self {
        Self { exercise: false, signals_per_min: 20, ship_time_s: 0, last_alert: 0 }
    }
}

/// The orders in force and the alerts that stand. Take the events after each call.
#[derive(Debug)]
pub struct Board {
    now: Moment,
    watched: Vec<Watched>,
    /// The orders that depend on each quantity, as places in `watched`, by the quantity's number.
    index: Vec<Vec<u32>>,
    /// The orders touched by a change; kept to reuse its memory.
    touched: Vec<(u32, bool)>,
    by_name: BTreeMap<String, u32>,
    timers: Timers,
    alerts: Alerts,
    declared: Declarations,
    anchor: Option<Position>,
    roster: Roster,
    /// When to consult the roster next.
    roster_due: Option<Moment>,
    /// Whom the roster put on watch last, and since when in ship's time.
    rostered: Option<(String, Utc)>,
    /// Who is on watch, by the roster or by hand, and since when.
    on_watch: Option<(String, Moment)>,
    /// Whoever is on watch took it by hand, and no watch has begun by the roster since.
    by_hand: bool,
    duties: Duties,
    ship_clock: ShipClock,
    watch_alarm: Option<WatchAlarm>,
    /// The watch alarm from before a restart, until it is set.
    kept_watch_alarm: Option<KeptWatchAlarm>,
    /// State of orders from before a restart, until the orders are set.
    kept: BTreeMap<String, KeptOrder>,
    /// By when the alerts from before a restart must be met again.
    unconfirmed_until: Option<Moment>,
}

impl Board {
    /// A board with no orders.
    pub fn new(settings: BoardSettings) -> Self {
        let alerts = Alerts::new(settings.signals_per_min, settings.exercise, settings.last_alert);
        let ship_clock = ShipClock::of(settings.ship_time_s);
        Self {
            now: Moment(i64::MIN),
            watched: Vec::new(),
            index: vec![Vec::new(); Quantity::ALL.len()],
            touched: Vec::new(),
            by_name: BTreeMap::new(),
            timers: Timers::default(),
            alerts,
            declared: Declarations::default(),
            anchor: None,
            roster: Roster::default(),
            roster_due: None,
            rostered: None,
            on_watch: None,
            by_hand: false,
            duties: Duties::default(),
            ship_clock,
            watch_alarm: None,
            kept_watch_alarm: None,
            kept: BTreeMap::new(),
            unconfirmed_until: None,
        }
    }

    /// Moves the board's time forward; it never runs back.
    fn pass(&mut self, at: Moment) -> Moment {
        self.now = self.now.max(at);
        self.now
    }

    fn sight<'a>(&self, picture: &'a dyn Picture) -> Sight<'a> {
        Sight {
            at: self.now,
            picture,
            anchor: self.anchor_lies(picture),
            watch_began: self.on_watch.as_ref().map(|(_, since)| *since),
            ship_time_s: self.ship_clock.now_s,
        }
    }

    /// Where the anchor lies while she is declared to lie to it: as the picture has found, or where she lay then.
    fn anchor_lies(&self, picture: &dyn Picture) -> Option<Position> {
        let down = self.declared.doing == Some(Doing::AtAnchor);
        down.then(|| picture.anchor().or(self.anchor)).flatten()
    }

    /// Replaces all orders. Alerts of unchanged orders live on; those of orders that are removed or changed are cleared.
    pub fn set_orders(&mut self, at: Moment, orders: &Orders, picture: &dyn Picture) {
        let at = self.pass(at);
        let sight = self.sight(picture);
        let mut old: BTreeMap<String, Watched> =
            std::mem::take(&mut self.watched).into_iter().map(|w| (w.order.name.clone(), w)).collect();
        let mut kept: Vec<(Arc<Order>, Option<Watched>)> = Vec::new();
        for order in &orders.orders {
            let same = old.get(&order.name).is_some_and(|w| w.order == *order);
            kept.push((Arc::clone(order), if same { old.remove(&order.name) } else { None }));
        }
        for mut gone in old.into_values() {
            gone.stop(&mut Tools { sight, alerts: &mut self.alerts, timers: &mut self.timers }, true);
        }
        self.timers.clear();
        self.by_name.clear();
        self.index.iter_mut().for_each(Vec::clear);
        let mut stayed = Vec::new();
        for (place, (order, was)) in kept.into_iter().enumerate() {
            stayed.push(was.is_some());
            let place = place as u32;
            for test in &order.tests {
                let Some(places) = test.measure.follows().and_then(|q| self.index.get_mut(q as usize)) else {
                    continue;
                };
                if places.last() != Some(&place) {
                    places.push(place);
                }
            }
            self.by_name.insert(order.name.clone(), place);
            self.watched.push(match was {
                Some(w) => w.moved(place),
                None => {
                    let kept = self.kept.remove(&order.name);
                    Watched::new(order, place, at, kept)
                }
            });
        }
        // Alerts from before a restart whose order is gone.
        for name in self.alerts.orders().into_iter().filter(|n| !self.by_name.contains_key(n)) {
            for id in self.alerts.of_order(&name) {
                self.alerts.clear(at, id);
            }
        }
        for (place, stayed) in stayed.into_iter().enumerate() {
            self.apply(place, picture, self.anchor_lies(picture));
            // Its timers were dropped with the old places.
            if stayed && self.watched[place].in_force {
                self.with(place, picture, |w, tools| w.judge_all(tools));
            }
        }
    }

    /// The orders, in the order of the file.
    pub fn orders(&self) -> impl Iterator<Item = &Order> {
        self.watched.iter().map(|w| w.order.as_ref())
    }

    fn with(&mut self, place: usize, picture: &dyn Picture, act: impl FnOnce(&mut Watched, &mut Tools<'_>)) {
        let sight = self.sight(picture);
        if let Some(w) = self.watched.get_mut(place) {
            act(w, &mut Tools { sight, alerts: &mut self.alerts, timers: &mut self.timers });
        }
    }

    /// Puts an order in or out of force, by the declarations and by day or night. `lay` is where the anchor lay until now:
    /// the last words of an order that ends are about it.
    fn apply(&mut self, place: usize, picture: &dyn Picture, lay: Option<Position>) {
        let night = match picture.reading(Subject::OwnVessel, Quantity::Sun).value {
            Some(Value::Word(w)) => Some(w == "down"),
            _ => None,
        };
        let sight = self.sight(picture);
        let Some(w) = self.watched.get_mut(place) else { return };
        let applies = w.order.only.applies(night, &self.declared);
        let changed = w.heed_declared(self.declared.doing.is_some());
        if w.in_force && !applies {
            let sight = Sight { anchor: lay, ..sight };
            w.stop(&mut Tools { sight, alerts: &mut self.alerts, timers: &mut self.timers }, false);
        } else if applies && (changed || !w.in_force) {
            if !w.in_force {
                w.start(sight.at);
            }
            self.with(place, picture, |w, tools| w.judge_all(tools));
        }
    }

    /// A quantity of a subject changed.
    pub fn changed(&mut self, at: Moment, subject: Subject, quantity: Quantity, picture: &dyn Picture) {
        self.changed_together(at, subject, &[quantity], picture);
    }

    /// Several quantities of a subject changed at one moment: each order that asks for any of them is judged once.
    pub fn changed_together(
        &mut self,
        at: Moment,
        subject: Subject,
        quantities: &[Quantity],
        picture: &dyn Picture,
    ) {
        self.pass(at);
        if quantities.contains(&Quantity::Sun) {
            let lay = self.anchor_lies(picture);
            (0..self.watched.len()).for_each(|place| self.apply(place, picture, lay));
        }
        // Own vessel's quantities are shared by all subjects of an order about others.
        let mut touched = std::mem::take(&mut self.touched);
        touched.extend(quantities.iter().flat_map(|q| {
            let own = q.whose() == Whose::Own;
            self.index.get(*q as usize).into_iter().flatten().map(move |place| (*place, own))
        }));
        touched.sort_unstable();
        touched.dedup();
        for (place, own) in touched.drain(..) {
            let place = place as usize;
            let Some(w) = self.watched.get(place).filter(|w| w.in_force) else { continue };
            if own && w.order.each != Whose::Own {
                self.with(place, picture, |w, tools| w.judge_shared_again(tools));
            } else {
                self.with(place, picture, |w, tools| w.judge_one(subject, tools));
            }
        }
        self.touched = touched;
    }

    /// The lookout no longer holds a subject.
    pub fn gone(&mut self, at: Moment, subject: Subject) {
        let at = self.pass(at);
        for w in &mut self.watched {
            w.gone(subject, at, &mut self.alerts, &mut self.timers);
        }
    }

    /// Runs everything due by a moment: judges orders, ends silences, repeats and escalates.
    pub fn advance(&mut self, at: Moment, picture: &dyn Picture) {
        let at = self.pass(at);
        self.advance_roster(picture);
        self.advance_watch_alarm(picture);
        self.end_unconfirmed();
        while let Some((place, subject)) = self.timers.pop(at) {
            let place = place as usize;
            match subject {
                Some(subject) => self.with(place, picture, |w, tools| w.judge_one(subject, tools)),
                None => self.with(place, picture, |w, tools| w.judge_shared_again(tools)),
            }
        }
        if self.alerts.next_wake().is_some_and(|t| t <= at) {
            let sight = self.sight(picture);
            for w in &self.watched {
                w.weigh(&sight, &mut self.alerts);
            }
            self.alerts.advance(at);
        }
        assert_ahead(at, self.wakes());
    }

    /// When the board wants to be advanced next.
    pub fn next_wake(&self) -> Option<Moment> {
        soonest(self.wakes())
    }

    /// The same of each of its parts.
    #[inline]
    fn wakes(&self) -> [(&'static str, Option<Moment>); 5] {
        [
            ("orders", self.timers.next()),
            ("alerts", self.alerts.next_wake()),
            ("roster", self.roster_due),
            ("watch alarm", self.watch_alarm.as_ref().and_then(WatchAlarm::next_wake)),
            ("alerts from before a restart", self.unconfirmed_until),
        ]
    }

    /// Raises a built-in alert, or announces it again: an earlier acknowledgement no longer counts. `words` are used while
    /// the picture has none for it; leave them empty where the picture always has.
    pub fn call(&mut self, at: Moment, built_in: BuiltIn, subject: Subject, words: Words) -> AlertId {
        let at = self.pass(at);
        let origin = Origin::BuiltIn(built_in);
        let full = self.alerts.find(&origin, subject).is_none()
            && self.alerts.count(|s| matches!(s, Origin::BuiltIn(_))) >= MOST_BUILT_IN;
        // The lookout bounds emergencies: it merges many beacons into one casualty.
        let priority = match built_in.priority() {
            Priority::EmergencyAlarm => Priority::EmergencyAlarm,
            _ if full => Priority::Notice,
            priority => priority,
        };
        let raise = Raise {
            origin,
            order: built_in.word().to_owned(),
            subject,
            priority,
            words,
            signals: None,
            repeats: None,
            escalation: built_in.escalation(),
            badness: 0.0,
            feed: None,
            exercise: false,
        };
        self.alerts.raise(at, raise)
    }

    fn clear_all(&mut self, at: Moment, ids: Vec<AlertId>, words: &Words) {
        for id in ids {
            self.alerts.say(at, id, words.clone());
            self.alerts.clear(at, id);
        }
    }

    /// Repeats a standing built-in alert in its state because there is news; does nothing if none stands. `words` as for
    /// [`Self::call`].
    pub fn retell(&mut self, at: Moment, built_in: BuiltIn, subject: Subject, words: Words) {
        let at = self.pass(at);
        if let Some(id) = self.alerts.find(&Origin::BuiltIn(built_in), subject) {
            self.alerts.retell(at, id, words);
        }
    }

    /// Raises a built-in alert that is defined by its words. One that stands is repeated in its state if its last words were
    /// others, and otherwise continues silently.
    pub fn follow(&mut self, at: Moment, built_in: BuiltIn, subject: Subject, words: Words) {
        let at = self.pass(at);
        match self.alerts.find(&Origin::BuiltIn(built_in), subject) {
            Some(id) if self.alerts.has_said(id, &words) => self.alerts.confirm(at, id),
            Some(id) => self.alerts.retell(at, id, words),
            None => drop(self.call(at, built_in, subject, words)),
        }
    }

    /// Ends the condition of a built-in alert. An emergency alarm ends by [`Self::stand_down`] only.
    pub fn over(&mut self, at: Moment, built_in: BuiltIn, subject: Subject) {
        let at = self.pass(at);
        if let Some(id) = self.alerts.find(&Origin::BuiltIn(built_in), subject) {
            self.alerts.rectify(at, id);
        }
    }

    /// Announces a notice, which is not an alert. `order` names what it comes from.
    pub fn note(&mut self, at: Moment, order: &str, subject: Subject, words: Words) -> AlertId {
        let at = self.pass(at);
        self.alerts.raise(
            at,
            Raise {
                origin: Origin::Note(order.to_owned()),
                order: order.to_owned(),
                subject,
                priority: Priority::Notice,
                words,
                signals: None,
                repeats: None,
                escalation: None,
                badness: 0.0,
                feed: None,
                exercise: false,
            },
        )
    }

    /// The crew acknowledges an alert.
    ///
    /// # Errors
    /// If no such alert stands, or it is acknowledged already.
    pub fn acknowledge(&mut self, at: Moment, id: AlertId) -> Result<(), Refused> {
        let at = self.pass(at);
        let about = self.alerts.get(id).map(|a| a.subject).zip(self.alerts.origin(id).cloned());
        self.alerts.acknowledge(at, id)?;
        if let Some((subject, Origin::Order(name))) = about
            && let Some(w) = self.by_name.get(&name).and_then(|p| self.watched.get_mut(*p as usize))
        {
            w.acknowledged(subject, at);
            // Whoever is known to come close need not be called for being near.
            for w in self.watched.iter_mut().filter(|w| w.order.unless.contains(&name)) {
                w.acknowledged(subject, at);
            }
        }
        Ok(())
    }

    /// The crew silences an alert for [`crate::SOUND_RETURNS`].
    ///
    /// # Errors
    /// If no such alert stands, or it makes no sound.
    pub fn silence(&mut self, at: Moment, id: AlertId) -> Result<(), Refused> {
        let at = self.pass(at);
        self.alerts.silence(at, id)
    }

    /// Transfers responsibility for an alarm or a warning to somebody else.
    ///
    /// # Errors
    /// If no such alert stands, or it cannot be transferred.
    pub fn transfer(&mut self, at: Moment, id: AlertId) -> Result<(), Refused> {
        let at = self.pass(at);
        self.alerts.transfer(at, id)
    }

    /// A person stands a casualty down: clears all its alerts with these last words.
    ///
    /// # Errors
    /// If no alert about it stands.
    pub fn stand_down(&mut self, at: Moment, casualty: CasualtyId, words: &Words) -> Result<(), Refused> {
        let at = self.pass(at);
        let about = |a: &&Alert| a.subject == Subject::Casualty(casualty);
        let ids: Vec<AlertId> = self.alerts.iter().filter(about).map(|a| a.id).collect();
        let none = ids.is_empty();
        self.clear_all(at, ids, words);
        if none { Err(Refused::NoSuchCasualty(casualty)) } else { Ok(()) }
    }

    /// The crew declares what the vessel is doing, the waters, or the visibility. When she is first declared at anchor, the
    /// anchor lies at her present position, unless the picture knows better.
    pub fn declare(&mut self, at: Moment, declared: Declared, picture: &dyn Picture) {
        self.pass(at);
        let lay = self.anchor_lies(picture);
        if let Declared::Doing(d) = declared {
            if d != Doing::AtAnchor {
                self.anchor = None;
            } else if self.declared.doing != Some(d) {
                self.anchor = picture.position();
            }
        }
        self.declared.take(declared);
        (0..self.watched.len()).for_each(|place| self.apply(place, picture, lay));
        self.advance_watch_alarm(picture);
    }

    /// What is declared.
    pub const fn declared(&self) -> &Declarations {
        &self.declared
    }

    /// Whether an alert comes from an order's condition, not from an order that cannot be judged, a crowd or the like.
    pub fn is_raised_by_order(&self, id: AlertId) -> bool {
        matches!(self.alerts.origin(id), Some(Origin::Order(_)))
    }

    /// What an alert that is not over comes from.
    pub fn origin(&self, id: AlertId) -> Option<&Origin> {
        self.alerts.origin(id)
    }

    /// A built-in alert that is not over.
    pub fn built_in(&self, built_in: BuiltIn, subject: Subject) -> Option<&Alert> {
        self.alerts.find(&Origin::BuiltIn(built_in), subject).and_then(|id| self.alerts.get(id))
    }

    /// All alerts that are not over, by number.
    pub fn alerts(&self) -> impl Iterator<Item = &Alert> {
        self.alerts.iter()
    }
}
