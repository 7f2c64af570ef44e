//! Numbers, distances and sides as they are said aloud at sea: few words, and none that a listener cannot act on.

use crate::METRES_PER_NM;
use crate::angle::turn_deg;
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// Most words of a line that is spoken: eight seconds at 150 words a minute.
pub const MOST_WORDS: usize = 20;
/// Most letters of a received text that are read out.
const MOST_LETTERS: usize = 160;
/// Below this, distances are said in metres.
const NEAR_NM: f64 = 0.25;
/// Within this of the bow or the stern, it is ahead or astern.
const END_ON_DEG: f64 = 15.0;
/// From this angle off the bow it is on the beam, and up to the same abaft it.
const BEAM_DEG: f64 = 80.0;
/// A side once said stays until the bearing has left it by this much, so that yawing does not change it.
const YAW_DEG: f64 = 8.0;

const ONES: [&str; 20] = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
];
const TENS: [&str; 10] =
    ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];

/// A whole number in words, to 999,999; a greater one in figures.
pub fn whole(n: u32) -> String {
    let index = |n: u32| usize::try_from(n).unwrap_or_default();
    match n {
        0..20 => ONES[index(n)].to_owned(),
        20..100 if n.is_multiple_of(10) => TENS[index(n / 10)].to_owned(),
        20..100 => format!("{}-{}", TENS[index(n / 10)], ONES[index(n % 10)]),
        100..1000 if n.is_multiple_of(100) => format!("{} hundred", whole(n / 100)),
        100..1000 => format!("{} hundred and {}", whole(n / 100), whole(n % 100)),
        1000..1_000_000 if n.is_multiple_of(1000) => format!("{} thousand", whole(n / 1000)),
        1000..1_000_000 if n % 1000 < 100 => format!("{} thousand and {}", whole(n / 1000), whole(n % 1000)),
        1000..1_000_000 => format!("{} thousand {}", whole(n / 1000), whole(n % 1000)),
        _ => n.to_string(),
    }
}

/// A number with at most one decimal: "two point four", "minus three".
pub fn decimal(x: f64) -> String {
    let tenths = (x.abs() * 10.0).round().min(1e9) as u32;
    let minus = if x < 0.0 && tenths > 0 { "minus " } else { "" };
    let point =
        if tenths.is_multiple_of(10) { String::new() } else { format!(" point {}", whole(tenths % 10)) };
    format!("{minus}{}{point}", whole(tenths / 10))
}

/// Digits one by one, as an identity or a channel is said.
pub fn digits(text: &str) -> String {
    let all = text.chars().filter_map(|c| c.to_digit(10)).map(whole);
    all.collect::<Vec<_>>().join(" ")
}

/// A distance: metres when near, quarters of a mile to one mile, halves to three.
pub fn distance(nm: f64) -> String {
    let nm = nm.abs();
    if nm < NEAR_NM {
        let metres = nm * METRES_PER_NM;
        let step = match metres {
            ..95.0 => 10.0,
            ..175.0 => 50.0,
            _ => 100.0,
        };
        return format!("{} metres", whole(((metres / step).round() * step) as u32));
    }
    let parts = match nm {
        ..0.9 => 4.0,
        ..2.8 => 2.0,
        _ => 1.0,
    };
    let quarters = ((nm * parts).round() * (4.0 / parts)).min(1e9) as u32;
    let part = match quarters % 4 {
        1 => "a quarter",
        2 => "a half",
        3 => "three quarters",
        _ => "",
    };
    match (quarters / 4, part) {
        (0, "a half") => "half a mile".to_owned(),
        (0, part) => format!("{part} of a mile"),
        (1, "") => "one mile".to_owned(),
        (miles, "") => format!("{} miles", whole(miles)),
        (miles, part) => format!("{} and {part} miles", whole(miles)),
    }
}

/// A length of time in seconds: "thirty seconds", "twenty minutes", "two hours".
pub fn time(seconds: f64) -> String {
    let s = seconds.abs().min(1e9) as u32;
    let many = |n: u32, unit: &str| format!("{} {unit}{}", whole(n), if n == 1 { "" } else { "s" });
    match s {
        0..55 => many((s + 5) / 10 * 10, "second"),
        55..5370 => many((s + 30) / 60, "minute"),
        _ => {
            let halves = (s + 900) / 1800;
            if halves.is_multiple_of(2) {
                many(halves / 2, "hour")
            } else {
                format!("{} and a half hours", whole(halves / 2))
            }
        }
    }
}

/// Where something lies from the boat, in the words of the trade.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// Within 15° of the bow.
    Ahead,
    /// Forward of the port beam.
    PortBow,
    /// About abeam to port.
    PortBeam,
    /// Abaft the port beam.
    PortQuarter,
    /// Within 15° of the stern.
    Astern,
    /// Abaft the starboard beam.
    StarboardQuarter,
    /// About abeam to starboard.
    StarboardBeam,
    /// Forward of the starboard beam.
    StarboardBow,
}

impl Side {
    /// The side of a relative bearing in degrees. One that was said before stays until it is clearly left.
    pub fn of(relative_deg: f64, said: Option<Self>) -> Self {
        let angle = turn_deg(0.0, relative_deg);
        let now = Self::plain(angle);
        match said {
            Some(said)
                if [-YAW_DEG, YAW_DEG].iter().any(|yaw| Self::plain(turn_deg(0.0, angle + yaw)) == said) =>
            {
                said
            }
            _ => now,
        }
    }

    fn plain(angle_deg: f64) -> Self {
        let port = angle_deg < 0.0;
        match angle_deg.abs() {
            a if a <= END_ON_DEG => Self::Ahead,
            a if a >= 180.0 - END_ON_DEG => Self::Astern,
            a if a < BEAM_DEG && port => Self::PortBow,
            a if a < BEAM_DEG => Self::StarboardBow,
            a if a <= 180.0 - BEAM_DEG && port => Self::PortBeam,
            a if a <= 180.0 - BEAM_DEG => Self::StarboardBeam,
            _ if port => Self::PortQuarter,
            _ => Self::StarboardQuarter,
        }
    }

    /// In words: "on the port bow", "astern".
    pub const fn words(self) -> &'static str {
        match self {
            Self::Ahead => "ahead",
            Self::PortBow => "on the port bow",
            Self::PortBeam => "on the port beam",
            Self::PortQuarter => "on the port quarter",
            Self::Astern => "astern",
            Self::StarboardQuarter => "on the starboard quarter",
            Self::StarboardBeam => "on the starboard beam",
            Self::StarboardBow => "on the starboard bow",
        }
    }
}

/// Where to look: degrees off the bow forward of the beam, to the nearest ten, else the side alone. `said` as for
/// [`Side::of`].
pub fn look(relative_deg: f64, said: Option<Side>) -> String {
    let side = Side::of(relative_deg, said);
    let tens = (turn_deg(0.0, relative_deg).abs() / 10.0).round() as u32 * 10;
    match side {
        Side::PortBow | Side::StarboardBow => format!("{} degrees {}", whole(tens), side.words()),
        _ => side.words().to_owned(),
    }
}

/// The same as it is written, to the nearest five degrees with this sign behind them: "40° on the port bow". Abaft the
/// bow it is the side alone, so that one place has one name, written and spoken.
pub fn look_written(relative_deg: f64, degrees: &str) -> String {
    let angle = turn_deg(0.0, relative_deg);
    let off = (angle.abs() / 5.0).round() as u32 * 5;
    let bow = if angle < 0.0 { "port" } else { "starboard" };
    match Side::of(relative_deg, None) {
        Side::Ahead if off == 0 => Side::Ahead.words().to_owned(),
        Side::Ahead | Side::PortBow | Side::StarboardBow => format!("{off}{degrees} on the {bow} bow"),
        side => side.words().to_owned(),
    }
}

/// Where to look by the compass, in three digits: for want of a heading.
pub fn bearing(true_deg: f64) -> String {
    format!("bearing {}", digits(&crate::three_digits(true_deg)))
}

/// Joins sentences; each gets its capital and its full stop. Empty ones are left out.
pub fn sentences<'a>(parts: impl IntoIterator<Item = &'a str>) -> String {
    let one = |part: &str| {
        let mut letters = part.trim().trim_end_matches('.').chars();
        let first = letters.next().into_iter().flat_map(char::to_uppercase);
        format!("{}.", first.chain(letters).collect::<String>())
    };
    let all: Vec<String> = parts.into_iter().filter(|p| !p.trim().is_empty()).map(one).collect();
    all.join(" ")
}

/// A text cut to what may be spoken: whole sentences or clauses if any fit, else the first words.
pub fn shortened(text: &str) -> String {
    let mut end = 0;
    let mut cut = 0;
    for (n, word) in text.split_inclusive(char::is_whitespace).enumerate() {
        end += word.len();
        if n >= MOST_WORDS {
            let cut = if cut > 0 { cut } else { end - word.len() };
            return format!("{}.", text[..cut].trim_end_matches([' ', ',', ';', ':', '.']));
        }
        if word.trim_end().ends_with([',', ';', ':', '.']) {
            cut = end;
        }
    }
    text.trim_end().to_owned()
}

/// A text from the radio as a voice reads it: in small letters, digits one by one, a point between them as "decimal", and
/// only those signs that make a pause. Of more than 160 letters the rest is left out.
pub fn read_out(text: &str) -> String {
    let letters: Vec<char> = text.chars().take(MOST_LETTERS).collect();
    let digit = |n: Option<usize>| n.and_then(|n| letters.get(n)).and_then(|c| c.to_digit(10));
    let mut said = String::new();
    let word = |said: &mut String, word: &str| {
        if !said.is_empty() && !said.ends_with(' ') {
            said.push(' ');
        }
        said.push_str(word);
    };
    for (n, &c) in letters.iter().enumerate() {
        let between = digit(n.checked_sub(1)).is_some() && digit(Some(n + 1)).is_some();
        let behind_digit = digit(n.checked_sub(1)).is_some();
        let ends = letters.get(n + 1).is_none_or(|c| !c.is_alphanumeric());
        match c {
            '0'..='9' => word(&mut said, ONES[c.to_digit(10).unwrap_or_default() as usize]),
            '.' | ',' if between => word(&mut said, "decimal"),
            'N' | 'n' if behind_digit && ends => word(&mut said, "north"),
            'S' | 's' if behind_digit && ends => word(&mut said, "south"),
            'E' | 'e' if behind_digit && ends => word(&mut said, "east"),
            'W' | 'w' if behind_digit && ends => word(&mut said, "west"),
            ',' | '.' | ';' if !said.is_empty() && !said.ends_with([',', '.', ';']) => {
                said.truncate(said.trim_end().len());
                said.push(c);
                said.push(' ');
            }
            '\'' => said.push(c),
            _ if c.is_alphabetic() => {
                if behind_digit {
                    word(&mut said, "");
                }
                said.extend(c.to_lowercase());
            }
            _ => word(&mut said, ""),
        }
        if digit(Some(n)).is_some() && letters.get(n + 1).is_some_and(|c| c.is_alphanumeric()) {
            said.push(' ');
        }
    }
    said.truncate(said.trim_end().len());
    said
}

/// How many words a line has; a hyphen joins two into one.
pub fn words(line: &str) -> usize {
    line.split_whitespace().count()
}

/// How long it takes to say a line: 150 words a minute, the pace of the radio (common practice).
pub fn takes(line: &str) -> Duration {
    Duration::from_millis(400).saturating_mul(u32::try_from(words(line)).unwrap_or(u32::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_said_as_people_say_them() {
        let said: Vec<String> = [0, 7, 13, 20, 45, 100, 250, 999, 1000, 2040].map(whole).into();
        assert_eq!(
            said,
            [
                "zero",
                "seven",
                "thirteen",
                "twenty",
                "forty-five",
                "one hundred",
                "two hundred and fifty",
                "nine hundred and ninety-nine",
                "one thousand",
                "two thousand and forty"
            ]
        );
        assert_eq!(
            (decimal(2.4), decimal(-3.04), decimal(11.96)),
            ("two point four".into(), "minus three".into(), "twelve".into())
        );
        assert_eq!(digits("23 2990"), "two three two nine nine zero");
    }

    #[test]
    fn a_text_from_the_radio_is_read_out() {
        for (text, said) in [
            ("MAN OVERBOARD PSE KEEP CLEAR", "man overboard pse keep clear"),
            (
                "MOB 46-23.75N 009-18.42W",
                "mob four six two three decimal seven five north zero zero nine one eight decimal four two west",
            ),
            (
                "PERSON OVERBOARD IN 46-23.75N.",
                "person overboard in four six two three decimal seven five north.",
            ),
            ("==== \u{1b}[2J CH16, VHF: GO", "two j ch one six, vhf go"),
            ("Sea Rose 2", "sea rose two"),
            ("°/:", ""),
        ] {
            assert_eq!(read_out(text), said);
        }
        assert!(read_out(&"A ".repeat(200)).len() <= MOST_LETTERS);
    }

    #[test]
    fn distances_are_metres_quarters_halves_and_miles() {
        for (nm, said) in [
            (0.0, "zero metres"),
            (0.02, "forty metres"),
            (0.108, "two hundred metres"),
            (0.081, "one hundred and fifty metres"),
            (0.24, "four hundred metres"),
            (0.25, "a quarter of a mile"),
            (0.5, "half a mile"),
            (0.76, "three quarters of a mile"),
            (1.0, "one mile"),
            (1.3, "one and a half miles"),
            (2.5, "two and a half miles"),
            (5.1, "five miles"),
            (12.4, "twelve miles"),
        ] {
            assert_eq!(distance(nm), said);
        }
    }

    #[test]
    fn times_and_where_to_look() {
        let said: Vec<String> = [4.0, 31.0, 60.0, 1200.0, 5400.0, 7100.0].map(time).into();
        assert_eq!(
            said,
            [
                "zero seconds",
                "thirty seconds",
                "one minute",
                "twenty minutes",
                "one and a half hours",
                "two hours"
            ]
        );
        for (deg, said) in [
            (0.0, "ahead"),
            (-14.0, "ahead"),
            (320.0, "forty degrees on the port bow"),
            (44.0, "forty degrees on the starboard bow"),
            (271.0, "on the port beam"),
            (120.0, "on the starboard quarter"),
            (166.0, "astern"),
            (194.0, "astern"),
            (196.0, "on the port quarter"),
        ] {
            assert_eq!(look(deg, None), said, "{deg}");
        }
    }

    #[test]
    fn what_is_written_names_the_same_sides() {
        for (deg, written) in [
            (1.0, "ahead"),
            (351.0, "10° on the port bow"),
            (44.0, "45° on the starboard bow"),
            (271.0, "on the port beam"),
            (120.0, "on the starboard quarter"),
            (166.0, "astern"),
            (194.0, "astern"),
            (190.0, "astern"),
        ] {
            assert_eq!(look_written(deg, "°"), written, "{deg}");
        }
        // Whatever is astern when it is spoken is astern when it is written.
        for tenth in 0..3600 {
            let deg = f64::from(tenth) / 10.0;
            assert_eq!(look(deg, None) == "astern", look_written(deg, "°") == "astern", "{deg}");
        }
    }

    #[test]
    fn yawing_does_not_change_the_side_and_turning_does() {
        let mut said = None;
        let mut changes = 0;
        for deg in [164.0, 170.0, 163.0, 168.0, 160.0, 171.0] {
            let side = Side::of(deg, said);
            changes += i32::from(said.is_some_and(|s| s != side));
            said = Some(side);
        }
        assert_eq!((changes, said), (0, Some(Side::StarboardQuarter)));
        assert_eq!(Side::of(175.0, said), Side::Astern);
        assert_eq!(Side::of(185.0, Some(Side::StarboardQuarter)), Side::Astern);
    }
}
