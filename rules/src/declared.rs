//! What the crew declares: what the vessel is doing and in which waters. Never guessed from speed.

use serde::{Deserialize, Serialize};
use std::fmt;

/// What the vessel is doing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Doing {
    /// By the wind alone.
    UnderSail,
    /// The engine drives.
    UnderPower,
    /// Lying to the sea, yet under way.
    HoveTo,
    /// By her own anchor.
    AtAnchor,
    /// To a buoy, a pile or the shore.
    Moored,
}

/// The waters she is in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Waters {
    /// Far from land, off soundings.
    Ocean,
    /// Near land.
    Coastal,
}

/// One declaration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Declared {
    /// What she is doing.
    Doing(Doing),
    /// Where.
    Waters(Waters),
}

impl Declared {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::Doing(Doing::UnderSail),
        Self::Doing(Doing::UnderPower),
        Self::Doing(Doing::HoveTo),
        Self::Doing(Doing::AtAnchor),
        Self::Doing(Doing::Moored),
        Self::Waters(Waters::Ocean),
        Self::Waters(Waters::Coastal),
    ];

    /// As it is written.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Doing(Doing::UnderSail) => "under sail",
            Self::Doing(Doing::UnderPower) => "under power",
            Self::Doing(Doing::HoveTo) => "hove to",
            Self::Doing(Doing::AtAnchor) => "at anchor",
            Self::Doing(Doing::Moored) => "moored",
            Self::Waters(Waters::Ocean) => "ocean",
            Self::Waters(Waters::Coastal) => "coastal",
        }
    }

    /// The declaration of that name; hyphens count as spaces.
    pub fn named(name: &str) -> Option<Self> {
        let name = name.trim().replace('-', " ").to_lowercase();
        Self::ALL.into_iter().find(|d| d.name() == name)
    }
}

impl fmt::Display for Declared {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
