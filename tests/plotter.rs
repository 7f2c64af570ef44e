//! The plotter's plan through the built program: from its wire into handover, status, orders, logbook and deck log.

use crate::aboard::{Folder, sentence, text, verb};
use rusqlite::{Connection, OpenFlags};
use serde_json::Value;

const ORDERS: &str = "version = 1\n[[order]]\nname = \"off track\"\npriority = \"warning\"\n\
    when = \"cross-track error is above 0.5 nm\"\nheld = \"1 min\"\n\
    text = \"{cross-track error} off track, {active waypoint} in {distance to waypoint}\"\n\
    [[order]]\nname = \"landfall\"\npriority = \"caution\"\nwhen = \"time to waypoint is under 15 min\"\n\
    text = \"{active waypoint} in {time to waypoint}, {distance to go} to go\"\n";

/// Two hours due east at 6 kn along 50°N to A, 6 nm off, then toward B; for a while she is set 0.6 nm to port.
fn passage() -> String {
    let mut lines = String::new();
    let mut say = |body: String| lines += &sentence(&body);
    let nm_lon = 60.0 * 0.644; // minutes of longitude to a mile at 50°N, about
    for s in 0..7200 {
        let clock = format!("{:02}{:02}{:02}.00", 12 + s / 3600, s / 60 % 60, s % 60);
        let minutes = 60.0 - f64::from(s) / 3600.0 * 6.0 / nm_lon * 60.0;
        let lat = if (1200..1800).contains(&s) { 0.6 } else { 0.0 };
        let (deg, min) = if minutes >= 60.0 { (10, minutes - 60.0) } else { (9, minutes) };
        say(format!("GPRMC,{clock},A,50{lat:06.3},N,{deg:03}{min:06.3},W,6.0,090.0,011126,,,A"));
        if s % 2 == 1 {
            continue;
        }
        // The plotter leads to A until she is there, then to B.
        let (to, from, place) = if minutes > 50.6 { ("A", "START", 50.6) } else { ("B", "A", 20.0) };
        let off = if lat > 0.0 { "0.60,R" } else { "0.00,R" };
        say(format!("GPRMB,A,{off},{from},{to},5000.000,N,009{place:06.3},W,,090.0,6.0,V,A"));
        if s % 60 == 0 {
            say("GPWPL,5000.000,N,01000.000,W,START".to_owned());
            say("GPWPL,5000.000,N,00950.600,W,A".to_owned());
            say("GPWPL,5000.000,N,00920.000,W,B".to_owned());
            say("GPRTE,2,1,c,1,START,A".to_owned());
            say("GPRTE,2,2,c,1,B".to_owned());
        }
    }
    lines
}

#[test]
fn the_plan_reaches_orders_logbook_and_deck_log() {
    let folder = Folder::new("plotter");
    let (input, orders) = (folder.write("passage.nmea", &passage()), folder.write("orders.toml", ORDERS));
    let logbook = folder.logbook();
    let book = logbook.to_str().unwrap();
    let arguments = [
        "replay",
        "--json",
        "--logbook",
        book,
        "--orders",
        orders.to_str().unwrap(),
        input.to_str().unwrap(),
    ];
    let out = verb(&arguments);
    assert!(out.status.success(), "{}", text(&out.stderr));
    let events: Vec<Value> = text(&out.stdout).lines().filter_map(|l| serde_json::from_str(l).ok()).collect();
    let told = |order: &str, event: &str| -> Vec<String> {
        let of = events.iter().filter(|e| e["alert"]["order"] == order && e["event"] == event);
        of.map(|e| e["alert"]["text"].as_str().unwrap().to_owned()).collect()
    };
    let off = told("off track", "raised");
    assert_eq!(off.len(), 1, "{off:?}");
    assert!(off[0].starts_with("0.60 nm off track, A in "), "{off:?}");
    assert_eq!(told("waypoint", "noted"), ["A reached"]);
    let landfall = told("landfall", "raised");
    assert!(landfall[0].starts_with("A in ") && landfall[0].ends_with(" to go"), "{landfall:?}");

    let c = Connection::open_with_flags(&logbook, OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap();
    let (name, latitude, at): (String, f64, String) = c
        .query_row("SELECT name, latitude_deg, utc FROM waypoints", [], |r| {
            Ok((r.get(0)?, r.get(1)?, r.get(2)?))
        })
        .unwrap();
    assert_eq!((name.as_str(), latitude), ("A", 50.0));
    assert!(at.starts_with("2026-11-01T12:5"), "{at}");
    let to_go: f64 = c
        .query_row(
            "SELECT last FROM instruments WHERE quantity = 'distance to go' ORDER BY steady_s LIMIT 1",
            [],
            |r| r.get(0),
        )
        .unwrap();
    assert!((to_go - 25.7).abs() < 0.3, "{to_go}");
    let deck = text(&verb(&["review", "--deck-log", "--logbook", book]).stdout);
    assert!(deck.contains(" nm to go, 0.0 nm off track"), "{deck}");
    assert!(deck.contains("waypoint: A reached"), "{deck}");
}
