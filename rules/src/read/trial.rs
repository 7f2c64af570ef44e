//! A trial of the orders, as the file tells it.

use super::fields::{At, Complaints, Fields, article, number_of};
use super::measure::measure_alone;
use super::number::{Tokens, in_own_unit};
use super::phrase::{self, Marks, PhraseError, Read, did_you_mean, error};
use crate::condition::Measure;
use crate::declared::Declared;
use crate::order::Order;
use crate::trial::{Heard, Step, Trial};
use std::ops::Range;
use std::sync::Arc;
use std::time::Duration;
use terms::{Dimension, Position, Quantity, Utc, Value};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// What a trial may hold.
const FIELDS: &[&str] = &["name", "steps", "glide", "every", "utc", "calls"];
/// What a step may hold besides quantities.
const OF_A_STEP: &[&str] = &["at", "target", "feed", "gone", "acknowledge", "declare", "standing"];
/// The most steps of a trial.
const MOST_STEPS: usize = 1000;
/// The longest trial.
const LONGEST: Duration = Duration::from_secs(14 * 86_400);
/// How often a value is heard, if the trial does not say.
const EVERY: Duration = Duration::from_secs(10);

/// Reads the trials of one file.
pub struct Reader<'r, 'f> {
    /// Marks that may be named.
    pub marks: &'r Marks,
    /// The orders on trial.
    pub orders: &'r [Arc<Order>],
    /// Where problems go.
    pub complaints: &'r mut Complaints<'f>,
}

impl Reader<'_, '_> {
    /// One trial, or `None` where something is wrong with it (and told).
    pub fn trial(&mut self, table: &DeTable<'_>, span: Range<usize>) -> Option<Trial> {
        let f = Fields::of(table, span, FIELDS, self.complaints);
        let name = f.required("name", self.complaints)?.0.to_owned();
        let every = f.duration("every", self.complaints).unwrap_or(EVERY);
        if every < Duration::from_secs(1) {
            self.complaints.add(f.get("every").map_or(f.span(), Spanned::span), "every is shorter than 1 s");
        }
        let glide = f.get("glide").is_some_and(|v| match v.get_ref().as_bool() {
            Some(b) => b,
            None => {
                self.complaints
                    .add(v.span(), format!("glide is true or false, not {}", article(v.get_ref())));
                false
            }
        });
        let utc = f.string("utc", self.complaints).and_then(|(text, span)| {
            let utc = Utc::parse(text);
            if utc.is_none() {
                let message = format!("\"{text}\" is no time; expected one such as 2026-11-01T02:14:07Z");
                self.complaints.add(span, message);
            }
            utc
        });
        let calls = self.calls(&f);
        let steps = self.steps(&f)?;
        let longest = steps.last().map_or(Duration::ZERO, |s| s.at);
        if longest > LONGEST || longest.as_secs() / every.as_secs().max(1) > 200_000 {
            self.complaints
                .add(f.span(), "the trial is too long; it lasts at most 14 d and 200000 times every");
            return None;
        }
        Some(Trial { name, every: every.max(Duration::from_secs(1)), glide, utc, calls, steps })
    }

    fn order_named(&mut self, name: &str, span: Range<usize>) -> String {
        match self.orders.iter().find(|o| o.name.eq_ignore_ascii_case(name)) {
            Some(o) => o.name.clone(),
            None => {
                let hint = did_you_mean(name, self.orders.iter().map(|o| o.name.as_str()));
                self.complaints.add(span, format!("no order is named \"{name}\"{hint}"));
                name.to_owned()
            }
        }
    }

    fn calls(&mut self, f: &Fields<'_, '_>) -> Vec<(String, u32, Range<usize>)> {
        let Some(v) = f.get("calls") else { return Vec::new() };
        let Some(table) = v.get_ref().as_table() else {
            self.complaints.add(v.span(), "calls takes orders and numbers, as { \"close approach\" = 1 }");
            return Vec::new();
        };
        let mut out = Vec::new();
        for (key, value) in table.iter() {
            let name = self.order_named(key.get_ref(), key.span());
            match number_of(value.get_ref()).filter(|n| n.fract() == 0.0 && (0.0..1e6).contains(n)) {
                Some(n) => out.push((name, n as u32, value.span())),
                None => self.complaints.add(value.span(), "a number of calls is 0, 1, 2 and so on"),
            }
        }
        out
    }

    fn steps(&mut self, f: &Fields<'_, '_>) -> Option<Vec<Step>> {
        let Some(v) = f.get("steps") else {
            self.complaints.add(f.span(), "the field steps is missing: what happens, and what must stand");
            return None;
        };
        let list = match v.get_ref().as_array() {
            Some(list) if (1..=MOST_STEPS).contains(&list.len()) => list,
            _ => {
                let message =
                    format!("steps takes a list of 1 to {MOST_STEPS} steps, each {{ at = \"…\", … }}");
                self.complaints.add(v.span(), message);
                return None;
            }
        };
        let mut steps: Vec<Step> = Vec::new();
        for item in list.iter() {
            let Some(table) = item.get_ref().as_table() else {
                self.complaints
                    .add(item.span(), format!("a step is a table, not {}", article(item.get_ref())));
                continue;
            };
            let Some(step) = self.step(table, item.span()) else { continue };
            if steps.last().is_some_and(|last| last.at > step.at) {
                self.complaints.add(item.span(), "this step is earlier than the one before it");
            }
            steps.push(step);
        }
        Some(steps)
    }

    fn step(&mut self, table: &DeTable<'_>, span: Range<usize>) -> Option<Step> {
        let mut plain = DeTable::new();
        let mut heard = Vec::new();
        for (key, value) in table.iter() {
            if OF_A_STEP.contains(&key.get_ref().as_ref()) {
                plain.insert(key.clone(), value.clone());
            } else {
                heard.extend(self.heard(key, value));
            }
        }
        let f = Fields::of(&plain, span.clone(), OF_A_STEP, self.complaints);
        if f.get("at").is_none() {
            self.complaints.add(span, "the field at is missing: how long after the beginning");
            return None;
        }
        let at = f.duration("at", self.complaints)?;
        let c = &mut *self.complaints;
        let target = f.string("target", c).map_or("the ship", |(t, _)| t).to_owned();
        let feed = f.string("feed", c).map_or("the feed", |(t, _)| t).to_owned();
        let gone = f.get("gone").is_some_and(|v| v.get_ref().as_bool() == Some(true));
        let acknowledge = f.string("acknowledge", c);
        let declare = f.strings("declare", c).unwrap_or_default();
        let standing = f.strings("standing", c);
        let standing_span = f.get("standing").map(Spanned::span);
        let acknowledge = acknowledge.map(|(name, span)| (self.order_named(name, span.clone()), span));
        let standing = standing.map(|list| {
            let names = list.into_iter().map(|(name, span)| self.order_named(name, span)).collect();
            (names, standing_span.unwrap_or_default())
        });
        let declare = declare.into_iter().filter_map(|d| self.declared(d)).collect();
        Some(Step { at, target, feed, gone, heard, declare, acknowledge, standing })
    }

    fn declared(&mut self, (word, span): At<&str>) -> Option<Declared> {
        let found = Declared::named(word);
        if found.is_none() {
            let known = Declared::ALL.map(Declared::name);
            let hint = did_you_mean(word, known);
            let message = format!("\"{word}\" cannot be declared; expected {}{hint}", known.join(", "));
            self.complaints.add(span, message);
        }
        found
    }

    /// A quantity and its value at a step.
    fn heard(
        &mut self,
        key: &Spanned<std::borrow::Cow<'_, str>>,
        value: &Spanned<DeValue<'_>>,
    ) -> Option<Heard> {
        let measure = match measure_alone(key.get_ref(), self.marks) {
            Ok(m @ (Measure::Quantity(_) | Measure::Transducer(..))) => m,
            Ok(m) => {
                let message = format!("{m} is worked out, not heard; set the quantity that it comes from");
                self.complaints.add(key.span(), message);
                return None;
            }
            Err(e) => {
                self.complaints
                    .add(key.span(), format!("{}; a step also takes {}", e.message, OF_A_STEP.join(", ")));
                return None;
            }
        };
        match self.value(&measure, value.get_ref()) {
            Ok((measure, value, position)) => Some(Heard { measure, value, position }),
            Err(e) => {
                if value.get_ref().is_str() {
                    self.complaints.add_within(&value.span(), e);
                } else {
                    self.complaints.add(value.span(), e.message);
                }
                None
            }
        }
    }

    fn value(&self, m: &Measure, v: &DeValue<'_>) -> Read<(Measure, Option<Value>, Option<Position>)> {
        let wrong = |message: String| PhraseError { span: 0..0, message };
        if v.as_str() == Some("not known") {
            return Ok((m.clone(), None, None));
        }
        if let (Measure::Quantity(Quantity::Fix), DeValue::Array(pair)) = (m, v) {
            let numbers: Vec<f64> = pair.iter().filter_map(|n| number_of(n.get_ref())).collect();
            let [latitude, longitude] = numbers.as_slice() else {
                return Err(wrong("a position is [latitude, longitude] in degrees".to_owned()));
            };
            let p = Position::new(*latitude, *longitude).map_err(|e| wrong(e.to_string()))?;
            return Ok((m.clone(), Some(Value::There), Some(p)));
        }
        if let (Dimension::Number, Some(n)) = (m.dimension(), number_of(v)) {
            return Ok((m.clone(), Some(Value::Number(n)), None));
        }
        let Some(text) = v.as_str() else {
            return Err(wrong(format!(
                "{m} takes a value in quotation marks, such as \"5 kn\" or \"not known\""
            )));
        };
        match (m, m.dimension()) {
            (_, Dimension::Place) if text == "known" => Ok((m.clone(), Some(Value::There), None)),
            (_, Dimension::Place) => Err(error(
                0..text.len(),
                format!("{m} is \"known\" or \"not known\"; a position may be [50.1, -5.2]"),
            )),
            (Measure::Quantity(q), Dimension::Word) => {
                let word = phrase::known_word(*q, text, 0..text.len())?;
                Ok((m.clone(), Some(Value::Word(word)), None))
            }
            _ => {
                let mut t = Tokens::of(text)?;
                let (n, span) = t.number()?;
                let unit = t.unit_unless("");
                t.end()?;
                let (n, dimension) = in_own_unit(m, n, span, unit.as_ref(), None)?;
                let m = match (m, dimension) {
                    (Measure::Transducer(name, _), Some(d)) => Measure::Transducer(name.clone(), d),
                    (m, _) => m.clone(),
                };
                Ok((m, Some(Value::Number(n)), None))
            }
        }
    }
}
