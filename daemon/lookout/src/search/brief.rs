//! The sheet for the coordinator ashore: read over the radio in the order of a distress call, with everything needed to
//! recompute it there.

use super::coverage::{Area, Searched};
use super::export::{clock, utc_at};
use super::plan::{FIRST_CAUTION, hm};
use super::survival::Survival;
use crate::casualty::{CasualtyState, ElapsedIs, Kind, OwnContext, Placed};
use crate::drift::{Current, CurrentFrom, Datum, DriftFrom, at_10_m};
use crate::light::Light;
use crate::words::Visibility;
use std::fmt::Write;
use terms::{Mmsi, Moment, Utc, one_line};

/// Own vessel as she calls.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Vessel {
    /// Her name.
    pub name: Option<String>,
    /// Her call sign.
    pub call_sign: Option<String>,
    /// Her identity.
    pub mmsi: Option<Mmsi>,
    /// Souls aboard before the casualty.
    pub persons: Option<u32>,
}

/// The sheet. Anything unknown is a blank: `________`.
pub fn brief(
    at: Moment,
    vessel: &Vessel,
    s: &CasualtyState,
    datum: Option<&Datum>,
    current: &Current,
    searched: &[Searched],
    own: &OwnContext,
) -> String {
    let utc = own.utc.map(|u| u.0);
    let mut sheet = Sheet { out: String::new(), at, utc };
    sheet.line(FIRST_CAUTION);
    sheet.call(vessel, own);
    sheet.casualty(vessel, s);
    sheet.datum(datum);
    for text in datum.map_or_else(Vec::new, |d| super::line::sheet(s, d, current, own, utc)) {
        sheet.line(&text);
    }
    sheet.weather(own, current, datum);
    sheet.searched(searched);
    sheet.out
}

/// The sheet as it grows.
struct Sheet {
    out: String,
    at: Moment,
    utc: Option<Utc>,
}

/// A blank to be filled in by hand.
const BLANK: &str = "________";

impl Sheet {
    fn line(&mut self, text: &str) {
        // Names come from files and the air: a line stays a line.
        let text = one_line(text);
        // Writing to a string cannot fail.
        let _ = writeln!(self.out, "{text}");
    }

    /// The call: who, where, what, which help, how many (order of a distress call by voice; ITU Radio Regulations,
    /// article 32, from memory).
    fn call(&mut self, vessel: &Vessel, own: &OwnContext) {
        let name = vessel.name.as_deref().unwrap_or(BLANK);
        let sign = vessel.call_sign.as_deref().unwrap_or(BLANK);
        let mmsi = vessel.mmsi.or(own.mmsi).map_or(BLANK.to_owned(), |m| m.to_string());
        self.line(&format!(
            "MAYDAY MAYDAY MAYDAY. This is {name}, {name}, {name}. Call sign {sign}, MMSI {mmsi}."
        ));
        self.line(&format!("MAYDAY {name}, call sign {sign}, MMSI {mmsi}."));
        let place = own.position_at(self.at).map_or(BLANK.to_owned(), |p| p.to_string());
        let time = self.utc.map_or(BLANK.to_owned(), |_| clock(self.at, self.at, self.utc));
        let course = own.velocity(self.at).map_or(String::new(), |v| {
            format!(", course {:03.0} true, {:.1} knots", v.set_deg.round() % 360.0, v.drift_kn)
        });
        let reckoned = own.reckoned.map_or(String::new(), |r| {
            let fix = clock(r.since, self.at, self.utc);
            format!(", by dead reckoning, within {:.1} nautical miles; last fix {fix}", r.error_nm)
        });
        self.line(&format!("My position {place} at {time}{reckoned}{course}."));
    }

    /// The casualty itself.
    fn casualty(&mut self, vessel: &Vessel, s: &CasualtyState) {
        self.line(&format!("Nature: {}. I require assistance with the search.", crate::casualty::who(s)));
        let persons = vessel.persons.map_or(BLANK.to_owned(), |n| n.to_string());
        self.line(&format!("Persons aboard before the casualty: {persons}."));
        let since = if s.elapsed_is == ElapsedIs::AtLeast { "at least " } else { "" };
        // Without UTC there is no other time than how long ago.
        let began = self.utc.map_or(String::new(), |_| {
            clock(Moment(self.at.0.saturating_sub(millis(s.elapsed))), self.at, self.utc) + ", "
        });
        self.line(&format!(
            "Began {began}{since}{} minutes ago; reported by {}.",
            s.elapsed.as_secs() / 60,
            s.source.word()
        ));
        match s.last_known {
            Some(k) => {
                let time = clock(k.at, self.at, self.utc);
                let what = if s.fix_age.is_some() { "by its beacon" } else { "estimated" };
                self.line(&format!("Last known position {} at {time}, {what}.", k.value));
            }
            None => self.line("Last known position: none."),
        }
        let now = match (s.position, s.place) {
            (Placed::Reported, Some(p)) => format!("{p}, reported"),
            (Placed::Estimated, Some(p)) => format!("{p}, estimated"),
            _ => "not known".to_owned(),
        };
        let radius = s.radius95_nm.map_or(String::new(), |r| format!(", within {r:.2} nm 95 times in 100"));
        self.line(&format!("Position now: {now}{radius}."));
        if let Some(((range, bearing), _)) = s.range_nm.zip(s.bearing_deg).zip(s.place) {
            self.line(&format!("From me: {:03.0} true, {range:.2} nautical miles.", bearing.round() % 360.0));
        }
        if let Some(e) = &s.elsewhere {
            let by = match e.bursts {
                0 => "by my track at the time".to_owned(),
                1 => "by one report that does not fit the others".to_owned(),
                n => format!("by {n} reports that do not fit the others"),
            };
            self.line(&format!(
                "May also be at {}, within {:.2} nm 95 times in 100, {by}.",
                e.place, e.radius95_nm
            ));
        }
        match (s.beacon_mmsi, s.heard_age) {
            (Some(m), Some(age)) => {
                let battery = if s.battery_low == Some(true) { ", battery low" } else { "" };
                self.line(&format!("Beacon {m}, last heard {} s ago{battery}.", age.as_secs()));
            }
            (Some(m), None) => self.line(&format!("Beacon {m}.")),
            (None, _) if s.kind == Kind::PersonOverboard => self.line("No beacon heard."),
            _ => {}
        }
    }

    /// The datum and what to recompute it from.
    fn datum(&mut self, datum: Option<&Datum>) {
        let Some(d) = datum else { return };
        let from = match d.drift_from {
            DriftFrom::Beacon => "by the beacon's own fixes",
            DriftFrom::WindAndCurrent => "by wind and current",
            DriftFrom::Nothing => "nothing known of wind and current",
        };
        self.line(&format!(
            "Datum {} at {}; circle of 95 % {:.2} nm, smallest region {:.1} square miles.",
            d.place,
            clock(d.at, self.at, self.utc),
            d.radius95_nm,
            d.area95_nm2
        ));
        self.line(&format!(
            "Drift toward {:03.0} at {:.1} knots, give or take {:.1} ({from}).",
            d.drift.set_deg.round() % 360.0,
            d.drift.drift_kn,
            d.drift_deviation_kn
        ));
        if d.diverging[0].range_and_bearing(d.diverging[1]).0 > 0.1 {
            self.line(&format!(
                "Leeway to the left of downwind {}, to the right {}.",
                d.diverging[0], d.diverging[1]
            ));
        }
    }

    /// Wind, current and water.
    fn weather(&mut self, own: &OwnContext, current: &Current, datum: Option<&Datum>) {
        match own.wind {
            Some(w) => {
                let low = at_10_m(w.value, own.wind_height_m);
                self.line(&format!(
                    "Wind from {:03.0} true, {:.0} knots at the masthead, {:.0} at 10 m.",
                    w.value.from_deg.round() % 360.0,
                    w.value.speed_kn,
                    low.speed_kn
                ));
            }
            None => self.line(&format!("Wind {BLANK}.")),
        }
        let c = current.set_drift();
        let text = match current.from {
            CurrentFrom::Nothing => format!("Current {BLANK}."),
            CurrentFrom::Given => {
                format!("Current toward {:03.0} at {:.1} knots, given.", c.set_deg, c.drift_kn)
            }
            CurrentFrom::Measured => {
                let deviation = (0.5 * (current.covariance[0][0] + current.covariance[1][1])).sqrt();
                format!(
                    "Current toward {:03.0} at {:.1} knots, give or take {deviation:.1}, by log and compass against the ground.",
                    c.set_deg.round() % 360.0,
                    c.drift_kn
                )
            }
        };
        self.line(&text);
        match own.water_temperature_c {
            Some(t) => self.line(&Survival::at(t.value).words()),
            None => self.line(&format!("Water temperature {BLANK}.")),
        }
        let visibility = own.visibility.map_or(BLANK.to_owned(), |v| match v {
            Visibility::InSight => "good, as declared".to_owned(),
            Visibility::Restricted => "restricted, as declared".to_owned(),
        });
        self.line(&format!("Visibility {visibility}. Sea {BLANK}."));
        let place = datum.map(|d| d.place).or(own.position_at(self.at));
        let light = self.utc.zip(place).and_then(|(utc, place)| Light::at(utc, place));
        let light = light.map_or(BLANK.to_owned(), |l| l.words(hm));
        self.line(&format!("Light: {light}."));
    }

    /// What has been searched.
    fn searched(&mut self, searched: &[Searched]) {
        if searched.is_empty() {
            self.line("Nothing searched so far.");
        }
        for s in searched {
            let form = match s.area {
                Area::Circle { radius_nm } => format!("circle of {radius_nm:.2} nm round"),
                Area::Line { half_nm, .. } => {
                    format!("along the datum line, {half_nm:.2} nm to either side, from")
                }
                Area::Square { half_nm, side_deg } => {
                    format!("square of {:.2} nm a side, one side {side_deg:03.0} true, round", 2.0 * half_nm)
                }
            };
            let time = match utc_at(s.at, self.at, self.utc) {
                Some(_) => clock(s.at, self.at, self.utc),
                None => format!("{} min ago", self.at.since(s.at).as_secs() / 60),
            };
            self.line(&format!("Searched: {form} {} at {time}, coverage {:.2}.", s.centre, s.coverage));
        }
        self.line("Over.");
    }
}

/// Whole milliseconds.
fn millis(d: std::time::Duration) -> i64 {
    i64::try_from(d.as_millis()).unwrap_or(i64::MAX)
}
