//! Wind and current of the last day, as needed to carry a casualty on.

use super::leeway::at_10_m;
use super::water::{Current, CurrentFrom, Water};
use crate::casualty::OwnContext;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;
use std::time::Duration;
use terms::Moment;

/// A spell is this long, and a day of them is kept.
const SPELL: Duration = Duration::from_secs(300);
const SPELLS: usize = 288;
/// The running spell is brought up to date no more often than this.
const UPDATED_EVERY: Duration = Duration::from_secs(10);
/// A wind older than this is no longer known.
const WIND_BELIEVED: Duration = Duration::from_secs(3600);

/// Five minutes of wind and current.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Spell {
    /// When it begins.
    pub at: Moment,
    /// Where the wind blows to, at 10 m: east and north in knots.
    pub wind_kn: Option<[f64; 2]>,
    /// East and north in knots.
    pub current_kn: [f64; 2],
    /// Its covariance.
    pub covariance: [[f64; 2]; 2],
    /// Whether it is measured or given.
    pub current_known: bool,
}

impl Spell {
    /// Nothing known.
    pub fn unknown(at: Moment) -> Self {
        Self::of(at, None, Current::unknown())
    }

    /// Out of wind and current.
    fn of(at: Moment, wind_kn: Option<[f64; 2]>, current: Current) -> Self {
        Self {
            at,
            wind_kn,
            current_kn: [current.east_kn, current.north_kn],
            covariance: current.covariance,
            current_known: current.from != CurrentFrom::Nothing,
        }
    }
}

/// Wind and current of the last day. Bounded: 288 spells.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Surroundings {
    water: Water,
    updated: Option<Moment>,
    spells: VecDeque<Spell>,
}

impl Surroundings {
    /// Takes own vessel's measurements.
    pub fn follow(&mut self, at: Moment, own: &OwnContext) {
        self.water.follow(at, own);
        if self.updated.is_some_and(|u| at >= u && at < u + UPDATED_EVERY) {
            return;
        }
        self.updated = Some(at);
        let wind = own.wind.filter(|w| {
            at.since(w.at) <= WIND_BELIEVED && w.value.speed_kn.is_finite() && w.value.from_deg.is_finite()
        });
        let wind_kn = wind.map(|w| {
            let w = at_10_m(w.value, own.wind_height_m);
            let (sin, cos) = w.from_deg.to_radians().sin_cos();
            [-w.speed_kn * sin, -w.speed_kn * cos]
        });
        let running = self.spells.back().filter(|s| at < s.at + SPELL && at >= s.at).copied();
        if running.is_some() {
            self.spells.pop_back();
        }
        let wind_kn = wind_kn.or(running.and_then(|r| r.wind_kn));
        self.spells.push_back(Spell::of(running.map_or(at, |r| r.at), wind_kn, self.water.current(own)));
        if self.spells.len() > SPELLS {
            self.spells.pop_front();
        }
    }

    /// The spell at a moment, and when the next one begins. The first also serves for any time before it.
    pub fn spell(&self, at: Moment) -> (Spell, Option<Moment>) {
        let next = self.spells.partition_point(|s| s.at <= at);
        let mut spell = self.spells.get(next.saturating_sub(1)).copied().unwrap_or(Spell::unknown(at));
        // What was since learnt about the water also applies to the time before it was measured.
        if let Some(last) = self.spells.back().filter(|l| !spell.current_known && l.current_known) {
            spell = Spell { at: spell.at, wind_kn: spell.wind_kn.or(last.wind_kn), ..*last };
        }
        (spell, self.spells.get(next.max(1)).map(|s| s.at))
    }

    /// The current now.
    pub fn current(&self, own: &OwnContext) -> Current {
        self.water.current(own)
    }

    /// Only the spells, for a snapshot.
    pub fn spells(&self) -> VecDeque<Spell> {
        self.spells.clone()
    }

    /// Carries on with the spells of a snapshot; the water is measured again from scratch.
    pub fn with(spells: VecDeque<Spell>) -> Self {
        Self { spells, ..Self::default() }
    }

    /// Spells before a moment moved in time.
    pub fn shift_before(&mut self, limit: Moment, by_ms: i64) {
        for s in self.spells.iter_mut().filter(|s| s.at < limit) {
            s.at.0 = s.at.0.saturating_add(by_ms);
        }
    }
}
