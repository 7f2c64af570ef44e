//! Calls and messages by radio through the built program: from a wire into the logbook and the review, and across a
//! restart.

use crate::aboard::{Daemon, Folder, sentence, text, until, verb};
use rusqlite::{Connection, OpenFlags};
use serde_json::Value;

const URGENCY: &str = "$CDDSC,16,2110000010,10,00,26,,,,,S,*2D";
const POSITION: [&str; 2] =
    ["$CDDSC,20,3380400790,00,21,26,1423108312,2021,,,B,E*73", "$CDDSE,1,1,A,3380400790,00,46504437*15"];
const NAVTEX: [&str; 2] = [
    "$CRNRX,002,001,07,ND05,2,021400,01,11,2026,69,0,A,PERSON OVERBOARD IN 46-23.75N 009-18.42W.*78",
    "$CRNRX,002,002,07,,,,,,,,,,^0D^0AVESSELS KEEP SHARP LOOKOUT*18",
];
const TEXT: &str = "!AIVDM,1,1,,A,>39>Jh@lt:3CJo;>sODr333Vo7RsC9L,2*1E";

/// A quarter of an hour of fixes, with the calls in between.
fn evening() -> String {
    let mut lines = Vec::new();
    for s in 0..900 {
        let clock = format!("{:02}{:02}{:02}.00", 20 + s / 3600, s / 60 % 60, s % 60);
        lines.push(
            sentence(&format!("GPRMC,{clock},A,4231.000,N,08313.000,W,5.0,080.0,011126,,,A"))
                .trim_end()
                .to_owned(),
        );
        match s {
            120 => lines.push(URGENCY.to_owned()),
            240 => lines.extend(POSITION.map(str::to_owned)),
            360 => lines.extend(NAVTEX.map(str::to_owned)),
            480 | 600 => lines.push(TEXT.to_owned()),
            _ => {}
        }
    }
    lines.join("\r\n") + "\r\n"
}

#[test]
fn the_radio_log_is_in_the_logbook_and_in_the_review() {
    let folder = Folder::new("radio-log");
    let (input, logbook) = (folder.write("evening.nmea", &evening()), folder.logbook());
    let book = logbook.to_str().unwrap();
    let out = verb(&["replay", "--json", "--logbook", book, input.to_str().unwrap()]);
    assert!(out.status.success(), "{}", text(&out.stderr));
    let c = Connection::open_with_flags(&logbook, OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap();
    let column = |name: &str| -> Vec<Option<String>> {
        let sql = format!("SELECT CAST({name} AS TEXT) FROM calls");
        c.prepare(&sql).unwrap().query_map([], |r| r.get(0)).unwrap().map(Result::unwrap).collect()
    };
    let of = |name: &str, row: usize| column(name)[row].clone().unwrap();
    let kinds: Vec<String> = column("kind").into_iter().flatten().collect();
    assert_eq!(kinds, ["urgency call", "position report", "NAVTEX urgent", "safety message"]);
    assert_eq!((of("caller", 0), of("navtex", 2)), ("211000001".to_owned(), "ND05".to_owned()));
    assert!((of("latitude_deg", 1).parse::<f64>().unwrap() - (42.0 + 31.465 / 60.0)).abs() < 1e-9);
    assert_eq!(of("text", 3), "MOB 46-23.75N 009-18.42W");
    assert_eq!(of("utc", 0), "2026-11-01T20:02:00.000Z");

    let printed = text(&verb(&["review", "--logbook", book]).stdout);
    let received = printed.split("\nReceived\n").nth(1).unwrap_or_else(|| panic!("{printed}"));
    assert!(
        received.contains("urgency call: 1, position report: 1, safety message: 1, NAVTEX urgent: 1"),
        "{received}"
    );
    assert!(received.contains("20:02 Urgency call from 211000001 to all ships"), "{received}");
    let night: Value =
        serde_json::from_slice(&verb(&["review", "--json", "--logbook", book]).stdout).unwrap();
    assert_eq!(night["calls"].as_array().unwrap().len(), 4);
    assert_eq!(
        night["calls"][2]["text"],
        "PERSON OVERBOARD IN 46-23.75N 009-18.42W. VESSELS KEEP SHARP LOOKOUT"
    );
    let deck = text(&verb(&["review", "--deck-log", "--logbook", book]).stdout);
    assert_eq!(deck.matches("Urgency call from 211000001").count(), 1, "{deck}");
    let (page, gpx) = (folder.0.join("night.html"), folder.0.join("night.gpx"));
    let out = verb(&[
        "review",
        "--logbook",
        book,
        "--html",
        page.to_str().unwrap(),
        "--gpx",
        gpx.to_str().unwrap(),
    ]);
    assert!(out.status.success(), "{}", text(&out.stderr));
    let (page, gpx) = (std::fs::read_to_string(page).unwrap(), std::fs::read_to_string(gpx).unwrap());
    assert!(page.contains("id=\"received\"") && page.contains("VESSELS KEEP SHARP LOOKOUT"));
    assert!(page.contains(">call 2<"), "the position told is in the chart");
    assert!(gpx.contains("<name>call 2</name>"), "{gpx}");
}

#[test]
fn a_call_outlasts_a_restart_and_ends_when_somebody_acknowledges_it() {
    let folder = Folder::new("radio-restart");
    let input = folder.write("calls.nmea", &format!("{URGENCY}\r\n{}\r\n", NAVTEX.join("\r\n")));
    let body = format!("[[feed]]\nname = \"radio\"\nfile = \"{}\"\n", input.display());
    let aboard = Daemon::start_in(folder, &body);
    aboard.alert("NAVTEX urgent");
    aboard.alert("urgency call");
    let shown = text(&aboard.tell(&["handover"]).stdout);
    // The handover breaks its lines.
    let shown = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        shown.contains("NAVTEX urgent ND05 (search and rescue, piracy, tsunami): “PERSON OVERBOARD"),
        "{shown}"
    );
    // After the restart the same file is read again: the calls are known.
    let aboard = Daemon::start_in(aboard.stop(), &body);
    let both = until("both alerts", || {
        let status = aboard.status();
        let about = |a: &&Value| matches!(a["order"].as_str(), Some("urgency call" | "NAVTEX urgent"));
        let alerts: Vec<Value> = status["alerts"].as_array()?.iter().filter(about).cloned().collect();
        (alerts.len() == 2).then_some(status)
    });
    assert_eq!(both["calls"].as_array().unwrap().len(), 2, "{both}");
    assert!(aboard.tell(&["acknowledge"]).status.success());
    until("no alert about a call", || {
        let status = aboard.status();
        let alerts = status["alerts"].as_array()?;
        (!alerts.iter().any(|a| a["order"] == "urgency call" || a["order"] == "NAVTEX urgent")).then_some(())
    });
    let screen = text(&aboard.tell(&["status"]).stdout);
    assert!(screen.contains("Received "), "{screen}");
    let numbers: Vec<u32> = aboard.status()["calls"]
        .as_array()
        .unwrap()
        .iter()
        .map(|c| c["number"].as_u64().unwrap() as u32)
        .collect();
    assert_eq!(numbers, [2, 1]);
    aboard.stop();
}
