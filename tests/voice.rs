//! A voice that takes as long as speech does, on a night when two go overboard: each side is said in time, none is kept
//! waiting by the other, and nothing counts as failed.

use crate::aboard::{Daemon, Folder, until};
use middlewatch::clock::Clock;
use sentence::ais::{AisReport, PositionSource};
use sentence::{Fix, SentTime, encode};
use std::net::{SocketAddr, UdpSocket};
use std::path::Path;
use std::time::{Duration, Instant};
use terms::{METRES_PER_NM, Mmsi, Position, Utc};

const CREW: &str =
    "[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n[[crew]]\nname = \"Bo\"\nbeacon = \"972000002\"\n";
/// Writes down when it begins and ends, in milliseconds, and takes 400 ms a word between: 150 words a minute.
const VOICE: &str = r#"IFS= read -r line
set -- $line
echo "$(date +%s%3N) begins $line" >>"$VOICE_LOG"
ms=$(($# * 400))
sleep "$((ms / 1000)).$(printf %03d $((ms % 1000)))"
echo "$(date +%s%3N) ends $line" >>"$VOICE_LOG"
"#;
/// The side is said this soon after somebody is first heard.
const SOON_MS: i64 = 4000;

/// A boat that goes north, and those who fell off her with beacons.
struct Sea {
    wire: UdpSocket,
    to: SocketAddr,
    began: Instant,
    fell: Vec<(u32, Position)>,
    beats: i64,
}

impl Sea {
    fn place(&self) -> Position {
        Position::new(48.0, -6.0).unwrap().at(0.0, 6.0 * self.began.elapsed().as_secs_f64() / 3600.0)
    }

    fn say(&self, line: &str) {
        self.wire.send_to(line.as_bytes(), self.to).unwrap();
    }

    fn now() -> Utc {
        Clock.utc()
    }

    /// One second: her fix, and each third second the beacons.
    fn beat(&mut self) {
        self.beats += 1;
        let fix = Fix {
            time: Some(SentTime::Utc(Self::now())),
            position: Some(self.place()),
            sog_kn: Some(6.0),
            cog_deg: Some(0.0),
            ..Fix::default()
        };
        self.say(&encode::rmc("GP", &fix));
        if self.beats % 3 == 0 {
            self.fell.iter().for_each(|f| self.beacon(*f));
        }
        std::thread::sleep(Duration::from_secs(1).saturating_sub(
            self.began.elapsed().saturating_sub(Duration::from_secs(self.beats.unsigned_abs() - 1)),
        ));
    }

    fn beacon(&self, (mmsi, fell): (u32, Position)) {
        let mut report = AisReport::new(1, 0, Mmsi::new(mmsi).unwrap());
        report.nav_status = Some(14);
        report.position = Some(fell.at(90.0, self.beats as f64 * 0.2 / METRES_PER_NM));
        report.position_source = Some(PositionSource::Fix);
        report.utc_second = u8::try_from(Self::now().0.div_euclid(1000).rem_euclid(60)).ok();
        self.say(&encode::ais(&report, "AI", 'A', 0).concat());
    }

    /// Somebody is heard for the first time, who fell so many metres astern. Returns when, in milliseconds of UTC.
    fn heard(&mut self, mmsi: u32, metres: f64) -> i64 {
        let fell = (mmsi, self.place().at(180.0, metres / METRES_PER_NM));
        let now = Self::now().0;
        self.beacon(fell);
        self.fell.push(fell);
        now
    }
}

/// What the voice wrote down: when it began a line, and whether it came to its end.
fn spoken(log: &Path) -> Vec<(i64, String, Option<i64>)> {
    let text = std::fs::read_to_string(log).unwrap_or_default();
    let mut all: Vec<(i64, String, Option<i64>)> = Vec::new();
    for line in text.lines() {
        let (ms, rest) = line.split_once(' ').unwrap();
        let ms: i64 = ms.parse().unwrap();
        match rest.split_once(' ').unwrap() {
            ("begins", words) => all.push((ms, words.to_owned(), None)),
            (_, words) => all.last_mut().filter(|l| l.1 == words).unwrap().2 = Some(ms),
        }
    }
    all
}

/// When the first word of a side was out, of the first line with this name that has one.
fn side_said(said: &[(i64, String, Option<i64>)], name: &str) -> (i64, String) {
    let side = |words: &str| {
        let words: Vec<String> = words.split(' ').map(|w| w.to_lowercase()).collect();
        words.iter().position(|w| w.starts_with("astern") || w.starts_with("quarter"))
    };
    let (ms, words, place) = said
        .iter()
        .filter(|(_, words, _)| words.contains(name))
        .find_map(|(ms, words, ended)| {
            let place = side(words)? + 1;
            // Cut before that, it was not said.
            let cut = said.iter().find(|(next, ..)| next > ms).filter(|_| ended.is_none());
            let whole = cut.is_none_or(|(next, ..)| next - ms >= place as i64 * 400);
            whole.then_some((*ms, words.clone(), place))
        })
        .unwrap_or_else(|| panic!("no side of {name} in {said:?}"));
    (ms + place as i64 * 400, words)
}

#[test]
fn of_two_overboard_each_side_is_said_within_four_seconds_and_nothing_fails() {
    let wire = UdpSocket::bind("127.0.0.1:0").unwrap();
    let to = UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let folder = Folder::new("voice");
    let (script, log) = (folder.write("voice.sh", VOICE), folder.0.join("said"));
    let body = format!(
        "{CREW}[[feed]]\nname = \"bus\"\nudp = \"{to}\"\n[[signal]]\nname = \"voice\"\n\
         command = [\"/bin/sh\", {script:?}]\n"
    );
    let daemon = Daemon::start_preloaded(folder, &body, &[("VOICE_LOG", &log)]);
    let mut sea = Sea { wire, to, began: Instant::now(), fell: Vec::new(), beats: 0 };
    until("her position", || {
        sea.beat();
        daemon.status()["own"]["latitude_deg"].as_f64()
    });
    // Whatever the start brought has been said.
    assert!(daemon.tell(&["acknowledge"]).status.code().is_some());
    (0..4).for_each(|_| sea.beat());
    let ada = sea.heard(972_000_001, 200.0);
    (0..14).for_each(|_| sea.beat());
    let bo = sea.heard(972_000_002, 120.0);
    (0..8).for_each(|_| sea.beat());
    assert!(daemon.tell(&["acknowledge"]).status.success());
    (0..26).for_each(|_| sea.beat());
    let said = spoken(&log);
    for (name, fell) in [("Ada", ada), ("Bo", bo)] {
        let (when, words) = side_said(&said, name);
        println!("{name}: side said after {} ms: {words}", when - fell);
        assert!(when - fell <= SOON_MS, "{name}: {} ms in {said:#?}", when - fell);
    }
    // After the acknowledgement each has its turn.
    let guided =
        |name: &str| said.iter().filter(|(ms, words, _)| *ms > bo + 9000 && words.starts_with(name)).count();
    assert!(guided("Ada, ") >= 2 && guided("Bo, ") >= 2, "{said:#?}");
    for pair in said.windows(2) {
        assert_ne!(pair[0].1, pair[1].1, "said twice in one breath: {said:#?}");
    }
    said.iter().for_each(|(ms, words, ended)| {
        println!(
            "{:6.1} s  {words}{}",
            (ms - ada) as f64 / 1000.0,
            if ended.is_some() { "" } else { "  (cut short)" }
        );
    });
    let alerts = daemon.status()["alerts"].as_array().unwrap().clone();
    assert!(alerts.iter().all(|a| a["order"] != "signal failing"), "{alerts:?}");
    daemon.stop();
}
