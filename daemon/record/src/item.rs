//! What an alert is about and what it comes from, in plain words.

use rules::{BuiltIn, Origin};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;
use terms::{CallId, CasualtyId, Mmsi};
use thiserror::Error;

/// The subject of an alert. It is written as one text: a word, followed by a name or number if there can be several,
/// such as `feed bow wind` or `casualty 3`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub enum Item {
    /// Own vessel.
    OwnVessel,
    /// Her position by satellite.
    Fix,
    /// The time.
    Clock,
    /// The AIS receiver.
    Ais,
    /// Her own AIS transmitter.
    Transmitter,
    /// Compass and log.
    Instruments,
    /// A feed, by its name.
    Feed(String),
    /// Another station, heard by AIS.
    Target(Mmsi),
    /// A person overboard or a distress beacon.
    Casualty(CasualtyId),
    /// A call or message received by radio.
    Call(CallId),
    /// An order, by its name.
    Order(String),
    /// The orders as a whole.
    Orders,
    /// Gear and batteries with a date.
    Gear,
    /// A signal, by its name.
    Signal(String),
    /// A button, by its name.
    Button(String),
    /// The line that shows that the watch is alive.
    Heartbeat,
    /// The logbook on disk.
    Logbook,
    /// The recording of sentences.
    Recording,
    /// The control socket and control over TCP.
    Control,
    /// The watchkeeper.
    Watch,
    /// The lookout as a whole.
    Lookout,
}

/// Items that exist only once, and their words.
const SINGLE: [(Item, &str); 14] = [
    (Item::OwnVessel, "own vessel"),
    (Item::Fix, "fix"),
    (Item::Clock, "clock"),
    (Item::Ais, "AIS"),
    (Item::Transmitter, "own transmitter"),
    (Item::Instruments, "instruments"),
    (Item::Orders, "orders"),
    (Item::Gear, "gear"),
    (Item::Heartbeat, "heartbeat line"),
    (Item::Logbook, "logbook"),
    (Item::Recording, "recording"),
    (Item::Control, "control"),
    (Item::Watch, "watch"),
    (Item::Lookout, "lookout"),
];

impl fmt::Display for Item {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Feed(name) => write!(f, "feed {name}"),
            Self::Target(mmsi) => write!(f, "target {mmsi}"),
            Self::Casualty(id) => write!(f, "casualty {}", id.0),
            Self::Call(id) => write!(f, "call {}", id.0),
            Self::Order(name) => write!(f, "order {name}"),
            Self::Signal(name) => write!(f, "signal {name}"),
            Self::Button(name) => write!(f, "button {name}"),
            single => f.write_str(SINGLE.iter().find(|(i, _)| i == single).map_or("", |(_, word)| word)),
        }
    }
}

/// A text that names no item.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("`{0}` is nothing that an alert can be about")]
pub struct NoItem(String);

impl FromStr for Item {
    type Err = NoItem;

    fn from_str(text: &str) -> Result<Self, NoItem> {
        if let Some((item, _)) = SINGLE.iter().find(|(_, word)| *word == text) {
            return Ok(item.clone());
        }
        let none = || NoItem(text.to_owned());
        let (word, name) = text.split_once(' ').ok_or_else(none)?;
        let named = || name.to_owned();
        match word {
            "feed" => Some(Self::Feed(named())),
            "target" => name.parse().ok().and_then(Mmsi::new).map(Self::Target),
            "casualty" => name.parse().ok().map(|n| Self::Casualty(CasualtyId(n))),
            "call" => name.parse().ok().map(|n| Self::Call(CallId(n))),
            "order" => Some(Self::Order(named())),
            "signal" => Some(Self::Signal(named())),
            "button" => Some(Self::Button(named())),
            _ => None,
        }
        .ok_or_else(none)
    }
}

impl From<Item> for String {
    fn from(item: Item) -> Self {
        item.to_string()
    }
}

impl TryFrom<String> for Item {
    type Error = NoItem;

    fn try_from(text: String) -> Result<Self, NoItem> {
        text.parse()
    }
}

/// What an alert comes from. The name of the order or built-in alert stands beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ComesFrom {
    /// A built-in condition.
    BuiltIn,
    /// A standing order.
    Order,
    /// An order that cannot be judged.
    Unjudged,
    /// An order that concerns more than are announced one by one.
    Crowd,
    /// An exercise of an order or a built-in alert.
    Exercise,
    /// A remark of the lookout, no alert.
    Note,
}

impl ComesFrom {
    /// All of them.
    pub const ALL: [Self; 6] =
        [Self::BuiltIn, Self::Order, Self::Unjudged, Self::Crowd, Self::Exercise, Self::Note];

    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::BuiltIn => "built-in",
            Self::Order => "order",
            Self::Unjudged => "unjudged",
            Self::Crowd => "crowd",
            Self::Exercise => "exercise",
            Self::Note => "note",
        }
    }

    /// The origin that a word names.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.word() == word)
    }

    /// The built-in alert of this name, if the alert comes from one.
    pub fn built_in(self, name: &str) -> Option<BuiltIn> {
        (self == Self::BuiltIn).then(|| BuiltIn::named(name)).flatten()
    }
}

impl From<&Origin> for ComesFrom {
    fn from(origin: &Origin) -> Self {
        match origin {
            Origin::BuiltIn(_) => Self::BuiltIn,
            Origin::Order(_) => Self::Order,
            Origin::Unjudged(_) => Self::Unjudged,
            Origin::Crowd(_) => Self::Crowd,
            Origin::Exercise(_) => Self::Exercise,
            Origin::Note(_) => Self::Note,
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
    use super::*;

    #[test]
    fn each_item_is_read_back_from_its_words() {
        let named = |name: &str| {
            let name = name.to_owned();
            [Item::Feed, Item::Order, Item::Signal, Item::Button].map(|item| item(name.clone()))
        };
        let mut items: Vec<Item> = SINGLE.iter().map(|(item, _)| item.clone()).collect();
        for name in ["nav: aft", "fix", "order ", "feed  nav", "", "line\nbreak", "ÆØÅ"] {
            items.extend(named(name));
        }
        items.push(Item::Target(Mmsi::new(2_111_111).unwrap()));
        items.push(Item::Casualty(CasualtyId(12)));
        items.push(Item::Call(CallId(4)));
        for item in items {
            assert!(!item.to_string().is_empty());
            assert_eq!(item.to_string().parse(), Ok(item.clone()));
            let json = serde_json::to_string(&item).unwrap();
            assert_eq!(serde_json::from_str::<Item>(&json).unwrap(), item);
        }
        for wrong in ["", "feed", "target", "target x", "casualty -1", "kite 3", "Fix"] {
            assert!(wrong.parse::<Item>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn what_an_alert_comes_from_is_one_word() {
        for c in ComesFrom::ALL {
            assert_eq!(serde_json::to_value(c).unwrap(), c.word());
            assert_eq!(ComesFrom::named(c.word()), Some(c));
        }
        assert_eq!(ComesFrom::BuiltIn.built_in("fix lost"), Some(BuiltIn::FixLost));
        assert_eq!(ComesFrom::Order.built_in("fix lost"), None, "an order may be called so");
    }
}
