//! Lengths of time as people say them.

use std::time::Duration;

/// A length of time still running, in full units elapsed: seconds below two minutes, minutes below two hours, then
/// hours and minutes.
pub fn span(d: Duration) -> String {
    in_units(d.as_secs(), d.as_secs() / 60)
}

/// A length of time that was set or worked out, rounded, in the same units as [`span`].
pub fn rounded(d: Duration) -> String {
    let s = d.as_secs().saturating_add(u64::from(d.subsec_nanos() >= 500_000_000));
    in_units(s, s.saturating_add(30) / 60)
}

fn in_units(s: u64, min: u64) -> String {
    match (s, min / 60, min % 60) {
        (0..120, ..) => format!("{s} s"),
        (120..7200, ..) => format!("{min} min"),
        (_, h, 0) => format!("{h} h"),
        (_, h, min) => format!("{h} h {min} min"),
    }
}

/// A length of time to the second, as a drill is measured.
pub fn exact(s: f64) -> String {
    let s = s.max(0.0).round() as u64;
    if s < 60 { format!("{s} s") } else { format!("{} min {} s", s / 60, s % 60) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_counted_is_not_rounded_and_what_is_worked_out_is() {
        for (ms, counted, worked_out) in [
            (119_400, "119 s", "119 s"),
            (119_500, "119 s", "2 min"),
            (150_000, "2 min", "3 min"),
            (7_199_000, "119 min", "120 min"),
            (7_200_000, "2 h", "2 h"),
            (9_059_000, "2 h 30 min", "2 h 31 min"),
            (10_799_000, "2 h 59 min", "3 h"),
        ] {
            let d = Duration::from_millis(ms);
            assert_eq!((span(d).as_str(), rounded(d).as_str()), (counted, worked_out), "{ms} ms");
        }
        assert_eq!((exact(59.4), exact(83.6)), ("59 s".to_owned(), "1 min 24 s".to_owned()));
    }
}
