//! Falls over all oceans, from bytes on the wire to the casualty, and what must not raise one.

use lookout::casualty::{Casualties, CasualtyNews, CrewMember, Known, News, OwnContext, Placed};
use sentence::ais::{AisReport, PositionSource};
use sentence::{Decoder, DecoderOptions, Framed, Framer, FramerOptions, encode};
use terms::{Circular, Mmsi, Moment, Position, normal_deg, turn_deg};

/// The way from bytes to casualties.
struct Watch {
    framer: Framer,
    decoder: Decoder,
    casualties: Casualties,
}

impl Watch {
    fn new(crew: Vec<CrewMember>) -> Self {
        Self {
            framer: Framer::new(FramerOptions::default()),
            decoder: Decoder::new(DecoderOptions::default()),
            casualties: Casualties::new(crew),
        }
    }

    /// Takes a line; returns the numbers of the casualties it raised.
    fn take(&mut self, at: Moment, line: &[u8], own: &OwnContext) -> Vec<u32> {
        let (decoder, casualties) = (&mut self.decoder, &mut self.casualties);
        let mut hear = |framed: Framed<'_>| {
            if let Framed::Sentence(s) = framed
                && let Ok(report) = decoder.read(at, &s)
            {
                casualties.hear(at, &report, own);
            }
        };
        self.framer.push(line, &mut hear);
        self.framer.push(b"\r\n", &mut hear);
        let raised = |n: &News| match n {
            News::Casualty { id, news: CasualtyNews::Raised } => Some(id.0),
            _ => None,
        };
        self.casualties.take_news().iter().filter_map(raised).collect()
    }
}

/// Range in nautical miles and bearing on WGS 84 by Vincenty's inverse formula (Survey Review 23, 1975; from memory,
/// written independently here): a different method from the library's for the same ellipsoid.
fn vincenty(from: Position, to: Position) -> (f64, f64) {
    let (a, f) = (6_378_137.0, 1.0 / 298.257_223_563);
    let b = a * (1.0 - f);
    let reduced = |p: Position| ((1.0 - f) * p.latitude_deg().to_radians().tan()).atan();
    let (u1, u2) = (reduced(from), reduced(to));
    let l = turn_deg(from.longitude_deg(), to.longitude_deg()).to_radians();
    let mut lambda: f64 = l;
    let (mut sigma, mut sin_sigma, mut cos_sigma, mut cos2_alpha, mut cos_2m) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for _ in 0..100 {
        let x = u2.cos() * lambda.sin();
        let y = u1.cos() * u2.sin() - u1.sin() * u2.cos() * lambda.cos();
        sin_sigma = f64::hypot(x, y);
        if sin_sigma == 0.0 {
            return (0.0, 0.0);
        }
        cos_sigma = u1.sin() * u2.sin() + u1.cos() * u2.cos() * lambda.cos();
        sigma = f64::atan2(sin_sigma, cos_sigma);
        let sin_alpha = u1.cos() * u2.cos() * lambda.sin() / sin_sigma;
        cos2_alpha = 1.0 - sin_alpha * sin_alpha;
        cos_2m = if cos2_alpha > 0.0 { cos_sigma - 2.0 * u1.sin() * u2.sin() / cos2_alpha } else { 0.0 };
        let c = f / 16.0 * cos2_alpha * (4.0 + f * (4.0 - 3.0 * cos2_alpha));
        let inner = cos_2m + c * cos_sigma * (2.0 * cos_2m * cos_2m - 1.0);
        let next = l + (1.0 - c) * f * sin_alpha * (sigma + c * sin_sigma * inner);
        let done = f64::abs(next - lambda) < 1e-13;
        lambda = next;
        if done {
            break;
        }
    }
    let u = cos2_alpha * (a * a - b * b) / (b * b);
    let big_a = 1.0 + u / 16384.0 * (4096.0 + u * (-768.0 + u * (320.0 - 175.0 * u)));
    let big_b = u / 1024.0 * (256.0 + u * (-128.0 + u * (74.0 - 47.0 * u)));
    let last = big_b / 6.0 * cos_2m * (4.0 * sin_sigma * sin_sigma - 3.0) * (4.0 * cos_2m * cos_2m - 3.0);
    let delta =
        big_b * sin_sigma * (cos_2m + big_b / 4.0 * (cos_sigma * (2.0 * cos_2m * cos_2m - 1.0) - last));
    let azimuth = (u2.cos() * lambda.sin())
        .atan2(u1.cos() * u2.sin() - u1.sin() * u2.cos() * lambda.cos())
        .to_degrees();
    (b * big_a * (sigma - delta) / 1852.0, normal_deg(azimuth))
}

fn active(mmsi: u32, position: Option<Position>, second: u8) -> AisReport {
    let mut r = AisReport::new(1, 0, Mmsi::new(mmsi).unwrap());
    r.nav_status = Some(14);
    r.position = position;
    r.utc_second = position.map(|_| second);
    r.position_source =
        Some(if position.is_some() { PositionSource::Fix } else { PositionSource::Inoperative });
    r
}

fn own_at(at: Moment, position: Position, course_deg: f64, speed_kn: f64) -> OwnContext {
    OwnContext {
        position: Some(Known::new(position, at)),
        cog_deg: Some(Known::new(course_deg, at)),
        sog_kn: Some(Known::new(speed_kn, at)),
        ..OwnContext::default()
    }
}

/// Numbers spread over [0, 1) by the golden ratio and its kin.
fn spread(n: u32, k: f64) -> f64 {
    (f64::from(n) * k).fract()
}

#[test]
fn falls_over_all_oceans() {
    let (mut worst_range, mut worst_bearing) = (0.0f64, 0.0f64);
    for n in 0..120 {
        let latitude = -80.0 + 160.0 * spread(n, 0.618_033_988_7);
        // Every fourth beside the date line.
        let longitude = if n % 4 == 0 {
            179.995 - 0.01 * spread(n, 0.37)
        } else {
            -180.0 + 360.0 * spread(n, 0.754_877_666_2)
        };
        let fell = Position::new(latitude, longitude).unwrap();
        let (course, speed) = (360.0 * spread(n, 0.569_840_291), 2.0 + 23.0 * spread(n, 0.137));
        // Never quite still: a position repeated to the last digit is taken for an old one.
        let (set, drift) = (360.0 * spread(n, 0.568_3), 0.05 + 2.0 * spread(n, 0.71));
        let mut watch = Watch::new(vec![]);
        let mut bursts = 0;
        for second in 20..900u32 {
            let t = f64::from(second);
            let at = Moment::from_s(t);
            let in_burst = second % 60 < 16 && second % 2 == 0;
            if !in_burst && second % 20 != 0 {
                continue;
            }
            // Own last fix is up to three seconds old.
            let fixed = Moment(at.0 - i64::from(second % 4) * 1000);
            let own = own_at(fixed, fell.at(course, speed * fixed.as_s() / 3600.0), course, speed);
            watch.casualties.advance(at, &own);
            if !in_burst {
                continue;
            }
            let person = fell.at(set, drift * t / 3600.0);
            let report = active(972_000_000 + n, Some(person), (second % 60) as u8);
            let line = encode::ais(&report, "AI", 'A', 0).remove(0);
            let raised = watch.take(at, line.as_bytes(), &own);
            bursts += 1;
            assert_eq!(
                raised,
                if bursts == 1 { vec![1] } else { vec![] },
                "in the same pass as the first message"
            );
            let state = watch.casualties.states(at, &own).remove(0);
            let (range_nm, bearing) = vincenty(fell.at(course, speed * t / 3600.0), person);
            assert_eq!(state.position, Placed::Reported);
            worst_range = worst_range.max((state.range_nm.unwrap() - range_nm).abs());
            if range_nm > 0.2 {
                worst_bearing = worst_bearing.max(turn_deg(bearing, state.bearing_deg.unwrap()).abs());
            }
        }
    }
    println!("worst of 120 falls: range {worst_range:.5} nm, bearing {worst_bearing:.4}°");
    assert!(worst_range < 0.01 && worst_bearing < 1.0, "{worst_range} nm {worst_bearing}°");
}

#[test]
fn silent_for_ten_minutes_then_two_receivers_hear_it_again() {
    let fell = Position::new(-33.0, 179.999).unwrap();
    let mut watch = Watch::new(vec![]);
    let own = |t: f64| own_at(Moment::from_s(t), fell.at(45.0, 6.0 * t / 3600.0), 45.0, 6.0);
    let line = |t: f64, a: char| {
        let person = fell.at(100.0, 0.8 * t / 3600.0);
        encode::ais(&active(972_000_001, Some(person), 5), "AI", a, 0).remove(0)
    };
    for t in (60..=600).step_by(60).map(f64::from) {
        assert_eq!(
            watch.take(Moment::from_s(t), line(t, 'A').as_bytes(), &own(t)).len(),
            usize::from(t == 60.0)
        );
    }
    let mut silent = 0;
    for t in (601..1200).map(f64::from) {
        let at = Moment::from_s(t);
        watch.casualties.advance(at, &own(t));
        let is_silent = |n: &News| matches!(n, News::Casualty { news: CasualtyNews::Silent, .. });
        silent += watch.casualties.take_news().iter().filter(|n| is_silent(n)).count();
        let state = watch.casualties.states(at, &own(t)).remove(0);
        let expected = if t <= 730.0 { Placed::Reported } else { Placed::Estimated };
        assert_eq!(state.position, expected, "{t}");
        let truth = fell.at(100.0, 0.8 * t / 3600.0);
        let off = state.place.unwrap().range_and_bearing(truth).0;
        assert!(off <= state.radius95_nm.unwrap(), "{t}: {off} nm off, radius {:?}", state.radius95_nm);
    }
    assert_eq!(silent, 1);
    let drift = watch.casualties.states(Moment::from_s(1199.0), &own(1199.0))[0].drift.unwrap();
    assert!(turn_deg(drift.set_deg, 100.0).abs() < 10.0 && (drift.drift_kn - 0.8).abs() < 0.15, "{drift:?}");
    // The same transmission by two receivers, on one feed and half a second apart.
    for (t, channel) in [(1200.0, 'A'), (1200.5, 'B'), (1202.0, 'B'), (1202.4, 'B')] {
        assert!(watch.take(Moment::from_s(t), line(1200.0, channel).as_bytes(), &own(t)).is_empty());
    }
    let states = watch.casualties.states(Moment::from_s(1203.0), &own(1203.0));
    assert_eq!((states.len(), states[0].position), (1, Placed::Reported));
}

#[test]
fn two_people_and_a_mean_direction_of_none() {
    let fell = Position::new(0.0, 0.5).unwrap();
    let mut watch = Watch::new(vec![]);
    let own = own_at(Moment(0), fell, 0.0, 6.0);
    for (n, mmsi) in (1..).zip([972_000_001, 972_000_002]) {
        let line = encode::ais(&active(mmsi, None, 0), "AI", 'A', 0).remove(0);
        assert_eq!(watch.take(Moment(0), line.as_bytes(), &own), [n]);
    }
    assert_eq!(Circular::default().mean_deg(), None);
}

/// Real and made lines of beacons with what they say, as open test suites publish them.
#[test]
fn published_beacon_lines() {
    let own = OwnContext::default();
    for (line, raises) in [
        // libais and other open suites; two decoders agree: 970210000 SART TEST, 970010269 SART TEST,
        // 974570191 EPIRB TEST, 972122131 MOB TEST and its position report with status 15, 970211933 status 15.
        ("!AIVDM,1,1,,A,>>M@rl1<59B1@E=@0000000,2*0D", false),
        ("!AIVDM,1,1,,B,>>M4fWA<59B1@E=@,0*17", false),
        ("!AIVDM,1,1,,A,>>QK2khE0U8:1@E=@0,4*52", false),
        ("!AIVDM,1,1,,A,>>O5`4tlt:1@E=@,2*15", false),
        ("!AIVDM,1,1,,B,1>O5`4wP01:F?39b6mD>4?w81P00,0*0D", false),
        ("!AIVDM,1,1,,A,1>MA2GOP000jHb@LBhAtsOwt1P00,0*72", false),
        // 970000000 with status 14.
        ("!AIVDM,1,1,,B,1>M46P>P00Os:IfM5ITf4?w60<00,0*37", true),
    ] {
        let raised = Watch::new(vec![]).take(Moment(0), line.as_bytes(), &own);
        assert_eq!(!raised.is_empty(), raises, "{line}");
    }
}

#[test]
fn a_thousand_hostile_variants_raise_nothing() {
    let mut watch = Watch::new(vec![CrewMember { name: "Ada".into(), mmsi: Mmsi::new(257_123_450) }]);
    let own = own_at(Moment(0), Position::new(50.0, -5.0).unwrap(), 10.0, 5.0);
    let real = "!AIVDM,1,1,,B,1>M46P>P00Os:IfM5ITf4?w60<00,0*37";
    let mut lines: Vec<Vec<u8>> = Vec::new();
    // One byte of an active beacon's line changed on the wire: the checksum catches it.
    for i in 0..real.len() {
        for by in [b'0', b'>', b'w', b',', b' ', 0, b'\n', 0xFF] {
            let mut line = real.as_bytes().to_vec();
            if line[i] != by {
                line[i] = by;
                lines.push(line);
            }
        }
        lines.push(real.as_bytes()[..i].to_vec());
    }
    // Ships, gear markers and everything else that is no beacon, with status 14 and a beacon's text.
    for n in 0..600u32 {
        let prefix = [979, 973, 971, 975, 257, 990, 111, 800, 0, 97, 9, 982][n as usize % 12];
        let number = match prefix {
            97 => 97_000_000 + 2_000_000 + n,
            9 => 9_720_000 + n,
            p => p * 1_000_000 + 972_000 + n,
        };
        let mut report = active(number, Some(Position::new(50.0, -5.0).unwrap()), 5);
        lines.push(encode::ais(&report, "AI", 'A', 0).remove(0).into_bytes());
        report.message = 14;
        report.text = Some("MOB ACTIVE".to_owned());
        lines.push(encode::ais(&report, "AI", 'B', 1).remove(0).into_bytes());
    }
    // Tests by beacons, each once.
    for n in 0..200u32 {
        let mut report = active(972_300_000 + n, None, 0);
        report.nav_status = Some(15);
        lines.push(encode::ais(&report, "AI", 'A', 0).remove(0).into_bytes());
        report.message = 14;
        report.text = Some(["MOB TEST", "SART TEST", "EPIRB TEST"][n as usize % 3].to_owned());
        lines.push(encode::ais(&report, "AI", 'B', 1).remove(0).into_bytes());
    }
    for (formatter, fields) in [
        // Not in use, and under test.
        ("MOB", "0A1B2,V,021500.00,1,20,021400.00,4912.34,N,00607.80,W,0,0,,0"),
        ("MOB", "0A1B2,T,021500.00,1,20,021400.00,4912.34,N,00607.80,W,0,0,,0"),
        // A routine call, a test call, an acknowledgement of a distress.
        ("DSC", "20,2320718000,00,21,26,1423108312,2019,,,B,E"),
        ("DSC", "20,2320718000,08,18,26,,,,,R,"),
        ("DSC", "16,0023207180,12,10,12,1423108312,2019,2570000010,10,S,"),
    ] {
        let fields: Vec<&str> = fields.split(',').collect();
        lines.push(encode::sentence("CV", formatter, &fields).into_bytes());
    }
    assert!(lines.len() >= 1_000, "{}", lines.len());
    println!("{} hostile lines", lines.len());
    for line in &lines {
        let raised = watch.take(Moment(0), line, &own);
        assert!(raised.is_empty(), "{}", String::from_utf8_lossy(line));
    }
    // And the watch still hears the real one.
    assert_eq!(watch.take(Moment(0), real.as_bytes(), &own), [1]);
}
