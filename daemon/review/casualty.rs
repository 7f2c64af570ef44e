//! Each casualty's story, out of the events that told of it.

use super::night::{Alert, Casualty, Remark};
use super::read::CasualtyRecord;
use std::collections::BTreeMap;
use terms::Mmsi;

/// A reason that was entered within this of a casualty's end belongs to it.
const REASON_S: f64 = 120.0;

/// Puts the events of each casualty together, in order of its first event.
pub(super) fn tell(
    alerts: &[Alert],
    records: &BTreeMap<i64, CasualtyRecord>,
    remarks: &[Remark],
) -> Vec<Casualty> {
    let mut casualties: Vec<Casualty> = Vec::new();
    for alert in alerts {
        for told in &alert.told {
            let Some(record) = records.get(&told.log_id) else { continue };
            let index = casualties.iter().position(|c| c.id == record.id).unwrap_or_else(|| {
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
            if let Some(position) = record.place.position() {
                c.track.push((told.at, position, record.range_nm));
                let sooner = c.first_position.as_ref().is_none_or(|(at, ..)| told.at < *at);
                if sooner {
                    c.first_position = Some((told.at, position, record.position.clone()));
                }
            }
            if let Some(range) = record.range_nm
                && c.nearest.is_none_or(|(_, least)| range < least)
            {
                c.nearest = Some((told.at, range));
            }
            if told.event == "cleared" {
                let near = |r: &&Remark| {
                    r.kind == "stand-down" && r.at.seconds_from(&told.at).is_some_and(|s| s.abs() <= REASON_S)
                };
                let reason = remarks.iter().find(near).map_or_else(|| told.text.clone(), |r| r.text.clone());
                c.stood_down = Some((told.at, reason));
            }
        }
    }
    for c in &mut casualties {
        c.track.sort_by_key(|(at, ..)| *at);
    }
    casualties
}

fn begin(record: &CasualtyRecord, alert: &Alert) -> Casualty {
    let beacon = record.beacon_mmsi.and_then(Mmsi::new).map(|m| format!("beacon {m}"));
    Casualty {
        id: record.id,
        who: record.crew.clone().or(beacon).unwrap_or_else(|| "a person".to_owned()),
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
