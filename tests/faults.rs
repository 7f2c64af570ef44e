//! What goes wrong aboard, caused on the built binary: after each fault the watch stands, the right alert was raised,
//! and nothing that was stored is lost. DEVELOPERS.md lists the faults and where each is caused.

use crate::aboard::uart::Talker;
use crate::aboard::{Daemon, Folder, Receiver, SerialLine, sentence, text, until, verb};
use boat::Boat;
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use rules::{Orders, Priority};
use sentence::ais::AisReport;
use sentence::encode;
use std::io::Write;
use std::net::TcpListener;
use std::os::unix::net::UnixStream;
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, Instant};
use terms::{FeedId, Mmsi, Moment, Position};
use watch::{Begin, Effect, FeedSetting, Input, Silence, Watch};

const CREW: &str = "[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n";

/// A position report of an AIS station, as a receiver hands it on.
fn report(mmsi: u32, nav_status: u8, position: Option<Position>) -> String {
    let mut report = AisReport::new(1, 0, Mmsi::new(mmsi).unwrap());
    report.nav_status = Some(nav_status);
    (report.position, report.sog_kn, report.cog_deg) = (position, Some(5.0), Some(90.0));
    report.utc_second = Some(7);
    ::sentence::encode::ais(&report, "AI", 'A', 0).concat() + "\r\n"
}

/// Ada's beacon, active: status 14 (ITU-R M.1371-5 table 45).
fn adas_beacon() -> String {
    report(972_000_001, 14, Position::new(50.801, -1.1).ok())
}

/// Memory that the daemon really takes, in MB.
fn resident_mb(daemon: &Daemon) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", daemon.pid())).unwrap();
    let line = status.lines().find(|l| l.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap() / 1024
}

fn fix() -> String {
    sentence("GPRMC,021407.00,A,5048.000,N,00106.000,W,5.0,090.0,011126,,,A")
}

#[test]
fn a_line_at_the_wrong_speed_is_silent_and_the_alert_says_that_bytes_come() {
    let line = Talker::start(&fix(), 4800);
    // The watch looks at its feeds every ten seconds, so that two looks are behind it when the line is called silent.
    let daemon = Daemon::start(
        "speed",
        &format!(
            "[[feed]]\nname = \"gps\"\nserial = {:?}\nbaud = 38400\nsilent_after = \"21 s\"\n\
             [[feed]]\nname = \"ais\"\nserial = \"/nowhere/ais\"\nsilent_after = \"21 s\"\n",
            line.path
        ),
    );
    let told = |feed: &str| {
        until("the alert", || {
            let status = daemon.status();
            let alerts = status["alerts"].as_array()?.iter().filter(|a| a["order"] == "feed silent");
            alerts.filter_map(|a| a["text"].as_str()).find(|t| t.starts_with(feed)).map(str::to_owned)
        })
    };
    let text = told("gps");
    assert!(text.contains("Bytes come, but no whole sentence: the speed of the line may be wrong"), "{text}");
    let text = told("ais");
    assert!(text.contains("It cannot be opened"), "{text}");
    assert_eq!(daemon.status()["feeds"][0]["sentences"], 0);
}

#[test]
fn a_hundred_thousand_forged_beacons_and_ships_hide_none_of_the_crew_and_exhaust_nothing() {
    const FORGED: u32 = 100_000;
    let receiver = Receiver::start(&[]);
    let server = TcpListener::bind("127.0.0.1:0").unwrap();
    let folder = Folder::new("flood");
    let (device, said) = (folder.0.join("ais"), folder.0.join("said"));
    let mut line = SerialLine::plug(&device);
    let daemon = Daemon::start_in(
        folder,
        &format!(
            "{CREW}[[feed]]\nname = \"guest\"\ntcp = \"{}\"\n[[feed]]\nname = \"ais\"\nserial = {device:?}\nbaud = 38400\n\
             [[signal]]\nname = \"helm\"\nwebhook = \"http://{}/\"\n\
             [[signal]]\nname = \"voice\"\ncommand = [\"sh\", \"-c\", \"head -1 >> {said}; sleep 5\"]\n",
            server.local_addr().unwrap(),
            receiver.address,
            said = said.display()
        ),
    );
    let (mut flood, _) = server.accept().unwrap();
    let flooding = std::thread::spawn(move || {
        flood.write_all(fix().as_bytes()).unwrap();
        for n in 0..FORGED {
            // Every second one a beacon of its own identity, the others ships, all of them near.
            let near =
                Position::new(50.8 + f64::from(n % 100) / 5000.0, -1.1 - f64::from(n % 77) / 5000.0).ok();
            let (mmsi, status) = match n % 4 {
                0 => (970_100_000 + n, 14),
                2 => (972_100_000 + n, 14),
                _ => (211_000_000 + n, 0),
            };
            flood.write_all(report(mmsi, status, near).as_bytes()).unwrap();
        }
        flood
    });
    until("the flood to rise", || {
        (daemon.try_status()?["feeds"][0]["sentences"].as_u64()? > 20_000).then_some(())
    });
    let sent = Instant::now();
    line.master.write_all(adas_beacon().as_bytes()).unwrap();
    let told = receiver.wait_for(|r| r["casualty"]["crew"] == "Ada");
    let took = sent.elapsed();
    assert_eq!((&told["event"], &told["alert"]["priority"]), (&"raised".into(), &"emergency alarm".into()));
    assert!(took < Duration::from_secs(5), "{took:?}");
    // The voice has many to speak of, five seconds each; it breaks off for one of the crew.
    until("the voice", || std::fs::read_to_string(&said).ok()?.contains("Ada").then_some(()));
    assert!(sent.elapsed() < Duration::from_secs(10), "{:?}", sent.elapsed());
    let _open = flooding.join().unwrap();
    until("the end of the flood", || {
        let status = daemon.try_status()?;
        let guest = &status["feeds"][0];
        let through = guest["sentences"].as_u64()? + guest["dropped"].as_u64()?;
        (through >= u64::from(FORGED)).then_some(())
    });
    let status = daemon.status();
    assert_eq!(status["casualties"][0]["crew"], "Ada", "the crew come first");
    // Their tables: 32 beacons of strangers and one case for all others, 4,096 targets.
    let (casualties, targets) =
        (status["casualties"].as_array().unwrap().len(), status["targets"].as_array());
    assert!(casualties <= 34, "{casualties}");
    assert!(targets.unwrap().len() <= 4096);
    assert!(resident_mb(&daemon) < 100, "{} MB", resident_mb(&daemon));
    daemon.stop();
}

#[test]
fn a_device_that_vanishes_in_the_middle_of_a_sentence_costs_that_sentence_only() {
    let folder = Folder::new("torn");
    let device = folder.0.join("gps");
    let mut line = SerialLine::plug(&device);
    let daemon = Daemon::start_in(folder, &format!("[[feed]]\nname = \"gps\"\nserial = {device:?}\n"));
    until("up", || (daemon.status()["feeds"][0]["state"] == "up").then_some(()));
    let heading = sentence("IIHDT,123.4,T");
    line.master.write_all(&heading.as_bytes()[..9]).unwrap();
    until("half a sentence", || (daemon.status()["feeds"][0]["bytes"] == 9).then_some(()));
    drop(line);
    until("down", || daemon.status()["feeds"][0]["state"].as_str()?.starts_with("down").then_some(()));
    let mut line = SerialLine::plug(&device);
    until("up again", || (daemon.status()["feeds"][0]["state"] == "up").then_some(()));
    // The second half of another one: the two halves make no heading.
    line.master.write_all(&sentence("IIHDT,111.1,T").as_bytes()[9..]).unwrap();
    line.master.write_all(fix().as_bytes()).unwrap();
    until("a fix", || daemon.status()["own"]["latitude_deg"].as_f64());
    assert!(daemon.status()["own"]["heading_deg"].is_null());
    daemon.stop();
}

#[test]
fn a_logbook_locked_by_another_program_is_told_of_and_its_records_wait() {
    let daemon = Daemon::start("lock", CREW);
    let other = rusqlite::Connection::open(daemon.logbook()).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    assert!(daemon.tell(&["overboard", "Ada"]).status.success());
    let alert = daemon.alert("logbook failing");
    assert!(alert["text"].as_str().unwrap().contains("the watch goes on"), "{alert}");
    assert_eq!(daemon.alert("person overboard")["priority"], "emergency alarm");
    other.execute_batch("ROLLBACK").unwrap();
    drop(other);
    until("the alert to end", || {
        let status = daemon.status();
        let open = status["alerts"].as_array()?.iter().find(|a| a["order"] == "logbook failing").cloned();
        open.is_none_or(|a| a["state"] == "rectified-unacknowledged").then_some(())
    });
    let folder = daemon.stop();
    let logbook = rusqlite::Connection::open(folder.0.join("logbook.db")).unwrap();
    let sql = "SELECT count(*) FROM alerts WHERE event = 'raised' AND order_name = 'person overboard'";
    assert_eq!(logbook.query_row(sql, [], |r| r.get::<_, i64>(0)).unwrap(), 1);
}

#[test]
fn gpio_chips_that_are_gone_and_a_webhook_host_without_an_address_are_told_of() {
    let daemon = Daemon::start(
        "gone",
        // RFC 2606 reserves .invalid: it never has an address.
        "[[signal]]\nname = \"horn\"\nbuzzer = { chip = \"/dev/gpiochip77\", line = 1 }\n\
         [[signal]]\nname = \"shore\"\nwebhook = \"http://receiver.invalid:80/\"\nfrom = \"caution\"\n\
         [heartbeat]\nline = { chip = \"/dev/gpiochip77\", line = 2 }\n",
    );
    assert!(daemon.tell(&["overboard"]).status.success());
    let told = |fails: &str| {
        let status = daemon.try_status()?;
        let texts = status["alerts"].as_array()?.iter().filter_map(|a| a["text"].as_str());
        texts.filter(|t| t.contains(fails)).map(str::to_owned).next()
    };
    // A webhook is given up for the time being after 20 s, at its next attempt, which may be half a minute later.
    let begun = Instant::now();
    while told("The signal shore fails").is_none() && begun.elapsed() < Duration::from_secs(50) {
        std::thread::sleep(Duration::from_millis(200));
    }
    for fails in ["The signal horn fails", "The heartbeat line fails", "The signal shore fails"] {
        let text = until(fails, || told(fails));
        assert!(text.len() > fails.len() + 5, "and says why: {text}");
    }
    assert_eq!(daemon.alert("person overboard")["priority"], "emergency alarm");
    daemon.stop();
}

#[test]
fn a_beacon_that_came_while_the_daemon_was_stopped_is_raised_as_soon_as_it_goes_on() {
    let folder = Folder::new("sigstop");
    let device = folder.0.join("ais");
    let mut line = SerialLine::plug(&device);
    let body = format!("{CREW}[[feed]]\nname = \"ais\"\nserial = {device:?}\nbaud = 38400\n");
    let daemon = Daemon::start_in(folder, &body);
    until("up", || (daemon.status()["feeds"][0]["state"] == "up").then_some(()));
    kill(Pid::from_raw(daemon.pid()), Signal::SIGSTOP).unwrap();
    // A minute of an ordinary wire is more than the kernel keeps; the beacon comes first, as the worst case.
    line.master.write_all(adas_beacon().as_bytes()).unwrap();
    std::thread::sleep(Duration::from_secs(3));
    kill(Pid::from_raw(daemon.pid()), Signal::SIGCONT).unwrap();
    assert_eq!(daemon.alert("person overboard")["priority"], "emergency alarm");
    daemon.stop();
}

/// Sets a limit of the running daemon, as its unit would.
fn limit(daemon: &Daemon, what: &str) {
    let out = Command::new("prlimit").args(["--pid", &daemon.pid().to_string(), what]).output().unwrap();
    assert!(out.status.success(), "{}", text(&out.stderr));
}

#[test]
fn without_file_descriptors_left_the_watch_stands_and_answers_again_when_there_are_some() {
    let folder = Folder::new("files");
    let device = folder.0.join("ais");
    let mut line = SerialLine::plug(&device);
    let heard = folder.0.join("heard");
    let body = format!(
        "{CREW}[[feed]]\nname = \"ais\"\nserial = {device:?}\nbaud = 38400\n\
         [[feed]]\nname = \"mux\"\ntcp = \"127.0.0.1:9\"\n\
         [[signal]]\nname = \"horn\"\nbuzzer = {{ recorded = {heard:?} }}\n"
    );
    let daemon = Daemon::start_in(folder, &body);
    until("up", || (daemon.status()["feeds"][0]["state"] == "up").then_some(()));
    let open = std::fs::read_dir(format!("/proc/{}/fd", daemon.pid())).unwrap().count();
    limit(&daemon, &format!("--nofile={open}:1024"));
    let visitors: Vec<_> =
        (0..8).filter_map(|_| UnixStream::connect(daemon.folder.0.join("control.sock")).ok()).collect();
    line.master.write_all(adas_beacon().as_bytes()).unwrap();
    until("the horn", || std::fs::read_to_string(&heard).ok().filter(|h| h.lines().count() > 2));
    drop(visitors);
    limit(&daemon, "--nofile=1024:1024");
    let status = until("an answer", || daemon.try_status());
    assert_eq!(status["casualties"][0]["crew"], "Ada");
    daemon.stop();
}

#[test]
fn last_words_at_low_voltage_are_on_disk_when_the_power_goes() {
    let folder = Folder::new("volts");
    let device = folder.0.join("bus");
    let mut line = SerialLine::plug(&device);
    let orders = folder.write(
        "orders.toml",
        "version = 1\n[[order]]\nname = \"battery low\"\npriority = \"alarm\"\n\
         when = \"battery voltage is under 11.5 V\"\ntext = \"Battery {battery voltage}\"\n",
    );
    let receiver = Receiver::start(&[]);
    let body = format!(
        "[[feed]]\nname = \"bus\"\nserial = {device:?}\n[orders]\npath = {orders:?}\n\
         [[signal]]\nname = \"shore\"\nwebhook = \"http://{}/\"\n",
        receiver.address
    );
    let daemon = Daemon::start_in(folder, &body);
    until("up", || (daemon.status()["feeds"][0]["state"] == "up").then_some(()));
    line.master.write_all(sentence("IIXDR,U,11.1,V,BATT").as_bytes()).unwrap();
    let told = receiver.wait_for(|r| r["alert"]["order"] == "battery low" && r["event"] == "raised");
    // It has a number, so it was synced before it was told; then the power goes.
    let id = told["log_id"].as_i64().unwrap();
    let folder = daemon.crash();
    let logbook = rusqlite::Connection::open(folder.0.join("logbook.db")).unwrap();
    let sql = "SELECT text FROM alerts WHERE log_id = ?1";
    assert!(logbook.query_row(sql, [id], |r| r.get::<_, String>(0)).unwrap().starts_with("Battery 11.1"));
}

/// A watch with two satellite receivers whose clock the test drives; what it says: second, event, order.
fn two_receivers(until_s: i64, heard: impl Fn(i64, u16) -> Option<Position>) -> Vec<String> {
    let feed = |name: &str| FeedSetting {
        name: name.to_owned(),
        checksum_optional: false,
        simulator: false,
        trusted: false,
        silent_after: Silence::After(Duration::from_secs(60)),
    };
    let feeds = [feed("masthead"), feed("handheld")];
    let mut watch = Watch::new(&Boat::default());
    let begin = Begin { feeds: feeds.to_vec(), ..Begin::default() };
    watch.take(Moment(0), Input::Begin(Box::new(begin))).unwrap();
    let mut said = Vec::new();
    for s in 0..until_s {
        for receiver in 0..2 {
            let Some(p) = heard(s, receiver) else { continue };
            let minutes = |deg: f64| (deg.abs().trunc(), deg.abs().fract() * 60.0);
            let ((lat, lat_min), (lon, lon_min)) = (minutes(p.latitude_deg()), minutes(p.longitude_deg()));
            let time = format!("{:02}{:02}{:02}.00", 12 + s / 3600, s / 60 % 60, s % 60);
            let rmc = format!(
                "GPRMC,{time},A,{lat:02}{lat_min:08.5},N,{lon:03}{lon_min:08.5},W,5.0,000.0,251126,,,A"
            );
            let line = Input::Line(FeedId(receiver), sentence(&rmc).trim().parse().unwrap());
            watch.take(Moment(s * 1000), line).unwrap();
        }
        watch.advance(Moment(s * 1000));
        for output in watch.effects() {
            if let Effect::Event(_, record, _) = output {
                said.push(format!("{s} {:?} {}", record.event, record.alert.order));
            }
        }
    }
    said
}

/// Five knots due north from 50.8 N 1.1 W.
fn under_way(s: i64) -> Position {
    Position::new(50.8, -1.1).unwrap().at(0.0, 5.0 * s as f64 / 3600.0)
}

#[test]
fn a_receiver_that_jumps_freezes_or_creeps_away_beside_a_second_one_is_doubted() {
    let good = two_receivers(1500, |s, _| Some(under_way(s)));
    assert!(good.iter().all(|s| !s.contains("position doubtful")), "{good:?}");
    type Fault = fn(i64) -> Position;
    let faults: [(&str, Fault, i64); 3] = [
        ("jumps two miles", |s| under_way(s).at(90.0, 2.0), 60),
        ("freezes", |_| under_way(300), 900),
        // Half a metre a second: too slow for a jump.
        ("creeps away", |s| under_way(s).at(90.0, (s - 300) as f64 * 0.5 / 1852.0), 1100),
    ];
    for (what, fault, within_s) in faults {
        let said = two_receivers(1500, |s, receiver| {
            Some(if receiver == 0 && s >= 300 { fault(s) } else { under_way(s) })
        });
        let raised = said.iter().find_map(|s| s.strip_suffix(" Raised position doubtful"));
        let at: i64 = raised.unwrap_or_else(|| panic!("{what}: {said:?}")).parse().unwrap();
        assert!((300..=300 + within_s).contains(&at), "{what}: {at}");
    }
}

#[test]
fn a_fix_that_walks_away_from_log_and_compass_is_a_warning_within_ten_minutes() {
    let orders = Arc::new(Orders::read("none", "version = 1\n").unwrap());
    let mut watch = Watch::new(&Boat::default());
    let feed = FeedSetting {
        name: "bus".to_owned(),
        checksum_optional: false,
        simulator: false,
        trusted: false,
        silent_after: watch::Silence::Never,
    };
    let begin = Begin { feeds: vec![feed], orders, ..Begin::default() };
    watch.take(Moment(0), Input::Begin(Box::new(begin))).unwrap();
    let mut said = Vec::new();
    for s in 0..3600 {
        let walked_nm = f64::from(s - 2400).clamp(0.0, 600.0) * 3.0 / 3600.0;
        let position = Some(under_way(s.into()).at(90.0, walked_nm));
        let fix = sentence::Fix { position, sog_kn: Some(5.0), cog_deg: Some(0.0), ..Default::default() };
        let heading = sentence::Heading { true_deg: Some(0.0), ..Default::default() };
        for line in [encode::vhw("VW", Some(5.0), &heading), encode::rmc("GP", &fix)] {
            let line = Input::Line(FeedId(0), line.trim().parse().unwrap());
            watch.take(Moment(i64::from(s) * 1000), line).unwrap();
        }
        for output in watch.effects() {
            if let Effect::Event(_, record, _) = output
                && record.alert.order == "position doubtful"
                && said.is_empty()
            {
                said.push((s, record.alert.priority, record.alert.text.clone()));
            }
        }
    }
    let [(s, priority, text)] = &said[..] else { panic!("{said:?}") };
    assert!((2400..=3000).contains(s), "{said:?}");
    assert_eq!(*priority, Priority::Warning);
    assert!(text.contains("toward 090°") && text.contains("away from log and compass"), "{text}");
}

#[test]
fn when_all_feeds_are_gone_each_is_called_silent_and_the_fix_lost() {
    let said = two_receivers(900, |s, _| (s < 300).then(|| under_way(s)));
    assert_eq!(said.iter().filter(|s| s.ends_with("Raised feed silent")).count(), 2, "{said:?}");
    assert_eq!(said.iter().filter(|s| s.ends_with("Raised fix lost")).count(), 1, "{said:?}");
}

#[test]
fn one_bit_in_a_hundred_wrong_raises_no_emergency_and_stops_nothing() {
    let place = Position::new(50.801, -1.1).ok();
    let lines: String = (0..20_000u32)
        .map(|n| if n % 5 == 0 { fix() } else { report(211_000_000 + n % 50, 0, place) })
        .collect();
    let (mut bytes, mut dice) = (lines.into_bytes(), 1u64);
    for byte in &mut bytes {
        for bit in 0..8 {
            // Marsaglia's xorshift64, with a seed so that each run is the same.
            dice ^= dice << 13;
            dice ^= dice >> 7;
            dice ^= dice << 17;
            *byte ^= u8::from(dice % 100 == 0) << bit;
        }
    }
    let folder = Folder::new("bits");
    let file = folder.0.join("damaged");
    std::fs::write(&file, &bytes).unwrap();
    let out = verb(&["replay", "--json", file.to_str().unwrap()]);
    assert!(out.status.success(), "{}", text(&out.stderr));
    assert!(!text(&out.stdout).contains("emergency alarm"), "{}", text(&out.stdout));
    // A sentence of 45 letters has 360 bits: one in forty comes through whole, and few more by a sum that happens to be
    // right (IEC 61162-1: eight bits of exclusive or).
    let listened = verb(&["listen", "--json", file.to_str().unwrap()]);
    let refused = text(&listened.stdout).lines().filter(|l| l.contains("\"refused\"")).count();
    assert!(refused > 15_000, "{refused}");
}

#[test]
fn within_the_memory_of_the_unit_a_flood_of_ships_ends_nothing() {
    let server = TcpListener::bind("127.0.0.1:0").unwrap();
    let body = format!("[[feed]]\nname = \"mux\"\ntcp = \"{}\"\n", server.local_addr().unwrap());
    let daemon = Daemon::start("memory", &body);
    let (mut flood, _) = server.accept().unwrap();
    // 48 MiB more than it has now: a fifth of MemoryMax in the unit.
    let status = std::fs::read_to_string(format!("/proc/{}/status", daemon.pid())).unwrap();
    let line = status.lines().find(|l| l.starts_with("VmSize:")).unwrap();
    let now_kib: u64 = line.split_whitespace().nth(1).unwrap().parse().unwrap();
    limit(&daemon, &format!("--as={}", (now_kib + 48 * 1024) * 1024));
    for n in 0..30_000u32 {
        let place = Position::new(50.8 + f64::from(n % 100) / 500.0, -1.1).ok();
        flood.write_all(report(211_000_000 + n, 0, place).as_bytes()).unwrap();
    }
    until("the end of the flood", || {
        let mux = daemon.try_status()?["feeds"][0].clone();
        (mux["sentences"].as_u64()? >= 30_000).then_some(())
    });
    assert!(daemon.tell(&["overboard", "Ada"]).status.success(), "the watch stands");
    daemon.stop();
}

#[test]
#[ignore = "takes more than a minute"]
fn a_peer_that_is_gone_without_a_word_is_left_after_a_minute_and_called_again() {
    let server = TcpListener::bind("127.0.0.1:0").unwrap();
    let body = format!(
        "[[feed]]\nname = \"mux\"\ntcp = \"{}\"\nsilent_after = \"30 s\"\n",
        server.local_addr().unwrap()
    );
    let daemon = Daemon::start("halfopen", &body);
    let (mut first, _) = server.accept().unwrap();
    first.write_all(fix().as_bytes()).unwrap();
    let heard = Instant::now();
    // From here on the peer keeps the connection and says nothing.
    std::thread::sleep(Duration::from_secs(31));
    assert!(daemon.alert("feed silent")["text"].as_str().unwrap().starts_with("mux"));
    let (mut second, _) = server.accept().unwrap();
    assert!((55..75).contains(&heard.elapsed().as_secs()), "{:?}", heard.elapsed());
    second.write_all(sentence("IIHDT,77.0,T").as_bytes()).unwrap();
    until("the heading", || (daemon.status()["own"]["heading_deg"] == 77.0).then_some(()));
    drop(first);
    daemon.stop();
}
