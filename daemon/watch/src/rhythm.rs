//! How long a feed is usually silent between two sentences of its own, and which silence is no longer usual.

use sentence::Report;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use terms::Moment;

/// Silence that a feed of which nothing is known, or which speaks often, may keep: several of its sentences are missing by
/// then (own choice).
pub(crate) const PATIENCE: Duration = Duration::from_secs(60);
/// A silence is not usual once it has lasted this many times the usual gap: at least two sentences in a row are missing.
const TIMES: u32 = 3;
/// Gaps up to `PATIENCE` / `TIMES` are alike; each step of longer ones reaches further by √2, the last to 8 h.
const STEPS: usize = 22;
/// The usual gap is the one within which so much of the time lies: a feed that is dead for less than the rest of it has not
/// changed its habits.
const SHARE: f64 = 0.75;
/// Long gaps are a habit once there were as many.
const LEAST: f64 = 3.0;
/// Half of it is forgotten whenever it spans this long.
const REMEMBERS_S: f64 = 6.0 * 3600.0;

/// The rhythm of a feed. What other stations, or people, cause to be sent has none: AIS of others, calls, alarms, radar
/// plots. A feed that brings nothing else has no silence of its own.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Rhythm {
    /// Seconds by step of gap, each gap for no longer than it took to be called a silence.
    steps: [f64; STEPS],
    /// Others were heard while its own sentences were overdue, or it has none: its silence means nothing.
    lost: bool,
    #[serde(skip)]
    last: Option<Moment>,
}

impl Rhythm {
    /// Takes a sentence.
    pub fn hear(&mut self, at: Moment, report: &Report) {
        if !is_own(report) {
            self.lost = self.last.is_none_or(|last| at.since(last) > self.longest());
            return;
        }
        self.lost = false;
        let Some(last) = self.last.replace(at) else { return };
        let gap = at.since(last);
        let counts_s = gap.min(self.longest()).as_secs_f64();
        self.steps[step(gap)] += counts_s;
        if self.steps.iter().sum::<f64>() > REMEMBERS_S {
            self.steps.iter_mut().for_each(|s| *s /= 2.0);
        }
    }

    /// The longest silence that is still usual; `None` if silence of this feed means nothing.
    pub fn silence(&self) -> Option<Duration> {
        (!self.lost).then(|| self.longest())
    }

    fn longest(&self) -> Duration {
        let all: f64 = self.steps.iter().sum();
        let mut sum = 0.0;
        let within = self.steps.iter().position(|s| {
            sum += s;
            sum >= all * SHARE
        });
        let usual = within.filter(|&n| {
            let longer: f64 = self.steps[n..].iter().sum();
            longer >= LEAST * reach(n).min(PATIENCE).as_secs_f64() / 2.0_f64.sqrt()
        });
        usual.map_or(PATIENCE, |n| reach(n) * TIMES)
    }

    /// What an earlier run kept, if it can be right.
    pub fn take_up(&mut self, kept: Self) {
        if kept.steps.iter().all(|s| (0.0..=REMEMBERS_S).contains(s)) {
            *self = Self { last: self.last, ..kept };
        }
    }
}

/// The longest gap of a step.
fn reach(step: usize) -> Duration {
    (PATIENCE / TIMES).mul_f64(2.0_f64.powf(step as f64 / 2.0))
}

fn step(gap: Duration) -> usize {
    (0..STEPS).find(|&n| gap <= reach(n)).unwrap_or(STEPS - 1)
}

/// Whether a sentence comes by the feed's own beat.
fn is_own(report: &Report) -> bool {
    match report {
        Report::Ais(ais) => ais.own_vessel,
        Report::Fragment
        | Report::RadarPlot(_)
        | Report::Overboard(_)
        | Report::SelectiveCall(_)
        | Report::CallExpansion(_)
        | Report::DeviceAlert(_) => false,
        _ => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sentence::Depth;
    use sentence::ais::AisReport;
    use terms::Mmsi;

    /// A rhythm after sentences at these seconds.
    fn after(at: impl IntoIterator<Item = i64>) -> Rhythm {
        let mut rhythm = Rhythm::default();
        at.into_iter().for_each(|s| rhythm.hear(Moment(s * 1000), &Report::Depth(Depth::default())));
        rhythm
    }

    fn s(rhythm: &Rhythm) -> u64 {
        rhythm.silence().unwrap().as_secs()
    }

    #[test]
    fn a_feed_is_judged_by_its_usual_gap() {
        assert_eq!(s(&after([])), 60, "nothing known");
        assert_eq!(s(&after(0..600)), 60, "a second apart");
        assert_eq!(s(&after((0..200).map(|n| n * 15))), 60, "a quarter of a minute");
        // A barometer every five minutes: known after three gaps, each of which counts for a minute.
        assert_eq!(s(&after([0, 300, 600])), 60);
        assert_eq!(s(&after([0, 300, 600, 900])), 960);
        // Eight sentences at once every two minutes.
        assert!((240..500).contains(&s(&after((0..60).flat_map(|n| [n * 120; 8])))));
    }

    #[test]
    fn a_wire_that_speaks_each_second_stays_one_however_often_it_fails() {
        let flaps = |dead: i64| after((0..20).flat_map(|n| (n * 3600)..(n * 3600 + 3600 - dead)));
        for dead in [90, 600, 2400] {
            assert_eq!(s(&flaps(dead)), 60, "dead for {dead} s of each hour");
        }
        let long = after((0..36_000).chain(72_000..72_010));
        assert_eq!(s(&long), 60, "dead for ten hours");
    }

    #[test]
    fn once_others_are_heard_while_its_own_are_overdue_its_silence_means_nothing() {
        let other = Report::Ais(Box::new(AisReport::new(1, 0, Mmsi::new(211_000_001).unwrap())));
        let mut rhythm = after(0..600);
        rhythm.hear(Moment(659_000), &other);
        assert_eq!(s(&rhythm), 60, "not overdue");
        rhythm.hear(Moment(660_000), &other);
        assert_eq!(rhythm.silence(), None);
        rhythm.hear(Moment(661_000), &Report::Depth(Depth::default()));
        assert_eq!(s(&rhythm), 60, "it speaks again");
        let mut ears_only = Rhythm::default();
        ears_only.hear(Moment(0), &other);
        assert_eq!(ears_only.silence(), None);
    }

    #[test]
    fn what_is_kept_of_an_earlier_run_must_be_possible() {
        let mut rhythm = after(0..600);
        rhythm.take_up(Rhythm { steps: [f64::NAN; STEPS], ..Rhythm::default() });
        rhythm.take_up(Rhythm { steps: [-1.0; STEPS], ..Rhythm::default() });
        assert_eq!(s(&rhythm), 60);
        rhythm.take_up(after((0..100).map(|n| n * 300)));
        assert_eq!(s(&rhythm), 960);
    }
}
