//! Figures of each watch, and how long each sense was blind.

use super::night::{Alert, Night};
use super::print::range;
use super::when::{When, spoken};
use super::{passage, weather};
use record::{Item, RestNow};
use rules::{BuiltIn, Priority};
use std::collections::BTreeSet;
use terms::Quantity;

/// One watch, from a handover to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct WatchKept {
    /// Who had it; `None` before the first handover.
    pub who: Option<String>,
    /// Its beginning.
    pub from: When,
    /// Its end.
    pub to: When,
    /// Miles over the ground.
    pub distance_nm: f64,
    /// Mean speed over ground.
    pub mean_sog_kn: Option<f64>,
    /// Alerts raised in it that had to be acknowledged.
    pub alerts: usize,
    /// Half of those were acknowledged within so many seconds.
    pub median_s: Option<f64>,
    /// The slowest after so many.
    pub slowest_s: Option<f64>,
    /// Those that never were.
    pub never: usize,
    /// The nearest that a ship came.
    pub nearest_nm: Option<f64>,
    /// The greatest wind.
    pub wind_kn: Option<f64>,
    /// What the barometer did.
    pub pressure_hpa: Option<f64>,
}

/// When a sense was blind.
#[derive(Debug, Clone, PartialEq)]
pub struct Blindness {
    /// What was blind: the lookout itself, fix, AIS, clock, or a feed.
    pub about: Item,
    /// That in words: lookout, position, AIS, time, or the feed's name.
    pub sense: String,
    /// From when to when; from its alert on, of a sense that has one. `None` when it still was at the end.
    pub spans: Vec<(When, Option<When>)>,
    /// All of them together; what lies within another span counts once.
    pub total_s: f64,
}

/// The sense that an alert calls blind, if any.
fn sense(alert: &Alert) -> Option<&str> {
    match (alert.built_in()?, &alert.about) {
        (BuiltIn::FixLost, _) => Some("position"),
        (BuiltIn::AisSilent, _) => Some("AIS"),
        (BuiltIn::ClockNotKnown, _) => Some("time"),
        (BuiltIn::FeedSilent, Item::Feed(name)) => Some(name),
        _ => None,
    }
}

impl Night {
    /// The watches of the night in order; one without a name where none was handed over.
    pub fn watches(&self) -> Vec<WatchKept> {
        let handed: Vec<_> = self.remarks.iter().filter(|r| r.kind == "handover").collect();
        let mut begins: Vec<(When, Option<String>)> = vec![(self.from, None)];
        for r in handed {
            begins.push((r.at, r.took_the_watch().map(str::to_owned)));
        }
        let ends: Vec<When> = begins.iter().skip(1).map(|(at, _)| *at).chain([self.to]).collect();
        let mut watches: Vec<WatchKept> =
            begins.into_iter().zip(ends).map(|((from, who), to)| self.watch_kept(who, from, to)).collect();
        // A handover at the very beginning leaves nothing before it.
        if watches.len() > 1 && watches[0].to.seconds_from(&watches[0].from).is_some_and(|s| s < 60.0) {
            watches.remove(0);
        }
        watches
    }

    fn watch_kept(&self, who: Option<String>, from: When, to: When) -> WatchKept {
        let within = |at: &When| *at >= from && *at < to;
        let start = self.own.partition_point(|o| o.at < from);
        let end = self.own.partition_point(|o| o.at < to);
        let run = passage::sum(&self.own[start..end.max(start)], None);
        let asked: Vec<&Alert> = self
            .alerts
            .iter()
            .filter(|a| a.needs_acknowledgement() && !a.exercise && a.raised.as_ref().is_some_and(within))
            .collect();
        let mut times: Vec<f64> = asked.iter().filter_map(|a| a.acknowledged_after_s()).collect();
        times.sort_by(f64::total_cmp);
        let minutes = |q: Quantity| {
            let all = self.instruments.get(&q).map_or(&[][..], Vec::as_slice);
            let of: Vec<_> = all.iter().filter(|m| within(&m.at)).copied().collect();
            weather::extremes(q, &of)
        };
        let wind = [Quantity::TrueWindSpeed, Quantity::GroundWindSpeed, Quantity::ApparentWindSpeed];
        let nearest = self.approaches.iter().filter(|a| within(&a.at)).map(|a| a.range_nm);
        WatchKept {
            who,
            from,
            to,
            distance_nm: run.distance_nm,
            mean_sog_kn: run.mean_sog_kn(),
            alerts: asked.len(),
            median_s: times.get(times.len() / 2).copied(),
            slowest_s: times.last().copied(),
            never: asked.iter().filter(|a| a.acknowledged.is_none()).count(),
            nearest_nm: nearest.min_by(f64::total_cmp),
            wind_kn: wind.into_iter().find_map(minutes).map(|w| w.greatest.1),
            pressure_hpa: minutes(Quantity::Pressure).map(|p| p.last - p.first),
        }
    }

    /// Each one's time off watch within the last 24 hours and seven days before the end, as far as the night reaches; of
    /// those who had a watch in it, by name.
    pub fn rests(&self) -> Vec<RestNow> {
        let watches = self.watches();
        let names: BTreeSet<&str> = watches.iter().filter_map(|w| w.who.as_deref()).collect();
        let before_end = |at: &When| self.to.seconds_from(at).unwrap_or(0.0).max(0.0);
        let rest = |who: &str, width_s: f64| {
            let known_s = before_end(&self.from).min(width_s);
            let of = |w: &&WatchKept| w.who.as_deref() == Some(who);
            let kept = |w: &WatchKept| before_end(&w.from).min(known_s) - before_end(&w.to).min(known_s);
            let on_s: f64 = watches.iter().filter(of).map(kept).sum();
            ((known_s - on_s).max(0.0), known_s)
        };
        let of = |who: &str| {
            let ((off_day_s, of_day_s), (off_week_s, of_week_s)) =
                (rest(who, 24.0 * 3600.0), rest(who, 7.0 * 24.0 * 3600.0));
            RestNow { who: who.to_owned(), off_day_s, of_day_s, off_week_s, of_week_s }
        };
        names.into_iter().map(of).collect()
    }

    /// The time off watch before the end in words, where anybody was named.
    pub(super) fn rest_line(&self, most: usize) -> Option<String> {
        let rests = self.rests();
        let known_s = rests.first()?.of_day_s;
        let of = |r: &RestNow| format!("{} {}", terms::one_line(&r.who), spoken(r.off_day_s));
        let all: Vec<String> = rests.iter().take(most).map(of).collect();
        Some(format!("off watch in the last {}: {}", spoken(known_s), all.join(", ")))
    }

    /// How long each sense was blind, the lookout itself first; senses that never were are not told.
    pub fn blindness(&self) -> Vec<Blindness> {
        let mut all: Vec<Blindness> = Vec::new();
        let mut add = |about: &Item, sense: &str, span: (When, Option<When>)| match all
            .iter_mut()
            .find(|b| b.about == *about)
        {
            Some(b) => b.spans.push(span),
            None => {
                let (about, sense) = (about.clone(), sense.to_owned());
                all.push(Blindness { about, sense, spans: vec![span], total_s: 0.0 });
            }
        };
        self.blind.iter().for_each(|b| add(&Item::Lookout, "lookout", (b.from, Some(b.to))));
        for a in self.alerts.iter().filter(|a| a.priority > Priority::Notice && !a.exercise) {
            if let Some(sense) = sense(a) {
                add(&a.about, sense, (a.raised.unwrap_or(self.from), a.rectified));
            }
        }
        for b in &mut all {
            b.spans.sort_by_key(|(from, _)| *from);
            let mut until: Option<When> = None;
            for (from, to) in &b.spans {
                let to = to.unwrap_or(self.to);
                let from = until.map_or(*from, |u| u.max(*from));
                b.total_s += to.seconds_from(&from).unwrap_or(0.0).max(0.0);
                until = Some(until.map_or(to, |u| u.max(to)));
            }
        }
        all
    }

    /// The watches in words, where there was more than one or it had a name.
    pub(super) fn watch_lines(&self, most: usize) -> Vec<String> {
        let watches = self.watches();
        if watches.len() < 2 && watches.iter().all(|w| w.who.is_none()) {
            return Vec::new();
        }
        let dated = self.is_dated();
        let line = |w: &WatchKept| {
            let who = w.who.as_deref().unwrap_or("nobody named");
            let called = match (w.alerts, w.slowest_s) {
                (0, _) => "no alert".to_owned(),
                (n, Some(s)) => format!(
                    "{}, the slowest acknowledged after {}",
                    record::words::plural(n, "alert"),
                    spoken(s)
                ),
                (n, None) => record::words::plural(n, "alert"),
            };
            let near = w.nearest_nm.map_or(String::new(), |nm| format!(", nearest ship {}", range(nm)));
            let (from, to) = (w.from.label(dated), w.to.label(dated));
            format!("{from} to {to} {who}: {:.1} nm, {called}{near}", w.distance_nm)
        };
        let mut lines: Vec<String> = watches.iter().take(most).map(line).collect();
        if watches.len() > most {
            lines.push(format!("and {} more watches", watches.len() - most));
        }
        lines
    }
}
