//! The watch card in a browser: what it shows, that it follows, acknowledges and says when its picture is old.

use crate::aboard::{Daemon, Folder, sentence, until};
use crate::browser::Browser;
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use std::net::{SocketAddr, TcpListener, TcpStream, UdpSocket};

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

impl Boat {
    fn start(name: &str) -> Self {
        let folder = Folder::new(name);
        folder.write("token", TOKEN);
        let address = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
        let feed = UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
        let daemon = Daemon::start_with(
            folder,
            &format!(
                "[vessel]\nname = \"Wendelin\"\n[watch.alarm]\ndormant_period = \"12 min\"\nreset_from = [\"helm\"]\n[[crew]]\nname = \"Ada\"\nbeacon = \"970000000\"\n\
                 [[feed]]\nname = \"bus\"\nudp = \"{feed}\"\n"
            ),
            &format!("listen = \"{address}\"\ntoken_file = \"token\"\nopen_reading = true\n"),
        );
        until("TCP", || TcpStream::connect(address).ok().map(drop));
        Self { daemon, address, feed, wire: UdpSocket::bind("127.0.0.1:0").unwrap() }
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
    browser.screen(390, 844);
    browser.open(&boat.url());
    browser.until("the picture", |b| (b.text("#vessel") == "Wendelin").then_some(()));
    browser.until("no alerts", |b| b.text("#alerts").contains("None.").then_some(()));
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
        return [y('.casualty'), y('#plan'), y('#alerts'), y('#target-list'), y('#own')];",
    );
    let tops: Vec<f64> = first.as_array().unwrap().iter().map(|t| t.as_f64().unwrap()).collect();
    assert!(tops.is_sorted(), "words, plan, alerts, targets, own vessel: {tops:?}");
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
    let button = "document.querySelector('.alert button')";
    browser.until("the button", |b| b.run(&format!("return !!{button}")).as_bool().filter(|t| *t));
    browser.run("document.getElementById('light').focus()");
    browser.keys(TAB);
    assert!(browser.focused_label().starts_with("Acknowledge: "), "{}", browser.focused_label());
    // The picture comes anew each second, and the focus stays where it is.
    std::thread::sleep(std::time::Duration::from_millis(2500));
    assert!(browser.focused_label().starts_with("Acknowledge: "));
    browser.keys(ENTER);
    browser.until("the door", |b| b.text("#door").contains("Token").then_some(()));
    browser.picture("token");
    browser.run("document.getElementById('token').focus()");
    assert_eq!(browser.focused_label(), "Token");
    browser.keys(&format!("{TOKEN}{ENTER}"));
    browser.run(&format!("{button}.focus()"));
    browser.keys(ENTER);
    browser.until("it to be acknowledged", |b| {
        b.text("#alert-list").contains("active acknowledged").then_some(())
    });
    assert!(browser.text("#said").contains("acknowledged"));

    // The watch alarm: suspended by the emergency; stood down, it is reset from here.
    browser.until("suspended", |b| b.text("#watch-alarm").contains("suspended").then_some(()));
    assert!(boat.daemon.tell(&["stand-down", "--reason", "test"]).status.success());
    browser.until("on", |b| b.text("#watch-alarm").contains("on, asks in").then_some(()));
    browser.run("document.getElementById('reset').click()");
    browser.until("reset", |b| b.text("#said").contains("watch alarm reset").then_some(()));
    browser.picture("watch-alarm");

    // It grows old in large letters: a daemon that hangs, then one that is gone.
    assert_eq!(browser.text("#stale"), "");
    let daemon = Pid::from_raw(boat.daemon.pid());
    kill(daemon, Signal::SIGSTOP).unwrap();
    let title = browser.until("old", |b| Some(b.text("#stale-title")).filter(|t| !t.is_empty()));
    assert_eq!(title, "OLD PICTURE");
    let size =
        browser.run("return parseFloat(getComputedStyle(document.getElementById('stale-title')).fontSize)");
    assert!(size.as_f64().unwrap() > 30.0, "{size}");
    browser.picture("old");
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
