//! Position, course and speed by satellite: RMC, GGA, GLL, GNS, VTG.

use crate::decoder::DecoderOptions;
use crate::fields::{count, direction, letter, of_day_ms, position, sided, speed, time_only, utc, within};
use crate::instruments::{KN_PER_KM_H, valid};
use crate::library;
use crate::refusal::Refusal;
use crate::report::{Fix, FixQuality, SentTime};
use crate::sentence::Sentence;
use terms::Position;

/// What the mode indicator and the status mean together. `Ok(None)` if the values are not to be used.
///
/// Status A is "valid". With the modes E, M, S and N the status is V by the standard, so a simulator's V is passed if
/// the feed is declared one. Sentences older than the mode indicator have only the status.
fn validity(
    status: Option<&[u8]>,
    mode: &[u8],
    options: &DecoderOptions,
) -> Result<Option<Option<FixQuality>>, Refusal> {
    let quality = match letter(mode) {
        None => None,
        Some(b'A') => Some(FixQuality::Autonomous),
        Some(b'D') => Some(FixQuality::Differential),
        Some(b'P' | b'R' | b'F') => Some(FixQuality::Precise),
        Some(b'E') => Some(FixQuality::Estimated),
        Some(b'M') => Some(FixQuality::Manual),
        Some(b'S') if options.simulator => return Ok(Some(Some(FixQuality::Simulator))),
        Some(b'S') => return Err(Refusal::Simulator),
        Some(_) => return Ok(None),
    };
    Ok(status.is_none_or(valid).then_some(quality))
}

/// RMC: time, status, latitude, N/S, longitude, E/W, SOG, COG, date, variation, E/W, mode, navigational status.
pub(super) fn rmc(sentence: &Sentence<'_>, options: &DecoderOptions) -> Result<Fix, Refusal> {
    let [time, status, lat, ns, lon, ew, sog, cog, date, variation, side, mode] = sentence.first();
    let Some(quality) = validity(Some(status), mode, options)? else { return Ok(Fix::default()) };
    Ok(Fix {
        time: of_day_ms(time).map(|ms| match utc(date, ms) {
            Some(utc) => SentTime::Utc(utc),
            None => SentTime::OfDayMs(ms),
        }),
        position: position(lat, ns, lon, ew),
        sog_kn: speed(sog, 1.0),
        cog_deg: direction(cog),
        variation_deg: sided(variation, side, *b"EW", 180.0),
        quality,
        ..Fix::default()
    })
}

/// GGA: time, latitude, N/S, longitude, E/W, quality, satellites, HDOP, altitude …
pub(super) fn gga(sentence: &Sentence<'_>, options: &DecoderOptions) -> Result<Fix, Refusal> {
    let [time, lat, ns, lon, ew, quality, satellites, hdop] = sentence.first();
    let quality = match count::<u8>(quality) {
        Some(1) => FixQuality::Autonomous,
        Some(2) => FixQuality::Differential,
        Some(3..=5) => FixQuality::Precise,
        Some(6) => FixQuality::Estimated,
        Some(7) => FixQuality::Manual,
        Some(8) if options.simulator => FixQuality::Simulator,
        Some(8) => return Err(Refusal::Simulator),
        _ => return Ok(Fix::default()),
    };
    Ok(Fix {
        time: time_only(time),
        position: position(lat, ns, lon, ew),
        hdop: within(hdop, 0.0, 99.99),
        satellites: count(satellites),
        quality: Some(quality),
        ..Fix::default()
    })
}

/// GLL: latitude, N/S, longitude, E/W, time, status, mode.
pub(super) fn gll(sentence: &Sentence<'_>, options: &DecoderOptions) -> Result<Fix, Refusal> {
    let [lat, ns, lon, ew, time, status, mode] = sentence.first();
    let Some(quality) = validity(Some(status), mode, options)? else { return Ok(Fix::default()) };
    Ok(Fix { time: time_only(time), position: position(lat, ns, lon, ew), quality, ..Fix::default() })
}

/// GNS: time, latitude, N/S, longitude, E/W, a mode for each satellite system, satellites, HDOP, altitude …
/// One system that has a fix is enough.
pub(super) fn gns(sentence: &Sentence<'_>, options: &DecoderOptions) -> Result<Fix, Refusal> {
    let [time, lat, ns, lon, ew, modes, satellites, hdop] = sentence.first();
    if modes.contains(&b'S') && !options.simulator {
        return Err(Refusal::Simulator);
    }
    // The library's type for the modes cannot be named from outside.
    let Some((_, quality)) = modes.iter().filter_map(gns_quality).max_by_key(|&(rank, _)| rank) else {
        return Ok(Fix::default());
    };
    let Some(read) = library::gns(sentence) else { return Ok(Fix::default()) };
    // The library takes a missing hemisphere for north or east and 60 minutes for a minute: where our reading
    // finds no position there is none.
    let place = position(lat, ns, lon, ew).and(read.latitude.zip(read.longitude));
    Ok(Fix {
        time: time_only(time),
        position: place.and_then(|(latitude, longitude)| Position::new(latitude, longitude).ok()),
        hdop: within(hdop, 0.0, 99.99).and(read.hdop),
        satellites: count::<u8>(satellites).and(read.satellite_count),
        quality: Some(quality),
        ..Fix::default()
    })
}

/// A system's mode and how much better it is than others; `None` for "no fix".
fn gns_quality(mode: &u8) -> Option<(u8, FixQuality)> {
    match mode {
        b'S' => Some((0, FixQuality::Simulator)),
        b'M' => Some((1, FixQuality::Manual)),
        b'E' => Some((2, FixQuality::Estimated)),
        b'A' => Some((3, FixQuality::Autonomous)),
        b'D' => Some((4, FixQuality::Differential)),
        b'P' | b'R' | b'F' => Some((5, FixQuality::Precise)),
        _ => None,
    }
}

/// VTG: COG true, T, COG magnetic, M, SOG in knots, N, SOG in km/h, K, mode.
pub(super) fn vtg(sentence: &Sentence<'_>, options: &DecoderOptions) -> Result<Fix, Refusal> {
    let [cog, _, magnetic, _, sog, _, sog_km_h, _, mode] = sentence.first();
    let Some(quality) = validity(None, mode, options)? else { return Ok(Fix::default()) };
    Ok(Fix {
        cog_deg: direction(cog),
        cog_magnetic_deg: direction(magnetic),
        sog_kn: speed(sog, 1.0).or_else(|| speed(sog_km_h, KN_PER_KM_H)),
        quality,
        ..Fix::default()
    })
}
