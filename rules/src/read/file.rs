//! The tables of an orders file.

use super::order::{self, NamedElsewhere};
use super::phrase::did_you_mean;
use super::trial;
use crate::cost::{MOST_COST, cost};
use crate::order::{NamedSignal, Order, Orders};
use form::{Key, Name, Nested, Reference, Table, key};
use std::ops::Range;
use std::sync::Arc;
use terms::{Position, Problems};

/// Longest file of orders, in bytes; the shipped ones have up to 8 kB. A longer one is not even parsed.
const LONGEST: usize = 256 << 10;
/// Most orders that are named as the dearest.
const DEAREST: usize = 3;
/// The version of the form.
const VERSION: u32 = 1;

const MARK: Key<Nested> = key("mark", "a place that conditions can name").most(1000);
const MARK_NAME: Key<Name> = key("name", "what conditions call it").needed().example("Gull Rock");
const POSITION: Key<Position> = key("position", "where it is").needed();
const ORDER: Key<Nested> = key("order", "something that you want to be called for").most(10_000);
const TRIAL: Key<Nested> = key("trial", "a run of what happens, by which the orders are tried").most(1000);

/// Reads a file of orders.
pub fn orders(file_name: &str, text: &str) -> Result<Orders, Problems> {
    if text.len() > LONGEST {
        let mut problems = Problems::new(file_name, "");
        problems.add(
            0..0,
            format!("a file of orders has at most {} KiB, this one {}", LONGEST >> 10, text.len() >> 10),
        );
        return Err(problems);
    }
    let (orders, _) = form::read(file_name, text, VERSION, |t| Some(whole(t)))?;
    Ok(Orders { file_name: terms::one_line(file_name), text: text.to_owned(), ..orders })
}

/// Every key of an orders file.
pub fn reference() -> Reference {
    form::blank(|t| Some(whole(t)))
}

fn whole(mut t: Table<'_>) -> Orders {
    t.take(&form::VERSION);
    let mut orders = Orders::default();
    let marks: Vec<_> = t.tables(&MARK).into_iter().enumerate().filter_map(|(i, t)| mark(t, i)).collect();
    let mut elsewhere = NamedElsewhere::default();
    let mut spans = Vec::new();
    for (i, t) in t.tables(&ORDER).into_iter().enumerate() {
        let span = t.span();
        if let Some(order) = order::order(t, i, &marks, &mut elsewhere) {
            orders.orders.push(Arc::new(order));
            spans.push(span);
        }
    }
    orders.signals = elsewhere.signals;
    for NamedSignal { name, span, about } in elsewhere.orders {
        if orders.orders.iter().all(|o| o.name != name) {
            let hint = did_you_mean(&name, orders.orders.iter().map(|o| o.name.as_str()));
            t.wrong_at(span, format!("{about}no order is named \"{name}\"{hint}"));
        }
    }
    weigh(&t, &orders.orders, &spans);
    for (i, t) in t.tables(&TRIAL).into_iter().enumerate() {
        let trial = trial::trial(t, i, &marks, &orders.orders);
        orders.trials.extend(trial);
    }
    orders
}

/// Refuses orders that together cost more than the watch can bear, at the dearest of them.
fn weigh(t: &Table<'_>, orders: &[Arc<Order>], spans: &[Range<usize>]) {
    let mut costs: Vec<(u64, usize)> = orders.iter().map(|o| cost(o)).zip(0..).collect();
    let sum: u64 = costs.iter().map(|(cost, _)| cost).sum();
    if sum <= MOST_COST {
        return;
    }
    costs.sort_by_key(|(cost, place)| (std::cmp::Reverse(*cost), *place));
    let dearest = costs
        .iter()
        .take(DEAREST)
        .filter_map(|(cost, place)| Some(format!("\"{}\" with {cost}", orders.get(*place)?.name)));
    let dearest = dearest.collect::<Vec<_>>().join(", ");
    let span = costs.first().and_then(|(_, place)| spans.get(*place)).cloned().unwrap_or(0..0);
    let message = format!(
        "the {} orders cost {sum} points at their worst, and the watch can bear {MOST_COST}; the dearest are {dearest}. \
         Fewer conditions about targets, longer windows and rarer repeats cost less",
        orders.len()
    );
    t.wrong_at(span, message);
}

fn mark(mut t: Table<'_>, i: usize) -> Option<(String, Position)> {
    t.set_about(format!("mark {}: ", i + 1));
    for old in ["latitude_deg", "longitude_deg"] {
        t.was(old, "position = \"50°06.00′N 005°12.00′W\"");
    }
    let (name, position) = (t.take(&MARK_NAME), t.take(&POSITION));
    if let Some(name) = &name {
        t.once(&MARK_NAME, "mark", &name.0);
    }
    Some((name?.0, position?))
}

/// Reads the name of the order or trial at place `i` of the list; messages then begin with both.
pub fn name(t: &mut Table<'_>, key: &'static Key<Name>, kind: &str, i: usize) -> Option<String> {
    t.set_about(format!("{kind} {}: ", i + 1));
    let name = t.take(key)?.0;
    t.set_about(format!("{kind} {} \"{name}\": ", i + 1));
    Some(name)
}
