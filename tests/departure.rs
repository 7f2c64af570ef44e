//! The departure check as a person holds it: at a terminal, with wires, a receiver ashore, a button and a beacon.

use crate::aboard::{
    Daemon, Folder, Receiver, SerialLine, middlewatch, pseudo_terminal, sentence, text, until,
};
use sentence::ais::{AisReport, PositionSource};
use sentence::encode;
use serde_json::Value;
use std::fs::File;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ExitStatus, Stdio};
use std::sync::{Arc, Mutex};
use terms::{Mmsi, Position};

/// A departure under way, with a person at its terminal.
struct Person {
    child: Child,
    terminal: File,
    heard: Arc<Mutex<String>>,
}

impl Person {
    fn at(daemon: &Daemon, arguments: &[&str]) -> Self {
        let (terminal, far_end, _) = pseudo_terminal();
        let mut child = middlewatch()
            .arg("departure")
            .args(arguments)
            .arg("--control")
            .arg(daemon.folder.0.join("control.sock"))
            .stdin(Stdio::from(far_end))
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let heard = Arc::new(Mutex::new(String::new()));
        let (mut from, to) = (child.stderr.take().unwrap(), heard.clone());
        std::thread::spawn(move || {
            let mut bytes = [0; 512];
            while let Ok(n @ 1..) = from.read(&mut bytes) {
                to.lock().unwrap().push_str(&text(&bytes[..n]));
            }
        });
        Self { child, terminal, heard }
    }

    /// Waits to be asked, then does something and types a line, if any.
    fn when(&mut self, asked: &str, line: Option<&str>) {
        until(asked, || {
            let mut heard = self.heard.lock().unwrap();
            let at = heard.find(asked)?;
            *heard = heard.split_off(at + asked.len());
            Some(())
        });
        if let Some(line) = line {
            self.terminal.write_all(format!("{line}\n").as_bytes()).unwrap();
        }
    }

    fn end(mut self) -> (ExitStatus, String) {
        let status = until("the departure check's end", || self.child.try_wait().unwrap());
        let mut sheet = String::new();
        self.child.stdout.take().unwrap().read_to_string(&mut sheet).unwrap();
        (status, sheet)
    }
}

struct Boat {
    daemon: Daemon,
    ais: SerialLine,
    bus: SerialLine,
    rail: PathBuf,
    horn: PathBuf,
    receiver: Receiver,
}

fn boat(name: &str, statuses: &[u16]) -> Boat {
    let folder = Folder::new(name);
    let (bus, ais, rail, horn) =
        (folder.0.join("bus"), folder.0.join("ais"), folder.0.join("rail"), folder.0.join("horn"));
    nix::unistd::mkfifo(&rail, nix::sys::stat::Mode::S_IRWXU).unwrap();
    let (bus_line, ais_line) = (SerialLine::plug(&bus), SerialLine::plug(&ais));
    let receiver = Receiver::start(statuses);
    let daemon = Daemon::start_in(
        folder,
        &format!(
            "[vessel]\nname = \"Wendelin\"\nmmsi = \"211000001\"\n\
             [[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\nuntil = \"2020-01\"\n\
             [[feed]]\nname = \"bus\"\nserial = {bus:?}\n[[feed]]\nname = \"ais\"\nserial = {ais:?}\n\
             [[signal]]\nname = \"horn\"\nbuzzer = {{ recorded = {horn:?} }}\n\
             [[signal]]\nname = \"shore\"\nwebhook = \"http://{}/\"\n\
             [[button]]\nname = \"rail\"\nline = {{ recorded = {rail:?} }}\ndoes = \"overboard\"\nhold = \"0.2 s\"\n",
            receiver.address
        ),
    );
    Boat { daemon, ais: ais_line, bus: bus_line, rail, horn, receiver }
}

/// A beacon's message under test, at a position.
fn beacon_test(latitude: f64) -> String {
    let mut report = AisReport::new(1, 0, Mmsi::new(972_000_001).unwrap());
    report.nav_status = Some(15);
    report.position = Position::new(latitude, -5.0).ok();
    report.position_source = Some(PositionSource::Fix);
    encode::ais(&report, "AI", 'A', 0).concat() + "\r\n"
}

/// How an item stands in a list of them.
fn item(items: &Value, what: &str) -> (String, String) {
    let item = items.as_array().unwrap().iter().find(|i| i["what"] == what);
    let item = item.unwrap_or_else(|| panic!("no {what} in {items}"));
    (item["verdict"].as_str().unwrap().to_owned(), item["words"].as_str().unwrap().to_owned())
}

fn entry(logbook: &Path) -> (String, Option<String>, Value) {
    let c = rusqlite::Connection::open(logbook).unwrap();
    let row = |r: &rusqlite::Row<'_>| Ok((r.get(0)?, r.get(1)?, r.get::<_, String>(2)?));
    let sql = "SELECT text, who, facts FROM entries WHERE kind = 'departure check'";
    let (told, who, facts) = c.query_row(sql, [], row).unwrap();
    (told, who, serde_json::from_str(&facts).unwrap())
}

#[test]
fn a_departure_check_is_made_at_a_terminal_with_wires_a_receiver_a_button_and_a_beacon() {
    let mut b = boat("departure", &[]);
    let copy = b.daemon.folder.0.join("copy.db");
    assert!(b.daemon.tell(&["backup", copy.to_str().unwrap()]).status.success());
    let page = b.daemon.folder.0.join("sheet.html");
    let mut person = Person::at(&b.daemon, &["--html", page.to_str().unwrap()]);
    person.when("Who checks the boat?", Some("Bo"));
    person.when("Sounder horn sounds now", None);
    until("the horn", || std::fs::read_to_string(&b.horn).is_ok_and(|t| !t.is_empty()).then_some(()));
    person.when("[y]es [n]o, Enter to skip", Some("perhaps"));
    person.when("[y]es [n]o, Enter to skip", Some("yes"));
    person.when("Webhook shore is tried", None);
    let record = b.receiver.wait_for(|r| r["alert"]["order"] == "signal test");
    assert_eq!(record["alert"]["exercise"], true);
    person.when("Press the button rail", None);
    let mut rail = std::fs::OpenOptions::new().write(true).open(&b.rail).unwrap();
    rail.write_all(b"1").unwrap();
    person.when("Ada: start the test of your beacon now", None);
    rail.write_all(b"0").unwrap();
    let now = b.daemon.status()["at"].as_str().unwrap().replace(['-', ':'], "");
    let (date, time) = (format!("{}{}{}", &now[6..8], &now[4..6], &now[2..4]), &now[9..15]);
    let rmc = format!("GPRMC,{time},A,4800.000,N,00500.000,W,0.0,0.0,{date},,");
    b.bus.master.write_all(sentence(&rmc).as_bytes()).unwrap();
    until("the fix", || b.daemon.status()["own"]["latitude_deg"].as_f64());
    b.ais.master.write_all(beacon_test(48.0 + 0.5 / 60.0).as_bytes()).unwrap();
    let (status, sheet) = person.end();
    assert_eq!(status.code(), Some(1), "a battery that ran out is no good departure check:\n{sheet}");
    assert!(sheet.starts_with("Departure check of Wendelin, "), "{sheet}");
    assert!(sheet.find("FAILED").unwrap() < sheet.find("PASSED").unwrap(), "{sheet}");

    let (told, who, facts) =
        until("the logbook", || std::panic::catch_unwind(|| entry(&b.daemon.logbook())).ok());
    assert!(told.starts_with("Departure check: ") && told.contains("Failed: "), "{told}");
    assert!(told.contains("beacon battery of Ada"), "{told}");
    assert_eq!(who.as_deref(), Some("Bo"));
    for (what, words) in [
        ("sounder horn", "heard"),
        ("webhook shore", "received"),
        ("button rail", "pressed"),
        ("beacon of Ada", "0.50 nm off"),
        ("copy of the logbook", "0 days old"),
        ("fix", "48°00.00′N"),
        ("orders loaded", "from"),
    ] {
        let (verdict, told) = item(&facts["items"], what);
        assert!(verdict == "passed" && told.contains(words), "{what}: {verdict}, {told}");
    }
    let by = facts["items"].as_array().unwrap().iter().find(|l| l["what"] == "sounder horn").unwrap();
    assert_eq!(by["by"], "Bo");
    assert!(b.daemon.status()["casualties"].as_array().unwrap().is_empty(), "the press was a try");
    assert!(std::fs::read_to_string(&page).unwrap().contains("<td>beacon of Ada</td>"));

    // The same button after the departure check.
    rail.write_all(b"1").unwrap();
    b.daemon.alert("person overboard");
}

#[test]
fn what_nobody_hears_presses_or_receives_fails_and_what_is_left_out_is_not_tried() {
    let b = boat("departurebad", &[500, 500]);
    let mut person = Person::at(&b.daemon, &["--by", "Ada", "--wait", "1", "--json"]);
    person.when("Sounder horn sounds now", Some("no"));
    person.when("Press the button rail", None);
    person.when("nothing came", None);
    person.when("Ada: start the test", None);
    person.when("nothing came", None);
    let (status, sheet) = person.end();
    assert_eq!(status.code(), Some(1));
    let told: Value = serde_json::from_str(&sheet).unwrap();
    for (what, words) in [
        ("sounder horn", "sounded, and was not heard"),
        ("webhook shore", "500"),
        ("button rail", "no press came"),
        ("beacon of Ada", "not heard within 1 s"),
        ("feed bus", "never heard"),
        ("fix", "none"),
        ("copy of the logbook", "never made"),
        ("own AIS transmitter", "not heard"),
        ("AIS traffic", "nobody heard"),
        ("beacon battery of Ada", "ran out on 2020-01-31"),
    ] {
        let (verdict, told) = item(&told["items"], what);
        assert!(verdict == "failed" && told.contains(words), "{what}: {verdict}, {told}");
    }
    assert_eq!(told["items"][0]["verdict"], "failed", "what is missing comes first");

    let mut person = Person::at(&b.daemon, &["--by", "Ada", "--json"]);
    person.when("Sounder horn", Some(""));
    person.when("Press the button rail", Some(""));
    person.when("Ada: start the test", Some(""));
    let (_, sheet) = person.end();
    let told: Value = serde_json::from_str(&sheet).unwrap();
    for what in ["sounder horn", "button rail", "beacon of Ada"] {
        assert_eq!(item(&told["items"], what).0, "not-tried", "{what}");
    }
    // Nobody there at all: it ends by itself, and what needs a person is not tried.
    let out = b.daemon.tell(&["departure", "--json", "--by", "nobody"]);
    let told: Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(item(&told["items"], "sounder horn").0, "not-tried");
    // To look changes nothing.
    let out = b.daemon.tell(&["departure", "--look"]);
    assert!(text(&out.stdout).contains("NOT TRIED"), "{}", text(&out.stdout));
}
