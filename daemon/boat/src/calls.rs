//! `[calls]`: which messages received by radio are announced.

use form::{Key, Nested, Table, key};

const CALLS: Key<Nested> = key("calls", "which messages received by radio are announced; all are logged");
const STATIONS: Key<String> =
    key("navtex_stations", "letters of the NAVTEX transmitters; unless given, all").example("DEFG").most(26);
const SUBJECTS: Key<String> = key(
    "navtex_subjects",
    "letters of the NAVTEX subjects; unless given, all. A, B, D, L and number 00 are announced in any case, whoever sends them",
)
.example("CEJ")
.most(26);

/// Which received messages are announced.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Calls {
    /// Letters of NAVTEX transmitters; `None` for all.
    pub navtex_stations: Option<String>,
    /// Letters of NAVTEX subjects; `None` for all.
    pub navtex_subjects: Option<String>,
}

impl Calls {
    /// Whether an ordinary NAVTEX message of a transmitter and subject is announced.
    pub fn announces(&self, station: char, subject: char) -> bool {
        let has = |letters: &Option<String>, letter| letters.as_ref().is_none_or(|l| l.contains(letter));
        has(&self.navtex_stations, station) && has(&self.navtex_subjects, subject)
    }
}

pub(crate) fn calls(t: &mut Table<'_>) -> Option<Calls> {
    let Some(mut t) = t.table(&CALLS) else { return Some(Calls::default()) };
    let mut letters = |key: &'static Key<String>| {
        let letters: Option<String> = t.take(key);
        if letters.as_ref().is_some_and(|l| !l.bytes().all(|b| b.is_ascii_uppercase())) {
            t.wrong(
                key,
                format!("`{}` takes capital letters from A to Z without anything between", key.name()),
            );
        }
        letters
    };
    Some(Calls { navtex_stations: letters(&STATIONS), navtex_subjects: letters(&SUBJECTS) })
}
