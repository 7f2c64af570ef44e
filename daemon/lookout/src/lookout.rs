//! The lookout: takes in what the sentences say, keeps the picture, reports what changed.

mod at_anchor;
mod distress;
mod plan;

use crate::anchor::Anchor;
use crate::casualty::{Casualties, OwnContext, TestHeard, is_test};
use crate::hearing::{self, Expected, Hearing as Proof, TooThin};
use crate::kind::Kind;
use crate::own::{Hearing, OwnVessel, ShipsHeard, Trouble};
use crate::plotter::Plotter;
use crate::radar::Plots;
use crate::source::Source;
use crate::table::Table;
use crate::target::Target;
use crate::utc::UtcKeeper;
use crate::words::{Propulsion, Visibility};
use crate::{Finding, Settings, light};
use distress::Looked;
use sentence::ais::AisReport;
use sentence::{Fix, Report, SentTime};
use std::collections::BTreeMap;
use std::time::Duration;
use terms::{FeedId, Mmsi, Moment, Quantity, Subject, Utc, UtcSource, assert_ahead, soonest};

/// Feeds whose last sentence is kept.
const FEEDS_MAX: usize = 256;
/// Findings waiting to be taken; any beyond are dropped (the daemon takes them after every sentence).
const FINDINGS_MAX: usize = 100_000;
/// A feed that has sent anything within this time is speaking.
const FEED_SPEAKS_WITHIN: Duration = Duration::from_secs(60);
/// A class A ship nearer than this, in miles, and under way at this speed or more, in knots, is heard by any sound receiver:
/// they reach several times as far (common practice).
const CLASS_A_HEARD_NM: f64 = 6.0;
const UNDER_WAY_KN: f64 = 3.0;
/// How often own track, wind and current are recorded for the casualties: the back-track keeps a point every two
/// seconds.
const FOLLOWED_EVERY: Duration = Duration::from_secs(1);
/// How often to report that there are more targets than can be kept.
const FULL_TOLD_EVERY: Duration = Duration::from_secs(3600);
/// How often the sun is looked at.
const SUN_EVERY: Duration = Duration::from_secs(30);

/// A feed as it is kept.
#[derive(Debug, Clone, Default)]
pub(crate) struct FeedKept {
    pub heard: Option<Moment>,
    pub health: Option<(&'static str, Moment)>,
}

/// The lookout.
#[derive(Debug, Clone)]
pub struct Lookout {
    pub(crate) settings: Settings,
    pub(crate) own: OwnVessel,
    pub(crate) own_mmsi: Option<Mmsi>,
    pub(crate) table: Table,
    pub(crate) feeds: BTreeMap<FeedId, FeedKept>,
    pub(crate) findings: Vec<Finding>,
    pub(crate) plots: Plots,
    pub(crate) declared: (Option<Propulsion>, Option<Visibility>),
    pub(crate) sun: Option<(Moment, bool)>,
    pub(crate) anchor: Anchor,
    plotter: Plotter,
    ships: ShipsHeard,
    utc: UtcKeeper,
    casualties: Casualties,
    pub(crate) looked: Looked,
    pub(crate) proof: Proof,
    /// When it last reported that there are more targets than can be kept.
    full_told: Option<Moment>,
    /// When the casualties last got own vessel's data.
    followed: Option<Moment>,
    had_motion: bool,
    /// Until when the anchor's swinging has been looked after.
    advanced: Moment,
}

impl Lookout {
    /// A lookout that has seen nothing yet.
    pub fn new(settings: Settings) -> Self {
        Self {
            own: OwnVessel::new(),
            own_mmsi: settings.own_mmsi,
            utc: UtcKeeper::default(),
            table: Table::new(settings.targets_max),
            casualties: Casualties::new(settings.crew.clone()),
            looked: Looked::default(),
            proof: Proof::new(settings.ais_antenna_m),
            feeds: BTreeMap::new(),
            findings: Vec::new(),
            plots: Plots::default(),
            declared: (None, None),
            sun: None,
            anchor: Anchor::default(),
            plotter: Plotter::new(),
            ships: ShipsHeard::default(),
            full_told: None,
            followed: None,
            had_motion: false,
            advanced: Moment(i64::MIN),
            settings,
        }
    }

    /// The boat's particulars it was given.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Takes the content of a feed's sentence, at the moment it came.
    pub fn hear(&mut self, at: Moment, feed: FeedId, report: &Report) {
        self.hear_from(at, Source::of(feed), report);
    }

    /// The same, if the device behind it is also known.
    pub fn hear_from(&mut self, at: Moment, source: Source, report: &Report) {
        self.looked.forget();
        if let Some(feed) = self.feed_kept(source.feed) {
            feed.heard = Some(at);
            self.casualties.listen_to(source.feed);
            self.findings.push(Finding::Changed(Subject::Feed(source.feed), Quantity::Sentences));
        }
        match report {
            Report::Ais(ais) => self.hear_ais(at, source, ais),
            Report::RadarPlot(plot) => self.hear_plot(at, source, plot),
            Report::Time { utc } => {
                if let Some(utc) = utc {
                    self.hear_time(at, source.feed, SentTime::Utc(*utc));
                }
            }
            _ => {
                if let Report::Fix(fix) = report {
                    self.hear_fix(at, source.feed, fix);
                }
                let utc = self.utc.utc(at).map(|u| u.0);
                let hearing = Hearing::new(at, source, utc, &self.settings, &mut self.findings);
                self.own.hear(hearing, report);
                self.join_returned();
                self.look_at_anchor(at);
                self.hear_plan(at, source, report);
                let of_distress = matches!(
                    report,
                    Report::Overboard(_) | Report::SelectiveCall(_) | Report::CallExpansion(_)
                );
                // Own track, wind and current are followed all the time: somebody may have fallen before it is known.
                if of_distress || self.followed.is_none_or(|then| at.since(then) >= FOLLOWED_EVERY) {
                    self.followed = Some(at);
                    let own = self.context(at);
                    self.casualties.follow(at, &own);
                    self.casualties.hear(at, report, &own);
                    self.gather_news();
                }
            }
        }
        self.notice_motion(at);
        self.findings.truncate(FINDINGS_MAX);
    }

    /// Sets the computer's clock: UTC until satellites give it, and then a witness to theirs.
    pub fn system_utc(&mut self, at: Moment, utc: Utc) {
        self.looked.forget();
        self.utc.hint(at, utc);
    }

    /// Takes UTC by satellite at an earlier watch's last sign of life: it is hardly earlier now.
    pub fn remember_utc(&mut self, last_sign: Utc) {
        self.looked.forget();
        self.utc.remember(last_sign);
    }

    /// When another station was last heard by AIS, beacons aside; `None` before the first.
    pub fn ais_heard(&self) -> Option<Moment> {
        self.ships.last_heard()
    }

    /// UTC at a moment, and its source.
    pub fn utc(&self, at: Moment) -> Option<(Utc, UtcSource)> {
        self.utc.utc(at)
    }

    /// UTC at a moment; `None` also where only the computer's clock gives it and cannot be right.
    pub fn possible_utc(&self, at: Moment) -> Option<Utc> {
        self.utc.possible(at, &self.settings)
    }

    /// What is doubtful about the time, in words that name both clocks; `None` while they agree.
    pub fn time_in_doubt(&self, at: Moment) -> Option<String> {
        self.utc.doubt(at, &self.settings)
    }

    /// How a feed is doing, as the daemon sees it: one of the words of `Quantity::Health`.
    pub fn feed_health(&mut self, at: Moment, feed: FeedId, health: &'static str) {
        if let Some(kept) = self.feed_kept(feed) {
            kept.health = Some((health, at));
            self.findings.push(Finding::Changed(Subject::Feed(feed), Quantity::Health));
        }
    }

    fn feed_kept(&mut self, feed: FeedId) -> Option<&mut FeedKept> {
        let room = self.feeds.len() < FEEDS_MAX || self.feeds.contains_key(&feed);
        room.then(|| self.feeds.entry(feed).or_default())
    }

    /// A receiver without a fix may give any time.
    fn hear_fix(&mut self, at: Moment, feed: FeedId, fix: &Fix) {
        let says_nothing = *fix == Fix::default();
        if fix.position.is_some() || says_nothing {
            self.utc.fix(at, feed, !says_nothing);
        }
        if let Fix { time: Some(time), position: Some(_), .. } = fix {
            self.hear_time(at, feed, *time);
        }
    }

    fn hear_time(&mut self, at: Moment, feed: FeedId, time: SentTime) {
        if let Some(text) = self.utc.hear(at, feed, time, &self.settings) {
            self.findings.push(Finding::Noted { subject: Subject::Feed(feed), text });
        }
    }

    fn hear_ais(&mut self, at: Moment, source: Source, report: &AisReport) {
        if report.own_vessel {
            if self.own_mmsi.is_none() && self.settings.own_mmsi.is_none() && !report.mmsi.is_beacon() {
                self.own_mmsi = Some(report.mmsi);
                let text = format!("own identity learnt from own AIS transmitter: {}", report.mmsi);
                self.findings.push(Finding::Noted { subject: Subject::OwnVessel, text });
            }
            let utc = self.utc.utc(at).map(|u| u.0);
            let hearing = Hearing::new(at, source, utc, &self.settings, &mut self.findings);
            self.own.hear_transmitter(hearing, report, self.own_mmsi);
            self.join_returned();
            self.look_at_anchor(at);
            return;
        }
        if self.own_mmsi == Some(report.mmsi) {
            return;
        }
        self.proof.listens(at, report.mmsi);
        // There are many ordinary ships: own vessel is worked out in full for beacons only.
        let beacon =
            report.mmsi.is_beacon() || self.settings.crew.iter().any(|c| c.mmsi == Some(report.mmsi));
        let own = if beacon {
            self.context(at)
        } else {
            OwnContext { mmsi: self.own_mmsi, ..OwnContext::default() }
        };
        if beacon && is_test(report) {
            self.proof.beacon_test(at, own.position_at(at), report.mmsi, report.position);
            self.looked.forget();
        }
        let taken = self.casualties.hear_ais(at, report, &own);
        self.gather_news();
        if !taken {
            self.ships.hear(at, source.feed, report.mmsi);
            self.own.weigh(at, Trouble::ShipsSilent, None, &mut self.findings);
            let kind = Kind::of(report.mmsi, report.message, false, &self.settings);
            self.hear_report(at, source, kind, report);
        }
    }

    /// No ship is heard though one should be: the receiver or its antenna is at fault. A silent feed is reported as such.
    /// Where it is not known how far off ships are, that several were heard a few minutes ago, and none now while their feed
    /// still speaks, must do.
    fn look_for_ships(&mut self, at: Moment) {
        if let Some((last, feed)) = self.ships.should_look(at)
            && !self.is_reported(feed)
            && let Some((name, range_nm)) = self.should_be_heard(at)
        {
            let minutes = at.since(last).as_secs() / 60;
            let text = format!(
                "no ship heard for {minutes} min; {name} should be {range_nm:.1} nm off by now, where class A is heard"
            );
            self.ships.deaf = Some(text);
        }
        let placed = self.own.has_motion(at);
        if let Some((last, feed)) = self.ships.fell_silent(at).filter(|_| !placed) {
            let spoke = self.feeds.get(&feed).and_then(|f| f.heard);
            if spoke.is_some_and(|h| at.since(h) <= FEED_SPEAKS_WITHIN) {
                let minutes = at.since(last).as_secs() / 60;
                let text = format!("no ship heard for {minutes} min, where several were heard just before");
                self.ships.deaf = Some(text);
            }
        }
        self.own.weigh(at, Trouble::ShipsSilent, self.ships.deaf.clone(), &mut self.findings);
    }

    /// Whether a feed's failure is reported as its own.
    fn is_reported(&self, feed: FeedId) -> bool {
        let health = self.feeds.get(&feed).and_then(|f| f.health);
        matches!(health, Some(("silent" | "closed", _)))
    }

    /// The nearest class A ship under way that by her last course and speed is so near by now that any sound receiver hears
    /// her, and no further off than where she was heard; with her range in miles.
    fn should_be_heard(&self, at: Moment) -> Option<(String, f64)> {
        let own = self.own.motion(at)?.0;
        let expected = self.table.iter().filter_map(|t| {
            let r = t.report.filter(|_| t.kind.is_ship() && !t.class_b)?;
            let (sog_kn, cog_deg) = r.sog_kn.zip(r.cog_deg).filter(|(sog, _)| *sog >= UNDER_WAY_KN)?;
            let heard_nm = r.position.range_and_bearing(own.carried(r.at).position).0;
            let now = r.position.at(cog_deg, sog_kn * at.since(r.at).as_secs_f64() / 3600.0);
            let range_nm = now.range_and_bearing(own.carried(at).position).0;
            (range_nm <= CLASS_A_HEARD_NM.min(heard_nm)).then_some((t.mmsi, range_nm))
        });
        let (mmsi, range_nm) = expected.min_by(|a, b| a.1.total_cmp(&b.1))?;
        Some((self.name_of(Subject::Target(mmsi)), range_nm))
    }

    /// Adds a target that has been heard and judged, if there is a place for it; another may have to make room.
    fn insert_target(&mut self, target: Target) -> bool {
        let (subject, at) = (Subject::Target(target.mmsi), target.heard);
        let taken = self.table.insert(target);
        if let Ok(Some(gone)) = taken {
            self.findings.push(Finding::Gone(Subject::Target(gone)));
        }
        let full = !matches!(taken, Ok(None));
        if full && self.full_told.is_none_or(|then| at.since(then) >= FULL_TOLD_EVERY) {
            self.full_told = Some(at);
            let text = format!(
                "more than {} targets: each feed has a fair share, and the least dangerous of it are dropped",
                self.settings.targets_max
            );
            self.findings.push(Finding::Noted { subject: Subject::OwnVessel, text });
        }
        if taken.is_ok() {
            self.findings.push(Finding::Changed(subject, Quantity::Identity));
            self.findings.push(Finding::Changed(subject, Quantity::Kind));
            self.findings.push(Finding::Changed(Subject::OwnVessel, Quantity::TargetCount));
        }
        taken.is_ok()
    }

    /// Takes a report of a target, and judges it. One not known yet, of that kind, needs a place first.
    pub(crate) fn hear_report(&mut self, at: Moment, source: Source, kind: Kind, report: &AisReport) {
        let (mmsi, settings) = (report.mmsi, &self.settings);
        let hear = |t: &mut Target| t.hear(at, source.feed, report, settings);
        let changes = match self.table.hear(at, source.feed, mmsi, hear) {
            Some(changes) => changes,
            None => {
                let mut new = Target::new(at, source.feed, mmsi, kind);
                let changes = hear(&mut new);
                new.danger = self.judgement(at, &new).danger(&new);
                changes.filter(|_| self.insert_target(new))
            }
        };
        let Some(changes) = changes else { return };
        if let (18 | 19, Some(position)) = (report.message, report.position) {
            let here = self.own.fix(at).map(|f| f.0);
            self.proof.class_b(at, here, mmsi, position, report.sog_kn.zip(report.cog_deg));
        }
        for q in changes {
            self.findings.push(Finding::Changed(Subject::Target(mmsi), q));
        }
        self.judge(at, mmsi);
    }

    /// Own vessel's propulsion and the visibility, as the watch declares them; until declared, no rule of the road is
    /// named.
    pub fn declare(&mut self, propulsion: Option<Propulsion>, visibility: Option<Visibility>) {
        self.declared = (propulsion, visibility);
    }

    /// When own place and motion become known, every target is due for a judgement.
    fn notice_motion(&mut self, at: Moment) {
        let has_motion = self.own.has_motion(at);
        if has_motion && !self.had_motion {
            let all: Vec<Mmsi> = self.table.iter().map(|t| t.mmsi).collect();
            for mmsi in all {
                self.table.change(mmsi, |t| t.due = t.due.min(at));
            }
        }
        self.had_motion = has_motion;
    }

    /// Runs every timer due by then.
    pub fn advance(&mut self, at: Moment) {
        self.looked.forget();
        self.own.advance(at, &self.settings, &mut self.findings);
        if self.anchor.ends().is_some_and(|end| end > self.advanced && end <= at) {
            self.anchor_changed();
        }
        self.advanced = self.advanced.max(at);
        self.notice_motion(at);
        if self.sun.is_none_or(|(then, _)| at.since(then) >= SUN_EVERY) {
            self.look_at_sun(at);
        }
        // Each judgement sets the target's next one later than `at`; at the end of time it cannot, so one round of
        // the table is enough.
        for _ in 0..self.table.len() {
            let Some((due, mmsi)) = self.table.next_due() else { break };
            if due > at {
                break;
            }
            self.judge(at, mmsi);
        }
        self.look_for_ships(at);
        self.own.weigh(at, Trouble::TimesDiffer, self.utc.doubt(at, &self.settings), &mut self.findings);
        self.proof.advance(at, self.own.fix(at).map(|f| f.0));
        self.proof.refresh(at);
        if self.plotter.ends().is_some_and(|end| end <= at) {
            self.follow_plan(at);
        }
        self.advance_casualties(at);
        self.findings.truncate(FINDINGS_MAX);
        assert_ahead(at, self.wakes());
    }

    fn look_at_sun(&mut self, at: Moment) {
        let here_and_now = self.utc(at).zip(self.own.fix(at));
        let Some(up) = here_and_now.and_then(|((utc, _), (position, _))| light::is_up(utc, position)) else {
            // The last sighting stays, but the timer moves on: a wake-up in the past would never end.
            if let Some((then, _)) = &mut self.sun {
                *then = at;
            }
            return;
        };
        if self.sun.is_none_or(|(_, was)| was != up) {
            self.findings.push(Finding::Changed(Subject::OwnVessel, Quantity::Sun));
        }
        self.sun = Some((at, up));
    }

    /// When it next wants to be advanced.
    pub fn next_wake(&self) -> Option<Moment> {
        soonest(self.wakes())
    }

    /// The same of each of its parts.
    #[inline]
    fn wakes(&self) -> [(&'static str, Option<Moment>); 8] {
        [
            ("own vessel", self.own.next_wake()),
            ("targets", self.table.next_due().map(|(due, _)| due)),
            ("sun", self.sun.map(|(then, _)| then + SUN_EVERY)),
            ("ships heard", soonest([("", self.ships.silent_at()), ("", self.ships.look_at())])),
            ("casualties", self.casualties.next_wake()),
            ("proof of hearing", self.proof.next_wake()),
            ("plan", self.plotter.ends()),
            ("anchor", self.anchor.ends().filter(|end| *end > self.advanced)),
        ]
    }

    /// Findings since the last call, in order.
    pub fn take_findings(&mut self) -> Vec<Finding> {
        std::mem::take(&mut self.findings)
    }

    /// Adds the findings since the last call to a list that is reused.
    pub fn take_findings_into(&mut self, findings: &mut Vec<Finding>) {
        findings.append(&mut self.findings);
    }

    /// Troubles of own instruments that were reported and have not ended.
    pub fn troubles(&self) -> Vec<Trouble> {
        self.own.troubles().collect()
    }

    /// Tests heard of a beacon, oldest first.
    pub fn tests_of(&self, mmsi: Mmsi) -> Vec<TestHeard> {
        self.casualties.tests_of(mmsi)
    }

    /// How far off a low beacon can be expected to be heard.
    ///
    /// # Errors
    /// Why nothing can be said.
    pub fn low_beacon(&self) -> Result<Expected, TooThin> {
        self.proof.expected()
    }

    /// What was heard and what was not, to survive a restart.
    pub fn keep_hearing(&self) -> hearing::Kept {
        self.proof.keep()
    }

    /// Takes up what an earlier run left of it.
    pub fn take_up_hearing(&mut self, at: Moment, kept: hearing::Kept) {
        self.looked.forget();
        self.proof.take_up(at, kept);
    }

    /// The casualties themselves, for questions their states do not answer.
    pub fn cases(&self) -> &Casualties {
        &self.casualties
    }
}
