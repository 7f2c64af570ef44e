//! People overboard and distress calls.

use super::{Fields, of_day, sentence};
use crate::report::{Distress, MobStatus, Overboard, SelectiveCall, SentTime};
use terms::{Mmsi, Position, Utc};

/// MOB.
pub fn mob(talker: &str, mob: &Overboard) -> String {
    let (date, time) = match mob.time {
        Some(SentTime::Utc(utc)) => (utc.civil().map(|t| t.format("%d%m%y").to_string()), Some(utc)),
        Some(SentTime::OfDayMs(ms)) => (None, Some(Utc(ms.into()))),
        None => (None, None),
    };
    let zero_or_one = |flag: Option<bool>| flag.map(|f| u8::from(f).to_string());
    Fields::default()
        .maybe(mob.emitter.clone())
        .text(match mob.status {
            MobStatus::Active => "A",
            MobStatus::Test => "T",
            MobStatus::Manual => "M",
            MobStatus::NotInUse => "V",
        })
        .maybe(mob.activated_of_day_ms.map(|ms| of_day(ms.into())))
        .maybe(zero_or_one(mob.position_from_emitter))
        .maybe(date)
        .time(time)
        .position(mob.position)
        .number(mob.cog_deg, 1)
        .number(mob.sog_kn, 1)
        .maybe(mob.mmsi.map(|m| m.to_string()))
        .maybe(zero_or_one(mob.battery_low))
        .seal(talker, "MOB")
}

/// DSC of a distress call (format 112) or of a relay (with a casualty). A position is cut to whole minutes.
pub fn dsc(talker: &str, call: &SelectiveCall) -> String {
    let code = |n: Option<u8>| n.map(|n| format!("{n:02}")).unwrap_or_default();
    let identity = |m: Option<Mmsi>| m.map(|m| format!("{m}0")).unwrap_or_default();
    let nature = code(call.nature.map(distress));
    let first = if call.format == Some(12) { nature.clone() } else { code(call.telecommand) };
    let place = call.position.map_or_else(|| "9999999999".to_owned(), quadrant);
    let time =
        call.position_of_day_min.map_or_else(|| "8888".to_owned(), |m| format!("{:02}{:02}", m / 60, m % 60));
    let acknowledgement = call.acknowledgement.map(String::from).unwrap_or_default();
    sentence(
        talker,
        "DSC",
        &[
            &code(call.format),
            &identity(call.caller),
            &code(call.category),
            &first,
            "00",
            &place,
            &time,
            &identity(call.casualty),
            if call.casualty.is_some() { &nature } else { "" },
            &acknowledgement,
            if call.expansion_follows { "E" } else { "" },
        ],
    )
}

/// The code of a nature of distress less 100 (ITU-R M.493).
fn distress(nature: Distress) -> u8 {
    match nature {
        Distress::Fire => 0,
        Distress::Flooding => 1,
        Distress::Collision => 2,
        Distress::Grounding => 3,
        Distress::Listing => 4,
        Distress::Sinking => 5,
        Distress::Adrift => 6,
        Distress::Undesignated => 7,
        Distress::Abandoning => 8,
        Distress::Piracy => 9,
        Distress::ManOverboard => 10,
        Distress::EpirbEmission => 12,
    }
}

/// Quadrant, `ddmm`, `dddmm`.
fn quadrant(position: Position) -> String {
    let (lat, lon) = (position.latitude_deg(), position.longitude_deg());
    let quadrant = u8::from(lat < 0.0) * 2 + u8::from(lon < 0.0);
    // A whole number of ten-thousandths first, so that 19 minutes do not become 18.9999 and then 18.
    let minutes = |deg: f64| (deg.abs() * 600_000.0).round() as u32 / 10_000;
    let (lat, lon) = (minutes(lat), minutes(lon));
    format!("{quadrant}{:02}{:02}{:03}{:02}", lat / 60, lat % 60, lon / 60, lon % 60)
}
