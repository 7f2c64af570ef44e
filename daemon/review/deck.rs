//! The deck log: one line an hour, as a watchkeeper writes it by hand.

use super::night::{Alert, Minute, Night};
use super::passage::{GAP_S, Odometer};
use super::weather::{WINDS, mean_direction};
use super::when::When;
use record::{Entry, Item};
use rules::Priority;
use terms::{Circular, Position, Quantity};

/// Most hours in a log: two months.
const HOURS: i64 = 1500;
const HOUR_MS: i64 = 3_600_000;
/// A value counts for the hour when it is this near.
const NEAR_MS: i64 = 300_000;
/// Most remarks written for one hour; the others are counted.
const REMARKS: usize = 12;

/// One line of the deck log.
#[derive(Debug, Clone, PartialEq)]
pub struct Hour {
    /// The full hour of UTC, or the end.
    pub at: When,
    /// Own position then.
    pub position: Option<Position>,
    /// It is by dead reckoning.
    pub reckoned: bool,
    /// Mean course over ground of the time until then.
    pub course_deg: Option<f64>,
    /// Miles over the ground since the log began.
    pub log_nm: Option<f64>,
    /// Mean direction over that time of where the wind comes from, true.
    pub wind_from_deg: Option<f64>,
    /// Mean wind speed over that time.
    pub wind_kn: Option<f64>,
    /// Pressure then.
    pub pressure_hpa: Option<f64>,
    /// What the plotter's plan said then, and alerts and entries until then.
    pub remarks: Vec<String>,
}

/// A place of own track.
struct Point {
    /// UTC in milliseconds.
    ms: i64,
    position: Position,
    reckoned: bool,
    /// Miles run until then.
    log_nm: f64,
}

impl Hour {
    /// Own position in words; marked `DR` if it is by dead reckoning.
    pub fn place(&self) -> Option<String> {
        self.position.map(|p| if self.reckoned { format!("{p} DR") } else { p.to_string() })
    }
}

impl Night {
    /// The deck log by the full hours of UTC, and a line for the end; empty where UTC was never known.
    pub fn deck_log(&self) -> Vec<Hour> {
        let (Some(from), Some(to)) = (self.from.utc, self.to.utc) else { return Vec::new() };
        let first = from.0.div_euclid(HOUR_MS) + i64::from(from.0.rem_euclid(HOUR_MS) > 0);
        let last = (to.0.div_euclid(HOUR_MS)).min(first + HOURS);
        let track = self.track_with_log();
        let mut log: Vec<Hour> =
            (first..=last).map(|n| self.hour((n - 1) * HOUR_MS, n * HOUR_MS, &track)).collect();
        // The rest of the last hour.
        if to.0 > last * HOUR_MS {
            log.push(self.hour(last * HOUR_MS, to.0, &track));
        }
        log
    }

    /// Own positions with UTC, and the miles run until then.
    fn track_with_log(&self) -> Vec<Point> {
        let (mut track, mut run): (Vec<Point>, _) = (Vec::new(), Odometer::default());
        for o in &self.own {
            let (Some(utc), Some(p)) = (o.at.utc, o.position) else { continue };
            if track.last().is_some_and(|last| (utc.0 - last.ms) as f64 > GAP_S * 1000.0) {
                run.jump(p);
            }
            run.run(p);
            track.push(Point { ms: utc.0, position: p, reckoned: o.reckoned, log_nm: run.nm });
        }
        track
    }

    fn hour(&self, since: i64, ms: i64, track: &[Point]) -> Hour {
        let at = When { utc: Some(terms::Utc(ms)), ..self.from };
        let n = track.partition_point(|p| p.ms < ms).min(track.len().saturating_sub(1));
        let here = track.get(n).filter(|p| (p.ms - ms).abs() <= NEAR_MS);
        let within = |q| self.instruments.get(&q).map_or(&[][..], |m| between(m, since, ms));
        let mean = |q: Quantity| {
            let means: Vec<f64> = within(q).iter().filter_map(|m| m.mean).collect();
            (!means.is_empty()).then(|| means.iter().sum::<f64>() / means.len() as f64)
        };
        let direction = |q: Quantity| mean_direction(within(q));
        let then = |q| {
            let last = within(q).last().filter(|m| m.at.utc.is_some_and(|t| ms - t.0 <= NEAR_MS));
            last.map(|m| m.last)
        };
        let off = then(Quantity::CrossTrackError).map(|nm| format!("{:.1} nm off track", nm.abs()));
        let to_go = then(Quantity::DistanceToGo).map(|nm| format!("{nm:.0} nm to go"));
        let plan: Vec<String> = to_go.into_iter().chain(off).collect();
        let plan = (!plan.is_empty()).then(|| plan.join(", "));
        Hour {
            at,
            position: here.map(|p| p.position),
            reckoned: here.is_some_and(|p| p.reckoned),
            course_deg: direction(Quantity::Cog).or_else(|| self.own_course(since, ms)),
            log_nm: here.map(|p| p.log_nm),
            wind_from_deg: direction(Quantity::TrueWindDirection)
                .or_else(|| direction(Quantity::GroundWindDirection)),
            wind_kn: WINDS.into_iter().find_map(mean),
            pressure_hpa: then(Quantity::Pressure),
            remarks: plan.into_iter().chain(self.remarks_of(since, ms)).collect(),
        }
    }

    /// Mean course by own vessel's rows, where instruments have none.
    fn own_course(&self, since: i64, ms: i64) -> Option<f64> {
        let mut c = Circular::default();
        let end = self.own.partition_point(|o| o.at.utc.is_none_or(|t| t.0 < ms));
        let rows = self.own.get(..end)?.iter().rev().take_while(|o| o.at.utc.is_some_and(|t| t.0 >= since));
        rows.filter_map(|o| o.cog_deg).for_each(|deg| c.add(f64::from(deg), 1.0));
        c.mean_deg()
    }

    /// Entries and alerts until then.
    fn remarks_of(&self, since: i64, ms: i64) -> Vec<String> {
        let within = |at: &When| at.utc.is_some_and(|t| (since..ms).contains(&t.0));
        let mut remarks: Vec<(When, String)> = Vec::new();
        for r in self.remarks.iter().filter(|r| within(&r.at)) {
            // A handover names the watchkeeper in its words.
            let who = r.who.as_ref().filter(|_| r.took_the_watch().is_none());
            let who = who.map_or(String::new(), |w| format!(" ({w})"));
            let plain = r.kind == "note" || matches!(r.entry, Some(Entry::Call(_)));
            let kind = if plain { String::new() } else { format!("{}: ", r.kind) };
            remarks.push((r.at, format!("{} {kind}{}{who}", r.at.hm(), r.text)));
        }
        // The entry of a call says what its alert would.
        let told = |a: &&Alert| a.priority > Priority::Notice && !matches!(a.about, Item::Call(_));
        for a in self.alerts.iter().filter(told) {
            if let Some(raised) = a.raised.filter(within) {
                let exercise = if a.exercise { "exercise, " } else { "" };
                remarks.push((raised, format!("{} {exercise}{}: {}", raised.hm(), a.priority, a.text())));
            }
        }
        remarks.sort_by_key(|(at, _)| *at);
        let more = remarks.len().saturating_sub(REMARKS);
        let mut remarks: Vec<String> = remarks.into_iter().take(REMARKS).map(|(_, text)| text).collect();
        if more > 0 {
            remarks.push(format!("and {more} more"));
        }
        remarks
    }
}

/// The minutes between two UTCs. Minutes lie in order; those without UTC lie before all others.
fn between(minutes: &[Minute], since: i64, ms: i64) -> &[Minute] {
    let before = |limit: i64| minutes.partition_point(|m| m.at.utc.is_none_or(|t| t.0 < limit));
    minutes.get(before(since)..before(ms)).unwrap_or(&[])
}
