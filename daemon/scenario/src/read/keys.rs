//! Keys several kinds of table share, and values only scenarios have.

use crate::plan::{Class, Span};
use form::{Key, Name, Nested, Table, Value, Word, Written, key};
use std::time::Duration;
use terms::{Mmsi, Moment, Position};

pub const AT: Key<Moment> = key("at", "when, from the start of the scenario").needed();
pub const MMSI: Key<Mmsi> = key("mmsi", "the identity").needed();
pub const NAME: Key<Name> = key("name", "the name").needed().most(60);
pub const SENT_NAME: Key<SixBit> = key("name", "the name as it is sent").most(20);
pub const CLASS: Key<Class> = key("class", "the class of the AIS set");
pub const NAV_STATUS: Key<u8> =
    key("nav_status", "navigational status as AIS numbers it").or("0").within("0", "15");
pub const POSITION: Key<Position> = key("position", "where it is").needed();
pub const COURSE: Key<f64> = key("course_deg", "course in degrees").within("0", "360");
pub const SPEED: Key<f64> = key("speed_kn", "speed in knots").within("0", "102.2");
pub const TURN: Key<f64> = key("turn_deg_min", "how fast she turns, in degrees a minute").within("1", "1200");
pub const DIMENSIONS: Key<Dimensions> =
    key("dimensions_m", "metres from the antenna to bow, stern, port and starboard");
pub const RANGE: Key<f64> = key("range_nm", "how far it is heard, in miles").within("0", "1000");
pub const SET: Key<f64> = key("set_deg", "where the water goes, in degrees").within("0", "360");
pub const DRIFT: Key<f64> = key("drift_kn", "how fast, in knots").within("0", "15");
pub const SILENT: Key<Nested> = key("silent", "when it sends nothing").most(100);
pub const NO_FIX: Key<Nested> = key("no_fix", "when it has no position by satellite").most(100);
const FROM: Key<Moment> = key("from", "when it begins").needed().example("0:30");
pub const UNTIL: Key<Moment> = key("until", "when it ends, if before the end of the scenario");

/// Text in the letters of AIS (ITU-R M.1371-5, annex 8, table 47: six bits, no small letters).
pub struct SixBit(pub String);

/// Metres from the reference point to bow, stern, port and starboard.
pub struct Dimensions(pub [u16; 4]);

impl Word for Class {
    const ALL: &'static [(&'static str, Self)] = &Class::ALL;
}

impl Written for SixBit {
    const EXAMPLE: &'static str = "WINDLESTRAW";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        let text = v
            .text()
            .map(str::to_uppercase)
            .filter(|text| !text.is_empty() && text.bytes().all(|b| (b' '..=b'_').contains(&b) && b != b'@'));
        text.map(Self).ok_or("the letters of AIS: A to Z, digits and the signs of six-bit text".into())
    }

    fn length(&self) -> Option<usize> {
        Some(self.0.len())
    }
}

impl Written for Dimensions {
    const EXAMPLE: &'static str = "[9, 3, 2, 2]";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        // Six and nine bits (ITU-R M.1371-5, annex 8, 3.3.3, figure 41).
        let fits = |(v, most): (Value<'_>, u16)| v.whole()?.try_into().ok().filter(|n| *n <= most);
        let list: Vec<_> = v.items().into_iter().flatten().collect();
        let metres: Option<Vec<u16>> = list.iter().cloned().zip([511, 511, 63, 63]).map(fits).collect();
        metres.filter(|_| list.len() == 4).and_then(|m| m.try_into().ok()).map(Self).ok_or(
            "four whole numbers of metres: to bow, stern (at most 511), port and starboard (at most 63)"
                .into(),
        )
    }
}

/// Stretches of time.
pub fn spans(t: &mut Table<'_>, key: &'static Key<Nested>) -> Vec<Span> {
    let span = |mut t: Table<'_>| {
        let (from, until) = (t.take(&FROM), t.take(&UNTIL));
        if from.zip(until).is_some_and(|(from, until)| until <= from) {
            t.wrong(&UNTIL, "`until` comes after `from`");
        }
        let until = if t.has(&UNTIL) { until } else { Some(Moment(i64::MAX)) };
        from.zip(until).map(|(from, until)| Span { from, until })
    };
    t.tables(key).into_iter().filter_map(span).collect()
}

/// A key that is a length of time, at most a day.
pub const fn time(name: &'static str, what: &'static str, default: &'static str) -> Key<Duration> {
    key(name, what).or(default).within("0 s", "24 h")
}
