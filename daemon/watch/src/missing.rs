//! Somebody is missing whom nobody saw fall.

use crate::Watch;
use crate::crew::overboard;
use lookout::casualty::{FALL_WITHIN, Fell};
use record::ActError;
use std::time::Duration;
use terms::{Hour, Moment, ShipTime, span};

impl Watch {
    /// Marks a fall between two times, which are written as times of the day or as how long ago.
    ///
    /// # Errors
    /// If a time cannot be read, or lies more than a day back, or the two are in the wrong order.
    pub(crate) fn missing(
        &mut self,
        at: Moment,
        who: Option<String>,
        last_seen: &str,
        missed: Option<&str>,
    ) -> Result<String, ActError> {
        let who = overboard(who)?;
        let last_seen = self.ago(at, last_seen)?;
        let missed = missed.map_or(Ok(Duration::ZERO), |text| self.ago(at, text))?;
        if last_seen <= missed {
            return Err(ActError::Wrong(format!(
                "last seen {} ago and missed {} ago: nobody is missed before he or she was last seen",
                span(last_seen),
                span(missed)
            )));
        }
        let id = self.lookout.overboard(at, Fell::Between { last_seen, missed }, who);
        let state = self.lookout.casualty(at, id);
        let line = state.as_ref().filter(|s| !s.line.is_empty());
        let lies = match line {
            Some(s) if s.line_unknown > 0.005 => {
                format!("on own track, of which {:.0} % is not known", (100.0 * s.line_unknown).max(1.0))
            }
            Some(_) => "on own track".to_owned(),
            None if state.as_ref().is_some_and(|s| s.place.is_some()) => {
                "where its beacon reports".to_owned()
            }
            None => "nobody knows where: own track of that time is not known".to_owned(),
        };
        let until = if missed.is_zero() { "now".to_owned() } else { format!("{} ago", span(missed)) };
        Ok(format!("casualty {} marked: between {} ago and {until}, {lies}", id.0, span(last_seen)))
    }

    /// How long ago a time is that somebody of the crew writes: `02:10` by ship's time, `02:10 UTC`, or `90 min`. A time of
    /// the day is the last one.
    ///
    /// # Errors
    /// If it is none of these, is more than a day ago, or UTC is not known for a time of the day.
    fn ago(&self, at: Moment, text: &str) -> Result<Duration, ActError> {
        let text = text.trim();
        let (of_day, universal) = match text.strip_suffix("UTC").or(text.strip_suffix('Z')) {
            Some(rest) => (rest.trim(), true),
            None => (text, false),
        };
        if let Some(hour) = Hour::parse(of_day) {
            let (utc, _) = self.lookout.utc(at).ok_or_else(|| {
                ActError::Nothing("the time is not known: say how long ago, such as 90 min".to_owned())
            })?;
            let ship = if universal { ShipTime::from_seconds(0) } else { self.ship_time() };
            let ago_s =
                (ship.of(utc).ms_of_day() / 1000 - i64::from(hour.minutes()) * 60).rem_euclid(24 * 3600);
            return Ok(Duration::from_secs(ago_s.unsigned_abs()));
        }
        let length = form::length_of_time(text.strip_suffix("ago").unwrap_or(text)).map_err(|why| {
            ActError::Wrong(format!(
                "`{text}` is no time: write 02:10 by ship's time, 02:10 UTC, or how long ago, 90 min{why}"
            ))
        })?;
        if length > FALL_WITHIN {
            return Err(ActError::Wrong(format!(
                "{} is too long ago: own track is kept for 24 h",
                span(length)
            )));
        }
        Ok(length)
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use crate::{FeedSetting, Input, Numbers, Outside, Watch};
    use record::{Act, CasualtyQuestion};
    use terms::{FeedId, Moment};

    /// A watch under way north at 6 kn for two hours by satellite, from 2026-11-01 02:00 UTC, with a fix each ten seconds.
    pub(crate) fn under_way() -> (Watch, Moment) {
        let boat =
            boat::read("boat.toml", "version = 1\n[[feed]]\nname = \"gps\"\ntcp = \"a:1\"\n").unwrap().0;
        let feeds: Vec<FeedSetting> = boat.feeds.iter().map(FeedSetting::of).collect();
        let mut w = Watch::begun(Moment(0), &boat, &feeds, Numbers::default(), None);
        for t in (0..=7_200).step_by(10) {
            let (h, m, s) = (2 + t / 3600, t / 60 % 60, t % 60);
            let minutes = f64::from(t) / 600.0;
            let (degree, minute) = (49 + (minutes / 60.0) as u32, minutes % 60.0);
            let body = format!(
                "GPRMC,{h:02}{m:02}{s:02}.00,A,{degree:02}{minute:07.4},N,00600.0000,W,6.0,0.0,011126,,,A"
            );
            let sum = body.bytes().fold(0, |a, b| a ^ b);
            let line = format!("${body}*{sum:02X}");
            let _ = w.take(Moment::from_s(f64::from(t)), Input::Line(FeedId(0), line.parse().unwrap()));
        }
        (w, Moment::from_s(7_200.0))
    }

    fn missing(last_seen: &str, missed: Option<&str>) -> Result<String, String> {
        let (mut w, now) = under_way();
        let act = Act::Missing {
            who: Some("Ada".into()),
            last_seen: last_seen.into(),
            missed: missed.map(Into::into),
        };
        w.act(now, act).map_err(|e| e.to_string())
    }

    #[test]
    fn times_are_of_the_day_or_how_long_ago_and_at_most_a_day() {
        let marked = |between: &str| Ok(format!("casualty 1 marked: between {between}, on own track"));
        // It is 04:00 by UTC and by ship's time.
        assert_eq!(missing("02:30", None), marked("90 min ago and now"));
        assert_eq!(missing("02:30 UTC", Some("03:50Z")), marked("90 min ago and 10 min ago"));
        assert_eq!(missing(" 90 min ago", Some("10 min")), marked("90 min ago and 10 min ago"));
        for (last_seen, missed, part) in [
            ("10 min", Some("90 min"), "nobody is missed before"),
            ("25 h", None, "own track is kept for 24 h"),
            ("yesterday", None, "`yesterday` is no time: write 02:10 by ship's time"),
            ("90", None, "90 of what?"),
            ("90 min", Some("soon"), "`soon` is no time"),
            ("", None, "`` is no time"),
        ] {
            let why = missing(last_seen, missed).unwrap_err();
            assert!(why.contains(part), "{last_seen} {missed:?}: {why}");
        }
    }

    #[test]
    fn what_is_shown_is_a_line_in_the_record_the_sheet_and_the_search() {
        let (mut w, now) = under_way();
        let act = Act::Missing { who: Some("Ada".into()), last_seen: "90 min".into(), missed: None };
        w.act(now, act).unwrap();
        let status = w.status(now, &Outside::default());
        let part = &status.casualties[0].part;
        assert_eq!(
            (part.last_seen_s, part.missed_s, part.position.as_str()),
            (Some(5_400.0), Some(0.0), "estimated")
        );
        assert!(
            part.line.len() >= 2 && part.line.iter().map(|p| p.share).sum::<f64>() > 0.999,
            "{:?}",
            part.line
        );
        assert_eq!(part.line[0].fell_s, 5_400.0);
        let question = CasualtyQuestion {
            brief: true,
            pattern: Some("line".into()),
            spacing_nm: Some(0.2),
            speed_kn: Some(6.0),
            ..CasualtyQuestion::default()
        };
        let answer = w.casualty_look(now, &question).unwrap();
        assert!(answer.brief.unwrap().contains("Datum line from "));
        assert!(answer.gpx.unwrap().matches("<rtept ").count() >= 2);
        assert!(answer.plan.unwrap().contains("The casualty lies within 0.10 nm of these legs"));
        // Recorded and replayed, it is the same.
        let json =
            serde_json::to_string(&Act::Missing { who: None, last_seen: "02:30".into(), missed: None })
                .unwrap();
        assert_eq!(json, "{\"act\":\"missing\",\"who\":null,\"last_seen\":\"02:30\",\"missed\":null}");
    }
}
