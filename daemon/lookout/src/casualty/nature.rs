//! Natures of distress (ITU-R M.493) in words, for speech and for snapshots.

use sentence::Distress;
use serde::{Deserialize, Deserializer, Serializer, de};

/// Each with the words for it: what comes after "in distress".
const WORDS: [(Distress, &str); 12] = [
    (Distress::Fire, "fire or explosion"),
    (Distress::Flooding, "flooding"),
    (Distress::Collision, "collision"),
    (Distress::Grounding, "aground"),
    (Distress::Listing, "listing, in danger of capsizing"),
    (Distress::Sinking, "sinking"),
    (Distress::Adrift, "disabled and adrift"),
    (Distress::Undesignated, "nature not stated"),
    (Distress::Abandoning, "abandoning ship"),
    (Distress::Piracy, "piracy or armed attack"),
    (Distress::ManOverboard, "person overboard"),
    (Distress::EpirbEmission, "her EPIRB is sending"),
];

/// A nature in words.
pub(crate) fn words(nature: Distress) -> &'static str {
    WORDS.iter().find(|(n, _)| *n == nature).map_or("nature not stated", |(_, w)| w)
}

/// Writes the words.
pub(crate) fn serialize<S: Serializer>(nature: &Distress, s: S) -> Result<S::Ok, S::Error> {
    s.serialize_str(words(*nature))
}

/// Reads them back.
pub(crate) fn deserialize<'de, D: Deserializer<'de>>(d: D) -> Result<Distress, D::Error> {
    let text = String::deserialize(d)?;
    let found = WORDS.iter().find(|(_, w)| *w == text);
    found.map(|(n, _)| *n).ok_or_else(|| de::Error::custom("not a nature of distress"))
}
