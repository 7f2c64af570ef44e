//! Time in cold water by published tables: guidance with its spread, never a countdown.

use std::time::Duration;

/// What published tables say about a water temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Survival {
    /// The temperature it is for.
    pub water_c: f64,
    /// Expected survival by the table of the United States Search and Rescue Task Force (as quoted): least and most;
    /// without a most it is "and more", without a least "up to".
    pub table: Option<(Option<Duration>, Option<Duration>)>,
    /// By Hayward 1975: persons lightly clothed who hold still. Only for cold water.
    pub formula: Option<Duration>,
}

/// Rows of the table: upper temperature in degrees Fahrenheit, least and most in minutes.
const TABLE: [(f64, Option<u64>, Option<u64>); 6] = [
    (32.5, None, Some(45)),
    (40.0, Some(30), Some(90)),
    (50.0, Some(60), Some(180)),
    (60.0, Some(60), Some(360)),
    (70.0, Some(120), Some(2400)),
    (80.0, Some(180), None),
];
/// Where the formula is used: it has a pole at 23.1 °C and was found in cold water.
const FORMULA_C: std::ops::RangeInclusive<f64> = 0.0..=20.0;

impl Survival {
    /// What the tables say; nothing outside the temperatures they are for.
    pub fn at(water_c: f64) -> Self {
        let fahrenheit = water_c * 1.8 + 32.0;
        let minutes = |m: u64| Duration::from_secs(m * 60);
        // Sea water is never colder than −2 °C; below that the sensor is wrong.
        let row = TABLE.iter().find(|r| fahrenheit <= r.0).filter(|_| water_c >= -3.0);
        let formula_min = 15.0 + 7.2 / (0.0785 - 0.0034 * water_c);
        let formula = FORMULA_C.contains(&water_c).then(|| Duration::from_secs_f64(formula_min * 60.0));
        Self { water_c, table: row.map(|r| (r.1.map(minutes), r.2.map(minutes))), formula }
    }

    /// In words, with sources and what they are worth.
    pub fn words(&self) -> String {
        let mut text = format!("Water {:.1} °C.", self.water_c);
        let words = |d: Duration| match (d.as_secs() + 30) / 60 {
            m @ 0..120 => format!("{m} min"),
            m if m % 60 == 0 => format!("{} h", m / 60),
            m => format!("{} h {} min", m / 60, m % 60),
        };
        match self.table {
            Some((Some(a), Some(b))) => {
                text.push_str(&format!(
                    " Survival {} to {} (table of the USSARTF, as quoted).",
                    words(a),
                    words(b)
                ));
            }
            Some((None, Some(b))) => {
                text.push_str(&format!(" Survival up to {} (table of the USSARTF, as quoted).", words(b)));
            }
            Some((Some(a), None)) => {
                text.push_str(&format!(" Survival {} and more (table of the USSARTF, as quoted).", words(a)));
            }
            _ => text.push_str(" No published table for this temperature here."),
        }
        if let Some(f) = self.formula {
            text.push_str(&format!(
                " About {} for a person lightly clothed who holds still (Hayward 1975).",
                words(f)
            ));
        }
        text.push_str(
            " Guidance only: people have lived far longer, above all in a lifejacket or survival suit. It is no limit to the search.",
        );
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_values_and_nothing_outside_their_range() {
        // Hayward 1975, as quoted and recomputed: 5 °C 132 min, 10 °C 177 min, 15 °C 277 min.
        for (c, minutes) in [(5.0, 132.0), (10.0, 177.0), (15.0, 277.0)] {
            let formula = Survival::at(c).formula.unwrap().as_secs_f64() / 60.0;
            assert!((formula - minutes).abs() < 0.6, "{c}: {formula}");
        }
        for c in [20.1, 23.0, 23.2, 30.0, -0.5, f64::NAN] {
            assert_eq!(Survival::at(c).formula, None, "{c}");
        }
        // USSARTF, as quoted: 40–50 °F 1–3 h, 70–80 °F 3 h and more, at most 32.5 °F up to 45 min.
        let hours = |h: u64| Some(Duration::from_secs(h * 3600));
        assert_eq!(Survival::at(8.0).table, Some((hours(1), hours(3))));
        assert_eq!(Survival::at(25.0).table, Some((hours(3), None)));
        assert_eq!(Survival::at(0.0).table, Some((None, Some(Duration::from_secs(45 * 60)))));
        assert_eq!(Survival::at(28.0).table, None);
        assert_eq!(Survival::at(-40.0).table, None);
        assert!(Survival::at(10.0).words().contains("no limit to the search"));
    }
}
