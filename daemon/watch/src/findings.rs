//! Passes what the lookout finds to the board and the logbook, and sends out what the board says.

use crate::effect::{Effect, Row};
use crate::look::parts::target_row;
use crate::{RECKONED_EVERY, Watch};
use lookout::casualty::{CasualtyNews, Kind};
use lookout::{Finding, Trouble};
use record::{Entry, OwnRow};
use rules::{BuiltIn, EventKind, Words};
use terms::{CasualtyId, Moment, Quantity, Subject, one_line};

impl Watch {
    /// Passes on the news of casualties among the lookout's findings, ahead of all others, and collects the board's
    /// events. Returns whether there were any; the other findings then wait for [`Self::pump`].
    pub(crate) fn pump_casualties(&mut self, at: Moment) -> bool {
        self.lookout.take_findings_into(&mut self.findings);
        let mut any = false;
        while let Some(i) = self.findings.iter().position(|f| matches!(f, Finding::Casualty { .. })) {
            if let Finding::Casualty { id, news } = self.findings.remove(i) {
                any = true;
                self.casualty(at, id, news);
            }
        }
        if any {
            self.tell_events(at);
        }
        any
    }

    /// Passes on the lookout's findings, news of casualties first, and collects the board's events.
    pub(crate) fn pump(&mut self, at: Moment) {
        self.pump_casualties(at);
        let mut found = std::mem::take(&mut self.findings);
        let mut findings = found.drain(..).peekable();
        let mut quantities = std::mem::take(&mut self.quantities);
        while let Some(f) = findings.next() {
            match f {
                // All changes of a subject from one judgement go together.
                Finding::Changed(subject, quantity) => {
                    quantities.clear();
                    quantities.push(quantity);
                    while let Some(Finding::Changed(_, q)) =
                        findings.next_if(|f| matches!(f, Finding::Changed(s, _) if *s == subject))
                    {
                        quantities.push(q);
                    }
                    self.changed(at, subject, &quantities);
                }
                Finding::Gone(subject) => self.board.gone(at, subject),
                // Has been passed on.
                Finding::Casualty { .. } => {}
                Finding::BeaconTest { text, mmsi } => {
                    let subject = mmsi.map_or(Subject::Lookout, Subject::Target);
                    self.board.note(at, BuiltIn::BeaconTest.word(), subject, text.into());
                }
                Finding::Trouble { subject, trouble, text } => {
                    self.board.call(at, doubtful(trouble), subject, text.into());
                }
                Finding::Mended { subject, trouble } => {
                    let order = doubtful(trouble);
                    // Another trouble may keep the same alert standing.
                    if !self.lookout.troubles().into_iter().any(|t| t != trouble && doubtful(t) == order) {
                        self.board.over(at, order, subject);
                    }
                }
                Finding::Waypoint { name, position } => {
                    let name = one_line(&name);
                    self.board.note(at, "waypoint", Subject::OwnVessel, format!("{name} reached").into());
                    self.enter(at, Entry::Waypoint { name, position });
                }
                Finding::Noted { subject, text } => {
                    self.board.note(at, "lookout", subject, text.into());
                }
            }
        }
        drop(findings);
        (self.findings, self.quantities) = (found, quantities);
        self.tell_events(at);
        if self.exercise_is_met() {
            self.end_exercise(at, record::DrillEnd::Acknowledged);
            self.tell_events(at);
        }
    }

    /// The one place where events leave the board: at the moment of the call that made them.
    pub(crate) fn tell_events(&mut self, at: Moment) {
        loop {
            let (board, view) = self.board_and_view(at);
            let events = board.take_events(&view);
            if events.is_empty() {
                return;
            }
            for e in events {
                self.keep_due |= e.kind != EventKind::Guidance;
                self.heed_exercise(&e);
                self.heed_guided(&e);
                self.heed_call(at, &e);
                let effect = self.event(e);
                self.effects.push(effect);
            }
        }
    }

    fn row(&mut self, at: Moment, row: Row) {
        self.effects.push(Effect::Row(self.stamp(at), row));
    }

    fn changed(&mut self, at: Moment, subject: Subject, quantities: &[Quantity]) {
        let (board, view) = self.board_and_view(at);
        board.changed_together(at, subject, quantities, &view);
        quantities.iter().for_each(|q| self.write_down(at, subject, *q));
    }

    /// Logs a change.
    fn write_down(&mut self, at: Moment, subject: Subject, quantity: Quantity) {
        match subject {
            Subject::OwnVessel if quantity == Quantity::Fix => self.fix(at),
            Subject::OwnVessel => {
                let reading = self.lookout.reading(at, subject, quantity);
                if let Some(v) = reading.value.and_then(|v| v.number()) {
                    self.row(at, Row::Instrument(quantity, v));
                }
            }
            Subject::Target(mmsi) if quantity == Quantity::Report => {
                if let Some(t) = self.lookout.target(at, mmsi) {
                    self.row(at, Row::Target(target_row(&t)));
                }
            }
            _ => {}
        }
    }

    /// Takes a new fix, or the loss of it.
    fn fix(&mut self, at: Moment) {
        let own = self.lookout.own(at);
        if own.position.is_none() {
            return;
        }
        self.had_fix = Some(at);
        if std::mem::take(&mut self.fix_lost) {
            self.board.over(at, BuiltIn::FixLost, Subject::OwnVessel);
        }
        let row = OwnRow {
            position: own.position,
            cog_deg: own.cog_deg,
            sog_kn: own.sog_kn,
            heading_deg: own.heading_deg,
        };
        self.row(at, Row::Own(row));
    }

    /// Logs own position by dead reckoning while there is none by satellite. No feed brings it: by that its row is known.
    pub(crate) fn note_reckoning(&mut self, at: Moment) {
        if at < self.reckoned_due || self.lookout.own(at).position.is_some() {
            return;
        }
        self.reckoned_due = at + RECKONED_EVERY;
        if let Some(r) = self.lookout.dead_reckoning(at) {
            let row = OwnRow {
                position: Some(r.position),
                cog_deg: Some(r.velocity.set_deg),
                sog_kn: Some(r.velocity.drift_kn),
                heading_deg: self.lookout.own(at).heading_deg,
            };
            self.row(at, Row::Own(row));
        }
    }

    pub(crate) fn casualty(&mut self, at: Moment, id: CasualtyId, news: CasualtyNews) {
        let Some(kind) = self.lookout.kind_of_casualty(id) else { return };
        let subject = Subject::Casualty(id);
        let order = built_in(kind);
        match news {
            CasualtyNews::Raised | CasualtyNews::Joined => {
                // The real thing goes before any exercise.
                self.give_way(at);
                self.board.call(at, order, subject, Words::default());
            }
            // News for those who already know: announced, but nobody who has acknowledged need do so again.
            CasualtyNews::Located
            | CasualtyNews::Silent
            | CasualtyNews::HeardAgain
            | CasualtyNews::Changed => {
                self.board.retell(at, order, subject, Words::default());
            }
            // The act itself informed the board.
            CasualtyNews::StoodDown(_) => {}
        }
    }
}

/// The built-in alert of an implausible instrument or clock.
fn doubtful(trouble: Trouble) -> BuiltIn {
    match trouble {
        Trouble::PositionsDiffer
        | Trouble::PositionJumps
        | Trouble::PositionFrozen
        | Trouble::PositionWalks => BuiltIn::PositionDoubtful,
        Trouble::TransmitterSilent | Trouble::SetSends => BuiltIn::OwnTransmitterSilent,
        Trouble::TransmitterPosition | Trouble::TransmitterIdentity | Trouble::SetSensors => {
            BuiltIn::OwnTransmitterWrong
        }
        Trouble::ShipsSilent | Trouble::SetReceives => BuiltIn::AisSilent,
        Trouble::TimesDiffer => BuiltIn::TimeDoubtful,
        Trouble::CompassFrozen | Trouble::LogFouled => BuiltIn::InstrumentDoubtful,
    }
}

/// The built-in alert of a kind of casualty.
pub(crate) fn built_in(kind: Kind) -> BuiltIn {
    match kind {
        Kind::PersonOverboard => BuiltIn::PersonOverboard,
        Kind::Sart => BuiltIn::SearchTransmitter,
        Kind::Epirb => BuiltIn::Epirb,
        Kind::VesselInDistress(_) => BuiltIn::VesselInDistress,
        Kind::ManyBeacons { .. } => BuiltIn::TooManyBeacons,
    }
}
