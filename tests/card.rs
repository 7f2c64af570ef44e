//! The watch card in a browser: what it shows, that it follows, acknowledges and says when its picture is old.

use crate::aboard::{Daemon, Folder, sentence, until};
use crate::browser::Browser;
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use sentence::ais::AisReport;
use sentence::encode;
use std::net::{SocketAddr, TcpListener, TcpStream, UdpSocket};
use terms::{Mmsi, Position, Utc};

const TOKEN: &str = "seventeen-letters";
const TAB: &str = "\u{E004}";
const ENTER: &str = "\u{E007}";

/// An active beacon at 50.82862 N 1.05676 W: shared check value, status 14.
const BEACON: &str = "!AIVDM,1,1,,B,1>M46P>P00Os:IfM5ITf4?w60<00,0*37\r\n";
/// A ship from an open test suite (libais), some way off; only her name and look are of interest.
const SHIP: &str = "!AIVDM,1,1,,A,15N1u<PP1FJuvSRHOE6QIwwh0HQ6,0*30\r\n";

struct Boat {
    daemon: Daemon,
    address: SocketAddr,
    feed: SocketAddr,
    wire: UdpSocket,
}

/// An order that calls for any ship at once, so that no test waits for a patience.
const AT_ONCE: &str = "version = 1\n[[order]]\nname = \"close approach\"\neach = \"target\"\npriority = \"alarm\"\n\
    when = { all = [\"CPA is under 1 nm\", \"TCPA is between 0 min and 30 min\"] }\n\
    text = \"{name}: CPA {CPA} in {TCPA}, now {range} off, bearing {bearing}\"\n\
    [[order]]\nname = \"shoal water\"\npriority = \"warning\"\nwhen = \"depth below keel is under 2 m\"\n\
    text = \"Depth below the keel {depth below keel}\"\n";

impl Boat {
    fn start(name: &str) -> Self {
        let folder = Folder::new(name);
        folder.write("orders.toml", AT_ONCE);
        folder.write("token", TOKEN);
        let address = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
        let feed = UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
        let daemon = Daemon::start_with(
            folder,
            &format!(
                "[vessel]\nname = \"Wendelin\"\n[watch.alarm]\ndormant_period = \"12 min\"\nreset_from = [\"helm\"]\n[[crew]]\nname = \"Ada\"\nbeacon = \"970000000\"\n\
                 [[feed]]\nname = \"bus\"\nudp = \"{feed}\"\n[orders]\npath = \"orders.toml\"\n"
            ),
            &format!("listen = \"{address}\"\ntoken_file = \"token\"\nopen_reading = true\n"),
        );
        until("TCP", || TcpStream::connect(address).ok().map(drop));
        Self { daemon, address, feed, wire: UdpSocket::bind("127.0.0.1:0").unwrap() }
    }

    /// Where she is at a second of the test.
    fn own(second: u32) -> Position {
        Position::new(50.826897, -1.059042).unwrap().at(80.0, 5.0 * f64::from(second) / 3600.0)
    }

    /// Own vessel at five knots on 080, with her instruments.
    fn sail(&self, second: u32) {
        let own = Self::own(second);
        let parts = |deg: f64| format!("{:02.0}{:07.4}", deg.abs().floor(), deg.abs().fract() * 60.0);
        let (lat, lon) = (parts(own.latitude_deg()), parts(own.longitude_deg()));
        let now = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap();
        let utc = Utc(i64::try_from(now.as_millis()).unwrap()).to_string();
        let (date, time) = (&utc[..10], utc[11..19].replace(':', ""));
        let date = format!("{}{}{}", &date[8..], &date[5..7], &date[2..4]);
        self.say(&sentence(&format!("GPRMC,{time}.00,A,{lat},N,0{lon},W,5.0,080.0,{date},,,A")));
        self.say(&sentence("HEHDT,80.0,T"));
        self.say(&sentence("SDDPT,4.2,-1.5,50.0"));
        self.say(&sentence("WIMWV,165.0,T,14.0,N,A"));
        self.say(&sentence("WIMDA,29.92,I,1.0132,B,,C,,C,,,,C,,T,,M,,N,,M"));
    }

    /// The same, and a ship two miles off on the starboard bow that will cross close ahead.
    fn meet(&self, second: u32) {
        self.sail(second);
        let began = Self::own(0).at(110.0, 2.0);
        let miles = f64::from(second) / 3600.0;
        let ship = Mmsi::new(230_000_001).unwrap();
        let mut report = AisReport::new(1, 0, ship);
        (report.position, report.sog_kn, report.cog_deg) =
            (Some(began.at(300.0, 12.0 * miles)), Some(12.0), Some(300.0));
        report.heading_deg = Some(300);
        let mut named = AisReport::new(5, 0, ship);
        (named.name, named.ship_type) = (Some("STELLA NOVA".to_owned()), Some(70));
        for line in encode::ais(&report, "AI", 'A', 0).into_iter().chain(encode::ais(&named, "AI", 'A', 1)) {
            self.say(&format!("{}\r\n", line.trim_end()));
        }
    }

    /// The page on a phone of 360 by 640 that knows the token.
    fn phone(&self, name: &str) -> Browser {
        let browser = Browser::start(&self.daemon.folder.0.join(name));
        browser.screen(360, 640);
        browser.open(&self.url());
        browser.run(&format!("localStorage.setItem('token', '{TOKEN}')"));
        browser.open(&self.url());
        browser.until("the picture", |b| (b.text("#vessel") == "Wendelin").then_some(()));
        browser
    }

    fn say(&self, line: &str) {
        self.wire.send_to(line.as_bytes(), self.feed).unwrap();
    }

    /// Own vessel at a position, five knots on a course of 080.
    fn at(&self, second: u32, lat: &str, lon: &str) {
        self.say(&sentence(&format!("GPRMC,0214{second:02}.00,A,{lat},N,{lon},W,5.0,080.0,011126,,,A")));
    }

    fn url(&self) -> String {
        format!("http://{}/", self.address)
    }
}

/// 250 m from the beacon, which bears 040 (worked out with GeographicLib: 50.826897 N 1.059042 W).
const NEAR: (&str, &str) = ("5049.6138", "00103.5425");

#[test]
#[ignore = "needs chromium and chromedriver, which are no part of the build"]
fn it_shows_follows_acknowledges_and_says_when_it_is_old() {
    let boat = Boat::start("card");
    let browser = Browser::start(&boat.daemon.folder.0.join("profile"));
    browser.screen(360, 640);
    browser.open(&boat.url());
    browser.until("the picture", |b| (b.text("#vessel") == "Wendelin").then_some(()));
    browser.until("no alerts", |b| b.text("#calm").contains("No open alerts.").then_some(()));
    browser.picture("quiet");

    // It shows: the words first, then the plan.
    boat.at(0, NEAR.0, NEAR.1);
    boat.say(&sentence("HEHDT,80.0,T"));
    boat.say(SHIP);
    until("a fix", || boat.daemon.status()["own"]["heading_deg"].as_f64());
    boat.say(BEACON);
    let look = browser.until("the casualty", |b| Some(b.text(".casualty .look")).filter(|t| !t.is_empty()));
    assert!(look.starts_with("250 m, 40° on the port bow, closing"), "{look}");
    assert_eq!(browser.text(".casualty .who"), "Ada overboard");
    let first = browser.run(
        "const y = (s) => document.querySelector(s).getBoundingClientRect().top;
        return [y('.casualty'), y('#plan'), y('#own'), y('#target-list')];",
    );
    let tops: Vec<f64> = first.as_array().unwrap().iter().map(|t| t.as_f64().unwrap()).collect();
    assert!(tops.is_sorted(), "words, plan, own vessel, targets: {tops:?}");
    // Symbols: two circles for own vessel, a heading line, a circle with a cross for the beacon.
    let count = |selector: &str| {
        browser.run(&format!("return document.querySelectorAll('{selector}').length")).as_u64().unwrap()
    };
    assert_eq!(count("#chart circle.own"), 2);
    assert_eq!(count("#chart line.heading"), 1);
    assert_eq!(count("#chart .casualty-mark circle.mark"), 1);
    assert_eq!(count("#chart .casualty-mark path.mark"), 1);
    let mark = browser.run(
        "const m = document.querySelector('.casualty-mark').transform.baseVal[0].matrix; return [m.e, m.f]",
    );
    let (x, y) = (mark[0].as_f64().unwrap(), mark[1].as_f64().unwrap());
    assert!((x.atan2(-y).to_degrees() - 40.0).abs() < 2.0, "it bears 040 on the plan too: {x} {y}");
    browser.picture("casualty-night");
    browser.run("document.getElementById('light').click()");
    browser.picture("casualty-day");
    browser.run("document.getElementById('light').click()");

    // It updates: closer now.
    boat.at(10, "5049.7000", "00103.4100");
    browser.until("the new range", |b| (!b.text(".casualty .look").starts_with("250 m")).then_some(()));

    // It acknowledges by the keyboard alone, and asks for the token first.
    browser.until("the button", |b| Some(b.text("#acknowledge")).filter(|t| !t.is_empty()));
    browser.run("document.getElementById('light').focus()");
    let reached = (0..8).any(|_| {
        browser.keys(TAB);
        browser.focused_label().starts_with("Acknowledge: person")
            || browser.focused_label().contains("Ada overboard")
    });
    assert!(reached, "{}", browser.focused_label());
    // The picture comes anew each second, and the focus stays where it is.
    std::thread::sleep(std::time::Duration::from_millis(2500));
    assert!(browser.focused_label().starts_with("Acknowledge: "));
    browser.keys(ENTER);
    browser.until("the door", |b| b.text("#door").contains("Token").then_some(()));
    browser.picture("token");
    assert_eq!(browser.focused_label(), "Token");
    // A wrong one is refused there and then; with the right one the act that waited is sent by itself.
    browser.keys(&format!("not-{TOKEN}{ENTER}"));
    browser.until("the refusal", |b| b.text("#door").contains("This is not the token.").then_some(()));
    browser.picture("token-wrong");
    browser.keys(&format!("{TOKEN}{ENTER}"));
    browser.until("it to be acknowledged", |b| (b.text(".casualty .state") == "Acknowledged").then_some(()));
    assert!(browser.text("#said").contains("acknowledged"), "{}", browser.text("#said"));
    assert_eq!(browser.text("#door"), "", "the token is asked for once");

    // The watch alarm: suspended by the emergency; stood down, it is reset from here.
    browser.until("suspended", |b| b.text("#own").contains("suspended").then_some(()));
    assert!(boat.daemon.tell(&["stand-down", "--reason", "test"]).status.success());
    browser.until("on", |b| b.text("#own").contains("on, asks in").then_some(()));
    browser.run("document.getElementById('reset').click()");
    browser.until("reset", |b| b.text("#said").contains("Watch alarm reset").then_some(()));
    browser.picture("watch-alarm");

    // It grows old in large letters: a daemon that hangs, then one that is gone.
    assert_eq!(browser.text("#stale"), "");
    let daemon = Pid::from_raw(boat.daemon.pid());
    kill(daemon, Signal::SIGSTOP).unwrap();
    let title = browser.until("old", |b| Some(b.text("#stale-title")).filter(|t| !t.is_empty()));
    assert_eq!(title, "OLD PICTURE");
    let course =
        browser.until("the course to say its age", |b| Some(b.text("#own")).filter(|t| t.contains("s ago)")));
    assert!(course.contains("COG 080°, SOG 5.0 kn ("), "{course}");
    let size =
        browser.run("return parseFloat(getComputedStyle(document.getElementById('stale-title')).fontSize)");
    assert!(size.as_f64().unwrap() > 30.0, "{size}");
    browser.picture("old");
    browser.until("gone while it hangs", |b| (b.text("#stale-title") == "DAEMON GONE").then_some(()));
    kill(daemon, Signal::SIGCONT).unwrap();
    browser.until("young again", |b| b.text("#stale").is_empty().then_some(()));
    kill(daemon, Signal::SIGKILL).unwrap();
    browser.until("gone", |b| (b.text("#stale-title") == "DAEMON GONE").then_some(()));
    browser.picture("gone");
}

#[test]
#[ignore = "needs chromium and chromedriver, which are no part of the build"]
fn it_fits_a_narrow_screen_needs_nobody_else_and_draws_no_heading_it_does_not_know() {
    let boat = Boat::start("narrow");
    boat.at(0, NEAR.0, NEAR.1);
    boat.say(SHIP);
    until("a fix", || boat.daemon.status()["own"]["latitude_deg"].as_f64());
    boat.say(BEACON);
    boat.daemon.tell(&["overboard", "Bartholomew-Alexander of the very long name indeed"]);
    let browser = Browser::start(&boat.daemon.folder.0.join("profile"));
    browser.screen(320, 568);
    browser.open(&boat.url());
    browser.until("both casualties", |b| {
        (b.run("return document.querySelectorAll('.casualty').length") == 2).then_some(())
    });
    let width = browser.run("return document.documentElement.scrollWidth");
    assert_eq!(width, 320, "nothing sticks out");
    let small = browser.run(
        "return [...document.querySelectorAll('button')].filter((b) => b.offsetParent)
            .map((b) => b.getBoundingClientRect()).filter((r) => r.height < 44 || r.width < 44).length",
    );
    assert_eq!(small, 0, "each button is large enough for a thumb");
    assert_eq!(browser.run("return document.querySelectorAll('line.heading').length"), 0, "no pointer");
    assert!(browser.text("#plan").contains("No heading is known"), "{}", browser.text("#plan"));
    assert!(browser.text(".casualty .look").contains("of the course"), "{}", browser.text(".casualty .look"));
    browser.picture("narrow");

    // Labels for a screen reader.
    let unnamed = browser.run(
        "return [...document.querySelectorAll('button, input')].filter((e) =>
            !(e.textContent.trim() || e.getAttribute('aria-label') || (e.labels && e.labels.length))).length",
    );
    assert_eq!(unnamed, 0);
    assert_eq!(browser.run("return document.documentElement.lang"), "en");
    assert_eq!(browser.run("return document.querySelectorAll('h1').length"), 1);
    let plan = browser.run("return document.getElementById('plan-words').textContent");
    assert!(plan.as_str().unwrap().contains("Ada overboard"), "the plan in words: {plan}");

    // Nothing comes from elsewhere, and by night all is black and red.
    let elsewhere = browser.run(
        "return performance.getEntriesByType('resource').map((r) => r.name).filter((n) => !n.startsWith(location.origin))",
    );
    assert_eq!(elsewhere, serde_json::json!([]));
    let light = browser.run(
        "document.documentElement.dataset.light = 'night';
         const seen = new Set();
         for (const e of document.querySelectorAll('body, body *')) {
           const s = getComputedStyle(e);
           for (const c of [s.color, s.backgroundColor, s.borderTopColor, s.fill, s.stroke]) seen.add(c);
         }
         return [...seen]",
    );
    for colour in light.as_array().unwrap().iter().filter_map(|c| c.as_str()) {
        let Some(parts) = colour.split_once('(').map(|(_, p)| p.trim_end_matches(')')) else { continue };
        let parts: Vec<f64> = parts.split(',').filter_map(|p| p.trim().parse().ok()).collect();
        if parts.get(3) == Some(&0.0) {
            continue;
        }
        let (red, rest) = (parts[0], parts[1].max(parts[2]));
        assert!(rest <= red * 0.45 + 1.0, "{colour} is not for the night");
    }
}

/// What must be seen without scrolling on a screen of 640: each is within it, and above the buttons at its foot.
fn above_the_fold(browser: &Browser, selectors: &[&str]) {
    let foot =
        browser.run("return document.getElementById('thumb').getBoundingClientRect().top").as_f64().unwrap();
    let foot = foot.min(640.0);
    for selector in selectors {
        let edges = browser.run(&format!(
            "const r = document.querySelector('{selector}').getBoundingClientRect(); return [r.top, r.bottom, r.height]"
        ));
        let edge = |n: usize| edges[n].as_f64().unwrap();
        assert!(
            edge(0) >= 0.0 && edge(1) <= foot + 0.5 && edge(2) > 0.0,
            "{selector}: {edges}, foot at {foot}"
        );
    }
}

/// The buttons under the thumb that are to be seen, and that each lies within the screen and is large enough.
fn thumb(browser: &Browser) -> Vec<String> {
    let seen = browser.run(
        "return [...document.querySelectorAll('#thumb button')].filter((b) => b.offsetParent || b.getClientRects().length)
            .map((b) => { const r = b.getBoundingClientRect(); return [b.firstChild.textContent, r.bottom <= 640 && r.height >= 44 && r.width >= 44] })",
    );
    let all = seen.as_array().unwrap().iter();
    all.map(|b| {
        assert_eq!(b[1], true, "{b}");
        b[0].as_str().unwrap().to_owned()
    })
    .collect()
}

#[test]
#[ignore = "needs chromium and chromedriver, which are no part of the build"]
fn a_close_approach_has_its_plan_its_words_and_its_buttons_and_every_phone_follows() {
    let boat = Boat::start("approach");
    let browser = boat.phone("one");
    browser.run(
        "window.said = []; window.tones = 0;
         speechSynthesis.speak = (u) => said.push(u.text);
         const Real = window.AudioContext;
         window.AudioContext = class extends Real { createOscillator() { tones += 1; return super.createOscillator(); } };",
    );
    let began = std::time::Instant::now();
    let second = || u32::try_from(began.elapsed().as_secs()).unwrap();
    browser.until("the close approach", |b| {
        boat.meet(second());
        b.text("#worst .text").contains("STELLA NOVA: CPA").then_some(())
    });
    let status = boat.daemon.status();
    let alert = &status["alerts"][0];
    let target = &status["targets"][0];
    assert_eq!(browser.text("#worst .priority"), "ALARM");
    assert!(browser.text("#worst .state").starts_with("Not acknowledged, "), "{}", browser.text("#worst"));
    browser.picture("approach-night");
    above_the_fold(&browser, &["#worst .text", "#worst .state", "#chart", "header"]);
    assert_eq!(thumb(&browser), ["Acknowledge", "Silence", "Reset watch alarm", "Overboard"]);
    let spoken = alert["spoken"].as_str().unwrap();
    assert!(
        !spoken.is_empty() && browser.text("#plan-caption").starts_with(spoken),
        "{}",
        browser.text("#plan-caption")
    );
    let count = |selector: &str| {
        browser
            .run(&format!("return document.querySelectorAll('#chart {selector}').length"))
            .as_u64()
            .unwrap()
    };
    for (symbol, n) in [
        ("circle.own", 2),
        ("line.heading", 1),
        (".target-mark path.danger", 1),
        ("line.vector", 2),
        ("line.hers", 1),
        ("line.closest", 1),
    ] {
        assert_eq!(count(symbol), n, "{symbol}");
    }
    let mark = browser.run(
        "const m = document.querySelector('.target-mark').transform.baseVal[0].matrix; return [m.e, m.f]",
    );
    let bears = mark[0].as_f64().unwrap().atan2(-mark[1].as_f64().unwrap()).to_degrees().rem_euclid(360.0);
    assert!((bears - target["bearing_deg"].as_f64().unwrap()).abs() < 2.0, "{bears}");
    // Each fact once: the ship that the alert is about is not listed again.
    assert!(!browser.text("#target-list").contains("STELLA"), "{}", browser.text("#target-list"));
    let own = browser.text("#own");
    for words in [
        "COG 080°, SOG 5.0 kn",
        "2.7 m below the keel",
        "14 kn from 245°",
        "1013.2 hPa",
        "1 ship heard, last ",
        "2 orders",
    ] {
        assert!(own.contains(words), "{words}\n{own}");
    }

    // Silent until asked; then a tone and the spoken line, at once.
    assert_eq!(browser.run("return tones"), 0);
    browser.run("document.getElementById('sound').click()");
    browser.until("the tone", |b| (b.run("return tones").as_u64().unwrap() > 3).then_some(()));
    assert_eq!(
        browser.run("return said[0]").as_str().unwrap(),
        boat.daemon.status()["alerts"][0]["spoken"].as_str().unwrap()
    );

    // A second phone acknowledges, and the first shows it.
    let other = boat.phone("two");
    other.until("the alert there", |b| b.text("#worst").contains("STELLA NOVA").then_some(()));
    browser.run("document.getElementById('silence').click()");
    other.until("silenced there", |b| {
        boat.meet(second());
        b.text("#worst .state").starts_with("Silenced, not acknowledged").then_some(())
    });
    // A press on what has only just come up is not taken.
    other.until("its acknowledgement", |b| {
        b.run("document.getElementById('acknowledge').click()");
        b.text("#said").contains("acknowledged").then_some(())
    });
    browser.until("acknowledged here", |b| {
        boat.meet(second());
        b.text("#alert-list").contains("STELLA").then_some(())
    });
    assert_eq!(browser.text("#alert-list .state").split(',').next(), Some("acknowledged"));
    assert_eq!(browser.text("#calm"), "Nothing waits for an answer.");
    assert_eq!(count(".target-mark"), 1, "what is acknowledged is still drawn");
    browser.picture("approach-acknowledged");

    // Nothing of it is beyond somebody who sees little, or hears the page read.
    for light in ["day", "night"] {
        browser.run(&format!(
            "document.documentElement.dataset.light !== '{light}' && document.getElementById('light').click()"
        ));
        assert_eq!(browser.barriers(), [""; 0], "{light}");
    }
}

#[test]
#[ignore = "needs chromium and chromedriver, which are no part of the build"]
fn overboard_is_held_for_two_seconds_and_an_exercise_looks_like_the_real_thing() {
    let boat = Boat::start("held");
    let browser = boat.phone("one");
    boat.sail(0);
    until("a heading", || boat.daemon.status()["own"]["heading_deg"].as_f64());
    // An exercise, under its banner.
    assert!(boat.daemon.tell(&["drill", "ship"]).status.success());
    browser.until("the invented ship", |b| b.text("#worst .text").contains("an invented ship").then_some(()));
    assert!(browser.text("#exercise").starts_with("EXERCISE"), "{}", browser.text("#exercise"));
    assert!(browser.text("#worst .priority").contains("EXERCISE"));
    let marks = browser.run("return document.querySelectorAll('#chart .target-mark path.danger').length");
    assert_eq!(marks, 1);
    browser.picture("exercise-ship");
    above_the_fold(&browser, &["#worst .text", "#chart", "#exercise"]);
    assert!(boat.daemon.tell(&["drill", "end"]).status.success());
    assert!(boat.daemon.tell(&["drill", "overboard"]).status.success());
    browser.until("the invented casualty", |b| Some(b.text(".casualty .look")).filter(|t| !t.is_empty()));
    assert_eq!(browser.run("return document.querySelectorAll('.casualty-mark').length"), 1);
    browser.picture("exercise-overboard");
    assert!(boat.daemon.tell(&["drill", "end"]).status.success());

    // A touch calls nobody; held, it calls, and the two seconds count.
    browser.hold("#overboard", 300);
    browser.until("the hint", |b| b.text("#said").contains("hold it for two seconds").then_some(()));
    assert_eq!(boat.daemon.status()["casualties"].as_array().unwrap().len(), 0);
    browser.hold("#overboard", 2300);
    let casualty = until("the casualty", || boat.daemon.status()["casualties"].get(0).cloned());
    assert!(casualty["elapsed_s"].as_f64().unwrap() >= 2.0, "{casualty}");
    browser.until("it on the page", |b| b.text(".casualty").contains("ago").then_some(()));
    assert_eq!(browser.text("#exercise"), "");
    browser.picture("overboard");
}

#[test]
#[ignore = "needs chromium and chromedriver, which are no part of the build"]
fn it_can_be_installed_from_itself_alone() {
    let boat = Boat::start("install");
    let browser = Browser::start(&boat.daemon.folder.0.join("profile"));
    browser.open(&boat.url());
    let manifest = browser.run(
        "const r = new XMLHttpRequest(); r.open('GET', document.querySelector('link[rel=manifest]').href, false); r.send();
         return [r.status, r.getResponseHeader('content-type'), JSON.parse(r.responseText)]",
    );
    assert_eq!(manifest[0], 200);
    assert_eq!(manifest[1], "application/manifest+json");
    assert_eq!(manifest[2]["display"], "standalone");
    let icon = browser
        .run("const i = new Image(); i.src = 'icon.svg'; return i.decode().then(() => i.naturalWidth > 0)");
    assert_eq!(icon, true, "the icon is an image");
    let errors = browser.installability();
    assert_eq!(errors, serde_json::json!([]), "{errors}");
}
