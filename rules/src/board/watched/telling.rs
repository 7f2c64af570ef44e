//! The words of an order: its text with the values of the moment, its patience, and its crowd.

use super::{CROWD_CALLS_EVERY, MOST_ALERTS, MOST_NAMED, MOST_SUBJECTS, ONE_BY_ONE, Tools, Watched};
use crate::alert::{Origin, Priority};
use crate::condition::Measure;
use crate::judge::Sight;
use crate::life::{Alerts, Raise};
use crate::wording;
use terms::{Moment, Subject, Whose};

impl Watched {
    /// Raises the alert that the order cannot be judged once its patience is used up, and ends it.
    pub(super) fn settle_patience(&mut self, tools: &mut Tools<'_>) {
        let Some(patience) = self.order.patience else { return };
        let at = tools.sight.at;
        // Mostly there is no such alert, and no reason for one.
        let worn_out = self.unknown.first().is_some_and(|(since, _)| at >= *since + patience);
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
            (true, _) if calls => {
                self.crowd_called = Some(at);
                self.crowd_grown = false;
                let raise = self.raise(origin, Subject::Lookout, f64::NEG_INFINITY);
                tools.alerts.raise(at, raise);
            }
            (true, _) => {}
            (false, Some(id)) => tools.alerts.rectify(at, id),
            (false, None) => {}
        }
        self.told_crowd = wanted;
    }

    /// Gives the places that have become free to the worst of the same feed's crowd.
    fn fill_places(&mut self, tools: &mut Tools<'_>) {
        for feed in std::mem::take(&mut self.freed) {
            let told = self.told.values().filter(|f| **f == feed).count();
            let free = ONE_BY_ONE.saturating_sub(told).min(MOST_ALERTS.saturating_sub(self.told.len()));
            if free > 0 && !self.crowd.is_empty() {
                let picture = tools.sight.picture;
                let worst = self.worst_of_crowd(&tools.sight, |s| picture.feed_of(s) == feed);
                worst.into_iter().take(free).for_each(|s| self.begin(s, tools));
            }
        }
    }

    /// When the crowd's alert is to be raised again; `None` unless the crowd has grown since the last time.
    pub(super) fn crowd_due(&self) -> Option<Moment> {
        self.crowd_called.filter(|_| self.crowd_grown).map(|called| called + CROWD_CALLS_EVERY)
    }

    /// Those of the crowd who are meant, worst first.
    fn worst_of_crowd(&self, sight: &Sight<'_>, meant: impl Fn(Subject) -> bool) -> Vec<Subject> {
        let meant = self.crowd.iter().filter(|s| meant(**s));
        let mut all: Vec<(Subject, f64)> = meant.map(|s| (*s, self.badness(*s, sight))).collect();
        all.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        all.into_iter().map(|(s, _)| s).collect()
    }

    fn crowd_text(&self, sight: &Sight<'_>) -> String {
        let unwatched = if self.unwatched {
            format!("; more than {MOST_SUBJECTS} cannot be watched")
        } else {
            String::new()
        };
        let names: Vec<String> = self
            .worst_of_crowd(sight, |_| true)
            .into_iter()
            .take(MOST_NAMED)
            .map(|s| sight.picture.name_of(s))
            .collect();
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
        let entry = self.progress.get(&subject);
        let value = |m: &Measure| {
            let place = self.order.tests.iter().position(|t| t.measure == *m);
            let state = place.and_then(|i| {
                if self.is_shared(i) { self.shared.get(i) } else { entry.and_then(|e| e.tests.get(i)) }
            });
            sight.measure(m, subject, state).value
        };
        wording::text(&self.order.text, || sight.picture.name_of(subject), value)
    }

    /// The words of one of this order's alerts as of now. `None` if nothing new can be said: the alert is from before a
    /// restart and has not been met since.
    pub fn words(&self, origin: &Origin, subject: Subject, sight: &Sight<'_>) -> Option<String> {
        match origin {
            Origin::Order(_) => {
                self.progress.get(&subject).filter(|e| !e.unconfirmed).map(|_| self.text(subject, sight))
            }
            Origin::Unjudged(_) => self.unjudged_text(sight),
            Origin::Crowd(_) => (self.unwatched || !self.crowd.is_empty()).then(|| self.crowd_text(sight)),
            Origin::BuiltIn(_) | Origin::Exercise(_) | Origin::Note(_) => None,
        }
    }

    pub(super) fn badness(&self, subject: Subject, sight: &Sight<'_>) -> f64 {
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
