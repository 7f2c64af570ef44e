//! One order of a file.

use super::fields::{Complaints, Fields, article};
use super::file::unknown_only;
use super::measure::{measure_alone, owner};
use super::phrase::{self, Marks, PhraseError, did_you_mean, error};
use crate::alert::Priority;
use crate::condition::{Condition, Measure, Only, Test};
use crate::declared::{Declared, Doing};
use crate::order::{NamedSignal, Order, Piece, Worst};
use std::ops::Range;
use std::time::Duration;
use terms::{Dimension, Quantity, Whose};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// How long an order is patient with what cannot be judged, if it does not say.
const PATIENCE: Duration = Duration::from_secs(600);
/// How deep conditions nest at most.
const DEEPEST: usize = 8;
/// The most tests of an order.
const MOST_TESTS: usize = 64;
/// The longest text and name of an order, in characters.
const LONGEST_TEXT: usize = 400;
/// The longest name of an order, in characters.
const LONGEST_NAME: usize = 60;

const FIELDS: &[&str] = &[
    "name",
    "each",
    "priority",
    "when",
    "until",
    "worse",
    "held",
    "over_for",
    "text",
    "only",
    "except",
    "signals",
    "patience",
    "repeats",
    "escalates",
    "rests",
    "worst",
];

/// Reads the orders of one file.
pub struct Reader<'r, 'f> {
    /// Marks that conditions may name.
    pub marks: &'r Marks,
    /// Where problems go.
    pub complaints: &'r mut Complaints<'f>,
    /// Names of signals found.
    pub signals: &'r mut Vec<NamedSignal>,
}

impl Reader<'_, '_> {
    /// One order, or `None` where something is wrong with it (and told).
    pub fn order(&mut self, table: &DeTable<'_>, span: Range<usize>) -> Option<Order> {
        let f = Fields::of(table, span, FIELDS, self.complaints);
        let name = f.required("name", self.complaints).map(|(n, s)| (n.trim().to_owned(), s));
        if let Some((n, s)) = &name
            && n.chars().count() > LONGEST_NAME
        {
            self.complaints.add(s.clone(), format!("the name is longer than {LONGEST_NAME} characters"));
        }
        let each = self.each(&f);
        let priority = self.priority(&f);
        let mut tests = Vec::new();
        let when = match f.get("when") {
            Some(v) => self.condition(v, each, &mut tests, 0),
            None => {
                self.complaints.add(f.span(), "the field when is missing: the condition at which to call");
                None
            }
        };
        let until = f.get("until").map(|v| self.condition(v, each, &mut tests, 0));
        let worse = f.get("worse").map(|v| self.condition(v, each, &mut tests, 0));
        let signals = self.signals(&f);
        let name = name.map(|(n, _)| n);
        let text = self.text(&f, each, name.as_deref().unwrap_or(""), &tests);
        let only = self.only(&f);
        let worst = self.worst(&f, each, &tests);
        let c = &mut *self.complaints;
        let held = f.duration("held", c).unwrap_or_default();
        let over_for = f.duration("over_for", c).unwrap_or_default();
        let patience = match f.get("patience").and_then(|v| v.get_ref().as_str()) {
            Some("never") => None,
            Some(word) if !word.starts_with(|first: char| first.is_ascii_digit()) => {
                let span = f.get("patience").map_or(f.span(), Spanned::span);
                c.add(
                    span,
                    format!("\"{word}\" is no patience; expected a time such as \"10 min\", or \"never\""),
                );
                None
            }
            _ => Some(f.duration("patience", c).unwrap_or(PATIENCE)),
        };
        let repeats = at_least_5_s(&f, "repeats", c);
        let escalates = at_least_5_s(&f, "escalates", c);
        let rests = f.duration("rests", c).unwrap_or_default();
        Some(Order {
            name: name?,
            each,
            priority: priority?,
            tests,
            when: when?,
            until: match until {
                Some(u) => Some(u?),
                None => None,
            },
            worse: match worse {
                Some(w) => Some(w?),
                None => None,
            },
            held,
            over_for,
            text: text?,
            only,
            signals,
            patience,
            repeats,
            escalates,
            rests,
            worst,
        })
    }

    fn each(&mut self, f: &Fields<'_, '_>) -> Whose {
        let Some((each, span)) = f.string("each", self.complaints) else { return Whose::Own };
        match each {
            "target" => Whose::Target,
            "feed" => Whose::Feed,
            "own vessel" => Whose::Own,
            other => {
                let known = ["target", "feed", "own vessel"];
                let hint = did_you_mean(other, known);
                self.complaints
                    .add(span, format!("there is no each \"{other}\"; expected {}{hint}", known.join(", ")));
                Whose::Target
            }
        }
    }

    fn priority(&mut self, f: &Fields<'_, '_>) -> Option<Priority> {
        let (word, span) = f.required("priority", self.complaints)?;
        let known = ["alarm", "warning", "caution", "notice"];
        let message = match word {
            "alarm" => return Some(Priority::Alarm),
            "warning" => return Some(Priority::Warning),
            "caution" => return Some(Priority::Caution),
            "notice" => return Some(Priority::Notice),
            "emergency alarm" => {
                "an emergency alarm ends only by a person and is no order's; the highest is alarm".to_owned()
            }
            other => {
                let hint = did_you_mean(other, known);
                format!("there is no priority \"{other}\"; expected {}{hint}", known.join(", "))
            }
        };
        self.complaints.add(span, message);
        None
    }

    /// A condition: a text, or a table with all, any or none of several.
    fn condition(
        &mut self,
        v: &Spanned<DeValue<'_>>,
        each: Whose,
        tests: &mut Vec<Test>,
        depth: usize,
    ) -> Option<Condition> {
        if depth > DEEPEST {
            self.complaints.add(v.span(), format!("conditions nest at most {DEEPEST} deep"));
            return None;
        }
        match v.get_ref() {
            DeValue::String(text) => self.test(text, &v.span(), each, tests),
            DeValue::Table(t) => self.group(t, v.span(), each, tests, depth),
            DeValue::Array(_) => {
                self.complaints.add(v.span(), "a list needs to be told how it combines; expected { all = […] }, { any = […] } or { none = […] }");
                None
            }
            other => {
                self.complaints.add(
                    v.span(),
                    format!("a condition is a text, or all, any or none of several, not {}", article(other)),
                );
                None
            }
        }
    }

    fn group(
        &mut self,
        t: &DeTable<'_>,
        span: Range<usize>,
        each: Whose,
        tests: &mut Vec<Test>,
        depth: usize,
    ) -> Option<Condition> {
        let f = Fields::of(t, span.clone(), &["all", "any", "none"], self.complaints);
        let mut groups = Vec::new();
        let mut sound = true;
        for (name, make) in [
            ("all", Condition::All as fn(Vec<Condition>) -> Condition),
            ("any", Condition::Any),
            ("none", Condition::None),
        ] {
            let Some(v) = f.get(name) else { continue };
            let Some(list) = v.get_ref().as_array() else {
                self.complaints.add(
                    v.span(),
                    format!("{name} takes a list of conditions, not {}", article(v.get_ref())),
                );
                sound = false;
                continue;
            };
            if list.is_empty() {
                self.complaints.add(v.span(), format!("{name} holds no condition"));
                sound = false;
            }
            let parts: Vec<_> =
                list.iter().map(|item| self.condition(item, each, tests, depth + 1)).collect();
            match parts.into_iter().collect::<Option<Vec<_>>>() {
                Some(parts) => groups.push(make(parts)),
                None => sound = false,
            }
        }
        if sound && groups.is_empty() && !t.is_empty() {
            return None;
        }
        if sound && groups.is_empty() {
            self.complaints.add(span, "a condition is missing; expected all, any or none");
            return None;
        }
        if !sound {
            return None;
        }
        // all = […] beside none = […] means both.
        Some(if groups.len() == 1 { groups.remove(0) } else { Condition::All(groups) })
    }

    fn test(
        &mut self,
        text: &str,
        span: &Range<usize>,
        each: Whose,
        tests: &mut Vec<Test>,
    ) -> Option<Condition> {
        let read =
            phrase::test(text, self.marks).and_then(|test| belongs(&test.measure, each, text).map(|()| test));
        match read {
            Ok(_) if tests.len() >= MOST_TESTS => {
                self.complaints.add(span.clone(), format!("an order has at most {MOST_TESTS} conditions"));
                None
            }
            Ok(test) => {
                tests.push(test);
                Some(Condition::Test(tests.len() - 1))
            }
            Err(e) => {
                self.complaints.add_within(span, e);
                None
            }
        }
    }

    fn signals(&mut self, f: &Fields<'_, '_>) -> Option<Vec<String>> {
        let list = f.strings("signals", self.complaints)?;
        if f.get("signals").and_then(|v| v.get_ref().as_array()).is_some_and(|a| a.is_empty()) {
            let span = f.get("signals").map_or(f.span(), Spanned::span);
            self.complaints
                .add(span, "no signal is named; leave the field out for all that carry the priority");
        }
        for (name, span) in &list {
            self.signals.push(NamedSignal {
                name: (*name).to_owned(),
                span: span.clone(),
                about: self.complaints.about.clone(),
            });
        }
        Some(list.into_iter().map(|(s, _)| s.to_owned()).collect())
    }

    fn only(&mut self, f: &Fields<'_, '_>) -> Only {
        let mut only = Only::default();
        for (word, span) in f.strings("only", self.complaints).unwrap_or_default() {
            match (word, Declared::named(word)) {
                ("by night" | "by day", _) if only.night.is_some_and(|n| n != (word == "by night")) => {
                    self.complaints.add(span, "by night and by day are the whole day; leave both out");
                }
                ("by night", _) => only.night = Some(true),
                ("by day", _) => only.night = Some(false),
                (_, Some(Declared::Doing(d))) => only.doing.push(d),
                (_, Some(Declared::Waters(w))) if only.waters.is_some_and(|x| x != w) => {
                    self.complaints.add(span, "ocean and coastal are all waters; leave both out");
                }
                (_, Some(Declared::Waters(w))) => only.waters = Some(w),
                (_, Some(Declared::Visibility(v))) if only.visibility.is_some_and(|x| x != v) => {
                    self.complaints.add(span, "good and restricted are all visibility; leave both out");
                }
                (_, Some(Declared::Visibility(v))) => only.visibility = Some(v),
                (_, None) => self.complaints.add(span, unknown_only(word)),
            }
        }
        for (word, span) in f.strings("except", self.complaints).unwrap_or_default() {
            match Declared::named(word) {
                Some(Declared::Doing(d)) => only.except.push(d),
                _ => {
                    let known: Vec<&str> = Declared::ALL
                        .iter()
                        .filter(|d| matches!(d, Declared::Doing(_)))
                        .map(|d| d.name())
                        .collect();
                    let hint = did_you_mean(word, known.iter().copied());
                    self.complaints.add(
                        span,
                        format!("there is no \"{word}\" to except; expected {}{hint}", known.join(", ")),
                    );
                }
            }
        }
        if let Some(&both) = only.doing.iter().find(|d| only.except.contains(d)) {
            let span = f.get("except").map_or(f.span(), Spanned::span);
            let name = name_of(both);
            self.complaints.add(span, format!("\"{name}\" stands under only and under except"));
        }
        only
    }

    /// The text in pieces; left out, it is the name with the measures of the order.
    fn text(&mut self, f: &Fields<'_, '_>, each: Whose, name: &str, tests: &[Test]) -> Option<Vec<Piece>> {
        if f.get("text").is_none() {
            return Some(own_words(name, each, tests));
        }
        let (text, span) = f.required("text", self.complaints)?;
        if text.chars().count() > LONGEST_TEXT {
            self.complaints.add(span, format!("the text is longer than {LONGEST_TEXT} characters"));
            return None;
        }
        match pieces(text, each, self.marks, tests) {
            Ok(pieces) => Some(pieces),
            Err(e) => {
                self.complaints.add_within(&span, e);
                None
            }
        }
    }

    fn worst(&mut self, f: &Fields<'_, '_>, each: Whose, tests: &[Test]) -> Option<Worst> {
        let Some((text, span)) = f.string("worst", self.complaints) else {
            let used = |q| tests.iter().any(|t| t.measure == Measure::Quantity(q));
            let by = if used(Quantity::Tcpa) || used(Quantity::TcpaPrudent) {
                Quantity::Tcpa
            } else {
                Quantity::Range
            };
            return (each == Whose::Target).then_some(Worst { by: Measure::Quantity(by), highest: false });
        };
        let (word, rest) = text.split_once(' ').unwrap_or((text, ""));
        let read = match word {
            "highest" | "lowest" => measure_alone(rest, self.marks)
                .map_err(|e| PhraseError { span: shifted(e.span, word.len() + 1), ..e })
                .and_then(|m| belongs(&m, each, text).map(|()| m)),
            _ => Err(error(
                0..word.len(),
                format!("\"{word}\" does not tell which is worst; expected \"lowest CPA\" or \"highest …\""),
            )),
        };
        match read {
            Ok(by) => Some(Worst { by, highest: word == "highest" }),
            Err(e) => {
                self.complaints.add_within(&span, e);
                None
            }
        }
    }
}

fn name_of(d: Doing) -> &'static str {
    Declared::Doing(d).name()
}

fn shifted(span: Range<usize>, by: usize) -> Range<usize> {
    span.start + by..span.end + by
}

fn at_least_5_s(f: &Fields<'_, '_>, name: &'static str, c: &mut Complaints<'_>) -> Option<Duration> {
    let d = f.duration(name, c)?;
    if d < Duration::from_secs(5) {
        let span = f.get(name).map_or(f.span(), Spanned::span);
        c.add(span, format!("{name} is shorter than 5 s"));
        return None;
    }
    Some(d)
}

/// Whether an order about such subjects can ask for a measure.
fn belongs(m: &Measure, each: Whose, text: &str) -> Result<(), PhraseError> {
    let whose = m.whose();
    if whose == Whose::Own || whose == each {
        return Ok(());
    }
    Err(error(
        0..text.len(),
        format!(
            "{m} is a {0}'s, and this order is about {1}; expected each = \"{0}\" in the order",
            owner(whose),
            owner(each)
        ),
    ))
}

fn own_words(name: &str, each: Whose, tests: &[Test]) -> Vec<Piece> {
    let mut out = vec![Piece::Words(format!("{name}: "))];
    if each != Whose::Own {
        out.push(Piece::Name);
        out.push(Piece::Words(" ".to_owned()));
    }
    let mut told: Vec<&Measure> = Vec::new();
    for t in tests {
        let plain = !matches!(t.measure.dimension(), Dimension::Word | Dimension::Place);
        if plain && !told.contains(&&t.measure) {
            let joint = if told.is_empty() { "" } else { ", " };
            out.push(Piece::Words(format!("{joint}{} ", t.measure)));
            out.push(Piece::Value(t.measure.clone()));
            told.push(&t.measure);
        }
    }
    out
}

/// Splits a text at its braces.
fn pieces(text: &str, each: Whose, marks: &Marks, tests: &[Test]) -> Result<Vec<Piece>, PhraseError> {
    let mut out = Vec::new();
    let mut rest = 0;
    while let Some(open) = text[rest..].find(['{', '}']).map(|i| rest + i) {
        if text[open..].starts_with('}') {
            return Err(error(open..open + 1, "a closing brace without an opening one"));
        }
        let Some(close) = text[open..].find('}').map(|i| open + i) else {
            return Err(error(open..text.len(), "the closing brace is missing"));
        };
        if open > rest {
            out.push(Piece::Words(text[rest..open].to_owned()));
        }
        let inside = &text[open + 1..close];
        out.push(if inside.trim() == "name" {
            Piece::Name
        } else {
            let at = |e: PhraseError| PhraseError { span: shifted(e.span, open + 1), ..e };
            let m = measure_alone(inside, marks).map_err(at)?;
            belongs(&m, each, inside).map_err(at)?;
            if matches!(m, Measure::Over(..)) && !tests.iter().any(|t| t.measure == m) {
                let message = format!("{m} is followed only where a condition asks for it");
                return Err(at(error(0..inside.len(), message)));
            }
            Piece::Value(with_tested_dimension(m, tests))
        });
        rest = close + 1;
    }
    if rest < text.len() {
        out.push(Piece::Words(text[rest..].to_owned()));
    }
    Ok(out)
}

/// A transducer in a text measures what the order's conditions say it does.
fn with_tested_dimension(m: Measure, tests: &[Test]) -> Measure {
    let Measure::Transducer(name, _) = &m else { return m };
    let same = |t: &&Test| matches!(&t.measure, Measure::Transducer(n, _) if n == name);
    tests.iter().find(same).map_or(m.clone(), |t| t.measure.clone())
}
