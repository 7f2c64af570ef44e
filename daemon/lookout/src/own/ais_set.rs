//! What own AIS set reveals about its own health, by the alarms it sends and by falling silent.

use super::doubt::Trouble;
use std::collections::BTreeMap;
use std::time::Duration;
use terms::{FeedId, Mmsi, Moment};

/// Talker of an AIS set (IEC 61162-1 table of talkers).
const TALKER: [u8; 2] = *b"AI";
/// An alarm not repeated within this has ended: a set repeats it each half minute (IEC 61993-2, from memory).
const REPEATED_WITHIN: Duration = Duration::from_secs(120);

/// What an alarm number means, and which kind of trouble it is (IEC 61993-2 table of alarms, from memory). Alarms of
/// the set's own screen, and 14 (a search transmitter heard), are not faults of the set.
const fn meaning(number: u32) -> Option<(Trouble, &'static str)> {
    use Trouble::{SetReceives, SetSends, SetSensors};
    Some(match number {
        1 => (SetSends, "transmitter fails"),
        2 => (SetSends, "antenna or its cable is damaged (standing waves)"),
        3 => (SetReceives, "receiver of the first channel fails"),
        4 => (SetReceives, "receiver of the second channel fails"),
        5 => (SetReceives, "receiver of channel 70 fails"),
        6 => (SetSends, "general failure"),
        7 => (SetSensors, "has no UTC to keep its slots by"),
        9 => (SetSensors, "its own and the boat's positions differ"),
        10 => (SetSensors, "navigational status does not fit the speed"),
        11 => (SetSensors, "heading and course differ for long"),
        25 => (SetSensors, "position of the boat's receiver is lost"),
        26 => (SetSensors, "has no position to send"),
        29 => (SetSensors, "has no speed to send"),
        30 => (SetSensors, "has no course to send"),
        32 => (SetSensors, "has no heading to send"),
        35 => (SetSensors, "has no rate of turn to send"),
        _ => return None,
    })
}

/// Alarms own AIS set keeps up. At most as many as have a meaning.
#[derive(Debug, Clone, Default)]
pub(super) struct SetAlarms {
    active: BTreeMap<u32, Moment>,
}

impl SetAlarms {
    /// Takes an alarm from a talker's device, and whether its condition holds.
    pub fn hear(&mut self, at: Moment, talker: Option<[u8; 2]>, number: Option<u32>, holds: Option<char>) {
        let Some(number) = number.filter(|&n| talker == Some(TALKER) && meaning(n).is_some()) else { return };
        match holds {
            Some('A') => drop(self.active.insert(number, at)),
            Some('V') => drop(self.active.remove(&number)),
            _ => {}
        }
    }

    /// The alarms of one kind, in words.
    pub fn say(&self, at: Moment, kind: Trouble) -> Option<String> {
        let held = self.active.iter().filter(|(_, heard)| at.since(**heard) <= REPEATED_WITHIN);
        let all: Vec<&str> = held
            .filter_map(|(&n, _)| meaning(n).filter(|(t, _)| *t == kind).map(|(_, words)| words))
            .collect();
        (!all.is_empty()).then(|| format!("own AIS set reports: {}", all.join("; ")))
    }

    /// When each of them ends if it is not sent again.
    pub fn ends(&self) -> impl Iterator<Item = Moment> + '_ {
        self.active.values().map(|&heard| heard + REPEATED_WITHIN + Duration::from_millis(1))
    }
}

/// Once this many ships have been heard within `SHIPS_WITHIN` of one another, silence from all means something: by the
/// end of `SHIPS_SILENT_AFTER` each has let at least two reports fall due (ITU-R M.1371-5 Annex 1 tables 1 and 2: every
/// 3 min at anchor, 10 s and less under way, 30 s and less for class B under way).
const SHIPS: usize = 3;
/// See there.
const SHIPS_WITHIN: Duration = Duration::from_secs(60);
/// See there.
const SHIPS_SILENT_AFTER: Duration = Duration::from_secs(360);

/// How often to look after ships that should still be heard, and for how long after the last report of any: by then a ship
/// has gone another way.
const LOOKED_EVERY: Duration = Duration::from_secs(30);
const SHOULD_BE_HEARD_FOR: Duration = Duration::from_secs(20 * 60);

/// The last ships heard, to tell a deaf receiver from an empty sea.
#[derive(Debug, Clone, Default)]
pub(crate) struct ShipsHeard {
    last: [Option<(Mmsi, Moment)>; SHIPS],
    feed: Option<FeedId>,
    told: bool,
    /// When to look next whether ships that should be heard are not; never before any was heard.
    look_at: Option<Moment>,
    /// What says that the receiver is deaf; empty while nothing does.
    pub deaf: Option<String>,
}

impl ShipsHeard {
    /// Records that a ship was heard.
    pub fn hear(&mut self, at: Moment, feed: FeedId, mmsi: Mmsi) {
        self.feed = Some(feed);
        self.told = false;
        self.look_at = Some(at + SHIPS_SILENT_AFTER);
        self.deaf = None;
        let same = self.last.iter().position(|s| s.is_some_and(|(m, _)| m == mmsi));
        // Otherwise in the place of the one heard longest ago; an empty place goes before any.
        let place = same.or_else(|| (0..SHIPS).min_by_key(|&n| self.last[n].map(|(_, heard)| heard)));
        if let Some(slot) = place.and_then(|n| self.last.get_mut(n)) {
            *slot = Some((mmsi, at));
        }
    }

    /// When one was last heard; `None` before the first.
    pub fn last_heard(&self) -> Option<Moment> {
        self.last.iter().flatten().map(|(_, heard)| *heard).max()
    }

    /// When silence is reported if no ship is heard until then: never if few were heard, or far apart in time.
    pub fn silent_at(&self) -> Option<Moment> {
        let heard = self.last.map(|s| s.map(|(_, heard)| heard));
        let first = heard.into_iter().min().flatten()?;
        let last = heard.into_iter().max().flatten()?;
        (!self.told && last.since(first) <= SHIPS_WITHIN).then(|| last + SHIPS_SILENT_AFTER)
    }

    /// When to look next whether ships that should still be heard are not.
    pub fn look_at(&self) -> Option<Moment> {
        self.look_at
    }

    /// Whether it is time to look; returns when the last ship was heard, and by which feed.
    pub fn should_look(&mut self, at: Moment) -> Option<(Moment, FeedId)> {
        self.look_at.filter(|due| *due <= at)?;
        let last = self.last.iter().flatten().map(|(_, heard)| *heard).max()?;
        self.look_at = Some(at + LOOKED_EVERY).filter(|_| at.since(last) < SHOULD_BE_HEARD_FOR);
        Some((last, self.feed?))
    }

    /// When the last ship was heard, and by which feed, once in a silence that means something.
    pub fn fell_silent(&mut self, at: Moment) -> Option<(Moment, FeedId)> {
        let due = self.silent_at().filter(|&due| due <= at)?;
        self.told = true;
        Some((due - SHIPS_SILENT_AFTER, self.feed?))
    }
}
