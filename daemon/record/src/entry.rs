//! Entries of the logbook: what people and the daemon write into it beside the alerts.

/// Something that is written into the log and is no alert.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// What sort of entry.
    pub kind: EntryKind,
    /// Whose, where a name was given.
    pub who: Option<String>,
    /// In words.
    pub text: String,
    /// In figures, where the words do not say all.
    pub figures: Option<serde_json::Value>,
}

/// Sorts of entries.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum EntryKind {
    /// A remark of the crew.
    Note,
    /// The watch was handed over to `who`.
    Handover,
    /// What the vessel is doing, or the waters, was declared.
    Declared,
    /// Orders were read, or refused.
    Orders,
    /// A casualty was stood down by `who`; the text is the reason.
    StandDown,
    /// The daemon's own doings: begun, stopped, a step of UTC.
    Lookout,
    /// The departure check.
    DepartureCheck,
    /// A passage was begun or ended by command.
    Passage,
    /// An exercise.
    Drill,
}

impl EntryKind {
    /// As the column holds it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Handover => "handover",
            Self::Declared => "declared",
            Self::Orders => "orders",
            Self::StandDown => "stand-down",
            Self::Lookout => "lookout",
            Self::DepartureCheck => "departure check",
            Self::Passage => "passage",
            Self::Drill => "drill",
        }
    }
}
