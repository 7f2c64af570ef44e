//! The page of a night: whole in itself, and safe against what names from the air hold.

use crate::aboard::Folder;
use crate::records::{self, at, open, record};
use crate::review::night::{
    SHIP, begin_without_utc, event, own_at, with_casualty, without_utc, write_the_night,
};
use middlewatch::review::{self, Span};
use record::{Entry, OwnRow};
use rules::Priority;

/// A name from the air that tries to dress up the page.
const SLY: &str = "<script>x\u{202e}&\"'\u{7}";

pub fn a_sly_night(folder: &Folder) -> review::Night {
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    for s in (0..=7200).step_by(10) {
        logbook.own(at(s), OwnRow { position: Some(own_at(s)), ..OwnRow::default() });
        let mut t = records::target(SHIP, 0.5 + (s - 3600).abs() as f64 / 3600.0);
        (t.name, t.position) = (Some(SLY.into()), Some(own_at(s).at(90.0, 0.5)));
        logbook.target(at(s), t);
    }
    logbook.entry(at(60), Entry::Note { who: Some(SLY.to_owned()), text: SLY.to_owned() });
    let mut r = record(1, 1, Priority::Alarm, 100);
    (r.alert.text, r.alert.order) = (SLY.to_owned(), SLY.to_owned());
    (r.own.latitude_deg, r.own.longitude_deg) = (Some(50.0), Some(-6.5));
    event(&logbook, 100, with_casualty(r, Some(own_at(100)), Some(0.1)));
    logbook.close(at(7200)).blocking_recv().unwrap().unwrap();
    review::read(folder.logbook(), Span::default()).unwrap()
}

#[test]
fn the_page_needs_nothing_else_and_no_name_leaves_its_place() {
    let folder = Folder::new("sly");
    let night = a_sly_night(&folder);
    let page = night.html(night.ship_time());
    assert!(page.contains("&lt;script&gt;x&amp;&quot;'"), "the name is there");
    for (what, text) in [("page", &page), ("GPX", &night.gpx())] {
        assert!(!text.contains("<script"), "{what}");
        assert!(!text.contains('\u{202e}') && !text.contains('\u{7}'), "{what}");
    }
    for outward in ["http:", "https:", "src=", "@import", "url(h", "javascript"] {
        assert!(!page.contains(outward), "{outward}");
    }
    assert_eq!(page.matches("is an aid").count(), 1, "the caution once");
    // What is drawn is described, and tables have heads.
    assert_eq!(page.matches("role=\"img\"").count(), page.matches("<desc ").count());
    assert_eq!(page.matches("<table>").count(), page.matches("<caption>").count());
    assert!(page.matches("scope=\"col\"").count() > 10);
    // Whatever is opened is closed.
    for tag in ["g", "svg", "table", "tr", "section", "article", "td", "th", "li", "ul", "p", "div"] {
        let opened = page.matches(&format!("<{tag} ")).count() + page.matches(&format!("<{tag}>")).count();
        assert_eq!(opened, page.matches(&format!("</{tag}>")).count(), "{tag}");
    }
}

#[test]
fn the_page_of_the_known_night() {
    let folder = Folder::new("html");
    write_the_night(&folder.logbook());
    let night = review::read(folder.logbook(), Span::default()).unwrap();
    let page = night.html(terms::ShipTime::parse("+2").unwrap());
    for part in [
        "03:00:00 <small>05:00</small>",
        "TORDIS 02:00 0.4 nm",
        "MOB 03:00 Ines",
        "the lookout was cut off",
        "34 at 04:00",
        "4.2 at 01:00",
        "stood down",
        "recovered",
        "UTC+2",
    ] {
        assert!(page.contains(part), "{part}");
    }
    if let Ok(path) = std::env::var("MIDDLEWATCH_TEST_PAGE") {
        std::fs::write(path, page).unwrap();
    }
}

/// One alert, and nothing else known.
pub fn a_bare_night(folder: &Folder) -> review::Night {
    let logbook = begin_without_utc(&folder.logbook());
    logbook.close(without_utc(120)).blocking_recv().unwrap().unwrap();
    review::read(folder.logbook(), Span::default()).unwrap()
}

#[test]
fn a_night_without_positions_instruments_or_utc_has_a_page_too() {
    let night = a_bare_night(&Folder::new("bare"));
    let page = night.html(night.ship_time());
    assert!(page.contains("No position was known.") && page.contains("No instrument was heard."));
    assert!(night.print().contains("start+0 h 01 min"), "{}", night.print());
    assert!(night.deck_log().is_empty());
    night.gpx();
    night.csv();
}
