//! The night for other programs.

use crate::aboard::Folder;
use crate::records::{at, settings};
use crate::review::night::write_the_night;
use crate::review::page::{a_bare_night, a_sly_night};
use lookout::casualty::{Casualties, Known, OwnContext};
use lookout::search::{Pattern, Plan, Wish};
use middlewatch::logbook::{Logbook, LogbookSettings, Pace};
use middlewatch::review::{self, Span};
use record::OwnRow;
use std::process::Command;
use std::time::Duration;
use terms::{Moment, Position, Utc};

/// The order of elements within each other by the schema of GPX 1.1 (topografix.com/GPX/1/1/gpx.xsd, from memory).
fn assert_gpx_in_order(gpx: &str) {
    let order = |parent: &str| -> &[&str] {
        match parent {
            "gpx" => &["metadata", "wpt", "rte", "trk", "extensions"],
            "wpt" | "trkpt" => &[
                "ele",
                "time",
                "magvar",
                "geoidheight",
                "name",
                "cmt",
                "desc",
                "src",
                "link",
                "sym",
                "type",
                "fix",
            ],
            "trk" => &["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "trkseg"],
            "trkseg" => &["trkpt", "extensions"],
            _ => &[],
        }
    };
    let mut open: Vec<(&str, usize)> = Vec::new();
    for tag in gpx.split('<').skip(1).filter(|t| !t.starts_with('?')) {
        let inside = tag.split('>').next().unwrap();
        if let Some(name) = inside.strip_prefix('/') {
            assert_eq!(open.pop().map(|(n, _)| n), Some(name));
            continue;
        }
        let name = inside.split(' ').next().unwrap();
        if let Some((parent, reached)) = open.last_mut() {
            let place = order(parent).iter().position(|n| *n == name);
            let place = place.unwrap_or_else(|| panic!("<{name}> in <{parent}>"));
            assert!(place >= *reached, "<{name}> too late in <{parent}>");
            *reached = place;
        }
        if let Some(lon) = inside.split("lon=\"").nth(1) {
            let lon: f64 = lon.split('"').next().unwrap().parse().unwrap();
            assert!((-180.0..180.0).contains(&lon), "{inside}");
        }
        open.push((name, 0));
    }
    assert!(open.is_empty(), "{open:?}");
}

/// Four points over the 180th meridian, two of which round to it.
fn over_the_180th(folder: &Folder) -> review::Night {
    let fast = LogbookSettings { pace: Pace::Replay, ..settings("a", 0) };
    let (logbook, _) = Logbook::open(folder.logbook(), fast).unwrap();
    for (s, lon) in [(0, 179.999), (10, 179.999_999_9), (20, -180.0), (30, -179.999)] {
        let position = Some(Position::new(-17.0, lon).unwrap());
        logbook.own(at(s), OwnRow { position, ..OwnRow::default() });
    }
    logbook.close(at(60)).blocking_recv().unwrap().unwrap();
    review::read(folder.logbook(), Span::default()).unwrap()
}

#[test]
fn a_track_over_the_180th_meridian_is_good_gpx() {
    let gpx = over_the_180th(&Folder::new("180")).gpx();
    assert_gpx_in_order(&gpx);
    assert_eq!(gpx.matches("<trkpt").count(), 4);
}

/// A plan to search for one whose name is hard to write.
fn search(pattern: Pattern) -> String {
    let now = Moment(0);
    let own = OwnContext {
        position: Some(Known::new(Position::new(58.0, 179.98).unwrap(), now)),
        water_temperature_c: Some(Known::new(10.0, now)),
        ..OwnContext::default()
    };
    let mut casualties = Casualties::new(vec![]);
    let id = casualties.overboard(now, Duration::ZERO, Some("Ada <&> \u{7}Byron".into()), &own);
    let datum = casualties.datum(now, id).unwrap();
    let wish = Wish {
        pattern,
        second_pass: false,
        number: 1,
        spacing_nm: Some(0.1),
        sweep: None,
        radius_nm: Some(0.5),
        speed_kn: 5.0,
        first_course_deg: Some(0.0),
    };
    let plan = Plan::new(&datum, &own, &casualties.current(&own), &wish).unwrap();
    plan.gpx(now, Utc::parse("2026-11-01T02:00:00Z"))
}

/// By the schema of GPX 1.1 itself, where the check of the order above is from memory; xmllint of libxml2 judges.
#[test]
#[ignore = "needs xmllint, and the schema of GPX 1.1 where MIDDLEWATCH_GPX_SCHEMA names it; .ci/run has both"]
fn what_goes_out_as_gpx_is_valid_by_its_schema() {
    let schema = std::env::var("MIDDLEWATCH_GPX_SCHEMA").expect("MIDDLEWATCH_GPX_SCHEMA names the schema");
    let folder = Folder::new("schema");
    let judged = |name: &str, gpx: &str| {
        let file = folder.0.join(name);
        std::fs::write(&file, gpx).unwrap();
        let mut judge = Command::new("xmllint");
        judge.args(["--noout", "--nonet", "--schema", &schema]).arg(&file);
        judge.output().expect("xmllint is there")
    };
    write_the_night(&folder.logbook());
    let night = review::read(folder.logbook(), Span::default()).unwrap();
    for (name, gpx) in [
        ("known.gpx", night.gpx()),
        ("sly.gpx", a_sly_night(&Folder::new("schema-sly")).gpx()),
        ("180.gpx", over_the_180th(&Folder::new("schema-180")).gpx()),
        ("bare.gpx", a_bare_night(&Folder::new("schema-bare")).gpx()),
        ("square.gpx", search(Pattern::ExpandingSquare)),
        ("sector.gpx", search(Pattern::Sector)),
    ] {
        let out = judged(name, &gpx);
        assert!(out.status.success(), "{name}: {}", String::from_utf8_lossy(&out.stderr));
    }
    let wrong = night.gpx().replacen("<name>", "<nom>", 1).replacen("</name>", "</nom>", 1);
    assert!(!judged("wrong.gpx", &wrong).status.success(), "the judge judges");
}

#[test]
fn exports_hold_the_same_night() {
    let folder = Folder::new("exports");
    write_the_night(&folder.logbook());
    let night = review::read(folder.logbook(), Span::default()).unwrap();
    let gpx = night.gpx();
    assert_eq!(gpx.matches("<trkseg>").count(), 2, "the gap parts it");
    assert_gpx_in_order(&gpx);
    assert_eq!(gpx.matches("<trkpt").count(), night.own.len());
    assert!(gpx.contains("<time>2026-11-01T00:00:00.000Z</time>") && gpx.contains("<name>MOB Ines</name>"));
    let geo: serde_json::Value = serde_json::from_str(&night.geojson()).unwrap();
    let first = &geo["features"][0]["geometry"]["coordinates"][0];
    assert_eq!(
        (first[0].as_f64(), first[1].as_f64()),
        (Some(-6.5), Some(50.0)),
        "longitude first (RFC 7946)"
    );
    let csv = night.csv();
    let mut lines = csv.split("\r\n");
    let columns = lines.next().unwrap().split(',').count();
    assert!(lines.clone().filter(|l| !l.is_empty()).all(|l| l.split(',').count() == columns));
    assert_eq!(lines.filter(|l| !l.is_empty()).count(), night.own.len());
}
