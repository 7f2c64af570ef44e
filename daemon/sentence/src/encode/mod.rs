//! Reports to sentences, for scenarios, drills and tests. Lines come without CR and LF.

mod ais;
mod alert;
mod distress;
mod instruments;

pub use ais::ais;
pub use alert::{Counters, Listed, alc, alf, alr, hbt, tll, wpl};
pub use distress::{dsc, mob};
pub use instruments::{
    dbt, dpt, gga, gll, hdg, hdm, hdt, mda, mtw, mwd, mwv, rmc, rot, ttm, vhw, vtg, xdr, xte, zda,
};

use terms::{Position, Utc};

/// A sentence with its checksum: `$`, talker, formatter, fields.
pub fn sentence(talker: &str, formatter: &str, fields: &[&str]) -> String {
    line('$', talker, formatter, fields)
}

/// A TAG block with its backslashes and checksum, to stand before a sentence.
pub fn tag_block(tag: &crate::TagBlock<'_>) -> String {
    tag.to_string()
}

/// A sentence begun with `$`, or with `!` for encapsulated data. Characters reserved inside a field, or not printable
/// ASCII, become blanks.
fn line(start: char, talker: &str, formatter: &str, fields: &[&str]) -> String {
    let mut body = format!("{talker}{formatter}");
    for field in fields {
        body.push(',');
        let plain = |c: char| if matches!(c, ' '..='~') && !"$!*,\\".contains(c) { c } else { ' ' };
        body.extend(field.chars().map(plain));
    }
    let sum = body.bytes().fold(0, |sum, b| sum ^ b);
    format!("{start}{body}*{sum:02X}")
}

/// Fields added one by one; a missing value leaves its field empty.
#[derive(Default)]
struct Fields(Vec<String>);

impl Fields {
    fn text(&mut self, text: &str) -> &mut Self {
        self.0.push(text.to_owned());
        self
    }

    fn maybe(&mut self, text: Option<String>) -> &mut Self {
        self.0.push(text.unwrap_or_default());
        self
    }

    /// A number with this many decimals.
    fn number(&mut self, number: Option<f64>, places: usize) -> &mut Self {
        self.maybe(number.map(|n| format!("{n:.places$}")))
    }

    /// A number without its sign and the letter of its side.
    fn sided(&mut self, number: Option<f64>, places: usize, [plus, minus]: [&str; 2]) -> &mut Self {
        self.number(number.map(f64::abs), places);
        self.text(match number {
            Some(n) if n < 0.0 => minus,
            Some(_) => plus,
            None => "",
        })
    }

    /// Latitude, N/S, longitude, E/W to a ten-thousandth of a minute (18 cm).
    fn position(&mut self, position: Option<Position>) -> &mut Self {
        let mut part = |degrees: Option<f64>, width: usize, sides: [&str; 2]| {
            // Rounded as a whole number, so that 59.99999′ carries into the degree.
            let fine = degrees.map(|d| (d.abs() * 600_000.0).round() as u64);
            self.maybe(fine.map(|n| {
                let (degrees, minutes) = (n / 600_000, n % 600_000);
                format!("{degrees:0width$}{:02}.{:04}", minutes / 10_000, minutes % 10_000)
            }));
            self.text(degrees.map_or("", |d| if d < 0.0 { sides[1] } else { sides[0] }));
        };
        part(position.map(Position::latitude_deg), 2, ["N", "S"]);
        part(position.map(Position::longitude_deg), 3, ["E", "W"]);
        self
    }

    /// `hhmmss.ss`.
    fn time(&mut self, utc: Option<Utc>) -> &mut Self {
        self.maybe(utc.map(|utc| of_day(utc.ms_of_day())))
    }

    fn seal(&self, talker: &str, formatter: &str) -> String {
        let fields: Vec<&str> = self.0.iter().map(String::as_str).collect();
        sentence(talker, formatter, &fields)
    }
}

/// `hhmmss.ss` of milliseconds since midnight; a leap second reads 235960.
fn of_day(ms: i64) -> String {
    let minutes = (ms / 60_000).min(1439);
    let rest = ms - minutes * 60_000;
    format!("{:02}{:02}{:02}.{:02}", minutes / 60, minutes % 60, rest / 1000, rest % 1000 / 10)
}
