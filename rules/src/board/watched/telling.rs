//! The words of an order: its text with the values of the moment, its patience, and its crowd.

use super::{CROWD_CALLS_EVERY, MOST_NAMED, MOST_NEW_NAMED, MOST_SUBJECTS, Tools, Watched};
use crate::alert::{Origin, Priority};
use crate::condition::Measure;
use crate::judge::Sight;
use crate::life::{Alerts, Raise};
use crate::order::Piece;
use crate::wording;
use terms::{Moment, Subject, Value, Whose};

impl Watched {
    /// Raises the alert that the order cannot be judged once its patience is used up, and ends it.
    pub(super) fn settle_patience(&mut self, tools: &mut Tools<'_>) {
        let Some(patience) = self.order.patience else { return };
        let at = tools.sight.at;
        // Mostly there is no such alert, and no reason for one.
        let mut worn_out = false;
        while let Some((_, subject)) = self.unknown.first().copied().filter(|(t, _)| at >= *t + patience) {
            if !tools.sight.picture.is_out_of_hearing(subject) {
                worn_out = true;
                break;
            }
            self.forget_unknown(subject);
        }
        if !worn_out && !self.told_unjudged {
            return;
        }
        let origin = Origin::Unjudged(self.order.name.clone());
        let standing = tools.alerts.find(&origin, Subject::Lookout);
        match (worn_out, standing) {
            (true, None) => {
                let raise =
                    Raise { priority: Priority::Caution, ..self.raise(origin, Subject::Lookout, 0.0) };
                tools.alerts.raise(at, raise);
            }
            (false, Some(id)) => tools.alerts.rectify(at, id),
            _ => {}
        }
        self.told_unjudged = worn_out;
    }

    /// Says that it cannot be judged, for which subjects, and what is missing; `None` while its patience lasts.
    fn unjudged_text(&self, sight: &Sight<'_>) -> Option<String> {
        let patience = self.order.patience?;
        let lost: Vec<Subject> =
            self.unknown.iter().filter(|(since, _)| sight.at >= *since + patience).map(|(_, s)| *s).collect();
        let subject = *lost.first()?;
        let mut text = format!("\"{}\" cannot be judged for {}", self.order.name, terms::rounded(patience));
        if self.order.each != Whose::Own {
            let names: Vec<String> =
                lost.iter().take(MOST_NAMED).map(|s| sight.picture.name_of(*s)).collect();
            let more = lost.len().saturating_sub(MOST_NAMED);
            let rest = if more > 0 { format!(" and {more} more") } else { String::new() };
            text = format!("{text}, for {}{rest}", names.join(", "));
        }
        let states = self.progress.get(&subject).map(|e| &*e.tests).unwrap_or_default();
        let mut missing: Vec<String> = Vec::new();
        for (i, t) in self.order.tests.iter().enumerate() {
            let name = t.measure.to_string();
            let value = sight.measure(&t.measure, subject, states.get(i)).value;
            if value.is_none() && !missing.contains(&name) {
                missing.push(name);
            }
        }
        Some(if missing.is_empty() { text } else { format!("{text}: {} not known", missing.join(", ")) })
    }

    /// Raises one alert for the crowd, and gives its subjects alerts of their own as places become free.
    pub(super) fn settle_crowd(&mut self, tools: &mut Tools<'_>) {
        let at = tools.sight.at;
        let wanted = !self.crowd.is_empty() || self.unwatched;
        if !wanted && !self.told_crowd {
            return;
        }
        self.fill_places(tools);
        let origin = Origin::Crowd(self.order.name.clone());
        let standing = tools.alerts.find(&origin, Subject::Lookout);
        let wanted = !self.crowd.is_empty() || self.unwatched;
        // One from before a restart was repeated at once.
        self.crowd_called = standing.and(self.crowd_called.or(Some(at)));
        let calls = standing.is_none() || self.crowd_due().is_some_and(|due| due <= at);
        match (wanted, standing) {
            (true, _) if calls && self.names_newcomers(&tools.sight, standing.is_none()) => {
                self.crowd_called = Some(at);
                let raise = self.raise(origin, Subject::Lookout, f64::NEG_INFINITY);
                tools.alerts.raise(at, raise);
            }
            (true, _) => {}
            (false, Some(id)) => tools.alerts.rectify(at, id),
            (false, None) => {}
        }
        self.told_crowd = wanted;
    }

    /// Takes those of the newcomers who are to be named now, the worst first; the others are named next time. Returns
    /// whether the crowd's alert has a reason to be raised: one of them, or that none stands.
    fn names_newcomers(&mut self, sight: &Sight<'_>, none_stands: bool) -> bool {
        let mut worst = self.worst_first(&self.newcomers, sight, |s| self.holds(s));
        worst.truncate(MOST_NEW_NAMED);
        if worst.is_empty() && !none_stands {
            // Those who joined it are no longer a reason to call; if they become one, they are judged again.
            self.newcomers.clear();
            return false;
        }
        self.newcomers.retain(|s| !worst.contains(s));
        self.caused = worst;
        true
    }

    /// When the crowd's alert is to be raised again; `None` unless somebody joined it since the last time.
    pub(super) fn crowd_due(&self) -> Option<Moment> {
        self.crowd_called.filter(|_| !self.newcomers.is_empty()).map(|called| called + CROWD_CALLS_EVERY)
    }

    fn crowd_text(&self, sight: &Sight<'_>) -> String {
        let unwatched = if self.unwatched {
            format!("; more than {MOST_SUBJECTS} cannot be watched")
        } else {
            String::new()
        };
        // Who caused the call comes first.
        let calls = self.crowd_called == Some(sight.at);
        let mut named: Vec<Subject> = if calls { self.caused.clone() } else { Vec::new() };
        if named.len() < MOST_NAMED {
            let others = self.worst_first(&self.crowd, sight, |s| !named.contains(&s));
            named.extend(others.into_iter().take(MOST_NAMED - named.len()));
        }
        let names: Vec<String> = named.into_iter().map(|s| sight.picture.name_of(s)).collect();
        let first =
            if names.is_empty() { String::new() } else { format!(", first of them {}", names.join(", ")) };
        format!(
            "{}: {} more besides the {} announced one by one{first}{unwatched}",
            self.order.name,
            self.crowd.len(),
            self.told.len()
        )
    }

    /// The order's text about a subject, with the values of this moment.
    pub fn text(&self, subject: Subject, sight: &Sight<'_>) -> String {
        self.values(&self.order.text, subject, sight)
    }

    fn values(&self, pieces: &[Piece], subject: Subject, sight: &Sight<'_>) -> String {
        wording::text(pieces, || sight.picture.name_of(subject), |m| self.value(m, subject, sight))
    }

    /// The value of a measure in the order's text, with the windows of its tests.
    pub(super) fn value(&self, m: &Measure, subject: Subject, sight: &Sight<'_>) -> Option<Value> {
        let place = self.order.tests.iter().position(|t| t.measure == *m);
        let state = place.and_then(|i| {
            if self.is_shared(i) {
                self.shared.get(i)
            } else {
                self.progress.get(&subject).and_then(|e| e.tests.get(i))
            }
        });
        sight.measure(m, subject, state).value
    }

    /// The words of one of this order's alerts as of now. `None` if nothing new can be said: the alert is from before a
    /// restart and has not been met since.
    pub fn words(&self, origin: &Origin, subject: Subject, sight: &Sight<'_>) -> Option<String> {
        match origin {
            Origin::Order(_) => {
                self.progress.get(&subject).filter(|e| !e.unconfirmed).map(|_| {
                    // What is carried on from old reports must not pass for what is seen.
                    match sight.picture.last_heard(subject) {
                        Some(ago) => format!(
                            "Last heard {} ago: {}",
                            terms::rounded(ago),
                            self.values(&without_now(&self.order.text), subject, sight)
                        ),
                        None => self.text(subject, sight),
                    }
                })
            }
            Origin::Unjudged(_) => self.unjudged_text(sight),
            Origin::Crowd(_) => (self.unwatched || !self.crowd.is_empty()).then(|| self.crowd_text(sight)),
            Origin::BuiltIn(_) | Origin::Exercise(_) | Origin::Note(_) => None,
        }
    }

    /// How bad a subject is, more is worse. One whose own condition does not hold now is the least: a ship that is past has
    /// the lowest TCPA of all.
    pub(super) fn badness(&self, subject: Subject, sight: &Sight<'_>) -> f64 {
        if !self.holds(subject) {
            return f64::NEG_INFINITY;
        }
        let Some(w) = &self.order.worst else { return 0.0 };
        let value = sight.measure(&w.by, subject, None).value.and_then(|v| v.number());
        value.map_or(f64::NEG_INFINITY, |v| if w.highest { v } else { -v })
    }

    /// Updates how bad each of this order's alerts is.
    pub fn weigh(&self, sight: &Sight<'_>, alerts: &mut Alerts) {
        for subject in self.told.keys() {
            if let Some(id) = self.progress.get(subject).and_then(|e| e.alert) {
                alerts.weigh(id, self.badness(*subject, sight));
            }
        }
    }
}

/// An order's text without the word "now" before its values: "now {range} off".
fn without_now(pieces: &[Piece]) -> Vec<Piece> {
    let calm = |piece: &Piece| match piece {
        Piece::Words(w) => Piece::Words(w.strip_suffix("now ").unwrap_or(w).to_owned()),
        other => other.clone(),
    };
    pieces.iter().map(calm).collect()
}
