//! The feeds: what each receiver hears on the air, outages, delays, damaged lines and TAG blocks.

use super::{Timed, What};
use crate::Scenario;
use crate::plan::{Feed, Formatter};
use crate::random::Stream;
use sentence::ais::AisReport;
use sentence::{TagBlock, encode};
use std::collections::BTreeMap;
use terms::{Moment, Plane, Position};

/// All feeds, and the lines on their way.
pub struct Wires<'a> {
    scenario: &'a Scenario,
    /// By moment and order of sending; bounded by what is sent within the longest delay (a minute).
    under_way: BTreeMap<(Moment, u64), What<'a>>,
    sent: u64,
    /// For each feed the sequence number of its next multi-sentence message.
    sequence: Vec<u8>,
    /// Own position and its plane at the last transmission, for a busy strait sends many at one moment.
    own: Option<(Moment, Plane)>,
}

impl<'a> Wires<'a> {
    pub fn new(scenario: &'a Scenario) -> Self {
        let sequence = vec![0; scenario.plan.feeds.len()];
        Self { scenario, under_way: BTreeMap::new(), sent: 0, sequence, own: None }
    }

    /// Something happens at a moment.
    pub fn put(&mut self, at: Moment, what: What<'a>) {
        self.under_way.insert((at, self.sent), what);
        self.sent += 1;
    }

    /// The next that happens no later than the next sender is due; all that are left if none is.
    pub fn take(&mut self, due: Option<Moment>) -> Option<Timed<'a>> {
        let entry = self.under_way.first_entry()?;
        let at = entry.key().0;
        if due.is_some_and(|due| at > due) {
            return None;
        }
        let what = entry.remove();
        Some(Timed { at, utc: self.scenario.utc(at), what })
    }

    /// A feed's own device writes a sentence.
    pub fn write(&mut self, feed: usize, at: Moment, sentence: &str) {
        let scenario = self.scenario;
        if let Some(wire) = scenario.plan.feeds.get(feed) {
            self.carry(wire, at, sentence);
        }
    }

    /// A feed's own device writes an AIS report of own vessel.
    pub fn write_ais(&mut self, feed: usize, at: Moment, report: &AisReport) {
        let scenario = self.scenario;
        if let Some(wire) = scenario.plan.feeds.get(feed) {
            self.write_message(feed, wire, at, report, 'A');
        }
    }

    fn write_message(&mut self, feed: usize, wire: &'a Feed, at: Moment, report: &AisReport, channel: char) {
        let Some(sequence) = self.sequence.get_mut(feed) else { return };
        let lines = encode::ais(report, &wire.talker, channel, *sequence);
        if lines.len() > 1 {
            *sequence = (*sequence + 1) % 10;
        }
        for line in lines {
            self.carry(wire, at, &line);
        }
    }

    /// A station transmits: each receiver in range hears it, or by bad luck misses it. Luck depends only on the station
    /// and the moment, so that a ship more or less does not change it for the others.
    pub fn transmit(
        &mut self,
        at: Moment,
        from: Position,
        at_most_nm: f64,
        report: &AisReport,
        channel: char,
    ) {
        let scenario = self.scenario;
        let plane = match self.own {
            Some((last, plane)) if last == at => plane,
            _ => Plane::at(scenario.world.own.at(at).position),
        };
        self.own = Some((at, plane));
        let (east, north) = plane.east_north(from);
        let range_nm = east.hypot(north);
        let own_mmsi = scenario.plan.own.mmsi;
        for (i, wire) in scenario.plan.feeds.iter().enumerate() {
            let Some(hears) = wire.hears else { continue };
            // A transponder writes its own reports as VDO and does not hear itself.
            if report.mmsi == own_mmsi && wire.sentences.iter().any(|(f, _)| *f == Formatter::Vdo) {
                continue;
            }
            let luck = || {
                let name = format!("luck {} {} {} {}", wire.name, report.mmsi, at.0, report.message);
                Stream::named(scenario.plan.seed, &name).even()
            };
            if range_nm <= hears.range_nm.min(at_most_nm) && luck() < hears.probability {
                self.write_message(i, wire, at, report, channel);
            }
        }
    }

    /// A sentence on its way through a feed.
    fn carry(&mut self, wire: &'a Feed, at: Moment, sentence: &str) {
        let at = at + wire.delay;
        if wire.outages.iter().any(|outage| outage.holds(at)) {
            return;
        }
        let mut line = sentence.to_owned();
        if let Some(source) = &wire.tag_source {
            let time = Some(self.scenario.utc(at));
            line = encode::tag_block(&TagBlock { source: Some(source), time, ..Default::default() }) + &line;
        }
        if wire.damaged > 0.0 {
            let mut luck =
                Stream::named(self.scenario.plan.seed, &format!("damage {} {}", wire.name, self.sent));
            if luck.even() < wire.damaged {
                line = damaged(&line, &mut luck);
            }
        }
        self.put(at, What::Line { feed: &wire.name, line });
    }
}

/// The line with one of its characters changed to another printable one.
fn damaged(line: &str, luck: &mut Stream) -> String {
    let place = (luck.even() * line.len() as f64) as usize;
    let change = |(i, b): (usize, u8)| {
        // Flipping the lowest bit keeps every printable ASCII character but DEL's neighbour printable.
        let flipped = if b == b'~' { b'}' } else { b ^ 1 };
        char::from(if i == place { flipped } else { b })
    };
    line.bytes().enumerate().map(change).collect()
}
