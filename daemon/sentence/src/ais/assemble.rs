//! Assembles AIS messages from their parts: in order, each with its own, and never waiting long.

use super::bits::Bits;
use super::decode;
use crate::fields::count;
use crate::refusal::Refusal;
use crate::report::Report;
use crate::sentence::Sentence;
use std::time::Duration;
use terms::Moment;

/// Most parts of a message: the longest, of five slots (ITU-R M.1371), fills five sentences of 82 characters.
const MOST_PARTS: u8 = 5;

/// How long a message may take to arrive whole. Its parts are sent back to back: five sentences take under a second at
/// 4800 bit/s, the slowest wire; two seconds leave room for other talkers in between.
const PATIENCE: Duration = Duration::from_secs(2);

/// Most messages under way on one feed: ten sequence identifiers on two channels for three receivers.
const MOST_UNDER_WAY: usize = 60;

/// What the parts of one message share and no other message under way should have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Key {
    own_vessel: bool,
    talker: [u8; 2],
    channel: u8,
    sequence: Option<u8>,
    parts: u8,
}

/// What a TAG block adds: where a part was heard, and the group it belongs to. A talker need not repeat the TAG block
/// on the later parts, so a missing one says nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Origin {
    source: Option<[u8; 16]>,
    group: Option<u32>,
}

impl Origin {
    fn of(sentence: &Sentence<'_>) -> Self {
        let Some(tag) = sentence.tag() else { return Self::default() };
        // Fifteen characters are the longest source (IEC 61162-450).
        let source = tag.source.map(|s| {
            let mut name = [0; 16];
            for (to, from) in name.iter_mut().zip(s.bytes()) {
                *to = from;
            }
            name
        });
        Self { source, group: tag.group.map(|g| g.id) }
    }

    /// Whether both name their source and the two differ.
    fn differs(&self, other: &Self) -> bool {
        let differ = |a: Option<u32>, b: Option<u32>| matches!((a, b), (Some(a), Some(b)) if a != b);
        differ(self.group, other.group) || matches!((self.source, other.source), (Some(a), Some(b)) if a != b)
    }
}

/// A message whose first part has come.
#[derive(Debug, Clone)]
struct UnderWay {
    key: Key,
    origin: Origin,
    since: Moment,
    /// Parts so far; none when two messages with this key came at once: then no part with it is believed until
    /// that is [`PATIENCE`] ago.
    have: u8,
    bits: Bits,
}

/// Puts the parts of one feed's messages together. Bounded to [`MOST_UNDER_WAY`] messages.
#[derive(Debug, Clone, Default)]
pub(crate) struct Assembler {
    under_way: Vec<UnderWay>,
}

impl Assembler {
    /// VDM and VDO: number of parts, number of this part, sequence identifier, channel, payload, fill bits.
    pub fn read(&mut self, at: Moment, sentence: &Sentence<'_>, own_vessel: bool) -> Result<Report, Refusal> {
        let [parts, part, sequence, channel, payload, fill] = sentence.first();
        let (Some(parts), Some(part)) = (count::<u8>(parts), count::<u8>(part)) else {
            return Err(Refusal::BadFragment);
        };
        if !(1..=parts).contains(&part) {
            return Err(Refusal::BadFragment);
        }
        // Fill bits that make no sense are taken as none: they could hide half a character at most.
        let fill = count::<usize>(fill).filter(|&n| n < 6).unwrap_or(0);
        let channel = channel.first().copied().unwrap_or_default();
        if parts == 1 {
            let mut bits = Bits::default();
            bits.push(payload, fill)?;
            return decode::read(&bits, channel, own_vessel);
        }
        if parts > MOST_PARTS {
            return Err(Refusal::TooManyFragments);
        }
        let talker = *sentence.talker_bytes().first_chunk().unwrap_or(b"  ");
        let key = Key { own_vessel, talker, channel, sequence: count(sequence), parts };
        let origin = Origin::of(sentence);
        self.under_way.retain(|m| at.since(m.since) <= PATIENCE && m.since <= at);
        if part == 1 {
            self.begin(at, key, origin, payload, fill)
        } else {
            let bits = self.go_on(&key, &origin, part, payload, fill)?;
            bits.map_or(Ok(Report::Fragment), |bits| decode::read(&bits, channel, own_vessel))
        }
    }

    fn begin(
        &mut self,
        at: Moment,
        key: Key,
        origin: Origin,
        payload: &[u8],
        fill: usize,
    ) -> Result<Report, Refusal> {
        let mut bits = Bits::default();
        bits.push(payload, fill)?;
        let new = UnderWay { key, origin, since: at, have: 1, bits };
        if let Some(same) = self.under_way.iter_mut().find(|m| m.key == key && !m.origin.differs(&origin)) {
            // The same part again comes from a second receiver that heard the same message. A different one means two
            // messages whose later parts cannot be told apart.
            if same.have == 1 && same.bits == new.bits {
                same.since = at;
                return Ok(Report::Fragment);
            }
            if same.have != 0 {
                *same = UnderWay { have: 0, ..new };
            }
            return Err(Refusal::ContestedFragment);
        }
        if self.under_way.len() >= MOST_UNDER_WAY {
            self.under_way.remove(0);
        }
        self.under_way.push(new);
        Ok(Report::Fragment)
    }

    fn go_on(
        &mut self,
        key: &Key,
        origin: &Origin,
        part: u8,
        payload: &[u8],
        fill: usize,
    ) -> Result<Option<Bits>, Refusal> {
        let fits = |m: &UnderWay| m.key == *key && !m.origin.differs(origin);
        let place = self.under_way.iter().position(fits).ok_or(Refusal::OrphanFragment)?;
        if self.under_way[place].have == 0 || self.under_way[place + 1..].iter().any(fits) {
            return Err(Refusal::ContestedFragment);
        }
        if self.under_way[place].have + 1 != part {
            self.under_way.remove(place);
            return Err(Refusal::OrphanFragment);
        }
        let message = &mut self.under_way[place];
        if let Err(why) = message.bits.push(payload, fill) {
            self.under_way.remove(place);
            return Err(why);
        }
        message.have = part;
        Ok((part == key.parts).then(|| self.under_way.remove(place).bits))
    }
}
