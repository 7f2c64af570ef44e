//! Each type of value as it is written, and every mistake of a file at once.

use super::*;
use proptest::prelude::*;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::time::Duration;
use terms::{Day, Every, Hour, Hours, Mmsi, Moment, Position, Utc};
use toml::de::DeValue;

/// A value written as TOML, read as a `T`.
fn read_as<T: Written>(toml: &str) -> Result<T, String> {
    let value = DeValue::parse(toml).unwrap();
    T::read(&Value::of(&value, toml))
}

fn good<T: Written + PartialEq + std::fmt::Debug>(pairs: &[(&str, T)]) {
    for (toml, value) in pairs {
        assert_eq!(read_as::<T>(toml).as_ref(), Ok(value), "{toml}");
    }
    assert!(written::literal::<T>(T::EXAMPLE).1.is_ok(), "{}", T::EXAMPLE);
}

fn bad<T: Written + std::fmt::Debug>(list: &[&str]) {
    for toml in list {
        assert!(read_as::<T>(toml).is_err(), "{toml}: {:?}", read_as::<T>(toml));
    }
}

#[test]
fn lengths_of_time() {
    let s = Duration::from_secs;
    good(&[
        ("\"1 h 30 min\"", s(5400)),
        ("'90s'", s(90)),
        ("\"1.5 min\"", s(90)),
        ("\"0 s\"", s(0)),
        ("\"1h30min\"", s(5400)),
    ]);
    bad::<Duration>(&[
        "90",
        "\"\"",
        "\"20\"",
        "\"s\"",
        "\"-1 s\"",
        "\"1 fortnight\"",
        "\"nan s\"",
        "\"1,5 min\"",
        "\"9999999999999999999 d\"",
    ]);
    let told = |text| length_of_time(text).unwrap_err();
    assert_eq!(told("5 sec"), "; \"sec\" is no unit of time, did you mean \"s\"?");
    assert_eq!(told("1 h 5"), "; 5 of what? Its unit is one of s, min, h, d");
    assert_eq!(told("1 year"), "; \"year\" is no unit of time; expected s, min, h, d");
}

#[test]
fn moments_hours_and_days() {
    good(&[
        ("\"1:05\"", Moment(3_900_000)),
        ("\"0:00:09\"", Moment(9_000)),
        ("\"120:00:00\"", Moment(432_000_000)),
    ]);
    for bad in ["", "5", "1:5", "1:60", "1:05:60", "1:05:00:00", "-1:00", "1:+5", "1:05:", ":05", "1000:00"] {
        assert!(read_as::<Moment>(&format!("\"{bad}\"")).is_err(), "{bad}");
    }
    bad::<Moment>(&["15", "01:05:00"]);
    good(&[("\"22:30\"", Hour::parse("22:30").unwrap())]);
    bad::<Hour>(&["22:30", "\"24:00\"", "2230"]);
    good(&[("\"22:00 to 06:00\"", Hours::parse("22:00 to 06:00").unwrap())]);
    bad::<Hours>(&["\"22 to 6\"", "[\"22:00\", \"06:00\"]"]);
    let day = |t| Day::parse(t).unwrap();
    good(&[("2027-05-31", day("2027-05-31")), ("\"2027-05\"", day("2027-05-31"))]);
    bad::<Day>(&["\"soon\"", "2027-05-31T00:00:00Z", "2027"]);
    let utc = Utc::parse("2026-09-14T22:00:00Z").unwrap();
    good(&[("2026-09-14T22:00:00Z", utc), ("\"2026-09-14T22:00:00Z\"", utc)]);
    bad::<Utc>(&["2026-09-14", "\"yesterday\""]);
    good(&[("\"12 months\"", Every::Months(12))]);
    bad::<Every>(&["12", "\"often\""]);
}

#[test]
fn places_and_identities() {
    let p = read_as::<Position>("\"47°12.30′N 009°41.00'W\"").unwrap();
    assert_eq!(p.to_string(), "47°12.30′N 009°41.00′W");
    for bad in [
        "",
        "47 N 9 W",
        "47°60.00′N 009°41.00′W",
        "95°00.0′N 009°41.00′W",
        "9°1.0′W 7°1.0′N",
        "1°1′N 1°1′E x",
    ] {
        assert!(read_as::<Position>(&format!("\"{bad}\"")).is_err(), "{bad}");
    }
    bad::<Position>(&["[47.2, -9.7]"]);
    good(&[("\"002320718\"", Mmsi::new(2_320_718).unwrap())]);
    bad::<Mmsi>(&["211000001", "\"21100001\"", "\"21100000x\"", "\" 11000001\""]);
    let any: SocketAddr = "0.0.0.0:60001".parse().unwrap();
    good(&[("\"0.0.0.0:60001\"", any)]);
    good(&[("\"239.192.0.4\"", Ipv4Addr::new(239, 192, 0, 4))]);
    good(&[("\"plotter:10110\"", HostPort("plotter:10110".to_owned()))]);
    bad::<HostPort>(&["\"here\"", "\":10110\"", "\"plotter:0\"", "\"plotter:port\""]);
    good(&[("\"/dev/ttyUSB0\"", PathBuf::from("/dev/ttyUSB0"))]);
    good(&[("\" Ada \"", Name("Ada".to_owned()))]);
    bad::<Name>(&["\"\"", "\" \"", "\"a\\nb\"", "1"]);
}

#[test]
fn numbers_and_truths() {
    good(&[("1.5", 1.5), ("-3", -3.0), ("1_000", 1000.0)]);
    bad::<f64>(&["inf", "nan", "0x10", "\"1\"", "true"]);
    good(&[("255", 255u8)]);
    bad::<u8>(&["256", "-1", "1.0"]);
    good(&[("-5", -5i64)]);
    good(&[("true", true)]);
    bad::<bool>(&["1", "\"yes\""]);
    good(&[("\"x\"", "x".to_owned())]);
    bad::<String>(&["\"\"", "1"]);
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Does {
    Silence,
    Reset,
}

impl Word for Does {
    const ALL: &'static [(&'static str, Self)] = &[("silence", Self::Silence), ("reset", Self::Reset)];
}

const TITLE: Key<Name> = key("title", "what it is called").needed().most(10);
const DOES: Key<Does> = key("does", "what it does").or("silence");
const SPEED: Key<f64> = key("speed_kn", "its speed").within("0", "60");
const HELD: Key<Duration> = key("held", "how long it is held").or("2 s").within("1 s", "24 h");
const FLEET: Key<At<Mmsi>> = key("fleet", "friends").most(2);
const SHIP: Key<Nested> = key("ship", "a ship").most(2);
const PLACE: Key<Nested> = key("place", "where she is").needed();
const POSITION: Key<Position> = key("position", "her position").needed();
const FREE: Key<u32> = key("ORDER", "how often it calls");
const CALLS: Key<Nested> = key("calls", "how often orders call");
const WHEN: Key<String> = key("when", "the condition").example("\"SOG is over 3 kn\"");

type Read = (Option<String>, Option<Does>, Option<Duration>, usize, Vec<(String, u32)>);

fn whole(mut t: Table<'_>) -> Option<Read> {
    t.needs(&VERSION);
    t.take(&VERSION);
    let (title, does, held) = (t.take(&TITLE), t.take(&DOES), t.take(&HELD));
    if t.take(&SPEED) == Some(6.5) {
        t.warn(&SPEED, "6 is usual");
    }
    let fleet = t.list(&FLEET).map_or(0, |list| list.len());
    t.was("velocity", "speed_kn = 6");
    if let Some(v) = t.value(&WHEN)
        && let Some(i) = v.text().and_then(|text| text.find("SGO"))
    {
        t.wrong_at(v.within(i..i + 3), "there is no SGO");
    }
    for (i, mut ship) in t.tables(&SHIP).into_iter().enumerate() {
        ship.set_about(format!("ship {}: ", i + 1));
        let name = ship.take(&TITLE);
        if let Some(name) = &name {
            ship.once(&TITLE, "ship", &name.0);
        }
        if let Some(mut place) = ship.table(&PLACE) {
            place.take(&POSITION);
        }
    }
    let calls = t.table(&CALLS).map_or(Vec::new(), |mut calls| {
        let entries = calls.entries(&FREE);
        entries
            .iter()
            .filter_map(|(name, v)| Some((name.value.to_owned(), calls.read(name.value, &FREE, v)?)))
            .collect()
    });
    Some((title.map(|t| t.0), does, held, fleet, calls))
}

fn told(text: &str) -> Vec<String> {
    let problems = read("f", text, 1, whole).unwrap_err().to_string();
    problems.lines().filter(|l| l.starts_with("f:")).map(str::to_owned).collect()
}

#[test]
fn a_good_file_and_its_defaults() {
    let text = "version = 1\ntitle = ' x '\nspeed_kn = 6.5\nfleet = ['211000001']\ncalls = { a = 1, \"b c\" = 2 }\n\
        [[ship]]\ntitle = 'y'\nplace = { position = '1°1′N 1°1′E' }\n";
    let (read, warnings) = read("f", text, 1, whole).unwrap();
    let calls = vec![("a".to_owned(), 1), ("b c".to_owned(), 2)];
    assert_eq!(read, (Some("x".to_owned()), Some(Does::Silence), Some(Duration::from_secs(2)), 1, calls));
    assert_eq!(warnings.list().len(), 1);
}

#[test]
fn every_mistake_is_told_at_its_place() {
    let text = "titel = 'x'\ndoes = 'rest'\nspeed_kn = 61\nheld = 5\nfleet = [1, '211000001', 'x']\nvelocity = 6\n\
        when = \"\\u0022a\\u0022 SGO\"\n[[ship]]\nplace = 1\n[[ship]]\ntitle = 'a\\u0000'\nplace = {}\nmast = 1\n[[ship]]\n\
        [calls]\na = -1\nb = 'x'\n[[fleet_]]\n";
    let expected = [
        "f:1:1: `titel` is not known here; did you mean `title`?",
        "f:1:1: `title` is missing: what it is called",
        "f:1:1: `version` is missing: the version of the file's form",
        "f:2:8: `does` takes \"silence\" or \"reset\"; did you mean \"reset\"?",
        "f:3:12: `speed_kn` is from 0 to 60, not 61",
        "f:4:8: `held` takes a length of time such as \"1 h 30 min\", from 1 s to 24 h, not a number",
        "f:5:9: `fleet` has at most 2 elements",
        "f:5:10: `fleet` takes an identity: nine digits in quotes, such as \"211000001\", not a number",
        "f:5:26: `fleet` takes an identity: nine digits in quotes, such as \"211000001\"",
        "f:6:1: `velocity` is no longer a key; write speed_kn = 6",
        "f:7:23: there is no SGO",
        "f:8:1: ship 1: `title` is missing: what it is called",
        "f:9:9: ship 1: `place` takes a table, not a number",
        "f:12:9: ship 2: `position` is missing: her position",
        "f:13:1: ship 2: `mast` is not known here; known are title, place",
        "f:14:1: at most 2 of `ship` are read",
        "f:16:5: `a` takes a whole number",
        "f:17:5: `b` takes a whole number, not a text",
        "f:18:3: `fleet_` is not known here; did you mean `fleet`?",
    ];
    let said = told(text);
    for line in expected {
        assert!(said.iter().any(|l| l == line), "{line} is not in\n{}", said.join("\n"));
    }
    assert_eq!(said.len(), expected.len(), "{}", said.join("\n"));
}

#[test]
fn kinds_of_tables_and_lists() {
    let said = told(
        "version = 1\ntitle = 'longer than ten'\nfleet = '211000001'\nship = { title = 'x' }\ncalls = [1]\n",
    );
    assert_eq!(
        said,
        [
            "f:2:9: `title` is longer than 10 characters",
            "f:3:9: `fleet` takes a list, as [ … ], not a text",
            "f:4:8: each `ship` stands under [[ship]], in two pairs of brackets",
            "f:5:9: `calls` takes a table, not a list",
        ]
    );
    let said =
        told("version = 1\ntitle = 'x'\nship = [{ title = 'A', place.position = '1°1′N 1°1′E' }, 1]\n");
    assert_eq!(said, ["f:3:58: each `ship` is a table under [[ship]], not a number"]);
    let twice = "version = 1\ntitle = 'x'\nship = [{ title = 'A', place.position = '1°1′N 1°1′E' }, { title = 'a', place.position = '1°1′N 1°1′E' }]\n";
    assert_eq!(told(twice), ["f:3:68: ship 2: there is a ship `a` already"]);
}

#[test]
fn syntax_version_and_size() {
    let said = told("title = 'x\nheld == '1 s'\n[ship\n");
    assert!(said.len() >= 3 && said.iter().all(|l| l.contains(": this is not TOML: ")), "{said:?}");
    assert_eq!(told("version = 'one'\nx = 1\n"), ["f:1:11: a version is a number; expected version = 1"]);
    assert!(
        told("version = 2\nx = 1\n")[0]
            .starts_with("f:1:11: the file is of version 2, for a newer middlewatch")
    );
    assert_eq!(told(&"#".repeat(LONGEST_FILE + 1)), ["f:1:1: the file is longer than 4 MiB"]);
    let none = read("f", "version = 1\n", 1, |mut t| t.take(&VERSION).and(None::<()>));
    assert!(none.unwrap_err().to_string().contains("this file cannot be used"));
}

#[test]
fn the_reference_has_every_key_and_is_itself_such_a_file() {
    let reference = blank(whole);
    let text = reference.to_string();
    for line in [
        "version = 1 # the version of the file's form; default 1\n",
        "title = \"Wendelin\" # what it is called; at most 10; needed\n",
        "held = \"2 s\" # how long it is held; from 1 s to 24 h; default 2 s\n",
        "fleet = [\"211000001\"] # friends; a list; at most 2\n",
        "\n[[ship]] # a ship; at most 2\ntitle = ",
        "\n[ship.place] # where she is; needed\nposition = \"47°12.30′N 009°41.00′W\" # her position; needed\n",
        "when = \"SOG is over 3 kn\" # the condition\n",
    ] {
        assert!(text.contains(line), "{line} is not in\n{text}");
    }
    assert!(text.find("when").unwrap() < text.find("[[ship]]").unwrap(), "{text}");
    let again = text.replace("ORDER = …", "ORDER = 1");
    assert!(read("f", &again, 1, whole).is_ok(), "{:?}", read("f", &again, 1, whole));
}

proptest! {
    #[test]
    fn no_text_stops_the_reader(text in "(version = 1\n)?([a-z]{4,5} = [\\[{\"'0-9a-z:°′, }\\]]{0,12}\n){0,4}(\\[\\[?(ship|place)\\]?\\]\n)?[ -~]{0,20}") {
        let _ = read("f", &text, 1, whole);
    }
}
