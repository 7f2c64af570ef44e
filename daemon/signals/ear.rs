//! What a signal's task hears, and when. In hours of rest, a call below an alarm waits until they end.

use boat::{Hears, Rest};
use record::{EventRecord, example};
use rules::{AlertId, AlertState, Carry, EventKind, Priority};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use terms::{ShipTime, Utc};
use tokio::sync::mpsc::error::TryRecvError;
use tokio::sync::{mpsc, watch};

/// Most alerts one signal keeps in mind; beyond that the oldest of the least urgent is dropped.
const BOUND: usize = 1024;

/// An event on its way to a signal.
#[derive(Debug, Clone)]
pub(super) struct Heard {
    /// What happened.
    pub record: Arc<EventRecord>,
    /// How this signal hears it.
    pub hears: Hears,
    /// Whether this is the first the signal hears of the alert.
    pub first: bool,
    /// How far it has escalated: 0 the watch, 1 the skipper, 2 all hands.
    pub level: u8,
}

impl Heard {
    /// A test of the signal, which sounds at any hour.
    pub fn test(record: Arc<EventRecord>) -> Self {
        Self { record, hears: Hears::Aloud, first: true, level: 0 }
    }

    /// The alert it concerns.
    pub fn id(&self) -> AlertId {
        self.record.alert.id
    }

    /// Whether it is a test of the signal.
    pub fn is_test(&self) -> bool {
        self.record.alert.order == example::ORDER
    }

    /// Whether the signal sounds again.
    pub fn is_aloud(&self) -> bool {
        self.hears == Hears::Aloud
    }

    /// Whether it ends the sound of its alert: answered, over, or passed to somebody else.
    pub fn ends(&self) -> bool {
        self.hears == Hears::Elsewhere || !self.record.event.calls()
    }

    /// Whether the alert is finished for this signal. A notice leaves nothing behind.
    pub fn is_over(&self) -> bool {
        self.hears == Hears::Elsewhere || matches!(self.record.alert.state, None | Some(AlertState::Normal))
    }
}

/// Sort key of urgency: real before exercise, then by priority, then crew before strangers.
pub(super) fn urgency(record: &EventRecord) -> (bool, Priority, bool) {
    let of_crew = record.casualty.as_ref().is_some_and(|c| c.crew.is_some());
    (!record.alert.exercise, record.alert.priority, of_crew)
}

/// Inserts something about an alert, within the bound.
pub(super) fn put<T>(held: &mut BTreeMap<AlertId, T>, id: AlertId, value: T, record: fn(&T) -> &EventRecord) {
    held.insert(id, value);
    if held.len() > BOUND {
        let least = held.iter().min_by_key(|(id, h)| (urgency(record(h)), **id)).map(|(id, _)| *id);
        least.map(|id| held.remove(&id));
    }
}

/// Remembers which alerts a signal has heard, so that it skips the answer to a call that was for others.
#[derive(Debug, Default)]
pub(super) struct Acquaintance {
    /// Alerts that have so far been for others only. An alert from before a restart counts as heard.
    strange: BTreeSet<AlertId>,
}

impl Acquaintance {
    /// Turns an event into what the signal hears.
    pub fn meet(&mut self, record: &Arc<EventRecord>, hears: Hears, carry: &Carry) -> Heard {
        let id = record.alert.id;
        let strange = self.strange.remove(&id);
        let mut heard = Heard {
            record: record.clone(),
            hears,
            first: strange || (record.seq == 1 && record.event != EventKind::Guidance),
            level: carry.level,
        };
        if strange && hears == Hears::Quietly && heard.ends() {
            heard.hears = Hears::Elsewhere;
        }
        let goes_on = !matches!(record.alert.state, None | Some(AlertState::Normal));
        if heard.first && heard.hears == Hears::Elsewhere && goes_on {
            self.strange.insert(id);
            if self.strange.len() > BOUND {
                self.strange.pop_first();
            }
        }
        heard
    }
}

/// The time as of the watch's latest pass.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Time {
    /// UTC; `None` while unknown.
    pub utc: Option<Utc>,
    /// Ship's time.
    pub ship: ShipTime,
}

/// A signal's hours of rest, and the clock they go by.
#[derive(Debug, Clone)]
pub(super) struct Resting {
    /// In ship's time.
    hours: Option<Rest>,
    time: watch::Receiver<Time>,
}

impl Resting {
    /// `hours` are in ship's time.
    pub fn new(hours: Option<Rest>, time: watch::Receiver<Time>) -> Self {
        Self { hours, time }
    }

    /// UTC, if known.
    pub fn utc(&mut self) -> Option<Utc> {
        self.time.borrow_and_update().utc
    }

    /// The hours in UTC, by ship's time of now.
    pub fn hours(&self) -> Option<Rest> {
        self.hours.map(|hours| hours.by_utc(self.time.borrow().ship.seconds()))
    }

    /// Whether an event of that priority has to wait now.
    pub fn delays(&mut self, priority: Priority) -> bool {
        let now = self.utc();
        self.hours().is_some_and(|hours| hours.delays(priority, now))
    }

    /// Waits until the time has moved on; waits for ever if there are no hours of rest.
    pub async fn moved_on(&mut self) {
        if self.hours.is_none() || self.time.changed().await.is_err() {
            std::future::pending::<()>().await;
        }
    }
}

/// Calls that wait for the end of the hours of rest, the newest one of each alert.
#[derive(Debug, Default)]
struct Kept(BTreeMap<AlertId, Heard>);

impl Kept {
    /// Holds an event back, or lets it through. `rests`: its priority rests now.
    fn hear(&mut self, mut heard: Heard, rests: bool) -> Option<Heard> {
        if heard.is_test() {
            return Some(heard);
        }
        let before = self.0.remove(&heard.id());
        heard.first |= before.as_ref().is_some_and(|b| b.first);
        let calls = heard.hears != Hears::Elsewhere && heard.record.event.calls();
        // A call over the limit of signals a minute does not hush the call it replaces.
        if calls && before.as_ref().is_some_and(Heard::is_aloud) {
            heard.hears = Hears::Aloud;
        }
        let unknown = before.is_some() && heard.first;
        if rests && (calls || unknown && !heard.is_over()) {
            // An alert already answered when rest ends is then shown without a sound.
            put(&mut self.0, heard.id(), heard, |h| &h.record);
            return None;
        }
        // An alert that was never announced needs no ending.
        (calls || !(unknown && heard.is_over())).then_some(heard)
    }
}

/// The receiving end of the queue to a signal's task.
#[derive(Debug)]
pub(super) struct Ear {
    events: mpsc::Receiver<Heard>,
    resting: Resting,
    kept: Kept,
}

impl Ear {
    pub fn new(events: mpsc::Receiver<Heard>, resting: Resting) -> Self {
        Self { events, resting, kept: Kept::default() }
    }

    /// Whether anything below an alarm has to wait now.
    pub fn rests(&mut self) -> bool {
        self.resting.delays(Priority::Notice)
    }

    /// Returns what may sound now. If hours of rest have begun since, holds it back until they end.
    pub fn put_off(&mut self, record: Arc<EventRecord>) -> Option<Arc<EventRecord>> {
        if self.kept.0.get(&record.alert.id).is_some_and(|kept| kept.record.seq > record.seq) {
            return None;
        }
        let rests = self.resting.delays(record.alert.priority);
        let again = Heard { record: record.clone(), hears: Hears::Aloud, first: false, level: 0 };
        self.kept.hear(again, rests).is_some().then_some(record)
    }

    /// The next event to hear now; `None` when no more will come. Cancel safe: no event is lost.
    pub async fn next(&mut self) -> Option<Heard> {
        loop {
            // Take new events in before rest ends for those held back: one may be the answer to another.
            let event = match self.events.try_recv() {
                Ok(event) => event,
                Err(TryRecvError::Disconnected) => return None,
                Err(TryRecvError::Empty) => {
                    if !self.rests()
                        && let Some((_, heard)) = self.kept.0.pop_first()
                    {
                        return Some(heard);
                    }
                    tokio::select! {
                        biased;
                        event = self.events.recv() => event?,
                        () = self.resting.moved_on(), if !self.kept.0.is_empty() => continue,
                    }
                }
            };
            let rests = self.resting.delays(event.record.alert.priority);
            if let Some(heard) = self.kept.hear(event, rests) {
                return Some(heard);
            }
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::standing::tests::event;
    use super::*;
    use rules::{AlertState as S, EventKind as E, Priority as P};
    use std::pin::pin;
    use std::task::{Context, Poll, Waker};

    /// An ear with hours of rest from ten to six, and its sending end.
    pub struct Night {
        pub ear: Ear,
        to: mpsc::Sender<Heard>,
        time: watch::Sender<Time>,
    }

    impl Night {
        pub fn new() -> Self {
            let (to, events) = mpsc::channel(64);
            let (time, now) = watch::channel(Time::default());
            let night =
                Self { ear: Ear::new(events, Resting::new(Some(Rest::new(1320, 360)), now)), to, time };
            night.is(1);
            night
        }

        /// Sets the hour.
        pub fn is(&self, hour: i64) {
            self.time.send_replace(Time { utc: Some(Utc(hour * 3_600_000)), ship: ShipTime::default() });
        }

        /// Sets the hour by UTC, and ship's time in hours from it.
        pub fn is_by(&self, hour: i64, ship_h: i32) {
            let ship = ShipTime { minutes: ship_h * 60 };
            self.time.send_replace(Time { utc: Some(Utc(hour * 3_600_000)), ship });
        }

        pub fn tell(&self, heard: Heard) {
            self.to.try_send(heard).unwrap();
        }

        /// Everything heard now.
        pub fn hears(&mut self) -> Vec<Heard> {
            let mut all = Vec::new();
            while let Poll::Ready(Some(heard)) =
                pin!(self.ear.next()).poll(&mut Context::from_waker(Waker::noop()))
            {
                all.push(heard);
            }
            all
        }

        /// Number, kind and loudness of everything heard now.
        fn hears_of(&mut self) -> Vec<(u32, E, bool)> {
            self.hears().iter().map(|h| (h.id().0, h.record.event, h.is_aloud())).collect()
        }
    }

    #[test]
    fn calls_wait_for_the_end_of_rest_and_alarms_do_not() {
        let mut night = Night::new();
        night.tell(event(1, P::Warning, S::ActiveUnacknowledged, E::Raised, true));
        night.tell(event(2, P::Alarm, S::ActiveUnacknowledged, E::Raised, true));
        assert_eq!(night.hears_of(), [(2, E::Raised, true)]);
        // Over the limit of signals a minute: the call before it still sounds.
        night.tell(event(1, P::Warning, S::ActiveUnacknowledged, E::Repeated, false));
        assert_eq!(night.hears_of(), []);
        night.is(6);
        assert_eq!(night.hears_of(), [(1, E::Repeated, true)]);
        night.is(22);
        night.tell(event(1, P::Warning, S::ActiveUnacknowledged, E::Repeated, true));
        night.tell(event(1, P::Alarm, S::ActiveUnacknowledged, E::Escalated, true));
        assert_eq!(night.hears_of(), [(1, E::Escalated, true)]);
        night.is(30);
        assert_eq!(night.hears_of(), [], "the warning is in the alarm");
    }

    #[test]
    fn of_what_was_never_announced_no_answer_is_heard_and_what_stands_is_shown_quietly() {
        let mut night = Night::new();
        night.tell(event(1, P::Warning, S::ActiveUnacknowledged, E::Raised, true));
        night.tell(event(1, P::Warning, S::Normal, E::Cleared, false));
        night.tell(event(2, P::Warning, S::ActiveUnacknowledged, E::Raised, true));
        night.tell(event(2, P::Warning, S::ActiveAcknowledged, E::Acknowledged, false));
        assert_eq!(night.hears_of(), []);
        night.is(6);
        assert_eq!(night.hears_of(), [(2, E::Acknowledged, false)]);
    }

    #[test]
    fn hours_of_rest_go_by_ships_time_as_it_is_changed_at_sea() {
        let mut night = Night::new();
        for (utc, ship_h, rests) in
            [(23, 0, true), (23, -3, false), (12, 11, true), (6, 0, false), (6, -1, true), (7, -1, false)]
        {
            night.is_by(utc, ship_h);
            assert_eq!(night.ear.rests(), rests, "{utc}:00 UTC, ship's time {ship_h:+}");
        }
    }

    #[test]
    fn of_what_was_announced_before_rest_every_answer_is_heard() {
        let mut night = Night::new();
        night.is(21);
        night.tell(event(1, P::Warning, S::ActiveUnacknowledged, E::Raised, true));
        assert_eq!(night.hears_of(), [(1, E::Raised, true)]);
        night.is(22);
        night.tell(event(1, P::Warning, S::ActiveUnacknowledged, E::Repeated, true));
        assert_eq!(night.hears_of(), []);
        night.tell(event(1, P::Warning, S::ActiveAcknowledged, E::Acknowledged, false));
        night.tell(event(1, P::Warning, S::Normal, E::Cleared, false));
        assert_eq!(night.hears_of(), [(1, E::Acknowledged, false), (1, E::Cleared, false)]);
        night.is(30);
        assert_eq!(night.hears_of(), []);
    }

    #[test]
    fn an_answer_that_comes_as_rest_ends_is_heard_before_the_call() {
        let mut night = Night::new();
        night.tell(event(1, P::Warning, S::ActiveUnacknowledged, E::Raised, true));
        assert_eq!(night.hears_of(), []);
        night.is(6);
        night.tell(event(1, P::Warning, S::ActiveAcknowledged, E::Acknowledged, false));
        assert_eq!(night.hears_of(), [(1, E::Acknowledged, false)]);
    }

    #[test]
    fn a_notice_waits_too_and_what_goes_to_others_does_not_come_back() {
        let mut night = Night::new();
        let mut notice = event(1, P::Notice, S::Normal, E::Noted, true);
        Arc::make_mut(&mut notice.record).alert.state = None;
        night.tell(notice);
        night.tell(event(2, P::Warning, S::ActiveUnacknowledged, E::Raised, true));
        let elsewhere = event(2, P::Warning, S::ActiveUnacknowledged, E::Escalated, true);
        night.tell(Heard { hears: Hears::Elsewhere, ..elsewhere });
        assert_eq!(night.hears_of(), []);
        night.is(6);
        assert_eq!(night.hears_of(), [(1, E::Noted, true)]);
    }

    #[test]
    fn what_had_to_wait_for_something_else_rests_too() {
        let mut night = Night::new();
        let warning = event(1, P::Warning, S::ActiveUnacknowledged, E::Raised, true).record;
        let alarm = event(2, P::Alarm, S::ActiveUnacknowledged, E::Raised, true).record;
        let test = Arc::new(example::record());
        night.is(21);
        assert!(night.ear.put_off(warning.clone()).is_some());
        night.is(22);
        assert!(night.ear.put_off(warning).is_none());
        assert!(night.ear.put_off(alarm).is_some() && night.ear.put_off(test).is_some());
        assert_eq!(night.hears_of(), []);
        night.is(30);
        assert_eq!(night.hears_of(), [(1, E::Raised, true)]);
    }

    #[test]
    fn what_waits_is_bounded_and_the_least_urgent_goes() {
        let mut night = Night::new();
        for id in 0..2000 {
            let priority = if id < 10 { P::Warning } else { P::Caution };
            night.tell(event(id, priority, S::ActiveUnacknowledged, E::Raised, true));
            assert_eq!(night.hears_of(), []);
        }
        night.is(6);
        let heard = night.hears_of();
        assert_eq!((heard.len(), heard[9].0, heard[10].0), (BOUND, 9, 2000 - 1014));
    }
}
