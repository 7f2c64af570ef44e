//! Sentences kept on request: a watch that was recorded is repeated by `replay`, alert for alert.

use crate::aboard::{Daemon, Folder, middlewatch, sentence, text, until, verb};
use crate::records::Disk;
use boat::{Boat, Sentences};
use middlewatch::clock::Clock;
use middlewatch::recording::{Boots, Opened, Recorder, opened};
use serde_json::Value;
use std::fs::File;
use std::net::{SocketAddr, UdpSocket};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use terms::{FeedId, Moment};
use watch::{Begin, Input, Watch};

/// An active beacon at 50.82862 N 1.05676 W, as in the other tests of the whole.
const BEACON: &str = "!AIVDM,1,1,,B,1>M46P>P00Os:IfM5ITf4?w60<00,0*37\r\n";

fn files(folder: &Path) -> Vec<PathBuf> {
    let Ok(there) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut files: Vec<PathBuf> = there.map(|e| e.unwrap().path()).collect();
    files.sort();
    files
}

/// The event records of a logbook.
fn logged(logbook: &Path) -> Vec<Value> {
    let c = rusqlite::Connection::open(logbook).unwrap();
    let mut s = c.prepare("SELECT record FROM event_rows ORDER BY id").unwrap();
    let rows = s.query_map([], |r| r.get::<_, String>(0)).unwrap();
    rows.map(|r| serde_json::from_str(&r.unwrap()).unwrap()).collect()
}

/// The event records of a replay.
fn replayed(boat: &Path, files: &[PathBuf]) -> Vec<Value> {
    let out = middlewatch()
        .args(["replay", "--json", "--config"])
        .arg(boat)
        .args(files)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    assert!(out.status.success(), "{}", text(&out.stderr));
    text(&out.stdout).lines().map(|l| serde_json::from_str(l).unwrap()).collect()
}

/// All of an event but its row in the logbook, and its steady time in milliseconds.
fn essence(r: &Value) -> (Value, i64) {
    let mut what = r.clone();
    let steady_s = what["steady_s"].take().as_f64().unwrap();
    what["log_id"].take();
    (what, (steady_s * 1000.0).round() as i64)
}

/// The same events with the same words, values and UTC, to the millisecond.
fn assert_same(live: &[Value], again: &[Value]) {
    assert_eq!(live.len(), again.len(), "{live:#?}\n{again:#?}");
    // Steady time of a replay counts from its first line.
    let began_ms = essence(&live[0]).1 - essence(&again[0]).1;
    for (l, a) in live.iter().zip(again) {
        let ((live, live_ms), (again, again_ms)) = (essence(l), essence(a));
        assert_eq!((live, live_ms - began_ms), (again, again_ms));
    }
}

struct Wires {
    wire: UdpSocket,
    bus: SocketAddr,
    ais: SocketAddr,
}

impl Wires {
    fn new() -> Self {
        let free = || UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
        Self { wire: UdpSocket::bind("127.0.0.1:0").unwrap(), bus: free(), ais: free() }
    }

    fn feeds(&self) -> String {
        format!(
            "[[crew]]\nname = \"Ada\"\nbeacon = \"970000000\"\n\
             [[feed]]\nname = \"bus of the mast\"\nudp = \"{}\"\nsilent_after = \"4 s\"\ntrusted = true\n\
             [[feed]]\nname = \"ais\"\nudp = \"{}\"\nsilent_after = \"1 h\"\n",
            self.bus, self.ais
        )
    }

    fn bus(&self, body: &str) {
        self.wire.send_to(sentence(body).as_bytes(), self.bus).unwrap();
    }

    fn ais(&self, line: &str) {
        self.wire.send_to(line.as_bytes(), self.ais).unwrap();
    }
}

fn order(name: &str, limit_m: u32) -> String {
    format!(
        "version = 1\n[[order]]\nname = \"{name}\"\npriority = \"alarm\"\n\
         when = \"depth below transducer is under {limit_m} m\"\nheld = \"1 s\"\ntext = \"{{depth below transducer}}\"\n"
    )
}

#[test]
fn a_recorded_watch_with_its_acts_is_repeated_alert_for_alert() {
    let wires = Wires::new();
    let folder = Folder::new("recorded");
    folder.write("orders.toml", &order("shoal", 5));
    let body = format!(
        "{}[[signal]]\nname = \"broken\"\ncommand = [\"/no/such/program\"]\n\
         [logbook]\npath = \"logbook.db\"\nsentences = \"sentences\"\n[orders]\npath = \"orders.toml\"\n",
        wires.feeds()
    );
    let daemon = Daemon::start_in(folder, &body);
    let path = daemon.folder.0.clone();
    let gone = |order: &str| {
        until(&format!("the end of {order}"), || {
            let status = daemon.try_status()?;
            let alerts = status["alerts"].as_array()?;
            (!alerts.iter().any(|a| a["order"] == order)).then_some(())
        });
    };
    let depth = |m: f64| {
        wires.bus("GPRMC,,A,5049.6138,N,00103.5425,W,5.0,080.0,,,,A");
        wires.bus(&format!("SDDPT,{m:.1},0.0,"));
    };
    // Shoal water, acknowledged; the signal that fails at it is an alert too.
    until("shoal water", || {
        depth(2.0);
        daemon.try_status()?["alerts"].as_array()?.iter().any(|a| a["order"] == "shoal").then_some(())
    });
    daemon.alert("signal failing");
    let tell = |arguments: &[&str]| {
        let out = daemon.tell(arguments);
        assert!(out.status.success(), "{arguments:?}: {}", text(&out.stderr));
    };
    let shoal = daemon.alert("shoal")["id"].to_string();
    tell(&["silence", &shoal]);
    tell(&["acknowledge", &shoal]);
    depth(20.0);
    gone("shoal");
    // Somebody overboard by beacon, somebody by button.
    wires.ais(BEACON);
    // A bridge acknowledges it by a sentence of a trusted feed.
    let id = daemon.alert("person overboard")["id"].clone();
    wires.bus(&format!("IIACN,021500.00,,10001,{id},A,C"));
    until("the bridge's word", || {
        (daemon.alert("person overboard")["state"] == "active-acknowledged").then_some(())
    });
    tell(&["overboard", "Bo"]);
    tell(&["acknowledge"]);
    tell(&["declare", "hove to"]);
    tell(&["note", "It's cold: $5 for a tea!\\ *"]);
    tell(&["casualty", "2", "--search", "square", "--spacing", "0.1", "--searched"]);
    tell(&["stand-down", "2", "--reason", "recovered"]);
    tell(&["handover", "Cleo"]);
    // Other orders, by which the same water is shoal.
    std::fs::write(path.join("orders.toml"), order("deeper", 30)).unwrap();
    tell(&["reload"]);
    until("the other order", || {
        depth(20.0);
        daemon.try_status()?["alerts"].as_array()?.iter().any(|a| a["order"] == "deeper").then_some(())
    });
    // The mast goes silent, and speaks again.
    daemon.alert("feed silent");
    depth(40.0);
    until("water again", || (daemon.alert("deeper")["state"] == "rectified-unacknowledged").then_some(()));
    tell(&["acknowledge"]);
    gone("deeper");
    let folder = daemon.stop();

    let live = logged(&folder.0.join("logbook.db"));
    let kinds: Vec<&str> = live.iter().filter_map(|r| r["event"].as_str()).collect();
    for kind in ["raised", "silenced", "acknowledged", "rectified", "cleared"] {
        assert!(kinds.contains(&kind), "{kind} is not among {kinds:?}");
    }
    let kept = files(&folder.0.join("sentences"));
    assert_eq!(kept.len(), 1, "{kept:?}");
    let again = replayed(&folder.0.join("boat.toml"), &kept);
    assert_same(&live, &again);

    // Anybody's tools read it: each sentence stands in it behind a TAG block that tells feed and time.
    let unpacked = Command::new("gzip").args(["-dc"]).arg(&kept[0]).output().unwrap();
    assert!(unpacked.status.success());
    let lines = text(&unpacked.stdout);
    let beacon = lines.lines().find(|l| l.contains("AIVDM")).unwrap();
    assert!(beacon.starts_with("\\s:ais,c:1") && beacon.ends_with(BEACON.trim_end()), "{beacon}");
    // And so does `listen`, which passes over what is no sentence.
    let plain = folder.write("plain.nmea", &lines);
    let listened = verb(&["listen", "--json", plain.to_str().unwrap()]);
    let heard = text(&listened.stdout);
    assert!(heard.lines().any(|l| l.contains("970000000")), "{heard}");
    assert_same(&live, &replayed(&folder.0.join("boat.toml"), &[plain]));
}

#[test]
fn a_recording_that_was_cut_off_is_replayed_as_far_as_it_goes_and_the_next_run_goes_on() {
    let wires = Wires::new();
    let body = format!("{}[logbook]\npath = \"logbook.db\"\nsentences = \"sentences\"\n", wires.feeds());
    let daemon = Daemon::start("cut-off", &body);
    let kept = daemon.folder.0.join("sentences");
    wires.bus("GPRMC,,A,5049.6138,N,00103.5425,W,5.0,080.0,,,,A");
    wires.ais(BEACON);
    daemon.alert("person overboard");
    // What was compressed goes to the disk every few seconds.
    until("the beacon on disk", || {
        let unpacked = Command::new("gzip").args(["-dc"]).arg(files(&kept).first()?).output().unwrap();
        text(&unpacked.stdout).contains(BEACON.trim_end()).then_some(())
    });
    let folder = daemon.crash();
    let raised = |files: &[PathBuf]| {
        let events = replayed(&folder.0.join("boat.toml"), files);
        events.iter().filter(|e| e["event"] == "raised" && e["alert"]["order"] == "person overboard").count()
    };
    assert_eq!(raised(&files(&kept)), 1);
    // Cut anywhere, it is replayed up to there.
    let whole = std::fs::read(&files(&kept)[0]).unwrap();
    for part in [0, 1, 5, 20, whole.len() / 2, whole.len() - 1] {
        let cut = folder.0.join("cut.nmea.gz");
        std::fs::write(&cut, &whole[..part]).unwrap();
        assert!(raised(&[cut]) <= 1, "{part}");
    }

    let daemon = Daemon::start_described(folder, &daemon_boat(&kept), &[]);
    assert_eq!(daemon.status()["casualties"].as_array().unwrap().len(), 1);
    daemon.tell(&["stand-down", "--reason", "recovered"]);
    let folder = daemon.stop();
    let kept = files(&kept);
    assert_eq!(kept.len(), 2, "{kept:?}");
    // The second file alone knows the casualty that was open, and both together tell the whole.
    for files in [&kept[1..], &kept] {
        let events = replayed(&folder.0.join("boat.toml"), files);
        let cleared = |e: &&Value| e["event"] == "cleared" && e["alert"]["order"] == "person overboard";
        assert_eq!(events.iter().filter(cleared).count(), 1, "{events:?}");
    }
}

fn daemon_boat(kept: &Path) -> PathBuf {
    kept.with_file_name("boat.toml")
}

#[test]
fn a_folder_that_cannot_be_written_is_an_alert_and_the_watch_and_logbook_go_on() {
    let wires = Wires::new();
    let folder = Folder::new("no-folder");
    let in_the_way = folder.write("sentences", "a file lies where the folder should be");
    let body = format!("{}[logbook]\npath = \"logbook.db\"\nsentences = \"sentences\"\n", wires.feeds());
    let daemon = Daemon::start_in(folder, &body);
    let alert = daemon.alert("logbook failing");
    let words = alert["text"].as_str().unwrap();
    assert!(words.starts_with("Sentences are not kept, watch and logbook go on: "), "{words}");
    wires.ais(BEACON);
    daemon.alert("person overboard");
    // When there is room again, it goes on by itself.
    std::fs::remove_file(&in_the_way).unwrap();
    until("the end of the trouble", || {
        let status = daemon.try_status()?;
        let alert = status["alerts"].as_array()?.iter().find(|a| a["order"] == "logbook failing").cloned();
        alert.is_none_or(|a| a["state"] == "rectified-unacknowledged").then_some(())
    });
    assert_eq!(files(&in_the_way).len(), 1);
    let told = logged(&daemon.logbook());
    assert!(
        told.iter().any(|r| r["event"] == "raised" && r["alert"]["order"] == "person overboard"),
        "{told:?}"
    );
}

#[test]
fn the_files_together_stay_below_their_limit_and_the_oldest_go() {
    let folder = Folder::new("limit");
    let kept = folder.0.join("sentences");
    let limit_bytes = 1_000_000;
    let boat = Boat { sentences: Some(Sentences { folder: kept.clone(), limit_bytes }), ..Boat::default() };
    let mut watch = Watch::new(&boat);
    let mut recorder = Recorder::start(&boat);
    let begin = Input::Begin(Box::new(Begin { utc: Some(Clock.utc()), ..Begin::default() }));
    recorder.input(Moment(0), &begin, &watch);
    watch.take(Moment(0), begin).unwrap();
    let mut seed = 1u64;
    let mut largest = 0;
    for n in 0..120_000i64 {
        let at = Moment(n * 100);
        recorder.pass(at, &watch);
        // Little in it repeats, so that it packs badly.
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let line = sentence(&format!("PXYZ,{seed:016X},{:016X}", seed.rotate_left(23).wrapping_mul(3)));
        recorder.input(at, &Input::Line(FeedId(0), line.trim_end().parse().unwrap()), &watch);
        if n % 1000 == 0 {
            let size = files(&kept).iter().filter_map(|f| f.metadata().ok()).map(|m| m.len()).sum();
            largest = std::cmp::max(largest, size);
            // The writing thread has a core to share.
            std::thread::sleep(std::time::Duration::from_millis(15));
        }
    }
    recorder.stop();
    let there = files(&kept);
    let first = there[0].file_name().unwrap().to_string_lossy().into_owned();
    println!("{largest} bytes at most, {} files, the oldest {first}", there.len());
    assert!(largest <= limit_bytes, "{largest}");
    assert!(largest > limit_bytes / 2, "{largest}: more could be kept");
    assert!(!first.starts_with("000001-"), "{first}");
    // Each file begins with a head and is whole.
    for path in &there {
        let Opened::Recording(mut reading) =
            opened(Box::new(File::open(path).unwrap()), &Boots::default()).unwrap()
        else {
            panic!("{path:?} is no recording")
        };
        assert!(matches!(reading.take_next().unwrap(), Some(Input::Begin(_))), "{path:?}");
    }
}

#[test]
#[ignore = "mounts a small disk, and so needs to be root"]
fn a_full_disk_stops_the_recording_and_neither_watch_nor_logbook() {
    let wires = Wires::new();
    let folder = Folder::new("full");
    let mounted = folder.0.join("sentences");
    let disk = Disk::new(&mounted, 100);
    let body = format!("{}[logbook]\npath = \"logbook.db\"\nsentences = \"sentences\"\n", wires.feeds());
    let daemon = Daemon::start_in(folder, &body);
    let mut seed = 1u64;
    let alert = until("the alert", || {
        for _ in 0..100 {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            wires.bus(&format!("PXYZ,{seed:016X},{:016X}", seed.rotate_left(23).wrapping_mul(3)));
        }
        let status = daemon.try_status()?;
        status["alerts"].as_array()?.iter().find(|a| a["order"] == "logbook failing").cloned()
    });
    assert!(alert["text"].as_str().unwrap().contains("No space left"), "{alert}");
    wires.ais(BEACON);
    daemon.alert("person overboard");
    disk.mount("remount,size=10m");
    until("room", || (daemon.alert("logbook failing")["state"] == "rectified-unacknowledged").then_some(()));
    let kept = files(&mounted);
    let folder = daemon.stop();
    let boat = folder.0.join("boat.toml");
    // What was there when the disk was full can be read, and the next file goes on.
    assert!(kept.len() >= 2, "{kept:?}");
    for file in kept {
        let head = |e: &Value| e["alert"]["order"] != "logbook failing";
        assert!(replayed(&boat, &[file]).iter().filter(|e| head(e)).count() < 10);
    }
}
