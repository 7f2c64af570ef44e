//! What own vessel did: from where to where, how far and how fast.

use super::night::{Minute, OwnPoint, Passage};
use terms::Plane;

/// A longer gap between positions breaks the track; neither its distance nor its time counts.
pub(super) const GAP_S: f64 = 600.0;
/// Less than this is the receiver's own unrest (18 m): a boat at anchor makes no miles.
const STEP_NM: f64 = 0.01;

/// Sums the track up.
pub(super) fn sum(own: &[OwnPoint], sog: Option<&Vec<Minute>>) -> Passage {
    let mut passage = Passage::default();
    let mut counted = None;
    let mut before = None;
    for point in own {
        let Some(position) = point.position else { continue };
        passage.from = passage.from.or(Some((point.at, position)));
        passage.to = Some((point.at, position));
        let gap_s = before.and_then(|b| point.at.seconds_from(&b)).filter(|s| *s <= GAP_S);
        before = Some(point.at);
        match (gap_s, counted) {
            (Some(s), Some(from)) => {
                passage.under_way_s += s.max(0.0);
                let (east, north) = Plane::at(from).east_north(position);
                let step = east.hypot(north);
                if step >= STEP_NM {
                    passage.distance_nm += step;
                    counted = Some(position);
                }
            }
            _ => counted = Some(position),
        }
        if let Some(s) = point.sog_kn.map(f64::from)
            && passage.greatest_sog.is_none_or(|(_, most)| s > most)
        {
            passage.greatest_sog = Some((point.at, s));
        }
    }
    // The minutes know what lay between the rows.
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
