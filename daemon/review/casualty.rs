//! Each casualty, put together from its events.

use super::night::{Alert, Casualty, Remark};
use super::read::position;
use super::when::When;
use lookout::casualty::StandDown;
use record::{CasualtyPart, Entry, reason_words};
use std::collections::BTreeMap;
use terms::{CasualtyId, Position};

/// Puts the events of each casualty together, in order of its first event.
pub(super) fn tell(
    alerts: &[Alert],
    records: &BTreeMap<i64, CasualtyPart>,
    remarks: &[Remark],
) -> Vec<Casualty> {
    let mut casualties: Vec<Casualty> = Vec::new();
    for alert in alerts {
        for happened in &alert.history {
            let Some(record) = records.get(&happened.log_id) else { continue };
            let index = casualties.iter().position(|c| c.id == record.id.0).unwrap_or_else(|| {
                casualties.push(begin(record, alert));
                casualties.len() - 1
            });
            let Some(c) = casualties.get_mut(index) else { continue };
            if !c.alerts.contains(&alert.id) {
                c.alerts.push(alert.id);
                c.raised = [c.raised, alert.raised].into_iter().flatten().min();
            }
            if let Some(name) = &record.crew {
                c.who.clone_from(name);
            }
            if let Some(position) = position(record.latitude_deg, record.longitude_deg) {
                c.track.push((happened.at, position, record.range_nm));
                let sooner = c.first_position.as_ref().is_none_or(|(at, ..)| happened.at < *at);
                if sooner {
                    c.first_position = Some((happened.at, position, record.position.clone()));
                }
            }
            if happened.event == "cleared" {
                let reason = remarks.iter().find_map(|r| reason_for(r, record.id));
                let words = reason.map_or_else(|| "no reason written".to_owned(), reason_words);
                c.stood_down = Some((happened.at, words));
            }
        }
    }
    for c in &mut casualties {
        c.track.sort_by_key(|(at, ..)| *at);
        c.nearest = nearest(&c.track);
    }
    casualties
}

/// Why a casualty was stood down, where an entry says that.
fn reason_for(remark: &Remark, id: CasualtyId) -> Option<StandDown> {
    match remark.entry {
        Some(Entry::StandDown { casualty, reason, .. }) if casualty == id => Some(reason),
        _ => None,
    }
}

/// The nearest that the vessel came back, after she had been farthest off: at first she is always near.
fn nearest(track: &[(When, Position, Option<f64>)]) -> Option<(When, f64)> {
    let ranges = || track.iter().filter_map(|(at, _, range)| Some((*at, (*range)?)));
    let farthest = ranges().max_by(|a, b| a.1.total_cmp(&b.1))?;
    ranges().filter(|(at, _)| *at >= farthest.0).min_by(|a, b| a.1.total_cmp(&b.1))
}

fn begin(record: &CasualtyPart, alert: &Alert) -> Casualty {
    let ship = record.ship_mmsi.map(|m| format!("vessel {m}"));
    let beacon = record.beacon_mmsi.map(|m| format!("beacon {m}")).or(ship);
    Casualty {
        id: record.id.0,
        who: record.crew.clone().or(beacon).unwrap_or_else(|| "a person".to_owned()),
        whose: record.whose,
        source: record.source.clone(),
        exercise: alert.exercise,
        raised: None,
        first_position: None,
        track: Vec::new(),
        nearest: None,
        stood_down: None,
        alerts: Vec::new(),
    }
}
