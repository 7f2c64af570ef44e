//! Radar plots: targets of their own, or joined to the AIS target they agree with.

use crate::kind::Kind;
use crate::motion::Sight;
use crate::source::Source;
use crate::target::Target;
use crate::{Finding, Lookout};
use sentence::RadarPlot;
use sentence::ais::AisReport;
use std::collections::BTreeMap;
use terms::{FeedId, Mmsi, Moment, Position, Quantity, Subject, normal_deg};

/// Plots followed from one radar.
const PLOTS_MAX: usize = 200;
/// A plot agrees with an AIS target within this distance and this part of the range …
const AGREES_NM: f64 = 0.15;
const AGREES_PART: f64 = 0.03;
/// … and this difference of velocity, where both are known.
const AGREES_KN: f64 = 4.0;
/// How many plots in a row must agree before it is joined, and how many must not before it is parted.
const JOINED_AFTER: u8 = 3;
const STREAK_MOST: u8 = 5;
/// Radar targets go by identities below this, which no station has (ITU-R M.585 gives none with three zeros in
/// front).
const IDENTITIES: u32 = 1_000_000;
/// Numbers that one radar gives its targets.
const NUMBERS: u32 = 10_000;

/// A plot and the AIS target it seems to be.
#[derive(Debug, Clone, Copy)]
struct Plot {
    agrees: Option<Mmsi>,
    streak: u8,
    heard: Moment,
}

/// The plots of all radars.
#[derive(Debug, Clone, Default)]
pub(crate) struct Plots {
    plots: BTreeMap<(FeedId, u16), Plot>,
}

/// The identity a radar's target goes by.
fn identity(feed: FeedId, number: u16) -> Option<Mmsi> {
    let n = u32::from(feed.0).checked_mul(NUMBERS)?.checked_add(u32::from(number))?.checked_add(1)?;
    Mmsi::new(n).filter(|_| n < IDENTITIES)
}

impl Lookout {
    /// Takes a radar plot (TTM, TLL).
    pub(crate) fn hear_plot(&mut self, at: Moment, source: Source, plot: &RadarPlot) {
        let Some(number) = plot.number else { return };
        let (key, Some(mmsi)) = ((source.feed, number), identity(source.feed, number)) else { return };
        if plot.status == Some('L') {
            self.plots.plots.remove(&key);
            self.drop_radar_target(mmsi);
            return;
        }
        let Some(position) = self.place_of(at, plot) else { return };
        let possible = |s: &(f64, f64)| (0.0..=200.0).contains(&s.0) && s.1.is_finite();
        // A velocity relative to own vessel is left for the track to find out.
        let speed =
            if plot.course_relative { None } else { plot.speed_kn.zip(plot.course_deg).filter(possible) };
        let agrees = self.agreeing(at, position, speed);
        let Some(joined) = self.join(at, key, agrees) else { return };
        if let Some(ais) = joined {
            self.drop_radar_target(mmsi);
            self.table.hear(at, source.feed, ais, |t| t.by_radar = Some(at));
            return;
        }
        let report = AisReport {
            position: Some(position),
            sog_kn: speed.map(|s| s.0),
            cog_deg: speed.map(|s| normal_deg(s.1)),
            name: Some(plot.name.clone().unwrap_or_else(|| format!("radar target {number}"))),
            ..AisReport::new(0, 0, mmsi)
        };
        self.hear_report(at, source, Kind::Radar, &report);
    }

    /// Counts whether a plot agrees with the same AIS target again; returns the one it is joined to, if any. The outer
    /// `None` means there is no room for the plot.
    fn join(&mut self, at: Moment, key: (FeedId, u16), agrees: Option<Mmsi>) -> Option<Option<Mmsi>> {
        let plots = &mut self.plots.plots;
        let of_radar = || plots.range((key.0, 0)..=(key.0, u16::MAX));
        if !plots.contains_key(&key) && of_radar().count() >= PLOTS_MAX {
            let oldest = of_radar().min_by_key(|(_, p)| p.heard).map(|(&k, _)| k)?;
            plots.remove(&oldest);
        }
        let plot = plots.entry(key).or_insert(Plot { agrees: None, streak: 0, heard: at });
        plot.heard = at;
        if agrees.is_some() && (agrees == plot.agrees || plot.streak == 0) {
            plot.agrees = agrees;
            plot.streak = (plot.streak + 1).min(STREAK_MOST);
        } else {
            plot.streak = plot.streak.saturating_sub(1);
            plot.agrees = plot.agrees.filter(|_| plot.streak > 0);
        }
        Some(plot.agrees.filter(|_| plot.streak >= JOINED_AFTER))
    }

    fn drop_radar_target(&mut self, mmsi: Mmsi) {
        if self.table.remove(mmsi).is_some() {
            self.findings.push(Finding::Gone(Subject::Target(mmsi)));
            self.findings.push(Finding::Changed(Subject::OwnVessel, Quantity::TargetCount));
        }
    }

    /// Where a plot lies: as given, otherwise by range and bearing from own vessel.
    fn place_of(&self, at: Moment, plot: &RadarPlot) -> Option<Position> {
        if plot.position.is_some() {
            return plot.position;
        }
        let own = self.own.motion(at)?.0.carried(at).position;
        let bearing_deg = if plot.bearing_relative {
            self.own.value(at, Quantity::Heading)? + plot.bearing_deg?
        } else {
            plot.bearing_deg?
        };
        let range_nm = plot.range_nm.filter(|r| (0.0..=200.0).contains(r))?;
        bearing_deg.is_finite().then(|| own.at(bearing_deg, range_nm))
    }

    /// The AIS target nearest to a plot, if the two agree.
    fn agreeing(&self, at: Moment, position: Position, speed: Option<(f64, f64)>) -> Option<Mmsi> {
        let own = self.own.motion(at).map(|(m, _)| m.carried(at).position);
        let room_nm = AGREES_NM + own.map_or(0.0, |o| AGREES_PART * Sight::of(o, position).range_nm());
        let near = |t: &Target| {
            let motion = t.motion(at).map(|(m, _)| m.carried(at))?;
            let off_nm = Sight::of(motion.position, position).range_nm();
            let differs_kn = speed.map_or(0.0, |(kn, deg)| {
                let (sin, cos) = deg.to_radians().sin_cos();
                (motion.east_kn - kn * sin).hypot(motion.north_kn - kn * cos)
            });
            (off_nm <= room_nm && differs_kn <= AGREES_KN).then_some((off_nm, t.mmsi))
        };
        self.table
            .unordered()
            .filter(|t| t.kind != Kind::Radar)
            .filter_map(near)
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
            .map(|(_, mmsi)| mmsi)
    }
}
