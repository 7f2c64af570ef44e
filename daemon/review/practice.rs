//! The crew's drills: how they went over time, and what that means for tonight.

use super::night::Night;
use super::read::Reader;
use super::when::When;
use record::Entry;
use record::words::plural;
use serde::Serialize;
use std::fmt::Write;
use terms::METRES_PER_NM;
use terms::exact;

/// Most drills that are shown, the newest.
const DRILLS: usize = 200;
/// Below this mean speed she lay still, and tonight's distance is worked out with the drill's own speed.
const STILL_KN: f64 = 1.0;

/// A drill, as the logbook has it. Times are seconds since the alarm; `None` for what was not done.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Drilled {
    /// The alarm was acknowledged.
    pub acknowledged_s: Option<f64>,
    /// Alongside.
    pub alongside_s: Option<f64>,
    /// When the drill ended.
    pub at: When,
    /// The nearest she came after she had turned.
    pub closest_nm: Option<f64>,
    /// Why it ended.
    pub ended: String,
    /// Somebody was to be recovered.
    #[serde(skip)]
    pub fetches: bool,
    /// The farthest she was off.
    pub greatest_nm: Option<f64>,
    /// Her speed at the alarm.
    pub sog_kn: Option<f64>,
    /// The speed was off.
    pub speed_off_s: Option<f64>,
    /// The spotter was told.
    pub spotter_told_s: Option<f64>,
    /// What was exercised.
    pub title: String,
    /// She had turned.
    pub turned_s: Option<f64>,
    /// Who was on watch.
    pub who: Option<String>,
}

impl Reader {
    /// All drills up to a moment, also of earlier nights.
    pub(super) fn read_drills(&mut self, until: &When) -> rusqlite::Result<Vec<Drilled>> {
        let sql = "SELECT boot, steady_ms, utc_ms, utc_source, facts FROM entry_rows
                   WHERE kind = 'drill' ORDER BY id DESC";
        let mut statement = self.connection.prepare(sql)?;
        let mut rows = statement.query([])?;
        let mut drills = Vec::new();
        while let Some(r) = rows.next()?.filter(|_| drills.len() < DRILLS) {
            let at = self.clocks.when(r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?);
            let facts = r.get_ref(4)?.as_str().ok().and_then(|facts| serde_json::from_str(facts).ok());
            let (drill, who, ended, m) = match facts {
                _ if at > *until => continue,
                Some(Entry::DrillEnded { drill, who, ended, measures }) => (drill, who, ended, measures),
                Some(_) => continue,
                None => {
                    self.unreadable += 1;
                    continue;
                }
            };
            drills.push(Drilled {
                at,
                fetches: drill.fetches(),
                title: drill.title().to_owned(),
                who,
                ended: ended.words().to_owned(),
                acknowledged_s: m.acknowledged_s,
                spotter_told_s: m.spotter_told_s,
                speed_off_s: m.speed_off_s,
                turned_s: m.turned_s,
                alongside_s: m.alongside_s,
                greatest_nm: m.greatest_nm,
                closest_nm: m.closest_nm,
                sog_kn: m.sog_kn,
            });
        }
        drills.reverse();
        Ok(drills)
    }
}

impl Night {
    /// The drills in a few lines; none where there were none.
    pub(super) fn practice_lines(&self) -> Vec<String> {
        let Some(last) = self.drills.last() else { return Vec::new() };
        let drills = plural(self.drills.len(), "drill");
        let mut line = format!("{drills}, the last on {}: {}", last.at.day(), last.title);
        for (what, s) in [
            ("acknowledged", last.acknowledged_s),
            ("turned", last.turned_s),
            ("alongside", last.alongside_s),
        ] {
            if let Some(s) = s {
                // Writing to a string cannot fail.
                let _ = write!(line, ", {what} after {}", exact(s));
            }
        }
        let mut lines = vec![line];
        lines.extend(self.tonight());
        lines
    }

    /// What the last drill in which she turned means for tonight.
    fn tonight(&self) -> Option<String> {
        let last = self.drills.iter().rev().find(|d| d.turned_s.is_some())?;
        let turned_s = last.turned_s?;
        let mean = self.passage.mean_sog_kn().filter(|kn| *kn >= STILL_KN);
        let kn = mean.or(last.sog_kn.filter(|kn| *kn >= STILL_KN))?;
        Some(drift_off(turned_s, kn))
    }
}

/// How far off somebody is by the time the boat has turned.
fn drift_off(turned_s: f64, kn: f64) -> String {
    let off_nm = kn * turned_s / 3600.0;
    let off = if off_nm < 0.1 {
        format!("{:.0} m", (off_nm * METRES_PER_NM / 10.0).round() * 10.0)
    } else {
        format!("{off_nm:.1} nm")
    };
    let speed = format!("{kn:.1}");
    format!(
        "from alarm to turned {}: at {} knots you will be {off} off",
        exact(turned_s),
        speed.trim_end_matches(".0")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn how_far_off_she_is_when_she_has_turned() {
        // A mile is ten knots for six minutes (common practice).
        assert_eq!(
            drift_off(360.0, 10.0),
            "from alarm to turned 6 min 0 s: at 10 knots you will be 1.0 nm off"
        );
        assert_eq!(
            drift_off(190.0, 9.0),
            "from alarm to turned 3 min 10 s: at 9 knots you will be 0.5 nm off"
        );
        assert_eq!(drift_off(45.0, 6.5), "from alarm to turned 45 s: at 6.5 knots you will be 150 m off");
    }
}
