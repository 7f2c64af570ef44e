//! A casualty in words: as it is called out, and in one line in full.

use super::case::{ElapsedIs, Kind, Source, Whose, Why};
use super::fixes::Doubt;
use super::nature;
use super::own::{RelativeTo, SetDrift};
use super::state::{Audible, CasualtyState, Elsewhere, Placed};
use std::time::Duration;
use terms::speech::{self, Side};
use terms::{METRES_PER_NM, Mmsi, Station, one_line, three_digits};

/// Below this, ranges are given in metres.
const NEAR_NM: f64 = 0.25;
/// Slower than this, a range is neither closing nor opening.
const STEADY_KN: f64 = 0.2;

/// Below this neither side nor speed is given, nor the distance: within the error of any fix.
const CLOSE_BY_NM: f64 = 0.02;
/// Where it can be anywhere around her within this, it is said to be close by; further off its place is not known (own
/// choice).
const AROUND_NM: f64 = 0.1;
/// A fix older than this is said to be old.
const OLD_FIX: Duration = Duration::from_secs(120);

/// The casualty as it is called out, in at most twenty words: what and who, where by side, how far, closing or opening.
/// Nothing that a listener cannot act on. `said` is the side last named, which yawing does not change.
pub fn aloud(s: &CasualtyState, said: Option<Side>) -> String {
    let what = match (s.kind, s.crew.as_deref()) {
        (Kind::PersonOverboard, Some(name)) => format!("Man overboard, {}", short_name(name)),
        (Kind::PersonOverboard, None) if s.whose == Whose::Stranger => {
            "Man overboard, unknown beacon".to_owned()
        }
        (Kind::PersonOverboard, None) => "Man overboard".to_owned(),
        (Kind::Sart, _) => "Search and rescue transmitter heard".to_owned(),
        (Kind::Epirb, _) => "EPIRB heard".to_owned(),
        (Kind::VesselInDistress(n), _) if s.whose == Whose::Relayed => {
            format!("Distress relayed, {}", nature::words(n))
        }
        (Kind::VesselInDistress(n), _) => format!("Vessel in distress, {}", nature::words(n)),
        (Kind::ManyBeacons { .. }, _) => "Many more distress beacons heard".to_owned(),
    };
    let old = old_clue(s);
    let reckoned = (s.reckoned.is_some() && s.range_nm.is_some()).then_some("by dead reckoning");
    let doubt = s.elsewhere.as_ref().filter(|_| old.is_none()).map(|e| match e.bursts {
        0 => "own track does not fit",
        1 => "one report does not fit",
        _ => "other reports do not fit",
    });
    let line = |place: &str, last: Option<&str>| {
        speech::sentences([what.as_str(), place, reckoned.unwrap_or_default(), last.unwrap_or_default()])
    };
    let parts = where_aloud(s, said);
    let moving = parts.join(", ");
    // Side and distance alone, without what it does.
    let place = parts[..parts.len().min(2)].join(", ");
    // The doubt can wait until there is time to read, then whether it closes, then the age; side and distance cannot.
    let (whole, old) = (old.as_deref().or(doubt), old.as_deref());
    let lines = [line(&moving, whole), line(&moving, old), line(&place, old), line(&place, None)];
    let fits = lines.iter().find(|l| speech::words(l) <= speech::MOST_WORDS);
    fits.cloned().unwrap_or_else(|| speech::sentences([what.as_str(), &place]))
}

/// Side, distance, and what it does; or the one thing that can be said instead: of a line, which no side and distance
/// describe, the way back.
pub(super) fn where_aloud(s: &CasualtyState, said: Option<Side>) -> Vec<String> {
    if let Some((seen, _)) = s.unseen.filter(|_| !s.line.is_empty()) {
        return vec![format!(
            "last seen {} ago, search back along own track",
            speech::time(seen.as_secs_f64())
        )];
    }
    let range_nm = match how_near(s) {
        Near::NotKnown => return vec!["position not known".to_owned()],
        Near::CloseBy => return vec!["close by".to_owned()],
        Near::Off(range_nm) => range_nm,
    };
    let side = match (s.relative_bearing_deg, s.bearing_deg) {
        (Some(relative), _) => Some(speech::look(relative, said)),
        (None, Some(bearing)) => Some(speech::bearing(bearing)),
        (None, None) => None,
    };
    let closing = s.closing_kn.and_then(|kn| match kn {
        kn if kn > STEADY_KN => Some("closing"),
        kn if kn < -STEADY_KN => Some("opening"),
        _ => None,
    });
    let parts = [side, Some(speech::distance(range_nm)), closing.map(str::to_owned)];
    parts.into_iter().flatten().collect()
}

/// How old its newest clue is, once that is too old to steer by.
pub(super) fn old_clue(s: &CasualtyState) -> Option<String> {
    let old = |age: &Duration| *age > OLD_FIX;
    let words = |age: Duration| speech::time(age.as_secs_f64());
    match (s.fix_age.filter(|_| s.source == Source::Ais), s.sighted_age) {
        (fix, Some(seen)) if fix.is_none_or(|fix| seen < fix) => {
            Some(seen).filter(old).map(|age| format!("last seen {} ago", words(age)))
        }
        (fix, _) => fix.filter(old).map(|age| format!("last fix {} old", words(age))),
    }
}

/// How much of a place can be said.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Near {
    /// It can be on any side, or nothing is known.
    NotKnown,
    /// Within a boat's length or two, or anywhere close around her.
    CloseBy,
    /// So many miles off, on a side that can be named.
    Off(f64),
}

pub(super) fn how_near(s: &CasualtyState) -> Near {
    let on_a_line = s.unseen.is_some() && !s.line.is_empty();
    let Some(range_nm) = s.range_nm.filter(|_| !on_a_line) else { return Near::NotKnown };
    match s.radius95_nm.unwrap_or(0.0).hypot(s.reckoned.map_or(0.0, |r| r.error_nm)) {
        _ if range_nm <= CLOSE_BY_NM => Near::CloseBy,
        radius_nm if radius_nm < range_nm => Near::Off(range_nm),
        radius_nm if radius_nm < AROUND_NM => Near::CloseBy,
        _ => Near::NotKnown,
    }
}

/// The first words of a name, so that a long one does not hide where its bearer is.
pub(super) fn short_name(name: &str) -> String {
    one_line(name).split_whitespace().take(2).collect::<Vec<_>>().join(" ")
}

/// The casualty in one line: who, where from here, how long, which way it drifts, and how to get there. Anything not
/// known is left out, except the position: if that is unknown, the line says so.
pub fn in_full(s: &CasualtyState) -> String {
    let mut parts = vec![who(s), place(s)];
    let since = if s.elapsed_is == ElapsedIs::AtLeast { "at least " } else { "" };
    // A beacon starts some time after the fall; a button gives the time of the fall itself.
    let heard = if s.source == Source::Ais && s.why != Why::Button { "first heard " } else { "" };
    parts.push(match s.unseen {
        Some((seen, missed)) => unseen_words(s, seen, missed),
        None => format!("{heard}{since}{} ago", duration_words(s.elapsed)),
    });
    if let Some(d) = s.drift {
        parts.push(drift_words(d));
    }
    parts.extend(s.elsewhere.as_ref().map(elsewhere_words));
    parts.extend(doubt_words(s));
    let off = s.range_nm.is_some_and(|nm| nm > CLOSE_BY_NM);
    parts.extend(s.closing_kn.filter(|_| off).map(|kn| match kn {
        kn if kn > STEADY_KN => format!("closing at {kn:.1} knots"),
        kn if kn < -STEADY_KN => format!("opening at {:.1} knots", -kn),
        _ => "range steady".to_owned(),
    }));
    parts.extend(s.reckoned.filter(|_| s.range_nm.is_some()).map(|r| {
        format!(
            "own position by dead reckoning for {}, give or take {}",
            duration_words(r.age),
            range_words(r.error_nm)
        )
    }));
    parts.extend(reach(s));
    parts.extend(radio(s));
    if s.battery_low == Some(true) {
        parts.push("beacon battery low".to_owned());
    }
    let line = parts.into_iter().filter(|p| !p.is_empty()).collect::<Vec<_>>().join(", ");
    // A name or text from outside must not break the line.
    one_line(&line)
}

/// What it is, and whose beacon.
pub fn who(s: &CasualtyState) -> String {
    let number = s.beacon_mmsi.map_or(String::new(), |m| format!(" {m}"));
    match (s.kind, s.crew.as_deref()) {
        (Kind::PersonOverboard, Some(name)) => format!("{name} overboard"),
        (Kind::PersonOverboard, None) => match (s.beacon_mmsi, s.emitter.as_deref()) {
            (Some(m), _) if s.whose == Whose::Ours => format!("person overboard, beacon {m}"),
            (Some(m), _) => format!("person overboard, {}", stranger(m)),
            (None, Some(e)) if s.source == Source::MobSentence => format!("person overboard, emitter {e}"),
            (None, _) => "person overboard".to_owned(),
        },
        (Kind::Sart, _) => format!("search and rescue transmitter{number} active"),
        (Kind::Epirb, _) => format!("EPIRB{number} active"),
        (Kind::VesselInDistress(n), _) => {
            let vessel = s.ship_mmsi.map_or("unidentified vessel".to_owned(), |m| format!("vessel {m}"));
            let by = s.relayed_by.map_or(String::new(), |by| format!(", relayed by {}", station(by)));
            format!("{vessel} in distress, {}{by}", nature::words(n))
        }
        (Kind::ManyBeacons { count }, _) => {
            format!("{count} or more further beacons active, too many to tell apart")
        }
    }
}

/// What sends for a person of whom nothing else is known.
fn stranger(mmsi: Mmsi) -> String {
    if mmsi.is_beacon() { format!("unknown beacon {mmsi}") } else { format!("reported by {}", station(mmsi)) }
}

/// A station by what its identity says it is.
pub(crate) fn station(mmsi: Mmsi) -> String {
    let what = match mmsi.station() {
        Station::Vessel => "ship",
        Station::Base => "coast station",
        Station::SarAircraft => "rescue aircraft",
        Station::Sart | Station::Mob | Station::Epirb => "beacon",
        _ => "station",
    };
    format!("{what} {mmsi}")
}

/// Where it is from here.
fn place(s: &CasualtyState) -> String {
    let Some(range_nm) = s.range_nm else {
        return match s.place {
            Some(p) => format!("{}at {p}, own position not known", estimated(s)),
            None => "position not known".to_owned(),
        };
    };
    let mut text = format!("{}range {}", estimated(s), range_words(range_nm));
    if let Some(radius_nm) = s.radius95_nm.filter(|_| s.position == Placed::Estimated) {
        text.push_str(&format!(" give or take {}", range_words(radius_nm)));
    }
    if range_nm <= CLOSE_BY_NM {
        // Any bearing would be that of an error.
        return text;
    }
    if let Some(b) = s.bearing_deg {
        text.push_str(&format!(", bearing {} true", three_digits(b)));
    }
    if let Some(b) = s.bearing_magnetic_deg {
        text.push_str(&format!(", {} magnetic", three_digits(b)));
    }
    if let Some(relative) = s.relative_bearing_deg {
        let from = if s.relative_to == Some(RelativeTo::Cog) { " by her course" } else { "" };
        text.push_str(&format!(", {}{from}", speech::look_written(relative, " degrees")));
    }
    text
}

/// States that a place is not a report, if it is none; and if the beacon has never sent one, that too.
fn estimated(s: &CasualtyState) -> String {
    let seen = s.sighted_age.filter(|seen| s.fix_age.is_none_or(|fix| *seen < fix));
    if let Some(seen) = seen.filter(|_| s.position == Placed::Estimated) {
        return format!("seen {} ago, estimated ", duration_words(seen));
    }
    let words = match s.position {
        Placed::Estimated if s.fix_age.is_none() && s.source == Source::Ais => match s.elsewhere {
            None => "no position from the beacon yet, by own track estimated ",
            Some(_) => "by own track estimated ",
        },
        Placed::Estimated => "estimated ",
        Placed::Reported | Placed::None => "",
    };
    words.to_owned()
}

/// A fall that nobody saw, in words, with the line on which the casualty lies: from the younger end, which is the nearer one
/// to begin with.
fn unseen_words(s: &CasualtyState, seen: Duration, missed: Duration) -> String {
    let missed = match missed.as_secs() {
        0..60 => "just now".to_owned(),
        _ => format!("{} ago", duration_words(missed)),
    };
    let mut text = format!("last seen {} ago, missed {missed}", duration_words(seen));
    if let Some((old, young)) = s.line.first().zip(s.line.last()) {
        let nm: f64 = s.line.windows(2).map(|w| w[0].place.range_and_bearing(w[1].place).0).sum();
        text.push_str(&format!(
            ", on a line of {} from {} (just before missed) to {} (just after last seen)",
            range_words(nm),
            young.place,
            old.place
        ));
    }
    if s.line_unknown > 0.005 {
        let percent = (100.0 * s.line_unknown).max(1.0);
        text.push_str(&format!(", own track not known for {percent:.0} % of that time"));
    }
    text
}

/// The other place where it may be, in words: "one report 1.70 nautical miles off does not fit, bearing 045 true".
pub fn elsewhere_words(e: &Elsewhere) -> String {
    let off = range_words(e.off_nm);
    let what = match e.bursts {
        0 => format!("own track puts it {off} from there"),
        1 => format!("one report {off} off does not fit"),
        n => format!("{n} reports {off} off do not fit"),
    };
    let from_here = e.range_nm.zip(e.bearing_deg).map_or(String::new(), |(range_nm, bearing_deg)| {
        format!(", range {}, bearing {} true", range_words(range_nm), three_digits(bearing_deg))
    });
    what + &from_here
}

/// A position that says nothing new.
fn doubt_words(s: &CasualtyState) -> Option<String> {
    let repeated = s.position == Placed::Estimated && matches!(s.doubtful, Some((_, Doubt::Repeated)));
    let age = s.fix_age.filter(|_| repeated)?;
    Some(format!("the beacon repeats a position of {} ago", duration_words(age)))
}

/// A range in words: metres when near.
pub(super) fn range_words(range_nm: f64) -> String {
    if range_nm < NEAR_NM {
        let step = if range_nm * METRES_PER_NM < 100.0 { 5.0 } else { 10.0 };
        format!("{:.0} metres", (range_nm * METRES_PER_NM / step).round() * step)
    } else if range_nm < 3.0 {
        format!("{range_nm:.2} nautical miles")
    } else {
        format!("{range_nm:.1} nautical miles")
    }
}

/// A length of time in words: seconds below ten minutes, else minutes, hours.
pub(super) fn duration_words(d: Duration) -> String {
    let s = d.as_secs();
    let many = |n: u64, unit: &str| format!("{n} {unit}{}", if n == 1 { "" } else { "s" });
    let two = |a: String, n: u64, unit: &str| if n == 0 { a } else { format!("{a} {}", many(n, unit)) };
    match s {
        0..60 => many(s, "second"),
        60..600 => two(many(s / 60, "minute"), s % 60, "second"),
        600..3600 => many(s / 60, "minute"),
        3600..86_400 => two(many(s / 3600, "hour"), s % 3600 / 60, "minute"),
        _ => two(many(s / 86_400, "day"), s % 86_400 / 3600, "hour"),
    }
}

/// Set and drift in words.
pub(super) fn drift_words(d: SetDrift) -> String {
    format!("drifting toward {} at {:.1} knots", three_digits(d.set_deg), d.drift_kn)
}

/// How long it takes to get there.
fn reach(s: &CasualtyState) -> Option<String> {
    let words = |r: super::state::Reach| format!("{} at {:.1} knots", duration_words(r.time), r.speed_kn);
    match (s.reach_under_engine, s.reach_at_present) {
        (Some(e), Some(p)) => Some(format!("to reach: {} under engine, {} as now", words(e), words(p))),
        (Some(e), None) => Some(format!("to reach: {} under engine", words(e))),
        (None, Some(p)) => Some(format!("to reach: {} as now", words(p))),
        (None, None) => None,
    }
}

/// How far the boat is from losing the beacon.
fn radio(s: &CasualtyState) -> Option<String> {
    let (range_nm, audible) = s.range_nm.zip(s.audible)?;
    let edge = match audible {
        Audible::Tested { to_nm } => {
            format!("the {} to which tests of this beacon were heard", range_words(to_nm))
        }
        Audible::Expected { to_nm, least_nm, most_nm } => format!(
            "the {} to which a low beacon can be expected to be heard, {least_nm:.1} to {most_nm:.1}",
            range_words(to_nm)
        ),
    };
    let left_nm = audible.to_nm() - range_nm;
    if left_nm < 0.0 {
        return Some(format!("beyond {edge}"));
    }
    let opens = s.closing_kn.map(|kn| -kn).filter(|kn| *kn > STEADY_KN);
    let lost = opens.map_or(String::new(), |kn| format!(": {}", out_of_hearing(left_nm, kn)));
    Some(format!("{} left of {edge}{lost}", range_words(left_nm)))
}

/// When a beacon this far from the edge of hearing is lost at a given speed.
pub fn out_of_hearing(left_nm: f64, speed_kn: f64) -> String {
    let time = Duration::try_from_secs_f64(left_nm / speed_kn * 3600.0).unwrap_or(Duration::MAX);
    // To the minute: anything finer would be made up.
    let time = Duration::from_secs(time.as_secs().saturating_add(30) / 60 * 60);
    let speed = format!("{speed_kn:.1}");
    format!("at {} knots, out of hearing in {}", speed.trim_end_matches(".0"), duration_words(time))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_miles_and_an_eighth_at_eight_knots_are_sixteen_minutes() {
        // A mile is ten knots for six minutes (common practice).
        assert_eq!(out_of_hearing(1.0, 10.0), "at 10 knots, out of hearing in 6 minutes");
        assert_eq!(out_of_hearing(2.13, 8.0), "at 8 knots, out of hearing in 16 minutes");
        assert_eq!(out_of_hearing(4.0, 5.5), "at 5.5 knots, out of hearing in 44 minutes");
    }
}
