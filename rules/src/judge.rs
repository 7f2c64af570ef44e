//! Whether one test is true at a moment, and when that may change by time alone.

use crate::condition::{Extent, Measure, Predicate, Test, Trend, Truth};
use crate::picture::Picture;
use crate::window::Window;
use std::borrow::Cow;
use std::time::Duration;
use terms::{Dimension, Moment, Position, Quantity, Reading, Subject, Value, in_sector, turn_deg};

/// The picture at a moment, and what else tests need.
#[derive(Clone, Copy)]
pub struct Sight<'a> {
    /// Now.
    pub at: Moment,
    /// The lookout's picture.
    pub picture: &'a dyn Picture,
    /// Where the anchor lies, while it is down.
    pub anchor: Option<Position>,
    /// When the present watch began.
    pub watch_began: Option<Moment>,
    /// Ship's time less UTC, in seconds.
    pub ship_time_s: i64,
}

/// What a test must remember.
#[derive(Debug, Clone, Default)]
pub struct TestState {
    /// What the value did over the test's window, where it has one.
    pub window: Option<Window>,
}

/// The outcome of a test.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Verdict {
    /// Whether it is true.
    pub truth: Truth,
    /// When to judge again even if nothing changes.
    pub due: Option<Moment>,
}

/// Shortest time until a test is judged again, so that rounding never makes that now.
const SOONEST: Duration = Duration::from_millis(1);
/// The same for a value that should run with time but may stand still: for a ship that keeps beside us the TCPA stays
/// zero for hours.
pub const SOONEST_AHEAD: Duration = Duration::from_secs(1);

impl Sight<'_> {
    /// The subject that has a measure: own vessel's are the same for all.
    fn reading(&self, q: Quantity, subject: Subject) -> Reading {
        let subject = if q.whose() == terms::Whose::Own { Subject::OwnVessel } else { subject };
        self.picture.reading(subject, q)
    }

    /// The reading of a measure; that of a window comes from its test's state.
    pub fn measure(&self, m: &Measure, subject: Subject, state: Option<&TestState>) -> Reading {
        let of = |n: Option<f64>| Reading { value: n.map(Value::Number), heard: Some(self.at) };
        match m {
            Measure::Quantity(q) => self.reading(*q, subject),
            Measure::Age(q) => of(self.reading(*q, subject).heard.map(|h| self.at.seconds_from(h))),
            Measure::Over(extent, q, _) => {
                of(state.and_then(|s| s.window.as_ref()).and_then(|w| match extent {
                    Extent::Highest => w.highest(),
                    Extent::Lowest => w.lowest(),
                    Extent::Mean if !w.has_mean(self.at) => None,
                    Extent::Mean if q.dimension() == Dimension::Direction => w.mean_direction(),
                    Extent::Mean => w.mean(),
                }))
            }
            Measure::MarkRange(_, mark) => of(self.position().map(|p| p.range_and_bearing(*mark).0)),
            Measure::MarkBearing(_, mark) => of(self.position().map(|p| p.range_and_bearing(*mark).1)),
            Measure::AnchorRange => {
                of(self.position().zip(self.anchor).map(|(p, anchor)| p.range_and_bearing(anchor).0))
            }
            Measure::Transducer(name, dimension) => match self.picture.transducer(name) {
                Some((d, reading)) if d == *dimension => reading,
                Some((_, reading)) => Reading { value: None, heard: reading.heard },
                None => Reading::default(),
            },
            Measure::TimeOfDay => of(self.time_of_day_s()),
            Measure::TimeOnWatch => of(self.watch_began.map(|b| self.at.seconds_from(b))),
        }
    }

    /// Own position, as long as the picture believes it.
    fn position(&self) -> Option<Position> {
        self.picture.reading(Subject::OwnVessel, Quantity::Fix).value.and_then(|_| self.picture.position())
    }

    fn time_of_day_s(&self) -> Option<f64> {
        let utc = self.picture.utc()?;
        Some(utc.plus_ms(self.ship_time_s.saturating_mul(1000)).ms_of_day() as f64 / 1000.0)
    }

    /// Judges a test about a subject that has been watched since a moment.
    pub fn judge(&self, test: &Test, subject: Subject, since: Moment, state: &mut TestState) -> Verdict {
        match &test.predicate {
            Predicate::Missing(patience) => self.missing(test, subject, since, *patience),
            Predicate::Changes(trend, by, length) => {
                self.changes(test, subject, state, (*trend, *by), *length)
            }
            Predicate::OffMean(by, length) => self.off_mean(test, subject, state, *by, *length),
            predicate => {
                if let Measure::Over(_, q, length) = &test.measure {
                    self.feed(&Measure::Quantity(*q), subject, state, *length);
                }
                let reading = self.measure(&test.measure, subject, Some(state));
                let never_heard = reading.value.is_none() && matches!(test.measure, Measure::Age(_));
                // If it was never heard, it is at least as old as the watch for it.
                let value = if never_heard {
                    Some(Value::Number(self.at.seconds_from(since)))
                } else {
                    reading.value
                };
                let truth = match &value {
                    Some(v) => compare(predicate, &test.measure, v),
                    None => Truth::Unknown,
                };
                Verdict { truth, due: self.due(test, value.as_ref().and_then(Value::number), state) }
            }
        }
    }

    fn missing(&self, test: &Test, subject: Subject, since: Moment, patience: Duration) -> Verdict {
        let reading = self.measure(&test.measure, subject, None);
        let last = match reading.heard {
            // A value that is still believed is not missing, however long ago it was heard.
            Some(_) if reading.value.is_some() && !is_report(&test.measure) => {
                return Verdict { truth: Truth::False, due: None };
            }
            Some(heard) => heard,
            None => since,
        };
        let due = last + patience;
        if self.at >= due {
            Verdict { truth: Truth::True, due: None }
        } else {
            Verdict { truth: Truth::False, due: Some(due) }
        }
    }

    /// Adds the present value to the test's window and returns it.
    fn feed(&self, m: &Measure, subject: Subject, state: &mut TestState, length: Duration) -> Option<f64> {
        let window = state.window.get_or_insert_with(|| Window::new(length));
        let value = self.measure(m, subject, None).value.and_then(|v| v.number());
        match value {
            Some(v) => window.add(self.at, v),
            None => window.forget(self.at),
        }
        value
    }

    fn changes(
        &self,
        test: &Test,
        subject: Subject,
        state: &mut TestState,
        (trend, by): (Trend, f64),
        length: Duration,
    ) -> Verdict {
        let value = self.feed(&test.measure, subject, state, length);
        let Some(window) = state.window.as_ref() else { return Verdict::default() };
        let due = Some(self.at + window.width());
        // A window that has only begun has seen a part of its time, and the fall in that counts in full.
        let by = match trend {
            Trend::FallsForLatitude => self.position().map(|p| for_latitude(by, p.latitude_deg())),
            _ => Some(by),
        };
        let moved = match (trend, value) {
            (_, None) => None,
            (Trend::Falls | Trend::FallsForLatitude, Some(v)) => window.highest().map(|h| h - v),
            (Trend::Rises, Some(v)) => window.lowest().map(|l| v - l),
            (Trend::Veers | Trend::Backs | Trend::Shifts, Some(_)) => window
                .turns()
                .map(|turn| match trend {
                    Trend::Veers => turn,
                    Trend::Backs => -turn,
                    _ => turn.abs(),
                })
                .reduce(f64::max),
        };
        let truth = moved.zip(by).map_or(Truth::Unknown, |(m, by)| Truth::from(m >= by - TINY));
        Verdict { truth, due }
    }

    fn off_mean(
        &self,
        test: &Test,
        subject: Subject,
        state: &mut TestState,
        by: f64,
        length: Duration,
    ) -> Verdict {
        let value = self.feed(&test.measure, subject, state, length);
        let Some(window) = state.window.as_ref() else { return Verdict::default() };
        let due = Some(self.at + window.width());
        let direction = test.measure.dimension() == Dimension::Direction;
        let mean = match (window.has_mean(self.at), direction) {
            (false, _) => None,
            (true, true) => window.mean_direction(),
            (true, false) => window.mean(),
        };
        let off = value.zip(mean).map(|(v, m)| if direction { turn_deg(m, v).abs() } else { (v - m).abs() });
        Verdict { truth: off.map_or(Truth::Unknown, |o| Truth::from(o > by)), due }
    }

    /// When a value that runs with the time meets its next limit.
    fn due(&self, test: &Test, value: Option<f64>, state: &TestState) -> Option<Moment> {
        if let Some(w) = &state.window {
            return Some(self.at + w.width());
        }
        let (rate, soonest) = match test.measure {
            Measure::Quantity(q) if runs_down(q) => (-1.0, SOONEST_AHEAD),
            Measure::Age(_) | Measure::TimeOnWatch | Measure::TimeOfDay => (1.0, SOONEST),
            _ => return None,
        };
        if test.measure == Measure::TimeOfDay && value.is_none() {
            return Some(self.at + TIME_ASKED_EVERY);
        }
        let (v, (a, b)) = (value?, limits(&test.predicate)?);
        let mut ahead = [(a - v) * rate, (b - v) * rate];
        if test.measure == Measure::TimeOfDay {
            ahead = ahead.map(|s| s.rem_euclid(86_400.0));
        }
        let wait_s = ahead.into_iter().filter(|s| *s >= 0.0 && s.is_finite()).reduce(f64::min)?;
        Some(self.at + (Duration::try_from_secs_f64(wait_s).ok()? + SOONEST).max(soonest))
    }
}

/// A fall at 60° in proportion to the sine of the latitude, as rapid deepening is defined (Sanders and Gyakum 1980). In the
/// tropics no less than what makes a tropical storm likely there (Mariner's Handbook: 3 hPa below the mean suspect, 5 little
/// doubt): 5 hPa in a day, 3 in less.
pub(crate) fn for_latitude(by_hpa: f64, latitude_deg: f64) -> f64 {
    let scaled = by_hpa * latitude_deg.to_radians().sin().abs() / 60f64.to_radians().sin();
    scaled.max(if by_hpa >= 24.0 { 5.0 } else { 3.0 })
}

/// How often to ask for the time of day while it is not known.
const TIME_ASKED_EVERY: Duration = Duration::from_secs(60);

/// Rounding of sums over a window must not hide a change of exactly the limit.
const TINY: f64 = 1e-9;

/// What counts down by a second each second.
pub fn runs_down(q: Quantity) -> bool {
    matches!(
        q,
        Quantity::Tcpa
            | Quantity::TcpaPrudent
            | Quantity::TcpaLeast
            | Quantity::TcpaMost
            | Quantity::BowCrossingTime
    )
}

/// Of reports, sentences and transducers only the age counts: the last one stays "there" for ever.
fn is_report(m: &Measure) -> bool {
    matches!(
        m,
        Measure::Quantity(Quantity::Report | Quantity::Sentences | Quantity::Transducers)
            | Measure::Transducer(..)
    )
}

fn limits(p: &Predicate) -> Option<(f64, f64)> {
    match p {
        Predicate::Over(a) | Predicate::Under(a) | Predicate::AtLeast(a) | Predicate::AtMost(a) => {
            Some((*a, *a))
        }
        Predicate::Between(a, b) | Predicate::Outside(a, b) => Some((*a, *b)),
        _ => None,
    }
}

fn compare(p: &Predicate, m: &Measure, value: &Value) -> Truth {
    match (p, value) {
        (Predicate::Is(words), v) => word_of(m, v).map_or(Truth::Unknown, |w| listed(words, &w).into()),
        (Predicate::IsNot(words), v) => word_of(m, v).map_or(Truth::Unknown, |w| (!listed(words, &w)).into()),
        (_, Value::Number(n)) if n.is_nan() => Truth::Unknown,
        (_, Value::Number(n)) => compare_number(p, m, *n).into(),
        _ => Truth::Unknown,
    }
}

fn compare_number(p: &Predicate, m: &Measure, n: f64) -> bool {
    let through_midnight = *m == Measure::TimeOfDay;
    match *p {
        Predicate::Over(a) => n > a,
        Predicate::Under(a) => n < a,
        Predicate::AtLeast(a) => n >= a,
        Predicate::AtMost(a) => n <= a,
        Predicate::Between(a, b) if through_midnight && a > b => n >= a || n <= b,
        Predicate::Between(a, b) => n >= a && n <= b,
        Predicate::Outside(a, b) if through_midnight && a > b => n < a && n > b,
        Predicate::Outside(a, b) => n < a || n > b,
        Predicate::Within(a, b) => in_sector(n, a, b),
        Predicate::NotWithin(a, b) => !in_sector(n, a, b),
        _ => false,
    }
}

fn word_of<'v>(m: &Measure, v: &'v Value) -> Option<Cow<'v, str>> {
    match (m, v) {
        (_, Value::Word(w)) => Some(w.into()),
        (Measure::Quantity(Quantity::Identity), Value::Number(n)) => Some(format!("{n:09.0}").into()),
        _ => None,
    }
}

fn listed(words: &[String], word: &str) -> bool {
    words.iter().any(|w| w.eq_ignore_ascii_case(word))
}

#[cfg(test)]
mod tests {
    use super::for_latitude;

    #[test]
    fn rapid_deepening_by_latitude() {
        // Sanders and Gyakum 1980: 24 hPa in 24 h times sin φ / sin 60°, worked out by hand.
        for (latitude, hpa) in [(25.0, 11.7), (35.0, 15.9), (-45.0, 19.6), (55.0, 22.7), (65.0, 25.1)] {
            assert!((for_latitude(24.0, latitude) - hpa).abs() < 0.05, "{latitude}");
        }
        assert_eq!((for_latitude(24.0, 5.0), for_latitude(12.0, -5.0)), (5.0, 3.0));
    }
}
