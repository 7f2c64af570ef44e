//! What the review says rests on facts that the logbook keeps as such, and never on the wording of an alert.

use crate::aboard::Folder;
use crate::records::{at, open, record};
use crate::review::night::{event, own_at, told, with_casualty};
use lookout::casualty::StandDown;
use middlewatch::review::{self, Span};
use record::{Entry, OwnRow};
use rules::{AlertState as S, EventKind as K, Priority};
use terms::CasualtyId;

#[test]
fn each_casualty_has_the_reason_of_its_own_stand_down() {
    let folder = Folder::new("reasons");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    logbook.own(at(0), OwnRow { position: Some(own_at(0)), ..OwnRow::default() });
    let casualty = |id: u32, s, seq, kind, state| {
        let r = record(id, seq, Priority::EmergencyAlarm, s);
        let mut r = with_casualty(told(r, kind, state, "person overboard", "overboard"), None, None);
        r.casualty.as_mut().unwrap().id = CasualtyId(id);
        event(&logbook, s, r);
    };
    casualty(1, 60, 1, K::Raised, S::ActiveUnacknowledged);
    casualty(2, 70, 1, K::Raised, S::ActiveUnacknowledged);
    // Both within a minute, and the second one first.
    for (s, id, reason) in [(600, 2, StandDown::FalseActivation), (630, 1, StandDown::Recovered)] {
        logbook.entry(at(s), Entry::StandDown { casualty: CasualtyId(id), reason, who: None });
        casualty(id, s, 2, K::Cleared, S::Normal);
    }
    logbook.close(at(900)).blocking_recv().unwrap().unwrap();
    let night = review::read(folder.logbook(), Span::default()).unwrap();
    let reasons: Vec<_> =
        night.casualties.iter().map(|c| (c.id, c.stood_down.as_ref().unwrap().1.as_str())).collect();
    assert_eq!(reasons, [(1, "recovered"), (2, "false activation")]);
}
