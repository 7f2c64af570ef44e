//! What must hold of the sentence crate whatever the bytes: shared by the fuzz targets and the test that replays their
//! corpora on stable.
#![allow(
    dead_code,
    clippy::panic,
    clippy::unwrap_used,
    reason = "each target uses a part; a finding is a panic"
)]

use sentence::ais::AisReport;
use sentence::{
    Decoder, DecoderOptions, Framed, Framer, FramerOptions, MAX_LINE, Refusal, Report, Sentence, encode,
};
use terms::{Mmsi, Moment};

/// A sentence taken, or what was refused and why.
type Outcome = Result<Vec<u8>, (Vec<u8>, Refusal)>;

/// Framing: the first byte chooses the options and where reads are split; the rest is the stream.
pub fn framing(data: &[u8]) {
    let Some((&how, stream)) = data.split_first() else { return };
    let options = FramerOptions { checksum_optional: how & 1 == 1 };
    let frame = |pieces: &mut dyn Iterator<Item = &[u8]>| {
        let mut framer = Framer::new(options);
        let mut all: Vec<Outcome> = Vec::new();
        let mut out = |framed: Framed<'_>| {
            all.push(match framed {
                Framed::Sentence(s) => Ok(s.as_bytes().to_vec()),
                Framed::Refused { line, why } => Err((line.to_vec(), why)),
            });
        };
        for piece in pieces {
            framer.push(piece, &mut out);
        }
        framer.finish(&mut out);
        assert_eq!(framer.counts().bytes, stream.len() as u64);
        assert_eq!(framer.counts().sentences, all.iter().filter(|r| r.is_ok()).count() as u64);
        assert_eq!(framer.counts().all_refused(), all.iter().filter(|r| r.is_err()).count() as u64);
        all
    };
    let whole = frame(&mut std::iter::once(stream));
    let step = usize::from(how >> 1).max(1);
    assert_eq!(frame(&mut stream.chunks(step)), whole, "reads of {step} bytes");
    for framed in &whole {
        match framed {
            Ok(line) => {
                assert!(line.len() <= MAX_LINE);
                let start = line.iter().position(|b| b"$!".contains(b)).unwrap();
                if let Some(star) = line[start..].iter().position(|&b| b == b'*') {
                    // The checksum once more, as naively as it goes.
                    let sum = line[start + 1..start + star].iter().fold(0u8, |sum, b| sum ^ b);
                    let given = std::str::from_utf8(&line[start + star + 1..]).unwrap();
                    assert_eq!(u8::from_str_radix(given, 16), Ok(sum));
                } else {
                    assert!(options.checksum_optional);
                }
                // What was framed once is framed again, and alone.
                let again = Sentence::check(line, &options).unwrap();
                assert_eq!(again.as_bytes(), line);
                let _ = (again.is_urgent(&[]), again.fields().count(), again.talker(), again.formatter());
            }
            Err((line, _)) => assert!(line.len() <= MAX_LINE),
        }
    }
}

/// Reassembly. The first bytes are acts of four receivers on one feed, two bytes each: which receiver goes on with its
/// message, and how long after the last. Nothing is lost; so no message that comes out whole is of two ships. Behind the
/// acts, the rest is taken as parts of any kind.
pub fn reassembly(data: &[u8]) {
    let (acts, rest) = data.split_at(data.len().min(160));
    let mut decoder = Decoder::new(DecoderOptions::default());
    let mut waiting: [Vec<String>; 4] = Default::default();
    let (mut mmsi, mut at_ms) = (211_000_000, 0);
    for act in acts.chunks_exact(2) {
        let receiver = usize::from(act[0] % 4);
        // Eighty acts of 20 ms: within the two seconds that parts are waited for.
        at_ms += i64::from(act[1] % 21);
        if waiting[receiver].is_empty() {
            mmsi += 1;
            // Sequence identifiers and channels as it comes: nothing need tell the receivers apart.
            let channel = if act[0] & 4 == 0 { 'A' } else { 'B' };
            waiting[receiver] = encode::ais(&voyage(mmsi), "AI", channel, act[0] >> 3 & 3);
        }
        let line = waiting[receiver].remove(0);
        let sentence = Sentence::check(line.as_bytes(), &FramerOptions::default()).unwrap();
        if let Ok(Report::Ais(report)) = decoder.read(Moment(at_ms), &sentence) {
            let n = report.mmsi.number();
            assert_eq!(report.name, Some(format!("SHIP {n}")));
            assert_eq!(report.destination, Some(format!("PORT {n}")));
        }
    }
    for part in rest.chunks(24) {
        let digit = |n: usize| char::from(b'0' + part.get(n).copied().unwrap_or(1) % 11);
        let payload: String = part.iter().skip(5).map(|b| armour(b % 64)).collect();
        let (count, number, id, fill) = (digit(0), digit(1), digit(2), digit(3));
        let channel = char::from(b'A' + part.get(4).copied().unwrap_or_default() % 3);
        let body = format!("!AIVDM,{count},{number},{id},{channel},{payload},{fill}");
        at_ms += i64::from(part[0]);
        read(&mut decoder, at_ms, body.as_bytes());
    }
}

/// Decoding: lines at any moment, their checksums put right so that what is behind them is reached.
pub fn decoding(data: &[u8]) {
    let mut decoder = Decoder::new(DecoderOptions::default());
    for (n, line) in data.split(|&b| b == b'\n').enumerate() {
        let start = line.iter().position(|b| b"$!".contains(b));
        let Some(start) = start else { continue };
        let body: Vec<u8> = line[start..].iter().copied().take_while(|&b| b != b'*').collect();
        read(&mut decoder, n as i64 * 100, &body);
    }
}

/// Puts the checksum behind a body, checks it, and reads it.
pub fn read(decoder: &mut Decoder, at_ms: i64, body: &[u8]) -> Option<Report> {
    let sum = body.iter().skip(1).fold(0u8, |sum, b| sum ^ b);
    let line = [body, format!("*{sum:02X}").as_bytes()].concat();
    let sentence = Sentence::check(&line, &FramerOptions::default()).ok()?;
    let _ = sentence.is_urgent(&[]);
    let report = decoder.read(Moment(at_ms), &sentence).ok()?;
    believable(&report);
    Some(report)
}

/// No number out of its range, none that is not finite; and what is written is read again.
fn believable(report: &Report) {
    let json = serde_json::to_value(report).unwrap();
    for (name, value) in json.as_object().into_iter().flatten() {
        let Some(number) = value.as_f64() else { continue };
        let range = match name.as_str() {
            "latitude_deg" => -90.0..=90.0,
            "longitude_deg" => -180.0..=180.0,
            "variation_deg" | "deviation_deg" | "angle_deg" => -180.0..=180.0,
            "rate_of_turn_deg_min" => -3600.0..=3600.0,
            "rudder_deg" => -90.0..=90.0,
            "speed_through_water_kn" | "ground_speed_kn" => -1022.0..=1022.0,
            _ if name.ends_with("_deg") => 0.0..=359.999_999_999_999_97,
            _ if name.ends_with("_kn") => 0.0..=1022.0,
            "below_transducer_m" | "below_surface_m" => 0.0..=12_000.0,
            "pressure_hpa" => 800.0..=1100.0,
            "mmsi" | "casualty" | "caller" => 0.0..=999_999_999.0,
            "utc_second" => 0.0..=59.0,
            "nav_status" => 0.0..=15.0,
            _ => f64::MIN..=f64::MAX,
        };
        assert!(range.contains(&number), "{name} {number} of {report:?}");
    }
    if let Report::Ais(ais) = report {
        let channel = ais.channel.unwrap_or('A');
        let lines = encode::ais(ais, "AI", channel, 0);
        let mut again = Decoder::new(DecoderOptions::default());
        let heard = lines.iter().map(|line| {
            let sentence = Sentence::check(line.as_bytes(), &FramerOptions::default()).unwrap();
            again.read(Moment::ZERO, &sentence)
        });
        let Some(Ok(Report::Ais(heard))) = heard.last() else { panic!("{lines:?}") };
        // A short message is filled up by the encoder; after that nothing may change any more.
        assert_eq!(encode::ais(&heard, "AI", channel, 0), lines, "{ais:?}");
    }
}

/// A message 5 whose texts name its sender.
fn voyage(mmsi: u32) -> AisReport {
    let mut r = AisReport::new(5, 0, Mmsi::new(mmsi).unwrap());
    r.name = Some(format!("SHIP {mmsi}"));
    r.destination = Some(format!("PORT {mmsi}"));
    r
}

/// The armour character of six bits.
fn armour(six: u8) -> char {
    (if six < 40 { six + 48 } else { six + 56 }) as char
}
