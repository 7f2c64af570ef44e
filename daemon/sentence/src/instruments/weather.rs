//! Weather and transducers: MTW, MDA, XDR.

use crate::fields::{direction, letter, number, speed, within, words};
use crate::instruments::KN_PER_M_S;
use crate::library;
use crate::report::{Report, Transducer, Weather};
use crate::sentence::Sentence;

/// Hectopascals in an inch of mercury at 0 °C (the conventional value, 3386.389 Pa).
const HPA_PER_INHG: f64 = 33.863_89;
/// Hectopascals in a bar.
const HPA_PER_BAR: f64 = 1000.0;

fn air(field: &[u8]) -> Option<f64> {
    within(field, -100.0, 100.0)
}

fn water(field: &[u8]) -> Option<f64> {
    within(field, -10.0, 100.0)
}

/// MTW: water temperature, C.
pub(super) fn mtw(sentence: &Sentence<'_>) -> Weather {
    let [temperature, unit] = sentence.first();
    // Our reading decides whether it is a number within bounds at all, the library its value.
    let celsius = water(temperature).filter(|_| matches!(letter(unit), Some(b'C') | None));
    let read = celsius.and_then(|_| library::mtw(sentence));
    Weather { water_temperature_c: read.and_then(|read| read.temperature), ..Weather::default() }
}

/// MDA: pressure in inches of mercury, I, in bars, B, air temperature, C, water temperature, C, relative humidity,
/// absolute humidity, dew point, C, wind direction true, T, magnetic, M, speed in knots, N, in m/s, M.
pub(super) fn mda(sentence: &Sentence<'_>) -> Weather {
    let [inches, _, bars, _, air_c, _, water_c, _, _, _, _, _, wind, _, _, _, kn, _, m_s] = sentence.first();
    let pressure =
        |field, factor: f64| number(field).map(|n| n * factor).filter(|hpa| (800.0..=1100.0).contains(hpa));
    Weather {
        // The bars are written to a tenth of a hectopascal or finer, the inches to a third.
        pressure_hpa: pressure(bars, HPA_PER_BAR).or_else(|| pressure(inches, HPA_PER_INHG)),
        air_temperature_c: air(air_c),
        water_temperature_c: water(water_c),
        wind_direction_deg: direction(wind),
        wind_speed_kn: speed(kn, 1.0).or_else(|| speed(m_s, KN_PER_M_S)),
    }
}

/// XDR: any number of type, value, unit, name. One without type or value is skipped.
pub(super) fn xdr(sentence: &Sentence<'_>) -> Report {
    let mut fields = sentence.fields();
    let mut transducers = Vec::new();
    // The line's length bounds the turns.
    while let Some(kind) = fields.next() {
        let [value, unit, name] = std::array::from_fn(|_| fields.next().unwrap_or_default());
        if let (Some(kind), Some(value)) = (letter(kind), number(value)) {
            transducers.push(Transducer {
                kind: kind.into(),
                value,
                unit: letter(unit).map(char::from),
                name: words(name).unwrap_or_default(),
            });
        }
    }
    Report::Transducers { transducers }
}
