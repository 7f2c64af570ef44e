//! Numbers, times and places as the fields of sentences write them, read strictly: digits with at most one sign and
//! one point. `nan`, `inf`, exponents and hexadecimal are no numbers here.

use crate::report::SentTime;
use terms::{Position, Utc, is_hidden, normal_deg};

/// Powers of ten that a double holds exactly and that fifteen digits need.
const POWERS: [f64; 16] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// Most digits looked at: their number is below 2^53, so that it and its quotient by a power of ten are rounded only
/// once. No instrument measures more.
const DIGITS: u32 = 15;

/// A decimal number; blanks around it are passed over. `None` if empty, not a number, or with more than fifteen digits
/// before the point; digits beyond the fifteenth after the point are dropped.
pub(crate) fn number(field: &[u8]) -> Option<f64> {
    let field = field.trim_ascii();
    let (negative, digits) = match field.first()? {
        b'-' => (true, &field[1..]),
        b'+' => (false, &field[1..]),
        _ => (false, field),
    };
    let (mut mantissa, mut places, mut used) = (0u64, 0usize, 0u32);
    let (mut point, mut any) = (false, false);
    for &b in digits {
        match b {
            b'0'..=b'9' => {
                any = true;
                if used == DIGITS {
                    if point { continue } else { return None }
                }
                mantissa = mantissa * 10 + u64::from(b - b'0');
                used += u32::from(mantissa != 0);
                if point {
                    if places == POWERS.len() - 1 {
                        mantissa /= 10;
                        continue;
                    }
                    places += 1;
                }
            }
            b'.' if !point => point = true,
            _ => return None,
        }
    }
    let value = mantissa as f64 / POWERS[places];
    any.then_some(if negative { -value } else { value })
}

/// A whole number with an optional minus; `None` beyond fifteen digits.
pub(crate) fn whole(field: &[u8]) -> Option<i64> {
    let field = field.trim_ascii();
    let (negative, digits) = if let [b'-', rest @ ..] = field { (true, rest) } else { (false, field) };
    if !(1..=DIGITS as usize).contains(&digits.len()) {
        return None;
    }
    let value = digits
        .iter()
        .try_fold(0i64, |value, b| b.is_ascii_digit().then(|| value * 10 + i64::from(b - b'0')))?;
    Some(if negative { -value } else { value })
}

/// A whole number that fits its type; no minus if the type has none.
pub(crate) fn count<T: TryFrom<i64>>(field: &[u8]) -> Option<T> {
    whole(field).and_then(|n| T::try_from(n).ok())
}

/// A number within bounds, both included; otherwise `None`.
pub(crate) fn within(field: &[u8], low: f64, high: f64) -> Option<f64> {
    number(field).filter(|n| (low..=high).contains(n))
}

/// A direction from 0 to 360 degrees; 360 is north and reads 0.
pub(crate) fn direction(field: &[u8]) -> Option<f64> {
    within(field, 0.0, 360.0).map(normal_deg)
}

/// A speed in a unit that is `factor` knots. The bound is that of the widest AIS speed field (1022 kn).
pub(crate) fn speed(field: &[u8], factor: f64) -> Option<f64> {
    number(field).map(|n| n * factor).filter(|kn| (0.0..=1022.0).contains(kn))
}

/// A number to one of two sides: the first letter positive, the second negative; with neither, no value.
pub(crate) fn sided(field: &[u8], side: &[u8], [plus, minus]: [u8; 2], limit: f64) -> Option<f64> {
    let value = within(field, 0.0, limit)?;
    match letter(side)? {
        s if s == plus => Some(value),
        s if s == minus => Some(-value),
        _ => None,
    }
}

/// A field's single letter.
pub(crate) fn letter(field: &[u8]) -> Option<u8> {
    match field.trim_ascii() {
        [one] => Some(*one),
        _ => None,
    }
}

/// The words of a field, trimmed; `None` if there are none. `^` and two hexadecimal digits stand for the byte of that
/// code (IEC 61162-1, for reserved characters); bytes that are not text become U+FFFD.
pub(crate) fn words(field: &[u8]) -> Option<String> {
    // What came as a code must not hide in words that are shown.
    let text: String = decoded(field).chars().filter(|&c| !is_hidden(c)).collect();
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

/// The same of a text that goes on in another field: blanks at its ends stay, and line ends are blanks.
pub(crate) fn text(field: &[u8]) -> String {
    let plain = |c: char| if matches!(c, '\r' | '\n' | '\t') { ' ' } else { c };
    decoded(field).chars().map(plain).filter(|&c| !is_hidden(c)).collect()
}

fn decoded(field: &[u8]) -> String {
    let hex = |b: Option<&u8>| b.and_then(|&b| (b as char).to_digit(16));
    let mut bytes = Vec::with_capacity(field.len());
    let mut rest = field;
    while let [first, behind @ ..] = rest {
        match (first, hex(behind.first()), hex(behind.get(1))) {
            (b'^', Some(high), Some(low)) => {
                // Two hexadecimal digits are below 256.
                bytes.push((high << 4 | low) as u8);
                rest = &behind[2..];
            }
            _ => {
                bytes.push(*first);
                rest = behind;
            }
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// Latitude `ddmm.mmm` and longitude `dddmm.mmm` with their hemispheres. `None` unless all four fields are good.
pub(crate) fn position(lat: &[u8], ns: &[u8], lon: &[u8], ew: &[u8]) -> Option<Position> {
    // Two or three digits of degrees and two of minutes stand before the point, leading zeros too: with fewer, a field
    // may hold decimal degrees, and a position that is wrong is worse than none.
    let degrees = |field: &[u8], width: usize| {
        let field = field.trim_ascii();
        let digits = field.iter().take_while(|b| b.is_ascii_digit()).count();
        if digits != width {
            return None;
        }
        let value = number(field)?;
        let degrees = (value / 100.0).trunc();
        // The product of whole degrees and 100 is exact; the difference of near numbers is too.
        let minutes = value - degrees * 100.0;
        (minutes < 60.0).then_some(degrees + minutes / 60.0)
    };
    let signed = |value: f64, side: &[u8], [plus, minus]: [u8; 2]| match letter(side)? {
        s if s == plus => Some(value),
        s if s == minus => Some(-value),
        _ => None,
    };
    let latitude = signed(degrees(lat, 4)?, ns, *b"NS")?;
    let longitude = signed(degrees(lon, 5)?, ew, *b"EW")?;
    Position::new(latitude, longitude).ok()
}

/// Two digits.
fn two(digits: &[u8]) -> Option<u32> {
    match digits {
        [a @ b'0'..=b'9', b @ b'0'..=b'9'] => Some(u32::from(a - b'0') * 10 + u32::from(b - b'0')),
        _ => None,
    }
}

/// Time of day `hhmmss.sss` in milliseconds; fractions beyond milliseconds are dropped. Second 60, a leap second or
/// a receiver's rounding, is the one after second 59.
pub(crate) fn of_day_ms(field: &[u8]) -> Option<u32> {
    let field = field.trim_ascii();
    let (h, m, s) = (two(field.get(..2)?)?, two(field.get(2..4)?)?, two(field.get(4..6)?)?);
    if h > 23 || m > 59 || s > 60 {
        return None;
    }
    let ms = match &field[6..] {
        [] => 0,
        [b'.', fraction @ ..] if fraction.iter().all(u8::is_ascii_digit) => {
            let digit = |i: usize| fraction.get(i).map_or(0, |b| u32::from(b - b'0'));
            digit(0) * 100 + digit(1) * 10 + digit(2)
        }
        _ => return None,
    };
    Some(((h * 60 + m) * 60 + s) * 1000 + ms)
}

/// Time of day from a sentence without a date.
pub(crate) fn time_only(field: &[u8]) -> Option<SentTime> {
    of_day_ms(field).map(SentTime::OfDayMs)
}

/// Date `ddmmyy` with a time of day. Two-digit years from 80 on are of the 1900s, since satellite time begins
/// in 1980; the others of the 2000s.
pub(crate) fn utc(date: &[u8], of_day_ms: u32) -> Option<Utc> {
    let date = date.trim_ascii();
    if date.len() != 6 {
        return None;
    }
    let (day, month, year) = (two(&date[..2])?, two(&date[2..4])?, two(&date[4..])?);
    let century = if year >= 80 { 1900 } else { 2000 };
    Utc::from_date(century + year as i32, month, day, i64::from(of_day_ms))
}
