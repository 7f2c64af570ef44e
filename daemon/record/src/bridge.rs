//! The numbers by which a bridge knows our alerts (IEC 61162-1).

use rules::{AlertId, BuiltIn};

/// The number of an alert's order (ALF identifier). Built-in alerts start at 10001; the boat's own orders get 20000 to
/// 29999 from their names. Numbers above 10000 are not the standard's (from memory).
pub fn identifier(order: &str) -> u32 {
    match (10_001..).zip(BuiltIn::ALL).find(|(_, b)| b.word() == order) {
        Some((n, _)) => n,
        None => {
            // FNV-1a: gives the same number for a name in every run.
            let hash =
                order.bytes().fold(0x811c_9dc5_u32, |h, b| (h ^ u32::from(b)).wrapping_mul(0x0100_0193));
            20_000 + hash % 10_000
        }
    }
}

/// The three-digit number of an alert in ALR and ACK.
pub fn alarm_number(AlertId(id): AlertId) -> u32 {
    id % 1000
}
