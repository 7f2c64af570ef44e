//! Which events a signal carries, how it hears them, and its hours of rest.

use record::AlertPart;
use rules::{Addressee, Carry, Priority};
use std::time::Duration;
use terms::Utc;

/// Which events a signal carries.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Audience {
    /// Only events of these priorities.
    pub priorities: Vec<Priority>,
    /// Only these orders and built-in alerts; empty carries all.
    pub orders: Vec<String>,
    /// Whom it reaches.
    pub reaches: Reaches,
    /// Its hours of rest from anything less than an alarm, in ship's time.
    pub rest: Option<Rest>,
    /// Whether it carries guidance, the way back to one of ours overboard.
    pub guidance: bool,
}

/// Whom a signal reaches. It carries nothing meant for others. Every signal carries what goes to all hands, such as
/// every emergency.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Reaches {
    /// Whoever is on watch, or the place where the watch is kept: carries everything.
    #[default]
    Watch,
    /// The skipper.
    Skipper,
    /// Everybody, once an alert has escalated to all hands.
    AllHands,
    /// One of the crew, on watch or skipper by the roster.
    Person(String),
}

impl Reaches {
    fn includes(&self, to: &Addressee) -> bool {
        match (self, to) {
            (_, Addressee::AllHands) | (Self::Watch, _) | (Self::Skipper, Addressee::Skipper(_)) => true,
            (Self::Person(name), Addressee::Watch(Some(who)) | Addressee::Skipper(Some(who))) => name == who,
            _ => false,
        }
    }
}

/// How a signal hears an event. Hours of rest play no part here: the signal checks them just before it sounds or posts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hears {
    /// The event is not for this signal, which drops whatever it held of the alert.
    Elsewhere,
    /// The signal takes note without a new sound: an acknowledgement, an ending, or a call over the limit of signals a
    /// minute.
    Quietly,
    /// The signal sounds again.
    Aloud,
}

impl Audience {
    /// Carries everything of these priorities.
    pub fn of(priorities: Vec<Priority>) -> Self {
        Self { priorities, orders: Vec::new(), reaches: Reaches::Watch, rest: None, guidance: false }
    }

    /// How the signal called `name` hears an event of an alert. If the alert's order names signals, only those carry
    /// it; once it escalates to the skipper or all hands, their signals carry it too.
    pub fn hears(&self, name: &str, alert: &AlertPart, carry: &Carry) -> Hears {
        let of_these = self.orders.is_empty() || self.orders.contains(&alert.order);
        let own = self.priorities.contains(&alert.priority) && of_these;
        let reached = own && self.reaches.includes(&carry.to);
        let carried = match &carry.signals {
            Some(names) if names.iter().any(|n| n == name) => true,
            Some(_) => reached && self.reaches != Reaches::Watch && carry.level > 0,
            None => reached,
        };
        match carried {
            false => Hears::Elsewhere,
            true if carry.aloud => Hears::Aloud,
            true => Hears::Quietly,
        }
    }
}

/// Seconds in a day.
const DAY_S: i64 = 86_400;

/// Hours of rest, which may span midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rest {
    /// Start, in seconds of the day, below [`DAY_S`].
    from_s: i64,
    to_s: i64,
}

impl Rest {
    /// Hours from and to, in minutes of the day.
    pub fn new(from_min: u16, to_min: u16) -> Self {
        let seconds = |min: u16| i64::from(min) * 60 % DAY_S;
        Self { from_s: seconds(from_min), to_s: seconds(to_min) }
    }

    /// The same hours in UTC, for ship's time `ship_time_s` seconds ahead of it.
    pub fn by_utc(self, ship_time_s: i64) -> Self {
        let shifted = |s: i64| (s - ship_time_s).rem_euclid(DAY_S);
        Self { from_s: shifted(self.from_s), to_s: shifted(self.to_s) }
    }

    /// Whether an event of that priority has to wait. Alarms never rest, and nothing rests while the time is unknown.
    pub fn delays(self, priority: Priority, now: Option<Utc>) -> bool {
        priority < Priority::Alarm
            && now.is_some_and(|now| self.rested_ms(now.plus_ms(1)) > self.rested_ms(now))
    }

    /// How much of the time between two moments was rest; zero unless the second is later.
    pub fn within(self, from: Utc, to: Utc) -> Duration {
        let ms = self.rested_ms(to).saturating_sub(self.rested_ms(from));
        Duration::from_millis(u64::try_from(ms).unwrap_or(0))
    }

    /// Milliseconds of rest between 1970 and a moment.
    fn rested_ms(self, to: Utc) -> i64 {
        let (day, from, until) = (DAY_S * 1000, self.from_s * 1000, self.to_s * 1000);
        let (days, of_day) = (to.0.div_euclid(day), to.0.rem_euclid(day));
        let between = |from: i64, until: i64| days * (until - from) + (of_day.min(until) - from).max(0);
        if from <= until { between(from, until) } else { to.0 - between(until, from) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rules::AlertId;

    fn alert(priority: Priority, order: &str) -> AlertPart {
        let text = "Words".to_owned();
        let (origin, about) = (record::ComesFrom::Order, record::Item::OwnVessel);
        AlertPart {
            id: AlertId(1),
            order: order.to_owned(),
            origin,
            about,
            priority,
            state: None,
            text,
            spoken: String::new(),
            exercise: false,
        }
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
        let hears = |p, o, c: &Carry| a.hears("horn", &alert(p, o), c) == Hears::Aloud;
        assert!(hears(Priority::Alarm, "depth", &aloud(0, None)));
        assert!(!hears(Priority::Alarm, "wind", &aloud(0, None)));
        assert!(!hears(Priority::EmergencyAlarm, "depth", &aloud(0, None)));
        assert!(hears(Priority::Caution, "wind", &aloud(0, Some(&["horn"]))));
        assert!(!hears(Priority::Alarm, "depth", &aloud(0, Some(&["bell"]))));
    }

    #[test]
    fn an_answer_is_heard_quietly_at_any_hour_and_only_where_the_alert_is() {
        let a = Audience {
            rest: Some(Rest::new(22 * 60, 6 * 60)),
            ..Audience::of(vec![Priority::Warning, Priority::Alarm])
        };
        let hears = |p, c: &Carry| a.hears("horn", &alert(p, "x"), c);
        assert_eq!(hears(Priority::Warning, &aloud(0, None)), Hears::Aloud, "rest is asked when it sounds");
        assert_eq!(hears(Priority::Warning, &Carry::default()), Hears::Quietly, "an acknowledgement");
        assert_eq!(hears(Priority::Caution, &Carry::default()), Hears::Elsewhere);
    }

    #[test]
    fn rest_ends_where_an_alarm_begins() {
        let rest = Rest::new(22 * 60, 6 * 60);
        assert!(rest.delays(Priority::Warning, Some(NIGHT)));
        assert!(!rest.delays(Priority::Warning, Some(NOON)));
        assert!(!rest.delays(Priority::Warning, None), "without UTC nothing rests");
        assert!(
            !rest.delays(Priority::Alarm, Some(NIGHT)) && !rest.delays(Priority::EmergencyAlarm, Some(NIGHT))
        );
        let at = |h: i64, min: i64, s: i64| Some(Utc(((h * 60 + min) * 60 + s) * 1000));
        let edges =
            [(at(21, 59, 59), false), (at(22, 0, 0), true), (at(5, 59, 59), true), (at(6, 0, 0), false)];
        for (now, rests) in edges {
            assert_eq!(rest.delays(Priority::Notice, now), rests, "{now:?}");
        }
        // With ship's time two hours ahead, ten at night aboard is eight UTC.
        let by_utc = rest.by_utc(7200);
        assert!(
            by_utc.delays(Priority::Warning, at(20, 0, 0)) && !by_utc.delays(Priority::Warning, at(4, 0, 0))
        );
    }

    #[test]
    fn rest_between_two_moments() {
        const H: i64 = 3_600_000;
        for (from, to, hours) in [
            (0, 24, 8),
            (-240, 240, 160),
            (21, 31, 8),
            (23, 25, 2),
            (6, 22, 0),
            (12, 36, 8),
            (5, 23, 2),
            (30, 20, 0),
        ] {
            let rested = Rest::new(22 * 60, 6 * 60).within(Utc(from * H), Utc(to * H));
            assert_eq!(rested.as_secs(), hours * 3600, "{from} to {to}");
            let day = Rest::new(6 * 60, 22 * 60).within(Utc(from * H), Utc(to * H));
            assert_eq!(day.as_secs(), ((to - from).max(0) as u64 - hours) * 3600, "{from} to {to}");
        }
    }

    #[test]
    fn each_is_called_when_it_goes_that_far() {
        let reaching = |reaches| Audience { reaches, ..Audience::of(vec![Priority::Alarm]) };
        let hears =
            |a: &Audience, c: &Carry| a.hears("cabin", &alert(Priority::Alarm, "x"), c) == Hears::Aloud;
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
