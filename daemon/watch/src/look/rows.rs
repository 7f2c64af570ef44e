//! Own vessel, what is heard and the watch in words: what the card and `status` show line by line, made once for both.

use crate::Watch;
use record::words::count;
use record::{AisNow, OwnNow, RowNow, WatchNow};
use rules::Declared;
use terms::{Moment, three_digits};

const NOT_KNOWN: &str = "not known";

impl Watch {
    /// What is declared.
    pub(super) fn declared_words(&self) -> String {
        let declared: Vec<&str> = self.board.declared().iter().map(Declared::name).collect();
        if declared.is_empty() { "nothing: all orders apply".to_owned() } else { declared.join(", ") }
    }

    /// How many orders watch, as things are declared, and which do not.
    pub(super) fn watching_words(&self) -> String {
        let resting: Vec<&str> = self.board.out_of_force().collect();
        let watching = count(self.board.orders().count() - resting.len(), "order", "orders");
        if resting.is_empty() { watching } else { format!("{watching}; not: {}", resting.join(", ")) }
    }

    pub(super) fn rows_now(&self, at: Moment, own: &OwnNow, ais: &AisNow, watch: &WatchNow) -> Vec<RowNow> {
        let row = |name: &str, words: Option<String>, age_s: Option<f64>| RowNow {
            name: name.to_owned(),
            age_s: age_s.filter(|_| words.is_some()),
            words: words.unwrap_or_else(|| NOT_KNOWN.to_owned()),
            last_s: None,
        };
        let lasting = |name: &str, words: String, last_s: Option<f64>| RowNow {
            name: name.to_owned(),
            words,
            age_s: None,
            last_s,
        };
        let three = |deg: f64| format!("{}°", three_digits(deg));
        let cog = own.part.cog_deg.map(|deg| format!("COG {}", three(deg)));
        let sog = own.part.sog_kn.map(|kn| format!("SOG {kn:.1} kn"));
        let course: Vec<String> = cog.into_iter().chain(sog).collect();
        let depth = own.depth_m.zip(own.depth_below.as_ref());
        let and = |more: &Option<String>| more.as_ref().map_or(String::new(), |more| format!(", {more}"));
        let wind = own.true_wind_kn.zip(own.true_wind_direction_deg);
        let wind =
            wind.map(|(kn, from)| format!("{kn:.0} kn from {}{}", three(from), and(&own.true_wind_before)));
        let pressure = own.pressure_hpa.map(|p| format!("{p:.1} hPa{}", and(&own.pressure_trend)));
        let heard = match (ais.ships, ais.heard_age_s) {
            (_, None) => "none heard yet".to_owned(),
            (0, Some(_)) => "none heard for {}".to_owned(),
            (n, Some(_)) => format!("{} heard, last {{}} ago", count(n, "ship", "ships")),
        };
        let who = watch.who.as_deref().unwrap_or("nobody by name");
        let mut rows = vec![
            row("Position", own.position.clone(), own.position_age_s),
            row("Course", (!course.is_empty()).then(|| course.join(", ")), own.course_age_s),
            row("Heading", own.part.heading_deg.map(three), own.heading_age_s),
            row("Depth", depth.map(|(m, below)| format!("{m:.1} m below the {below}")), own.depth_age_s),
            row("Wind", wind, own.true_wind_age_s),
            row("Pressure", pressure, own.pressure_age_s),
            lasting("AIS", heard, ais.heard_age_s),
        ];
        if let Some(r) = &own.reckoned {
            let words =
                format!("{}, to {:.1} nm, {:.1} nm by {} in {{}}", r.position, r.error_nm, r.run_nm, r.by);
            rows.insert(1, lasting("By dead reckoning", words, Some(r.age_s)));
        }
        if own.transmitted_age_s.is_some() {
            rows.push(lasting("Own AIS", "heard transmitting {} ago".to_owned(), own.transmitted_age_s));
        }
        rows.extend([
            row("Ship's time", Some(self.ship_time_words(at)), None),
            lasting(
                "On watch",
                watch.since_s.map_or(who.to_owned(), |_| format!("{who} for {{}}")),
                watch.since_s,
            ),
            row("Declared", Some(self.declared_words()), None),
            row("Watching", Some(self.watching_words()), None),
        ]);
        rows.extend(watch.alarm_words.clone().map(|words| row("Watch alarm", Some(words), None)));
        rows
    }
}
