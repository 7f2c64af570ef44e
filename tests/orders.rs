//! Orders that ask for as much as they may: more is refused, and the worst that are allowed keep neither an emergency
//! nor control waiting.

use crate::aboard::{Daemon, Folder, Receiver, SerialLine, sentence, text, until, verb};
use rules::{MOST_COST, Orders, Priority};
use sentence::ais::AisReport;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use terms::{FeedId, Mmsi, Moment, Position, Utc};
use watch::{Begin, Effect, FeedSetting, Input, Silence, Watch};

fn order(i: usize, body: &str) -> String {
    format!("[[order]]\nname = \"order {i}\"\npriority = \"alarm\"\n{body}\n")
}

/// An order that one more line ends.
const QUIET: &str = "[[order]]\nname = \"quiet\"\neach = \"feed\"\npriority = \"caution\"\n\
                     when = \"sentences are missing for 1 s\"\n";

/// So many orders of a kind.
fn orders(count: usize, body: &str) -> String {
    (0..count).fold("version = 1\n".to_owned(), |mut text, i| {
        let _ = write!(text, "{}", order(i, body));
        text
    })
}

/// As many orders of a kind as a file may have.
fn most(body: &str) -> usize {
    let one = Orders::read("one", &orders(1, body)).unwrap_or_else(|p| panic!("{p}")).cost();
    usize::try_from(MOST_COST / one).unwrap()
}

/// The dearest kinds of orders; all of them true, or about to be, whatever comes.
fn dearest() -> Vec<String> {
    let true_of_all = "\"range is under 1000 nm\", ".repeat(20);
    vec![
        // Each stands, and is repeated as often as can be.
        "when = \"SOG is over 0.1 kn\"".to_owned(),
        "when = \"SOG is over 0.1 kn\"\nrepeats = \"5 s\"".to_owned(),
        // Each fix makes true or false what is asked of all ships.
        format!("each = \"target\"\nwhen = {{ all = [\"SOG is over 5 kn\", {true_of_all}] }}"),
        // Judged over and over by time alone.
        "each = \"target\"\nwhen = \"range falls 0.01 nm in 2 s\"".to_owned(),
        "when = \"SOG falls 0.1 kn in 1 s\"".to_owned(),
        "each = \"target\"\nwhen = \"prudent TCPA is under 60 min\"".to_owned(),
    ]
}

fn centre() -> Position {
    Position::new(50.0, -5.0).unwrap()
}

fn fix(second: u32) -> String {
    let (knots, s) = (if second.is_multiple_of(2) { 4.0 } else { 6.0 }, second);
    let time = format!("{:02}{:02}{:02}", s / 3600, s / 60 % 60, s % 60);
    sentence(&format!("GPRMC,{time}.00,A,5000.000,N,00500.000,W,{knots:.1},090.0,011126,,,A"))
}

fn report(mmsi: u32, nav_status: u8, n: u32) -> String {
    let position = centre().at(f64::from(n) * 137.5, 0.1 + f64::from(n) / 50.0);
    let report = AisReport {
        nav_status: Some(nav_status),
        position: Some(position),
        sog_kn: Some(12.0),
        cog_deg: Some(f64::from(n * 37 % 360)),
        ..AisReport::new(1, 0, Mmsi::new(mmsi).unwrap())
    };
    ::sentence::encode::ais(&report, "AI", 'A', 0).concat() + "\r\n"
}

/// Ada's beacon, active: status 14 (ITU-R M.1371-5 table 45).
fn beacon() -> String {
    report(972_000_001, 14, 0)
}

/// The priorities of the events that come out by then.
fn advance(watch: &mut Watch, at: Moment) -> Vec<Priority> {
    watch.advance(at);
    events(watch)
}

fn events(watch: &mut Watch) -> Vec<Priority> {
    let priority = |e| match e {
        Effect::Event(_, record, _) => Some(record.alert.priority),
        _ => None,
    };
    watch.effects().filter_map(priority).collect()
}

/// The same of a line: at once, and after it.
fn take(watch: &mut Watch, at: Moment, line: &str) -> (Vec<Priority>, Vec<Priority>) {
    watch.take(at, Input::Line(FeedId(0), line.trim_end().parse().unwrap())).unwrap();
    (events(watch), advance(watch, at))
}

#[test]
fn the_first_event_of_a_beacons_line_is_its_emergency_whatever_the_orders() {
    for body in dearest() {
        let mut worst = orders(most(&body), &body);
        while worst.len() > QUIET.len() && Orders::read("worst", &(worst.clone() + QUIET)).is_err() {
            worst.truncate(worst.rfind("[[order]]").unwrap());
        }
        let read = Orders::read("worst", &(worst + QUIET)).unwrap();
        assert!(read.cost() > MOST_COST * 2 / 3, "{body}: {}", read.cost());
        let boat = boat::read("boat.toml", "version = 1\n").unwrap().0;
        let feed = FeedSetting {
            name: "bus".to_owned(),
            checksum_optional: false,
            simulator: false,
            trusted: false,
            silent_after: Silence::Never,
        };
        let begin = Begin {
            utc: Some(Utc(1_793_491_200_000)),
            feeds: vec![feed],
            orders: Arc::new(read),
            ..Begin::default()
        };
        let mut watch = Watch::new(&boat);
        watch.take(Moment::ZERO, Input::Begin(Box::new(begin))).unwrap();
        for s in 0..8 {
            let at = Moment::from_s(f64::from(s));
            take(&mut watch, at, &fix(s));
            let ships = at + Duration::from_millis(1);
            (0..40).for_each(|n| drop(take(&mut watch, ships, &report(211_000_000 + n, 0, n + 1))));
        }
        // The feed is quiet for a while. The beacon's line ends that, and so the order about it; but later.
        let at = Moment::from_s(9.5);
        assert!(advance(&mut watch, at).contains(&Priority::Caution), "{body}");
        let (first, later) = take(&mut watch, at, &beacon());
        assert_eq!(first, [Priority::EmergencyAlarm], "{body}: of the beacon's line");
        assert_eq!(later, [Priority::Caution], "{body}: of the beacon's line, later");
    }
}

#[test]
fn beside_the_worst_orders_control_answers_and_a_beacon_is_announced() {
    // Half of what is allowed for ships, the rest for own vessel.
    let [own, .., wide, _, _, _] = &dearest()[..] else { panic!("six kinds") };
    let mut worst = orders(most(own) / 2, own);
    (0..most(wide) / 2).for_each(|i| worst += &order(100_000 + i, wide));
    let folder = Folder::new("worst");
    let (file, device) = (folder.write("orders.toml", &worst), folder.0.join("bus"));
    let line = SerialLine::plug(&device);
    let receiver = Receiver::start(&[]);
    let daemon = Daemon::start_in(
        folder,
        &format!(
            "[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n\
             [[feed]]\nname = \"bus\"\nserial = {device:?}\nbaud = 38400\n\
             [[signal]]\nname = \"shore\"\nwebhook = \"http://{}/\"\norders = [\"person overboard\"]\n\
             [orders]\npath = {file:?}\n",
            receiver.address
        ),
    );
    assert_eq!(daemon.status()["orders"], file.display().to_string());
    let over = Arc::new(AtomicBool::new(false));
    let (mut wire, ended) = (line.master.try_clone().unwrap(), over.clone());
    let talking = std::thread::spawn(move || {
        for second in 0.. {
            // As fast as the watch takes them: a wire that is never idle.
            let mut lines = fix(second);
            (0..60).for_each(|n| lines += &report(211_000_000 + n, 0, n + 1));
            if ended.load(Ordering::Relaxed) || wire.write_all(lines.as_bytes()).is_err() {
                return;
            }
            std::thread::sleep(Duration::from_millis(300));
        }
    });
    until("most orders to stand", || {
        (daemon.try_status()?["alerts"].as_array()?.len() > most(own) / 4).then_some(())
    });
    let asked = Instant::now();
    (&line.master).write_all(beacon().as_bytes()).unwrap();
    let told = receiver.wait_for(|r| r["casualty"]["crew"] == "Ada");
    assert_eq!(told["alert"]["priority"], "emergency alarm");
    eprintln!("announced after {:?}", asked.elapsed());
    let asked = Instant::now();
    daemon.status();
    eprintln!("answered after {:?}", asked.elapsed());
    over.store(true, Ordering::Relaxed);
    talking.join().unwrap();
}

#[test]
fn what_costs_too_much_is_refused_and_the_orders_in_force_stay() {
    let folder = Folder::new("dear");
    let own = "when = \"SOG is over 0.1 kn\"";
    let file = folder.write("orders.toml", &orders(3, own));
    let daemon = Daemon::start_in(folder, &format!("[orders]\npath = {file:?}\n"));
    let wide = "each = \"target\"\nwhen = \"range falls 0.01 nm in 1 s\"";
    for (bad, says) in [
        (
            orders(most(own) + 1, own),
            "points at their worst, and the watch can bear 1000000; the dearest are",
        ),
        (orders(1, wide), "\"order 0\" with"),
        (orders(20_000, own), "a file of orders has at most 256 KiB"),
    ] {
        std::fs::write(&file, &bad).unwrap();
        let out = verb(&["check", "--orders", file.to_str().unwrap()]);
        assert_eq!(out.status.code(), Some(78));
        assert!(text(&out.stdout).contains(says), "{}", text(&out.stdout));
        let out = daemon.tell(&["reload"]);
        assert!(!out.status.success() && text(&out.stderr).contains(says), "{}", text(&out.stderr));
        let alert = daemon.alert("orders not loaded");
        assert!(alert["text"].as_str().unwrap().contains("The orders in force stay"), "{alert}");
    }
    // The next start stands by the last good ones.
    let folder = daemon.stop();
    let file = Path::new(&file).to_owned();
    let daemon = Daemon::start_in(folder, &format!("[orders]\npath = {file:?}\n"));
    assert_eq!(daemon.status()["orders"], "the last good copy");
    daemon.stop();
}
