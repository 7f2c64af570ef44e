//! How types of other crates are described in JSON Schema.

use lookout::casualty::RelativeTo;
use rules::{AlertState, EventKind, Priority, Stage, Switch};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Serialize;
use std::borrow::Cow;
use std::marker::PhantomData;
use terms::UtcSource;

/// Stands for a closed list of words in a description: `#[schemars(with = "OneOf<Priority>")]`.
pub struct OneOf<T>(PhantomData<T>);

/// A type that is written as one of a few words.
pub trait Listed: Serialize + Sized + 'static {
    /// What the list is called in the description.
    const NAME: &'static str;
    /// All of its words.
    const ALL: &'static [Self];
}

impl<T: Listed> JsonSchema for OneOf<T> {
    fn schema_name() -> Cow<'static, str> {
        T::NAME.into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let words: Vec<_> = T::ALL.iter().filter_map(|word| serde_json::to_value(word).ok()).collect();
        json_schema!({"type": "string", "enum": words})
    }
}

impl Listed for Priority {
    const NAME: &'static str = "Priority";
    const ALL: &'static [Self] = &Self::ALL;
}

impl Listed for AlertState {
    const NAME: &'static str = "AlertState";
    const ALL: &'static [Self] = &[
        Self::ActiveUnacknowledged,
        Self::ActiveSilenced,
        Self::ActiveAcknowledged,
        Self::ResponsibilityTransferred,
        Self::RectifiedUnacknowledged,
        Self::Normal,
    ];
}

impl Listed for EventKind {
    const NAME: &'static str = "EventKind";
    const ALL: &'static [Self] = &[
        Self::Raised,
        Self::Repeated,
        Self::Escalated,
        Self::Silenced,
        Self::Acknowledged,
        Self::Transferred,
        Self::Rectified,
        Self::Cleared,
        Self::Noted,
    ];
}

impl Listed for Stage {
    const NAME: &'static str = "WatchAlarmStage";
    const ALL: &'static [Self] =
        &[Self::Off, Self::Dormant, Self::Visual, Self::First, Self::Second, Self::Third];
}

impl Listed for Switch {
    const NAME: &'static str = "WatchAlarmSwitch";
    const ALL: &'static [Self] = &[Self::Automatic, Self::On, Self::Off];
}

impl Listed for RelativeTo {
    const NAME: &'static str = "RelativeTo";
    const ALL: &'static [Self] = &[Self::Heading, Self::Cog];
}

impl Listed for UtcSource {
    const NAME: &'static str = "UtcSource";
    const ALL: &'static [Self] = &[Self::Satellite, Self::System];
}

/// A moment of UTC in a description: RFC 3339 with milliseconds.
pub struct DateTime;

impl JsonSchema for DateTime {
    fn schema_name() -> Cow<'static, str> {
        "Utc".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": "string", "format": "date-time"})
    }
}
