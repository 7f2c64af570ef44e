//! What the crew declares: what the vessel is doing, the waters she is in, and the visibility. Never guessed.

use serde::{Deserialize, Serialize};
use std::fmt;

terms::closed_list! {
    /// What the vessel is doing.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
    pub enum Doing {
        /// Driven by the wind alone.
        UnderSail = "under sail",
        /// Driven by the engine.
        UnderPower = "under power",
        /// Hove to: under way but making little or no way.
        HoveTo = "hove to",
        /// By her own anchor.
        AtAnchor = "at anchor",
        /// To a buoy, a pile or the shore.
        Moored = "moored",
    }
}

terms::closed_list! {
    /// The waters she is in.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
    pub enum Waters {
        /// Far from land, off soundings.
        Ocean = "ocean",
        /// Near land.
        Coastal = "coastal",
    }
}

terms::closed_list! {
    /// The visibility.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
    pub enum Visibility {
        /// Vessels see one another.
        Good = "good visibility",
        /// Fog, mist, falling snow, heavy rain and the like (COLREG rule 3 l).
        Restricted = "restricted visibility",
    }
}

/// One declaration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Declared {
    /// What she is doing.
    Doing(Doing),
    /// The waters.
    Waters(Waters),
    /// The visibility.
    Visibility(Visibility),
}

/// All that is declared; `None` for each kind of which nothing is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Declarations {
    /// What she is doing.
    pub doing: Option<Doing>,
    /// In which waters.
    pub waters: Option<Waters>,
    /// The visibility.
    #[serde(default)]
    pub visibility: Option<Visibility>,
}

impl Declarations {
    /// Replaces the declaration of the same kind.
    pub const fn take(&mut self, declared: Declared) {
        match declared {
            Declared::Doing(d) => self.doing = Some(d),
            Declared::Waters(w) => self.waters = Some(w),
            Declared::Visibility(v) => self.visibility = Some(v),
        }
    }

    /// The declarations there are.
    pub fn iter(&self) -> impl Iterator<Item = Declared> {
        let kinds = [
            self.doing.map(Declared::Doing),
            self.waters.map(Declared::Waters),
            self.visibility.map(Declared::Visibility),
        ];
        kinds.into_iter().flatten()
    }
}

impl Declared {
    /// All of them.
    pub fn all() -> impl Iterator<Item = Self> {
        let doing = Doing::ALL.into_iter().map(Self::Doing);
        let waters = Waters::ALL.into_iter().map(Self::Waters);
        doing.chain(waters).chain(Visibility::ALL.into_iter().map(Self::Visibility))
    }

    /// Its name, as written in files and typed.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Doing(d) => d.word(),
            Self::Waters(w) => w.word(),
            Self::Visibility(v) => v.word(),
        }
    }

    /// The declaration of that name; hyphens count as spaces.
    pub fn named(name: &str) -> Option<Self> {
        let name = name.trim().replace('-', " ").to_lowercase();
        Self::all().find(|d| d.name() == name)
    }
}

impl fmt::Display for Declared {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
