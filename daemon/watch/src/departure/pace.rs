//! How much a feed brings a minute.

use sentence::Report;
use std::collections::VecDeque;
use std::time::Duration;
use terms::Moment;

/// How many minutes of a feed are counted, and how many full ones of this run set its usual rate if none is saved.
const MINUTES: usize = 60;
const MINUTES_TELL: usize = 10;
const MINUTE: Duration = Duration::from_secs(60);

/// How many sentences a feed brings a minute. AIS reports do not count: their number follows the traffic.
#[derive(Debug, Clone, Default)]
pub(crate) struct Pace {
    pub minute_began: Option<Moment>,
    pub counted: u32,
    pub minutes: VecDeque<u32>,
    /// Its rate in earlier runs.
    pub kept: Option<f64>,
    pub ais_only: bool,
}

impl Pace {
    /// Counts a sentence.
    pub fn hear(&mut self, at: Moment, report: &Report) {
        self.roll(at);
        if matches!(report, Report::Ais(_)) {
            self.ais_only = self.ais_only || (self.counted == 0 && self.minutes.iter().all(|n| *n == 0));
        } else {
            self.ais_only = false;
            self.counted = self.counted.saturating_add(1);
        }
    }

    /// Its state at a moment when nothing came.
    pub fn now(&self, at: Moment) -> Self {
        let mut now = self.clone();
        now.roll(at);
        now
    }

    fn roll(&mut self, at: Moment) {
        let began = *self.minute_began.get_or_insert(at);
        let full = (at.since(began).as_secs() / MINUTE.as_secs()) as usize;
        if full == 0 {
            return;
        }
        // A gap longer than the record leaves nothing but silence.
        for n in 0..full.min(MINUTES) {
            self.minutes.push_back(if n == 0 { self.counted } else { 0 });
        }
        while self.minutes.len() > MINUTES {
            self.minutes.pop_front();
        }
        self.counted = 0;
        self.minute_began = Some(began + MINUTE * u32::try_from(full).unwrap_or(u32::MAX));
    }

    /// The median of the minutes in which it spoke at all.
    pub fn median(&self) -> Option<f64> {
        let mut spoke: Vec<u32> = self.minutes.iter().copied().filter(|n| *n > 0).collect();
        spoke.sort_unstable();
        (spoke.len() >= MINUTES_TELL).then(|| f64::from(spoke[spoke.len() / 2]))
    }

    /// Takes up what an earlier run saved.
    pub fn take_up(&mut self, usual: Option<f64>) {
        self.kept = usual;
    }

    /// What to save for the next run.
    pub fn usual(&self) -> Option<f64> {
        self.median().or(self.kept)
    }
}
