//! The first time aboard: which port speaks, at which speed, and a first file of that.

use crate::aboard::uart::{Talker, garbled};
use crate::aboard::{Folder, sentence, text, verb};
use serde_json::Value;

/// A report as own AIS set gives it: line 363 of fixtures/recorded/ais-pyais.nmea. Its identity is 366053209 (pyais).
const OWN: &str = "!AIVDO,1,1,,B,15M67FC000G?ufbE`FepT@3n00Sa,0*5E\r\n";

fn instruments() -> String {
    sentence("GPRMC,021407.00,A,5048.000,N,00106.000,W,5.0,090.0,011126,,,A") + &sentence("SDDPT,12.5,0.0")
}

#[test]
fn a_line_read_at_another_speed_brings_no_sentence() {
    let sent = instruments();
    assert_eq!(garbled(sent.as_bytes(), 4800, 4800), sent.as_bytes());
    for read_at in [9600, 38_400, 115_200, 2400] {
        let heard = garbled(sent.as_bytes(), 4800, read_at);
        assert!(!heard.is_empty());
        assert!(!text(&heard).contains("RMC"), "at {read_at}: {}", text(&heard));
    }
}

#[test]
fn each_port_is_heard_at_its_own_speed_and_the_draft_is_a_whole_file_or_none() {
    let folder = Folder::new("ports");
    let slow = Talker::start(&instruments(), 4800);
    let fast = Talker::start(&(OWN.to_owned() + &sentence("AIALR,000000.00,001,V,V,none")), 38_400);
    // An old instrument: no checksums, at the speed that is tried third.
    let old = Talker::start("$SDDBT,41.0,f,12.5,M,6.8,F\r\n", 9600);
    let silent = Talker::start("", 4800);
    let gone = folder.0.join("gone");
    let ports = [&slow.path, &fast.path, &old.path, &silent.path, &gone].map(|p| p.to_str().unwrap());

    // A boat without feeds, as it is installed.
    let installed = format!("{}/systemd/boat.toml", env!("CARGO_MANIFEST_DIR"));
    let mut arguments = vec!["check", "--config", &installed, "--live"];
    arguments.extend(ports);
    let out = verb(&arguments);
    let said = text(&out.stderr);
    assert_eq!((out.status.code(), &*out.stdout), (Some(1), &b""[..]), "it would lack two ports: {said}");
    assert!(said.contains("no draft: it would lack a port"), "{said}");
    let of = |port: &str| said.lines().find(|l| l.starts_with(port)).unwrap_or_default();
    assert!(of(ports[0]).contains("speaks at 4800 baud: GPRMC "), "{said}");
    assert!(of(ports[0]).contains("SDDPT "), "{said}");
    assert!(of(ports[1]).contains("speaks at 38400 baud: AIALR "), "{said}");
    assert!(of(ports[2]).contains("speaks at 9600 baud, without checksums: SDDBT "), "{said}");
    assert!(of(ports[3]).ends_with("silent for 10 s"), "{said}");
    assert!(of(ports[4]).contains("No such file"), "{said}");

    // A new file gets the draft, and standard output then nothing.
    let boat = folder.0.join("boat.toml");
    let mut arguments = vec!["check", "--config", &installed, "--live", "--write", boat.to_str().unwrap()];
    arguments.extend(&ports[..3]);
    let out = verb(&arguments);
    let said = text(&out.stderr);
    assert!(out.status.success() && out.stdout.is_empty(), "{said}");
    assert!(said.ends_with("boat.toml: good, written\n"), "{said}");
    let check = verb(&["check", "--json", "--config", boat.to_str().unwrap()]);
    assert!(check.status.success(), "{}", text(&check.stdout));
    let draft = std::fs::read_to_string(&boat).unwrap();
    let read = boat::read("boat.toml", &draft).unwrap().0;
    assert_eq!(read.vessel.mmsi.unwrap().to_string(), "366053209");
    let feeds: Vec<&str> = read.feeds.iter().map(|f| f.name.as_str()).collect();
    assert_eq!(feeds, ["instruments", "ais", "instruments 2"]);
    assert!(read.feeds[2].checksum_optional && !read.feeds[0].checksum_optional);

    // What is there is not replaced, and not even looked at.
    std::fs::write(&boat, "mine").unwrap();
    let out = verb(&arguments);
    assert_eq!((out.status.code(), &*out.stdout), (Some(1), &b""[..]));
    assert!(text(&out.stderr).contains("is not replaced"), "{}", text(&out.stderr));
    assert_eq!(std::fs::read_to_string(&boat).unwrap(), "mine");
    let link = folder.0.join("link");
    std::os::unix::fs::symlink("nowhere", &link).unwrap();
    let out = verb(&["check", "--live", "--write", link.to_str().unwrap(), ports[1]]);
    assert!(text(&out.stderr).contains("is not replaced"), "{}", text(&out.stderr));

    let out = verb(&["check", "--config", &installed, "--live", ports[1]]);
    let draft = text(&out.stdout);
    assert!(draft.starts_with("version = 1\n") && boat::read("boat.toml", &draft).is_ok(), "{draft}");
    assert!(text(&out.stderr).contains("speaks at 38400 baud"), "{}", text(&out.stderr));

    let mut arguments = vec!["check", "--config", &installed, "--json", "--live"];
    arguments.push(ports[1]);
    let out = verb(&arguments);
    let lines: Vec<Value> = text(&out.stdout).lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert!(lines.last().unwrap()["offered"].as_str().unwrap().contains("baud = 38400"));
}

#[test]
fn where_no_port_speaks_nothing_is_offered_and_the_check_fails() {
    let out = verb(&["check", "--live", "/nowhere/port"]);
    assert_eq!(out.status.code(), Some(1));
    let said = text(&out.stderr);
    assert!(said.contains("/nowhere/port: No such file"), "{said}");
    assert!(out.stdout.is_empty(), "{}", text(&out.stdout));
    assert_eq!(verb(&["check", "/nowhere/port"]).status.code(), Some(2), "ports belong to --live");
}
