//! Encoding and decoding are each other's inverse, for every type that has content.

use proptest::prelude::*;
use sentence::ais::{AisReport, Eta, PositionSource};
use sentence::{Report, encode};
use terms::{Mmsi, Position};

/// Values are drawn as the raw numbers of the bit fields, so that each can be met again exactly.
#[derive(Debug, Clone)]
struct Raw {
    mmsi: u32,
    repeat: u8,
    a: u32,
    b: u32,
    c: u32,
    d: u32,
    lat: i32,
    lon: i32,
    flags: [Option<bool>; 4],
    none: u32,
    words: String,
    call: String,
}

fn raws() -> impl Strategy<Value = Raw> {
    let mmsi = prop_oneof![
        200_000_000u32..800_000_000,
        Just(970_123_456),
        Just(972_123_456),
        980_000_000u32..990_000_000,
        Just(992_351_234),
        0u32..=999_999_999
    ];
    let words = "[A-Z0-9][A-Z0-9 .,!$*/-]{0,32}[A-Z0-9]";
    (
        (mmsi, 0u8..4, any::<u32>(), any::<u32>(), any::<u32>(), any::<u32>(), any::<u32>()),
        (-54_000_000i32..=54_000_000, -108_000_000i32..108_000_000),
        (any::<[Option<bool>; 4]>(), words, "[A-Z0-9]{1,7}"),
    )
        .prop_map(|((mmsi, repeat, a, b, c, d, none), (lat, lon), (flags, words, call))| Raw {
            mmsi,
            repeat,
            a,
            b,
            c,
            d,
            lat,
            lon,
            flags,
            none,
            words,
            call,
        })
}

/// The first `n` characters without a blank at their end.
fn cut(words: &str, n: usize) -> Option<String> {
    Some(words.chars().take(n).collect::<String>().trim_end().to_owned())
}

fn report(message: u8, raw: &Raw) -> AisReport {
    // Bit n of `none` leaves the n-th field out.
    let some = |n: u32| raw.none >> n & 1 == 0;
    let mut r = AisReport::new(message, raw.repeat, Mmsi::new(raw.mmsi).unwrap());
    r.channel = Some('A');
    let moving = |r: &mut AisReport, per_deg: f64| {
        let (lat, lon) = (f64::from(raw.lat) / 600_000.0, f64::from(raw.lon) / 600_000.0);
        let fit = |deg: f64| (deg * per_deg).trunc() / per_deg;
        r.position = some(0).then(|| Position::new(fit(lat), fit(lon)).unwrap());
        r.position_accurate = Some(raw.flags[0] == Some(true));
        r.cog_deg = some(1).then_some(f64::from(raw.a % 3600) / 10.0);
        r.sog_kn = some(2).then_some(f64::from(raw.b % 1023) / 10.0);
        r.utc_second = some(3).then_some((raw.c % 60) as u8);
        r.position_source = Some(match (some(3), raw.d % 4) {
            (true, _) => PositionSource::Fix,
            (_, 0) => PositionSource::Manual,
            (_, 1) => PositionSource::DeadReckoning,
            (_, 2) => PositionSource::Inoperative,
            _ => PositionSource::None,
        });
        r.heading_deg = some(4).then_some((raw.d % 360) as u16);
        r.raim_flag = Some(raw.flags[1] == Some(true));
    };
    let size = |r: &mut AisReport| {
        if some(5) {
            (r.dimension_a_m, r.dimension_b_m) = (Some((raw.a % 512) as u16), Some((raw.b % 511 + 1) as u16));
        }
        if some(6) {
            (r.dimension_c_m, r.dimension_d_m) = (Some((raw.c % 63 + 1) as u16), Some((raw.d % 64) as u16));
        }
    };
    match message {
        1..=3 => {
            moving(&mut r, 600_000.0);
            r.nav_status = Some((raw.a % 16) as u8);
            r.special_manoeuvre = raw.flags[2];
            let turn = (raw.b % 253) as i32 - 126;
            let root = f64::from(turn) / 4.733;
            r.rate_of_turn_deg_min = some(7).then_some(root * root.abs());
        }
        4 | 11 => {
            moving(&mut r, 600_000.0);
            (r.cog_deg, r.sog_kn, r.heading_deg, r.utc_second, r.position_source) =
                (None, None, None, None, None);
            r.utc = some(7).then(|| terms::Utc(i64::from(raw.a) * 1000));
        }
        5 => {
            r.imo = some(7).then_some(1_000_000 + raw.a % 9_000_000);
            r.call_sign = Some(raw.call.clone());
            r.name = cut(&raw.words, 20);
            r.destination = cut(&raw.words, 20);
            r.ship_type = some(8).then_some((raw.b % 255 + 1) as u8);
            r.draught_m = some(9).then_some(f64::from(raw.c % 255 + 1) / 10.0);
            r.eta = some(10).then_some(Eta {
                month: (raw.a % 12 + 1) as u8,
                day: (raw.b % 29 + 1) as u8,
                hour: some(11).then_some((raw.c % 24) as u8),
                minute: some(12).then_some((raw.d % 60) as u8),
            });
            size(&mut r);
        }
        9 => {
            moving(&mut r, 600_000.0);
            r.heading_deg = None;
            r.sog_kn = some(2).then_some(f64::from(raw.b % 1023));
            r.altitude_m = some(7).then_some((raw.d % 4095) as u16);
        }
        12 => {
            r.addressee = Mmsi::new(raw.a % 1_000_000_000);
            r.text = Some(raw.words.clone());
        }
        14 => r.text = Some(raw.words.clone()),
        18 => {
            moving(&mut r, 600_000.0);
            r.class_b = true;
        }
        19 => {
            moving(&mut r, 600_000.0);
            r.class_b = true;
            r.name = cut(&raw.words, 20);
            r.ship_type = some(8).then_some((raw.b % 255 + 1) as u8);
            size(&mut r);
        }
        21 => {
            moving(&mut r, 600_000.0);
            (r.cog_deg, r.sog_kn, r.heading_deg) = (None, None, None);
            r.name = cut(&raw.words, 34);
            r.aid_type = some(7).then_some((raw.a % 31 + 1) as u8);
            r.off_position = r.utc_second.map(|_| raw.flags[2] == Some(true));
            r.virtual_aid = Some(raw.flags[3] == Some(true));
            size(&mut r);
        }
        24 if raw.flags[0].is_some() => {
            r.class_b = true;
            r.part = Some('A');
            r.name = cut(&raw.words, 20);
        }
        24 => {
            r.class_b = true;
            r.part = Some('B');
            r.call_sign = Some(raw.call.clone());
            r.ship_type = some(8).then_some((raw.b % 255 + 1) as u8);
            if raw.mmsi / 10_000_000 == 98 {
                r.mother_ship = some(7).then(|| Mmsi::new(200_000_000 + raw.a % 600_000_000)).flatten();
            } else {
                size(&mut r);
            }
        }
        27 => {
            moving(&mut r, 600.0);
            (r.heading_deg, r.utc_second, r.position_source) = (None, None, None);
            r.nav_status = Some((raw.a % 16) as u8);
            r.cog_deg = some(1).then_some(f64::from(raw.a % 360));
            r.sog_kn = some(2).then_some(f64::from(raw.b % 63));
        }
        _ => {}
    }
    r
}

proptest! {
    #[test]
    fn every_type_comes_back_as_it_was(message in 1u8..=63, raw in raws(), own: bool) {
        let mut sent = report(message, &raw);
        sent.own_vessel = own;
        let lines = encode::ais(&sent, "AI", 'A', 3);
        let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
        prop_assert!(lines.iter().all(|l| l.len() <= 80), "IEC 61162-1: 82 with CR and LF");
        match crate::support::last(&lines) {
            Ok(Report::Ais(heard)) => {
                // Floats come back to the last bit but for the rate of turn, which goes through a square root.
                let turn = (heard.rate_of_turn_deg_min, sent.rate_of_turn_deg_min);
                if let (Some(a), Some(b)) = turn {
                    prop_assert!((a - b).abs() < 1e-9);
                    sent.rate_of_turn_deg_min = heard.rate_of_turn_deg_min;
                }
                prop_assert_eq!(*heard, sent);
            }
            other => prop_assert!(false, "{:?} {:?}", lines, other),
        }
    }
}
