//! The picture as `status` shows it.

use super::parts::{casualty_part, own_part, target_part};
use super::place;
use crate::Watch;
use crate::senses::Ear;
use lookout::casualty::{CasualtyState, aloud, in_full, who};
use lookout::{DeadReckoning, TargetState};
use record::words::capital;
use record::{
    AisNow, AlertNow, CasualtyNow, ComesFrom, FeedNow, Item, LogbookNow, OwnNow, ReckonedNow, SignalNow,
    Status, TargetNow, WatchNow,
};
use rules::{AlertState, Declared, WatchAlarm};
use sentence::{Counts, Refusal};
use std::cmp::Reverse;
use std::collections::BTreeMap;
use terms::speech::Side;
use terms::{Moment, Subject};

/// Most targets in the answer.
const WORST: usize = 20;

/// What `status` shows and the watch cannot know: counters of feeds, logbook and signals.
#[derive(Debug, Clone, Default)]
pub struct Outside {
    /// The feeds in the order of boat.toml.
    pub feeds: Vec<FeedOutside>,
    /// The logbook.
    pub logbook: LogbookNow,
    /// Signals, buttons and the heartbeat.
    pub signals: Vec<SignalNow>,
}

/// Counters of a feed.
#[derive(Debug, Clone, Default)]
pub struct FeedOutside {
    /// "up", or why it is not.
    pub state: String,
    /// The framer's counts.
    pub counts: Counts,
    /// Sentences, and datagrams of the kernel's, dropped under flood.
    pub dropped: u64,
}

impl Watch {
    /// The picture at a moment, with every alert in its words of that moment.
    pub fn status(&self, at: Moment, outside: &Outside) -> Status {
        let utc = self.lookout.utc(at);
        let targets = self.lookout.targets(at);
        let on_watch = self.board.on_watch();
        let ais = AisNow {
            ships: targets.iter().filter(|t| t.kind.is_ship() && !t.lost).count(),
            heard_age_s: self.lookout.ais_heard().map(|heard| at.seconds_from(heard)),
        };
        let watch = WatchNow {
            who: on_watch.map(|(who, _)| who.to_owned()),
            since_s: on_watch.map(|(_, since)| at.since(since).as_secs_f64()),
            ship_time_h: self.ship_time().hours(),
            rest: self.rests_now(at),
            alarm: self.board.watch_alarm().map(WatchAlarm::stage),
            alarm_asks_s: self.board.watch_alarm().and_then(|w| w.asks_in(at)).map(|d| d.as_secs_f64()),
            alarm_words: self.board.watch_alarm().map(|w| self.watch_alarm_words(at, w)),
        };
        let own = self.own_now(at);
        Status {
            version: 1,
            vessel: self.departure.vessel.name.clone(),
            at: utc.map(|(t, _)| t),
            utc_from: utc.map(|(_, from)| from),
            steady_s: at.as_s(),
            casualties: {
                let now =
                    |c: &CasualtyState| casualty_now(c, at, self.guidance.side(Subject::Casualty(c.id)));
                self.open_casualties(at).iter().map(now).collect()
            },
            alerts: self.alerts_now(at),
            targets: targets.iter().take(WORST).map(target_now).collect(),
            targets_held: targets.len(),
            rows: self.rows_now(at, &own, &ais, &watch),
            ais,
            watch,
            calls: self.calls.now(at),
            passage: self.lookout.passage(at).map(Into::into),
            own,
            feeds: self.feeds_now(at, &outside.feeds),
            exercise: self.exercise_now(at),
            declared: self.board.declared().iter().map(|d| Declared::name(d).to_owned()).collect(),
            orders: self.orders_from().to_owned(),
            orders_watching: self.board.orders().count() - self.board.out_of_force().count(),
            orders_resting: self.board.out_of_force().map(str::to_owned).collect(),
            logbook: outside.logbook.clone(),
            signals: outside.signals.clone(),
        }
    }

    /// Alerts that are not over: those that nobody has acknowledged first, of them those that go on, then by urgency.
    pub(super) fn alerts_now(&self, at: Moment) -> Vec<AlertNow> {
        let view = self.view(at);
        let now = |a: &rules::Alert| {
            let (words, origin) = (self.board.words(a, &view), self.board.origin(a.id));
            AlertNow {
                id: a.id,
                order: a.order.clone(),
                origin: origin.map_or(ComesFrom::Note, ComesFrom::from),
                about: origin.map_or(Item::Lookout, |origin| self.about(origin, a.subject)),
                priority: a.priority,
                state: a.state_told(),
                state_words: a.state_told().map_or("", AlertState::in_words).to_owned(),
                spoken: self.board.spoken(a, &words, &view),
                text: words.written,
                exercise: a.exercise,
                began_s: at.since(a.began).as_secs_f64(),
            }
        };
        let mut alerts: Vec<AlertNow> = self.board.alerts().map(now).collect();
        // What goes on before what is over, be it less urgent.
        let over = |a: &AlertNow| a.state == Some(AlertState::RectifiedUnacknowledged);
        alerts.sort_by_key(|a| (!a.unheeded(), over(a), Reverse(a.priority), a.id));
        alerts
    }

    fn own_now(&self, at: Moment) -> OwnNow {
        let own = self.lookout.own(at);
        let depths = [
            (own.depth_below_keel_m, "keel"),
            (own.depth_below_surface_m, "surface"),
            (own.depth_below_transducer_m, "transducer"),
        ];
        let depth = depths.into_iter().find_map(|(depth, below)| depth.map(|m| (m, below)));
        let weather = self.weather_words(at);
        OwnNow {
            part: own_part(&own),
            position: own.position.map(|p| p.to_string()),
            position_age_s: own.position_age_s,
            reckoned: self.lookout.reckons(at).map(|r| reckoned_now(at, &r)),
            heading_age_s: own.heading_age_s,
            course_age_s: own.course_age_s,
            speed_through_water_kn: own.speed_through_water_kn,
            depth_m: depth.map(|(m, _)| m),
            depth_below: depth.map(|(_, below)| below.to_owned()),
            depth_age_s: own.depth_age_s,
            true_wind_kn: own.true_wind_kn,
            true_wind_direction_deg: own.true_wind_direction_deg,
            true_wind_age_s: own.true_wind_age_s,
            true_wind_before: weather.wind_before,
            pressure_hpa: own.pressure_hpa,
            pressure_age_s: own.pressure_age_s,
            pressure_trend: weather.pressure_trend,
            sun_up: own.sun_up,
            transmitted_age_s: own.transmitted_age_s,
        }
    }

    fn feeds_now(&self, at: Moment, outside: &[FeedOutside]) -> Vec<FeedNow> {
        let now = |(n, ear): (usize, &Ear)| {
            let counted = outside.get(n);
            let count =
                |why: Refusal| counted.map_or(0, |c| c.counts.refused(why)) + ear.refused.refused(why);
            let refusals: BTreeMap<String, u64> = Refusal::ALL
                .iter()
                .map(|&why| (why.text().to_owned(), count(why)))
                .filter(|(_, n)| *n > 0)
                .collect();
            FeedNow {
                name: ear.name.clone(),
                state: counted.map(|c| c.state.clone()),
                silent_s: ear.heard.map(|h| at.since(h).as_secs_f64()),
                bytes: counted.map_or(0, |c| c.counts.bytes),
                sentences: counted.map_or(0, |c| c.counts.sentences),
                refused: counted.map_or(0, |c| c.counts.all_refused()) + ear.refused.all_refused(),
                refusals,
                dropped: counted.map_or(0, |c| c.dropped),
            }
        };
        self.ears.iter().enumerate().map(now).collect()
    }
}

/// A casualty as looks show it; `side` is where it was said to lie last.
pub(crate) fn casualty_now(c: &CasualtyState, at: Moment, side: Option<Side>) -> CasualtyNow {
    let relative = c.relative_bearing_deg.zip(c.relative_to);
    CasualtyNow {
        part: casualty_part(c, at),
        who: capital(&who(c)),
        words: in_full(c),
        spoken: aloud(c, side),
        look: place::words(c.range_nm, c.bearing_deg, relative, c.closing_kn),
        closing_kn: c.closing_kn,
    }
}

pub(super) fn target_now(t: &TargetState) -> TargetNow {
    let part = target_part(t);
    let relative = part.relative_bearing_deg.zip(part.relative_to);
    TargetNow {
        cpa_bearing_deg: t.cpa_bearing_deg,
        closest: place::closest(t.cpa_nm, t.tcpa_s),
        lost: t.lost,
        meeting: t.meeting(),
        described: Some(t.described()),
        side: relative.map(|(deg, to)| place::direction(deg, to)),
        look: place::words(t.range_nm, t.bearing_deg, relative, None),
        part,
    }
}

fn reckoned_now(at: Moment, r: &DeadReckoning) -> ReckonedNow {
    ReckonedNow {
        position: r.position.to_string(),
        latitude_deg: r.position.latitude_deg(),
        longitude_deg: r.position.longitude_deg(),
        error_nm: r.error_nm,
        age_s: at.since(r.since).as_secs_f64(),
        run_nm: r.run_nm,
        set_deg: r.stream.map(|s| s.set_deg),
        drift_kn: r.stream.map(|s| s.drift_kn),
        by: r.by.words().to_owned(),
    }
}
