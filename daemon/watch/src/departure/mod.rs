//! The departure check: what the watch can judge by itself, what people have noted, and the sheet of both.

mod pace;

pub(crate) use pace::Pace;

use super::Watch;
use crate::senses::Ear;
use boat::{Boat, Means, Vessel};
use record::words::count;
use record::{ActError, Asked, CheckItem, Date, DepartureAct, DepartureSheet, Entry, Part, Verdict, tally};
use rules::BuiltIn;
use sentence::ais::AisReport;
use std::time::Duration;
use terms::{Mmsi, Moment, UtcSource, one_line, span, turn_deg};

/// Most items that people can note; there are never more to ask for.
const MOST_NOTED: usize = 256;
/// How long after the last request a press of the button under test counts as a try. Whoever waits for it keeps
/// asking; once nobody waits, the button works as usual.
const TRIED_WITHIN: Duration = Duration::from_secs(3);
/// Oldest fix to leave with, in seconds.
const FIX_AGE_S: f64 = 10.0;
/// How recent own reports must be. They are sent at least every three minutes, also at anchor (ITU-R M.1371-5 table 1,
/// from memory): two of them and some seconds.
const OWN_REPORTS_WITHIN: Duration = Duration::from_secs(370);
/// How recently traffic must have been heard to count, in seconds.
const TRAFFIC_WITHIN_S: f64 = 600.0;
/// Above this speed she is under way for the compass check; below, the course over ground wanders.
const UNDER_WAY_KN: f64 = 3.0;
/// How far heading and course over ground may differ: leeway and a cross current (own choice).
const HEADING_AGREES_DEG: f64 = 20.0;
/// How far dimensions may differ: the transmitter has whole metres.
const DIMENSIONS_AGREE_M: f64 = 1.0;
/// What the watch keeps for the departure check.
#[derive(Debug)]
pub(super) struct Departure {
    asked: Vec<Asked>,
    pub vessel: Vessel,
    began: Option<Moment>,
    told: Vec<CheckItem>,
    /// The button under test, and until when.
    trying: Option<(String, Moment)>,
    /// The last report from our own transmitter.
    own: Option<(Moment, Mmsi)>,
    /// Distances to bow, stern, port and starboard, as our own transmitter reports them.
    dimensions: Option<[u16; 4]>,
}

impl Departure {
    /// Everything to ask about aboard a boat.
    pub fn of(boat: &Boat) -> Self {
        let asked = |part: Part, name: &str, beacon| Asked {
            part,
            name: name.to_owned(),
            what: format!("{} {name}", part.word()),
            beacon,
            verdict: None,
        };
        let signals = boat.signals.iter().map(|s| {
            let part = if matches!(s.means, Means::Webhook(_)) { Part::Webhook } else { Part::Sounder };
            asked(part, &s.name, None)
        });
        let buttons = boat.buttons.iter().map(|b| asked(Part::Button, &b.name, None));
        let crew = boat.crew.iter().map(|c| asked(Part::BeaconOf, &c.name, c.beacon));
        Self {
            asked: signals.chain(buttons).chain(crew).collect(),
            vessel: boat.vessel.clone(),
            began: None,
            told: Vec::new(),
            trying: None,
            own: None,
            dimensions: None,
        }
    }

    /// Takes a report from our own transmitter.
    pub fn hear(&mut self, at: Moment, report: &AisReport) {
        self.own = Some((at, report.mmsi));
        let d = [report.dimension_a_m, report.dimension_b_m, report.dimension_c_m, report.dimension_d_m];
        if let [Some(a), Some(b), Some(c), Some(d)] = d {
            self.dimensions = Some([a, b, c, d]);
        }
    }

    fn tell(&mut self, line: CheckItem) -> Result<(), ActError> {
        let known = self.asked.iter().any(|a| a.what == line.what);
        if !known {
            return Err(ActError::Wrong(format!(
                "the departure check has no item `{}`",
                one_line(&line.what)
            )));
        }
        self.told.retain(|l| l.what != line.what);
        self.trying = None;
        if self.told.len() < MOST_NOTED {
            self.told.push(line);
        }
        Ok(())
    }
}

/// A name or remark from a person, on one line and not too long.
fn tidy(text: &str, most: usize) -> String {
    one_line(text).trim().chars().take(most).collect()
}

/// The watch's part of the departure check.
impl Watch {
    /// Carries out a step of the departure check. `outside`: items that the watch itself cannot judge.
    ///
    /// # Errors
    /// If the item asked for does not exist.
    pub(crate) fn departure(
        &mut self,
        at: Moment,
        ask: DepartureAct,
        outside: Vec<CheckItem>,
    ) -> Result<DepartureSheet, ActError> {
        match ask {
            DepartureAct::Look => {}
            DepartureAct::Begin => {
                self.departure.began = Some(at);
                self.departure.told.clear();
                self.departure.trying = None;
            }
            DepartureAct::Item { what, verdict, words, by } => {
                let line = CheckItem { what, verdict, words: tidy(&words, 300), by: tidy(&by, 60) };
                self.departure.tell(line)?;
            }
            DepartureAct::Button { name } => {
                if !self.departure.asked.iter().any(|a| a.part == Part::Button && a.name == name) {
                    return Err(ActError::Wrong(format!("there is no button `{}`", one_line(&name))));
                }
                let what = format!("button {name}");
                let done = |l: &CheckItem| l.what == what && l.verdict == Verdict::Passed;
                // Once pressed, the next press is no try.
                let waits = !self.departure.told.iter().any(done);
                self.departure.trying = waits.then(|| (name, at + TRIED_WITHIN));
            }
            DepartureAct::Close { by } => {
                let sheet = self.sheet(at, outside);
                let by = tidy(&by, 60);
                let named = Some(by.clone()).filter(|b| !b.is_empty());
                self.enter(at, Entry::DepartureCheck { by: named, items: sheet.clone() });
                return Ok(self.departure_told(at, sheet, Some(by)));
            }
        }
        Ok(self.departure_look(at, outside))
    }

    /// The state of the departure check. Changes nothing.
    pub fn departure_look(&self, at: Moment, outside: Vec<CheckItem>) -> DepartureSheet {
        self.departure_told(at, self.sheet(at, outside), None)
    }

    /// Takes a press of a button. Returns whether it was only a try in the departure check.
    pub(crate) fn is_tried(&mut self, at: Moment, button: &str) -> bool {
        let tried =
            self.departure.trying.as_ref().is_some_and(|(name, until)| name == button && at <= *until);
        if tried {
            self.departure.trying = None;
            let line = CheckItem::judged(format!("button {button}"), Verdict::Passed, "pressed");
            // The button was asked for, so its item exists.
            let _ = self.departure.tell(line);
            let text =
                format!("Button {button} pressed in the departure check: it works and has done nothing else");
            self.board.note(at, "departure", terms::Subject::Lookout, text.into());
            self.pump(at);
        }
        tried
    }

    fn departure_told(&self, at: Moment, items: Vec<CheckItem>, by: Option<String>) -> DepartureSheet {
        let verdict = |what: &str| items.iter().find(|i| i.what == what).map(|i| i.verdict);
        let asked = self.departure.asked.iter();
        DepartureSheet {
            vessel: self.departure.vessel.name.clone(),
            at: self.lookout.utc(at).map(|(utc, _)| utc),
            by,
            tally: tally(&items),
            asked: asked.map(|a| Asked { verdict: verdict(&a.what), ..a.clone() }).collect(),
            items,
        }
    }

    /// All items as they stand, those missing first.
    fn sheet(&self, at: Moment, outside: Vec<CheckItem>) -> Vec<CheckItem> {
        let mut lines: Vec<CheckItem> = self.ears.iter().map(|e| feed_line(e, at)).collect();
        lines.push(self.fix_line(at));
        lines.push(self.clock_line(at));
        lines.push(self.transmitter_line(at));
        lines.push(self.dimensions_line());
        lines.push(self.traffic_line(at));
        lines.push(self.heading_line(at));
        lines.extend(self.order_lines(at));
        lines.extend(outside);
        lines.extend(self.dated(at).into_iter().map(|d| {
            let outcome = match d.date {
                Date::Over | Date::Soon => Verdict::Failed,
                Date::NotKnown => Verdict::NotTried,
                Date::Good => Verdict::Passed,
            };
            let words = d.words.strip_prefix(&d.name).unwrap_or(&d.words).trim_start().to_owned();
            CheckItem::judged(d.name, outcome, words)
        }));
        for asked in &self.departure.asked {
            let what = asked.what.clone();
            let told = self.departure.told.iter().find(|l| l.what == what).cloned();
            let beacon = || self.beacon_line(asked, at);
            lines.push(match told {
                // A beacon that was heard after all counts as heard.
                Some(l) if l.verdict == Verdict::Passed || asked.part != Part::BeaconOf => l,
                told => match (beacon(), told) {
                    (Some(b), Some(l)) if b.verdict != Verdict::Passed => l,
                    (Some(b), _) => b,
                    (None, _) => CheckItem::judged(what, Verdict::NotTried, "nobody has tried it"),
                },
            });
        }
        lines.sort_by_key(|l| l.verdict);
        lines
    }

    fn fix_line(&self, at: Moment) -> CheckItem {
        let own = self.lookout.own(at);
        match (own.position, own.position_age_s) {
            (Some(p), Some(age)) if age <= FIX_AGE_S => {
                CheckItem::judged("fix", Verdict::Passed, format!("{p}, {age:.0} s old"))
            }
            (Some(_), Some(age)) => CheckItem::judged("fix", Verdict::Failed, format!("{age:.0} s old")),
            _ => CheckItem::judged("fix", Verdict::Failed, "none"),
        }
    }

    fn clock_line(&self, at: Moment) -> CheckItem {
        if let Some(words) = self.lookout.time_in_doubt(at) {
            return CheckItem::judged("clock", Verdict::Failed, words);
        }
        match self.lookout.utc(at) {
            Some((utc, UtcSource::Satellite)) => {
                CheckItem::judged("clock", Verdict::Passed, format!("{utc}, by satellite"))
            }
            Some((utc, UtcSource::System)) => {
                let words = format!("{utc} by the computer's own clock; no satellite has given the time");
                CheckItem::judged("clock", Verdict::Failed, words)
            }
            None => CheckItem::judged("clock", Verdict::Failed, "the time is not known"),
        }
    }

    fn transmitter_line(&self, at: Moment) -> CheckItem {
        let what = "own AIS transmitter";
        let (outcome, words) = match (self.departure.own, self.departure.vessel.mmsi) {
            (Some((heard, _)), _) if at.since(heard) > OWN_REPORTS_WITHIN => {
                (Verdict::Failed, format!("own reports not heard for {}", span(at.since(heard))))
            }
            (None, _) => (Verdict::Failed, "own reports not heard".to_owned()),
            (Some((_, sent)), Some(own)) if sent != own => {
                (Verdict::Failed, format!("it sends as {sent}; boat.toml says {own}"))
            }
            (Some((_, sent)), None) => {
                (Verdict::NotTried, format!("it sends as {sent}; boat.toml gives no `mmsi` to compare with"))
            }
            (Some((heard, sent)), Some(_)) => {
                (Verdict::Passed, format!("sends as {sent}, last {} ago", span(at.since(heard))))
            }
        };
        CheckItem::judged(what, outcome, words)
    }

    fn dimensions_line(&self) -> CheckItem {
        let what = "own AIS dimensions";
        let Some(sent) = self.departure.dimensions else {
            let words = "own transmitter has not sent them yet; it does every six minutes";
            return CheckItem::judged(what, Verdict::NotTried, words);
        };
        let told = |d: [f64; 4]| format!("bow {}, stern {}, port {}, starboard {} m", d[0], d[1], d[2], d[3]);
        let sent = sent.map(f64::from);
        match self.departure.vessel.dimensions_m {
            None => {
                let words = format!("{}; boat.toml gives no `dimensions_m` to compare with", told(sent));
                CheckItem::judged(what, Verdict::NotTried, words)
            }
            Some(own) if sent.iter().zip(own).any(|(s, o)| (s - o).abs() > DIMENSIONS_AGREE_M) => {
                let words = format!("it sends {}; boat.toml says {}", told(sent), told(own));
                CheckItem::judged(what, Verdict::Failed, words)
            }
            Some(_) => CheckItem::judged(what, Verdict::Passed, told(sent)),
        }
    }

    fn traffic_line(&self, at: Moment) -> CheckItem {
        let heard: Vec<_> = self
            .lookout
            .targets(at)
            .into_iter()
            .filter(|t| t.age_s.is_some_and(|a| a <= TRAFFIC_WITHIN_S))
            .collect();
        let furthest = heard.iter().filter_map(|t| t.range_nm).reduce(f64::max);
        let furthest = furthest.map_or(String::new(), |r| format!(", the furthest {r:.1} nm off"));
        if heard.is_empty() {
            return CheckItem::judged("AIS traffic", Verdict::Failed, "nobody heard within ten minutes");
        }
        let words =
            format!("{} heard within ten minutes{furthest}", count(heard.len(), "station", "stations"));
        CheckItem::judged("AIS traffic", Verdict::Passed, words)
    }

    fn heading_line(&self, at: Moment) -> CheckItem {
        let own = self.lookout.own(at);
        let what = "heading and COG";
        let Some(heading) = own.heading_deg else {
            return CheckItem::judged(what, Verdict::Failed, "no heading is heard");
        };
        match own.sog_kn.zip(own.cog_deg).filter(|(sog, _)| *sog >= UNDER_WAY_KN) {
            None => {
                let words =
                    format!("heading {heading:.0}°; to be compared under way, above {UNDER_WAY_KN:.0} knots");
                CheckItem::judged(what, Verdict::NotTried, words)
            }
            Some((sog, cog)) => {
                let off = turn_deg(cog, heading);
                let outcome = if off.abs() <= HEADING_AGREES_DEG { Verdict::Passed } else { Verdict::Failed };
                let words = format!(
                    "heading {heading:.0}°, COG {cog:.0}° at {sog:.1} knots: {:.0}° apart",
                    off.abs()
                );
                CheckItem::judged(what, outcome, words)
            }
        }
    }

    fn order_lines(&self, at: Moment) -> Vec<CheckItem> {
        let mut lines = Vec::new();
        let bad = self.board.built_in(BuiltIn::OrdersNotLoaded, terms::Subject::Lookout);
        let view = self.view(at);
        let all = self.board.possible(&view);
        lines.push(match bad {
            Some(a) => {
                let why = self.board.words(a, &view).written;
                CheckItem::judged("orders loaded", Verdict::Failed, tidy(&why, 300))
            }
            None => {
                let words = format!("{} from {}", count(all.len(), "order", "orders"), self.orders_from());
                CheckItem::judged("orders loaded", Verdict::Passed, words)
            }
        });
        let mut good = 0;
        for order in &all {
            let what = format!("order {}", order.name);
            let rests = if order.in_force { "" } else { "; it does not apply as things are declared" };
            if !order.missing.is_empty() && order.in_force {
                let words = format!("cannot be judged: {} not known", order.missing.join(", "));
                lines.push(CheckItem::judged(what, Verdict::Failed, words));
            } else if !order.missing.is_empty() {
                let words = format!("{} not known{rests}", order.missing.join(", "));
                lines.push(CheckItem::judged(what, Verdict::NotTried, words));
            } else if order.no_target {
                let words = format!("no target is heard to judge it by{rests}");
                lines.push(CheckItem::judged(what, Verdict::NotTried, words));
            } else {
                good += 1;
            }
        }
        if good > 0 {
            let words = format!("{good} of {} can be judged with the data at hand", all.len());
            lines.push(CheckItem::judged("orders judged", Verdict::Passed, words));
        }
        lines
    }

    /// The state of a beacon; `None` for anything else.
    fn beacon_line(&self, asked: &Asked, at: Moment) -> Option<CheckItem> {
        if asked.part != Part::BeaconOf {
            return None;
        }
        let Some(mmsi) = asked.beacon else {
            return Some(CheckItem::judged(
                asked.what.clone(),
                Verdict::NotTried,
                "boat.toml names no beacon",
            ));
        };
        let tests = self.lookout.tests_of(mmsi);
        let Some(last) = tests.last() else {
            return Some(CheckItem::judged(
                asked.what.clone(),
                Verdict::NotTried,
                format!("{mmsi} never heard in test"),
            ));
        };
        let when = last.utc.map_or_else(|| format!("{} ago", span(at.since(last.at))), |u| u.to_string());
        let range = last.range_nm.map_or(String::new(), |r| format!(", {r:.2} nm off"));
        Some(if self.departure.began.is_some_and(|began| last.at >= began) {
            CheckItem::judged(
                asked.what.clone(),
                Verdict::Passed,
                format!("{mmsi} heard in test {when}{range}"),
            )
        } else {
            CheckItem::judged(
                asked.what.clone(),
                Verdict::NotTried,
                format!("{mmsi} last heard in test {when}{range}"),
            )
        })
    }
}

fn feed_line(ear: &Ear, at: Moment) -> CheckItem {
    let what = format!("feed {}", ear.name);
    let Some(heard) = ear.heard else { return CheckItem::judged(what, Verdict::Failed, "never heard") };
    let silent_after = ear.silence().unwrap_or(Duration::MAX);
    if ear.silent || ear.closed || at.since(heard) >= silent_after {
        return CheckItem::judged(what, Verdict::Failed, format!("silent for {}", span(at.since(heard))));
    }
    let pace = ear.pace.now(at);
    if pace.ais_only {
        let words = "heard; only AIS comes by it, whose rate follows the traffic";
        return CheckItem::judged(what, Verdict::Passed, words);
    }
    let usual = pace.kept.or_else(|| pace.median());
    let (Some(usual), Some(now)) = (usual, pace.minutes.back()) else {
        let words = "heard, but not yet for long enough to know its usual rate";
        return CheckItem::judged(what, Verdict::NotTried, words);
    };
    let words = format!("{now} sentences in the last minute, {usual:.0} as a rule");
    // A wire that loses every other sentence, or brings everything twice, has changed.
    let good = (0.5..=2.0).contains(&(f64::from(*now) / usual));
    CheckItem::judged(what, if good { Verdict::Passed } else { Verdict::Failed }, words)
}

#[cfg(test)]
mod tests;
