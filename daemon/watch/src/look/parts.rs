//! Event records and logbook rows, made from the picture at the moment.

use crate::{Output, Watch};
use lookout::casualty::CasualtyState;
use lookout::{OwnState, TargetState};
use record::TargetRow;
use record::{AlertPart, CasualtyPart, EventRecord, OwnPart, TargetPart};
use rules::AlertEvent;
use terms::{Moment, Subject, normal_deg};

impl Watch {
    /// Where the open casualties are now, as the event record writes it.
    pub fn places(&self, at: Moment) -> Vec<CasualtyPart> {
        self.lookout.casualties(at).iter().map(casualty_part).collect()
    }

    /// The record of an alert's event, with the picture at that moment.
    pub(crate) fn event(&self, e: AlertEvent) -> Output {
        let at = e.at;
        let stamp = self.stamp(at);
        let (target, casualty) = match e.alert.subject {
            Subject::Target(mmsi) => (self.lookout.target(at, mmsi).as_ref().map(target_part), None),
            Subject::Casualty(id) => {
                let state = self.lookout.casualty(at, id).or_else(|| self.exercise_state(at, id));
                (None, state.as_ref().map(casualty_part))
            }
            _ => (None, None),
        };
        let record = Box::new(EventRecord {
            version: 1,
            log_id: None,
            seq: e.seq,
            event: e.kind,
            at: stamp.utc.map(|(utc, _)| utc),
            steady_s: at.as_s(),
            alert: AlertPart {
                id: e.alert.id,
                state: e.alert.state_told(),
                order: e.alert.order,
                priority: e.alert.priority,
                text: e.words.written,
                exercise: e.alert.exercise,
            },
            own: own_part(&self.lookout.own(at)),
            target,
            casualty,
        });
        Output::Event { at: stamp, record, carry: e.carry }
    }
}

pub(super) fn own_part(own: &OwnState) -> OwnPart {
    OwnPart {
        latitude_deg: own.position.map(|p| p.latitude_deg()),
        longitude_deg: own.position.map(|p| p.longitude_deg()),
        cog_deg: own.cog_deg,
        sog_kn: own.sog_kn,
        heading_deg: own.heading_deg,
    }
}

pub(super) fn target_part(t: &TargetState) -> TargetPart {
    TargetPart {
        mmsi: t.mmsi,
        name: t.name.clone(),
        kind: Some(t.ship_type.unwrap_or_else(|| t.kind.word()).to_owned()),
        latitude_deg: t.position.map(|p| p.latitude_deg()),
        longitude_deg: t.position.map(|p| p.longitude_deg()),
        cog_deg: t.cog_deg,
        sog_kn: t.sog_kn,
        range_nm: t.range_nm,
        bearing_deg: t.bearing_deg,
        relative_bearing_deg: t.relative_bearing_deg.map(normal_deg),
        relative_to: t.relative_to,
        cpa_nm: t.cpa_nm,
        tcpa_s: t.tcpa_s,
        age_s: t.age_s,
    }
}

pub(super) fn casualty_part(c: &CasualtyState) -> CasualtyPart {
    CasualtyPart {
        id: c.id,
        beacon_mmsi: c.beacon_mmsi,
        crew: c.crew.clone(),
        source: c.source.word().to_owned(),
        position: c.position.word().to_owned(),
        latitude_deg: c.place.map(|p| p.latitude_deg()),
        longitude_deg: c.place.map(|p| p.longitude_deg()),
        range_nm: c.range_nm,
        bearing_deg: c.bearing_deg,
        relative_bearing_deg: c.relative_bearing_deg,
        relative_to: c.relative_to,
        elapsed_s: c.elapsed.as_secs_f64(),
        elapsed_is: c.elapsed_is.word().to_owned(),
        set_deg: c.drift.map(|d| d.set_deg),
        drift_kn: c.drift.map(|d| d.drift_kn),
        radius95_nm: c.radius95_nm,
    }
}

/// A target as the logbook keeps it.
pub(crate) fn target_row(t: &TargetState) -> TargetRow {
    TargetRow {
        mmsi: t.mmsi,
        name: t.name.as_deref().map(Into::into),
        kind: Some(t.ship_type.unwrap_or_else(|| t.kind.word()).into()),
        position: t.position,
        cog_deg: t.cog_deg,
        sog_kn: t.sog_kn,
        range_nm: t.range_nm,
        bearing_deg: t.bearing_deg,
        cpa_nm: t.cpa_nm,
        tcpa_s: t.tcpa_s,
    }
}
