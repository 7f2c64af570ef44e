//! Parts of AIS messages: in order, in time, never of two ships.

use crate::support::sealed;
use proptest::prelude::*;
use sentence::ais::AisReport;
use sentence::{Decoder, DecoderOptions, FramerOptions, Refusal, Report, Sentence, encode};
use terms::{Mmsi, Moment};

fn feed(decoder: &mut Decoder, at_ms: i64, line: &str) -> Result<Report, Refusal> {
    let sentence = Sentence::check(line.as_bytes(), &FramerOptions::default()).unwrap();
    decoder.read(Moment(at_ms), &sentence)
}

/// A message 5 whose every text names its sender.
fn voyage(mmsi: u32) -> AisReport {
    let mut r = AisReport::new(5, 0, Mmsi::new(mmsi).unwrap());
    r.name = Some(format!("SHIP {mmsi}"));
    r.call_sign = Some(format!("{}", mmsi % 10_000_000));
    r.destination = Some(format!("PORT {mmsi}"));
    r
}

fn whole(report: &AisReport) -> bool {
    let n = report.mmsi.number();
    report.name == Some(format!("SHIP {n}")) && report.destination == Some(format!("PORT {n}"))
}

#[test]
fn parts_in_order_in_time() {
    let lines = encode::ais(&voyage(211_000_001), "AI", 'A', 4);
    let mut d = Decoder::new(DecoderOptions::default());
    assert_eq!(feed(&mut d, 0, &lines[0]), Ok(Report::Fragment));
    assert!(matches!(feed(&mut d, 1_900, &lines[1]), Ok(Report::Ais(r)) if whole(&r)));

    assert_eq!(feed(&mut d, 5_000, &lines[1]), Err(Refusal::OrphanFragment));
    assert_eq!(feed(&mut d, 5_000, &lines[0]), Ok(Report::Fragment));
    assert_eq!(feed(&mut d, 7_001, &lines[1]), Err(Refusal::OrphanFragment), "too late");

    // The orphan is not kept for the next ship's first part.
    let next = encode::ais(&voyage(211_000_002), "AI", 'A', 4);
    assert_eq!(feed(&mut d, 20_000, &lines[1]), Err(Refusal::OrphanFragment));
    assert_eq!(feed(&mut d, 20_010, &next[0]), Ok(Report::Fragment));
    assert!(
        matches!(feed(&mut d, 20_020, &next[1]), Ok(Report::Ais(r)) if r.mmsi.number() == 211_000_002 && whole(&r))
    );
}

#[test]
fn five_parts_and_no_more() {
    let mut text = AisReport::new(14, 0, Mmsi::new(211_000_001).unwrap());
    text.text = Some("A".repeat(161));
    let whole = encode::ais(&text, "AI", 'B', 0);
    let payload: String = whole.iter().map(|l| l.split(',').nth(5).unwrap()).collect();
    let fill = whole[whole.len() - 1].split(',').nth(6).unwrap().chars().next().unwrap();
    for parts in [2usize, 3, 5, 6] {
        let size = payload.len().div_ceil(parts);
        let mut d = Decoder::new(DecoderOptions::default());
        let mut heard = Err(Refusal::NotASentence);
        for (n, piece) in payload.as_bytes().chunks(size).enumerate() {
            let piece = std::str::from_utf8(piece).unwrap();
            let fill = if n + 1 == parts { fill } else { '0' };
            heard = feed(&mut d, 0, &sealed(&format!("!AIVDM,{parts},{},7,B,{piece},{fill}", n + 1)));
        }
        if parts <= 5 {
            assert!(matches!(heard, Ok(Report::Ais(r)) if r.text == text.text), "{parts}");
        } else {
            assert_eq!(heard, Err(Refusal::TooManyFragments));
        }
    }
}

#[test]
fn two_messages_that_cannot_be_told_apart_are_both_dropped() {
    let (a, b) =
        (encode::ais(&voyage(211_000_001), "AI", 'A', 4), encode::ais(&voyage(211_000_002), "AI", 'A', 4));
    let mut d = Decoder::new(DecoderOptions::default());
    assert_eq!(feed(&mut d, 0, &a[0]), Ok(Report::Fragment));
    assert_eq!(feed(&mut d, 10, &b[0]), Err(Refusal::ContestedFragment));
    assert_eq!(feed(&mut d, 20, &a[1]), Err(Refusal::ContestedFragment));
    assert_eq!(feed(&mut d, 30, &b[1]), Err(Refusal::ContestedFragment));
    // Two seconds later the identifier is free again.
    assert_eq!(feed(&mut d, 2_011, &b[0]), Ok(Report::Fragment));
    assert!(matches!(feed(&mut d, 2_020, &b[1]), Ok(Report::Ais(r)) if whole(&r)));

    // The same message by a second receiver is no contest.
    assert_eq!(feed(&mut d, 9_000, &a[0]), Ok(Report::Fragment));
    assert_eq!(feed(&mut d, 9_001, &a[0]), Ok(Report::Fragment));
    assert!(matches!(feed(&mut d, 9_002, &a[1]), Ok(Report::Ais(r)) if whole(&r)));
    assert_eq!(feed(&mut d, 9_003, &a[1]), Err(Refusal::OrphanFragment));
}

#[test]
fn tag_blocks_tell_receivers_apart() {
    let (a, b) =
        (encode::ais(&voyage(211_000_001), "AI", 'A', 4), encode::ais(&voyage(211_000_002), "AI", 'A', 4));
    let tagged = |tag: &str, line: &str| format!("{}{line}", sealed(&format!("\\{tag}")) + "\\");
    let mut d = Decoder::new(DecoderOptions::default());
    assert_eq!(feed(&mut d, 0, &tagged("s:rx1,g:1-2-10", &a[0])), Ok(Report::Fragment));
    assert_eq!(feed(&mut d, 1, &tagged("s:rx2,g:1-2-77", &b[0])), Ok(Report::Fragment));
    assert!(matches!(feed(&mut d, 2, &tagged("g:2-2-10", &a[1])), Ok(Report::Ais(r)) if whole(&r)));
    assert!(matches!(feed(&mut d, 3, &tagged("s:rx2", &b[1])), Ok(Report::Ais(r)) if whole(&r)));
    // A first part with a TAG block, and a second without: there is only one it can belong to.
    assert_eq!(feed(&mut d, 4, &tagged("s:rx1,c:1474107266", &a[0])), Ok(Report::Fragment));
    assert!(matches!(feed(&mut d, 5, &a[1]), Ok(Report::Ais(r)) if whole(&r)));
}

#[test]
fn part_numbers_that_make_no_sense() {
    for (head, why) in [
        ("0,1,4,A", Refusal::BadFragment),
        ("2,0,4,A", Refusal::BadFragment),
        ("2,3,4,A", Refusal::BadFragment),
        (",1,4,A", Refusal::BadFragment),
        ("1,,4,A", Refusal::BadFragment),
        ("x,1,4,A", Refusal::BadFragment),
        ("9,1,4,A", Refusal::TooManyFragments),
        ("2,2,4,A", Refusal::OrphanFragment),
    ] {
        assert_eq!(
            crate::support::read(&sealed(&format!("!AIVDM,{head},>>M4fWA<59B1@E=@,0"))),
            Err(why),
            "{head}"
        );
    }
    assert_eq!(crate::support::read(&sealed("!AIVDM,1,1,,A,,0")), Err(Refusal::ShortPayload));
    assert_eq!(crate::support::read(&sealed("!AIVDM,1,1,,A,I,0")), Err(Refusal::ShortPayload));
    assert_eq!(crate::support::read(&sealed("!AIVDM,1,1,,A,1>M46Px~,0")), Err(Refusal::BadPayload));
    assert_eq!(crate::support::read(&sealed("!AIVDM,1,1,,A,0>M46P>P,0")), Err(Refusal::BadHead));
    assert_eq!(crate::support::read(&sealed("!AIVDM,1,1,,A,1wwwwwwP,0")), Err(Refusal::BadHead));
    assert_eq!(
        crate::support::read(&sealed(&format!("!AIVDM,1,1,,A,{},0", "1".repeat(300)))),
        Err(Refusal::LongPayload)
    );
}

proptest! {
    /// Several receivers on one feed, any order between their lines: any message completed is one ship's. Either lines
    /// are lost, and the receivers differ by talker or channel, or nothing is lost and nothing distinguishes them.
    /// (Both at once look the same as one good message: the second part of one ship after the first of another.) Each
    /// receiver counts its sequence identifiers from 0 to 9, as in IEC 61162-1.
    #[test]
    fn ships_are_never_mixed(order in prop::collection::vec((0usize..4, 0u8..100), 2..120), lossy: bool) {
        let (talkers, channels) =
            if lossy { (["AI", "AI", "AB", "AB"], ['A', 'B', 'A', 'B']) } else { (["AI"; 4], ['A'; 4]) };
        // Parts of one message come well within the two seconds they are waited for.
        let step_ms = if lossy { 150 } else { 10 };
        let mut waiting: Vec<Vec<String>> = vec![Vec::new(); 4];
        let mut sequence = [0, 3, 0, 0];
        let mut d = Decoder::new(DecoderOptions::default());
        let mut mmsi = 211_000_000;
        for (at, (receiver, luck)) in order.into_iter().enumerate() {
            if waiting[receiver].is_empty() {
                mmsi += 1;
                sequence[receiver] = (sequence[receiver] + 1) % 10;
                waiting[receiver] =
                    encode::ais(&voyage(mmsi), talkers[receiver], channels[receiver], sequence[receiver]);
            }
            let line = waiting[receiver].remove(0);
            if lossy && luck < 10 {
                continue;
            }
            if let Ok(Report::Ais(report)) = feed(&mut d, at as i64 * step_ms, &line) {
                prop_assert!(whole(&report), "{:?}", report);
            }
        }
    }

    #[test]
    fn any_line_is_decoded_without_panic(
        bytes in prop::collection::vec(any::<u8>(), 0..120),
        formatter in prop::sample::select(vec![
            "VDM", "VDO", "RMC", "GGA", "GLL", "VTG", "HDT", "HDG", "VHW", "DPT", "DBT", "MWV", "GNS", "ZDA", "HDM", "THS",
            "VBW", "DBS", "MWD", "VWR", "MTW", "MDA", "XDR", "XTE", "ROT", "RSA", "RPM", "MOB", "DSC", "DSE", "TTM", "TLL",
            "ALR", "ALF", "ACK", "ACN", "HBT",
        ]),
        commas in prop::collection::vec(any::<prop::sample::Index>(), 0..30),
    ) {
        let mut body = [b"$II", formatter.as_bytes(), b","].concat();
        let mut rest: Vec<u8> = bytes.iter().map(|b| if b.is_ascii_control() { b'0' + b % 10 } else { *b }).collect();
        for comma in commas {
            if !rest.is_empty() {
                let at = comma.index(rest.len());
                rest[at] = b',';
            }
        }
        body.extend(rest.into_iter().filter(|b| !b"*$!".contains(b)));
        let sum = body[1..].iter().fold(0, |sum, b| sum ^ b);
        body.extend(format!("*{sum:02X}").bytes());
        let sentence = Sentence::check(&body, &FramerOptions::default()).unwrap();
        let _ = Decoder::new(DecoderOptions::default()).read(Moment::ZERO, &sentence);
        let _ = sentence.is_urgent(&[]);
    }
}
