//! Lines out of bytes: line ends, garbage, limits, checksums, TAG blocks and datagrams.

use crate::support::framed;
use proptest::prelude::*;
use sentence::{FramerOptions, MAX_LINE, Refusal, Sentence};
use terms::Utc;

/// IEC 61162-450's example as quoted by a library's documentation; the checksum is recomputed.
const HDT: &str = "$HEHDT,119.9,T*2F";
/// From the test suite of libais.
const VDM: &str = "!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0*5C";

const STRICT: FramerOptions = FramerOptions { checksum_optional: false };
const LENIENT: FramerOptions = FramerOptions { checksum_optional: true };

fn sentences(bytes: &[u8]) -> Vec<String> {
    framed(&[bytes], STRICT)
        .into_iter()
        .filter_map(|r| r.ok().map(|s| String::from_utf8_lossy(&s).into_owned()))
        .collect()
}

fn refusals(bytes: &[u8], options: FramerOptions) -> Vec<Refusal> {
    framed(&[bytes], options).into_iter().filter_map(|r| r.err().map(|(_, why)| why)).collect()
}

#[test]
fn line_ends_of_any_kind_and_garbage_between() {
    for end in ["\r\n", "\n", "\r", "\n\r", "\r\n\r\n"] {
        let stream = format!("{HDT}{end}{VDM}{end}");
        assert_eq!(sentences(stream.as_bytes()), [HDT, VDM], "{end:?}");
    }
    let mut noisy = b"\xB5\x62\x01\x07\x00\xFF".to_vec();
    noisy.extend_from_slice(HDT.as_bytes());
    noisy.extend_from_slice(b"\xD3\x00\x13\n\n\x00\x80$$$!\\");
    noisy.extend_from_slice(VDM.as_bytes());
    assert_eq!(sentences(&noisy), [HDT, VDM]);
    assert_eq!(sentences(format!("2026-11-01 02:14:07 {VDM},r003669930,1165795916\n").as_bytes()), [VDM]);
}

#[test]
fn sentences_whose_line_ends_were_lost() {
    assert_eq!(sentences(format!("{HDT}{VDM}{HDT}").as_bytes()), [HDT, VDM, HDT]);
    let cut = format!("$GPRMC,1201{VDM}\r\n");
    assert_eq!(sentences(cut.as_bytes()), [VDM]);
    assert_eq!(refusals(cut.as_bytes(), STRICT), [Refusal::CutShort]);
}

#[test]
fn a_sentence_cut_short_is_no_tag_block() {
    // Found by fuzzing: the first sentence began between two backslashes.
    let line = br"0\$HEHDT,119.9,\$HEHDT,119.9,T*2F";
    assert_eq!(sentences(line), [HDT]);
    assert_eq!(refusals(line, STRICT), [Refusal::CutShort]);
}

#[test]
fn checksums() {
    assert_eq!(sentences(b"$HEHDT,119.9,T*2f\n"), ["$HEHDT,119.9,T*2f"]);
    for (line, why) in [
        ("$HEHDT,119.9,T*2E", Refusal::BadChecksum),
        ("$HEHDT,119.9,T*2", Refusal::BadChecksum),
        ("$HEHDT,119.9,T*", Refusal::BadChecksum),
        ("$HEHDT,119.9,T*2F0", Refusal::BadChecksum),
        ("$HEHDT,119.9,T*+F", Refusal::BadChecksum),
        ("$HEHDT,119.9,T", Refusal::NoChecksum),
        ("hello", Refusal::NotASentence),
        ("$heHDT,119.9,T*2F", Refusal::BadAddress),
        ("$HDT,119.9,T*22", Refusal::BadAddress),
        ("$*00", Refusal::BadAddress),
        ("$HEHDT,11\x019.9,T*2E", Refusal::BadCharacter),
    ] {
        assert_eq!(refusals(line.as_bytes(), STRICT), [why], "{line}");
    }
    assert!(refusals(b"$HEHDT,119.9,T\r\n", LENIENT).is_empty());
    assert_eq!(refusals(b"$HEHDT,119.9,T*2E\r\n", LENIENT), [Refusal::BadChecksum]);
    assert_eq!(framed(&[b"$HEHDT,119.9,T$HEHDT,119.8,T\n"], LENIENT).len(), 2);
}

#[test]
fn a_line_without_end_is_refused_once_and_the_next_is_found() {
    let mut stream = vec![b'x'; 5 * MAX_LINE];
    stream.extend_from_slice(HDT.as_bytes());
    stream.extend_from_slice(b"\r\n");
    stream.extend_from_slice(VDM.as_bytes());
    assert_eq!(sentences(&stream), [HDT, VDM]);
    assert_eq!(refusals(&stream, STRICT), [Refusal::TooLong]);
}

#[test]
fn tag_blocks_are_read_and_a_wrong_one_costs_no_sentence() {
    // IEC 61162-450's example as quoted by a library's documentation.
    let line = r"\s:HE0002,c:1474107266,n:5*20\$HEHDT,119.9,T*2F";
    let sentence = Sentence::check(line.as_bytes(), &STRICT).unwrap();
    let tag = sentence.tag().unwrap();
    assert_eq!(tag.source, Some("HE0002"));
    assert_eq!(tag.time, Some(Utc(1_474_107_266_000)));
    assert_eq!(tag.line_count, Some(5));
    assert_eq!(sentence.as_bytes(), line.as_bytes());
    assert_eq!((sentence.talker(), sentence.formatter()), ("HE", "HDT"));
    assert_eq!(sentence.fields().collect::<Vec<_>>(), [&b"119.9"[..], b"T"]);

    let wrong = line.replace("*20", "*21");
    let sentence = Sentence::check(wrong.as_bytes(), &STRICT).unwrap();
    assert!(sentence.tag().is_none() && sentence.tag_block_dropped());

    let ms = r"\c:1474107266123,r:-5,d:VD0001,g:1-2-34*03\$HEHDT,119.9,T*2F";
    let tag = *Sentence::check(ms.as_bytes(), &STRICT).unwrap().tag().unwrap();
    assert_eq!((tag.time, tag.relative_ms), (Some(Utc(1_474_107_266_123)), Some(-5)));
    assert_eq!(tag.group.map(|g| (g.line, g.lines, g.id)), Some((1, 2, 34)));
    assert_eq!(tag.destination, Some("VD0001"));
}

#[test]
fn datagrams_of_iec_61162_450() {
    let datagram =
        [b"UdPbC\0".as_slice(), br"\s:HE0002,c:1474107266,n:5*20\", HDT.as_bytes(), b"\r\n"].concat();
    let all = framed(&[&datagram], STRICT);
    assert_eq!(all.len(), 1);
    assert!(all[0].as_ref().is_ok_and(|s| s.starts_with(b"\\s:HE0002")));
}

proptest! {
    #[test]
    fn reads_split_anywhere_give_the_same(
        lines in prop::collection::vec(prop_oneof![
            Just(HDT.as_bytes().to_vec()),
            Just(VDM.as_bytes().to_vec()),
            Just(br"\s:HE0002,c:1474107266,n:5*20\$HEHDT,119.9,T*2F".to_vec()),
            prop::collection::vec(any::<u8>(), 0..40),
            Just(vec![b'$'; 700]),
            Just(vec![b'z'; 600]),
        ], 1..12),
        ends in prop::collection::vec(prop_oneof![Just("\r\n"), Just("\n"), Just("\r"), Just("")], 12),
        cuts in prop::collection::vec(any::<prop::sample::Index>(), 0..20),
    ) {
        let mut stream = Vec::new();
        for (line, end) in lines.iter().zip(&ends) {
            stream.extend_from_slice(line);
            stream.extend_from_slice(end.as_bytes());
        }
        let mut cuts: Vec<usize> = cuts.iter().map(|c| c.index(stream.len() + 1)).collect();
        cuts.extend([0, stream.len()]);
        cuts.sort_unstable();
        let pieces: Vec<&[u8]> = cuts.windows(2).map(|w| &stream[w[0]..w[1]]).collect();
        let bytes: Vec<&[u8]> = stream.chunks(1).collect();
        let whole = framed(&[&stream], STRICT);
        prop_assert_eq!(&framed(&pieces, STRICT), &whole);
        prop_assert_eq!(&framed(&bytes, STRICT), &whole);
    }

    #[test]
    fn any_bytes_are_framed_without_panic(bytes in prop::collection::vec(any::<u8>(), 0..2000), lenient: bool) {
        for framed in framed(&[&bytes], FramerOptions { checksum_optional: lenient }).into_iter().flatten() {
            prop_assert!(framed.len() <= MAX_LINE);
        }
    }
}
