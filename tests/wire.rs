//! From wire to alert through the built binary: serial line, TCP, UDP, a command, a webhook, the control socket.

use crate::aboard::{Daemon, Folder, Receiver, SerialLine, sentence, text, until, verb};
use serde_json::{Value, json};
use std::io::Write;
use std::net::{TcpListener, UdpSocket};

/// Person overboard beacon under test and active: shared check value, from open test suites (decoded alike by two libraries);
/// the active one is a report of the same shape whose status is 14.
const MOB_TEST: &str = "!AIVDM,1,1,,A,>>O5`4tlt:1@E=@,2*15\r\n";
const MOB_STATUS_15: &str = "!AIVDM,1,1,,B,1>O5`4wP01:F?39b6mD>4?w81P00,0*0D\r\n";
const SART_STATUS_14: &str = "!AIVDM,1,1,,B,1>M46P>P00Os:IfM5ITf4?w60<00,0*37\r\n";

/// Own position near that beacon, 50.8 N 1.1 W.
fn own_position() -> String {
    sentence("GPRMC,021407.00,A,5048.000,N,00106.000,W,5.0,090.0,011126,,,A")
}

#[test]
fn a_beacon_on_a_serial_line_reaches_command_and_webhook() {
    let folder = Folder::new("serial");
    let device = folder.0.join("ais");
    let mut line = SerialLine::plug(&device);
    let receiver = Receiver::start(&[]);
    let heard = folder.0.join("heard");
    let daemon = Daemon::start_in(
        folder,
        &format!(
            "[[feed]]\nname = \"ais\"\nserial = {device:?}\nbaud = 38400\n\
             [[signal]]\nname = \"voice\"\ncommand = [\"tee\", \"-a\", {heard:?}]\n\
             [[signal]]\nname = \"helm\"\nwebhook = \"http://{}/alerts\"\n",
            receiver.address
        ),
    );
    until("the feed to come up", || (daemon.status()["feeds"][0]["state"] == "up").then_some(()));
    line.master.write_all(own_position().as_bytes()).unwrap();
    until("a fix", || daemon.status()["own"]["latitude_deg"].as_f64());
    // The quiet ones first: they must not raise.
    line.master.write_all(MOB_TEST.as_bytes()).unwrap();
    line.master.write_all(MOB_STATUS_15.as_bytes()).unwrap();
    line.master.write_all(SART_STATUS_14.as_bytes()).unwrap();
    let record = receiver.wait_for(|r| r["alert"]["priority"] == "emergency alarm");
    assert_eq!(record["event"], "raised");
    assert_eq!(record["casualty"]["beacon_mmsi"], 970_000_000);
    assert_eq!(record["casualty"]["source"], "ais");
    assert_eq!(record["version"], 1);
    assert!(record["log_id"].is_i64(), "on disk before it was told: {record}");
    let range = record["casualty"]["range_nm"].as_f64().unwrap();
    // Geodesic from 50.8 N 1.1 W to 50.82862 N 1.05676 W (GeographicLib): 2.370 nm.
    assert!((range - 2.370).abs() < 0.05, "{range}");
    until("the voice", || std::fs::read_to_string(&heard).ok().filter(|h| !h.is_empty()));
    let open = daemon.status()["alerts"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|a| a["priority"] == "emergency alarm")
        .count();
    assert_eq!(open, 1, "the beacon under test raised nothing");

    // It ends only by stand-down.
    assert!(daemon.tell(&["acknowledge"]).status.success());
    receiver.wait_for(|r| r["event"] == "acknowledged" && r["alert"]["priority"] == "emergency alarm");
    assert_eq!(daemon.status()["casualties"].as_array().unwrap().len(), 1);
    let wrong = daemon.tell(&["stand-down", "--reason", "tired"]);
    assert!(!wrong.status.success(), "a reason out of nowhere is refused");
    let stood_down = daemon.tell(&["stand-down", "--reason", "false activation"]);
    assert!(stood_down.status.success(), "{}", text(&stood_down.stderr));
    receiver.wait_for(|r| r["event"] == "cleared" && r["alert"]["priority"] == "emergency alarm");
    assert_eq!(daemon.status()["casualties"], json!([]));

    let review = verb(&["review", "--logbook", daemon.logbook().to_str().unwrap()]);
    assert!(review.status.success(), "{}", text(&review.stderr));
    assert!(text(&review.stdout).contains("970000000"), "{}", text(&review.stdout));
}

#[test]
fn an_adapter_that_is_unplugged_and_plugged_in_again_comes_back_by_itself() {
    let folder = Folder::new("replug");
    let device = folder.0.join("gps");
    let line = SerialLine::plug(&device);
    let daemon = Daemon::start_in(folder, &format!("[[feed]]\nname = \"gps\"\nserial = {device:?}\n"));
    until("up", || (daemon.status()["feeds"][0]["state"] == "up").then_some(()));
    drop(line);
    until("down", || daemon.status()["feeds"][0]["state"].as_str()?.starts_with("down").then_some(()));
    let mut line = SerialLine::plug(&device);
    until("up again", || (daemon.status()["feeds"][0]["state"] == "up").then_some(()));
    until("a fix", || {
        line.master.write_all(own_position().as_bytes()).unwrap();
        daemon.status()["own"]["latitude_deg"].as_f64()
    });
    daemon.stop();
}

#[test]
fn tcp_and_udp_feeds_bring_sentences_and_a_lost_server_is_tried_again() {
    let server = TcpListener::bind("127.0.0.1:0").unwrap();
    let udp = UdpSocket::bind("127.0.0.1:0").unwrap();
    let port = udp.local_addr().unwrap().port();
    drop(udp);
    let daemon = Daemon::start(
        "net",
        &format!(
            "[[feed]]\nname = \"mux\"\ntcp = \"{}\"\n[[feed]]\nname = \"net\"\nudp = \"127.0.0.1:{port}\"\n\
             [[feed]]\nname = \"group\"\nudp = \"0.0.0.0:{}\"\ngroup = \"239.192.0.4\"\ninterface = \"127.0.0.1\"\n",
            server.local_addr().unwrap(),
            port ^ 1
        ),
    );
    let (first, _) = server.accept().unwrap();
    drop(first);
    let (mut second, _) = server.accept().unwrap();
    // Split in the middle of a sentence, and with garbage before it.
    let line = own_position();
    second.write_all(b"\x00\xff garbage").unwrap();
    second.write_all(&line.as_bytes()[..20]).unwrap();
    second.write_all(&line.as_bytes()[20..]).unwrap();
    until("a fix over TCP", || daemon.status()["own"]["latitude_deg"].as_f64());

    let sender = UdpSocket::bind("127.0.0.1:0").unwrap();
    sender.set_multicast_ttl_v4(0).unwrap();
    until("a sentence by datagram", || {
        // No line end: the datagram's end is the sentence's. One bad line in front is counted and no more.
        sender
            .send_to(
                format!("$IIHDT,1*00\r\n{}", sentence("IIHDT,123.4,T").trim()).as_bytes(),
                ("127.0.0.1", port),
            )
            .unwrap();
        let status = daemon.status();
        assert!(status["feeds"][1]["refused"].is_u64());
        (status["own"]["heading_deg"] == 123.4 && status["feeds"][1]["refused"].as_u64()? > 0).then_some(())
    });
    let multicast = socket2::SockRef::from(&sender);
    multicast.set_multicast_if_v4(&std::net::Ipv4Addr::LOCALHOST).unwrap();
    multicast.set_multicast_loop_v4(true).unwrap();
    until("a sentence by multicast", || {
        sender.send_to(sentence("IIHDT,12.5,T").as_bytes(), ("239.192.0.4", port ^ 1)).unwrap();
        (daemon.status()["feeds"][2]["sentences"].as_u64()? > 0).then_some(())
    });
}

#[test]
fn a_receiver_that_fails_gets_every_alarm_once_it_is_back() {
    let receiver = Receiver::start(&[500, 503]);
    let daemon = Daemon::start(
        "retry",
        &format!("[[signal]]\nname = \"helm\"\nwebhook = \"http://{}/\"\n", receiver.address),
    );
    assert!(daemon.tell(&["overboard", "Ada"]).status.success());
    let record = receiver.wait_for(|r| r["casualty"]["source"] == "button");
    assert_eq!(record["casualty"]["crew"], "Ada");
    assert_eq!(record["casualty"]["position"], "none", "no fix was ever heard");
}

#[test]
fn a_second_daemon_on_the_same_socket_is_refused() {
    let daemon = Daemon::start("second", "");
    let out = verb(&["run", "--config", daemon.folder.0.join("boat.toml").to_str().unwrap()]);
    assert_eq!(out.status.code(), Some(1));
    assert!(text(&out.stderr).contains("another middlewatch stands its watch here"), "{}", text(&out.stderr));
}

#[test]
fn bad_files_are_told_with_line_and_column_and_78() {
    let folder = Folder::new("bad");
    let boat = folder.write("boat.toml", "version = 1\n[[feed]]\nname = \"a\"\nbuad = 3\n");
    for arguments in [["run", "--config"], ["check", "--config"]] {
        let out = verb(&[arguments[0], arguments[1], boat.to_str().unwrap()]);
        assert_eq!(out.status.code(), Some(78), "{arguments:?}");
        let said = text(&out.stdout) + &text(&out.stderr);
        assert!(said.contains("boat.toml:4:1: `buad` is not known here; did you mean `baud`?"), "{said}");
    }
}

#[test]
fn what_is_odd_is_shown_by_check_and_by_run_and_stops_nothing() {
    let body = "[[feed]]\nname = \"bus\"\nserial = \"/nowhere/bus\"\nbaud = 38000\n";
    let daemon = Daemon::start("odd", body);
    let odd = |line: &str| format!("boat.toml:{line}");
    let expected =
        [odd("5:8: warning: 38000 is an unusual speed"), odd("1:1: warning: there is no [[signal]]")];
    let boat = daemon.folder.0.join("boat.toml");
    let out = verb(&["check", "--config", boat.to_str().unwrap()]);
    let said = text(&out.stdout);
    assert_eq!(out.status.code(), Some(0), "{said}");
    assert!(
        expected.iter().all(|e| said.contains(e))
            && said.contains("boat.toml: usable, 1 feed, 0 signals, 0 crew, 2 warnings"),
        "{said}"
    );
    let out = verb(&["check", "--json", "--config", boat.to_str().unwrap()]);
    let lines: Vec<Value> = text(&out.stdout).lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    let warnings = lines.iter().filter(|l| l["warning"] == true && l["good"] == true);
    assert_eq!(warnings.count(), 2, "{lines:?}");
    assert!(expected.iter().all(|e| daemon.stderr().contains(e)), "{}", daemon.stderr());
}

#[test]
fn the_reference_shows_every_table_and_default() {
    let out = verb(&["check", "--reference"]);
    let said = text(&out.stdout);
    assert_eq!(out.status.code(), Some(0));
    for part in
        ["\n[[feed]] # ", "\n[control] # ", "\nsilent_after = \"1 h 30 min\" # silence that raises an alert;"]
    {
        assert!(said.contains(part), "{said}");
    }
    assert_eq!(verb(&["check", "--reference", "--live"]).status.code(), Some(2));
}

#[test]
fn bad_orders_do_not_keep_the_watch_from_standing() {
    let folder = Folder::new("orders");
    let orders = folder.write("orders.toml", "version = 1\n[[order]]\nname = 3\n");
    let daemon = Daemon::start_in(folder, &format!("[orders]\npath = {orders:?}\n"));
    let alert = daemon.alert("orders not loaded");
    assert_eq!(alert["priority"], "warning");
    std::fs::write(
        &orders,
        "version = 1\n[[order]]\nname = \"anything\"\npriority = \"caution\"\nwhen = \"SOG is over 1 kn\"\ntext = \"x\"\n",
    )
    .unwrap();
    let out = daemon.tell(&["reload"]);
    assert!(out.status.success(), "{}", text(&out.stderr));
    until("the warning to end", || {
        let open = daemon.status();
        let state =
            open["alerts"].as_array()?.iter().find(|a| a["order"] == "orders not loaded")?["state"].clone();
        (state == "rectified-unacknowledged").then_some(())
    });
}

#[test]
fn a_file_that_grows_and_standard_input_are_feeds_too() {
    let folder = Folder::new("file");
    let log = folder.write("log.txt", &own_position());
    let mut daemon = Daemon::start_in(
        folder,
        &format!(
            "[[feed]]\nname = \"log\"\nfile = {log:?}\n[[feed]]\nname = \"pipe\"\nstandard_input = true\n"
        ),
    );
    until("the fix that was there", || daemon.status()["own"]["latitude_deg"].as_f64());
    std::fs::OpenOptions::new()
        .append(true)
        .open(&log)
        .unwrap()
        .write_all(sentence("IIHDT,77.0,T").as_bytes())
        .unwrap();
    until("the line that was added", || (daemon.status()["own"]["heading_deg"] == 77.0).then_some(()));
    let mut pipe = daemon.standard_input().unwrap();
    pipe.write_all(sentence("SDDPT,12.5,0.0").as_bytes()).unwrap();
    until("the line through the pipe", || daemon.status()["own"]["depth_m"].as_f64());
    drop(pipe);
    until("its end", || (daemon.status()["feeds"][1]["state"] == "ended").then_some(()));
    daemon.stop();
}

#[test]
fn a_casualty_outlasts_the_daemon() {
    let daemon = Daemon::start("crash", "");
    assert!(daemon.tell(&["overboard", "Ada"]).status.success());
    let first = daemon.alert("person overboard");
    // It is told before the disk has it, and a loaded disk takes its time.
    let logbook = rusqlite::Connection::open(daemon.logbook()).unwrap();
    let sql = "SELECT 1 FROM alerts WHERE event = 'raised' AND order_name = 'person overboard'";
    until("the record", || logbook.query_row(sql, [], |_| Ok(())).ok());
    drop(logbook);
    let folder = daemon.crash();
    let daemon = Daemon::start_in(folder, "");
    let again = daemon.alert("person overboard");
    assert_eq!(again["state"], "active-unacknowledged");
    assert_eq!(again["id"], first["id"], "the same alert goes on");
    assert_eq!(daemon.status()["casualties"][0]["crew"], "Ada");
    let brief = daemon.tell(&["casualty", "--brief"]);
    assert!(text(&brief.stdout).contains("MAYDAY"), "{}", text(&brief.stderr));
    let copy = daemon.folder.0.join("copy.db");
    let backup = daemon.tell(&["backup", copy.to_str().unwrap()]);
    assert!(backup.status.success(), "{}", text(&backup.stderr));
    let review = verb(&["review", "--logbook", copy.to_str().unwrap()]);
    assert!(text(&review.stdout).contains("Ada"), "{}", text(&review.stderr));
    assert!(daemon.tell(&["stand-down", "--reason", "recovered"]).status.success());
    let folder = daemon.stop();
    let daemon = Daemon::start_in(folder, "");
    assert_eq!(daemon.status()["casualties"], json!([]), "what was stood down stays so");
}

#[test]
fn the_watch_is_handed_over_and_the_watch_alarm_is_reset() {
    let daemon = Daemon::start(
        "handover",
        "[watch]\nskipper = \"Ada\"\nalarm = { dormant_period = \"12 min\", reset_from = [\"helm\"] }\n",
    );
    let told = daemon.tell(&["handover", "Ben"]);
    assert!(text(&told.stdout).contains("Ben has the watch"), "{}", text(&told.stderr));
    assert!(text(&daemon.tell(&["handover"]).stdout).contains("On watch: Ben"));
    assert!(daemon.tell(&["watch-alarm", "reset", "helm"]).status.success());
    let here = daemon.tell(&["watch-alarm", "reset"]);
    assert!(text(&here.stdout).contains("it asks again in 12 min"), "{}", text(&here.stderr));
    let status = daemon.tell(&["status"]);
    assert!(text(&status.stdout).contains("Watch alarm: on, asks in "), "{}", text(&status.stdout));
    assert_eq!(
        daemon.tell(&["watch-alarm", "on", "helm"]).status.code(),
        Some(2),
        "only a reset has a place"
    );
    let bunk = daemon.tell(&["watch-alarm", "reset", "bunk"]);
    assert!(text(&bunk.stderr).contains("no lookout position"), "{}", text(&bunk.stderr));
    let ship = daemon.tell(&["ship-time", "-3:30"]);
    assert!(text(&ship.stdout).starts_with("ship's time is UTC−3:30"), "{}", text(&ship.stderr));
    assert!(text(&daemon.tell(&["status"]).stdout).contains("UTC−3:30"));
    assert_eq!(daemon.tell(&["ship-time", "noon"]).status.code(), Some(2));
    assert_eq!(daemon.tell(&["ship-time", "zone"]).status.code(), Some(1), "nobody knows where she is");
    assert!(daemon.tell(&["watch-alarm", "off"]).status.success());
    daemon.tell(&["acknowledge"]);
    let again = daemon.tell(&["acknowledge"]);
    assert_eq!(again.status.code(), Some(1));
    assert!(text(&again.stderr).contains("nothing to acknowledge"), "{}", text(&again.stderr));
}

#[test]
fn a_search_is_planned_from_the_mark() {
    let folder = Folder::new("search");
    let log = folder.write("log.txt", &own_position());
    let daemon = Daemon::start_in(folder, &format!("[[feed]]\nname = \"log\"\nfile = {log:?}\n"));
    until("a fix", || daemon.status()["own"]["latitude_deg"].as_f64());
    assert!(daemon.tell(&["overboard"]).status.success());
    let gpx = daemon.folder.0.join("search.gpx");
    let search = |more: &[&str]| {
        daemon.tell(&[&["casualty", "--search", "square", "--spacing", "0.1"], more].concat())
    };
    let plan = search(&["--gpx", gpx.to_str().unwrap()]);
    assert!(plan.status.success(), "{}", text(&plan.stderr));
    assert!(text(&plan.stdout).contains("coordinator ashore"), "{}", text(&plan.stdout));
    assert!(std::fs::read_to_string(&gpx).unwrap().contains("<rte>"));

    std::fs::remove_file(&gpx).unwrap();
    let plan = search(&["--json", "--gpx", gpx.to_str().unwrap()]);
    assert!(serde_json::from_slice::<serde_json::Value>(&plan.stdout).unwrap()["plan"].is_string());
    assert!(gpx.exists(), "for a program, too");
    let nowhere = gpx.join("search.gpx");
    let plan = search(&["--gpx", nowhere.to_str().unwrap()]);
    assert_eq!(plan.status.code(), Some(1));
    assert!(text(&plan.stdout).contains("coordinator ashore"), "the plan is told all the same");
    assert!(text(&plan.stderr).contains(nowhere.to_str().unwrap()), "{}", text(&plan.stderr));
    assert!(!daemon.tell(&["casualty", "--search", "spiral"]).status.success());
}
