//! Kinds of batteries, and the voltage at which each is low.

crate::closed_list! {
    /// What the battery is made of.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum BatteryKind {
        /// Lead with liquid acid.
        Lead = "lead",
        /// Lead with the acid in glass mats.
        Agm = "agm",
        /// Lead with the acid in a gel.
        Gel = "gel",
        /// Lithium iron phosphate, four cells in series.
        LithiumIron = "lifepo4",
    }
}

impl BatteryKind {
    /// The voltage of a battery of 12 V, at rest or lightly loaded, at which it is low: one of lead is half empty, below which
    /// it ages fast, and one of lithium iron has a tenth left, before its voltage falls away (makers' tables, from memory;
    /// they differ by a tenth of a volt).
    pub const fn low_v(self) -> f64 {
        match self {
            Self::Lead => 12.1,
            Self::Agm => 12.2,
            Self::Gel => 12.3,
            Self::LithiumIron => 12.8,
        }
    }
}
