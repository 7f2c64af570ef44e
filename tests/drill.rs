//! A drill on the running daemon, and a real beacon in the midst of it.

use crate::aboard::{Daemon, Folder, Receiver, SerialLine, sentence, text, until};
use sentence::ais::AisReport;
use sentence::encode;
use std::io::Write;
use terms::Mmsi;

fn said(daemon: &Daemon, arguments: &[&str]) -> String {
    let out = daemon.tell(arguments);
    format!("{}{}", text(&out.stdout), text(&out.stderr))
}

#[test]
fn a_drill_says_exercise_everywhere_and_a_real_beacon_takes_its_place_at_once() {
    let folder = Folder::new("drill");
    let (bus, ais, voice, rail) =
        (folder.0.join("bus"), folder.0.join("ais"), folder.0.join("voice"), folder.0.join("rail"));
    nix::unistd::mkfifo(&rail, nix::sys::stat::Mode::S_IRWXU).unwrap();
    let program = folder.write("speak", &format!("#!/bin/sh\ncat >> {}\n", voice.display()));
    std::fs::set_permissions(&program, std::os::unix::fs::PermissionsExt::from_mode(0o755)).unwrap();
    let (mut bus_line, mut ais_line) = (SerialLine::plug(&bus), SerialLine::plug(&ais));
    let receiver = Receiver::start(&[]);
    let daemon = Daemon::start_in(
        folder,
        &format!(
            "[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n\
             [[feed]]\nname = \"bus\"\nserial = {bus:?}\n[[feed]]\nname = \"ais\"\nserial = {ais:?}\n\
             [[signal]]\nname = \"voice\"\ncommand = [{program:?}]\n\
             [[signal]]\nname = \"shore\"\nwebhook = \"http://{}/\"\n\
             [[button]]\nname = \"rail\"\nline = {{ recorded = {rail:?} }}\ndoes = \"overboard\"\nhold = \"0.2 s\"\n",
            receiver.address
        ),
    );
    assert!(said(&daemon, &["drill", "overboard"]).contains("own position is not known"));
    let now = daemon.status()["at"].as_str().unwrap().replace(['-', ':'], "");
    let (date, time) = (format!("{}{}{}", &now[6..8], &now[4..6], &now[2..4]), &now[9..15]);
    let rmc = format!("GPRMC,{time},A,4800.000,N,00500.000,W,6.0,0.0,{date},,");
    bus_line.master.write_all(sentence(&rmc).as_bytes()).unwrap();
    until("the fix", || daemon.status()["own"]["latitude_deg"].as_f64());

    assert!(said(&daemon, &["drill", "overboard"]).starts_with("EXERCISE: a beacon goes over the side"));
    let exercise = receiver.wait_for(|r| r["alert"]["order"] == "person overboard");
    assert_eq!(exercise["alert"]["exercise"], true);
    assert!(exercise["alert"]["text"].as_str().unwrap().starts_with("EXERCISE"), "{exercise}");
    assert_eq!(exercise["casualty"]["crew"], "EXERCISE");
    until("the voice", || {
        std::fs::read_to_string(&voice).ok().filter(|t| t.starts_with("Exercise. Man overboard."))
    });
    let status = daemon.status();
    assert!(status["casualties"].as_array().unwrap().is_empty(), "no real one");
    assert_eq!(status["exercise"]["drill"], "overboard");
    assert!(said(&daemon, &["status"]).contains("EXERCISE is on: person overboard, beacon"));
    assert!(said(&daemon, &["drill"]).contains("EXERCISE, on for"));
    assert!(said(&daemon, &["acknowledge"]).contains("acknowledged"));
    assert!(said(&daemon, &["drill", "spotter"]).contains("EXERCISE: spotter told"));

    // Now it is real.
    let mut report = AisReport::new(1, 0, Mmsi::new(972_000_001).unwrap());
    report.nav_status = Some(14);
    let line = encode::ais(&report, "AI", 'A', 0).concat() + "\r\n";
    ais_line.master.write_all(line.as_bytes()).unwrap();
    let real = receiver.wait_for(|r| r["alert"]["exercise"] == false && r["casualty"].is_object());
    assert!(real["alert"]["text"].as_str().unwrap().starts_with("Ada overboard"), "{real}");
    assert_ne!(real["casualty"]["id"], exercise["casualty"]["id"]);
    until("the voice", || {
        std::fs::read_to_string(&voice).ok().filter(|t| t.contains("\nMan overboard, Ada."))
    });
    let status = daemon.status();
    assert!(status["exercise"].is_null());
    assert!(status["alerts"].as_array().unwrap().iter().all(|a| a["exercise"] == false), "{status}");
    assert!(said(&daemon, &["drill", "fender"]).contains("is real and open"));

    let logbook = daemon.logbook();
    let (told, facts) = until("the logbook", || {
        let c = rusqlite::Connection::open(&logbook).ok()?;
        let sql = "SELECT text, facts FROM entries WHERE facts LIKE '%drill-ended%'";
        let row = |r: &rusqlite::Row<'_>| Ok((r.get::<_, String>(0)?, r.get::<_, String>(1)?));
        c.query_row(sql, [], row).ok()
    });
    assert!(told.starts_with("EXERCISE over, THIS IS REAL"), "{told}");
    let facts: serde_json::Value = serde_json::from_str(&facts).unwrap();
    let measures = &facts["measures"];
    assert!(measures["spotter_told_s"].is_number() && measures["turned_s"].is_null(), "{facts}");
    let flags = until("the casualties", || {
        let c = rusqlite::Connection::open(&logbook).ok()?;
        let mut s = c.prepare("SELECT exercise FROM casualties ORDER BY casualty").ok()?;
        let flags: Vec<bool> = s.query_map([], |r| r.get(0)).ok()?.flatten().collect();
        (flags.len() == 2).then_some(flags)
    });
    assert_eq!(flags, [true, false]);

    // A fender, and the button at the rail.
    assert!(daemon.tell(&["stand-down", "--reason", "recovered"]).status.success());
    assert!(said(&daemon, &["drill", "fender"]).starts_with("EXERCISE: throw the fender"));
    let mut button = std::fs::OpenOptions::new().write(true).open(&rail).unwrap();
    button.write_all(b"1").unwrap();
    let thrown = receiver.wait_for(|r| {
        r["alert"]["exercise"] == true && r["casualty"]["source"] == "button" && r["event"] == "raised"
    });
    assert!(thrown["alert"]["text"].as_str().unwrap().starts_with("EXERCISE"), "{thrown}");
    assert!(said(&daemon, &["drill", "alongside"]).contains("EXERCISE over, alongside"));
    assert!(daemon.status()["casualties"].as_array().unwrap().is_empty());
}
