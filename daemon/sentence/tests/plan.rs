//! The plotter's plan by sentence. The lines are published examples whose checksums are right, with those corrected that are
//! printed with a wrong one, or made where it says so.

use crate::support::{near, read, said};
use sentence::{Decoder, DecoderOptions, FramerOptions, Refusal, Report, Sentence, Waypoint};
use terms::{Moment, Position};

fn waypoint(line: &str) -> Waypoint {
    match read(line) {
        Ok(Report::Waypoint(w)) => w,
        other => panic!("{line}: {other:?}"),
    }
}

#[test]
fn where_a_plotter_leads() {
    let rmb = waypoint("$GPRMB,A,0.66,L,003,004,4917.24,N,12309.57,W,001.3,052.5,000.5,V*20");
    assert_eq!((rmb.from.as_deref(), rmb.to.as_deref()), (Some("003"), Some("004")));
    assert_eq!((rmb.cross_track_error_nm, rmb.distance_nm), (Some(-0.66), Some(1.3)));
    assert_eq!((rmb.bearing_deg, rmb.closing_kn, rmb.circle_entered), (Some(52.5), Some(0.5), Some(false)));
    assert!(near(rmb.position.map(Position::latitude_deg), 49.0 + 17.24 / 60.0, 1e-9));
    assert_eq!(waypoint("$GPRMB,V,,,,,,,,,,,,V,N*04"), Waypoint::default());
    let made = waypoint("$GPRMB,A,0.30,L,WP03,WP04,1405.000,N,06057.000,W,123.4,262.5,5.6,V,A*4D");
    assert_eq!((made.distance_nm, made.cross_track_error_nm), (Some(123.4), Some(-0.3)));

    let apb = waypoint("$GPAPB,A,A,0.10,R,N,V,V,011,M,DEST,011,M,011,M*3C");
    assert_eq!((apb.to.as_deref(), apb.cross_track_error_nm), (Some("DEST"), Some(0.1)));
    assert_eq!(
        (apb.bearing_deg, apb.circle_entered, apb.perpendicular_passed),
        (None, Some(false), Some(false))
    );
    // Its unit is not one of a distance.
    let apb = waypoint("$ECAPB,A,A,0.0,L,M,V,V,175.2,T,Antechamber_Bay,175.2,T,175.2,T*48");
    assert_eq!((apb.cross_track_error_nm, apb.bearing_deg), (None, Some(175.2)));

    let bwc = waypoint("$GPBWC,220516,5130.02,N,00046.34,W,213.8,T,218.0,M,0004.6,N,EGLM*21");
    assert_eq!((bwc.to.as_deref(), bwc.bearing_deg, bwc.distance_nm), (Some("EGLM"), Some(213.8), Some(4.6)));
    assert_eq!(waypoint("$GPBWC,081837,,,,,,T,,M,,N,*13"), Waypoint::default());
    let bod = waypoint("$GPBOD,099.3,T,105.6,M,POINTB,*48");
    assert_eq!((bod.to.as_deref(), bod.from), (Some("POINTB"), None));
    let aam = waypoint("$GPAAM,A,A,0.10,N,WPTNME*32");
    assert_eq!((aam.circle_entered, aam.perpendicular_passed), (Some(true), Some(true)));
}

/// 9.99 and 999.9 stand for that or more (from memory): they are not the figure.
#[test]
fn what_stands_for_more_is_no_figure() {
    let far = |off: &str, range: &str| match said(&format!(
        "$GPRMB,A,{off},R,A,B,4917.24,N,12309.57,W,{range},052.5,-2.5,A"
    )) {
        Report::Waypoint(w) => (w.cross_track_error_nm, w.distance_nm, w.closing_kn),
        other => panic!("{other:?}"),
    };
    assert_eq!(far("9.99", "999.9"), (None, None, Some(-2.5)));
    assert_eq!(far("9.98", "999.8"), (Some(9.98), Some(999.8), Some(-2.5)));
}

#[test]
fn modes_and_statuses() {
    let none = |body: &str| assert_eq!(said(body), Report::Waypoint(Waypoint::default()), "{body}");
    none("$GPRMB,A,0.66,L,003,004,4917.24,N,12309.57,W,001.3,052.5,000.5,V,N");
    none("$GPAPB,V,A,0.10,R,N,V,V,011,M,DEST,011,M,011,M");
    none("$GPAPB,A,V,0.10,R,N,V,V,011,M,DEST,011,M,011,M");
    none("$GPBWC,220516,5130.02,N,00046.34,W,213.8,T,218.0,M,0004.6,N,EGLM,N");
    let simulated = "$GPBWR,220516,5130.02,N,00046.34,W,213.8,T,218.0,M,0004.6,N,EGLM,S";
    let line = crate::support::sealed(simulated);
    assert_eq!(read(&line), Err(Refusal::Simulator));
    let sentence = Sentence::check(line.as_bytes(), &FramerOptions::default()).unwrap();
    let taken = Decoder::new(DecoderOptions { simulator: true }).read(Moment::ZERO, &sentence);
    assert!(matches!(taken, Ok(Report::Waypoint(Waypoint { to: Some(_), .. }))), "{taken:?}");
}

#[test]
fn places_and_routes() {
    let Ok(Report::WaypointPlace(place)) = read("$GPWPL,4917.16,N,12310.64,W,003*65") else { panic!() };
    assert_eq!(place.waypoint.as_deref(), Some("003"));
    assert!(near(place.position.map(Position::longitude_deg), -(123.0 + 10.64 / 60.0), 1e-9));
    let line = "$GPRTE,2,1,c,0,PBRCPK,PBRTO,PTELGR,PPLAND,PYAMBU,PPFAIR,PWARRN,PMORTL,PLISMR*73";
    let Ok(Report::RoutePart(part)) = read(line) else { panic!() };
    assert_eq!((part.parts, part.part, part.whole, part.route.as_deref()), (2, 1, true, Some("0")));
    assert_eq!((part.waypoints.len(), part.waypoints[8].as_str()), (9, "PLISMR"));
    assert_eq!(said("$GPRTE,2,3,c,0,A"), Report::Unread);
    assert!(matches!(said("$GPRTE,1,1,w,0,A,B"), Report::RoutePart(p) if !p.whole));
}
