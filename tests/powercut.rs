//! Power cuts: a daemon under load is killed at moments nobody chose, and what it told must stand in its logbook.

use crate::aboard::{Daemon, Folder, Receiver, SerialLine, alone, middlewatch, sentence, shim};
use crate::records::{ask, at, open, own, wait_for};
use middlewatch::clock::Clock;
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::net::UdpSocket;
use std::path::Path;
use std::process::Stdio;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// An active beacon at 50.82862 N 1.05676 W, as in the other tests of the whole.
const BEACON: &str = "!AIVDM,1,1,,B,1>M46P>P00Os:IfM5ITf4?w60<00,0*37\r\n";
/// What a disk writes as one piece, or not at all.
const SECTOR: usize = 512;

/// Numbers in no order, the same each time.
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % n
    }
}

/// Four instruments that swing over the limits of their orders many times a second, own position and a beacon.
fn load(feed: std::net::SocketAddr, mut serial: std::fs::File, stop: &AtomicBool) {
    let wire = UdpSocket::bind("127.0.0.1:0").unwrap();
    let mut n = 0u32;
    while !stop.load(Ordering::Relaxed) {
        n += 1;
        let swing = |every: u32| if (n / every).is_multiple_of(2) { 2.0 } else { 30.0 };
        let mut lines = vec![
            sentence("GPRMC,,A,5049.6138,N,00103.5425,W,5.0,080.0,,,,A"),
            sentence(&format!("SDDPT,{:.1},0.0,", swing(3))),
            sentence(&format!("VWVHW,,T,,M,{:.1},N,,K", swing(4))),
            sentence(&format!("YXMTW,{:.1},C", swing(5))),
        ];
        if n.is_multiple_of(40) {
            lines.push(BEACON.to_owned());
        }
        // Nobody listens while the daemon is dead.
        let _ = wire.send_to(lines.concat().as_bytes(), feed);
        let _ = serial.write_all(sentence(&format!("WIMWV,041.0,R,{:.1},N,A", swing(7))).as_bytes());
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn orders() -> String {
    let order = |name: &str, priority: &str, when: &str| {
        format!(
            "[[order]]\nname = \"{name}\"\npriority = \"{priority}\"\nwhen = \"{when}\"\ntext = \"{name}\"\n"
        )
    };
    [
        "version = 1\n".to_owned(),
        order("shoal", "alarm", "depth below transducer is under 10 m"),
        order("fast", "caution", "speed through water is over 10 kn"),
        order("warm", "caution", "water temperature is over 10 °C"),
        order("breeze", "warning", "apparent wind speed is over 10 kn"),
    ]
    .concat()
}

/// Of a logbook as the disk had it when the power went: each sector that was written and not synced has arrived, or not.
fn drop_unsynced(folder: &Path, synced: &Path, dice: &mut Dice) -> usize {
    let mut lost = 0;
    for name in ["logbook.db", "logbook.db-wal"] {
        let path = folder.join(name);
        let (Ok(mut now), was) = (std::fs::read(&path), std::fs::read(synced.join(name)).unwrap_or_default())
        else {
            continue;
        };
        // A change of the file's length is a write like any other.
        if dice.below(2) == 0 {
            now.resize(was.len(), 0);
        }
        for (n, sector) in now.chunks_mut(SECTOR).enumerate() {
            let mut before = was.get(n * SECTOR..).unwrap_or(&[]).to_vec();
            before.resize(sector.len(), 0);
            if *sector != before[..] && dice.below(2) == 0 {
                sector.copy_from_slice(&before);
                lost += 1;
            }
        }
        std::fs::write(&path, now).unwrap();
    }
    let _ = std::fs::remove_file(folder.join("logbook.db-shm"));
    lost
}

/// A copy of the logbook as it lies there: looking at it must not mend it.
fn look(folder: &Path, round: u64) -> rusqlite::Connection {
    let copy = folder.join("copy");
    let _ = std::fs::remove_dir_all(&copy);
    std::fs::create_dir(&copy).unwrap();
    for name in ["logbook.db", "logbook.db-wal"] {
        // Killed before it was made, there is none.
        let _ = std::fs::copy(folder.join(name), copy.join(name));
    }
    let c = rusqlite::Connection::open(copy.join("logbook.db")).unwrap();
    let whole: String = c.query_row("PRAGMA integrity_check", [], |r| r.get(0)).unwrap();
    assert_eq!(whole, "ok", "round {round}");
    c
}

/// The records that stand in it, by number.
fn records(c: &rusqlite::Connection) -> BTreeMap<i64, Value> {
    let Ok(mut s) = c.prepare("SELECT id, record FROM event_rows") else { return BTreeMap::new() };
    let rows = s.query_map([], |r| Ok((r.get(0)?, r.get::<_, String>(1)?))).unwrap();
    rows.map(|r| r.unwrap()).map(|(id, text)| (id, serde_json::from_str(&text).unwrap())).collect()
}

/// Steady times of own vessel's rows.
fn track(c: &rusqlite::Connection) -> Vec<f64> {
    let Ok(mut s) = c.prepare("SELECT steady_s FROM own ORDER BY steady_s") else { return Vec::new() };
    s.query_map([], |r| r.get(0)).unwrap().map(Result::unwrap).collect()
}

/// A daemon is killed so many times, at moments that `seed` chooses; with `lossy`, what it had not synced is lost too.
fn kill_again_and_again(name: &str, rounds: u64, lossy: bool, seed: u64) {
    let folder = Folder::new(name);
    let dir = folder.0.clone();
    let receiver = Receiver::start(&[]);
    let feed = UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let line = SerialLine::plug(&dir.join("ttyUSB0"));
    let synced = dir.join("synced");
    std::fs::create_dir(&synced).unwrap();
    let preloaded = lossy.then(|| shim("power", &dir));
    let mut environment: Vec<(&str, &Path)> = vec![("POWER_SHIM", &synced)];
    environment.extend(preloaded.as_deref().map(|s| ("LD_PRELOAD", s)));
    folder.write("orders.toml", &orders());
    let boat = format!(
        "[[crew]]\nname = \"Ada\"\nbeacon = \"970000000\"\n\
         [[feed]]\nname = \"bus\"\nudp = \"{feed}\"\n[[feed]]\nname = \"mast\"\nserial = {:?}\n\
         [[signal]]\nname = \"shore\"\nwebhook = \"http://{}/\"\nfrom = \"caution\"\n[orders]\npath = \"orders.toml\"\n",
        dir.join("ttyUSB0"),
        receiver.address,
    );
    let boat = Daemon::describe(&folder, &boat, "");
    let stop = Arc::new(AtomicBool::new(false));
    let (going, serial) = (Arc::clone(&stop), line.master.try_clone().unwrap());
    let loading = std::thread::spawn(move || load(feed, serial, &going));

    let mut dice = Dice(0x9e37_79b9_7f4a_7c15 ^ seed);
    let (mut numbered, mut unnumbered, mut lost, mut placed_lives) = (BTreeMap::new(), Vec::new(), 0, 0);
    let mut round = 0;
    // By chance all may have been synced each time, which would try nothing.
    while round < rounds || (lossy && lost == 0 && round < 4 * rounds) {
        round += 1;
        let began = Clock.now().as_s();
        let mut child = middlewatch()
            .args(["run", "--config"])
            .arg(&boat)
            .envs(environment.iter().copied())
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(std::fs::File::create(dir.join("stderr")).unwrap())
            .spawn()
            .unwrap();
        // The moment is what is tried here: while it starts, or some time later.
        std::thread::sleep(Duration::from_micros(dice.below(800_000)));
        child.kill().unwrap();
        child.wait().unwrap();
        if lossy {
            lost += drop_unsynced(&dir, &synced, &mut dice);
        }
        let c = look(&dir, round);
        let written = records(&c);
        // What the receiver has of this life so far; what is still on its way is looked at in the end.
        let told = receiver.taken();
        // Own vessel's rows go to the disk with the next event at the latest: who was told where she is finds a row.
        let placed = |r: &&Value| !r["own"]["latitude_deg"].is_null();
        let last = told.iter().filter(placed).filter_map(|r| r["steady_s"].as_f64()).fold(0.0, f64::max);
        if last > began {
            let track = track(&c);
            assert!(
                track.iter().any(|s| (began..=last).contains(s)),
                "round {round}: no position of this life"
            );
            placed_lives += 1;
        }
        for record in told {
            match record["log_id"].as_i64() {
                Some(id) => {
                    assert_eq!(
                        written.get(&id),
                        Some(&record),
                        "round {round}: told, and not in the logbook"
                    );
                    numbered.insert(id, record);
                }
                None => unnumbered.push(record),
            }
        }
    }
    stop.store(true, Ordering::Relaxed);
    loading.join().unwrap();

    // It begins again, with all that was told and the casualty still open.
    std::fs::write(dir.join("orders.toml"), "version = 1\n").unwrap();
    let daemon = Daemon::start_described(folder, &boat, &environment);
    assert_eq!(daemon.status()["casualties"].as_array().map(Vec::len), Some(1), "the casualty stays open");
    let folder = daemon.stop();
    let c = look(&folder.0, rounds);
    let written = records(&c);
    for record in receiver.taken() {
        match record["log_id"].as_i64() {
            Some(id) => drop(numbered.insert(id, record)),
            None => unnumbered.push(record),
        }
    }
    for (id, record) in &numbered {
        assert_eq!(written.get(id), Some(record), "told, and not in the logbook");
    }
    let aside = std::fs::read_dir(&folder.0).unwrap().filter_map(Result::ok);
    let aside: Vec<_> =
        aside.map(|e| e.file_name()).filter(|n| n.to_string_lossy().contains("damaged")).collect();
    assert!(aside.is_empty(), "{aside:?}");
    println!(
        "{round} kills: {} events in the logbook, {} told with their number, {} before the disk had them, \
         {lost} unsynced sectors lost, own vessel's rows looked for in {placed_lives} lives",
        written.len(),
        numbered.len(),
        unnumbered.len()
    );
    assert!(numbered.len() as u64 > 5 * rounds, "there was a load: {}", numbered.len());
    assert!(unnumbered.len() * 10 < numbered.len(), "{} went without the disk", unnumbered.len());
    assert!(placed_lives * 3 > rounds && (!lossy || lost > 0), "{placed_lives} {lost}");
}

#[test]
fn a_daemon_killed_fifty_times_under_load_has_all_it_told_in_its_logbook() {
    kill_again_and_again("kills", 50, false, 1);
}

#[test]
fn a_power_cut_that_loses_what_was_not_synced_loses_no_alert() {
    kill_again_and_again("cuts", 50, true, 2);
}

#[test]
#[ignore = "takes a quarter of an hour"]
fn a_thousand_power_cuts_lose_no_alert() {
    // One logbook after another: each is looked through whole after each cut.
    (0..10).for_each(|n| kill_again_and_again(&format!("thousand-{n}"), 100, true, 100 + n));
}

/// Runs in a process of its own: keeps own track until a second, then waits to be killed.
#[test]
#[ignore = "is the process that the next test kills"]
fn keeps_track_until_it_is_killed() {
    let Ok(path) = std::env::var("MIDDLEWATCH_TEST_LOGBOOK") else { return };
    let until: i64 = std::env::var("MIDDLEWATCH_TEST_SECONDS").unwrap().parse().unwrap();
    let (logbook, _) = open(Path::new(&path), "a", 0);
    for s in (0..=until).step_by(5) {
        logbook.own(at(s), own(50.0));
        if s % 600 == 0 {
            // More at once than the writing thread looks at would be dropped, as is right live.
            std::thread::sleep(Duration::from_millis(30));
        }
    }
    println!("there");
    std::thread::sleep(Duration::from_secs(60));
}

#[test]
fn two_minutes_of_track_at_most_are_lost_where_no_event_carries_it() {
    for until in [125, 1000, 3599, 3600, 7261] {
        let folder = Folder::new(&format!("track-{until}"));
        let mut child = alone("powercut::keeps_track_until_it_is_killed")
            .env("MIDDLEWATCH_TEST_LOGBOOK", folder.logbook())
            .env("MIDDLEWATCH_TEST_SECONDS", until.to_string())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
        lines.find(|l| l.contains("there")).unwrap();
        let last = "SELECT coalesce(max(steady_s), 0) FROM own";
        wait_for("the batch", || ask::<f64>(&folder.logbook(), last) >= until as f64 - 130.0);
        child.kill().unwrap();
        child.wait().unwrap();
        assert!(ask::<f64>(&folder.logbook(), last) >= until as f64 - 130.0);
        assert_eq!(ask::<String>(&folder.logbook(), "PRAGMA integrity_check"), "ok");
    }
}
