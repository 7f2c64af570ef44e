//! Date and time: ZDA.

use crate::fields::{count, of_day_ms};
use crate::report::Report;
use crate::sentence::Sentence;
use terms::Utc;

/// ZDA: time, day, month, year of four digits, local zone hours, minutes.
pub(super) fn zda(sentence: &Sentence<'_>) -> Report {
    let [time, day, month, year] = sentence.first();
    let utc = || {
        // Satellite time begins in 1980, and the field has four digits.
        let year = count::<i32>(year).filter(|y| (1980..=9999).contains(y))?;
        Utc::from_date(year, count(month)?, count(day)?, i64::from(of_day_ms(time)?))
    };
    Report::Time { utc: utc() }
}
