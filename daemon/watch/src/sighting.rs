//! Somebody sees a casualty.

use crate::Watch;
use lookout::casualty::Seen;
use record::{ActError, Entry};
use terms::{CasualtyId, Moment, three_digits};

/// The words for a side, and how many degrees off the bow its middle lies, port negative. The beam reaches 10° to either
/// side, ahead and astern 15°.
const SIDES: [(&str, f64); 8] = [
    ("ahead", 0.0),
    ("starboard bow", 47.5),
    ("starboard beam", 90.0),
    ("starboard quarter", 132.5),
    ("astern", 180.0),
    ("port quarter", -132.5),
    ("port beam", -90.0),
    ("port bow", -47.5),
];

impl Watch {
    /// Takes a sighting as a clue.
    ///
    /// # Errors
    /// If side, bearing or distance makes no sense, there is no such casualty, or own position or heading is not known.
    pub(crate) fn sighted(
        &mut self,
        at: Moment,
        which: Option<CasualtyId>,
        side: Option<&str>,
        bearing_deg: Option<f64>,
        metres: f64,
    ) -> Result<String, ActError> {
        let words = side.map(|s| s.trim().trim_start_matches("on the ").to_lowercase().replace('-', " "));
        let seen = match (words.as_deref(), bearing_deg) {
            (None, Some(deg)) if (0.0..=360.0).contains(&deg) => Seen::Bearing(deg),
            (Some(words), None) => {
                let side = SIDES.iter().find(|(side, _)| *side == words);
                Seen::OffBow(side.map(|(_, deg)| *deg).ok_or_else(|| {
                    let known: Vec<&str> = SIDES.iter().map(|(side, _)| *side).collect();
                    ActError::Wrong(format!("`{words}` is no side: it is one of {}", known.join(", ")))
                })?)
            }
            _ => return Err(ActError::Wrong("say a side, or a true bearing from 0 to 360".to_owned())),
        };
        if !(1.0..=5000.0).contains(&metres) {
            return Err(ActError::Wrong(
                "the metres come last, from 1 to 5000: sighted port bow 200".to_owned(),
            ));
        }
        let id = self.which_casualty(at, which)?;
        let place =
            self.lookout.sighted(at, id, seen, metres).map_err(|e| ActError::Nothing(e.to_string()))?;
        let side =
            words.unwrap_or_else(|| format!("bearing {}", three_digits(bearing_deg.unwrap_or_default())));
        let text = format!("casualty {} sighted {side}, {metres:.0} m off: {place}", id.0);
        self.enter(at, Entry::Note { who: self.on_watch(), text: text.clone() });
        self.keep_due = true;
        Ok(text)
    }
}

#[cfg(test)]
mod tests {
    use crate::Outside;
    use crate::missing::tests::under_way;
    use record::Act;

    fn sighted(side: Option<&str>, bearing_deg: Option<f64>, metres: f64) -> Act {
        Act::Sighted { side: side.map(Into::into), bearing_deg, metres, casualty: None }
    }

    #[test]
    fn a_sighting_needs_a_casualty_a_side_and_a_distance_that_make_sense() {
        let (mut w, now) = under_way();
        let said = w.act(now, sighted(Some("port bow"), None, 100.0)).unwrap_err().to_string();
        assert!(said.contains("no casualty"), "{said}");
        w.act(now, Act::Overboard { late_s: 60.0, who: Some("Ada".into()) }).unwrap();
        for (act, part) in [
            (sighted(Some("larboard"), None, 100.0), "`larboard` is no side: it is one of ahead"),
            (sighted(None, None, 100.0), "say a side"),
            (sighted(Some("astern"), Some(180.0), 100.0), "say a side"),
            (sighted(None, Some(400.0), 100.0), "say a side"),
            (sighted(Some("astern"), None, 0.0), "from 1 to 5000"),
        ] {
            let said = w.act(now, act).unwrap_err().to_string();
            assert!(said.contains(part), "{said}");
        }
        // There is no compass, so the side goes by the course, north.
        let done = w.act(now, sighted(Some("on the port beam"), None, 200.0)).unwrap();
        assert!(done.starts_with("casualty 1 sighted port beam, 200 m off: "), "{done}");
        let words = &w.status(now, &Outside::default()).casualties[0].words;
        assert!(words.contains("seen"), "{words}");
    }
}
