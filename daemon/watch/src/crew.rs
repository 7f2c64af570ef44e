//! What the crew does to the watch.

use super::Watch;
use super::look::Since;
use lookout::anchor::{AnchorState, Said};
use lookout::casualty::{StandDown, who};
use record::words;
use record::words::count;
use record::{Act, ActError};
use record::{Entry, reason_words};
use rules::{Alert, AlertId, AlertState, BuiltIn, Declared, Doing, Priority, Stage, WatchAlarm};
use std::time::Duration;
use terms::{CasualtyId, Moment, ShipTime, Subject, is_hidden, one_line, span};

/// Most alerts that an answer names by their numbers.
const NAMED: usize = 5;

/// The name of who is over the side, if one was given.
///
/// # Errors
/// If it is none.
pub(crate) fn overboard(who: Option<String>) -> Result<Option<String>, ActError> {
    let who = who.map(|w| w.trim().to_owned()).filter(|w| !w.is_empty());
    match who {
        Some(w) if !is_name(&w) => {
            Err(ActError::Wrong("who went overboard has a name of at most 60 letters".to_owned()))
        }
        who => Ok(who),
    }
}

/// What is done to alerts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Done {
    Acknowledged,
    Silenced,
}

impl Watch {
    /// Carries out an act of the crew; reports in words what was done. Whoever acts is awake, whatever comes of the act: it
    /// resets the watch alarm, unless it is a reset from a place where no lookout is kept.
    ///
    /// # Errors
    /// If there is nothing to act on, or the act makes no sense.
    pub(crate) fn act(&mut self, at: Moment, act: Act) -> Result<String, ActError> {
        let asking = self.board.built_in(BuiltIn::WatchAlarm, Subject::Lookout).map(|a| a.id);
        if !matches!(act, Act::ResetWatchAlarm { from: Some(_) }) {
            self.somebody_acts(at);
        }
        let done = self.do_act(at, act, asking);
        self.pump(at);
        done
    }

    /// Somebody of the crew is awake: resets the watch alarm.
    pub(crate) fn somebody_acts(&mut self, at: Moment) {
        self.board.is_awake(at);
        // The reset must outlast a restart, though it makes no event.
        self.keep_due |= self.board.watch_alarm().is_some();
    }

    /// Carries out an act. `asking` is the alert of the watch alarm that the act has just reset.
    fn do_act(&mut self, at: Moment, act: Act, asking: Option<AlertId>) -> Result<String, ActError> {
        match act {
            Act::Acknowledge { alert: Some(id), .. } => self.answer(at, Done::Acknowledged, id, asking),
            Act::Silence { alert: Some(id), .. } => self.answer(at, Done::Silenced, id, asking),
            Act::Acknowledge { alert: None, order } => {
                self.answer_all(at, Done::Acknowledged, order.as_deref(), asking)
            }
            Act::Silence { alert: None, order } => {
                self.answer_all(at, Done::Silenced, order.as_deref(), asking)
            }
            Act::Overboard { late_s, who } => {
                if !(0.0..=3600.0).contains(&late_s) {
                    return Err(ActError::Wrong("how many seconds ago is a number from 0 to 3600".into()));
                }
                let who = overboard(who)?;
                let late = Duration::from_secs_f64(late_s);
                if who.is_none()
                    && let Some(id) = self.fender(at, late)
                {
                    return Ok(format!("EXERCISE: casualty {} marked", id.0));
                }
                let id = self.lookout.overboard(at, late, who);
                Ok(format!("casualty {} marked", id.0))
            }
            Act::Missing { who, last_seen, missed } => self.missing(at, who, &last_seen, missed.as_deref()),
            Act::Sighted { side, bearing_deg, metres, casualty } => {
                self.sighted(at, casualty, side.as_deref(), bearing_deg, metres)
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
                self.answered(at, declared);
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
            Act::SearchBegin { plan } => self.begin_search(at, &plan),
            Act::SearchEnd { sweep_width_nm } => self.end_search(at, sweep_width_nm),
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
                self.entered_watch = Some(who.to_owned());
                self.since = Since::new(at, Some(who.to_owned()), *self.board.declared());
                self.enter(at, Entry::Handover { who: who.to_owned(), from });
                Ok(format!("{who} has the watch"))
            }
            Act::ShipTime { ship_time_h } => self.set_ship_time(at, ship_time_h),
            Act::ResetWatchAlarm { from } => {
                if let Some(from) = from {
                    self.board.reset_watch_alarm(at, &from).map_err(|e| ActError::Wrong(e.to_string()))?;
                    self.keep_due = true;
                }
                self.was_reset(at)
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

    /// Sets ship's time, by hours from UTC or the zone she is in.
    fn set_ship_time(&mut self, at: Moment, ship_time_h: Option<f64>) -> Result<String, ActError> {
        let ship = match ship_time_h {
            Some(hours) => ShipTime::from_hours(hours).ok_or_else(|| {
                ActError::Wrong("ship's time is a number of hours from UTC, from -14 to 14".to_owned())
            })?,
            None => self.zone(at).ok_or_else(|| {
                ActError::Nothing(
                    "the zone is not known: there is no position. Say it: ship-time +2".to_owned(),
                )
            })?,
        };
        let (board, view) = self.board_and_view(at);
        board.set_ship_time(at, ship.seconds(), &view);
        self.keep_due = true;
        self.enter(at, Entry::ShipTime { ship_time_h: ship.hours() });
        Ok(format!("ship's time is {}", self.ship_time_words(at)))
    }

    /// Ship's time now.
    pub fn ship_time(&self) -> ShipTime {
        ShipTime::from_seconds(self.board.ship_time_s())
    }

    /// The zone kept at sea where she is.
    pub(crate) fn zone(&self, at: Moment) -> Option<ShipTime> {
        self.lookout.own(at).position.map(|p| ShipTime::at_longitude(p.longitude_deg()))
    }

    /// Ship's time in words: UTC+2, 04:14.
    pub(crate) fn ship_time_words(&self, at: Moment) -> String {
        let ship = self.ship_time();
        match self.lookout.utc(at) {
            Some((utc, _)) => format!("{ship}, {}", &ship.of(utc).to_string()[11..16]),
            None => ship.to_string(),
        }
    }

    /// Writes down who has the watch, where the roster has put somebody on it.
    pub(crate) fn enter_watch(&mut self, at: Moment) {
        let on_watch = self.on_watch();
        if self.entered_watch != on_watch {
            let from = std::mem::replace(&mut self.entered_watch, on_watch.clone());
            if let Some(who) = on_watch {
                self.since = Since::new(at, Some(who.clone()), *self.board.declared());
                self.enter(at, Entry::Handover { who, from });
            }
        }
    }

    /// How the watch alarm stands after a reset.
    fn was_reset(&self, at: Moment) -> Result<String, ActError> {
        let nothing = |why: &str| Err(ActError::Nothing(why.to_owned()));
        match self.board.watch_alarm() {
            None => nothing("boat.toml has no watch alarm"),
            Some(alarm) => match (alarm.stage(), alarm.asks_in(at)) {
                (_, Some(left)) => Ok(format!("watch alarm reset: it asks again in {}", span(left))),
                (Stage::Suspended, _) => nothing(SUSPENDED),
                _ => nothing("the watch alarm is off"),
            },
        }
    }

    /// The watch alarm as status and handover put it.
    pub(crate) fn watch_alarm_words(&self, at: Moment, alarm: &WatchAlarm) -> String {
        match (alarm.stage(), alarm.asks_in(at)) {
            (Stage::Off, _) => "off".to_owned(),
            (Stage::Suspended, _) => "suspended until the emergency is stood down".to_owned(),
            (_, Some(left)) => format!("on, asks in {}", span(left)),
            _ => "ASKS FOR A RESET".to_owned(),
        }
    }

    /// Acknowledges or silences one alert. For the watch alarm's that is a reset, which has been done.
    fn answer(
        &mut self,
        at: Moment,
        what: Done,
        id: AlertId,
        asking: Option<AlertId>,
    ) -> Result<String, ActError> {
        if asking == Some(id) {
            return self.was_reset(at);
        }
        let why_not = self.board.alerts().find(|a| a.id == id).map(|a| why_not(what, a));
        match (self.do_answer(at, what, id), why_not) {
            (Ok(()), _) => Ok(match what {
                Done::Acknowledged => format!("alert {} acknowledged", id.0),
                Done::Silenced => format!("alert {} silenced for 30 s", id.0),
            }),
            (Err(_), Some(why)) => Err(ActError::Nothing(format!("alert {} {why}", id.0))),
            (Err(refused), None) => Err(ActError::Nothing(refused.to_string())),
        }
    }

    fn do_answer(&mut self, at: Moment, what: Done, id: AlertId) -> Result<(), rules::Refused> {
        match what {
            Done::Acknowledged => self.board.acknowledge(at, id),
            Done::Silenced if self.is_only_guided(id) => {
                self.board.hush(at, id);
                Ok(())
            }
            Done::Silenced => self.board.silence(at, id),
        }
    }

    /// Acknowledges or silences all that can be, or those of one order; names what needs no acknowledgement.
    fn answer_all(
        &mut self,
        at: Moment,
        what: Done,
        order: Option<&str>,
        asking: Option<AlertId>,
    ) -> Result<String, ActError> {
        let of_order = |a: &&Alert| order.is_none_or(|o| a.order == o);
        let open: Vec<(AlertId, Priority)> =
            self.board.alerts().filter(of_order).map(|a| (a.id, a.priority)).collect();
        let (mut done, mut cautions) = (0, Vec::new());
        for (id, priority) in open {
            match self.do_answer(at, what, id) {
                Ok(()) => done += 1,
                Err(_) if priority == Priority::Caution => cautions.push(id.0.to_string()),
                Err(_) => {}
            }
        }
        let reset = asking.filter(|_| order.is_none_or(|o| o == BuiltIn::WatchAlarm.word())).is_some();
        let mut parts = Vec::new();
        if reset {
            parts.push("watch alarm reset".to_owned());
        }
        if done > 0 || !reset {
            parts.push(match (what, done) {
                (Done::Acknowledged, 0) => "nothing to acknowledge".to_owned(),
                (Done::Silenced, 0) => "nothing to silence".to_owned(),
                (Done::Acknowledged, n) => format!("{n} acknowledged"),
                (Done::Silenced, n) => format!("{n} silenced for 30 s"),
            });
        }
        if what == Done::Acknowledged {
            parts.extend(match cautions.as_slice() {
                [] => None,
                [one] => Some(format!("alert {one} is a caution, which needs none")),
                some if some.len() <= NAMED => {
                    Some(format!("alerts {} are cautions, which need none", some.join(", ")))
                }
                many => {
                    Some(format!("{} are cautions, which need none", count(many.len(), "alert", "alerts")))
                }
            });
        }
        let words = parts.join("; ");
        if done > 0 || reset { Ok(words) } else { Err(ActError::Nothing(words)) }
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
        self.search_is_over(at, id);
        let cancel = match reason {
            StandDown::HandedOver => String::new(),
            _ => format!(
                "; if a distress call was sent, `middlewatch casualty {} --brief` has the words that cancel it",
                id.0
            ),
        };
        Ok(format!("casualty {} stood down: {why}{cancel}", id.0))
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

/// What a reset meets while an emergency stands.
const SUSPENDED: &str = "the watch alarm is suspended until the emergency is stood down";

/// Why an alert that stands cannot be acknowledged or silenced.
fn why_not(what: Done, alert: &Alert) -> String {
    match (what, alert.state) {
        (Done::Acknowledged, _) if alert.priority == Priority::Caution => {
            "is a caution, which needs no acknowledgement".to_owned()
        }
        (Done::Acknowledged, AlertState::ActiveAcknowledged) => "is acknowledged already".to_owned(),
        (Done::Acknowledged, state) => format!("is {state}, and cannot be acknowledged"),
        (Done::Silenced, _) => "makes no sound now".to_owned(),
    }
}

/// Whether a text can be a person's name: 1 to 60 letters on one line.
fn is_name(text: &str) -> bool {
    (1..=60).contains(&text.chars().count()) && !text.contains(is_hidden)
}

#[cfg(test)]
mod tests;
