//! `replay`, `listen` and `check` through the built binary: published beacon sentences, closest approach, bad input.

use crate::aboard::{Folder, WATCHFUL, sentence, text, verb};
use scenario::{Scenario, What};
use sentence::ais::AisReport;
use serde_json::Value;
use std::path::Path;
use terms::{Mmsi, Position};

fn fixture(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name).display().to_string()
}

/// Event records of a replay of these lines.
fn events(name: &str, lines: &str, more: &[&str]) -> Vec<Value> {
    let folder = Folder::new(name);
    let file = folder.write("lines.txt", lines);
    let mut arguments = vec!["replay", "--json"];
    arguments.extend(more);
    arguments.push(file.to_str().unwrap());
    let out = verb(&arguments);
    assert!(out.status.success(), "{}", text(&out.stderr));
    text(&out.stdout).lines().map(|l| serde_json::from_str(l).unwrap()).collect()
}

/// Beacon sentences from open test suites (pyais, libais), decoded alike by two libraries.
#[test]
fn published_beacon_sentences_raise_or_stay_quiet() {
    let quiet = [
        ("!AIVDM,1,1,,A,>>M@rl1<59B1@E=@0000000,2*0D", "970210000"), // SART TEST
        ("!AIVDM,1,1,,B,>>M4fWA<59B1@E=@,0*17", "970010269"),        // SART TEST
        ("!AIVDM,1,1,,A,>>QK2khE0U8:1@E=@0,4*52", "974570191"),      // EPIRB TEST
        ("!AIVDM,1,1,,A,>>O5`4tlt:1@E=@,2*15", "972122131"),         // MOB TEST
        ("!AIVDM,1,1,,B,1>O5`4wP01:F?39b6mD>4?w81P00,0*0D", "972122131"), // status 15
        ("!AIVDM,1,1,,A,1>MA2GOP000jHb@LBhAtsOwt1P00,0*72", "970211933"), // status 15
    ];
    for (line, mmsi) in quiet {
        let told = events("quiet", &format!("{line}\r\n"), &[]);
        assert!(told.iter().all(|e| e["event"] == "noted"), "{line}: {told:?}");
        assert!(told.iter().any(|e| e["alert"]["text"].as_str().unwrap().contains(mmsi)), "{line}: {told:?}");
    }
    // 970000000 with status 14, 50.82862 N 1.05676 W.
    let told = events("loud", "!AIVDM,1,1,,B,1>M46P>P00Os:IfM5ITf4?w60<00,0*37\r\n", &[]);
    let raised: Vec<_> = told.iter().filter(|e| e["event"] == "raised").collect();
    assert_eq!(raised.len(), 1, "{told:?}");
    assert_eq!(raised[0]["alert"]["priority"], "emergency alarm");
    assert_eq!(raised[0]["alert"]["state"], "active-unacknowledged");
    assert_eq!(raised[0]["casualty"]["position"], "reported");
    assert!((raised[0]["casualty"]["latitude_deg"].as_f64().unwrap() - 50.82862).abs() < 1e-5);
    assert!((raised[0]["casualty"]["longitude_deg"].as_f64().unwrap() + 1.05676).abs() < 1e-5);
    assert_eq!(raised[0]["at"], Value::Null, "no sentence told UTC");
    // A safety text that is no beacon: 351809000 "RCVD YR TEST MSG".
    let told = events("text", "!AIVDM,1,1,,A,>5?Per18=HB1U:1@E=B0m<L,2*51\r\n", &[]);
    assert_eq!(told.len(), 1, "{told:?}");
    assert_eq!(
        (&told[0]["alert"]["order"], &told[0]["alert"]["priority"]),
        (&"safety message".into(), &"caution".into())
    );
    assert_eq!(told[0]["casualty"], Value::Null);
}

/// One ship in sight of own vessel, both told of in the same second.
fn encounter(own_cog: f64, own_sog: f64, bearing: f64, range: f64, cog: f64, sog: f64) -> String {
    let own = Position::new(45.0, -30.0).unwrap();
    let minutes = |deg: f64| (deg.abs().trunc(), deg.abs().fract() * 60.0);
    let ((lat, lat_min), (lon, lon_min)) = (minutes(own.latitude_deg()), minutes(own.longitude_deg()));
    let mut report = AisReport::new(1, 0, Mmsi::new(211_000_009).unwrap());
    report.nav_status = Some(0);
    report.position = Some(own.at(bearing, range));
    (report.cog_deg, report.sog_kn, report.utc_second) = (Some(cog), Some(sog), Some(7));
    let ship = ::sentence::encode::ais(&report, "AI", 'A', 0).concat();
    let fix = sentence(&format!(
        "GPRMC,021407.00,A,{lat:02}{lat_min:07.4},N,{lon:03}{lon_min:07.4},W,{own_sog:.1},{own_cog:.1},011126,,,A"
    ));
    format!("{fix}{ship}\r\n")
}

#[test]
fn closest_approach_of_the_published_scenarios() {
    let folder = Folder::new("cpa");
    let orders = folder.write(
        "orders.toml",
        &format!("version = 1\n[[order]]\nname = \"any\"\neach = \"target\"\npriority = \"caution\"\nwhen = \"TCPA is over -1 h\"\ntext = \"x\"\n{WATCHFUL}"),
    );
    // IMO ARPA test scenarios 1, 3 and 4 (read and recomputed): CPA 0, TCPA 24.0 min; relative motion made true.
    for (own_cog, own_sog, bearing, range, cog, sog, cpa, tcpa_min) in [
        (0.0, 10.0, 0.0, 8.0, 180.0, 10.0, 0.0, 24.0),
        (0.0, 5.0, 45.0, 8.0, 237.1, 16.84, 0.0, 24.0),
        (0.0, 25.0, 45.0, 8.0, 307.5, 17.83, 0.0, 24.0),
    ] {
        let lines = encounter(own_cog, own_sog, bearing, range, cog, sog);
        let told = events("cpa-run", &lines, &["--orders", orders.to_str().unwrap()]);
        let target = &told[0]["target"];
        assert_eq!(target["mmsi"], 211_000_009);
        // Course to 0.1° and speed to 0.1 kn, as they are sent, move a CPA at 8 nm by about 0.02 nm.
        assert!((target["cpa_nm"].as_f64().unwrap() - cpa).abs() < 0.05, "{target}");
        assert!((target["tcpa_s"].as_f64().unwrap() / 60.0 - tcpa_min).abs() < 0.15, "{target}");
        assert!((target["range_nm"].as_f64().unwrap() - range).abs() < 0.005, "{target}");
        assert_eq!(told[0]["at"], "2026-11-01T02:14:07.000Z");
    }
}

#[test]
fn own_reports_and_own_identity_are_never_targets() {
    let mut report = AisReport::new(18, 0, Mmsi::new(211_000_009).unwrap());
    (report.own_vessel, report.position) = (true, Position::new(45.0, -30.0).ok());
    let own = ::sentence::encode::ais(&report, "AI", 'B', 0).concat() + "\r\n";
    let folder = Folder::new("own");
    let boat = folder.write("boat.toml", "version = 1\n[vessel]\nmmsi = \"211000009\"\n");
    let orders = folder.write(
        "orders.toml",
        &format!("version = 1\n[[order]]\nname = \"any\"\neach = \"target\"\npriority = \"caution\"\nwhen = \"range is under 100 nm\"\ntext = \"x\"\n{WATCHFUL}"),
    );
    let lines = encounter(0.0, 10.0, 0.0, 8.0, 180.0, 10.0) + &own;
    let with = ["--config", boat.to_str().unwrap(), "--orders", orders.to_str().unwrap()];
    assert_eq!(events("own-run", &lines, &with), Vec::<Value>::new());
    // Without the identity, and without own transmitter to learn it from, she is a target like any other.
    let lines = encounter(0.0, 10.0, 0.0, 8.0, 180.0, 10.0);
    assert_eq!(events("other-run", &lines, &with[2..]).len(), 1);
}

#[test]
fn the_same_lines_and_acts_give_the_same_bytes() {
    let folder = Folder::new("twice");
    let run = |name: &str| {
        let logbook = folder.0.join(name).display().to_string();
        let boat = fixture("fixtures/windlestraw.toml");
        let passage = fixture("fixtures/night-passage.toml");
        let out = verb(&["replay", "--json", "--config", &boat, "--logbook", &logbook, &passage]);
        assert!(out.status.success(), "{}", text(&out.stderr));
        let review = verb(&["review", "--logbook", &logbook]);
        assert!(review.status.success(), "{}", text(&review.stderr));
        (text(&out.stdout), text(&review.stdout))
    };
    let (events, review) = run("a.db");
    assert_eq!(
        (&events, &review),
        (&run("b.db").0, &run("b.db").1),
        "also over a logbook that a replay wrote"
    );
    assert!(events.lines().count() > 10);
    for part in ["Tobias", "ORRIN FALDE", "CALDER MEROE", "shoal water"] {
        assert!(review.contains(part), "{part} is not in\n{review}");
    }
    let raised = events
        .lines()
        .map(|l| serde_json::from_str::<Value>(l).unwrap())
        .filter(|e| e["event"] == "raised" && e["alert"]["priority"] == "emergency alarm")
        .count();
    assert_eq!(raised, 1, "the test of the other beacon raised nothing");
}

#[test]
fn a_logbook_kept_at_sea_is_not_replaced() {
    let folder = Folder::new("kept");
    let other = folder.write("notes.db", "this is no logbook");
    let out =
        verb(&["replay", "--logbook", other.to_str().unwrap(), &fixture("fixtures/night-passage.toml")]);
    assert_eq!(out.status.code(), Some(1));
    assert!(text(&out.stderr).contains("is not replaced"), "{}", text(&out.stderr));
    assert_eq!(std::fs::read_to_string(other).unwrap(), "this is no logbook");
}

#[test]
fn listen_says_what_each_line_says_and_why_one_is_refused() {
    let folder = Folder::new("listen");
    let file = folder.write(
        "lines.txt",
        "!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0*5C\r\nrubbish\n\n$IIMWV,041.0,R,12.3,N,V*1F\n$IIHDT,1.0,T*00\n",
    );
    let out = verb(&["listen", "--json", file.to_str().unwrap()]);
    assert!(out.status.success());
    let told: Vec<Value> = text(&out.stdout).lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    // libais and pyais agree on this one: 477553000, moored, 47.58283 −122.34583, COG 51.0, heading 181.
    assert_eq!(
        (
            &told[0]["line"],
            &told[0]["mmsi"],
            &told[0]["nav_status"],
            &told[0]["heading_deg"],
            &told[0]["cog_deg"]
        ),
        (&1.into(), &477_553_000.into(), &5.into(), &181.into(), &51.0.into())
    );
    assert_eq!((&told[0]["name"], &told[0]["station"]), (&Value::Null, &"vessel".into()));
    assert_eq!(told[1], serde_json::json!({"line": 2, "refused": "no sentence in the line"}));
    assert_eq!(
        (&told[2]["line"], &told[2]["formatter"], &told[2]["speed_kn"]),
        (&4.into(), &"MWV".into(), &Value::Null)
    );
    assert_eq!(told[3], serde_json::json!({"line": 5, "refused": "wrong checksum"}));
    let plain = text(&verb(&["listen", file.to_str().unwrap()]).stdout);
    assert!(plain.contains("refused, wrong checksum: $IIHDT,1.0,T*00"), "{plain}");
}

#[test]
fn the_shipped_files_are_good_and_wrong_usage_is_2() {
    let out = verb(&["check", "--orders", &fixture("rules/orders/passage.toml")]);
    assert!(out.status.success() && !text(&out.stdout).contains("NOT WATCHED"), "{}", text(&out.stdout));
    let out = verb(&["check", "--config", &fixture("fixtures/windlestraw.toml")]);
    assert!(out.status.success(), "{}", text(&out.stdout));
    assert_eq!(verb(&["listen"]).status.code(), Some(2));
    assert_eq!(verb(&["fly"]).status.code(), Some(2));
    for (wrong, right) in [
        (["review", "--since", "someday"], "2026-11-01T18:00:00Z"),
        (["review", "--ship-time", "local"], "+2 or -3:30"),
        (["replay", "--start", "now"], "2026-11-01T18:00:00Z"),
        (["listen", "--json", "tcp:localhost"], "tcp:192.168.1.10:10110"),
        (["listen", "--json", "serial:/dev/ttyUSB0@fast"], "serial:/dev/ttyUSB0@38400"),
    ] {
        let told = verb(&wrong);
        assert_eq!(told.status.code(), Some(2), "{wrong:?}");
        let why = String::from_utf8_lossy(&told.stderr);
        assert!(why.contains(wrong[2]) && why.contains(right), "{why}");
    }
    assert_eq!(verb(&["replay", &fixture("no-such-file")]).status.code(), Some(1));
    let folder = Folder::new("bad-orders");
    let bad = folder.write("orders.toml", "version = 1\n[[order]]\nname = 3\n");
    let night = fixture("fixtures/night-passage.toml");
    assert_eq!(verb(&["replay", "--orders", bad.to_str().unwrap(), &night]).status.code(), Some(78));
}

/// The ships of `fixtures/coast-traffic.toml` (made up) as a station ashore hears them within ten minutes, nearly forty
/// of them within six miles, with own vessel put among them. Which of them comes too close was worked out apart, from pyais's
/// decoding of the same lines, each ship's last report carried on over a plane: the nearest stand with each track.
#[test]
fn of_busy_traffic_exactly_the_ship_that_comes_close_is_called() {
    let file = fixture("fixtures/coast-traffic.toml");
    let traffic = Scenario::read(&file, &std::fs::read_to_string(&file).unwrap()).unwrap();
    let heard: Vec<(i64, String)> = traffic
        .play()
        .filter_map(|timed| match timed.what {
            What::Line { line, .. } => Some((timed.at.0 / 1000, line)),
            What::Act(_) => None,
        })
        .collect();
    let minutes = |deg: f64| (deg.abs().trunc(), deg.abs().fract() * 60.0);
    // The shipped order for coastal waters, which nobody declares in a replay, on its own.
    let order = rules::SHIPPED.split("[[order]]").find(|o| o.contains("name = \"close approach inshore\""));
    let alone = order.unwrap().lines().filter(|l| !l.starts_with("unless")).collect::<Vec<_>>().join("\n");
    let folder = Folder::new("inshore");
    let inshore = folder.write("orders.toml", &format!("version = 1\n[[order]]{alone}\n"));
    for (latitude, longitude, cog, sog, close) in [
        // Crosses ahead: CPA 0.12 nm, 18 min from the start. The next lies at anchor: 1.16 nm.
        (46.72, -8.90, 290.0, 6.0, vec![538_200_027]),
        // The nearest to come would be the same ship: 0.63 nm in 15 min.
        (46.71, -8.96, 50.0, 6.0, vec![]),
        // Nothing within two miles and a half.
        (46.71, -8.88, 30.0, 5.0, vec![]),
    ] {
        let start = Position::new(latitude, longitude).unwrap();
        let mut lines = String::new();
        let mut ships = heard.iter().peekable();
        for t in -20..=traffic.end().0 / 1000 + 30 {
            let own = start.at(cog, sog * (t + 20) as f64 / 3600.0);
            let ((lat, lat_min), (lon, lon_min)) =
                (minutes(own.latitude_deg()), minutes(own.longitude_deg()));
            // The scenario starts at nine.
            let (h, m, s) = (9 + t.div_euclid(3600), t.rem_euclid(3600) / 60, t.rem_euclid(60));
            lines += &sentence(&format!(
                "GPRMC,{h:02}{m:02}{s:02}.00,A,{lat:02}{lat_min:07.4},N,{lon:03}{lon_min:07.4},W,{sog:.1},{cog:.1},150726,,,A"
            ));
            while let Some((_, line)) = ships.next_if(|(at, _)| *at <= t) {
                lines += &format!("{line}\r\n");
            }
        }
        let told = events("traffic", &lines, &["--orders", inshore.to_str().unwrap()]);
        let called: Vec<u64> = told
            .iter()
            .filter(|e| e["event"] == "raised" && e["alert"]["order"] == "close approach inshore")
            .map(|e| e["target"]["mmsi"].as_u64().unwrap())
            .collect();
        assert_eq!(called, close, "own vessel at {latitude} {longitude}");
    }
}
