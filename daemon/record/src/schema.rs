//! JSON Schema for types of other crates.

use crate::CallKind;
use lookout::casualty::{RelativeTo, Whose};
use lookout::{LightChange, Sky};
use rules::{AlertState, EventKind, Priority, Stage, Switch};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use std::borrow::Cow;
use std::marker::PhantomData;
use terms::{ClosedList, UtcSource};

/// Describes a closed list of words: `#[schemars(with = "OneOf<Priority>")]`.
pub struct OneOf<T>(PhantomData<T>);

/// A closed list of words that has a name in the schema.
pub trait Listed: ClosedList {
    /// Its name in the schema.
    const NAME: &'static str;
}

impl<T: Listed> JsonSchema for OneOf<T> {
    fn schema_name() -> Cow<'static, str> {
        T::NAME.into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let words: Vec<_> = T::WORDS.iter().map(|(word, _)| word).collect();
        json_schema!({"type": "string", "enum": words})
    }
}

impl Listed for Priority {
    const NAME: &'static str = "Priority";
}

impl Listed for AlertState {
    const NAME: &'static str = "AlertState";
}

impl Listed for EventKind {
    const NAME: &'static str = "EventKind";
}

impl Listed for Stage {
    const NAME: &'static str = "WatchAlarmStage";
}

impl Listed for Switch {
    const NAME: &'static str = "WatchAlarmSwitch";
}

impl Listed for CallKind {
    const NAME: &'static str = "CallKind";
}

impl Listed for RelativeTo {
    const NAME: &'static str = "RelativeTo";
}

impl Listed for Whose {
    const NAME: &'static str = "Whose";
}

impl Listed for Sky {
    const NAME: &'static str = "Sky";
}

impl Listed for LightChange {
    const NAME: &'static str = "LightChange";
}

impl Listed for UtcSource {
    const NAME: &'static str = "UtcSource";
}

/// A UTC time in the schema: RFC 3339 with milliseconds.
pub struct DateTime;

impl JsonSchema for DateTime {
    fn schema_name() -> Cow<'static, str> {
        "Utc".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": "string", "format": "date-time"})
    }
}
