//! Anything may be heard, at any time and in any order: nothing panics, nothing grows without bound, and no reported
//! number is NaN.

use lookout::{Lookout, Settings};
use proptest::prelude::*;
use sentence::ais::AisReport;
use sentence::{Depth, Fix, Heading, RadarPlot, Report, SentTime, Transducer, Wind, WindReference};
use terms::{FeedId, Mmsi, Moment, Position, Quantity, Utc, Whose};

fn number() -> impl Strategy<Value = Option<f64>> {
    prop_oneof![
        Just(None),
        Just(Some(0.0)),
        Just(Some(f64::NAN)),
        Just(Some(f64::INFINITY)),
        Just(Some(-1e300)),
        (-400.0..400.0f64).prop_map(Some),
    ]
}

fn position() -> impl Strategy<Value = Option<Position>> {
    let near = (49.9..50.1f64, -0.1..0.1f64);
    prop_oneof![
        Just(None),
        Just(Position::new(90.0, 0.0).ok()),
        Just(Position::new(-90.0, 180.0).ok()),
        (-90.0..90.0f64, -180.0..180.0f64).prop_map(|(a, b)| Position::new(a, b).ok()),
        near.prop_map(|(a, b)| Position::new(a, b).ok()),
    ]
}

fn ais() -> impl Strategy<Value = Report> {
    let who =
        prop_oneof![0..5u32, 211_000_000..211_000_040u32, 970_000_000..974_999_999u32, Just(2_111_111u32)];
    (1..28u8, who, position(), number(), number(), proptest::option::of(0..512u16), any::<bool>()).prop_map(
        |(message, mmsi, position, sog_kn, cog_deg, heading_deg, own_vessel)| {
            Report::Ais(Box::new(AisReport {
                position,
                sog_kn,
                cog_deg,
                heading_deg,
                own_vessel,
                class_b: message == 18,
                rate_of_turn_deg_min: sog_kn,
                nav_status: Some(message % 16),
                dimension_a_m: heading_deg,
                ship_type: Some(message),
                ..AisReport::new(message, 0, Mmsi::new(mmsi).unwrap())
            }))
        },
    )
}

fn instrument() -> impl Strategy<Value = Report> {
    (0..9u8, position(), number(), number(), any::<i64>(), any::<u32>()).prop_map(
        |(k, position, a, b, utc, ms)| match k {
            0 | 1 => {
                let time = if k == 0 { SentTime::Utc(Utc(utc)) } else { SentTime::OfDayMs(ms) };
                let fix = Fix { time: Some(time), position, sog_kn: a, cog_deg: b, ..Fix::default() };
                Report::Fix(Fix { variation_deg: b, ..fix })
            }
            2 => {
                Report::Heading(Heading { true_deg: a, magnetic_deg: b, deviation_deg: a, variation_deg: b })
            }
            3 => Report::Depth(Depth { below_transducer_m: a, offset_m: b, below_surface_m: a }),
            4 => Report::Wind(Wind {
                reference: WindReference::Apparent,
                angle_deg: a,
                direction_deg: None,
                direction_magnetic_deg: b,
                speed_kn: b,
            }),
            5 => Report::Time { utc: Some(Utc(utc)) },
            6 => Report::Transducers {
                transducers: vec![Transducer {
                    kind: if ms % 2 == 0 { 'C' } else { 'P' },
                    value: a.unwrap_or(1.0),
                    unit: Some('B'),
                    name: format!("T{ms}"),
                }],
            },
            7 => Report::WaterSpeed {
                speed_through_water_kn: a,
                ground_speed_kn: b,
                heading: Heading { true_deg: b, ..Heading::default() },
            },
            _ => Report::RadarPlot(RadarPlot {
                number: u16::try_from(ms % 70_000).ok(),
                range_nm: a,
                bearing_deg: b,
                bearing_relative: utc % 2 == 0,
                speed_kn: a,
                course_deg: b,
                position,
                ..RadarPlot::default()
            }),
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn nothing_heard_breaks_the_picture(
        heard in proptest::collection::vec(
            (prop_oneof![Just(-5_000i64), Just(i64::MAX / 4), 0..20_000i64], 0..400u16, prop_oneof![ais(), instrument()]),
            1..150,
        )
    ) {
        let mut lookout = Lookout::new(Settings { targets_max: 20, ..Settings::default() });
        let mut now = 0i64;
        for (step, feed, report) in heard {
            now = now.saturating_add(step);
            let at = Moment(now);
            lookout.advance(at);
            lookout.hear(at, FeedId(feed), &report);
            lookout.take_findings();
            prop_assert!(lookout.targets(at).len() <= 20);
            prop_assert!(lookout.next_wake().is_none_or(|w| w > Moment(i64::MIN)));
            for whose in [Whose::Own, Whose::Target, Whose::Feed] {
                for subject in lookout.subjects(whose).into_iter().take(6) {
                    for &q in Quantity::ALL {
                        let r = lookout.reading(at, subject, q);
                        let n = r.value.and_then(|v| v.number());
                        prop_assert!(n.is_none_or(|n| !n.is_nan()), "{subject:?} {q} is {n:?} after {report:?}");
                    }
                }
            }
            lookout.own(at);
        }
    }
}
