//! The lookout: takes what the sentences say, keeps the picture, tells what changed.

mod distress;

use crate::casualty::{Casualties, Known, OwnContext, RelativeTo, WindFrom};
use crate::kind::Kind;
use crate::motion::{Closest, Motion, Sight, closest};
use crate::own::{Hearing, OwnVessel};
use crate::source::Source;
use crate::state::{OwnState, TargetState};
use crate::table::Table;
use crate::target::{FORGOTTEN, Judgement, Target};
use crate::utc::UtcKeeper;
use crate::{Finding, Settings};
use sentence::ais::{AisReport, PositionSource};
use sentence::{Fix, FixQuality, Heading, Report, SentTime};
use std::collections::BTreeMap;
use std::time::Duration;
use terms::{FeedId, Mmsi, Moment, Position, Quantity, Reading, Subject, Utc, UtcSource, Value, turn_deg};

/// A target is judged anew so often without a new report.
const JUDGED_EVERY: Duration = Duration::from_secs(10);
/// The same for one that is near, or soon will be.
const JUDGED_NEAR_EVERY: Duration = Duration::from_secs(2);
/// A lost target, or one without a position, is looked at so often.
const LOOKED_AT_EVERY: Duration = Duration::from_secs(60);
/// Near: within this range, or closing to `CLOSE_NM` within `SOON_S`.
const NEAR_NM: f64 = 3.0;
const CLOSE_NM: f64 = 2.0;
const SOON_S: f64 = 15.0 * 60.0;
/// Feeds whose last sentence is kept.
const FEEDS_MAX: usize = 256;

/// The lookout.
#[derive(Debug, Clone)]
pub struct Lookout {
    settings: Settings,
    own: OwnVessel,
    own_mmsi: Option<Mmsi>,
    utc: UtcKeeper,
    table: Table,
    casualties: Casualties,
    feeds: BTreeMap<FeedId, Moment>,
    findings: Vec<Finding>,
    advanced: Moment,
    had_motion: bool,
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
            feeds: BTreeMap::new(),
            findings: Vec::new(),
            advanced: Moment(i64::MIN),
            had_motion: false,
            settings,
        }
    }

    /// Takes what a sentence of a feed says, at the moment at which it came.
    pub fn hear(&mut self, at: Moment, feed: FeedId, report: &Report) {
        self.hear_from(at, Source::of(feed), report);
    }

    /// The same, where the device behind it is known as well.
    pub fn hear_from(&mut self, at: Moment, source: Source, report: &Report) {
        if self.feeds.len() < FEEDS_MAX || self.feeds.contains_key(&source.feed) {
            self.feeds.insert(source.feed, at);
            self.findings.push(Finding::Changed(Subject::Feed(source.feed), Quantity::Sentences));
        }
        match report {
            Report::Ais(ais) => self.hear_ais(at, source, ais),
            Report::Time { utc: Some(utc) } => self.hear_time(at, source.feed, SentTime::Utc(*utc)),
            _ => {
                if let Report::Fix(Fix { time: Some(time), .. }) = report {
                    self.hear_time(at, source.feed, *time);
                }
                let mut hearing =
                    Hearing { at, source, settings: &self.settings, findings: &mut self.findings };
                self.own.hear(&mut hearing, report);
                let own = self.context(at);
                self.casualties.hear(at, report, &own);
                self.gather_news();
            }
        }
        self.notice_motion(at);
    }

    /// The computer's clock: UTC until satellites tell it.
    pub fn system_utc(&mut self, at: Moment, utc: Utc) {
        self.utc.hint(at, utc);
    }

    /// UTC at a moment, and who told it.
    pub fn utc(&self, at: Moment) -> Option<(Utc, UtcSource)> {
        self.utc.utc(at)
    }

    fn hear_time(&mut self, at: Moment, feed: FeedId, time: SentTime) {
        self.utc.hear(at, feed, time, self.settings.earliest_utc);
    }

    fn hear_ais(&mut self, at: Moment, source: Source, report: &AisReport) {
        if report.own_vessel {
            self.own_mmsi.get_or_insert(report.mmsi);
            if self.own_mmsi == Some(report.mmsi) {
                self.hear_own_transmitter(at, source, report);
            }
            return;
        }
        if self.own_mmsi == Some(report.mmsi) {
            return;
        }
        let own = self.context(at);
        let beacon = self.casualties.hear_ais(at, report, &own);
        self.gather_news();
        if beacon {
            return;
        }
        self.hear_target(at, report);
    }

    fn hear_own_transmitter(&mut self, at: Moment, source: Source, report: &AisReport) {
        let source = Source { transmitter: true, ..source };
        let quality = match report.position_source {
            Some(PositionSource::DeadReckoning) => Some(FixQuality::Estimated),
            Some(PositionSource::Manual) => Some(FixQuality::Manual),
            _ => Some(FixQuality::Autonomous),
        };
        let fix = Fix {
            position: report.position,
            sog_kn: report.sog_kn,
            cog_deg: report.cog_deg,
            quality,
            ..Fix::default()
        };
        let heading = Heading { true_deg: report.heading_deg.map(f64::from), ..Heading::default() };
        let mut hearing = Hearing { at, source, settings: &self.settings, findings: &mut self.findings };
        self.own.hear_fix(&mut hearing, &fix);
        self.own.hear_heading(&mut hearing, &heading);
    }

    fn hear_target(&mut self, at: Moment, report: &AisReport) {
        let mmsi = report.mmsi;
        if self.table.get(mmsi).is_none() {
            let kind = Kind::of(mmsi, report.message, &self.settings);
            if let Some(gone) = self.table.insert(Target::new(at, mmsi, kind)) {
                self.findings.push(Finding::Gone(Subject::Target(gone)));
            }
            self.findings.push(Finding::Changed(Subject::Target(mmsi), Quantity::Identity));
            self.findings.push(Finding::Changed(Subject::Target(mmsi), Quantity::Kind));
            self.findings.push(Finding::Changed(Subject::OwnVessel, Quantity::TargetCount));
        }
        let settings = &self.settings;
        let changes = self.table.change(mmsi, |t| t.hear(at, report, settings)).unwrap_or_default();
        for q in changes {
            self.findings.push(Finding::Changed(Subject::Target(mmsi), q));
        }
        self.judge(at, mmsi);
    }

    /// When own place and motion become known, every target waits for a judgement.
    fn notice_motion(&mut self, at: Moment) {
        let has_motion = self.own.motion(at).is_some();
        if has_motion && !self.had_motion {
            let all: Vec<Mmsi> = self.table.iter().map(|t| t.mmsi).collect();
            for mmsi in all {
                self.table.change(mmsi, |t| t.due = t.due.min(at));
            }
        }
        self.had_motion = has_motion;
    }

    /// Judges a target anew: how it lies, how close it will come, whether it is lost; sets its next judgement.
    fn judge(&mut self, at: Moment, mmsi: Mmsi) {
        let Some(target) = self.table.get(mmsi) else { return };
        if at.since(target.heard) > FORGOTTEN {
            self.table.remove(mmsi);
            self.findings.push(Finding::Gone(Subject::Target(mmsi)));
            self.findings.push(Finding::Changed(Subject::OwnVessel, Quantity::TargetCount));
            return;
        }
        let old = target.judged;
        let seen = self.sight(at, target).map(|s| (s.range_nm(), s.bearing_deg()));
        let new = Judgement { at, seen, closest: self.closest_of(at, target) };
        let lost = target.is_lost(at);
        let lost_at = target.report.map(|r| r.at + target.lost_after() + Duration::from_millis(1));
        let soon = new.closest.is_some_and(|c| c.cpa_nm <= CLOSE_NM && (0.0..=SOON_S).contains(&c.tcpa_s));
        let (rank, every) = match seen {
            Some((range_nm, _)) if range_nm <= NEAR_NM || soon => (3, JUDGED_NEAR_EVERY),
            Some(_) => (2, JUDGED_EVERY),
            None if target.report.is_some() => (1, JUDGED_EVERY),
            None => (0, LOOKED_AT_EVERY),
        };
        let old_seen = old.and_then(|j| j.seen);
        let differs = |of: fn(&Closest) -> f64| {
            old.and_then(|j| j.closest).map(|c| of(&c)) != new.closest.map(|c| of(&c))
        };
        let changes = [
            (Quantity::Range, old_seen.map(|s| s.0) != seen.map(|s| s.0)),
            (Quantity::Bearing, old_seen.map(|s| s.1) != seen.map(|s| s.1)),
            (Quantity::RelativeBearing, old_seen.map(|s| s.1) != seen.map(|s| s.1)),
            (Quantity::Cpa, differs(|c| c.cpa_nm)),
            (Quantity::Tcpa, differs(|c| c.tcpa_s)),
        ];
        self.findings.extend(
            changes.iter().filter(|(_, c)| *c).map(|(q, _)| Finding::Changed(Subject::Target(mmsi), *q)),
        );
        self.table.change(mmsi, |t| {
            t.judged = Some(new);
            t.rank = rank;
            t.lost = lost;
            t.due = lost_at.filter(|&l| l > at).map_or(at + every, |l| l.min(at + every));
        });
    }

    /// The closest point of approach; only ships have one.
    fn closest_of(&self, at: Moment, target: &Target) -> Option<Closest> {
        if !target.kind.is_ship() {
            return None;
        }
        Some(closest(&self.own.motion(at)?, &target.motion(at)?, at))
    }

    /// Runs every timer that is due by then.
    pub fn advance(&mut self, at: Moment) {
        for q in self.own.expired(self.advanced, at) {
            self.findings.push(Finding::Changed(Subject::OwnVessel, q));
        }
        self.advanced = self.advanced.max(at);
        self.advance_casualties(at);
        self.notice_motion(at);
        // Each judgement sets the target's next one later than `at`, so this ends after one round of the table.
        while let Some((due, mmsi)) = self.table.next_due() {
            if due > at {
                break;
            }
            self.judge(at, mmsi);
        }
    }

    /// When it wants to be advanced next.
    pub fn next_wake(&self) -> Option<Moment> {
        let own = self.own.next_wake(self.advanced);
        let target = self.table.next_due().map(|(due, _)| due);
        [own, target, self.casualties.next_wake()].into_iter().flatten().min()
    }

    /// What was found since this was last asked.
    pub fn take_findings(&mut self) -> Vec<Finding> {
        std::mem::take(&mut self.findings)
    }

    /// What is known of a quantity of a subject.
    pub fn reading(&self, at: Moment, subject: Subject, quantity: Quantity) -> Reading {
        match subject {
            Subject::OwnVessel if quantity == Quantity::TargetCount => {
                let count = self.table.len() as f64;
                Reading { value: Some(Value::Number(count)), heard: Some(at) }
            }
            Subject::OwnVessel => self.own.reading(at, quantity),
            Subject::Target(mmsi) => {
                self.table.get(mmsi).map(|t| self.target_reading(at, t, quantity)).unwrap_or_default()
            }
            Subject::Feed(feed) if quantity == Quantity::Sentences => {
                let heard = self.feeds.get(&feed).copied();
                Reading { value: heard.map(|_| Value::There), heard }
            }
            _ => Reading::default(),
        }
    }

    fn target_reading(&self, at: Moment, t: &Target, quantity: Quantity) -> Reading {
        use Quantity as Q;
        let number = |v: Option<f64>| v.map(Value::Number);
        let word = |v: Option<&str>| v.map(|w| Value::Word(w.to_owned()));
        let reported = t.report.map(|r| r.at);
        let fixed = self.own.motion(at).map(|m| m.at);
        // What needs both vessels is as old as the older of their reports.
        let both = reported.zip(fixed).map(|(a, b)| a.min(b));
        let met = |of: fn(&Closest) -> f64| number(self.closest_of(at, t).map(|c| of(&c)));
        let seen = || self.sight(at, t);
        let (value, heard) = match quantity {
            Q::Range => (number(seen().map(|s| s.range_nm())), both),
            Q::Bearing => (number(seen().map(|s| s.bearing_deg())), both),
            Q::RelativeBearing => (number(self.relative_bearing(at, seen()).map(|(deg, _)| deg)), both),
            Q::Cpa => (met(|c| c.cpa_nm), both),
            Q::Tcpa => (met(|c| c.tcpa_s), both),
            Q::TargetSog => (number(t.report.and_then(|r| r.sog_kn)), reported),
            Q::TargetCog => (number(t.report.and_then(|r| r.cog_deg)), reported),
            Q::Kind => (word(Some(t.kind.word())), Some(t.heard)),
            Q::ShipType => (word(t.ship_type_word()), Some(t.heard)),
            Q::Status => (word(t.status()), Some(t.heard)),
            Q::TargetLength => (number(t.length_m()), Some(t.heard)),
            Q::Name => (word(t.name.as_deref()), Some(t.heard)),
            Q::Identity => (Some(Value::Number(f64::from(t.mmsi.number()))), Some(t.heard)),
            Q::Report => (t.report.map(|_| Value::There), reported),
            _ => (None, None),
        };
        Reading { value, heard }
    }

    /// Where a target lies, both carried to now as far as their motion is known.
    fn sight(&self, at: Moment, t: &Target) -> Option<Sight> {
        let place = |m: Option<Motion>, last: Option<Position>| m.map(|m| m.carried(at).position).or(last);
        let own = place(self.own.motion(at), self.own.fix(at).map(|(p, _)| p))?;
        let target = place(t.motion(at), t.report.map(|r| r.position))?;
        Some(Sight::of(own, target))
    }

    fn relative_bearing(&self, at: Moment, sight: Option<Sight>) -> Option<(f64, RelativeTo)> {
        let bearing_deg = sight?.bearing_deg();
        let (ahead_deg, to) = self.context(at).ahead(at)?;
        Some((turn_deg(ahead_deg, bearing_deg), to))
    }

    /// Own vessel.
    pub fn own(&self, at: Moment) -> OwnState {
        use Quantity as Q;
        let v = |q| self.own.value(at, q);
        let age = |q| self.own.reading(at, q).heard.map(|h| at.since(h).as_secs_f64());
        OwnState {
            utc: self.utc(at),
            position: self.own.fix(at).map(|(p, _)| p),
            position_age_s: age(Q::Fix),
            sog_kn: v(Q::Sog),
            cog_deg: v(Q::Cog),
            heading_deg: v(Q::Heading),
            heading_age_s: age(Q::Heading),
            speed_through_water_kn: v(Q::SpeedThroughWater),
            speed_through_water_age_s: age(Q::SpeedThroughWater),
            depth_below_transducer_m: v(Q::DepthBelowTransducer),
            depth_below_keel_m: v(Q::DepthBelowKeel),
            depth_below_surface_m: v(Q::DepthBelowSurface),
            depth_age_s: age(Q::DepthBelowTransducer),
            apparent_wind_kn: v(Q::ApparentWindSpeed),
            apparent_wind_angle_deg: v(Q::ApparentWindAngle),
            true_wind_kn: v(Q::TrueWindSpeed).or_else(|| v(Q::GroundWindSpeed)),
            true_wind_direction_deg: v(Q::TrueWindDirection).or_else(|| v(Q::GroundWindDirection)),
            wind_age_s: age(Q::ApparentWindSpeed),
            pressure_hpa: v(Q::Pressure),
            air_temperature_c: v(Q::AirTemperature),
            water_temperature_c: v(Q::WaterTemperature),
            battery_v: v(Q::BatteryVoltage),
        }
    }

    /// A target.
    pub fn target(&self, at: Moment, mmsi: Mmsi) -> Option<TargetState> {
        self.table.get(mmsi).map(|t| self.target_state(at, t))
    }

    /// All targets: those that come closest soon first, then by range; those without a position last.
    pub fn targets(&self, at: Moment) -> Vec<TargetState> {
        let mut all: Vec<TargetState> = self.table.iter().map(|t| self.target_state(at, t)).collect();
        let worry = |t: &TargetState| {
            let soon = t.tcpa_s.is_some_and(|s| (0.0..=SOON_S).contains(&s))
                && t.cpa_nm.is_some_and(|c| c <= CLOSE_NM);
            let measure = if soon { t.cpa_nm } else { t.range_nm };
            (!soon, measure.unwrap_or(f64::INFINITY))
        };
        all.sort_by(|a, b| {
            let (a_key, b_key) = (worry(a), worry(b));
            a_key.0.cmp(&b_key.0).then(a_key.1.total_cmp(&b_key.1)).then(a.mmsi.cmp(&b.mmsi))
        });
        all
    }

    /// Identities of all targets, in order.
    pub fn identities(&self) -> impl Iterator<Item = Mmsi> + '_ {
        self.table.iter().map(|t| t.mmsi)
    }

    /// Feeds heard so far, in order.
    pub fn feeds(&self) -> impl Iterator<Item = FeedId> + '_ {
        self.feeds.keys().copied()
    }

    fn target_state(&self, at: Moment, t: &Target) -> TargetState {
        let sight = self.sight(at, t);
        let met = self.closest_of(at, t);
        let relative = self.relative_bearing(at, sight);
        TargetState {
            mmsi: t.mmsi,
            kind: t.kind,
            class_b: t.class_b,
            name: t.name.clone(),
            call_sign: t.call_sign.clone(),
            ship_type: t.ship_type_word(),
            status: t.status(),
            length_m: t.length_m(),
            destination: t.destination.clone(),
            position: t.report.map(|r| r.position),
            sog_kn: t.report.and_then(|r| r.sog_kn),
            cog_deg: t.report.and_then(|r| r.cog_deg),
            heading_deg: t.report.and_then(|r| r.heading_deg),
            range_nm: sight.map(|s| s.range_nm()),
            bearing_deg: sight.map(|s| s.bearing_deg()),
            relative_bearing_deg: relative.map(|(deg, _)| deg),
            relative_to: relative.map(|(_, to)| to),
            cpa_nm: met.map(|c| c.cpa_nm),
            tcpa_s: met.map(|c| c.tcpa_s),
            age_s: t.report.map(|r| at.since(r.at).as_secs_f64()),
            lost: t.is_lost(at),
        }
    }

    /// Own vessel as the casualties need her.
    fn context(&self, at: Moment) -> OwnContext {
        use Quantity as Q;
        let known = |q: Quantity| {
            let value = self.own.value(at, q)?;
            Some(Known { value, at: self.own.reading(at, q).heard? })
        };
        let wind = |speed: Quantity, from: Quantity| {
            let (speed, from) = (known(speed)?, known(from)?);
            let value = WindFrom { from_deg: from.value, speed_kn: speed.value };
            Some(Known { value, at: from.at.min(speed.at) })
        };
        OwnContext {
            mmsi: self.own_mmsi,
            position: self.own.fix(at).map(|(value, at)| Known { value, at }),
            cog_deg: known(Q::Cog),
            sog_kn: known(Q::Sog),
            heading_deg: known(Q::Heading),
            speed_through_water_kn: known(Q::SpeedThroughWater),
            variation_deg: self.settings.variation_deg,
            wind: wind(Q::TrueWindSpeed, Q::TrueWindDirection)
                .or_else(|| wind(Q::GroundWindSpeed, Q::GroundWindDirection)),
            wind_height_m: None,
            water_temperature_c: known(Q::WaterTemperature),
            utc: self.utc(at),
            motoring_speed_kn: Some(self.settings.motoring_speed_kn),
            current: None,
        }
    }
}
