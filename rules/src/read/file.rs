//! The tables of an orders file.

use super::fields::{Complaints, Fields, article, number_of};
use super::order::Reader;
use super::phrase::did_you_mean;
use super::trial;
use crate::order::Orders;
use std::collections::BTreeSet;
use std::ops::Range;
use std::sync::Arc;
use terms::{Position, Problems};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The greatest file that is read, in bytes.
const GREATEST_FILE: usize = 4 << 20;
/// The most orders of a file.
const MOST_ORDERS: usize = 10_000;
/// The most marks of a file.
const MOST_MARKS: usize = 1000;
/// The most trials of a file.
const MOST_TRIALS: usize = 1000;
/// The version of the form.
const VERSION: u32 = 1;

/// Reads a file of orders.
pub fn orders(file_name: &str, text: &str, boat_marks: &[(String, Position)]) -> Result<Orders, Problems> {
    let mut c = Complaints { file: text, problems: Problems::new(file_name, text), about: String::new() };
    if text.len() > GREATEST_FILE {
        c.problems = Problems::new(file_name, "");
        c.add(0..0, format!("the file is longer than {GREATEST_FILE} bytes"));
        return Err(c.problems);
    }
    let (document, errors) = DeTable::parse_recoverable(text);
    for e in &errors {
        c.add(e.span().unwrap_or(0..0), format!("this is not TOML: {}", e.message()));
    }
    if !errors.is_empty() {
        return Err(c.problems);
    }
    let root = Fields::of(document.get_ref(), 0..0, &["version", "mark", "order", "trial"], &mut c);
    if let Some((span, why)) = version(&root) {
        // The rest may be right in the form it was written for.
        c.problems = Problems::new(file_name, text);
        c.add(span, why);
        return Err(c.problems);
    }
    let mut marks = boat_marks.to_vec();
    for (i, (table, span)) in tables(&root, "mark", MOST_MARKS, &mut c).into_iter().enumerate() {
        c.about = format!("mark {}: ", i + 1);
        marks.extend(mark(table, span, &marks, &mut c));
    }
    c.about.clear();
    let mut signals = Vec::new();
    let mut list = Vec::new();
    let mut names = BTreeSet::new();
    for (i, (table, span)) in tables(&root, "order", MOST_ORDERS, &mut c).into_iter().enumerate() {
        let name = table.get("name").and_then(|v| v.get_ref().as_str()).unwrap_or("");
        c.about = about("order", i, table);
        if !name.is_empty() && !names.insert(name.to_lowercase()) {
            c.add(
                table.get("name").map_or(span.clone(), Spanned::span),
                "the name is taken by an order above",
            );
        }
        let order = Reader { marks: &marks, complaints: &mut c, signals: &mut signals }.order(table, span);
        list.extend(order.map(Arc::new));
    }
    c.about.clear();
    let mut trials = Vec::new();
    for (i, (table, span)) in tables(&root, "trial", MOST_TRIALS, &mut c).into_iter().enumerate() {
        c.about = about("trial", i, table);
        trials.extend(trial::Reader { marks: &marks, orders: &list, complaints: &mut c }.trial(table, span));
    }
    c.about.clear();
    c.problems.or_else_ok(Orders {
        trials,
        orders: list,
        marks,
        signals,
        file_name: file_name.to_owned(),
        text: text.to_owned(),
    })
}

fn about(kind: &str, place: usize, table: &DeTable<'_>) -> String {
    match table.get("name").and_then(|v| v.get_ref().as_str()) {
        Some(name) if !name.is_empty() => format!("{kind} {} \"{name}\": ", place + 1),
        _ => format!("{kind} {}: ", place + 1),
    }
}

/// What is wrong with the version the file says, and where.
fn version(root: &Fields<'_, '_>) -> Option<(std::ops::Range<usize>, String)> {
    let v = root.get("version")?;
    let Some(says) = number_of(v.get_ref()) else {
        return Some((v.span(), "a version is a number; expected version = 1".to_owned()));
    };
    Some((v.span(), terms::version_trouble(Some(says), VERSION)?))
}

/// The tables under a name written as `[[name]]`.
fn tables<'t, 'i>(
    root: &Fields<'t, 'i>,
    name: &'static str,
    most: usize,
    c: &mut Complaints<'_>,
) -> Vec<(&'t DeTable<'i>, Range<usize>)> {
    let Some(v) = root.get(name) else { return Vec::new() };
    let Some(list) = v.get_ref().as_array() else {
        c.add(v.span(), format!("each {name} stands under [[{name}]], in two pairs of brackets"));
        return Vec::new();
    };
    if list.len() > most {
        c.add(v.span(), format!("there are {} under [[{name}]]; at most {most} are read", list.len()));
        return Vec::new();
    }
    let mut out = Vec::new();
    for item in list.iter() {
        match item.get_ref() {
            DeValue::Table(t) => out.push((t, item.span())),
            other => {
                c.add(item.span(), format!("each {name} is a table under [[{name}]], not {}", article(other)))
            }
        }
    }
    out
}

fn mark(
    table: &DeTable<'_>,
    span: Range<usize>,
    taken: &[(String, Position)],
    c: &mut Complaints<'_>,
) -> Option<(String, Position)> {
    let f = Fields::of(table, span, &["name", "latitude_deg", "longitude_deg"], c);
    let name = f.required("name", c);
    for field in ["latitude_deg", "longitude_deg"] {
        if f.get(field).is_none() {
            c.add(f.span(), format!("the field {field} is missing"));
        }
    }
    let latitude = f.number("latitude_deg", c);
    let longitude = f.number("longitude_deg", c);
    let ((name, name_span), (lat, lat_span), (lon, _)) = (name?, latitude?, longitude?);
    if taken.iter().any(|(n, _)| n.eq_ignore_ascii_case(name)) {
        c.add(name_span, format!("the name \"{name}\" is taken by another mark"));
        return None;
    }
    match Position::new(lat, lon) {
        Ok(p) => Some((name.to_owned(), p)),
        Err(e) => {
            c.add(lat_span, e.to_string());
            None
        }
    }
}

/// The declaration or part of the day an `only` names.
pub fn unknown_only(word: &str) -> String {
    let known = ["by night", "by day"]
        .into_iter()
        .chain(crate::declared::Declared::ALL.into_iter().map(|d| d.name()));
    let hint = did_you_mean(word, known.clone());
    format!("there is no \"{word}\"; expected {}{hint}", known.collect::<Vec<_>>().join(", "))
}
