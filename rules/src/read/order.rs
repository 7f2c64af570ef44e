//! One order of a file.

use super::file;
use super::measure::{measure_alone, owner};
use super::phrase::{self, Marks, PhraseError, error};
use crate::alert::Priority;
use crate::condition::{Condition, Measure, Only, Test};
use crate::declared::{Declared, Doing};
use crate::order::{NamedSignal, Order, Piece, Worst};
use form::{At, Key, Name, Table, Value, Word, Written, key, one_of};
use std::ops::Range;
use std::time::Duration;
use terms::{Dimension, Quantity, Whose, speech};

/// How deep conditions may nest.
const DEEPEST: usize = 8;
/// Most tests in an order.
const MOST_TESTS: usize = 64;

const NAME: Key<Name> = key("name", "what it is called").needed().example("shoal water").most(60);
const EACH: Key<Each> = key("each", "what it is about; default own vessel");
const PRIORITY: Key<Called> = key("priority", "how urgently it calls").needed();
const WHEN: Key<Condition> =
    key("when", "the condition that makes it call").needed().example("\"depth below keel is under 5 m\"");
const UNTIL: Key<Condition> = key("until", "the condition that ends it; default: `when` is false")
    .example("\"depth below keel is over 8 m\"");
const WORSE: Key<Condition> = key("worse", "the condition that makes it call again though acknowledged")
    .example("\"depth below keel is under 3 m\"");
const HELD: Key<Duration> = time("held", "how long `when` must be true before it calls").or("0 s");
const OVER_FOR: Key<Duration> = time("over_for", "how long the end must last before it is over").or("0 s");
const TEXT: Key<String> = key("text", "the text, with quantities in braces")
    .example("\"{depth below keel} below the keel\"")
    .most(400);
const SAY: Key<String> =
    key("say", "what a voice says, at most twenty words with the values; default: what, where and how far")
        .example("\"Shoal water. {depth below keel}.\"")
        .most(200);
const ONLY: Key<At<When>> = key("only", "when it applies; default always").example("under sail");
const EXCEPT: Key<At<Except>> = key("except", "declared states in which it does not apply").example("moored");
const SIGNALS: Key<At<String>> =
    key("signals", "the signals that carry it; default: all that carry its priority").example("horn");
const PATIENCE: Key<Patience> =
    key("patience", "how long its values may be missing before that is announced")
        .or("10 min")
        .within("0 s", "30 d");
const REPEATS: Key<Duration> =
    key("repeats", "how often it calls again while nobody acknowledges; default: as its priority does")
        .within("5 s", "30 d");
const ESCALATES: Key<Duration> =
    key("escalates", "when it goes to the skipper, then to all hands; default: as its priority does")
        .within("5 s", "30 d");
const RESTS: Key<Duration> =
    time("rests", "how long it stays quiet about the same thing once acknowledged").or("0 s");
const WORST: Key<String> = key("worst", "whom it names first; default: the lowest TCPA or range")
    .example("\"lowest depth below keel\"");
const UNLESS: Key<At<String>> = key(
    "unless",
    "wider orders: it stays quiet about whatever one of them has called for, until that is over",
)
.example("shoal water")
.most(8);
const ALL: Key<Condition> = key("all", "conditions that must all be true");
const ANY: Key<Condition> = key("any", "conditions of which one must be true");
const NONE: Key<Condition> = key("none", "conditions of which none may be true");

/// A key for a length of time, up to the longest hold or patience.
const fn time(name: &'static str, what: &'static str) -> Key<Duration> {
    key(name, what).within("0 s", "30 d")
}

/// Whom an order is about.
#[derive(Clone, Copy)]
struct Each(Whose);

impl Word for Each {
    const ALL: &'static [(&'static str, Self)] =
        &[("own vessel", Self(Whose::Own)), ("target", Self(Whose::Target)), ("feed", Self(Whose::Feed))];
}

/// A priority that an order may have.
struct Called(Priority);

impl Written for Called {
    const EXAMPLE: &'static str = "alarm";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        match v.text().unwrap_or("") {
            "alarm" => Ok(Self(Priority::Alarm)),
            "warning" => Ok(Self(Priority::Warning)),
            "caution" => Ok(Self(Priority::Caution)),
            "notice" => Ok(Self(Priority::Notice)),
            "emergency alarm" => {
                Err("at most \"alarm\"; an emergency alarm is ended only by a person and is no order's"
                    .into())
            }
            other => Err(one_of(other, ["alarm", "warning", "caution", "notice"])),
        }
    }
}

/// A time for patience, or none: never.
struct Patience(Option<Duration>);

impl Written for Patience {
    const EXAMPLE: &'static str = "10 min";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        if v.text() == Some("never") {
            return Ok(Self(None));
        }
        let or_never = |takes: String| takes.replacen("\"1 h 30 min\"", "\"10 min\", or \"never\"", 1);
        Duration::read(v).map(|d| Self(Some(d))).map_err(or_never)
    }

    fn amount(&self) -> Option<f64> {
        self.0.map(|d| d.as_secs_f64())
    }
}

/// When an order applies.
#[derive(Clone, Copy, PartialEq)]
enum When {
    Night(bool),
    Declared(Declared),
}

impl Written for When {
    const EXAMPLE: &'static str = "by night";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        match v.text().unwrap_or("") {
            "by night" => Ok(Self::Night(true)),
            "by day" => Ok(Self::Night(false)),
            word => Declared::named(word).map(Self::Declared).ok_or_else(|| {
                one_of(word, ["by night", "by day"].into_iter().chain(Declared::all().map(Declared::name)))
            }),
        }
    }
}

/// What she does while an order does not apply.
struct Except(Doing);

impl Written for Except {
    const EXAMPLE: &'static str = "moored";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        let word = v.text().unwrap_or("");
        match Declared::named(word) {
            Some(Declared::Doing(doing)) => Ok(Self(doing)),
            _ => Err(one_of(word, Doing::ALL.map(Doing::word))),
        }
    }
}

/// What an order names elsewhere, to be looked up once all is read.
#[derive(Default)]
pub struct NamedElsewhere {
    /// Signals, which the boat's file knows.
    pub signals: Vec<NamedSignal>,
    /// Orders under `unless`.
    pub orders: Vec<NamedSignal>,
}

/// Reads the order at place `i` of the list, and adds what it names elsewhere. `None` if something is wrong with it.
pub fn order(mut t: Table<'_>, i: usize, marks: &Marks, elsewhere: &mut NamedElsewhere) -> Option<Order> {
    let name = file::name(&mut t, &NAME, "order", i);
    if let Some(name) = &name {
        t.once(&NAME, "order", name);
    }
    let each = t.take(&EACH).map(|each| each.0);
    // The wrong `each` probably meant a target: do not report its conditions as mistakes too.
    let each = each.unwrap_or(if t.has(&EACH) { Whose::Target } else { Whose::Own });
    let priority = t.take(&PRIORITY);
    let (when, until, worse) = (t.value(&WHEN), t.value(&UNTIL), t.value(&WORSE));
    let mut r = Reader { t: &t, marks, each, tests: Vec::new() };
    let when = when.and_then(|v| r.condition(&v, 0));
    let until = until.map(|v| r.condition(&v, 0));
    let worse = worse.map(|v| r.condition(&v, 0));
    let tests = r.tests;
    let named = t.list(&SIGNALS);
    if named.as_ref().is_some_and(Vec::is_empty) {
        t.wrong(&SIGNALS, "no signal is named; leave `signals` out for all that carry the priority");
    }
    for At { value, span } in named.iter().flatten() {
        let about = t.about().to_owned();
        elsewhere.signals.push(NamedSignal { name: value.clone(), span: span.clone(), about });
    }
    let unless = t.list(&UNLESS).unwrap_or_default();
    for At { value, span } in &unless {
        if name.as_deref() == Some(value) {
            t.warn_at(span.clone(), "an order that waits for itself waits for nothing");
        } else {
            let about = t.about().to_owned();
            elsewhere.orders.push(NamedSignal { name: value.clone(), span: span.clone(), about });
        }
    }
    let text = text(&mut t, each, name.as_deref().unwrap_or(""), marks, &tests);
    let say = say(&mut t, each, marks, &tests);
    let only = only(&mut t);
    let worst = worst(&mut t, each, marks, &tests);
    let (held, over_for, patience) = (t.take(&HELD), t.take(&OVER_FOR), t.take(&PATIENCE));
    let (repeats, escalates, rests) = (t.take(&REPEATS), t.take(&ESCALATES), t.take(&RESTS));
    // A faulty second condition must not count as absent.
    let (until, worse) =
        (until.map_or(Some(None), |c| c.map(Some))?, worse.map_or(Some(None), |c| c.map(Some))?);
    Some(Order {
        name: name?,
        each,
        priority: priority?.0,
        tests,
        when: when?,
        until,
        worse,
        held: held?,
        over_for: over_for?,
        text: text?,
        say: say?,
        only,
        signals: named.map(|list| list.into_iter().map(|s| s.value).collect()),
        patience: patience?.0,
        repeats,
        escalates,
        rests: rests?,
        worst,
        unless: unless.into_iter().map(|o| o.value).collect(),
    })
}

/// Reads the conditions of one order.
struct Reader<'r, 't> {
    t: &'r Table<'t>,
    marks: &'r Marks,
    each: Whose,
    tests: Vec<Test>,
}

impl<'t> Reader<'_, 't> {
    /// A condition: a text, or a table of all, any or none of several.
    fn condition(&mut self, v: &Value<'t>, depth: usize) -> Option<Condition> {
        let wrong = |message: String| {
            self.t.wrong_at(v.span(), message);
            None
        };
        if depth > DEEPEST {
            return wrong(format!("conditions nest at most {DEEPEST} deep"));
        }
        match (v.text(), self.t.inner(v)) {
            (Some(text), _) => self.test(text, v),
            (_, Some(group)) => self.group(group, depth),
            _ if v.items().is_some() => wrong(
                "a list needs to say how it combines; expected { all = […] }, { any = […] } or { none = […] }".into(),
            ),
            _ => wrong(format!("a condition is a text, or all, any or none of several, not {}", v.what())),
        }
    }

    fn group(&mut self, mut group: Table<'t>, depth: usize) -> Option<Condition> {
        let mut groups = Vec::new();
        let mut sound = true;
        for (key, make) in [
            (&ALL, Condition::All as fn(Vec<Condition>) -> Condition),
            (&ANY, Condition::Any),
            (&NONE, Condition::None),
        ] {
            let Some(v) = group.value(key) else { continue };
            let Some(items) = v.items() else {
                let message = format!("`{}` takes a list of conditions, not {}", key.name(), v.what());
                group.wrong(key, message);
                sound = false;
                continue;
            };
            let parts: Vec<_> = items.map(|item| self.condition(&item, depth + 1)).collect();
            if parts.is_empty() {
                group.wrong(key, format!("`{}` holds no condition", key.name()));
                sound = false;
            }
            match parts.into_iter().collect::<Option<Vec<_>>>() {
                Some(parts) => groups.push(make(parts)),
                None => sound = false,
            }
        }
        if group.is_empty() {
            group.wrong_at(group.span(), "a condition is missing; expected all, any or none");
        }
        // all = […] beside none = […] means both.
        match groups.len() {
            _ if !sound => None,
            0 | 1 => groups.pop(),
            _ => Some(Condition::All(groups)),
        }
    }

    fn test(&mut self, text: &str, v: &Value<'t>) -> Option<Condition> {
        let read = phrase::test(text, self.marks)
            .and_then(|test| belongs(&test.measure, self.each, text).map(|()| test));
        let test = read.map_err(|e| wrong_within(self.t, v, e)).ok()?;
        if self.tests.len() >= MOST_TESTS {
            self.t.wrong_at(v.span(), format!("an order has at most {MOST_TESTS} conditions"));
            return None;
        }
        self.tests.push(test);
        Some(Condition::Test(self.tests.len() - 1))
    }
}

/// Reports what is wrong with part of a text.
pub fn wrong_within(t: &Table<'_>, v: &Value<'_>, e: PhraseError) {
    t.wrong_at(v.within(e.span), e.message);
}

fn only(t: &mut Table<'_>) -> Only {
    let mut only = Only::default();
    for At { value, span } in t.list(&ONLY).unwrap_or_default() {
        let both = |message| t.wrong_at(span, message);
        match value {
            When::Night(night) if only.night.is_some_and(|n| n != night) => {
                both("by night and by day are the whole day; leave both out");
            }
            When::Night(night) => only.night = Some(night),
            When::Declared(Declared::Doing(d)) => only.doing.push(d),
            When::Declared(Declared::Waters(w)) if only.waters.is_some_and(|x| x != w) => {
                both("ocean and coastal are all waters; leave both out");
            }
            When::Declared(Declared::Waters(w)) => only.waters = Some(w),
            When::Declared(Declared::Visibility(v)) if only.visibility.is_some_and(|x| x != v) => {
                both("good and restricted are all visibility; leave both out");
            }
            When::Declared(Declared::Visibility(v)) => only.visibility = Some(v),
        }
    }
    only.except = t.list(&EXCEPT).into_iter().flatten().map(|e| e.value.0).collect();
    if let Some(&both) = only.doing.iter().find(|d| only.except.contains(d)) {
        t.wrong(
            &EXCEPT,
            format!("\"{}\" stands under `only` and under `except`", Declared::Doing(both).name()),
        );
    }
    only
}

/// The text in pieces; by default, the name and the order's measures.
fn text(t: &mut Table<'_>, each: Whose, name: &str, marks: &Marks, tests: &[Test]) -> Option<Vec<Piece>> {
    let Some(v) = t.value(&TEXT) else { return Some(own_words(name, each, tests)) };
    let text = t.read(TEXT.name(), &TEXT, &v)?;
    pieces(&text, each, marks, tests).map_err(|e| wrong_within(t, &v, e)).ok()
}

/// What a voice says, in pieces, if the file gives it.
fn say(t: &mut Table<'_>, each: Whose, marks: &Marks, tests: &[Test]) -> Option<Option<Vec<Piece>>> {
    let Some(v) = t.value(&SAY) else { return Some(None) };
    let said = t.read(SAY.name(), &SAY, &v)?;
    let pieces = pieces(&said, each, marks, tests).map_err(|e| wrong_within(t, &v, e)).ok()?;
    // A value is two or three words.
    let words = |piece: &Piece| if let Piece::Words(w) = piece { speech::words(w) } else { 3 };
    let words: usize = pieces.iter().map(words).sum();
    if words > speech::MOST_WORDS {
        let most = speech::MOST_WORDS;
        t.wrong_at(v.span(), format!("too long to be spoken: some {words} words, and {most} are the most"));
    }
    Some(Some(pieces))
}

fn worst(t: &mut Table<'_>, each: Whose, marks: &Marks, tests: &[Test]) -> Option<Worst> {
    let Some(v) = t.value(&WORST) else {
        let used = |q| tests.iter().any(|t| t.measure == Measure::Quantity(q));
        let by = if used(Quantity::Tcpa) || used(Quantity::TcpaPrudent) {
            Quantity::Tcpa
        } else {
            Quantity::Range
        };
        return (each == Whose::Target).then_some(Worst { by: Measure::Quantity(by), highest: false });
    };
    let text = t.read(WORST.name(), &WORST, &v)?;
    let (word, rest) = text.split_once(' ').unwrap_or((&text, ""));
    let read = match word {
        "highest" | "lowest" => measure_alone(rest, marks)
            .map_err(|e| PhraseError { span: shifted(e.span, word.len() + 1), ..e })
            .and_then(|m| belongs(&m, each, &text).map(|()| m)),
        _ => Err(error(
            0..word.len(),
            format!("\"{word}\" does not say which is worst; expected \"lowest CPA\" or \"highest …\""),
        )),
    };
    let by = read.map_err(|e| wrong_within(t, &v, e)).ok()?;
    Some(Worst { by, highest: word == "highest" })
}

fn shifted(span: Range<usize>, by: usize) -> Range<usize> {
    span.start + by..span.end + by
}

/// Whether an order about such subjects can use a measure.
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
