//! `explain`: what each word means that an order, a file, a record or a figure may have. It all comes from the code that
//! uses the word; nothing is written down twice.

use crate::control;
use crate::outcome::{Outcome, complain, print};
use form::Reference;
use rules::{AlertState, BuiltIn, Doing, EventKind, Orders, Priority, Visibility, Waters};
use schemars::generate::SchemaSettings;
use terms::{Dimension, Quantity, Whose, nearest};

/// What a program of a signal finds in its environment.
pub const ENVIRONMENT: [(&str, &str); 4] = [
    ("MIDDLEWATCH_RECORD", "the event record, as one line of JSON"),
    ("MIDDLEWATCH_TEXT", "the long text of the alert"),
    ("MIDDLEWATCH_ALERT", "the number of the alert"),
    ("MIDDLEWATCH_PRIORITY", "the priority of the alert"),
];

/// What a verb's exit code says.
const EXIT_CODES: [(&str, &str); 4] = [
    ("exit code 0", "done"),
    ("exit code 1", "failed; departure: not everything passed"),
    ("exit code 2", "wrong usage"),
    ("exit code 78", "a bad boat, orders or scenario file (EX_CONFIG of sysexits.h)"),
];

/// A word and what it means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Explained {
    /// What kind of word it is: the heading under which it is listed.
    pub kind: &'static str,
    /// The word, as people write it: `CPA`, `feed.silent_after`, `Status.feeds`.
    pub name: String,
    /// What it means.
    pub meaning: String,
}

/// All words, kind by kind.
#[must_use]
pub fn all() -> Vec<Explained> {
    let mut all = Vec::new();
    let mut add = |kind, name: &str, meaning: &str| {
        let (name, meaning) = (name.to_owned(), meaning.split_whitespace().collect::<Vec<_>>().join(" "));
        all.push(Explained { kind, name, meaning });
    };
    for &q in Quantity::ALL {
        add("quantity", q.name(), &quantity(q));
    }
    for doing in Doing::ALL {
        add("declaration of what she does", doing.word(), doing.meaning());
    }
    for waters in Waters::ALL {
        add("declaration of the waters", waters.word(), waters.meaning());
    }
    for visibility in Visibility::ALL {
        add("declaration of the visibility", visibility.word(), visibility.meaning());
    }
    for priority in Priority::ALL {
        add("priority", priority.word(), priority.meaning());
    }
    for alert in BuiltIn::ALL {
        add(
            "built-in alert",
            alert.word(),
            &format!("{} {}.", alert.meaning(), capital(alert.priority().word())),
        );
    }
    for event in EventKind::ALL {
        add("event of an alert", event.word(), event.meaning());
    }
    for state in AlertState::ALL {
        add("state of an alert", state.word(), state.meaning());
    }
    for (kind, reference) in [
        ("key of boat.toml", boat::reference()),
        ("key of an orders file", Orders::reference()),
        ("key of a scenario", scenario::Scenario::reference()),
    ] {
        keys(&reference, &mut |name, meaning| add(kind, name, meaning));
    }
    fields(&mut |name, meaning| add("field of a record", name, meaning));
    for (name, meaning) in control::figures() {
        add("figure of GET /metrics", &name, &meaning);
    }
    for (name, meaning) in ENVIRONMENT {
        add("environment of a signal's program", name, meaning);
    }
    for (name, meaning) in EXIT_CODES {
        add("exit code", name, meaning);
    }
    all
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}

/// Meaning, whose it is, unit or words, and where it comes from.
fn quantity(q: Quantity) -> String {
    let whose = match q.whose() {
        Whose::Own => "Own vessel's",
        Whose::Target => "Each target's",
        Whose::Feed => "Each feed's",
    };
    let unit = match q.dimension() {
        Dimension::Direction => "in degrees true, 0 to 360".to_owned(),
        Dimension::Side => "in degrees, port negative, starboard positive".to_owned(),
        Dimension::Number => "a number".to_owned(),
        Dimension::Place => "which takes no limit, but may be missing or have an age".to_owned(),
        Dimension::Word if q.words().is_empty() => "a name".to_owned(),
        Dimension::Word => format!("one of: {}", q.words().join(", ")),
        d => format!("in {}", d.units().iter().map(|u| u.symbol).collect::<Vec<_>>().join(", ")),
    };
    format!("{} {whose}, {unit}. Source: {}.", q.meaning(), q.brought_by())
}

/// Each key of a file, with its table: `feed.silent_after`.
fn keys(reference: &Reference, add: &mut dyn FnMut(&str, &str)) {
    for (header, what, keys) in &reference.tables {
        let table = header.trim_matches(['[', ']']);
        if !table.is_empty() {
            add(table, what);
        }
        for key in keys {
            let name = if table.is_empty() { key.name.to_owned() } else { format!("{table}.{}", key.name) };
            add(&name, &format!("{}. Example: {} = {}", key.what, key.name, key.example));
        }
    }
}

/// Each field of the records that leave the daemon, by the name of its type: `Status.feeds`.
fn fields(add: &mut dyn FnMut(&str, &str)) {
    let mut generator = SchemaSettings::draft2020_12().into_generator();
    generator.subschema_for::<record::EventRecord>();
    generator.subschema_for::<record::Status>();
    generator.subschema_for::<record::Handover>();
    generator.subschema_for::<record::CasualtyAnswer>();
    generator.subschema_for::<record::DepartureSheet>();
    generator.subschema_for::<record::Act>();
    for (name, schema) in generator.take_definitions(true) {
        let kinds = schema["oneOf"].as_array().cloned().unwrap_or_default();
        for part in std::iter::once(schema).chain(kinds) {
            let tag = part["properties"]["act"]["const"].as_str().map(|act| format!("{name} {act}"));
            let of = tag.unwrap_or_else(|| name.clone());
            for (field, of_field) in part["properties"].as_object().into_iter().flatten() {
                if let Some(about) = of_field["description"].as_str() {
                    add(&format!("{of}.{field}"), about);
                } else if field != "act" {
                    add(&format!("{of}.{field}"), "");
                }
            }
        }
    }
}

/// Prints what a word means; without one, all of them.
pub fn explain(word: &str) -> Outcome {
    let all = all();
    if word.is_empty() {
        let mut text = String::new();
        let mut kind = "";
        for e in &all {
            if e.kind != kind {
                kind = e.kind;
                text += &format!("\n{}\n\n", kind.to_uppercase());
            }
            text += &wrapped(&format!("{}: {}", e.name, e.meaning));
        }
        return print(text.trim_start());
    }
    let asked = word.to_lowercase();
    let is = |e: &&Explained| {
        let name = e.name.to_lowercase();
        name == asked || name.rsplit('.').next() == Some(asked.as_str())
    };
    let found: Vec<&Explained> = all.iter().filter(is).collect();
    if found.is_empty() {
        let last = |e: &'_ Explained| e.name.rsplit('.').next().unwrap_or_default().to_owned();
        let names: Vec<String> = all.iter().flat_map(|e| [e.name.clone(), last(e)]).collect();
        let near = nearest(word, names.iter().map(String::as_str));
        let mean = near.map_or(String::new(), |n| format!(" Did you mean \"{n}\"?"));
        complain(&format!(
            "middlewatch: nothing is called \"{word}\".{mean} `middlewatch explain` lists everything."
        ));
        return Outcome::Failed;
    }
    print(
        &found
            .iter()
            .map(|e| wrapped(&format!("{} ({}): {}", e.name, e.kind, e.meaning)))
            .collect::<String>(),
    )
}

/// A paragraph in 78 columns, further lines set in.
fn wrapped(text: &str) -> String {
    let mut out = String::new();
    let mut column = 0;
    for word in text.split(' ') {
        let wide = word.chars().count();
        if column > 0 && column + 1 + wide > 78 {
            out += "\n    ";
            column = 4;
        } else if column > 0 {
            out.push(' ');
            column += 1;
        }
        out += word;
        column += wide;
    }
    out.push('\n');
    out
}
