//! Which events a signal carries, and when it rests.

use record::EventRecord;
use rules::{Addressee, Carry, Priority};
use terms::Utc;

/// Which events a signal carries.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Audience {
    /// Of these priorities.
    pub priorities: Vec<Priority>,
    /// Of these orders and built-in alerts; none named are all.
    pub orders: Vec<String>,
    /// Whom it reaches.
    pub reaches: Reaches,
    /// When it rests from anything less than an alarm.
    pub rest: Option<Rest>,
}

/// Whom a signal reaches. What is for others it does not carry; what is for all hands, as every emergency, all do.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Reaches {
    /// Whoever is on watch, where the watch is kept: it carries everything.
    #[default]
    Watch,
    /// The skipper.
    Skipper,
    /// Everybody, when it has gone so far.
    AllHands,
    /// One of the crew, on watch or skipper by the roster.
    Person(String),
}

impl Reaches {
    fn hears(&self, to: &Addressee) -> bool {
        match (self, to) {
            (_, Addressee::AllHands) | (Self::Watch, _) | (Self::Skipper, Addressee::Skipper(_)) => true,
            (Self::Person(name), Addressee::Watch(Some(who)) | Addressee::Skipper(Some(who))) => name == who,
            _ => false,
        }
    }
}

/// Hours of rest by ship's time; they may pass midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rest {
    from_min: u16,
    to_min: u16,
}

/// An event on its way to a signal that sounds.
#[derive(Debug, Clone)]
pub struct Told {
    /// What happened.
    pub record: std::sync::Arc<EventRecord>,
    /// It sounds anew.
    pub aloud: bool,
    /// It is this signal's to carry; where not, it no longer has to do with the alert.
    pub carried: bool,
    /// How far it goes: 0 the watch, 1 the skipper, 2 all hands.
    pub level: u8,
}

/// What goes first: anything real before any exercise, then by priority, and of the same the crew before strangers.
pub fn urgency(record: &EventRecord) -> (bool, Priority, bool) {
    let of_crew = record.casualty.as_ref().is_some_and(|c| c.crew.is_some());
    (!record.alert.exercise, record.alert.priority, of_crew)
}

impl Audience {
    /// Everything of these priorities.
    pub fn of(priorities: Vec<Priority>) -> Self {
        Self { priorities, orders: Vec::new(), reaches: Reaches::Watch, rest: None }
    }

    /// Whether a signal of that name carries an event. Where the alert's order names its signals, those carry it; once
    /// it has gone on to the skipper or all hands, theirs do too.
    pub fn carries(&self, name: &str, record: &EventRecord, carry: &Carry, ship_time: Option<Utc>) -> bool {
        let alert = &record.alert;
        let named = carry.signals.as_ref().map(|names| names.iter().any(|n| n == name));
        let of_these = self.orders.is_empty() || self.orders.contains(&alert.order);
        let own = self.priorities.contains(&alert.priority) && of_these;
        let reached = own && self.reaches.hears(&carry.to);
        let carried = match named {
            Some(true) => true,
            Some(false) => reached && self.reaches != Reaches::Watch && carry.level > 0,
            None => reached,
        };
        let rests = carry.aloud
            && alert.priority < Priority::Alarm
            && self.rest.zip(ship_time).is_some_and(|(rest, now)| rest.holds(now));
        carried && !rests
    }
}

impl Rest {
    /// From and to, in minutes of the day.
    pub fn new(from_min: u16, to_min: u16) -> Self {
        Self { from_min: from_min % 1440, to_min: to_min % 1440 }
    }

    fn holds(self, ship_time: Utc) -> bool {
        let now = ship_time.ms_of_day() / 60_000;
        let (from, to) = (i64::from(self.from_min), i64::from(self.to_min));
        if from <= to { (from..to).contains(&now) } else { now >= from || now < to }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use record::example;

    fn record(priority: Priority, order: &str) -> EventRecord {
        let mut r = example::record();
        (r.alert.priority, r.alert.order) = (priority, order.to_owned());
        r
    }

    fn aloud(level: u8, signals: Option<&[&str]>) -> Carry {
        let signals = signals.map(|s| s.iter().map(|s| (*s).to_owned()).collect());
        let to = match level {
            0 => Addressee::Watch(Some("Bo".to_owned())),
            1 => Addressee::Skipper(Some("Ada".to_owned())),
            _ => Addressee::AllHands,
        };
        Carry { to, signals, aloud: true, level, ..Carry::default() }
    }

    const NOON: Utc = Utc(43_200_000);
    const NIGHT: Utc = Utc(3_600_000);

    #[test]
    fn priorities_orders_and_names() {
        let a = Audience {
            orders: vec!["depth".to_owned()],
            ..Audience::of(vec![Priority::Warning, Priority::Alarm])
        };
        let hears = |p, o, c: &Carry| a.carries("horn", &record(p, o), c, None);
        assert!(hears(Priority::Alarm, "depth", &aloud(0, None)));
        assert!(!hears(Priority::Alarm, "wind", &aloud(0, None)));
        assert!(!hears(Priority::EmergencyAlarm, "depth", &aloud(0, None)));
        assert!(hears(Priority::Caution, "wind", &aloud(0, Some(&["horn"]))));
        assert!(!hears(Priority::Alarm, "depth", &aloud(0, Some(&["bell"]))));
    }

    #[test]
    fn rest_ends_where_an_alarm_begins_and_never_hides_an_answer() {
        let a = Audience {
            rest: Some(Rest::new(22 * 60, 6 * 60)),
            ..Audience::of(vec![Priority::Warning, Priority::Alarm])
        };
        let hears = |p, c: &Carry, utc| a.carries("horn", &record(p, "x"), c, utc);
        assert!(!hears(Priority::Warning, &aloud(0, None), Some(NIGHT)));
        assert!(hears(Priority::Warning, &aloud(0, None), Some(NOON)));
        assert!(hears(Priority::Warning, &aloud(0, None), None), "without UTC nothing rests");
        assert!(hears(Priority::Alarm, &aloud(0, None), Some(NIGHT)));
        assert!(hears(Priority::Warning, &Carry::default(), Some(NIGHT)), "an acknowledgement");
    }

    #[test]
    fn each_is_called_when_it_goes_that_far() {
        let reaching = |reaches| Audience { reaches, ..Audience::of(vec![Priority::Alarm]) };
        let hears = |a: &Audience, c: &Carry| a.carries("cabin", &record(Priority::Alarm, "x"), c, None);
        let skipper = reaching(Reaches::Skipper);
        assert!(!hears(&skipper, &aloud(0, None)));
        assert!(hears(&skipper, &aloud(1, None)) && hears(&skipper, &aloud(2, None)));
        assert!(hears(&skipper, &aloud(1, Some(&["horn"]))));
        assert!(!hears(&skipper, &aloud(0, Some(&["horn"]))));
        let all = reaching(Reaches::AllHands);
        assert!(!hears(&all, &aloud(1, None)) && hears(&all, &aloud(2, None)));
        let bo = reaching(Reaches::Person("Bo".to_owned()));
        assert!(hears(&bo, &aloud(0, None)) && !hears(&bo, &aloud(1, None)) && hears(&bo, &aloud(2, None)));
    }
}
