//! `replay --json --effects`: what the watch puts out besides event records, so that `tests/same` can compare two
//! builds. One JSON array a line: a word, the stamp, then values in a fixed order.

use record::Stamp;
use rules::{Addressee, Carry};
use serde::Serialize;
use std::io::{self, Write};
use watch::{Effect, Row};

/// Steady time in ms, UTC in ms, the source of UTC, and the feed that brought it.
fn stamp(at: &Stamp) -> impl Serialize {
    (at.steady.0, at.utc.map(|(utc, _)| utc.0), at.utc.map(|(_, source)| source), at.feed)
}

/// An event's addressee, signals, loudness, reach and whether it is said in passing; its record comes first.
pub(super) fn carry(out: &mut impl Write, at: &Stamp, carry: &Carry) -> io::Result<()> {
    let (to, who) = match &carry.to {
        Addressee::Watch(who) => ("watch", who.as_deref()),
        Addressee::Skipper(who) => ("skipper", who.as_deref()),
        Addressee::AllHands => ("all hands", None),
    };
    line(
        out,
        &("carry", stamp(at), to, who, &carry.signals, carry.aloud, carry.level, carry.more, carry.passing),
    )
}

/// A row or entry for the logbook.
pub(super) fn row(out: &mut impl Write, output: &Effect) -> io::Result<()> {
    let degrees = |p: terms::Position| (p.latitude_deg(), p.longitude_deg());
    match output {
        Effect::Event(..) | Effect::Keep(..) | Effect::Places(..) => Ok(()),
        Effect::Again(at, record) => line(out, &("again", stamp(at), record)),
        Effect::Row(at, Row::Own(o)) => {
            line(out, &("own", stamp(at), o.position.map(degrees), o.cog_deg, o.sog_kn, o.heading_deg))
        }
        Effect::Row(at, Row::Target(t)) => {
            let moves = (t.position.map(degrees), t.cog_deg, t.sog_kn);
            let passes = (t.range_nm, t.bearing_deg, t.cpa_nm, t.tcpa_s);
            line(
                out,
                &("target", stamp(at), t.mmsi.number(), t.name.as_deref(), t.kind.as_deref(), moves, passes),
            )
        }
        Effect::Row(at, Row::Instrument(quantity, value)) => {
            line(out, &("instrument", stamp(at), quantity.name(), value))
        }
        Effect::Entry(at, e) => line(out, &("entry", stamp(at), e.kind(), e.who(), e.text(), e)),
    }
}

fn line(out: &mut impl Write, values: &impl Serialize) -> io::Result<()> {
    serde_json::to_writer(&mut *out, values)?;
    out.write_all(b"\n")
}
