//! What the crew does to the watch.

use super::Watch;
use lookout::anchor::{AnchorState, Said};
use lookout::casualty::{StandDown, who};
use record::words;
use record::{Act, ActError};
use record::{Entry, reason_words};
use rules::{AlertId, Declared, Doing};
use std::time::Duration;
use terms::{CasualtyId, Moment, is_hidden, one_line};

impl Watch {
    /// Carries out an act of the crew; reports in words what was done.
    ///
    /// # Errors
    /// If there is nothing to act on, or the act makes no sense.
    pub(crate) fn act(&mut self, at: Moment, act: Act) -> Result<String, ActError> {
        let done = self.do_act(at, act);
        self.pump(at);
        done
    }

    fn do_act(&mut self, at: Moment, act: Act) -> Result<String, ActError> {
        let nothing = |e: rules::Refused| ActError::Nothing(e.to_string());
        match act {
            Act::Acknowledge { alert: Some(id), .. } => {
                self.board.acknowledge(at, id).map_err(nothing)?;
                Ok(format!("alert {} acknowledged", id.0))
            }
            Act::Silence { alert: Some(id), .. } => {
                self.board.silence(at, id).map_err(nothing)?;
                Ok(format!("alert {} silenced for 30 s", id.0))
            }
            Act::Acknowledge { alert: None, order } => {
                let open = self.open_alerts(order.as_deref());
                let n = open.into_iter().filter(|id| self.board.acknowledge(at, *id).is_ok()).count();
                Ok(format!("{n} acknowledged"))
            }
            Act::Silence { alert: None, order } => {
                let open = self.open_alerts(order.as_deref());
                let n = open.into_iter().filter(|id| self.board.silence(at, *id).is_ok()).count();
                Ok(format!("{n} silenced for 30 s"))
            }
            Act::Overboard { late_s, who } => {
                if !(0.0..=3600.0).contains(&late_s) {
                    return Err(ActError::Wrong("how many seconds ago is a number from 0 to 3600".into()));
                }
                let who = who.map(|w| w.trim().to_owned()).filter(|w| !w.is_empty());
                if who.as_deref().is_some_and(|w| !is_name(w)) {
                    return Err(ActError::Wrong(
                        "who went overboard has a name of at most 60 letters".to_owned(),
                    ));
                }
                let late = Duration::from_secs_f64(late_s);
                if who.is_none()
                    && let Some(id) = self.fender(at, late)
                {
                    return Ok(format!("EXERCISE: casualty {} marked", id.0));
                }
                let id = self.lookout.overboard(at, late, who);
                Ok(format!("casualty {} marked", id.0))
            }
            Act::StandDown { casualty, reason } => self.stand_down(at, casualty, &reason),
            Act::Declare { what, metres, bearing_deg } => {
                let declared = Declared::named(&what).ok_or_else(|| {
                    let known: Vec<&str> = Declared::all().map(Declared::name).collect();
                    ActError::Wrong(format!("`{what}` cannot be declared: it is one of {}", known.join(", ")))
                })?;
                let said = said_of_anchor(declared, metres, bearing_deg)?;
                // First, so that the board finds it there.
                if declared == Declared::Doing(Doing::AtAnchor) {
                    self.lookout.lie_at_anchor(at, said);
                }
                let (board, view) = self.board_and_view(at);
                board.declare(at, declared, &view);
                if matches!(declared, Declared::Doing(doing) if doing != Doing::AtAnchor) {
                    self.lookout.weigh_anchor();
                }
                self.declare_to_lookout();
                self.enter(at, Entry::Declared { what: declared });
                let anchor = self.lookout.anchor(at);
                if let Some(AnchorState { position, error_m, .. }) = anchor.filter(|_| said.is_some()) {
                    self.enter(at, Entry::Anchor { position, error_m });
                }
                self.keep_due = true;
                let proof = self.prove_watched(at);
                let lies = anchor.map_or_else(String::new, |a| {
                    format!("; the anchor is taken to lie at {}, to {:.0} m", a.position, a.error_m)
                });
                Ok(format!("declared {declared}: {}{lies}", proof.words()))
            }
            Act::AnchorHere {} => {
                let none =
                    || ActError::Nothing("where the anchor drops is not known: there is no fix".to_owned());
                let dropped = self.lookout.drop_anchor(at).ok_or_else(none)?;
                let (position, error_m) = (dropped.position, dropped.error_m);
                self.enter(at, Entry::Anchor { position, error_m });
                self.keep_due = true;
                let next = if self.board.declared().doing == Some(Doing::AtAnchor) {
                    ""
                } else {
                    "; declare at anchor when she lies to it: until then nobody watches it"
                };
                Ok(format!("the anchor drops at {position}, to {error_m:.0} m{next}"))
            }
            Act::Handover { who } => {
                let who = who.trim();
                if !is_name(who) {
                    return Err(ActError::Wrong(
                        "who takes the watch has a name of one to 60 letters".to_owned(),
                    ));
                }
                let from = self.on_watch();
                let (board, view) = self.board_and_view(at);
                board.take_watch(at, who, &view);
                self.enter(at, Entry::Handover { who: who.to_owned(), from });
                Ok(format!("{who} has the watch"))
            }
            Act::ResetWatchAlarm { from } => {
                self.board.reset_watch_alarm(at, &from).map_err(|e| ActError::Wrong(e.to_string()))?;
                Ok("watch alarm reset".to_owned())
            }
            Act::WatchAlarm { switch } => {
                let (board, view) = self.board_and_view(at);
                board.switch_watch_alarm(at, switch, &view);
                match self.board.watch_alarm() {
                    Some(_) => Ok("watch alarm switched".to_owned()),
                    None => Err(ActError::Nothing("boat.toml has no watch alarm".to_owned())),
                }
            }
            Act::Passage { name, ends } => {
                let name = name.map(|n| one_line(n.trim())).filter(|n| !n.is_empty());
                if name.as_ref().is_some_and(|n| ends || n.chars().count() > 100) {
                    return Err(ActError::Wrong(
                        "a passage is begun with a name of at most 100 letters, and ended without one".into(),
                    ));
                }
                self.enter(at, if ends { Entry::PassageEnded } else { Entry::PassageBegan { name } });
                Ok(format!("a passage {} here", if ends { "ends" } else { "begins" }))
            }
            Act::Drill { what } => self.drill(at, what.trim()),
            Act::Note { text } => {
                let text = one_line(text.trim());
                if text.is_empty() || text.chars().count() > 1000 {
                    return Err(ActError::Wrong("a remark has one to 1000 letters".into()));
                }
                self.enter(at, Entry::Note { who: None, text });
                Ok("written into the logbook".to_owned())
            }
        }
    }

    fn open_alerts(&self, order: Option<&str>) -> Vec<AlertId> {
        self.board.alerts().filter(|a| order.is_none_or(|o| a.order == o)).map(|a| a.id).collect()
    }

    fn stand_down(
        &mut self,
        at: Moment,
        which: Option<CasualtyId>,
        reason: &str,
    ) -> Result<String, ActError> {
        let reason = StandDown::parse(reason).ok_or_else(|| {
            ActError::Wrong("a reason is recovered, false activation, test, or handed over".to_owned())
        })?;
        let id = self.which_casualty(at, which)?;
        let case = self.lookout.casualty(at, id);
        self.lookout.stand_down(at, id, reason).map_err(|e| ActError::Nothing(e.to_string()))?;
        let why = reason_words(reason);
        self.enter(at, Entry::StandDown { casualty: id, reason, who: self.on_watch() });
        let who = case.map_or_else(|| format!("casualty {}", id.0), |c| who(&c));
        let last = format!("{}: stood down, {why}", words::capital(&who));
        self.board.stand_down(at, id, &last.into()).map_err(|e| ActError::Nothing(e.to_string()))?;
        Ok(format!("casualty {} stood down: {why}", id.0))
    }
}

/// What a declaration says of where the anchor lies.
fn said_of_anchor(
    declared: Declared,
    metres: Option<f64>,
    bearing_deg: Option<f64>,
) -> Result<Option<Said>, ActError> {
    let wrong = |why: &str| Err(ActError::Wrong(why.to_owned()));
    let Some(metres) = metres else {
        return match bearing_deg {
            Some(_) => wrong("the bearing of the anchor needs its distance: so many metres from the bow"),
            None => Ok(None),
        };
    };
    if declared != Declared::Doing(Doing::AtAnchor) {
        return wrong("metres and a bearing say where the anchor lies: they go with at anchor only");
    }
    if !(1.0..=200.0).contains(&metres) || bearing_deg.is_some_and(|deg| !(0.0..=360.0).contains(&deg)) {
        return wrong("the anchor lies from 1 to 200 m from the bow, on a bearing from 0 to 360 degrees");
    }
    Ok(Some(Said { metres, bearing_deg }))
}

/// Whether a text can be a person's name: 1 to 60 letters on one line.
fn is_name(text: &str) -> bool {
    (1..=60).contains(&text.chars().count()) && !text.contains(is_hidden)
}
