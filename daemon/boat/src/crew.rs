//! `[[crew]]`: who is aboard.

use crate::each;
use form::{Key, Name, Nested, Table, key};
use terms::{Day, Mmsi};

const CREW: Key<Nested> = key("crew", "somebody aboard").most(64);
const NAME: Key<Name> = key("name", "the name, as it is called out").needed().example("Ada").most(60);
const BEACON: Key<Mmsi> = key(
    "beacon",
    "identity of the life jacket's AIS beacon: raises the emergency whatever its first digits are",
)
.example("972000001");
const UNTIL: Key<Day> =
    key("until", "the last day of the beacon's battery; a month means its last day").example("2027-01");

/// A member of the crew.
#[derive(Debug, Clone)]
pub struct Crew {
    /// The name to call out.
    pub name: String,
    /// MMSI of the life jacket's beacon.
    pub beacon: Option<Mmsi>,
    /// The last day its battery is good.
    pub until: Option<Day>,
}

pub(crate) fn crew(t: &mut Table<'_>) -> Option<Vec<Crew>> {
    let mut without = Vec::new();
    let crew = each(t, &CREW, |mut t| {
        let (name, beacon, until) = (t.take(&NAME), t.take(&BEACON), t.take(&UNTIL));
        if let Some(name) = &name {
            t.once(&NAME, "crew member", &name.0);
        }
        if let Some(beacon) = &beacon {
            t.once(&BEACON, "beacon", &beacon.to_string());
        }
        t.belongs(&UNTIL, &BEACON);
        if !t.has(&BEACON) {
            without.push(t.at(&NAME));
        }
        Some(Crew { name: name?.0, beacon, until })
    })?;
    if let ([at], 2..) = (&without[..], crew.len()) {
        t.warn_at(at.clone(), "everybody else has a `beacon`");
    }
    Some(crew)
}
