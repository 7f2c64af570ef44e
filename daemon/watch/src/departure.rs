//! The departure check: what the watch can judge by itself, what a person has told, and the sheet of both.

use super::{Ear, Watch};
use boat::{Boat, Means, Vessel};
use record::words::{count, one_line};
use record::{ActError, Asked, CheckItem, Date, DepartureAct, DepartureSheet, Entry, Part, Verdict, tally};
use rules::BuiltIn;
use sentence::Report;
use sentence::ais::AisReport;
use std::collections::{BTreeMap, VecDeque};
use std::time::Duration;
use terms::{Mmsi, Moment, UtcSource, span, turn_deg};

/// Lines that people have told, at most; the most there can be to ask for is less.
const MOST_TOLD: usize = 256;
/// A press of the button that is tried counts as a try for so long after it was last asked for: whoever waits for it
/// asks again and again, and once nobody waits the button is what it was.
const TRIED_WITHIN: Duration = Duration::from_secs(3);
/// A fix older than this is none to leave with.
const FIX_AGE_S: f64 = 10.0;
/// Own reports are sent at least every three minutes, also at anchor (ITU-R M.1371-5 table 1, from memory): two of
/// them and some seconds.
const OWN_REPORTS_WITHIN: Duration = Duration::from_secs(370);
/// Traffic heard within this counts.
const TRAFFIC_WITHIN_S: f64 = 600.0;
/// Faster than this she is under way for the compass: below, the course over ground wanders.
const UNDER_WAY_KN: f64 = 3.0;
/// Heading and course over ground may differ by so much: leeway and a cross current (own choice).
const HEADING_AGREES_DEG: f64 = 20.0;
/// Dimensions may differ by so much: the transmitter has whole metres.
const DIMENSIONS_AGREE_M: f64 = 1.0;
/// Minutes of a feed that are counted, and full ones of this run that tell its usual rate where none is kept.
const MINUTES: usize = 60;
const MINUTES_TELL: usize = 10;
const MINUTE: Duration = Duration::from_secs(60);

/// What the watch keeps for the departure check.
#[derive(Debug)]
pub(super) struct Departure {
    asked: Vec<Asked>,
    pub vessel: Vessel,
    began: Option<Moment>,
    told: Vec<CheckItem>,
    /// The button that is tried, and until when.
    trying: Option<(String, Moment)>,
    /// Own transmitter's last report.
    own: Option<(Moment, Mmsi)>,
    /// To bow, stern, port, starboard, as own transmitter says.
    dimensions: Option<[u16; 4]>,
}

/// How many sentences a feed brings a minute. AIS reports do not count: their number follows the traffic.
#[derive(Debug, Clone, Default)]
pub(super) struct Pace {
    minute_began: Option<Moment>,
    counted: u32,
    minutes: VecDeque<u32>,
    /// What it brought in earlier runs.
    kept: Option<f64>,
    ais_only: bool,
}

impl Pace {
    /// Takes a sentence.
    pub fn hear(&mut self, at: Moment, report: &Report) {
        self.roll(at);
        if matches!(report, Report::Ais(_)) {
            self.ais_only |= self.minutes.iter().all(|n| *n == 0) && self.counted == 0;
        } else {
            self.ais_only = false;
            self.counted = self.counted.saturating_add(1);
        }
    }

    /// As it is at a moment at which nothing came.
    fn now(&self, at: Moment) -> Self {
        let mut now = self.clone();
        now.roll(at);
        now
    }

    fn roll(&mut self, at: Moment) {
        let began = *self.minute_began.get_or_insert(at);
        let full = (at.since(began).as_secs() / MINUTE.as_secs()) as usize;
        if full == 0 {
            return;
        }
        // A gap longer than all that is kept leaves nothing but silence.
        for n in 0..full.min(MINUTES) {
            self.minutes.push_back(if n == 0 { self.counted } else { 0 });
        }
        while self.minutes.len() > MINUTES {
            self.minutes.pop_front();
        }
        self.counted = 0;
        self.minute_began = Some(began + MINUTE * u32::try_from(full).unwrap_or(u32::MAX));
    }

    /// The median of the minutes in which it spoke at all.
    fn median(&self) -> Option<f64> {
        let mut spoke: Vec<u32> = self.minutes.iter().copied().filter(|n| *n > 0).collect();
        spoke.sort_unstable();
        (spoke.len() >= MINUTES_TELL).then(|| f64::from(spoke[spoke.len() / 2]))
    }

    /// What is to be kept for the next run.
    fn usual(&self) -> Option<f64> {
        self.median().or(self.kept)
    }
}

impl Departure {
    /// What there is to ask for aboard a boat.
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

    /// Takes own transmitter's report.
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
        if self.told.len() < MOST_TOLD {
            self.told.push(line);
        }
        Ok(())
    }
}

/// A name or words of a person, on one line and not too long.
fn tidy(text: &str, most: usize) -> String {
    one_line(text).trim().chars().take(most).collect()
}

/// Numbers of what stands how, in words.
impl Watch {
    /// What is asked of the departure check. `outside`: lines about what the watch itself knows nothing of.
    ///
    /// # Errors
    /// When it asks for something that there is not.
    pub fn departure(
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
                // Once it was pressed, the next press is no try.
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

    /// How the departure check stands. Changes nothing.
    pub fn departure_look(&self, at: Moment, outside: Vec<CheckItem>) -> DepartureSheet {
        self.departure_told(at, self.sheet(at, outside), None)
    }

    /// A button was pressed. Says whether that was only its try in the departure check.
    pub fn is_tried(&mut self, at: Moment, button: &str) -> bool {
        let tried =
            self.departure.trying.as_ref().is_some_and(|(name, until)| name == button && at <= *until);
        if tried {
            self.departure.trying = None;
            let line = CheckItem::judged(format!("button {button}"), Verdict::Passed, "pressed");
            // The button was asked for, so its line is known.
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

    /// All lines as they stand, what is missing first.
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
                // A beacon that was heard after all was heard.
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
        match self.lookout.utc(at) {
            Some((utc, UtcSource::Satellite)) => {
                CheckItem::judged("clock", Verdict::Passed, format!("{utc}, by satellite"))
            }
            Some((utc, UtcSource::System)) => {
                let words = format!("{utc} by the computer's own clock; no satellite has told the time");
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
            let words = "own transmitter has not told them yet; it does every six minutes";
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
        let bad = self.board.alerts().find(|a| a.order == BuiltIn::OrdersNotLoaded.word());
        let view = self.view(at);
        let all = self.board.possible(&view);
        lines.push(match bad {
            Some(a) => {
                let why = self.board.words(a, &view).written;
                CheckItem::judged("orders loaded", Verdict::Failed, tidy(&why, 300))
            }
            None => {
                let words = format!("{} from {}", count(all.len(), "order", "orders"), self.orders_from);
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

    /// How a beacon stands; `None` for what is no beacon.
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

    /// What was heard of others and what was not, as JSON, to outlast a restart.
    pub fn kept_hearing(&self) -> String {
        // Numbers by numbers always have a form in JSON.
        serde_json::to_string(&self.lookout.keep_hearing()).unwrap_or_default()
    }

    /// Takes up what an earlier run left of that; what cannot be read is left.
    pub fn restore_hearing(&mut self, at: Moment, kept: &str) {
        if let Ok(kept) = serde_json::from_str(kept) {
            self.lookout.take_up_hearing(at, kept);
        }
    }

    /// The usual rates of the feeds, as JSON, to outlast a restart.
    pub fn usual_rates(&self) -> String {
        let rates: BTreeMap<&str, f64> =
            self.ears.iter().filter_map(|e| Some((e.name.as_str(), e.pace.usual()?))).collect();
        // Numbers by names always have a form in JSON.
        serde_json::to_string(&rates).unwrap_or_default()
    }

    /// Takes up the usual rates that an earlier run left; what cannot be read is left.
    pub fn restore_rates(&mut self, rates: &str) {
        let rates: BTreeMap<String, f64> = serde_json::from_str(rates).unwrap_or_default();
        for ear in &mut self.ears {
            ear.pace.kept = rates.get(&ear.name).copied().filter(|r| r.is_finite() && *r > 0.0);
        }
    }
}

fn feed_line(ear: &Ear, at: Moment) -> CheckItem {
    let what = format!("feed {}", ear.name);
    let Some(heard) = ear.heard else { return CheckItem::judged(what, Verdict::Failed, "never heard") };
    let silent_after = ear.silent_after.unwrap_or(Duration::MAX);
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
    // A wire that loses every other sentence, or brings everything twice, is not as it was.
    let good = (0.5..=2.0).contains(&(f64::from(*now) / usual));
    CheckItem::judged(what, if good { Verdict::Passed } else { Verdict::Failed }, words)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{FeedSetting, Numbers, Output};
    use sentence::ais::PositionSource;
    use sentence::encode;
    use sentence::{Fix, SentTime};
    use terms::{FeedId, Position, Utc};

    const BOAT: &str = "version = 1\n[vessel]\nname = \"Wendelin\"\nmmsi = \"211000001\"\ndimensions_m = [9, 3, 2, 2]\n\
        [[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n[[crew]]\nname = \"Bo\"\n\
        [[gear]]\nname = \"raft\"\ndue = \"2028-01\"\n\
        [[feed]]\nname = \"bus\"\ntcp = \"a:1\"\n[[feed]]\nname = \"ais\"\ntcp = \"a:2\"\n\
        [[signal]]\nname = \"horn\"\ncommand = [\"x\"]\n[[signal]]\nname = \"shore\"\nwebhook = \"http://a:1/\"\n\
        [[button]]\nname = \"rail\"\nline = { chip = \"/dev/gpiochip0\", line = 5 }\ndoes = \"overboard\"\n";
    const ORDERS: &str = "version = 1\n[[order]]\nname = \"fast\"\npriority = \"notice\"\nwhen = \"SOG is over 20 kn\"\n\
        [[order]]\nname = \"near\"\neach = \"target\"\npriority = \"notice\"\nwhen = \"range is under 0.1 nm\"\n\
        [[order]]\nname = \"deep\"\npriority = \"notice\"\nwhen = \"depth below transducer is over 9 m\"\n";
    const DAY: &str = "2026-11-01T02:00:00Z";

    /// What goes wrong at the quay.
    #[derive(Debug, Clone, Copy, PartialEq)]
    enum Fault {
        Nothing,
        BusSilent,
        BusHalf,
        NoFix,
        NoClock,
        Identity,
        Dimensions,
        TransmitterSilent,
        NoTraffic,
        HeadingOff,
        NoHeading,
        NoDepth,
        RaftOver,
        BeaconSilent,
    }

    /// A boat that has lain at the quay, then under way, for 13 minutes; the fault comes for the last two.
    fn quay(fault: Fault) -> Watch {
        let feeds = |b: &Boat| b.feeds.iter().map(FeedSetting::of).collect::<Vec<_>>();
        let boat = BOAT.replace("2028-01", if fault == Fault::RaftOver { "2026-01" } else { "2028-01" });
        let boat = boat::read("boat.toml", &boat).unwrap();
        let least = Utc::parse("2026-01-01T00:00:00Z");
        let mut w = Watch::new(Moment(0), &boat, &feeds(&boat), Numbers::default(), least);
        w.set_orders(Moment(0), rules::Orders::read("orders.toml", ORDERS).unwrap(), "orders.toml");
        let begin = Utc::parse(DAY).unwrap();
        let place = |s: i64| Position::new(48.0 + s as f64 * 2e-5, -5.0).unwrap();
        for s in 0..780i64 {
            let at = Moment(s * 1000);
            let late = s >= 640;
            let has = |f: Fault| fault == f && late;
            let mut bus = Vec::new();
            let utc = begin.plus_ms(s * 1000);
            if !has(Fault::NoFix) {
                let time = Some(SentTime::Utc(utc)).filter(|_| fault != Fault::NoClock);
                let position = Some(place(s));
                let fix = Fix { time, position, sog_kn: Some(4.3), cog_deg: Some(0.0), ..Fix::default() };
                bus.push(encode::rmc("GP", &fix));
            }
            if !has(Fault::NoHeading) && fault != Fault::NoHeading {
                bus.push(encode::hdt("HE", Some(if fault == Fault::HeadingOff { 40.0 } else { 4.0 })));
            }
            if fault != Fault::NoDepth {
                let depth = sentence::Depth { below_surface_m: Some(5.0), ..Default::default() };
                bus.push(encode::dbt("SD", &sentence::Depth { below_transducer_m: Some(5.0), ..depth }));
            }
            let bus_speaks = !has(Fault::BusSilent) && (!has(Fault::BusHalf) || s % 3 == 0);
            for line in bus.iter().filter(|_| bus_speaks) {
                w.hear(at, FeedId(0), line.as_bytes());
            }
            let mut ais = Vec::new();
            let report = |message: u8, mmsi: u32, own: bool| {
                let mut r = AisReport::new(message, 0, Mmsi::new(mmsi).unwrap());
                (r.own_vessel, r.position, r.sog_kn, r.cog_deg) = (own, Some(place(s)), Some(4.3), Some(0.0));
                r.position_source = Some(PositionSource::Fix);
                r
            };
            if s % 30 == 0 && fault != Fault::TransmitterSilent {
                let mmsi = if fault == Fault::Identity { 211_000_002 } else { 211_000_001 };
                ais.extend(encode::ais(&report(18, mmsi, true), "AI", 'A', 0));
                let mut still = report(24, mmsi, true);
                still.part = Some('B');
                let bow = if fault == Fault::Dimensions { 5 } else { 9 };
                (still.dimension_a_m, still.dimension_b_m) = (Some(bow), Some(3));
                (still.dimension_c_m, still.dimension_d_m) = (Some(2), Some(2));
                ais.extend(encode::ais(&still, "AI", 'A', 0));
            }
            if s % 10 == 0 && fault != Fault::NoTraffic {
                let mut ship = report(1, 230_000_001, false);
                ship.position = Position::new(48.1, -5.0).ok();
                ais.extend(encode::ais(&ship, "AI", 'A', 0));
            }
            if s == 700 && fault != Fault::BeaconSilent {
                let mut test = report(1, 972_000_001, false);
                test.nav_status = Some(15);
                ais.extend(encode::ais(&test, "AI", 'A', 0));
            }
            for line in &ais {
                w.hear(at, FeedId(1), line.as_bytes());
            }
            w.advance(at);
            if s == 650 {
                w.departure(at, DepartureAct::Begin, Vec::new()).unwrap();
            }
        }
        w.take_outputs();
        w
    }

    const END: Moment = Moment(780_000);

    fn lines(w: &mut Watch) -> BTreeMap<String, (Verdict, String)> {
        w.sheet(END, Vec::new()).into_iter().map(|l| (l.what, (l.verdict, l.words))).collect()
    }

    #[test]
    fn at_a_sound_boat_everything_that_the_lookout_can_judge_passes() {
        let mut w = quay(Fault::Nothing);
        let all = lines(&mut w);
        let open = ["sounder horn", "webhook shore", "button rail", "beacon of Bo"];
        for (what, (outcome, words)) in &all {
            let wanted = if open.contains(&what.as_str()) { Verdict::NotTried } else { Verdict::Passed };
            assert_eq!(*outcome, wanted, "{what}: {words}");
        }
        for what in
            ["feed bus", "feed ais", "own AIS transmitter", "heading and COG", "raft", "beacon of Ada"]
        {
            assert!(all.contains_key(what), "{what} is not in {all:?}");
        }
        let beacon = &all["beacon of Ada"].1;
        assert!(beacon.contains("2026-11-01T02:11:40.000Z, 0.00 nm off"), "{beacon}");
        assert!(all["feed bus"].1.contains("180 sentences in the last minute, 180 as a rule"), "{all:?}");
    }

    #[test]
    fn each_line_fails_when_what_it_tells_of_fails() {
        use Fault as F;
        use Verdict::{Failed, NotTried};
        for (fault, what, outcome, part) in [
            (F::BusSilent, "feed bus", Failed, "silent for 2 min"),
            (F::BusHalf, "feed bus", Failed, "60 sentences in the last minute, 180 as a rule"),
            (F::NoFix, "fix", Failed, "30 s old"),
            (F::NoClock, "clock", Failed, "not known"),
            (F::Identity, "own AIS transmitter", Failed, "sends as 211000002; boat.toml says 211000001"),
            (F::Dimensions, "own AIS dimensions", Failed, "it sends bow 5"),
            (F::TransmitterSilent, "own AIS transmitter", Failed, "not heard"),
            (F::TransmitterSilent, "own AIS dimensions", NotTried, "has not told them"),
            (F::NoTraffic, "AIS traffic", Failed, "nobody heard"),
            (F::NoTraffic, "order near", NotTried, "no target is heard"),
            (F::HeadingOff, "heading and COG", Failed, "40° apart"),
            (F::NoHeading, "heading and COG", Failed, "no heading"),
            (F::NoDepth, "order deep", Failed, "depth below transducer not known"),
            (F::RaftOver, "raft", Failed, "ran out on 2026-01-31"),
            (F::NoClock, "raft", NotTried, "good until"),
            (F::BeaconSilent, "beacon of Ada", NotTried, "never heard"),
        ] {
            let all = lines(&mut quay(fault));
            let (stands, words) = all.get(what).unwrap_or_else(|| panic!("{fault:?}: no {what}: {all:?}"));
            assert_eq!(*stands, outcome, "{fault:?} {what}: {words}");
            assert!(words.contains(part), "{fault:?} {what}: {words}");
        }
    }

    #[test]
    fn orders_that_were_not_loaded_fail() {
        let mut w = quay(Fault::Nothing);
        let why = Some("orders.toml:3:1: what is this".to_owned());
        w.trouble(END, BuiltIn::OrdersNotLoaded, terms::Subject::Lookout, why);
        let (outcome, words) = lines(&mut w)["orders loaded"].clone();
        assert_eq!((outcome, words.as_str()), (Verdict::Failed, "orders.toml:3:1: what is this"));
    }

    #[test]
    fn what_people_tell_is_kept_until_the_next_departure_and_goes_into_the_logbook_with_what_is_missing_first()
     {
        let mut w = quay(Fault::Nothing);
        let tell = |w: &mut Watch, what: &str, outcome| {
            let (what, words) = (what.to_owned(), "said so".to_owned());
            let by = "Ada\n".to_owned();
            w.departure(END, DepartureAct::Item { what, verdict: outcome, words, by }, Vec::new())
        };
        tell(&mut w, "sounder horn", Verdict::Failed).unwrap();
        tell(&mut w, "webhook shore", Verdict::Passed).unwrap();
        assert!(tell(&mut w, "sounder bell", Verdict::Passed).is_err(), "there is none");
        let told = w.departure(END, DepartureAct::Close { by: "Ada".into() }, Vec::new()).unwrap();
        assert_eq!(told.items[0].what, "sounder horn");
        assert_eq!(told.items[0].by, "Ada");
        let entry = w.take_outputs().into_iter().find_map(|o| match o {
            Output::Entry(_, e) => Some(e),
            _ => None,
        });
        let entry = entry.unwrap();
        assert_eq!((entry.kind(), entry.who()), ("departure check", Some("Ada")));
        let begins = "Departure check: 1 failed, 2 not tried, 13 passed. Failed: sounder horn. Not tried: button rail, beacon of Bo";
        assert_eq!(entry.text(), begins);
        w.departure(END, DepartureAct::Begin, Vec::new()).unwrap();
        assert_eq!(lines(&mut w)["sounder horn"].0, Verdict::NotTried);
    }

    #[test]
    fn a_button_is_tried_once_and_only_while_somebody_waits_for_it() {
        let mut w = quay(Fault::Nothing);
        assert!(!w.is_tried(END, "rail"), "nobody asked");
        let ask = |w: &mut Watch, at| {
            w.departure(at, DepartureAct::Button { name: "rail".into() }, Vec::new()).map(drop)
        };
        ask(&mut w, END).unwrap();
        assert!(!w.is_tried(END, "other"));
        assert!(!w.is_tried(END + Duration::from_secs(4), "rail"), "nobody waits any more");
        ask(&mut w, END).unwrap();
        assert!(w.is_tried(END + Duration::from_secs(2), "rail"));
        assert_eq!(lines(&mut w)["button rail"].0, Verdict::Passed);
        ask(&mut w, END).unwrap();
        assert!(!w.is_tried(END, "rail"), "the second press is a real one");
        assert!(w.departure(END, DepartureAct::Button { name: "mast".into() }, Vec::new()).is_err());
    }

    #[test]
    fn the_usual_rate_outlasts_a_restart() {
        let w = quay(Fault::Nothing);
        let kept = w.usual_rates();
        assert_eq!(kept, "{\"bus\":180.0}", "AIS has none: it follows the traffic");
        let mut pace = Pace { kept: Some(180.0), ..Pace::default() };
        for s in 0..130 {
            let fix = Report::Fix(Fix::default());
            pace.hear(Moment(s * 1000), &fix);
        }
        assert_eq!((pace.minutes.back(), pace.usual()), (Some(&60), Some(180.0)));
    }
}
