//! Trials: what a person expects of the orders, written in the orders file and run against them.

use crate::alert::{AlertId, EventKind, Priority};
use crate::board::{Board, BoardSettings};
use crate::condition::Measure;
use crate::declared::Declared;
use crate::order::Orders;
use crate::picture::Picture;
use std::collections::BTreeMap;
use std::ops::Range;
use std::time::Duration;
use terms::{
    BatteryKind, Dimension, FeedId, Mmsi, Moment, Position, Problems, Quantity, Reading, Subject, Utc, Value,
    Whose, normal_deg, turn_deg,
};

/// A value heard from a step on.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// A quantity or a transducer.
    pub measure: Measure,
    /// `None` if no longer known.
    pub value: Option<Value>,
    /// Where, for own position.
    pub position: Option<Position>,
}

/// Something that happens in a trial, and the alerts that must stand then.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// How long after the beginning.
    pub at: Duration,
    /// Which target the step's values are of.
    pub target: String,
    /// Which feed.
    pub feed: String,
    /// The target is no longer heard.
    pub gone: bool,
    /// What is heard from now on.
    pub heard: Vec<Heard>,
    /// What the crew declares.
    pub declare: Vec<Declared>,
    /// An order whose alerts the crew acknowledges.
    pub acknowledge: Option<(String, Range<usize>)>,
    /// Orders whose alerts must stand, all of them and no others.
    pub standing: Option<(Vec<String>, Range<usize>)>,
}

/// A trial.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    /// Its name.
    pub name: String,
    /// Interval at which every value is heard.
    pub every: Duration,
    /// Numbers go in a straight line from step to step; otherwise they stay until the next.
    pub glide: bool,
    /// UTC at the beginning.
    pub utc: Option<Utc>,
    /// How often an order must have called by the end.
    pub calls: Vec<(String, u32, Range<usize>)>,
    /// What happens.
    pub steps: Vec<Step>,
}

impl Orders {
    /// Runs all trials of the file and returns their number.
    ///
    /// # Errors
    /// All that did not come out as expected, with line and column.
    pub fn run_trials(&self) -> Result<usize, Problems> {
        let mut problems = Problems::new(&self.file_name, &self.text);
        for (i, trial) in self.trials.iter().enumerate() {
            let about = format!("trial {} \"{}\": ", i + 1, trial.name);
            for (span, message) in Run::of(trial, self).finish() {
                problems.add(span, format!("{about}{message}"));
            }
        }
        problems.or_else_ok(self.trials.len())
    }
}

/// One course that a value takes.
#[derive(Debug, Clone)]
struct Course {
    measure: Measure,
    from: (Duration, Value),
    /// The next value and when, where it glides there.
    to: Option<(Duration, f64)>,
}

impl Course {
    fn at(&self, now: Duration) -> Value {
        let Value::Number(a) = self.from.1 else { return self.from.1.clone() };
        let passed_s = now.saturating_sub(self.from.0).as_secs_f64();
        if let Some((end, b)) = self.to {
            let whole_s = end.saturating_sub(self.from.0).as_secs_f64();
            let part = if whole_s > 0.0 { (passed_s / whole_s).min(1.0) } else { 1.0 };
            return Value::Number(match self.measure.dimension() {
                Dimension::Direction => normal_deg(a + part * turn_deg(a, b)),
                _ => a + part * (b - a),
            });
        }
        // A time to something runs down by itself.
        let runs_down = matches!(&self.measure, Measure::Quantity(q) if q.dimension() == Dimension::Time);
        Value::Number(if runs_down { a - passed_s } else { a })
    }
}

/// The picture that a trial's board sees.
#[derive(Default)]
struct Chart {
    names: Vec<(Subject, String)>,
    readings: BTreeMap<(Subject, u8), Reading>,
    transducers: BTreeMap<String, (Dimension, Reading)>,
    position: Option<Position>,
    utc: Option<Utc>,
}

impl Picture for Chart {
    fn reading(&self, subject: Subject, quantity: Quantity) -> Reading {
        self.readings.get(&(subject, quantity as u8)).cloned().unwrap_or_default()
    }

    fn transducer(&self, name: &str) -> Option<(Dimension, Reading)> {
        self.transducers.get(name).cloned()
    }

    fn subjects(&self, whose: Whose) -> Vec<Subject> {
        let of = |s: &Subject| match s {
            Subject::Target(_) => whose == Whose::Target,
            Subject::Feed(_) => whose == Whose::Feed,
            _ => whose == Whose::Own,
        };
        self.names.iter().map(|(s, _)| *s).filter(of).collect()
    }

    fn name_of(&self, subject: Subject) -> String {
        self.names
            .iter()
            .find(|(s, _)| *s == subject)
            .map_or_else(|| "own vessel".to_owned(), |(_, n)| n.clone())
    }

    fn utc(&self) -> Option<Utc> {
        self.utc
    }

    fn position(&self) -> Option<Position> {
        self.position
    }
}

/// The first call of an order in a trial.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Call {
    /// How long after the beginning.
    pub at: Duration,
    /// The order.
    pub order: String,
    /// Its priority.
    pub priority: Priority,
}

/// A trial under way.
pub(crate) struct Run<'t> {
    trial: &'t Trial,
    board: Board,
    chart: Chart,
    courses: BTreeMap<(Subject, String), Course>,
    called: BTreeMap<String, u32>,
    calls: Vec<Call>,
    wrong: Vec<(Range<usize>, String)>,
    /// Whether the board is advanced whenever it wants to be woken, not only when values are heard.
    exact: bool,
}

/// The steady time of a moment of the trial.
fn moment(at: Duration) -> Moment {
    Moment::ZERO + at
}

impl<'t> Run<'t> {
    fn of(trial: &'t Trial, orders: &Orders) -> Self {
        let mut board = Board::new(BoardSettings::default());
        let chart = Chart { utc: trial.utc, ..Chart::default() };
        board.set_orders(Moment::ZERO, orders, &chart);
        Self {
            trial,
            board,
            chart,
            courses: BTreeMap::new(),
            called: BTreeMap::new(),
            calls: Vec::new(),
            wrong: Vec::new(),
            exact: true,
        }
    }

    /// The first call of each order, in order of time, to the trial's interval: what is judged again by time alone is
    /// judged once in each, however often an order would have it.
    pub(crate) fn calls(trial: &'t Trial, orders: &Orders) -> Vec<Call> {
        let mut run = Self { exact: false, ..Self::of(trial, orders) };
        run.play();
        run.calls
    }

    fn play(&mut self) {
        let trial = self.trial;
        let mut now = Duration::ZERO;
        for (i, step) in trial.steps.iter().enumerate() {
            while now < step.at {
                self.hear(now);
                now = (now + trial.every).min(step.at);
                self.pass(now);
            }
            self.step(i, step);
        }
    }

    fn finish(mut self) -> Vec<(Range<usize>, String)> {
        self.play();
        let trial = self.trial;
        for (order, expected, span) in &trial.calls {
            let called = self.called.get(order).copied().unwrap_or(0);
            if called != *expected {
                self.wrong.push((
                    span.clone(),
                    format!(
                        "expected \"{order}\" to call {}, and it called {}",
                        times(*expected),
                        times(called)
                    ),
                ));
            }
        }
        self.wrong
    }

    /// Every value is heard again.
    fn hear(&mut self, now: Duration) {
        let all: Vec<(Subject, Course)> =
            self.courses.iter().map(|((s, _), course)| (*s, course.clone())).collect();
        for (subject, course) in all {
            self.put(subject, &course.measure, Some(course.at(now)), now);
        }
    }

    fn put(&mut self, subject: Subject, measure: &Measure, value: Option<Value>, now: Duration) {
        let at = moment(now);
        let heard =
            |old: Option<&Reading>| if value.is_some() { Some(at) } else { old.and_then(|r| r.heard) };
        let quantity = match measure {
            Measure::Transducer(name, dimension) => {
                let heard = heard(self.chart.transducers.get(name).map(|(_, r)| r));
                self.chart.transducers.insert(name.clone(), (*dimension, Reading { value, heard }));
                Quantity::Transducers
            }
            Measure::Quantity(q) => {
                let key = (subject, *q as u8);
                let heard = heard(self.chart.readings.get(&key));
                self.chart.readings.insert(key, Reading { value: value.clone(), heard });
                // A trial that gives only a pressure means one without the daily wave.
                if *q == Quantity::Pressure {
                    let corrected = Measure::Quantity(Quantity::PressureCorrected);
                    if !self.courses.contains_key(&(subject, corrected.to_string())) {
                        self.put(subject, &corrected, value.clone(), now);
                    }
                }
                // A trial that gives only a battery's voltage means one of lead.
                if *q == Quantity::BatteryVoltage {
                    let margin = Measure::Quantity(Quantity::BatteryMargin);
                    if !self.courses.contains_key(&(subject, margin.to_string())) {
                        let volts = value.as_ref().and_then(Value::number);
                        let over = volts.map(|v| Value::Number(v - BatteryKind::Lead.low_v()));
                        self.put(subject, &margin, over, now);
                    }
                }
                // A trial that gives only a TCPA means one that is known exactly.
                if *q == Quantity::Tcpa {
                    let prudent = Measure::Quantity(Quantity::TcpaPrudent);
                    if !self.courses.contains_key(&(subject, prudent.to_string())) {
                        self.put(subject, &prudent, value, now);
                    }
                }
                *q
            }
            _ => return,
        };
        self.board.changed(at, subject, quantity, &self.chart);
    }

    /// Advances the board to a moment, stopping wherever it wants to be woken if that is to be exact.
    fn pass(&mut self, to: Duration) {
        self.count();
        let end = moment(to);
        let was = self.chart.utc;
        while let Some(wake) = self.board.next_wake().filter(|w| self.exact && *w < end) {
            self.set_utc(wake);
            self.board.advance(wake, &self.chart);
            self.count();
        }
        if was.is_some() {
            self.set_utc(end);
        }
        self.board.advance(end, &self.chart);
        self.count();
    }

    fn set_utc(&mut self, at: Moment) {
        self.chart.utc = self.trial.utc.map(|u| u.plus_ms(at.0));
    }

    fn count(&mut self) {
        for e in self.board.take_events(&self.chart) {
            if e.kind == EventKind::Raised && self.board.is_raised_by_order(e.alert.id) {
                let (order, priority) = (e.alert.order.clone(), e.alert.priority);
                if self.calls.iter().all(|c| c.order != order) {
                    self.calls.push(Call { at: e.at.since(Moment::ZERO), order, priority });
                }
            }
            if matches!(e.kind, EventKind::Raised | EventKind::Noted) {
                *self.called.entry(e.alert.order).or_default() += 1;
            }
        }
    }

    fn subject(&mut self, whose: Whose, step: &Step) -> Subject {
        let name = match whose {
            Whose::Own => return Subject::OwnVessel,
            Whose::Target => &step.target,
            Whose::Feed => &step.feed,
        };
        let same = |(s, n): &&(Subject, String)| {
            n == name && matches!(s, Subject::Target(_)) == (whose == Whose::Target)
        };
        if let Some((s, _)) = self.chart.names.iter().find(same) {
            return *s;
        }
        let number = self.chart.names.len() as u32 + 1;
        // Identities of a MID that no country has; fewer than a million of them.
        let mmsi = Mmsi::new(200_000_000 + number).map(Subject::Target);
        let subject = match (whose, mmsi) {
            (Whose::Target, Some(s)) => s,
            _ => Subject::Feed(FeedId(number as u16)),
        };
        self.chart.names.push((subject, name.clone()));
        subject
    }

    fn step(&mut self, place: usize, step: &Step) {
        let at = moment(step.at);
        for declared in &step.declare {
            self.board.declare(at, *declared, &self.chart);
        }
        for heard in &step.heard {
            let subject = self.subject(heard.measure.whose(), step);
            let key = (subject, heard.measure.to_string());
            match &heard.value {
                Some(value) => {
                    let to = if self.trial.glide { self.next_value(place, subject, heard) } else { None };
                    let course =
                        Course { measure: heard.measure.clone(), from: (step.at, value.clone()), to };
                    self.courses.insert(key, course);
                }
                None => {
                    self.courses.remove(&key);
                }
            }
            if heard.measure == Measure::Quantity(Quantity::Fix) {
                self.chart.position = heard.position.or(self.chart.position);
            }
            self.put(subject, &heard.measure, heard.value.clone(), step.at);
        }
        if step.gone {
            let subject = self.subject(Whose::Target, step);
            self.courses.retain(|(s, _), _| *s != subject);
            self.chart.readings.retain(|(s, _), _| *s != subject);
            self.board.gone(at, subject);
        }
        self.board.advance(at, &self.chart);
        if let Some((order, span)) = &step.acknowledge {
            self.acknowledge(step, order, span);
        }
        self.count();
        if let Some((expected, span)) = &step.standing {
            self.compare(step, expected, span);
        }
    }

    /// The next number of the same measure and subject, and when.
    fn next_value(&mut self, place: usize, subject: Subject, heard: &Heard) -> Option<(Duration, f64)> {
        let trial = self.trial;
        for later in &trial.steps[place + 1..] {
            if self.subject(heard.measure.whose(), later) != subject {
                continue;
            }
            if let Some(h) = later.heard.iter().find(|h| h.measure == heard.measure) {
                return h.value.as_ref().and_then(Value::number).map(|n| (later.at, n));
            }
        }
        None
    }

    fn standing(&self) -> Vec<(AlertId, String)> {
        let active = self.board.alerts().filter(|a| a.is_active() && self.board.is_raised_by_order(a.id));
        active.map(|a| (a.id, a.order.clone())).collect()
    }

    fn acknowledge(&mut self, step: &Step, order: &str, span: &Range<usize>) {
        let ids: Vec<AlertId> = self.board.alerts().filter(|a| a.order == order).map(|a| a.id).collect();
        let done = ids.into_iter().filter(|id| self.board.acknowledge(moment(step.at), *id).is_ok()).count();
        if done == 0 {
            let at = terms::rounded(step.at);
            self.wrong
                .push((span.clone(), format!("at {at} there is nothing of \"{order}\" to acknowledge")));
        }
    }

    fn compare(&mut self, step: &Step, expected: &[String], span: &Range<usize>) {
        let mut stand: Vec<String> = self.standing().into_iter().map(|(_, name)| name).collect();
        stand.sort();
        stand.dedup();
        let mut expected = expected.to_vec();
        expected.sort();
        expected.dedup();
        if stand != expected {
            let at = terms::rounded(step.at);
            let message =
                format!("at {at} expected {} to stand, and {} stands", listed(&expected), listed(&stand));
            self.wrong.push((span.clone(), message));
        }
    }
}

fn listed(names: &[String]) -> String {
    if names.is_empty() {
        return "nothing".to_owned();
    }
    names.iter().map(|n| format!("\"{n}\"")).collect::<Vec<_>>().join(", ")
}

fn times(n: u32) -> String {
    match n {
        0 => "never".to_owned(),
        1 => "once".to_owned(),
        n => format!("{n} times"),
    }
}
