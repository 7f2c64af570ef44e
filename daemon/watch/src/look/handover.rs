//! What the relief must know.

use super::place::closest;
use crate::Watch;
use lookout::casualty::{CasualtyState, in_full, out_of_hearing};
use lookout::hearing::{Basis, Expected};
use lookout::{Light, TargetState};
use record::words::{capital, count};
use record::{
    AlertNow, Date, Dated, Handover, Item, LightChangeNow, LightNow, LowBeacon, LowBeaconBasis, PassageNow,
    RestNow,
};
use rules::{AlertEvent, Declarations, Declared, EventKind, REST_OF_A_DAY, REST_OF_A_WEEK, Rest, Stage};
use std::collections::VecDeque;
use std::fmt;
use std::time::Duration;
use terms::{Moment, Subject, one_line, span, tendency, three_digits};

/// How often wind and pressure are noted for the trends.
const NOTED_EVERY: Duration = Duration::from_secs(600);
/// Notes kept: three hours' worth plus one.
const NOTES: usize = 19;
/// The handover names targets whose closest approach comes within this time.
const NEXT: Duration = Duration::from_secs(3600);
/// Most people whose rest the handover puts into words.
const MOST_RESTS: usize = 8;
/// Most targets the handover names.
const MOST_TARGETS: usize = 3;
/// Most alerts it names.
const MOST_ALERTS: usize = 5;

/// Wind and pressure of the last three hours.
#[derive(Debug, Default)]
pub(crate) struct Trends(VecDeque<Weather>);

/// Weather at a moment; `None` is not available.
#[derive(Debug, Clone, Copy)]
struct Weather {
    at: Moment,
    pressure_hpa: Option<f64>,
    wind_kn: Option<f64>,
    wind_from_deg: Option<f64>,
}

/// The weather with what it was before, in words.
#[derive(Debug)]
pub(super) struct WeatherWords {
    now: Weather,
    /// How the pressure has changed.
    pub pressure_trend: Option<String>,
    /// What the wind was.
    pub wind_before: Option<String>,
}

impl fmt::Display for WeatherWords {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let and = |more: &Option<String>| more.as_ref().map_or(String::new(), |more| format!(", {more}"));
        let pressure =
            self.now.pressure_hpa.map(|p| format!("pressure {p:.1} hPa{}", and(&self.pressure_trend)));
        let wind = self.now.wind_kn.zip(self.now.wind_from_deg);
        let wind = wind.map(|(kn, from)| {
            format!("wind {kn:.0} kn from {}°{}", three_digits(from), and(&self.wind_before))
        });
        let parts: Vec<String> = pressure.into_iter().chain(wind).collect();
        f.write_str(&if parts.is_empty() { "not known".to_owned() } else { parts.join("; ") })
    }
}

impl Trends {
    /// When the next note is due.
    pub fn due(&self) -> Option<Moment> {
        self.0.back().map(|w| w.at + NOTED_EVERY)
    }

    fn note(&mut self, now: Weather) {
        if self.0.back().is_some_and(|w| now.at.since(w.at) < NOTED_EVERY) {
            return;
        }
        if self.0.len() >= NOTES {
            self.0.pop_front();
        }
        self.0.push_back(now);
    }

    fn words(&self, now: Weather) -> WeatherWords {
        // Of each the earliest note that has it.
        let earlier = |has: fn(&Weather) -> bool| {
            let note = self.0.iter().find(|w| has(w)).filter(|w| now.at.since(w.at) >= NOTED_EVERY)?;
            Some((note, span(now.at.since(note.at))))
        };
        let before = earlier(|w| w.pressure_hpa.is_some());
        let pressure_trend = now.pressure_hpa.zip(before).and_then(|(p, (earlier, ago))| {
            let change = p - earlier.pressure_hpa?;
            let long = now.at.since(earlier.at) >= NEXT * 3 - NOTED_EVERY;
            let term = if long { format!(", {}", tendency(change)) } else { String::new() };
            Some(format!("{change:+.1} hPa in {ago}{term}"))
        });
        let before = earlier(|w| w.wind_kn.is_some() && w.wind_from_deg.is_some());
        let wind_before = before.and_then(|(earlier, ago)| {
            let (kn, from) = earlier.wind_kn.zip(earlier.wind_from_deg)?;
            Some(format!("{kn:.0} kn from {}° {ago} ago", three_digits(from)))
        });
        WeatherWords { now, pressure_trend, wind_before }
    }
}

impl Watch {
    /// How far off a low beacon should be heard, on what evidence, and what that means.
    fn hearing_words(&self, at: Moment) -> String {
        let expected = match self.lookout.low_beacon() {
            Ok(e) => e,
            Err(why) => return format!("How far off a low beacon is heard is not known: {why}"),
        };
        let own_sog = self.lookout.own(at).sog_kn.filter(|kn| *kn >= 1.0);
        let speed_kn = own_sog.unwrap_or(self.lookout.settings().motoring_speed_kn);
        format!(
            "A low beacon is heard to about {:.1} nm ({:.1} to {:.1}, nine of ten): {}",
            expected.range_nm,
            expected.least_nm,
            expected.most_nm,
            out_of_hearing(expected.range_nm, speed_kn)
        )
    }

    /// Ships with their closest approach within the hour, the closest first.
    fn next_targets(&self, at: Moment) -> Vec<TargetState> {
        let mut soon = self.lookout.targets(at);
        soon.retain(|t| {
            t.tcpa_s.is_some_and(|s| (0.0..NEXT.as_secs_f64()).contains(&s)) && t.cpa_nm.is_some()
        });
        soon.sort_by(|a, b| a.cpa_nm.unwrap_or(f64::MAX).total_cmp(&b.cpa_nm.unwrap_or(f64::MAX)));
        soon
    }

    /// Which feeds are heard, and which are blind spots.
    fn ears_words(&self, at: Moment) -> String {
        let ailing: Vec<String> = self
            .ears
            .iter()
            .filter(|e| e.silent || e.heard.is_none())
            .map(|e| match e.heard {
                Some(h) => format!("{} silent for {}", e.name, span(at.since(h))),
                None => format!("{} never heard", e.name),
            })
            .collect();
        match ailing.as_slice() {
            [] if self.ears.len() == 1 => "The feed is heard".to_owned(),
            [] => format!("All {} feeds are heard", self.ears.len()),
            some => format!("Feeds that fail: {}", some.join("; ")),
        }
    }

    fn weather(&self, at: Moment) -> Weather {
        let own = self.lookout.own(at);
        Weather {
            at,
            pressure_hpa: own.pressure_hpa,
            wind_kn: own.true_wind_kn,
            wind_from_deg: own.true_wind_direction_deg,
        }
    }

    /// The weather with its trend.
    pub(super) fn weather_words(&self, at: Moment) -> WeatherWords {
        self.trends.words(self.weather(at))
    }

    /// Notes wind and pressure for the trends when due.
    pub(crate) fn note_weather(&mut self, at: Moment) {
        if self.trends.due().is_none_or(|due| due <= at) {
            let now = self.weather(at);
            self.trends.note(now);
        }
    }

    /// Each one's time off watch.
    pub(crate) fn rests_now(&self, at: Moment) -> Vec<RestNow> {
        let now = |r: Rest| RestNow {
            who: r.who,
            off_day_s: r.off_day.as_secs_f64(),
            of_day_s: r.of_day.as_secs_f64(),
            off_week_s: r.off_week.as_secs_f64(),
            of_week_s: r.of_week.as_secs_f64(),
        };
        self.board.rests(&self.view(at)).into_iter().map(now).collect()
    }

    /// What the relief must know, in words and in figures, in the order a relief asks: what is dangerous, ships, what is
    /// declared and watched, weather, gear and blind spots, light, the watch itself, and what is new.
    pub fn handover(&self, at: Moment) -> Handover {
        let view = self.view(at);
        let told = self.board.handover(&view);
        let alerts = self.alerts_now(at);
        let casualties = self.open_casualties(at);
        let soon = self.next_targets(at);
        let mut lines: Vec<String> = casualties.iter().map(|c| casualty_words(c, &alerts)).collect();
        // Each casualty says how its own alert stands.
        let told_above = |a: &AlertNow| casualties.iter().any(|c| a.about == Item::Casualty(c.id));
        let others: Vec<&AlertNow> = alerts.iter().filter(|a| !told_above(a)).collect();
        lines.extend(others.iter().take(MOST_ALERTS).map(|a| {
            let state = format!("{}, {}", a.state_words, span(Duration::from_secs_f64(a.began_s)));
            format!("{} {}, {state}: {}", capital(&a.priority.to_string()), a.id.0, one_line(&a.text))
        }));
        lines.push(match others.len() {
            0 if alerts.is_empty() => "No open alerts".to_owned(),
            n if n > MOST_ALERTS => format!("And {}", count(n - MOST_ALERTS, "more alert", "more alerts")),
            _ => String::new(),
        });
        lines.extend(self.call_lines(at));
        if soon.is_empty() {
            lines.push("No ship comes closest within the hour, of those heard by AIS".to_owned());
        }
        for t in soon.iter().take(MOST_TARGETS) {
            let name = t.name.clone().unwrap_or_else(|| format!("MMSI {}", t.mmsi));
            let look = super::status::target_now(t).look;
            let off = look.unwrap_or_else(|| "at an unknown distance".to_owned());
            // What is no longer heard is where it should be, not where it is.
            let lost = t.age_s.filter(|_| t.lost).map(|s| span(Duration::from_secs_f64(s.max(0.0))));
            let lost = lost.map_or(String::new(), |age| format!(", lost target, last heard {age} ago"));
            let now = if lost.is_empty() { "now " } else { "" };
            lines.push(format!("{}: {}, {now}{off}{lost}", one_line(&name), closest(t.cpa_nm, t.tcpa_s)));
        }
        if soon.len() > MOST_TARGETS {
            let more = count(soon.len() - MOST_TARGETS, "more ship comes", "more ships come");
            lines.push(format!("And {more} closest within the hour"));
        }
        lines.push(format!("Declared: {}", self.declared_words()));
        lines.push(format!("Watching: {}", self.watching_words()));
        lines.push(format!("Weather: {}", self.weather_words(at)));
        let passage: Option<PassageNow> = self.lookout.passage(at).map(Into::into);
        lines.extend(passage.as_ref().map(|p| format!("Plan: {}", p.words())));
        lines.push(self.ears_words(at));
        lines.push(self.hearing_words(at));
        let dated = self.dated(at);
        lines.extend(dated_words(&dated));
        let light = self.lookout.light(at);
        if let Some(light) = &light {
            let ship = self.ship_time();
            let words = light.words(|utc| ship.of(utc).to_string()[11..16].to_owned());
            lines.push(format!("Light, by ship's time: {words}"));
        }
        let on_watch = told.on_watch.as_deref().unwrap_or("nobody by name");
        let since = told.since.map_or(String::new(), |s| format!(" for {}", span(at.since(s))));
        let next = told
            .next
            .as_ref()
            .map_or(String::new(), |(who, left)| format!("; {who} is on in {}", span(*left)));
        lines.push(format!("On watch: {on_watch}{since}{next}"));
        let zone = self.zone(at).filter(|zone| *zone != self.ship_time());
        let zone = zone.map_or(String::new(), |zone| format!("; the zone here is {zone}"));
        lines.push(format!("Ship's time: {}{zone}", self.ship_time_words(at)));
        lines.extend(self.board.rests(&view).iter().take(MOST_RESTS).map(rest_words));
        if let Some(alarm) = self.board.watch_alarm() {
            let reset = match alarm.stage() {
                Stage::Off | Stage::Suspended => "",
                _ => ". Whatever you do here resets it, and so does `middlewatch watch-alarm reset`",
            };
            lines.push(format!(
                "Watch alarm: {}, unanswered {}{reset}",
                self.watch_alarm_words(at, alarm),
                count(alarm.missed() as usize, "time", "times")
            ));
        }
        lines.push(self.since.words(at, &alerts, self.board.declared()));
        lines.retain(|line| !line.is_empty());
        Handover {
            lines,
            on_watch: told.on_watch,
            ship_time_h: self.ship_time().hours(),
            rest: self.rests_now(at),
            standing: told.standing.iter().map(|a| a.id).collect(),
            casualties: casualties.iter().map(|c| c.id).collect(),
            calls: self.calls_shown(at),
            next_targets: soon.iter().map(|t| t.mmsi).collect(),
            passage,
            pressure_hpa: self.weather(at).pressure_hpa,
            light: light.map(light_now),
            declared: self.declared_words(),
            dated,
            low_beacon: self.lookout.low_beacon().ok().map(low_beacon),
            done: None,
            sounding: None,
        }
    }
}

/// What the watch has brought since somebody took it over.
#[derive(Debug)]
pub(crate) struct Since {
    /// Who took it; `None` since this run began.
    who: Option<String>,
    at: Moment,
    /// Alerts and casualties that began, exercises left out.
    alerts: usize,
    casualties: usize,
    declared: Declarations,
}

impl Since {
    /// Begins anew.
    pub fn new(at: Moment, who: Option<String>, declared: Declarations) -> Self {
        Self { who, at, alerts: 0, casualties: 0, declared }
    }

    /// Counts an event.
    pub fn count(&mut self, event: &AlertEvent) {
        if event.kind == EventKind::Raised && !event.alert.exercise {
            match event.alert.subject {
                Subject::Casualty(_) => self.casualties += 1,
                _ => self.alerts += 1,
            }
        }
    }

    fn words(&self, at: Moment, alerts: &[AlertNow], declared: &Declarations) -> String {
        let ago = span(at.since(self.at));
        let when = match &self.who {
            Some(who) => format!("Since {} took the watch {ago} ago", one_line(who)),
            None => format!("Since the lookout began {ago} ago"),
        };
        let mut parts = Vec::new();
        if self.casualties > 0 {
            parts.push(count(self.casualties, "casualty", "casualties"));
        }
        let seconds = at.since(self.at).as_secs_f64();
        let stand = alerts.iter().filter(|a| !a.exercise && a.began_s <= seconds).count();
        let stand = if self.alerts > 0 { format!(", {stand} open still") } else { String::new() };
        parts.push(format!("{}{stand}", count(self.alerts, "new alert", "new alerts")));
        if *declared != self.declared {
            let declared: Vec<&str> = declared.iter().map(Declared::name).collect();
            let now = if declared.is_empty() { "nothing".to_owned() } else { declared.join(", ") };
            parts.push(format!("declared anew: {now}"));
        }
        format!("{when}: {}", parts.join("; "))
    }
}

/// A casualty, and how the alert about it stands.
fn casualty_words(c: &CasualtyState, alerts: &[AlertNow]) -> String {
    let alert = alerts.iter().find(|a| a.about == Item::Casualty(c.id));
    let standing = alert.map_or(String::new(), |a| format!(", alert {} {}", a.id.0, a.state_words));
    format!("CASUALTY {}{standing}: {}", c.id.0, in_full(c))
}

/// What runs out, and that nobody can say where the time is not known.
fn dated_words(dated: &[Dated]) -> Vec<String> {
    let unknown = dated.iter().filter(|d| d.date == Date::NotKnown).count();
    let unknown = (unknown > 0).then(|| {
        format!(
            "The time is not known: nobody can say what of {} runs out",
            count(unknown, "thing", "things")
        )
    });
    let out = dated.iter().filter(|d| matches!(d.date, Date::Over | Date::Soon));
    unknown.into_iter().chain(out.map(|d| capital(&d.words))).collect()
}

/// Somebody's time off watch in words. What ships' crews must have is a measure, not a rule for a yacht.
fn rest_words(r: &Rest) -> String {
    let hours = |d: Duration| d.as_secs() / 3600;
    let part = |off: Duration, of: Duration, short: bool, whole: &str, least: Duration| {
        let least =
            if short { format!(", less than the {} h of ships' crews", hours(least)) } else { String::new() };
        format!("{} of the last {whole}{least}", span(off.min(of)))
    };
    let whole = |of: Duration, most: u64, name: &str| {
        if hours(of) >= most { name.to_owned() } else { span(of) }
    };
    let day = part(r.off_day, r.of_day, r.short_day(), &whole(r.of_day, 24, "24 h"), REST_OF_A_DAY);
    if r.of_week <= r.of_day {
        return format!("{} was off watch for {day}", one_line(&r.who));
    }
    let week = part(r.off_week, r.of_week, r.short_week(), &whole(r.of_week, 168, "7 days"), REST_OF_A_WEEK);
    format!("{} was off watch for {day}, {week}", one_line(&r.who))
}

fn light_now(light: Light) -> LightNow {
    LightNow {
        sky: light.sky,
        left_s: light.left().map(|d| d.as_secs_f64()),
        moon_up: light.moon_up,
        moon_lit: light.moon_lit,
        changes: light.changes.into_iter().map(|(what, at)| LightChangeNow { what, at }).collect(),
    }
}

fn low_beacon(e: Expected) -> LowBeacon {
    let Basis { pairs, missed, stations, antenna_m } = e.basis;
    LowBeacon {
        range_nm: e.range_nm,
        least_nm: e.least_nm,
        most_nm: e.most_nm,
        basis: LowBeaconBasis { pairs, missed, stations, antenna_m },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where she is led is in handover and status, and its end a minute after the plotter's last word.
    #[test]
    fn handover_and_status_tell_the_plotters_plan() {
        let boat = boat::read("b", "version = 1\n[[feed]]\nname = \"bus\"\ntcp = \"a:1\"\n").unwrap().0;
        let feeds: Vec<crate::FeedSetting> = boat.feeds.iter().map(crate::FeedSetting::of).collect();
        let mut w = Watch::begun(Moment(0), &boat, &feeds, crate::Numbers::default(), None);
        let lines = [
            "GPRMC,120000.00,A,5000.000,N,01000.000,W,6.0,090.0,011126,,,A",
            "GPRMB,A,0.40,L,A,FLORES,5000.000,N,00900.000,W,,090.0,6.0,V,A",
        ];
        for (s, line) in (1..).zip(lines) {
            let sum = line.bytes().fold(0, |sum, b| sum ^ b);
            let line = format!("${line}*{sum:02X}").parse().unwrap();
            assert!(w.take(Moment(s * 1000), crate::Input::Line(terms::FeedId(0), line)).is_ok());
        }
        let told = "FLORES 38.7 nm, 090°, at 6.0 kn in 6 h 27 min; 0.4 nm off track, steer to port";
        let handover = w.handover(Moment(2000));
        assert!(handover.lines.contains(&format!("Plan: {told}")), "{:?}", handover.lines);
        let passage = w.status(Moment(2000), &crate::Outside::default()).passage.unwrap();
        assert_eq!((passage.waypoint.as_str(), passage.words().as_str()), ("FLORES", told));
        assert_eq!((passage.cross_track_error_nm, passage.to_go_nm), (Some(-0.4), None));
        w.advance(Moment(70_000));
        assert_eq!(w.status(Moment(70_000), &crate::Outside::default()).passage, None);
    }

    #[test]
    fn how_far_off_a_low_beacon_is_heard_is_told_with_what_it_means() {
        let boat = |antenna: &str| {
            let text = format!("version = 1\n[vessel]\nmotoring_speed_kn = 8\n{antenna}");
            boat::read("boat.toml", &text).unwrap().0
        };
        let told = |antenna: &str, kept: &str| {
            let at = Moment(0);
            let mut w = Watch::begun(at, &boat(antenna), &[], crate::Numbers::default(), None);
            w.lookout.take_up_hearing(at, serde_json::from_str(kept).unwrap_or_default());
            w.handover(at).lines.into_iter().find(|l| l.contains("low beacon")).unwrap()
        };
        // Three vessels heard to six miles and no further, in quarters of a mile.
        let of = |mmsi: u32| {
            let steps: Vec<String> = (2..34u16)
                .map(|s| if s < 24 { format!("\"{s}\":[9,0]") } else { format!("\"{s}\":[0,2]") })
                .collect();
            format!("{{\"mmsi\":{mmsi},\"beacon\":false,\"steps\":{{{}}}}}", steps.join(","))
        };
        let kept = format!("[{},{},{}]", of(211_000_001), of(211_000_002), of(211_000_003));
        let line = told("antenna_m = 14\n", &kept);
        assert!(line.starts_with("A low beacon is heard to about 3."), "{line}");
        assert!(line.contains("at 8 knots, out of hearing in 2"), "{line}");
        let thin = told("antenna_m = 14\n", "[]");
        assert!(thin.contains("not known: too little to go by: 0 pairs"), "{thin}");
        assert!(told("", &kept).contains("`antenna_m` in boat.toml"));
        assert!(told("antenna_m = 14\n", "what is this").contains("too little"));
    }

    #[test]
    fn a_trend_is_told_with_its_span() {
        let mut t = Trends::default();
        let at = |min: i64, hpa: f64| Weather {
            at: Moment(min * 60_000),
            pressure_hpa: Some(hpa),
            wind_kn: Some(12.0),
            wind_from_deg: Some(245.0),
        };
        for n in 0..30 {
            t.note(at(n * 10, 1015.0 - n as f64 * 0.2));
        }
        assert_eq!(t.0.len(), NOTES);
        let words = t.words(at(300, 1009.0)).to_string();
        assert!(
            words.starts_with(
                "pressure 1009.0 hPa, -3.8 hPa in 3 h 10 min, falling quickly; wind 12 kn from 245°"
            ),
            "{words}"
        );
    }
}
