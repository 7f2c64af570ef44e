//! Whole numbers in JSON, where 3 and 3.0 are the same number (RFC 8259 section 6).

use rules::AlertId;
use serde::de::{Error, Unexpected, Visitor};
use serde::{Deserialize, Deserializer};
use std::fmt;
use terms::CasualtyId;

struct Whole(u32);

impl<'de> Deserialize<'de> for Whole {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct Number;
        impl Visitor<'_> for Number {
            type Value = Whole;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a whole number from 0 to 4294967295")
            }

            fn visit_u64<E: Error>(self, n: u64) -> Result<Whole, E> {
                u32::try_from(n).map(Whole).map_err(|_| E::invalid_value(Unexpected::Unsigned(n), &self))
            }

            fn visit_i64<E: Error>(self, n: i64) -> Result<Whole, E> {
                u32::try_from(n).map(Whole).map_err(|_| E::invalid_value(Unexpected::Signed(n), &self))
            }

            fn visit_f64<E: Error>(self, n: f64) -> Result<Whole, E> {
                let fits = n.fract() == 0.0 && (0.0..=f64::from(u32::MAX)).contains(&n);
                fits.then_some(Whole(n as u32)).ok_or_else(|| E::invalid_value(Unexpected::Float(n), &self))
            }
        }
        d.deserialize_any(Number)
    }
}

/// An alert's number, or none.
pub(crate) fn alert<'de, D: Deserializer<'de>>(d: D) -> Result<Option<AlertId>, D::Error> {
    Ok(Option::<Whole>::deserialize(d)?.map(|Whole(n)| AlertId(n)))
}

/// A casualty's number, or none.
pub(crate) fn casualty<'de, D: Deserializer<'de>>(d: D) -> Result<Option<CasualtyId>, D::Error> {
    Ok(Option::<Whole>::deserialize(d)?.map(|Whole(n)| CasualtyId(n)))
}
