//! What is known about every quantity, and the states of own vessel and targets.

use crate::air_tide::air_tide_hpa;
use crate::anchor;
use crate::casualty::{Known, OwnContext, RelativeTo, WindFrom, ahead};
use crate::encounter::{Encounter, Situation};
use crate::judging::{CLOSE_NM, SOON_S};
use crate::kind::Kind;
use crate::motion::{Motion, Sight};
use crate::plotter;
use crate::state::{OwnState, TargetState};
use crate::target::Target;
use crate::track::Doubtful;
use crate::words::rule;
use crate::{DeadReckoning, Light, Lookout, Source};
use std::time::Duration;
use terms::{Dimension, FeedId, Mmsi, Moment, Position, Quantity, Reading, Subject, Value, Whose, turn_deg};

/// A radar follows a target whose last plot is no older than this.
const RADAR_FRESH: Duration = Duration::from_secs(30);

/// Without a fix for so long, dead reckoning is shown.
const RECKONED_AFTER: Duration = Duration::from_secs(30);

fn word(w: &str) -> Value {
    Value::Word(w.to_owned())
}

impl Lookout {
    /// What is known about a quantity of a subject.
    pub fn reading(&self, at: Moment, subject: Subject, quantity: Quantity) -> Reading {
        match subject {
            Subject::OwnVessel => self.own_reading(at, quantity),
            Subject::Target(mmsi) => {
                self.table.get(mmsi).map(|t| self.target_reading(at, t, quantity)).unwrap_or_default()
            }
            Subject::Feed(feed) => self.feed_reading(feed, quantity),
            _ => Reading::default(),
        }
    }

    fn own_reading(&self, at: Moment, quantity: Quantity) -> Reading {
        match quantity {
            Quantity::TargetCount => {
                Reading { value: Some(Value::Number(self.table.len() as f64)), heard: Some(at) }
            }
            Quantity::Sun => {
                let up = self.sun.map(|(_, up)| word(if up { "up" } else { "down" }));
                Reading { value: up, heard: self.sun.map(|(then, _)| then) }
            }
            Quantity::PressureCorrected => {
                let pressure = self.own.reading(at, Quantity::Pressure);
                let here_and_now = self.utc(at).zip(self.own.last_position());
                let tide = here_and_now.map(|((utc, _), position)| air_tide_hpa(utc, position));
                let value = pressure
                    .value
                    .and_then(|v| v.number())
                    .zip(tide)
                    .map(|(p, tide)| Value::Number(p - tide));
                Reading { value, ..pressure }
            }
            Quantity::BatteryMargin => {
                let voltage = self.own.reading(at, Quantity::BatteryVoltage);
                let low_v = self.settings.battery.low_v();
                let value = voltage.value.and_then(|v| v.number()).map(|v| Value::Number(v - low_v));
                Reading { value, ..voltage }
            }
            q if plotter::QUANTITIES.contains(&q) => self.plan_reading(at, q),
            q if anchor::QUANTITIES.contains(&q) => self.anchor.reading(at, q),
            _ => self.own.reading(at, quantity),
        }
    }

    fn feed_reading(&self, feed: FeedId, quantity: Quantity) -> Reading {
        let Some(kept) = self.feeds.get(&feed) else { return Reading::default() };
        match quantity {
            Quantity::Sentences => Reading { value: kept.heard.map(|_| Value::There), heard: kept.heard },
            Quantity::Health => {
                Reading { value: kept.health.map(|(h, _)| word(h)), heard: kept.health.map(|(_, at)| at) }
            }
            _ => Reading::default(),
        }
    }

    fn target_reading(&self, at: Moment, t: &Target, quantity: Quantity) -> Reading {
        use Quantity as Q;
        let number = |v: Option<f64>| v.map(Value::Number);
        let reported = t.report.map(|r| r.at);
        let fixed = self.own.fix_heard();
        // Anything that needs both vessels is as old as the older of their reports.
        let both = reported.zip(fixed).map(|(a, b)| a.min(b));
        let met = |of: fn(&Encounter) -> f64| number(self.encounter(at, t).as_ref().map(of));
        let seen = || self.sight(at, t);
        let bow = || self.encounter(at, t).and_then(|m| m.crosses_bow);
        let (value, heard) = match quantity {
            Q::Range => (number(seen().map(|s| s.range_nm())), both),
            Q::Bearing => (number(seen().map(|s| s.bearing_deg())), both),
            Q::RelativeBearing => (number(self.relative_bearing(at, seen()).map(|(deg, _)| deg)), both),
            Q::Cpa => (met(|m| m.cpa_nm), both),
            Q::Tcpa => (met(|m| m.tcpa_s), both),
            Q::CpaLeast => (met(|m| m.least_cpa_nm), both),
            Q::CpaMost => (met(|m| m.greatest_cpa_nm), both),
            Q::TcpaPrudent => (met(Encounter::prudent_tcpa_s), both),
            Q::TcpaLeast => (met(|m| m.earliest_tcpa_s), both),
            Q::TcpaMost => (met(|m| m.latest_tcpa_s), both),
            Q::BearingDrift => (met(|m| m.bearing_drift_deg_min), both),
            Q::BowCrossingRange => (number(bow().map(|c| c.0).filter(|&nm| nm >= 0.0)), both),
            Q::BowCrossingTime => (number(bow().filter(|c| c.0 >= 0.0).map(|c| c.1)), both),
            Q::Situation => (self.encounter(at, t).and_then(|m| m.situation).map(|s| word(s.word())), both),
            Q::Passing => (self.encounter(at, t).and_then(|m| m.passing()).map(word), both),
            Q::TargetSog => (number(t.report.and_then(|r| r.sog_kn)), reported),
            Q::TargetCog => (number(t.report.and_then(|r| r.cog_deg)), reported),
            Q::Kind => (Some(word(t.kind.word())), Some(t.heard)),
            Q::ShipType => (t.ship_type_word().map(word), Some(t.heard)),
            Q::Status => (t.status().map(word), Some(t.heard)),
            Q::TargetLength => (number(t.length_m()), Some(t.heard)),
            Q::Name => (t.name.as_deref().map(word), Some(t.heard)),
            Q::Identity => (number(Some(f64::from(t.mmsi.number()))), Some(t.heard)),
            Q::Report => (t.report.map(|_| Value::There), reported),
            Q::Contact => (Some(word(if t.is_lost(at) { "lost" } else { "held" })), Some(t.heard)),
            _ => (None, None),
        };
        Reading { value, heard }
    }

    /// A named transducer's dimension and reading, in that dimension's own unit; `None` when never heard.
    pub fn transducer(&self, name: &str) -> Option<(Dimension, Reading)> {
        self.own.transducer(name)
    }

    /// All subjects of a kind, in a fixed order.
    pub fn subjects(&self, whose: Whose) -> Vec<Subject> {
        match whose {
            Whose::Own => vec![Subject::OwnVessel],
            Whose::Target => self.table.iter().map(|t| Subject::Target(t.mmsi)).collect(),
            Whose::Feed => self.feeds.keys().map(|&f| Subject::Feed(f)).collect(),
        }
    }

    /// Own vessel's identity, as the settings or her own transmitter say.
    pub fn own_mmsi(&self) -> Option<Mmsi> {
        self.own_mmsi
    }

    /// Identities of all targets, in order.
    pub fn identities(&self) -> impl Iterator<Item = Mmsi> + '_ {
        self.table.iter().map(|t| t.mmsi)
    }

    /// Feeds heard so far, in order.
    pub fn feeds(&self) -> impl Iterator<Item = FeedId> + '_ {
        self.feeds.keys().copied()
    }

    /// Names a feed that was not in the settings.
    pub fn name_feed(&mut self, feed: FeedId, name: &str) {
        self.settings.feed_names.insert(feed, name.to_owned());
    }

    /// What to call a subject in a text.
    pub fn name_of(&self, subject: Subject) -> String {
        match subject {
            Subject::OwnVessel => "own vessel".to_owned(),
            Subject::Target(mmsi) => {
                let name = self.table.get(mmsi).and_then(|t| t.name.clone());
                name.unwrap_or_else(|| format!("MMSI {mmsi}"))
            }
            Subject::Feed(feed) => self.settings.feed_name(feed),
            Subject::Casualty(id) => format!("casualty {}", id.0),
            Subject::Call(id) => format!("call {}", id.0),
            Subject::Signal(id) => format!("signal {}", id.0 + 1),
            Subject::Logbook => "logbook".to_owned(),
            Subject::Lookout => "lookout".to_owned(),
        }
    }

    /// The feed in whose share of the table a target counts.
    pub fn feed_of(&self, subject: Subject) -> Option<FeedId> {
        let Subject::Target(mmsi) = subject else { return None };
        self.table.get(mmsi).map(|t| t.reporters.owner())
    }

    /// Whether a target lies still: moored, at anchor, made fast alongside or otherwise at rest.
    pub fn lies_still(&self, subject: Subject) -> bool {
        let Subject::Target(mmsi) = subject else { return false };
        self.table.get(mmsi).is_some_and(Target::lies_still)
    }

    /// Whether a target's reports have stopped, or only her name and the like were ever heard: she may be out of range.
    pub fn is_out_of_hearing(&self, at: Moment, subject: Subject) -> bool {
        let Subject::Target(mmsi) = subject else { return false };
        self.table.get(mmsi).is_some_and(|t| t.is_lost(at) || !t.reports)
    }

    /// How long ago a target reported last whose reports have stopped; `None` while she is heard.
    pub fn last_heard(&self, at: Moment, subject: Subject) -> Option<Duration> {
        let Subject::Target(mmsi) = subject else { return None };
        let target = self.table.get(mmsi).filter(|t| t.is_lost(at))?;
        target.report.map(|r| at.since(r.at))
    }

    /// Which source of a quantity of own vessel is in use.
    pub fn source_of(&self, quantity: Quantity) -> Option<Source> {
        self.own.source_of(quantity)
    }

    /// Where a target lies, both carried to now as far as their motion is known.
    pub(crate) fn sight(&self, at: Moment, t: &Target) -> Option<Sight> {
        t.judged.filter(|j| j.at == at).map_or_else(|| self.look(at, t), |j| j.sight)
    }

    pub(crate) fn look(&self, at: Moment, t: &Target) -> Option<Sight> {
        let place = |m: Option<(Motion, Doubtful)>, last: Option<Position>| {
            m.map(|(m, _)| m.carried(at).position).or(last)
        };
        let own = place(self.own.motion(at), self.own.fix(at).map(|(p, _)| p))?;
        let target = place(t.motion(at), t.report.map(|r| r.position))?;
        Some(Sight::of(own, target))
    }

    fn relative_bearing(&self, at: Moment, sight: Option<Sight>) -> Option<(f64, RelativeTo)> {
        let bearing_deg = sight?.bearing_deg();
        use Quantity as Q;
        let (ahead_deg, to) =
            ahead(at, self.known(at, Q::Heading), self.known(at, Q::Sog), self.known(at, Q::Cog))?;
        Some((turn_deg(ahead_deg, bearing_deg), to))
    }

    /// Own vessel.
    pub fn own(&self, at: Moment) -> OwnState {
        use Quantity as Q;
        let v = |q| self.own.value(at, q);
        let age = |q| self.own.reading(at, q).heard.map(|h| at.since(h).as_secs_f64());
        OwnState {
            position: self.own.fix(at).map(|(p, _)| p),
            position_age_s: age(Q::Fix),
            sog_kn: v(Q::Sog),
            cog_deg: v(Q::Cog),
            heading_deg: v(Q::Heading),
            heading_age_s: age(Q::Heading),
            course_age_s: age(Q::Sog).zip(age(Q::Cog)).map(|(sog, cog)| sog.max(cog)),
            speed_through_water_kn: v(Q::SpeedThroughWater),
            depth_below_transducer_m: v(Q::DepthBelowTransducer),
            depth_below_surface_m: v(Q::DepthBelowSurface),
            depth_below_keel_m: v(Q::DepthBelowKeel),
            depth_age_s: age(Q::DepthBelowTransducer),
            true_wind_kn: v(Q::TrueWindSpeed),
            true_wind_direction_deg: v(Q::TrueWindDirection),
            true_wind_age_s: age(Q::TrueWindSpeed),
            pressure_hpa: v(Q::Pressure),
            pressure_age_s: age(Q::Pressure),
            sun_up: self.sun.map(|(_, up)| up),
            transmitted_age_s: self.own.transmitted().map(|t| at.seconds_from(t)),
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

    fn target_state(&self, at: Moment, t: &Target) -> TargetState {
        let sight = self.sight(at, t);
        let met = self.encounter(at, t);
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
            cpa_bearing_deg: met.map(|c| c.cpa_bearing_deg),
            least_cpa_nm: met.map(|m| m.least_cpa_nm),
            greatest_cpa_nm: met.map(|m| m.greatest_cpa_nm),
            earliest_tcpa_s: met.map(|m| m.earliest_tcpa_s),
            latest_tcpa_s: met.map(|m| m.latest_tcpa_s),
            clearance_nm: met.and_then(|m| m.clearance_nm),
            bearing_drift_deg_min: met.map(|m| m.bearing_drift_deg_min),
            situation: met.and_then(|m| m.situation).map(Situation::word),
            passing: met.and_then(|m| m.passing()),
            crosses_bow_nm: met.and_then(|m| m.crosses_bow).map(|c| c.0),
            crosses_bow_s: met.and_then(|m| m.crosses_bow).map(|c| c.1),
            crossed_bow_nm: met.and_then(|m| m.crossed_bow).map(|c| c.0),
            crossed_bow_s: met.and_then(|m| m.crossed_bow).map(|c| c.1),
            rule: met.and_then(|m| rule(&m, t, self.declared.0, self.declared.1)),
            by_radar: t.kind == Kind::Radar || t.by_radar.is_some_and(|r| at.since(r) <= RADAR_FRESH),
            age_s: t.report.map(|r| at.since(r.at).as_secs_f64()),
            lost: t.is_lost(at),
        }
    }

    /// A number of own vessel that is still believed, and when it was heard.
    fn known(&self, at: Moment, q: Quantity) -> Option<Known<f64>> {
        self.own.believed(at, q).map(|h| Known { value: h.value, at: h.at })
    }

    /// Where own vessel is by dead reckoning, with a fix or without; `None` before the first one, and where nothing is
    /// known of her way.
    pub fn dead_reckoning(&self, at: Moment) -> Option<DeadReckoning> {
        self.own.dead_reckoning(at, self.settings.current)
    }

    /// Dead reckoning where it is needed: without a fix for half a minute, or while the fix contradicts it.
    pub fn reckons(&self, at: Moment) -> Option<DeadReckoning> {
        self.dead_reckoning(at).filter(|r| at.since(r.since) >= RECKONED_AFTER)
    }

    /// That the fix contradicts dead reckoning, in words of now.
    pub fn fix_in_doubt(&self) -> Option<String> {
        self.own.fix_in_doubt()
    }

    /// The light where she is, for a day ahead; `None` without UTC or a place.
    pub fn light(&self, at: Moment) -> Option<Light> {
        let place = self.own.fix(at).map(|(p, _)| p).or_else(|| Some(self.dead_reckoning(at)?.position));
        Light::at(self.utc(at)?.0, place?)
    }

    /// Own vessel as the casualties need her.
    pub fn context(&self, at: Moment) -> OwnContext {
        self.looked.own(at, || self.work_out_context(at))
    }

    fn work_out_context(&self, at: Moment) -> OwnContext {
        use Quantity as Q;
        let known = |q| self.known(at, q);
        let wind = |speed: Quantity, from: Quantity| {
            let (speed, from) = (known(speed)?, known(from)?);
            let value = WindFrom { from_deg: from.value, speed_kn: speed.value };
            Some(Known { value, at: from.at.min(speed.at) })
        };
        let fix = self.own.fix(at).map(|(value, at)| Known { value, at });
        let reckoned = if fix.is_none() { self.dead_reckoning(at) } else { None };
        OwnContext {
            mmsi: self.own_mmsi,
            position: fix.or(reckoned.map(|r| Known { value: r.position, at })),
            reckoned,
            cog_deg: known(Q::Cog),
            sog_kn: known(Q::Sog),
            heading_deg: known(Q::Heading),
            speed_through_water_kn: known(Q::SpeedThroughWater),
            variation_deg: self.own.variation_deg(at, &self.settings),
            wind: wind(Q::GroundWindSpeed, Q::GroundWindDirection)
                .or_else(|| wind(Q::TrueWindSpeed, Q::TrueWindDirection)),
            wind_height_m: self.settings.wind_height_m,
            water_temperature_c: known(Q::WaterTemperature),
            utc: self.utc(at),
            motoring_speed_kn: Some(self.settings.motoring_speed_kn),
            current: self.settings.current,
            visibility: self.declared.1,
            low_beacon: self.proof.expected().ok(),
        }
    }
}
