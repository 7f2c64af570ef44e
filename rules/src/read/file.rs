//! The tables of an orders file.

use super::order::{self, NamedElsewhere};
use super::phrase::did_you_mean;
use super::trial;
use crate::order::{NamedSignal, Orders};
use form::{Key, Name, Nested, Reference, Table, key};
use std::sync::Arc;
use terms::{Position, Problems};

/// The version of the form.
const VERSION: u32 = 1;

const MARK: Key<Nested> = key("mark", "a place that conditions may name").most(1000);
const MARK_NAME: Key<Name> = key("name", "what conditions call it").needed().example("Gull Rock");
const POSITION: Key<Position> = key("position", "where it is").needed();
const ORDER: Key<Nested> = key("order", "something that you want to be called for").most(10_000);
const TRIAL: Key<Nested> = key("trial", "a run of what happens, by which the orders are tried").most(1000);

/// Reads a file of orders.
pub fn orders(file_name: &str, text: &str) -> Result<Orders, Problems> {
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
    for (i, t) in t.tables(&ORDER).into_iter().enumerate() {
        let order = order::order(t, i, &marks, &mut elsewhere);
        orders.orders.extend(order.map(Arc::new));
    }
    orders.signals = elsewhere.signals;
    for NamedSignal { name, span, about } in elsewhere.orders {
        if orders.orders.iter().all(|o| o.name != name) {
            let hint = did_you_mean(&name, orders.orders.iter().map(|o| o.name.as_str()));
            t.wrong_at(span, format!("{about}no order is named \"{name}\"{hint}"));
        }
    }
    for (i, t) in t.tables(&TRIAL).into_iter().enumerate() {
        let trial = trial::trial(t, i, &marks, &orders.orders);
        orders.trials.extend(trial);
    }
    orders
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
