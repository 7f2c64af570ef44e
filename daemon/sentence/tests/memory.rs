//! Memory stays flat over hostile lines: distinct identities, distinct fragment identifiers, first parts without end,
//! lines without end. Slow, so it is run by `cargo test -p sentence --test all -- --ignored memory:: --nocapture`.

use crate::support::sealed;
use sentence::ais::AisReport;
use sentence::{Decoder, DecoderOptions, Framed, Framer, FramerOptions, Refusal, encode};
use terms::{Mmsi, Moment};

/// Resident memory of this process in KiB (Linux).
fn resident_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|l| l.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

fn hostile(n: u32) -> String {
    let mmsi = Mmsi::new(n % 1_000_000_000).unwrap();
    match n % 8 {
        0 => {
            let mut part = AisReport::new(24, 0, mmsi);
            (part.part, part.name) = (Some('A'), Some(format!("SHIP {n}")));
            encode::ais(&part, "AI", 'A', 0).remove(0)
        }
        1 => sealed(&format!("!AIVDM,2,1,{n},A,177KQJ5000G?tO`K>RA1wUbN0TKH,0")),
        2 => sealed(&format!("!AIVDM,5,1,{},{},177KQJ5000G?tO`K>RA1wUbN0TKH,0", n % 10, n % 7)),
        3 => {
            let source = format!("\\s:R{n},g:1-9-{n}");
            format!("{}\\{}", sealed(&source), sealed("!AIVDM,3,1,4,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0"))
        }
        4 => {
            let mut aircraft = AisReport::new(9, 0, mmsi);
            aircraft.altitude_m = Some(100);
            encode::ais(&aircraft, "AI", 'A', 0).remove(0)
        }
        5 => sealed(&format!("!{}{}VDM,2,2,1,A,177KQJ5,0", (b'A' + (n % 26) as u8) as char, n / 8 % 10)),
        6 => format!("$GP{}", "x".repeat(600)),
        _ => sealed(&format!("$P{n},{n},{n}")),
    }
}

#[test]
#[ignore = "ten million lines take minutes"]
fn memory_is_flat_over_ten_million_hostile_lines() {
    const LINES: u32 = 10_000_000;
    let mut framer = Framer::new(FramerOptions::default());
    let mut decoder = Decoder::new(DecoderOptions::default());
    let (mut settled_kib, mut most_kib, mut reports) = (0, 0, 0u64);
    for n in 0..LINES {
        let mut line = hostile(n).into_bytes();
        line.extend_from_slice(b"\r\n");
        framer.push(&line, &mut |framed| {
            if let Framed::Sentence(sentence) = framed {
                // A thousand lines a second, so that nothing grows old too soon to matter.
                reports += u64::from(decoder.read(Moment(i64::from(n)), &sentence).is_ok());
            }
        });
        if n == LINES / 10 {
            settled_kib = resident_kib();
        }
        if n % 100_000 == 0 {
            most_kib = most_kib.max(resident_kib());
        }
    }
    println!(
        "{LINES} lines, {reports} reports, {} too long; resident {settled_kib} KiB after a tenth, at most {most_kib} KiB",
        framer.counts().refused(Refusal::TooLong)
    );
    assert!(most_kib <= settled_kib + 1024, "{settled_kib} KiB grew to {most_kib} KiB");
}
