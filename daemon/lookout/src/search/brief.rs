//! The sheet for the radio: what to read out, in the order of the radio regulations, and below it what a coordinator ashore
//! asks for and needs to recompute it.
//!
//! For one of ours it is a distress call and message, for anybody else a relay of what was received, and once a casualty
//! is stood down it cancels either.

use super::coverage::{Area, Searched};
use super::export::{clock, utc_at};
use super::plan::{FIRST_CAUTION, hm};
use super::survival::Survival;
use crate::casualty::{
    CasualtyState, ElapsedIs, Kind, OwnContext, Placed, Source, StandDown, Whose, station, who,
};
use crate::drift::{Current, CurrentFrom, Datum, DriftFrom, at_10_m};
use crate::light::Light;
use crate::words::Visibility;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::time::Duration;
use terms::{METRES_PER_NM, Mmsi, Moment, Utc, one_line, three_digits};

#[cfg(test)]
mod tests;

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

/// What the sheet is made from.
pub struct Facts<'a> {
    /// Own vessel as she calls.
    pub vessel: &'a Vessel,
    /// The casualty.
    pub casualty: &'a CasualtyState,
    /// How many of ours are in the water.
    pub ours: usize,
    /// Where it is by drift, if it drifts.
    pub datum: Option<&'a Datum>,
    /// The current as own vessel knows it.
    pub current: &'a Current,
    /// Areas searched for it in vain, in the order they were counted.
    pub searched: &'a [Searched],
    /// Own vessel.
    pub own: &'a OwnContext,
}

/// The sheet. Anything unknown is a blank: `________`.
pub fn brief(at: Moment, facts: &Facts<'_>) -> String {
    let mut sheet = Sheet { out: String::new(), at, utc: facts.own.utc.map(|u| u.0), facts };
    sheet.line(FIRST_CAUTION);
    match (facts.casualty.stood_down, facts.casualty.whose) {
        (Some((ended, reason)), whose) if reason != StandDown::HandedOver => {
            sheet.cancellation(ended, reason, whose);
            return sheet.out;
        }
        (_, Whose::Ours) => sheet.distress(),
        _ => sheet.relay(),
    }
    sheet.line("When the coordinator asks for more.");
    sheet.casualty();
    sheet.datum();
    if let Some(d) = facts.datum {
        for text in super::line::sheet(facts.casualty, d, facts.current, facts.own, sheet.utc) {
            sheet.line(&text);
        }
    }
    sheet.weather();
    sheet.searched();
    sheet.out
}

/// The sheet as it grows.
struct Sheet<'a> {
    out: String,
    at: Moment,
    utc: Option<Utc>,
    facts: &'a Facts<'a>,
}

/// A blank to be filled in by hand.
const BLANK: &str = "________";

impl Sheet<'_> {
    fn line(&mut self, text: &str) {
        // Names come from files and the air: a line stays a line.
        let text = one_line(text);
        // Writing to a string cannot fail.
        let _ = writeln!(self.out, "{text}");
    }

    /// "at 02:14 UTC"; without UTC, how long ago.
    fn time(&self, of: Moment) -> String {
        let at = if self.utc.is_some() { "at " } else { "" };
        format!("{at}{}", clock(of, self.at, self.utc))
    }

    /// The same with a blank to write in where UTC is not known.
    fn by_utc(&self, of: Moment) -> String {
        if self.utc.is_some() { self.time(of) } else { format!("at {BLANK} UTC") }
    }

    /// A time by UTC with its date, as a cancellation has it; a blank without UTC.
    fn date(&self, of: Moment) -> String {
        let utc = utc_at(of, self.at, self.utc).and_then(Utc::civil);
        utc.map_or_else(|| format!("{BLANK} UTC"), |t| t.format("%Y-%m-%d, %H:%M UTC").to_string())
    }

    /// Who calls: "THIS IS", the name three times, call sign and identity (RR 32.13C, 32.19E, 32.53E).
    fn this_is(&mut self) {
        let (name, sign, mmsi) = self.names();
        self.line(&format!("THIS IS {name}, {name}, {name}, call sign {sign}, MMSI {mmsi}."));
    }

    fn names(&self) -> (String, String, String) {
        let vessel = self.facts.vessel;
        let known = |text: &Option<String>| text.clone().unwrap_or_else(|| BLANK.to_owned());
        let mmsi = vessel.mmsi.or(self.facts.own.mmsi).map_or(BLANK.to_owned(), |m| m.to_string());
        (known(&vessel.name), known(&vessel.call_sign), mmsi)
    }

    /// Own position, course and speed now.
    fn own_position(&mut self) {
        let own = self.facts.own;
        let place = own.position_at(self.at).map_or(BLANK.to_owned(), |p| p.to_string());
        let time = self.by_utc(self.at);
        let course = own.velocity(self.at).map_or(String::new(), |v| {
            format!(", course {} degrees, ground speed {:.1} knots", three_digits(v.set_deg), v.drift_kn)
        });
        let reckoned = own.reckoned.map_or(String::new(), |r| {
            let fix = clock(r.since, self.at, self.utc);
            format!(", by dead reckoning, within {:.1} nautical miles, last fix {fix}", r.error_nm)
        });
        self.line(&format!("My position {place} {time}{reckoned}{course}."));
    }

    /// The distress call (RR 32.13C) and the distress message in its order (RR 32.13D): name, call sign, identity, position,
    /// nature, assistance, anything else that helps. The phrases are those of the SMCP (IMO A.918(22), part A1/1).
    fn distress(&mut self) {
        let s = self.facts.casualty;
        self.line("MAYDAY, MAYDAY, MAYDAY.");
        self.this_is();
        let (name, sign, mmsi) = self.names();
        self.line(&format!("MAYDAY, {name}, call sign {sign}, MMSI {mmsi}."));
        self.own_position();
        let lost = match self.facts.ours {
            0 | 1 => "1 person".to_owned(),
            n => format!("{n} persons"),
        };
        self.line(&format!("Person overboard. I have lost {lost} overboard."));
        let (place, time) = self.last_known();
        self.line(&format!("Last known position {place} {time}."));
        if let (Placed::Estimated, Some(now)) = (s.position, s.place) {
            let drift = s.drift.map_or(String::new(), |d| {
                format!(", set {} degrees, drift {:.1} knots", three_digits(d.set_deg), d.drift_kn)
            });
            self.line(&format!("Estimated position now {now}{drift}."));
        }
        self.line("I require assistance with the search in the vicinity of that position.");
        let persons = self.facts.vessel.persons.map_or(BLANK.to_owned(), |n| n.to_string());
        self.line(&format!("Persons on board before the casualty: {persons}."));
        if let Some(m) = s.beacon_mmsi {
            self.line(&format!("The person carries AIS beacon {m}."));
        }
        self.line("OVER.");
    }

    /// A distress relay (RR 32.19E) and what was received (RR 32.19F); of our own crew nothing.
    fn relay(&mut self) {
        let s = self.facts.casualty;
        self.line(
            "Wait for a coast station to answer the distress. Relay only if none does; if one is in range, call it in place of all stations.",
        );
        self.line("MAYDAY RELAY, MAYDAY RELAY, MAYDAY RELAY.");
        self.line("ALL STATIONS, ALL STATIONS, ALL STATIONS.");
        self.this_is();
        let from = self.received_from();
        let time = self.time(self.began());
        self.line(&format!("Received from {from}, {time}."));
        let (place, measured) = self.last_known();
        let identity = s.ship_mmsi.or(s.beacon_mmsi).map_or(BLANK.to_owned(), |m| m.to_string());
        let what = if s.ship_mmsi.is_some() { "vessel" } else { "beacon" };
        self.line(&match (s.kind, s.whose) {
            (Kind::ManyBeacons { count }, _) => format!("MAYDAY, {count} or more distress beacons."),
            (_, Whose::Ship | Whose::Relayed) if s.ship_mmsi.is_none() => {
                "MAYDAY, unidentified vessel.".to_owned()
            }
            _ => format!("MAYDAY, {what} {identity}."),
        });
        let at = if s.last_known.is_some() { format!(" {measured}") } else { String::new() };
        self.line(&format!("Position {place}{at}{}.", self.how_exact()));
        let nature = match (s.nature(), s.kind) {
            (Some(nature), _) => nature,
            (None, Kind::PersonOverboard) => "person overboard",
            (None, _) => "not stated",
        };
        self.line(&format!("Nature of distress: {nature}."));
        self.own_position();
        self.line("OVER.");
    }

    /// Where a call for somebody else came from.
    fn received_from(&self) -> String {
        let s = self.facts.casualty;
        let by = match s.source {
            Source::Dsc => "by DSC",
            Source::Ais => "by AIS",
            Source::MobSentence => "by a person overboard receiver",
            Source::Button => "on board",
        };
        let beacon = |what: &str| match s.beacon_mmsi {
            Some(m) => format!("{what} {m}"),
            None => what.to_owned(),
        };
        let from = match (s.whose, s.relayed_by, s.ship_mmsi) {
            (Whose::Relayed, Some(by), _) => station(by),
            (Whose::Ship, _, Some(m)) => format!("vessel {m}"),
            (Whose::Ship | Whose::Relayed, ..) => "an unidentified vessel".to_owned(),
            (Whose::Sart, ..) => beacon("search and rescue transmitter"),
            (Whose::Epirb, ..) => beacon("EPIRB"),
            (Whose::Many, ..) => "several beacons".to_owned(),
            (Whose::Ours | Whose::Stranger, ..) => beacon("person overboard beacon"),
        };
        format!("{from} {by}")
    }

    /// How exact a position is that came by DSC.
    fn how_exact(&self) -> &'static str {
        let s = self.facts.casualty;
        let whole = s.source == Source::Dsc && s.fix_age.is_none() && s.last_known.is_some();
        if whole { ", sent in whole minutes" } else { "" }
    }

    /// What takes back a distress call or a relay, by radiotelephone (RR 32.53E; the SMCP for who was picked up).
    fn cancellation(&mut self, ended: Moment, reason: StandDown, whose: Whose) {
        if let still @ 1.. = self.facts.ours
            && whose == Whose::Ours
        {
            let (persons, are) = if still == 1 { ("person", "is") } else { ("persons", "are") };
            self.line(&format!("Do not cancel the distress: {still} {persons} {are} still in the water."));
            return;
        }
        self.line(
            "If a DSC alert was sent, cancel it on the radio first; then call on the channel of the distress call.",
        );
        self.line("ALL STATIONS, ALL STATIONS, ALL STATIONS.");
        self.this_is();
        self.own_position();
        if reason == StandDown::Recovered {
            let time = self.by_utc(ended);
            self.line(&format!("I have picked up 1 person {time}. I require no further assistance."));
        }
        let what = if whose == Whose::Ours { "DISTRESS ALERT" } else { "DISTRESS RELAY" };
        let began = self.date(self.began());
        self.line(&format!("PLEASE CANCEL MY {what} OF {began}."));
        self.line("OUT.");
    }

    /// When it began.
    fn began(&self) -> Moment {
        Moment(self.at.0.saturating_sub(millis(self.facts.casualty.elapsed)))
    }

    /// Last known position and its time.
    fn last_known(&self) -> (String, String) {
        match self.facts.casualty.last_known {
            Some(k) => (k.value.to_string(), self.time(k.at)),
            None => (BLANK.to_owned(), format!("at {BLANK} UTC")),
        }
    }

    /// Where the last known position comes from.
    fn source(&self) -> &'static str {
        let s = self.facts.casualty;
        match (s.source, s.fix_age.is_some()) {
            (Source::Dsc, true) => "by the vessel's own report",
            (Source::Dsc, false) => "by DSC, in whole minutes",
            (_, true) => "by the beacon's own fix",
            (Source::MobSentence, false) => "by the person overboard receiver",
            (Source::Button | Source::Ais, false) => "by own track",
        }
    }

    /// The casualty itself.
    fn casualty(&mut self) {
        let s = self.facts.casualty;
        let at_least = if s.elapsed_is == ElapsedIs::AtLeast { "at least " } else { "" };
        let how = match s.source {
            Source::Ais => "first heard by AIS ",
            Source::MobSentence => "reported by the person overboard receiver ",
            Source::Dsc => "received by DSC ",
            Source::Button => "lost ",
        };
        // Without UTC there is no other time than how long ago.
        let began = self.utc.map_or(String::new(), |_| format!("{how}{}, ", self.time(self.began())));
        let capital = who(s)
            .chars()
            .take(1)
            .flat_map(char::to_uppercase)
            .chain(who(s).chars().skip(1))
            .collect::<String>();
        self.line(&format!("{capital}: {began}{at_least}{} ago.", terms::span(s.elapsed)));
        if s.last_known.is_some() {
            let (place, time) = self.last_known();
            self.line(&format!("Last known position {place} {time}, {}.", self.source()));
        } else {
            self.line("Last known position: none.");
        }
        let confidence =
            s.radius95_nm.map_or(String::new(), |r| format!(", 95 % confidence within {}", distance(r)));
        match (s.position, s.place) {
            (Placed::Reported, Some(p)) => self.line(&format!("Position now {p}, reported{confidence}.")),
            (Placed::Estimated, Some(p)) => self.line(&format!("Position now {p}, estimated{confidence}.")),
            _ => self.line("Position now: not known."),
        }
        if let (Some(range), Some(bearing)) = (s.range_nm, s.bearing_deg) {
            let bearing = three_digits(bearing);
            self.line(&format!("Bearing {bearing} degrees, distance {} from me.", distance(range)));
        }
        if let Some(e) = &s.elsewhere {
            let by = match e.bursts {
                0 => "by own track at the time".to_owned(),
                1 => "by one report that does not fit the others".to_owned(),
                n => format!("by {n} reports that do not fit the others"),
            };
            let within = distance(e.radius95_nm);
            self.line(&format!("May also be at {}, 95 % confidence within {within}, {by}.", e.place));
        }
        if let (Some(m), Some(age)) = (s.beacon_mmsi, s.heard_age) {
            let battery = if s.battery_low == Some(true) { ", battery low" } else { "" };
            self.line(&format!("Beacon {m} last heard {} ago{battery}.", terms::span(age)));
        } else if s.whose == Whose::Ours && s.beacon_mmsi.is_none() && s.heard_age.is_none() {
            self.line("No beacon heard.");
        }
        if let Some((ended, StandDown::HandedOver)) = s.stood_down {
            self.line(&format!("Handed over by me {}.", self.time(ended)));
        }
    }

    /// The datum and what to recompute it from.
    fn datum(&mut self) {
        let Some(d) = self.facts.datum else { return };
        let from = match d.drift_from {
            DriftFrom::Beacon => "by the beacon's own fixes",
            DriftFrom::WindAndCurrent => "by wind and current",
            DriftFrom::Nothing => "wind and current not known",
        };
        self.line(&format!(
            "Datum {} {}, 95 % confidence: circle of radius {}, smallest region {:.2} square nautical miles.",
            d.place,
            self.time(d.at),
            distance(d.radius95_nm),
            d.area95_nm2
        ));
        self.line(&format!(
            "Drift of the casualty: set {} degrees, drift {:.1} knots, give or take {:.1} knots, {from}.",
            three_digits(d.drift.set_deg),
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
    fn weather(&mut self) {
        let own = self.facts.own;
        match own.wind {
            Some(w) => {
                let low = at_10_m(w.value, own.wind_height_m);
                self.line(&format!(
                    "Wind from {} degrees, {:.0} knots at the masthead, {:.0} knots at 10 m.",
                    three_digits(w.value.from_deg),
                    w.value.speed_kn,
                    low.speed_kn
                ));
            }
            None => self.line(&format!("Wind {BLANK}.")),
        }
        let current = self.facts.current;
        let c = current.set_drift();
        let set = format!("Current: set {} degrees, drift {:.1} knots", three_digits(c.set_deg), c.drift_kn);
        match current.from {
            CurrentFrom::Nothing => self.line(&format!("Current {BLANK}.")),
            CurrentFrom::Given => self.line(&format!("{set}, given.")),
            CurrentFrom::Measured => {
                let deviation = (0.5 * (current.covariance[0][0] + current.covariance[1][1])).sqrt();
                self.line(&format!("{set}, give or take {deviation:.1} knots, by log and compass."));
            }
        }
        match own.water_temperature_c {
            Some(t) => self.line(&Survival::at(t.value).words()),
            None => self.line(&format!("Water temperature {BLANK}.")),
        }
        let visibility = own.visibility.map_or(BLANK.to_owned(), |v| match v {
            Visibility::InSight => "good, as declared".to_owned(),
            Visibility::Restricted => "restricted, as declared".to_owned(),
        });
        self.line(&format!("Visibility {visibility}. Sea {BLANK}."));
        let place = self.facts.datum.map(|d| d.place).or(own.position_at(self.at));
        let light = self.utc.zip(place).and_then(|(utc, place)| Light::at(utc, place));
        let light = light.map_or(BLANK.to_owned(), |l| l.words(hm));
        self.line(&format!("Light: {light}."));
    }

    /// What has been searched.
    fn searched(&mut self) {
        if self.facts.searched.is_empty() {
            self.line("Not searched yet.");
        }
        let mut strips: BTreeMap<usize, Vec<&Searched>> = BTreeMap::new();
        for s in self.facts.searched {
            let form = match s.area {
                Area::Circle { radius_nm } => format!("circle of radius {} round", distance(radius_nm)),
                Area::Line { half_nm, beyond_nm, .. } if beyond_nm > 0.0 => format!(
                    "beside the datum line, {} to {} off on either side, from",
                    distance(beyond_nm),
                    distance(half_nm)
                ),
                Area::Line { half_nm, .. } => {
                    format!("along the datum line, {} to either side, from", distance(half_nm))
                }
                Area::Square { half_nm, side_deg } => {
                    let side = three_digits(side_deg);
                    format!("square of {} a side, one side {side} degrees, round", distance(2.0 * half_nm))
                }
                Area::Strip { .. } => {
                    strips.entry(s.number).or_default().push(s);
                    continue;
                }
            };
            let time = self.time(s.at);
            self.line(&format!(
                "Searched {time}: {form} {}, coverage factor {:.1}, negative result.",
                s.centre, s.coverage
            ));
        }
        for strips in strips.values() {
            let (Some(first), Some(last)) = (strips.first(), strips.last()) else { continue };
            let long_nm: f64 = strips.iter().filter_map(|s| s.area.strip()).map(|(long, _)| long).sum();
            let wide_nm = first.area.strip().map_or(0.0, |(_, wide)| wide);
            let (began, ended) = (self.time(first.at), self.time(last.at));
            self.line(&format!(
                "Searched along {} of own track, from {} {began} to {} {ended}, {} wide, coverage factor {:.1}, negative \
                 result.",
                distance(long_nm),
                first.centre,
                last.centre,
                distance(wide_nm),
                first.coverage
            ));
        }
    }
}

/// A distance as it is read out over the radio, with its unit.
fn distance(nm: f64) -> String {
    match nm {
        ..0.1 => format!("{:.0} metres", nm * METRES_PER_NM),
        ..10.0 => format!("{nm:.2} nautical miles"),
        _ => format!("{nm:.1} nautical miles"),
    }
}

/// Whole milliseconds.
fn millis(d: Duration) -> i64 {
    i64::try_from(d.as_millis()).unwrap_or(i64::MAX)
}
