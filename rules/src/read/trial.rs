//! A trial of the orders, as read from the file.

use super::file;
use super::measure::measure_alone;
use super::number::{Tokens, in_own_unit};
use super::order::wrong_within;
use super::phrase::{self, Marks, PhraseError, Read, did_you_mean};
use crate::condition::Measure;
use crate::declared::Declared;
use crate::order::Order;
use crate::trial::{Heard, Step, Trial};
use form::{At, Key, Name, Nested, Table, Value, Written, key, one_of};
use std::ops::Range;
use std::sync::Arc;
use std::time::Duration;
use terms::{Dimension, Moment, Position, Quantity, Utc, Value as Is};

/// The longest trial.
const LONGEST: Duration = Duration::from_secs(14 * 86_400);

const NAME: Key<Name> = key("name", "what is tried").needed().example("a ship turns toward us");
const EVERY: Key<Duration> = key("every", "how often all values are heard").or("10 s").within("1 s", "30 d");
const GLIDE: Key<bool> = key("glide", "numbers go in a straight line from step to step").or("false");
const UTC: Key<Utc> = key("utc", "UTC at the beginning");
const CALLS: Key<Nested> = key("calls", "how often orders must have called by the end");
const TIMES: Key<u32> = key("shoal water", "how often the order of this name must have called")
    .example("0")
    .within("0", "1000000");
const STEPS: Key<Nested> = key("steps", "what happens, and what must stand").needed().most(1000);
const AT: Key<Moment> = key("at", "when, from the beginning of the trial").needed();
const TARGET: Key<String> = key("target", "whose the step's values are").or("the ship");
const FEED: Key<String> = key("feed", "which feed's they are").or("the feed");
const GONE: Key<bool> = key("gone", "the target is no longer heard").or("false");
const ACKNOWLEDGE: Key<At<String>> =
    key("acknowledge", "the order whose alerts the crew acknowledges").example("shoal water");
const DECLARE: Key<DeclaredWord> = key("declare", "what the crew declares").example("at anchor");
const STANDING: Key<At<String>> =
    key("standing", "orders whose alerts must stand, all of them and no others").example("shoal water");
const HEARD: Key<String> =
    key("SOG", "a quantity and its value from now on, or \"not known\"").example("\"6 kn\"");

/// A declaration by its name.
struct DeclaredWord(Declared);

impl Written for DeclaredWord {
    const EXAMPLE: &'static str = "at anchor";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        let word = v.text().unwrap_or("");
        Declared::named(word).map(Self).ok_or_else(|| one_of(word, Declared::all().map(Declared::name)))
    }
}

/// Reads the trial at place `i` of the list; `orders` are those on trial. `None` if something is wrong with it.
pub fn trial(mut t: Table<'_>, i: usize, marks: &Marks, orders: &[Arc<Order>]) -> Option<Trial> {
    let name = file::name(&mut t, &NAME, "trial", i);
    let (every, glide, utc) = (t.take(&EVERY), t.take(&GLIDE), t.take(&UTC));
    let calls = t.table(&CALLS).map_or(Vec::new(), |t| calls(t, orders));
    let mut steps: Vec<Step> = Vec::new();
    for table in t.tables(&STEPS) {
        let span = table.span();
        let Some(step) = step(table, marks, orders) else { continue };
        if steps.last().is_some_and(|last| last.at > step.at) {
            t.wrong_at(span, "this step is earlier than the one before it");
        }
        steps.push(step);
    }
    let (name, every, longest) = (name?, every?, steps.last()?.at);
    if longest > LONGEST || longest.as_secs() / every.as_secs().max(1) > 200_000 {
        t.wrong_at(t.span(), "the trial is too long; it lasts at most 14 d and 200000 times `every`");
        return None;
    }
    Some(Trial { name, every, glide: glide?, utc, calls, steps })
}

/// The name of an order as the order spells it.
fn named(t: &Table<'_>, orders: &[Arc<Order>], name: &str, span: Range<usize>) -> String {
    if let Some(order) = orders.iter().find(|o| o.name.eq_ignore_ascii_case(name)) {
        return order.name.clone();
    }
    let hint = did_you_mean(name, orders.iter().map(|o| o.name.as_str()));
    t.wrong_at(span, format!("no order is named \"{name}\"{hint}"));
    name.to_owned()
}

fn calls(mut t: Table<'_>, orders: &[Arc<Order>]) -> Vec<(String, u32, Range<usize>)> {
    let entries = t.entries(&TIMES).into_iter();
    let call = |(name, value): (At<&str>, Value<'_>)| {
        let order = named(&t, orders, name.value, name.span);
        Some((order, t.read(name.value, &TIMES, &value)?, value.span()))
    };
    entries.filter_map(call).collect()
}

fn step(mut t: Table<'_>, marks: &Marks, orders: &[Arc<Order>]) -> Option<Step> {
    let (at, target, feed, gone) = (t.take(&AT), t.take(&TARGET), t.take(&FEED), t.take(&GONE));
    let (acknowledge, declare, standing) = (t.take(&ACKNOWLEDGE), t.list(&DECLARE), t.list(&STANDING));
    let heard = t.entries(&HEARD);
    let heard = heard.into_iter().filter_map(|(name, v)| self::heard(&t, marks, name, &v)).collect();
    let order = |o: At<String>| (named(&t, orders, &o.value, o.span.clone()), o.span);
    Some(Step {
        at: at?.since(Moment::ZERO),
        target: target?,
        feed: feed?,
        gone: gone?,
        heard,
        declare: declare.into_iter().flatten().map(|d| d.0).collect(),
        acknowledge: acknowledge.map(order),
        standing: standing.map(|list| (list.into_iter().map(|o| order(o).0).collect(), t.at(&STANDING))),
    })
}

/// A quantity and its value at a step.
fn heard(t: &Table<'_>, marks: &Marks, name: At<&str>, v: &Value<'_>) -> Option<Heard> {
    let measure = match measure_alone(name.value, marks) {
        Ok(m @ (Measure::Quantity(_) | Measure::Transducer(..))) => m,
        Ok(m) => {
            let message = format!("{m} is worked out, not heard; set the quantity that it comes from");
            t.wrong_at(name.span, message);
            return None;
        }
        Err(e) => {
            let keys = "at, target, feed, gone, acknowledge, declare and standing";
            t.wrong_at(name.span, format!("{}; a step also takes {keys}", e.message));
            return None;
        }
    };
    let (measure, value, position) = value(&measure, v).map_err(|e| wrong_within(t, v, e)).ok()?;
    Some(Heard { measure, value, position })
}

fn value(m: &Measure, v: &Value<'_>) -> Read<(Measure, Option<Is>, Option<Position>)> {
    let wrong = |message: String| PhraseError { span: 0..v.text().map_or(0, str::len), message };
    if v.text() == Some("not known") {
        return Ok((m.clone(), None, None));
    }
    if let (Dimension::Number, Some(n)) = (m.dimension(), v.number()) {
        return Ok((m.clone(), Some(Is::Number(n)), None));
    }
    if m.dimension() == Dimension::Place {
        if v.text() == Some("known") {
            return Ok((m.clone(), Some(Is::There), None));
        }
        if *m != Measure::Quantity(Quantity::Fix) {
            return Err(wrong(format!("{m} is \"known\" or \"not known\"")));
        }
        let place = Position::read(v);
        let place = place.map_err(|takes| wrong(format!("{m} takes \"known\", \"not known\" or {takes}")))?;
        return Ok((m.clone(), Some(Is::There), Some(place)));
    }
    let Some(text) = v.text() else {
        return Err(wrong(format!(
            "{m} takes a value in quotation marks, such as \"5 kn\" or \"not known\""
        )));
    };
    if let (Measure::Quantity(q), Dimension::Word) = (m, m.dimension()) {
        return Ok((m.clone(), Some(Is::Word(phrase::known_word(*q, text, 0..text.len())?)), None));
    }
    let mut t = Tokens::of(text)?;
    let (n, span) = t.number()?;
    let unit = t.unit_unless("");
    t.end()?;
    let (n, dimension) = in_own_unit(m, n, span, unit.as_ref(), None)?;
    let m = match (m, dimension) {
        (Measure::Transducer(name, _), Some(d)) => Measure::Transducer(name.clone(), d),
        (m, _) => m.clone(),
    };
    Ok((m, Some(Is::Number(n)), None))
}
