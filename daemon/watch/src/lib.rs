//! The watch: inputs in, effects out. It stands between the lookout, which keeps the picture, and the board, which
//! judges the orders and runs the alerts. Live daemon, replay and tests run this same code; only feed and clock
//! differ. Pure: reads no clock, does no I/O.

mod bridge;
mod calls;
mod crew;
mod departure;
mod effect;
mod exercise;
mod findings;
mod gear;
mod guidance;
mod input;
mod keep;
mod look;
mod missing;
mod question;
mod rhythm;
mod search;
mod senses;
mod sighting;
#[cfg(test)]
mod tests;
mod view;
mod vigil;

pub use calls::Kept as KeptCalls;
pub use effect::{Effect, Row};
pub(crate) use findings::built_in;
pub use input::{Answer, Fault, Input, Taken, Talker};
pub use keep::{Begin, Kept, Numbers};
pub use look::parts::outlets;
pub use look::{FeedOutside, Outside};
pub use rhythm::Rhythm;
pub use senses::{FeedSetting, Silence, talker};

use boat::Boat;
use look::{Since, Trends};
use lookout::casualty::CasualtyState;
use lookout::search::{Sailing, Vessel};
use lookout::{Finding, Lookout};
use record::{DepartureAct, Entry, Item, SetAside, Stamp};
use rules::{Alert, Board, BoardSettings, BuiltIn, Danger, Declared, Orders, Proof, Words};
use senses::Ear;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;
use std::vec::Drain;
use terms::{FeedId, Moment, Quantity, Subject, Utc, Wakes, assert_ahead, legible, one_line, soonest};
use view::View;

/// Longest time between two looks about, whatever comes.
const LOOKS_ABOUT_EVERY: Duration = Duration::from_secs(1);
/// How often the positions of casualties go out.
const PLACES_EVERY: Duration = Duration::from_secs(10);
/// How often own position by dead reckoning is logged.
const RECKONED_EVERY: Duration = Duration::from_secs(30);
/// Most timers to run at one moment: a fault in one must not stop the watch.
const AT_ONE_MOMENT: usize = 10_000;

/// What fails outside the picture, in words: a signal, the logbook, the recording, the orders file. At most one for
/// each built-in alert and subject.
type Faults = BTreeMap<(BuiltIn, Subject), String>;

/// The watch.
pub struct Watch {
    boat: Arc<Boat>,
    lookout: Lookout,
    board: Board,
    ears: Vec<Ear>,
    /// When each feed that is not silent will count as silent.
    silences: Wakes<FeedId>,
    /// When each feed that came and went will have been steady for long enough.
    steady: Wakes<FeedId>,
    /// Whether silence of any feed means something.
    live: bool,
    effects: Vec<Effect>,
    /// Signals, buttons and the heartbeat by their numbers.
    outlets: Vec<Item>,
    /// Lists reused for each line to save allocations.
    findings: Vec<Finding>,
    quantities: Vec<Quantity>,
    /// The feed whose sentence is being processed.
    hearing: Option<FeedId>,
    /// The feed of the last sentence if only the news of casualties in it have been taken in so far: they go out before
    /// anything is judged by the orders.
    left: Option<FeedId>,
    began: Moment,
    /// The last moment given: time never runs backwards here.
    now: Moment,
    looked_about: Moment,
    places_due: Moment,
    reckoned_due: Moment,
    /// Events have come out since state was last saved.
    keep_due: bool,
    /// Who has the watch, as the logbook was last given it.
    entered_watch: Option<String>,
    had_fix: Option<Moment>,
    fix_lost: bool,
    /// Since when nothing has given UTC; `None` while something does.
    clock_unknown: Option<Moment>,
    clock_told: bool,
    faults: Faults,
    orders: Arc<Orders>,
    last: Numbers,
    not_before: Option<Utc>,
    trends: Trends,
    /// What the present watch has brought.
    since: Since,
    vessel: Vessel,
    locker: gear::Locker,
    departure: departure::Departure,
    exercise: Option<exercise::Exercise>,
    search: Option<Sailing>,
    questions: question::Questions,
    calls: calls::Calls,
    guidance: guidance::Guidance,
}

impl Watch {
    /// A watch aboard a boat. Nothing happens before its first input, [`Input::Begin`].
    pub fn new(boat: &Boat) -> Self {
        Self::at(Moment::ZERO, Arc::new(boat.clone()), None, Numbers::default())
    }

    fn at(at: Moment, boat: Arc<Boat>, not_before: Option<Utc>, last: Numbers) -> Self {
        let mut lookout = Lookout::new(boat::lookout_settings(&boat, not_before));
        lookout.number_casualties_from(last.casualty.saturating_add(1));
        Self {
            lookout,
            board: Board::new(BoardSettings {
                last_alert: last.alert,
                ship_time_s: boat.watch.ship_time_s,
                ..BoardSettings::default()
            }),
            ears: Vec::new(),
            silences: Wakes::default(),
            steady: Wakes::default(),
            live: false,
            effects: Vec::new(),
            outlets: outlets(&boat).collect(),
            findings: Vec::new(),
            quantities: Vec::new(),
            hearing: None,
            left: None,
            began: at,
            now: at,
            looked_about: at,
            places_due: at + PLACES_EVERY,
            reckoned_due: at,
            keep_due: false,
            entered_watch: None,
            had_fix: None,
            fix_lost: false,
            clock_unknown: None,
            clock_told: false,
            faults: Faults::new(),
            orders: Arc::default(),
            last,
            not_before,
            trends: Trends::default(),
            since: Since::new(at, None, rules::Declarations::default()),
            vessel: look::vessel_of(&boat),
            locker: gear::Locker::of(&boat),
            departure: departure::Departure::of(&boat),
            exercise: None,
            search: None,
            questions: question::Questions::default(),
            calls: calls::Calls::default(),
            guidance: guidance::Guidance::default(),
            boat,
        }
    }

    /// The moment that counts for an input at `at`: time never runs backwards here.
    pub fn moment(&self, at: Moment) -> Moment {
        at.max(self.now)
    }

    /// Takes an input at a moment. Runs the timers that fell due before it first, each at its own moment. Effects come
    /// out in order. Of a line with news of a casualty these come out now, all else that it brings with the next call of
    /// this or of [`Self::advance`], at the same moment: whoever puts out the effects between keeps no emergency waiting
    /// for the orders.
    ///
    /// # Errors
    /// If there is nothing to act on, or the act makes no sense. The input counts as taken all the same.
    pub fn take(&mut self, at: Moment, input: Input) -> Taken {
        if let Input::Begin(begin) = input {
            self.now = at;
            self.begin(at, *begin);
            self.settle(at);
            return Ok(Answer::Taken);
        }
        self.advance(at);
        let at = self.now;
        let answer = self.do_take(at, input);
        self.end_input(at);
        answer
    }

    /// Ends an input, unless it is not yet taken in as a whole.
    fn end_input(&mut self, at: Moment) {
        if self.clock_unknown.is_some() && self.left.is_none() {
            self.look_for_clock(at);
            self.pump(at);
        }
        self.settle(at);
    }

    /// Whether something of the last line is still to be taken in: see [`Self::take`].
    pub const fn is_amid_a_line(&self) -> bool {
        self.left.is_some()
    }

    /// Takes in what is left of the last line.
    fn finish(&mut self) {
        if let Some(feed) = self.left.take() {
            self.hearing = Some(feed);
            self.pump(self.now);
            self.hearing = None;
            self.end_input(self.now);
        }
    }

    fn do_take(&mut self, at: Moment, input: Input) -> Taken {
        match input {
            Input::Begin(_) => {}
            Input::Line(feed, line) => self.hear(at, feed, &line),
            Input::Read(feed, talker, read) => match *read {
                Ok(report) => self.hear_report(at, feed, talker, &report),
                Err(why) => self.refused(feed, why),
            },
            Input::Named(feed) => self.add_feed(at, feed),
            Input::Wire { feed, open, counts } => self.feed_state(at, feed, open, &counts),
            Input::Clock { utc } => {
                self.lookout.system_utc(at, utc);
                self.look_for_clock(at);
                self.look_at_dates_again(at);
                self.pump(at);
            }
            Input::Orders(orders) => self.set_orders(at, orders, true),
            Input::Fault { what, why } => self.fault(at, what, why),
            Input::SetAside(aside) => self.set_aside(at, aside),
            Input::Act(act) => return self.act(at, act).map(Answer::Done),
            Input::Button { name, act } => {
                if self.is_tried(at, &name) {
                    self.somebody_acts(at);
                    self.pump(at);
                    return Ok(Answer::Done("tried".to_owned()));
                }
                return self.act(at, act).map(Answer::Done);
            }
            Input::Departure(act, outside) => {
                // A client repeats the wait for a button by itself.
                if !matches!(act, DepartureAct::Look | DepartureAct::Button { .. }) {
                    self.somebody_acts(at);
                    self.pump(at);
                }
                return self.departure(at, act, outside).map(|sheet| Answer::Sheet(Box::new(sheet)));
            }
            Input::Searched(question) => {
                self.somebody_acts(at);
                self.pump(at);
                return self.searched(at, &question).map(|answer| Answer::Casualty(Box::new(answer)));
            }
            Input::End => self.enter(at, Entry::Stopped),
        }
        Ok(Answer::Taken)
    }

    /// Runs every due timer in order of time, each at its own moment. Changes nothing if none is due.
    pub fn advance(&mut self, at: Moment) {
        self.finish();
        let mut at_one_moment = 0;
        while let Some(due) = self.next_wake().filter(|due| *due <= at) {
            at_one_moment = if due > self.now { 0 } else { at_one_moment + 1 };
            self.now = self.now.max(due);
            self.look_about(self.now);
            self.settle(self.now);
            if at_one_moment > AT_ONE_MOMENT {
                break;
            }
        }
        self.now = self.now.max(at);
    }

    /// Everything that the passing of time alone can change.
    fn look_about(&mut self, at: Moment) {
        self.looked_about = at;
        self.lookout.advance(at);
        self.pump(at);
        self.look_for_silence(at);
        self.look_for_clock(at);
        self.look_at_declarations(at);
        self.look_at_dates(at);
        self.advance_exercise(at);
        self.look_at_calls(at);
        self.advance_search(at);
        self.note_weather(at);
        self.note_reckoning(at);
        let (board, view) = self.board_and_view(at);
        board.advance(at, &view);
        self.pump(at);
        self.guide(at);
        if at >= self.places_due {
            self.places_due = at + PLACES_EVERY;
            let places = self.places(at);
            if !places.is_empty() {
                self.effects.push(Effect::Places(self.stamp(at), places));
            }
        }
        assert_ahead(at, self.wakes());
    }

    /// When it next wants to be advanced.
    pub fn next_wake(&self) -> Option<Moment> {
        // What a beacon's line left over is due at once.
        if self.left.is_some() {
            return Some(self.now);
        }
        soonest(self.wakes())
    }

    /// The same of each of its parts.
    #[inline]
    fn wakes(&self) -> [(&'static str, Option<Moment>); 13] {
        let clock = self.clock_unknown.filter(|_| !self.clock_told);
        [
            ("lookout", self.lookout.next_wake()),
            ("board", self.board.next_wake()),
            ("silent feeds", self.silences.next()),
            ("steady feeds", self.steady.next()),
            ("lost fix", (!self.fix_lost).then(|| self.fix_lost_at()).flatten()),
            ("unknown clock", clock.map(|since| since + vigil::CLOCK_PATIENCE)),
            ("look about", Some(self.looked_about + LOOKS_ABOUT_EVERY)),
            ("trends", self.trends.due()),
            ("dates", self.dates_due()),
            ("exercise", self.exercise_due()),
            ("calls", self.calls.due()),
            ("guidance", self.guidance.due()),
            ("search", self.search_due()),
        ]
    }

    /// Puts out what must be kept, ahead of the events from the same input or moment.
    fn settle(&mut self, at: Moment) {
        self.enter_watch(at);
        if std::mem::take(&mut self.keep_due) {
            let first = self.effects.iter().rposition(|e| matches!(e, Effect::Keep(..))).map_or(0, |i| i + 1);
            let event = self.effects[first..].iter().position(|e| matches!(e, Effect::Event(..)));
            let keep = Effect::Keep(self.stamp(at), Box::new(self.kept(at)));
            self.effects.insert(event.map_or(self.effects.len(), |i| first + i), keep);
        }
    }

    /// Effects since the last call, in order.
    pub fn effects(&mut self) -> Drain<'_, Effect> {
        self.effects.drain(..)
    }

    /// The name of the orders in force: their file, or their other source.
    pub fn orders_from(&self) -> &str {
        self.orders.name()
    }

    /// What the board may ask at a moment.
    fn view(&self, at: Moment) -> View<'_> {
        let (ears, exercise) = (self.ears.as_slice(), self.exercise.as_ref());
        let (lookout, faults, calls, guidance) = (&self.lookout, &self.faults, &self.calls, &self.guidance);
        let search = self.search.as_ref();
        View { at, lookout, ears, faults, exercise, calls, guidance, search }
    }

    /// The board, mutable, with what it may ask meanwhile.
    fn board_and_view(&mut self, at: Moment) -> (&mut Board, View<'_>) {
        let (ears, exercise) = (self.ears.as_slice(), self.exercise.as_ref());
        let (lookout, faults, calls, guidance) = (&self.lookout, &self.faults, &self.calls, &self.guidance);
        let search = self.search.as_ref();
        (&mut self.board, View { at, lookout, ears, faults, exercise, calls, guidance, search })
    }

    /// Puts orders in force; the previous ones end.
    fn set_orders(&mut self, at: Moment, orders: Arc<Orders>, entered: bool) {
        if entered {
            self.enter(at, Entry::OrdersRead { from: orders.name().to_owned() });
        }
        self.orders = Arc::clone(&orders);
        let (board, view) = self.board_and_view(at);
        board.set_orders(at, &orders, &view);
        self.prove_watched(at);
        self.pump(at);
    }

    /// Finds out what the orders watch as things are declared, and raises a warning while they leave a danger unwatched.
    pub(crate) fn prove_watched(&mut self, at: Moment) -> Proof {
        let proof = self.orders.proof(*self.board.declared());
        let missing: Vec<&str> = proof.unwatched().map(Danger::unwatched).collect();
        let why = (!missing.is_empty()).then(|| {
            let declared: Vec<&str> = self.board.declared().iter().map(Declared::name).collect();
            let declared = if declared.is_empty() { "undeclared".to_owned() } else { declared.join(", ") };
            format!("No order calls for {}, as declared ({declared})", missing.join(" or for "))
        });
        let about = (BuiltIn::NotWatched, Subject::OwnVessel);
        match why {
            Some(why) => {
                self.faults.insert(about, why.clone());
                self.board.follow(at, about.0, about.1, why.into());
            }
            None => {
                self.faults.remove(&about);
                self.board.over(at, about.0, about.1);
            }
        }
        proof
    }

    /// Records that something outside the picture fails or has recovered.
    fn fault(&mut self, at: Moment, what: Fault, why: Option<String>) {
        let (alert, about) = what.alert();
        match why {
            Some(why) => {
                self.faults.insert((alert, about), legible(why));
                self.board.call(at, alert, about, Words::default());
            }
            None => {
                self.faults.remove(&(alert, about));
                self.board.over(at, alert, about);
            }
        }
        self.pump(at);
    }

    /// Reports that the logbook began a new file. If that lacks records of the old one, it gets the open alerts again.
    fn set_aside(&mut self, at: Moment, aside: SetAside) {
        // A file may have any name.
        let (to, why) = (aside.to.as_deref().map(one_line), one_line(&aside.why));
        let aside = SetAside { to, why, ..aside };
        let (text, whole) = (aside.text(), aside.carried.whole);
        self.enter(at, Entry::SetAside(aside));
        if !whole {
            let (board, view) = self.board_and_view(at);
            for e in board.standing(&view) {
                if let Effect::Event(at, record, _) = self.event(e) {
                    self.effects.push(Effect::Again(at, record));
                }
            }
        }
        self.fault(at, Fault::Logbook, Some(text));
    }

    /// Whether it fails, by what the watch was last given or, until then, by an alert from before a restart.
    pub fn is_failing(&self, what: Fault) -> bool {
        let (alert, about) = what.alert();
        self.faults.contains_key(&(alert, about))
            || self.board.built_in(alert, about).is_some_and(Alert::is_active)
    }

    /// Whether it is news that something fails or works: a failure that the watch was not given in this run, or the end of
    /// one, be it from before a restart.
    pub fn is_news(&self, what: Fault, fails: bool) -> bool {
        if fails { !self.faults.contains_key(&what.alert()) } else { self.is_failing(what) }
    }

    /// Adds an entry to the logbook.
    pub(crate) fn enter(&mut self, at: Moment, entry: Entry) {
        self.effects.push(Effect::Entry(self.stamp(at), entry));
    }

    /// Steady time and UTC of a moment.
    pub fn stamp(&self, at: Moment) -> Stamp {
        Stamp { steady: at, utc: self.lookout.utc(at), feed: self.hearing }
    }

    /// Casualties that have not been stood down: the crew, then strangers, each in the order they were raised.
    pub fn open_casualties(&self, at: Moment) -> Vec<CasualtyState> {
        let mut open = self.lookout.casualties(at);
        open.sort_by_key(|c| c.crew.is_none());
        open
    }
}
