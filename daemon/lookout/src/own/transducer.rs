//! Named transducers (XDR), and which of own vessel's quantities they measure.

use sentence::Transducer;
use std::collections::BTreeMap;
use terms::{Dimension, Moment, Quantity, Reading, Value};

/// Named transducers kept; any more are ignored.
const TRANSDUCERS_MAX: usize = 64;

/// What one transducer last said, in its dimension's own unit.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Said {
    dimension: Dimension,
    value: f64,
    at: Moment,
}

/// All transducers by name.
#[derive(Debug, Clone, Default)]
pub(crate) struct Transducers {
    said: BTreeMap<String, Said>,
}

impl Transducers {
    /// Takes a measurement; its dimension and value in that dimension's own unit.
    pub fn hear(&mut self, at: Moment, t: &Transducer) -> Option<(Dimension, f64)> {
        let (dimension, value) = measured(t)?;
        let room = self.said.len() < TRANSDUCERS_MAX || self.said.contains_key(&t.name);
        if room && !t.name.is_empty() {
            self.said.insert(t.name.clone(), Said { dimension, value, at });
        }
        Some((dimension, value))
    }

    /// What a transducer last said, its name in letters of either case.
    pub fn reading(&self, name: &str) -> Option<(Dimension, Reading)> {
        let said = self.said.get(name).or_else(|| {
            let (_, said) = self.said.iter().find(|(n, _)| n.eq_ignore_ascii_case(name))?;
            Some(said)
        })?;
        Some((said.dimension, Reading { value: Some(Value::Number(said.value)), heard: Some(said.at) }))
    }
}

/// By the type and unit letters of IEC 61162-1 (from memory): C temperature in °C; P pressure in bar or pascal;
/// U voltage in volts; A angle in degrees; D depth or length in metres; others are plain numbers.
fn measured(t: &Transducer) -> Option<(Dimension, f64)> {
    let (dimension, value) = match (t.kind.to_ascii_uppercase(), t.unit.map(|u| u.to_ascii_uppercase())) {
        ('C', Some('F')) => (Dimension::Temperature, (t.value - 32.0) * 5.0 / 9.0),
        ('C', Some('K')) => (Dimension::Temperature, t.value - 273.15),
        ('C', _) => (Dimension::Temperature, t.value),
        ('P', Some('B')) => (Dimension::Pressure, t.value * 1000.0),
        ('P', Some('P')) => (Dimension::Pressure, t.value / 100.0),
        ('U', _) => (Dimension::Voltage, t.value),
        ('A', Some('D')) => (Dimension::Side, t.value),
        ('D', Some('M')) => (Dimension::Length, t.value),
        _ => (Dimension::Number, t.value),
    };
    (value.abs() < 1e9).then_some((dimension, value))
}

/// Own vessel's quantity that a transducer measures, by the words in its name; one without such a word is known only by
/// its name. A pressure must be one the air can have.
pub(crate) fn quantity_of(name: &str, dimension: Dimension, value: f64) -> Option<Quantity> {
    let name = name.to_ascii_lowercase();
    let says = |words: &[&str]| words.iter().any(|w| name.contains(w));
    match dimension {
        Dimension::Pressure => {
            let named = name.is_empty() || says(&["baro", "air", "atmos", "press"]);
            (named && !says(&["oil", "fuel", "boost"]) && (850.0..1100.0).contains(&value))
                .then_some(Quantity::Pressure)
        }
        Dimension::Temperature if says(&["water", "sea"]) => Some(Quantity::WaterTemperature),
        Dimension::Temperature if says(&["air", "outside", "ambient"]) => Some(Quantity::AirTemperature),
        Dimension::Voltage if says(&["batt", "house", "service"]) => Some(Quantity::BatteryVoltage),
        _ => None,
    }
}
