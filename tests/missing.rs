//! Every text with its values missing: a boat of which nothing is known, of others that say nothing, at no known time. The
//! texts are printed to be read aloud (`--nocapture`); what no one would say is refused.

use crate::aboard::{Folder, middlewatch, sentence, text};
use middlewatch::status::screen;
use middlewatch::window::Window;
use record::{Act, CasualtyQuestion, DepartureAct, Verdict};
use rules::Orders;
use sentence::ais::AisReport;
use sentence::{FramerOptions, Sentence};
use std::collections::BTreeSet;
use std::sync::Arc;
use terms::{FeedId, Mmsi, Moment, SignalId};
use watch::{Begin, Effect, Fault, FeedSetting, Input, Outside, Silence, Watch};

/// What only a program would say.
const UNSAID: [&str; 22] = [
    " for not known",
    " in not known",
    " at not known",
    " of not known",
    " to not known",
    " from not known",
    " within not known",
    " no not known",
    "not known off",
    "not known ago",
    "not known old",
    "None",
    "NaN",
    "null",
    ", ,",
    " ,",
    "  ",
    ": :",
    "()",
    "0.0 nm off",
    "-1",
    ":,",
];

fn read_aloud(what: &str, all: impl IntoIterator<Item = String>) {
    for line in all {
        println!("{what}: {line}");
        for unsaid in UNSAID {
            assert!(!line.contains(unsaid), "{what}: `{unsaid}` in `{line}`");
        }
        assert!(
            line.trim_end().chars().last().is_none_or(|c| !matches!(c, ',' | ':' | ';')),
            "{what}: `{line}` breaks off"
        );
    }
}

/// A screen or page without its lines and columns.
fn spoken(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A vessel, a beacon and a transmitter that give no more than their identity.
fn bare(mmsi: u32, nav_status: u8) -> String {
    let mut report = AisReport::new(1, 0, Mmsi::new(mmsi).unwrap());
    report.nav_status = Some(nav_status);
    ::sentence::encode::ais(&report, "AI", 'A', 0).concat()
}

fn lines() -> Vec<String> {
    let mut all: Vec<String> = [
        "VDMOB,,A,,,,,,,,,,,,",
        "RAALR,,,A,V,",
        "VDALF,1,1,,,A,E,V,,001,1,,0,",
        "CDDSC,12,,12,,,,,,,,",
        "CDDSC,12,3380400790,12,05,00,,,,,S,E",
        "RATTM,01,,,,,,,,,,,T,,,A",
        "GPGGA,,,,,,0,,,,,,,,",
        "GPRMC,,V,,,,,,,,,,N",
        "SDDPT,,",
        "IIMWV,,T,,N,V",
    ]
    .map(sentence)
    .to_vec();
    all.extend([
        bare(972_000_001, 14),
        bare(970_123_456, 14),
        bare(974_123_456, 14),
        bare(972_123_456, 15),
        bare(211_000_001, 0),
        bare(972_000_001, 15),
    ]);
    all
}

/// A watch whose boat names nothing but one of the crew, and that hears everything without a value.
fn blind_watch(boat: &boat::Boat, said: &mut BTreeSet<String>) -> Watch {
    let orders = [rules::SHIPPED];
    let mut watch = Watch::new(boat);
    let feed = FeedSetting {
        name: "bus".to_owned(),
        checksum_optional: false,
        simulator: true,
        trusted: true,
        silent_after: Silence::After(std::time::Duration::from_secs(60)),
    };
    let begin = Begin {
        feeds: vec![feed],
        orders: Arc::new(Orders::read("passage", orders[0]).unwrap()),
        not_before: Some(terms::Utc(1_767_225_600_000)),
        begins: true,
        ..Begin::default()
    };
    let mut inputs = vec![Input::Begin(Box::new(begin))];
    for line in lines() {
        let line = Sentence::check(line.trim_end().as_bytes(), &FramerOptions::default()).unwrap();
        inputs.push(Input::Line(FeedId(0), line.into()));
    }
    let why = || Some("it does not answer".to_owned());
    for what in [Fault::Signal(SignalId(0)), Fault::Logbook, Fault::Recording, Fault::Orders] {
        inputs.push(Input::Fault { what, why: why() });
    }
    for act in [
        Act::Overboard { late_s: 0.0, who: None },
        Act::Missing { who: None, last_seen: "90 min".to_owned(), missed: None },
        Act::Passage { name: None, ends: false },
        Act::WatchAlarm { switch: rules::Switch::On },
        Act::Drill { what: "ship".to_owned() },
        Act::Drill { what: "end".to_owned() },
        Act::StandDown { casualty: None, reason: "test".to_owned() },
    ] {
        inputs.push(Input::Act(act));
    }
    let item = |words: &str| DepartureAct::Item {
        what: "sounder".to_owned(),
        verdict: Verdict::NotTried,
        words: words.to_owned(),
        by: String::new(),
    };
    inputs.push(Input::Departure(item(""), Vec::new()));
    inputs.push(Input::Departure(DepartureAct::Close { by: "Ada".to_owned() }, Vec::new()));
    let mut take = |watch: &mut Watch| {
        for effect in watch.effects() {
            match effect {
                Effect::Event(_, record, _) => {
                    said.insert(format!("{}: {}", record.alert.order, record.alert.text));
                }
                Effect::Entry(_, entry) => {
                    said.insert(entry.text());
                }
                _ => {}
            }
        }
    };
    for (at, input) in (1_000_i64..).step_by(2_000).zip(inputs) {
        let _ = watch.take(Moment(at), input);
        take(&mut watch);
    }
    // Long enough for what only time shows: silence, no fix, no clock, orders that cannot be judged.
    for min in 1..=45 {
        watch.advance(Moment(min * 60_000));
        take(&mut watch);
    }
    watch
}

const BOAT: &str = "version = 1\n[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\nuntil = \"2027-01\"\n[watch_alarm]\n\
    [[gear]]\nname = \"raft\"\ndue = \"2027-01\"\n";

#[test]
fn alerts_status_handover_and_sheets_read_as_english_where_nothing_is_known() {
    let named = boat::read("boat.toml", BOAT).map(|(boat, _)| boat);
    let named =
        named.unwrap_or_else(|_| boat::read("boat.toml", &BOAT.replace("[watch_alarm]\n", "")).unwrap().0);
    for boat in [boat::Boat::default(), named] {
        let mut said = BTreeSet::new();
        let watch = blind_watch(&boat, &mut said);
        let at = Moment(46 * 60_000);
        read_aloud("said", said.clone());
        for alert in [
            "person overboard",
            "fix lost",
            "feed silent",
            "clock not known",
            "signal failing",
            "orders not loaded",
        ] {
            assert!(
                said.iter().any(|s| s.starts_with(&format!("{alert}: "))),
                "{alert} was never called: {said:#?}"
            );
        }
        let status = watch.status(at, &Outside::default());
        read_aloud("screen", [spoken(&screen(&status, Window::page()))]);
        read_aloud("handover", watch.handover(at).lines);
        for c in &status.casualties {
            read_aloud("casualty", [c.words.clone(), c.who.clone()]);
            let question =
                CasualtyQuestion { casualty: Some(c.part.id), brief: true, ..CasualtyQuestion::default() };
            let answer = watch.casualty_look(at, &question).unwrap();
            read_aloud("sheet", answer.brief.unwrap_or_default().lines().map(str::to_owned));
        }
        let sheet = watch.departure_look(at, Vec::new());
        read_aloud("departure", sheet.items.iter().map(|i| format!("{}: {}", i.what, i.words)));
    }
}

#[test]
fn a_review_reads_as_english_where_nothing_is_known() {
    let folder = Folder::new("missing");
    let boat = folder.write("boat.toml", "version = 1\n[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n");
    let night = folder
        .write("night.nmea", &lines().iter().map(|l| l.trim_end().to_owned() + "\r\n").collect::<String>());
    let logbook = folder.logbook();
    let out = middlewatch()
        .args(["replay", "--config"])
        .arg(&boat)
        .arg("--logbook")
        .arg(&logbook)
        .arg(&night)
        .output()
        .unwrap();
    assert!(out.status.success(), "{}", text(&out.stderr));
    read_aloud("replay", text(&out.stdout).split("\n\n").map(spoken));
    for more in [&[][..], &["--deck-log"], &["--passages"]] {
        let out = middlewatch().arg("review").arg("--logbook").arg(&logbook).args(more).output().unwrap();
        let said = text(&out.stdout);
        assert!(out.status.success(), "{}", text(&out.stderr));
        // Columns of figures have a dash where there is none.
        read_aloud("review", said.split("\n\n").map(spoken));
    }
}
