//! What own vessel did: from where to where, how far and how fast.

use super::night::{Minute, OwnPoint, Passage};
use terms::{Plane, Position};

/// A longer gap between positions breaks the track; neither its distance nor its time counts.
pub(super) const GAP_S: f64 = 600.0;
/// A shorter step is the receiver's noise (18 m): a boat at anchor runs no miles.
const STEP_NM: f64 = 0.01;

/// Miles over the ground by positions in order.
#[derive(Debug, Default)]
pub(super) struct Odometer {
    at: Option<Position>,
    /// Miles so far.
    pub nm: f64,
}

impl Odometer {
    /// Starts again from a position without counting the way there.
    pub fn jump(&mut self, to: Position) {
        self.at = Some(to);
    }

    /// Runs to a position; a shorter way than `STEP_NM` counts once it has grown.
    pub fn run(&mut self, to: Position) {
        let step = self.at.map(|from| miles(from, to));
        if step.is_none_or(|nm| nm >= STEP_NM) {
            self.nm += step.unwrap_or(0.0);
            self.at = Some(to);
        }
    }
}

/// Miles between near positions.
pub(super) fn miles(a: Position, b: Position) -> f64 {
    let (east, north) = Plane::at(a).east_north(b);
    east.hypot(north)
}

/// Sums the track up.
pub(super) fn sum(own: &[OwnPoint], sog: Option<&Vec<Minute>>) -> Passage {
    let (mut passage, mut run) = (Passage::default(), Odometer::default());
    let mut before = None;
    for point in own {
        let Some(position) = point.position else { continue };
        passage.from = passage.from.or(Some((point.at, position)));
        passage.to = Some((point.at, position));
        match before.and_then(|b| point.at.seconds_from(&b)).filter(|s| *s <= GAP_S) {
            Some(s) => {
                passage.under_way_s += s.max(0.0);
                run.run(position);
            }
            None => run.jump(position),
        }
        before = Some(point.at);
        if let Some(s) = point.sog_kn.map(f64::from)
            && passage.greatest_sog.is_none_or(|(_, most)| s > most)
        {
            passage.greatest_sog = Some((point.at, s));
        }
    }
    passage.distance_nm = run.nm;
    // The minutes' extremes include what lay between the rows.
    for m in sog.into_iter().flatten() {
        if passage.greatest_sog.is_none_or(|(_, most)| m.greatest > most) {
            passage.greatest_sog = Some((m.at, m.greatest));
        }
    }
    passage
}

/// Miles through the water, by the mean speed of each minute.
pub(super) fn through_water(speeds: Option<&Vec<Minute>>) -> Option<f64> {
    let speeds = speeds.filter(|m| !m.is_empty())?;
    Some(speeds.iter().map(|m| m.mean.unwrap_or(m.last) / 60.0).sum())
}
