//! Where the anchor lies, with own vessel as she is now.

use super::Lookout;
use crate::Finding;
use crate::anchor::{self, AnchorState, Dropped, Lies, Said};
use terms::{Moment, Quantity, Subject};

impl Lookout {
    /// Takes that the anchor drops now, at the bow. Returns where that is, if known.
    pub fn drop_anchor(&mut self, at: Moment) -> Option<Dropped> {
        let lies = self.lies(at)?;
        Some(self.anchor.drops(at, lies))
    }

    /// Takes that she lies at anchor now, and what is said of where that is; said again with nothing new it changes nothing.
    pub fn lie_at_anchor(&mut self, at: Moment, said: Option<Said>) {
        self.anchor.lies(at, self.lies(at), said);
    }

    /// Takes that she does not lie at anchor.
    pub fn weigh_anchor(&mut self) {
        self.anchor.weighed();
    }

    /// Where the anchor lies and whether she drags it; `None` unless she is declared at anchor and fixes come.
    pub fn anchor(&self, at: Moment) -> Option<AnchorState> {
        self.anchor.state(at)
    }

    /// What is known of the anchor, to survive a restart.
    pub fn keep_anchor(&self) -> anchor::Kept {
        self.anchor.keep()
    }

    /// Takes up what an earlier run left of it.
    pub fn take_up_anchor(&mut self, at: Moment, kept: anchor::Kept) {
        self.anchor.take_up(at, kept);
    }

    fn lies(&self, at: Moment) -> Option<Lies> {
        let bow_m = self.settings.dimensions.map(|d| d.bow_m);
        let (position, _) = self.own.fix(at)?;
        Some(Lies { position, heading_deg: self.own.value(at, Quantity::Heading), bow_m })
    }

    /// Passes a fix that has just come on to the anchor.
    pub(super) fn look_at_anchor(&mut self, at: Moment) {
        if !self.anchor.is_watched() || self.own.fix_heard() != Some(at) {
            return;
        }
        let Some(lies) = self.lies(at) else { return };
        if self.anchor.hear(at, lies) {
            self.anchor_changed();
        }
    }

    pub(super) fn anchor_changed(&mut self) {
        let changed = anchor::QUANTITIES.map(|q| Finding::Changed(Subject::OwnVessel, q));
        self.findings.extend(changed);
    }
}
