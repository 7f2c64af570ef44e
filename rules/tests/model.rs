//! The life of alerts beside a naive model that knows no timers: it looks at every second. Any sequence of values,
//! acts of the crew and passing time must give the same events, and some things must never happen.

use crate::table::Chart;
use proptest::prelude::*;
use rules::{
    AlertEvent, AlertId, AlertState, Board, BoardSettings, BuiltIn, EventKind, Orders, Priority, Words,
};
use std::collections::BTreeMap;
use terms::{CasualtyId, FeedId, Moment, Quantity, Reading, Subject, Value};

/// The orders on trial: one for each priority, one of them held, and one that rests.
const ORDERS: &str = r#"
version = 1
[[order]]
name = "alarm"
priority = "alarm"
when = "SOG is over 5 kn"
patience = "never"
[[order]]
name = "warning"
priority = "warning"
when = "heading is within 0 deg to 90 deg"
escalates = "90 s"
repeats = "40 s"
patience = "never"
[[order]]
name = "caution"
priority = "caution"
when = "battery voltage is under 12 V"
patience = "never"
[[order]]
name = "held"
priority = "alarm"
when = "depth below keel is under 3 m"
until = "depth below keel is over 4 m"
held = "7 s"
over_for = "4 s"
patience = "never"
[[order]]
name = "rests"
priority = "warning"
when = "pressure is under 990 hPa"
rests = "200 s"
patience = "never"
"#;

const NAMES: [&str; 8] =
    ["alarm", "warning", "caution", "held", "rests", "feed silent", "person overboard", "EPIRB"];

#[derive(Debug, Clone, Copy, PartialEq)]
enum Said {
    Yes,
    Between,
    No,
    Unknown,
}

#[derive(Debug, Clone)]
enum Act {
    Value(usize, Said),
    Call(usize),
    Over(usize),
    Acknowledge(usize),
    Silence(usize),
    Transfer(usize),
    StandDown(usize),
    Pass(u32),
}

fn act() -> impl Strategy<Value = Act> {
    let said = prop_oneof![
        4 => Just(Said::Yes), 1 => Just(Said::Between), 3 => Just(Said::No), 1 => Just(Said::Unknown)
    ];
    prop_oneof![
        6 => (0..5usize, said).prop_map(|(i, s)| Act::Value(i, s)),
        2 => (5..8usize).prop_map(Act::Call),
        1 => (5..8usize).prop_map(Act::Over),
        2 => (0..8usize).prop_map(Act::Acknowledge),
        2 => (0..8usize).prop_map(Act::Silence),
        1 => (0..8usize).prop_map(Act::Transfer),
        1 => (6..8usize).prop_map(Act::StandDown),
        6 => (1..200u32).prop_map(Act::Pass),
    ]
}

fn built_in(i: usize) -> (BuiltIn, Subject) {
    match i {
        5 => (BuiltIn::FeedSilent, Subject::Feed(FeedId(1))),
        6 => (BuiltIn::PersonOverboard, Subject::Casualty(CasualtyId(1))),
        _ => (BuiltIn::Epirb, Subject::Casualty(CasualtyId(2))),
    }
}

/// Quantity and values that make an order's condition true, neither, false.
fn values(i: usize) -> (Quantity, [f64; 3]) {
    match i {
        0 => (Quantity::Sog, [6.0, 4.0, 4.0]),
        1 => (Quantity::Heading, [45.0, 180.0, 180.0]),
        2 => (Quantity::BatteryVoltage, [11.0, 12.5, 12.5]),
        3 => (Quantity::DepthBelowKeel, [2.0, 3.5, 5.0]),
        _ => (Quantity::Pressure, [980.0, 1000.0, 1000.0]),
    }
}

/// The real board.
struct Real {
    board: Board,
    chart: Chart,
    now_s: u32,
    events: Vec<AlertEvent>,
}

impl Real {
    fn new() -> Self {
        let mut board = Board::new(BoardSettings { signals_per_min: usize::MAX, ..BoardSettings::default() });
        let chart = Chart::default();
        board.set_orders(Moment::ZERO, &Orders::read("model", ORDERS).unwrap(), &chart);
        Self { board, chart, now_s: 0, events: Vec::new() }
    }

    fn at(&self) -> Moment {
        Moment(i64::from(self.now_s) * 1000)
    }

    fn id(&self, name: usize) -> Option<AlertId> {
        self.board.alerts().find(|a| a.order == NAMES[name]).map(|a| a.id)
    }

    fn act(&mut self, act: &Act) {
        let at = self.at();
        match act {
            Act::Value(i, said) => {
                let (q, [yes, between, no]) = values(*i);
                let number = match said {
                    Said::Yes => Some(yes),
                    Said::Between => Some(between),
                    Said::No => Some(no),
                    Said::Unknown => None,
                };
                let reading = Reading { value: number.map(Value::Number), heard: Some(at) };
                self.chart.readings.insert((Subject::OwnVessel, q as u8), reading);
                self.board.changed(at, Subject::OwnVessel, q, &self.chart);
            }
            Act::Call(i) => {
                let (b, s) = built_in(*i);
                self.board.call(at, b, s, "called".into());
            }
            Act::Over(i) => {
                let (b, s) = built_in(*i);
                self.board.over(at, b, s);
            }
            Act::Acknowledge(i) => {
                self.id(*i).map(|id| self.board.acknowledge(at, id));
            }
            Act::Silence(i) => {
                self.id(*i).map(|id| self.board.silence(at, id));
            }
            Act::Transfer(i) => {
                self.id(*i).map(|id| self.board.transfer(at, id));
            }
            Act::StandDown(i) => {
                let _ = self.board.stand_down(at, CasualtyId(if *i == 6 { 1 } else { 2 }), &Words::default());
            }
            Act::Pass(seconds) => {
                self.now_s += seconds;
                let end = self.at();
                let mut wakes = 0;
                while let Some(wake) = self.board.next_wake().filter(|w| *w <= end) {
                    self.board.advance(wake, &self.chart);
                    self.events.extend(self.board.take_events(&self.chart));
                    wakes += 1;
                    assert!(wakes < 10_000, "it wakes without end");
                }
                self.board.advance(end, &self.chart);
            }
        }
        self.events.extend(self.board.take_events(&self.chart));
    }
}

/// One alert as the model sees it.
#[derive(Debug, Clone, Default)]
struct Life {
    state: Option<AlertState>,
    level: u8,
    repeat_in: Option<u32>,
    silent_for: Option<u32>,
    escalate_in: Option<u32>,
    // Of an order's condition.
    said: Option<Said>,
    on: bool,
    rising_s: u32,
    falling_s: u32,
    rest_s: u32,
}

/// Looks at every second and remembers nothing but counters.
#[derive(Default)]
struct Model {
    lives: [Life; 8],
    events: BTreeMap<usize, Vec<(u32, EventKind)>>,
    now_s: u32,
}

impl Model {
    fn priority(i: usize) -> Priority {
        match i {
            0 | 3 => Priority::Alarm,
            2 => Priority::Caution,
            6 | 7 => Priority::EmergencyAlarm,
            _ => Priority::Warning,
        }
    }

    fn repeats(i: usize) -> u32 {
        match (i, Self::priority(i)) {
            (1, _) => 40,
            (_, Priority::EmergencyAlarm) => 30,
            (_, Priority::Alarm) => 60,
            _ => 300,
        }
    }

    fn escalates(i: usize) -> u32 {
        match (i, Self::priority(i)) {
            (1, _) => 90,
            (_, Priority::EmergencyAlarm) => 60,
            (_, Priority::Alarm) => 120,
            _ => 600,
        }
    }

    fn tell(&mut self, i: usize, kind: EventKind) {
        self.events.entry(i).or_default().push((self.now_s, kind));
    }

    fn begin(&mut self, i: usize) {
        let caution = Self::priority(i) == Priority::Caution;
        let life = &mut self.lives[i];
        let again = life.state.is_some();
        if again && caution {
            return;
        }
        life.state =
            Some(if caution { AlertState::ActiveAcknowledged } else { AlertState::ActiveUnacknowledged });
        if !again {
            life.level = 0;
        }
        life.silent_for = None;
        life.repeat_in = (!caution).then(|| Self::repeats(i));
        life.escalate_in = (!caution && life.level < 2).then(|| Self::escalates(i));
        self.tell(i, if again { EventKind::Repeated } else { EventKind::Raised });
    }

    fn still(life: &mut Life) {
        (life.repeat_in, life.silent_for, life.escalate_in) = (None, None, None);
    }

    fn end(&mut self, i: usize) {
        if Self::priority(i) == Priority::EmergencyAlarm {
            return;
        }
        match self.lives[i].state {
            Some(AlertState::ActiveUnacknowledged | AlertState::ActiveSilenced) => {
                self.lives[i].state = Some(AlertState::RectifiedUnacknowledged);
                Self::still(&mut self.lives[i]);
                self.tell(i, EventKind::Rectified);
            }
            Some(AlertState::ActiveAcknowledged | AlertState::ResponsibilityTransferred) => self.clear(i),
            _ => {}
        }
    }

    fn clear(&mut self, i: usize) {
        self.lives[i].state = None;
        Self::still(&mut self.lives[i]);
        self.tell(i, EventKind::Cleared);
    }

    /// What an order's condition does after a value came or a second passed.
    fn judge(&mut self, i: usize) {
        let (held, over_for) = if i == 3 { (7, 4) } else { (0, 0) };
        let life = &mut self.lives[i];
        let Some(said) = life.said else { return };
        // Without an `until` of its own the condition ends where it does not hold.
        let ends = said == Said::No || (said == Said::Between && i != 3);
        if life.on {
            if !ends && said != Said::Unknown {
                life.falling_s = 0;
            } else if ends && life.falling_s >= over_for {
                life.on = false;
                (life.rising_s, life.falling_s) = (0, 0);
                self.end(i);
            }
        } else if said == Said::Yes {
            if life.rising_s >= held && life.rest_s == 0 {
                life.on = true;
                life.falling_s = 0;
                self.begin(i);
            }
        } else if said != Said::Unknown {
            life.rising_s = 0;
        }
    }

    fn second(&mut self) {
        self.now_s += 1;
        for i in 0..8 {
            let life = &mut self.lives[i];
            for counter in [&mut life.repeat_in, &mut life.silent_for, &mut life.escalate_in] {
                *counter = counter.map(|c| c.saturating_sub(1));
            }
            life.rest_s = life.rest_s.saturating_sub(1);
            let ends = life.said == Some(Said::No) || (life.said == Some(Said::Between) && i != 3);
            life.rising_s += u32::from(!life.on && life.said == Some(Said::Yes));
            life.falling_s += u32::from(life.on && ends);
        }
        (0..5).for_each(|i| self.judge(i));
        for i in 0..8 {
            let life = &mut self.lives[i];
            if life.escalate_in == Some(0) {
                life.level += 1;
                life.state = Some(AlertState::ActiveUnacknowledged);
                life.silent_for = None;
                life.repeat_in = Some(Self::repeats(i));
                life.escalate_in = (life.level < 2).then(|| Self::escalates(i));
                self.tell(i, EventKind::Escalated);
            } else if life.silent_for == Some(0) {
                life.silent_for = None;
                life.state = Some(AlertState::ActiveUnacknowledged);
                life.repeat_in = Some(Self::repeats(i));
                self.tell(i, EventKind::Repeated);
            } else if life.repeat_in == Some(0) {
                let acknowledged = life.state == Some(AlertState::ActiveAcknowledged);
                life.repeat_in = Some(if acknowledged { 300 } else { Self::repeats(i) });
                self.tell(i, EventKind::Repeated);
            }
        }
    }

    fn act(&mut self, act: &Act) {
        match *act {
            Act::Value(i, said) => {
                self.lives[i].said = Some(said);
                self.judge(i);
            }
            Act::Call(i) => self.begin(i),
            Act::Over(i) => self.end(i),
            Act::Acknowledge(i) => self.acknowledge(i),
            Act::Silence(i) => {
                let life = &mut self.lives[i];
                if matches!(life.state, Some(AlertState::ActiveUnacknowledged | AlertState::ActiveSilenced)) {
                    life.state = Some(AlertState::ActiveSilenced);
                    life.silent_for = Some(30);
                    life.repeat_in = None;
                    self.tell(i, EventKind::Silenced);
                }
            }
            Act::Transfer(i) => {
                let can = matches!(Self::priority(i), Priority::Warning | Priority::Alarm);
                let life = &mut self.lives[i];
                let active = matches!(
                    life.state,
                    Some(
                        AlertState::ActiveUnacknowledged
                            | AlertState::ActiveSilenced
                            | AlertState::ActiveAcknowledged
                    )
                );
                if can && active {
                    life.state = Some(AlertState::ResponsibilityTransferred);
                    Self::still(life);
                    self.tell(i, EventKind::Transferred);
                }
            }
            Act::StandDown(i) => {
                if self.lives[i].state.is_some() {
                    self.clear(i);
                }
            }
            Act::Pass(seconds) => (0..seconds).for_each(|_| self.second()),
        }
    }

    fn acknowledge(&mut self, i: usize) {
        let life = &mut self.lives[i];
        let done = match life.state {
            Some(
                AlertState::ActiveUnacknowledged
                | AlertState::ActiveSilenced
                | AlertState::ResponsibilityTransferred,
            ) => {
                life.state = Some(AlertState::ActiveAcknowledged);
                Self::still(life);
                life.repeat_in = (Self::priority(i) == Priority::EmergencyAlarm).then_some(300);
                self.tell(i, EventKind::Acknowledged);
                true
            }
            Some(AlertState::RectifiedUnacknowledged) => {
                self.tell(i, EventKind::Acknowledged);
                self.clear(i);
                true
            }
            _ => false,
        };
        if done && i == 4 {
            self.lives[i].rest_s = 200;
        }
    }
}

/// What must hold after any sequence.
fn invariants(real: &Real, acts: &[Act]) {
    let mut by_id: BTreeMap<AlertId, Vec<&AlertEvent>> = BTreeMap::new();
    for e in &real.events {
        by_id.entry(e.alert.id).or_default().push(e);
    }
    let stood_down = acts.iter().any(|a| matches!(a, Act::StandDown(_)));
    for (id, events) in &by_id {
        assert_eq!(events[0].kind, EventKind::Raised, "{id:?} begins by being raised");
        let seq: Vec<u32> = events.iter().map(|e| e.seq).collect();
        assert_eq!(seq, (1..=events.len() as u32).collect::<Vec<_>>(), "{id:?}: no event is lost");
        let cleared = events.iter().position(|e| e.kind == EventKind::Cleared);
        assert!(cleared.is_none_or(|c| c == events.len() - 1), "{id:?}: nothing after the end");
        assert_eq!(
            cleared.is_none(),
            real.board.alerts().any(|a| a.id == *id),
            "{id:?}: it stands until cleared"
        );
        let emergency = events[0].alert.priority == Priority::EmergencyAlarm;
        assert!(!(emergency && cleared.is_some()) || stood_down, "{id:?}: a person ends an emergency");
        for e in events {
            let fits = match e.kind {
                EventKind::Silenced => e.alert.state == AlertState::ActiveSilenced,
                EventKind::Rectified => e.alert.state == AlertState::RectifiedUnacknowledged,
                EventKind::Transferred => e.alert.state == AlertState::ResponsibilityTransferred,
                EventKind::Cleared => e.alert.state == AlertState::Normal,
                EventKind::Acknowledged => {
                    matches!(e.alert.state, AlertState::ActiveAcknowledged | AlertState::Normal)
                }
                _ => e.alert.is_active(),
            };
            assert!(fits, "{:?} leaves {:?}", e.kind, e.alert.state);
        }
    }
    for a in real.board.alerts() {
        assert!(by_id.contains_key(&a.id), "{:?} was raised without an event", a.id);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 600, ..ProptestConfig::default() })]

    #[test]
    fn the_board_and_the_naive_model_tell_the_same(acts in prop::collection::vec(act(), 1..60)) {
        let (mut real, mut again, mut model) = (Real::new(), Real::new(), Model::default());
        for act in &acts {
            real.act(act);
            again.act(act);
            model.act(act);
        }
        invariants(&real, &acts);
        for (i, name) in NAMES.iter().enumerate() {
            let told: Vec<(u32, EventKind)> = real
                .events
                .iter()
                .filter(|e| e.alert.order == *name)
                .map(|e| ((e.at.0 / 1000) as u32, e.kind))
                .collect();
            let expected = model.events.get(&i).cloned().unwrap_or_default();
            prop_assert_eq!(told, expected, "{} after {:?}", name, &acts);
        }
        // The same input gives the same events, to the byte.
        prop_assert_eq!(format!("{:?}", real.events), format!("{:?}", again.events));
    }
}
