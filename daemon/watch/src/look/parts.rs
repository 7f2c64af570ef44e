//! Event records and logbook rows, made from the picture of the moment.

use crate::{Effect, Watch};
use boat::Boat;
use lookout::casualty::{CasualtyState, Elsewhere};
use lookout::drift::OnLine;
use lookout::{OwnState, TargetState};
use record::TargetRow;
use record::{AlertPart, CasualtyPart, ElsewherePart, EventRecord, Item, LinePart, OwnPart, TargetPart};
use rules::{AlertEvent, BuiltIn, Origin};
use terms::{FeedId, Moment, SignalId, Subject, normal_deg};

impl Watch {
    /// Where the open casualties are now, as the event record has it.
    pub fn places(&self, at: Moment) -> Vec<CasualtyPart> {
        self.lookout.casualties(at).iter().map(|c| casualty_part(c, at)).collect()
    }

    /// The record of an alert's event, with the picture at that moment.
    pub(crate) fn event(&mut self, e: AlertEvent) -> Effect {
        let at = e.at;
        let stamp = self.stamp(at);
        self.since.count(&e);
        let (target, casualty) = match e.alert.subject {
            Subject::Target(mmsi) => (self.lookout.target(at, mmsi).as_ref().map(target_part), None),
            Subject::Call(id) => {
                let caller = self.caller(id).and_then(|mmsi| self.lookout.target(at, mmsi));
                (caller.as_ref().map(target_part), None)
            }
            Subject::Casualty(id) => {
                let state = self.lookout.casualty(at, id).or_else(|| self.exercise_state(at, id));
                (None, state.as_ref().map(|c| casualty_part(c, at)))
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
                origin: (&e.origin).into(),
                about: self.about(&e.origin, e.alert.subject),
                priority: e.alert.priority,
                spoken: e.words.spoken.unwrap_or_default(),
                text: e.words.written,
                exercise: e.alert.exercise,
            },
            own: own_part(&self.lookout.own(at)),
            target,
            casualty,
        });
        self.last.alert = self.last.alert.max(record.alert.id.0);
        let casualty = record.casualty.as_ref().map_or(0, |c| c.id.0);
        self.last.casualty = self.last.casualty.max(casualty);
        Effect::Event(stamp, record, e.carry)
    }

    /// The subject of an alert, by name.
    pub(super) fn about(&self, origin: &Origin, subject: Subject) -> Item {
        let built_in = match origin {
            Origin::BuiltIn(b) => Some(*b),
            Origin::Exercise(name) => BuiltIn::named(name),
            Origin::Unjudged(name) | Origin::Crowd(name) => return Item::Order(name.clone()),
            Origin::Order(_) | Origin::Note(_) => None,
        };
        match subject {
            Subject::Target(mmsi) => return Item::Target(mmsi),
            Subject::Casualty(id) => return Item::Casualty(id),
            Subject::Call(id) => return Item::Call(id),
            Subject::Feed(FeedId(n)) => {
                let ear = self.ears.get(usize::from(n));
                return Item::Feed(ear.map_or_else(|| n.to_string(), |e| e.name.clone()));
            }
            Subject::Signal(SignalId(n)) => {
                let known = self.outlets.get(usize::from(n)).cloned();
                return known.unwrap_or_else(|| Item::Signal(n.to_string()));
            }
            Subject::OwnVessel | Subject::Logbook | Subject::Lookout => {}
        }
        match (built_in, subject) {
            (Some(BuiltIn::FixLost | BuiltIn::PositionDoubtful), _) => Item::Fix,
            (Some(BuiltIn::ClockNotKnown | BuiltIn::TimeDoubtful), _) => Item::Clock,
            (Some(BuiltIn::AisSilent), _) => Item::Ais,
            (Some(BuiltIn::OwnTransmitterSilent | BuiltIn::OwnTransmitterWrong), _) => Item::Transmitter,
            (Some(BuiltIn::InstrumentDoubtful), _) => Item::Instruments,
            (Some(BuiltIn::DeclarationDoubtful), _) => Item::OwnVessel,
            (Some(BuiltIn::OrdersNotLoaded | BuiltIn::NotWatched), _) => Item::Orders,
            (Some(BuiltIn::GearDue), _) => Item::Gear,
            (Some(BuiltIn::ControlFailing), _) => Item::Control,
            (Some(BuiltIn::WatchAlarm), _) => Item::Watch,
            (Some(BuiltIn::LogbookFailing), Subject::Lookout) => Item::Recording,
            (_, Subject::Logbook) => Item::Logbook,
            (_, Subject::OwnVessel) => Item::OwnVessel,
            _ => Item::Lookout,
        }
    }
}

/// The boat's signals, buttons and heartbeat, each at its number.
pub fn outlets(boat: &Boat) -> impl Iterator<Item = Item> {
    let signals = boat.signals.iter().map(|s| Item::Signal(s.name.clone()));
    let buttons = boat.buttons.iter().map(|b| Item::Button(b.name.clone()));
    signals.chain(buttons).chain(boat.heartbeat.iter().map(|_| Item::Heartbeat))
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

pub(super) fn casualty_part(c: &CasualtyState, at: Moment) -> CasualtyPart {
    CasualtyPart {
        id: c.id,
        whose: c.whose,
        beacon_mmsi: c.beacon_mmsi,
        ship_mmsi: c.ship_mmsi,
        relayed_by_mmsi: c.relayed_by,
        nature: c.nature().map(str::to_owned),
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
        last_seen_s: c.unseen.map(|u| u.0.as_secs_f64()),
        missed_s: c.unseen.map(|u| u.1.as_secs_f64()),
        line: c.line.iter().map(|p| line_part(p, at)).collect(),
        elsewhere: c.elsewhere.as_ref().map(elsewhere_part),
    }
}

fn line_part(p: &OnLine, at: Moment) -> LinePart {
    LinePart {
        latitude_deg: p.place.latitude_deg(),
        longitude_deg: p.place.longitude_deg(),
        fell_s: at.since(p.fell).as_secs_f64(),
        share: p.share,
    }
}

fn elsewhere_part(e: &Elsewhere) -> ElsewherePart {
    ElsewherePart {
        latitude_deg: e.place.latitude_deg(),
        longitude_deg: e.place.longitude_deg(),
        radius95_nm: e.radius95_nm,
        range_nm: e.range_nm,
        bearing_deg: e.bearing_deg,
        off_nm: e.off_nm,
        share: e.share,
        bursts: e.bursts,
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
