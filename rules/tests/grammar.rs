//! The language under fire: whatever is written, reading ends, tells places within the file, and what is said by the
//! grammar is understood as it was meant.

use proptest::prelude::*;
use rules::{Condition, Extent, Measure, Orders, Predicate, Test, Trend};
use std::time::Duration;
use terms::{Dimension, Quantity, Whose};

/// Words of the language and some that are not, to be thrown together.
const WORDS: &[&str] = &[
    "CPA",
    "TCPA",
    "SOG",
    "COG",
    "depth below keel",
    "pressure",
    "position",
    "kind",
    "name",
    "is",
    "are",
    "not",
    "over",
    "under",
    "at least",
    "between",
    "and",
    "outside",
    "within",
    "to",
    "missing for",
    "off its mean over",
    "by",
    "falls",
    "veers",
    "in",
    "age of",
    "highest",
    "mean",
    "transducer",
    "\"ENGROOM\"",
    "distance to",
    "distance from anchor",
    "time of day",
    "22:00",
    "06:00",
    "1",
    "0.5",
    "-3",
    "1e9",
    "nan",
    "inf",
    "nm",
    "kn",
    "min",
    "h",
    "deg",
    "°",
    "hPa",
    "vessel",
    "or",
    "force",
    "quickly",
    "very rapidly",
    "\"",
    "\\",
    "{",
    "}",
    "−",
    "é",
    "\u{0}",
    "🛟",
    "\u{202e}",
    "",
];

fn wrapped(when: &str) -> String {
    // As a TOML literal string it needs no escapes; an apostrophe or a control character makes it no TOML, which is
    // a fault to be told like any other.
    format!(
        "version = 1\n[[order]]\nname = \"x\"\neach = \"target\"\npriority = \"alarm\"\nwhen = '{when}'\n"
    )
}

fn placed_within(text: &str) {
    if let Err(problems) = Orders::read("x.toml", text) {
        for p in problems.list() {
            assert!(p.span.start <= p.span.end && p.span.end <= text.len(), "{:?} of {}", p.span, text.len());
        }
        assert!(problems.to_string().starts_with("x.toml:"));
    }
}

/// A number with a unit of a dimension, as text and in the dimension's own unit.
fn limit(dimension: Dimension) -> BoxedStrategy<(String, f64)> {
    let range = match dimension {
        Dimension::Direction => 0..=3600,
        Dimension::Side => 0..=1800,
        Dimension::Temperature => 0..=1000,
        _ => 0..=9999,
    };
    let units = dimension.units();
    (range, 0..units.len().max(1), prop::bool::ANY)
        .prop_map(move |(tenths, unit, space)| {
            let n = f64::from(tenths) / 10.0;
            match units.get(unit) {
                Some(u) => {
                    let gap = if space { " " } else { "" };
                    (format!("{n}{gap}{}", u.symbol), n * u.factor + u.offset)
                }
                None => (format!("{n}"), n),
            }
        })
        .boxed()
}

fn time() -> impl Strategy<Value = (String, Duration)> {
    (1..600u64, prop::sample::select(vec![("s", 1u64), ("min", 60), ("h", 3600)]))
        .prop_filter("within a week", |(n, (_, f))| n * f <= 7 * 86_400)
        .prop_map(|(n, (unit, f))| (format!("{n} {unit}"), Duration::from_secs(n * f)))
}

fn quantity(fits: fn(&Quantity) -> bool) -> impl Strategy<Value = Quantity> {
    let all: Vec<Quantity> =
        Quantity::ALL.iter().copied().filter(|q| q.whose() != Whose::Feed && fits(q)).collect();
    prop::sample::select(all)
}

fn on_a_line(q: &Quantity) -> bool {
    !matches!(q.dimension(), Dimension::Direction | Dimension::Word | Dimension::Place)
        && *q != Quantity::Identity
}

/// What a person might write, and what it must be read as.
fn said() -> impl Strategy<Value = (String, Test)> {
    let limits = quantity(on_a_line).prop_flat_map(|q| {
        (
            Just(q),
            limit(q.dimension()),
            prop::sample::select(vec!["over", "under", "at least", "at most"]),
            prop::bool::ANY,
        )
            .prop_map(|(q, (text, n), word, not)| {
                let predicate = match (word, not) {
                    ("over", false) | ("at most", true) => Predicate::Over(n),
                    ("under", false) | ("at least", true) => Predicate::Under(n),
                    ("at least", false) | ("under", true) => Predicate::AtLeast(n),
                    _ => Predicate::AtMost(n),
                };
                let not = if not { "not " } else { "" };
                (format!("{q} is {not}{word} {text}"), Test { measure: Measure::Quantity(q), predicate })
            })
    });
    let windows = (
        quantity(on_a_line),
        time(),
        prop::sample::select(vec![Extent::Highest, Extent::Lowest, Extent::Mean]),
    )
        .prop_flat_map(|(q, (text, window), extent)| {
            limit(q.dimension()).prop_map(move |(limit_text, n)| {
                let word = match extent {
                    Extent::Highest => "Highest",
                    Extent::Lowest => "lowest",
                    Extent::Mean => "MEAN",
                };
                let measure = Measure::Over(extent, q, window);
                (
                    format!("{word}  {q} in {text} is over {limit_text}"),
                    Test { measure, predicate: Predicate::Over(n) },
                )
            })
        });
    let missing = (quantity(|_| true), time()).prop_map(|(q, (text, d))| {
        (
            format!("{q} are missing for {text}"),
            Test { measure: Measure::Quantity(q), predicate: Predicate::Missing(d) },
        )
    });
    let age = (quantity(|_| true), time()).prop_map(|(q, (text, d))| {
        let predicate = Predicate::Over(d.as_secs_f64());
        (format!("age of {q} is over {text}"), Test { measure: Measure::Age(q), predicate })
    });
    let sectors = (quantity(|q| q.dimension() == Dimension::Direction), 0..=360u32, 0..=360u32).prop_map(
        |(q, a, b)| {
            let predicate = Predicate::Within(f64::from(a), f64::from(b));
            (
                format!("{q} is within {a:03} deg to {b:03}°"),
                Test { measure: Measure::Quantity(q), predicate },
            )
        },
    );
    let turns = (quantity(|q| q.dimension() == Dimension::Direction), 1..=170u32, time()).prop_map(
        |(q, by, (text, d))| {
            let predicate = Predicate::Changes(Trend::Veers, f64::from(by), d);
            (format!("{q} veers {by} deg in {text}"), Test { measure: Measure::Quantity(q), predicate })
        },
    );
    let words = quantity(|q| !q.words().is_empty()).prop_flat_map(|q| {
        prop::sample::subsequence(q.words(), 1..=2).prop_map(move |list| {
            let predicate = Predicate::Is(list.iter().map(|w| (*w).to_owned()).collect());
            (format!("{q} is {}", list.join(" or ")), Test { measure: Measure::Quantity(q), predicate })
        })
    });
    prop_oneof![limits, windows, missing, age, sectors, turns, words]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, ..ProptestConfig::default() })]

    #[test]
    fn any_words_are_read_or_refused_at_a_place_within_the_file(
        words in prop::collection::vec(prop::sample::select(WORDS), 0..14),
        quotes in prop::bool::ANY,
    ) {
        let phrase = words.join(" ");
        placed_within(&wrapped(&phrase));
        if quotes {
            placed_within(&wrapped(&phrase).replace('\'', "\""));
        }
        placed_within(&format!("version = 1\n[[order]]\nname = \"x\"\npriority = \"alarm\"\nwhen = \"SOG is over 5 kn\"\ntext = '{{{phrase}}}'\n"));
    }

    #[test]
    fn any_text_is_read_or_refused(text in ".{0,300}") {
        placed_within(&text);
        placed_within(&wrapped(&text));
    }

    #[test]
    fn what_the_grammar_says_is_understood((text, test) in said()) {
        let file = wrapped(&text);
        let orders = Orders::read("x.toml", &file).unwrap_or_else(|p| panic!("{p}"));
        let order = orders.list().next().unwrap();
        prop_assert_eq!(&order.when, &Condition::Test(0));
        prop_assert_eq!(&order.tests[0].measure, &test.measure);
        let close = |a: f64, b: f64| (a - b).abs() <= 1e-9 * b.abs().max(1.0);
        let same = match (&order.tests[0].predicate, &test.predicate) {
            (Predicate::Over(a), Predicate::Over(b))
            | (Predicate::Under(a), Predicate::Under(b))
            | (Predicate::AtLeast(a), Predicate::AtLeast(b))
            | (Predicate::AtMost(a), Predicate::AtMost(b)) => close(*a, *b),
            (a, b) => a == b,
        };
        prop_assert!(same, "{text}: {:?} is not {:?}", order.tests[0].predicate, test.predicate);
    }
}
