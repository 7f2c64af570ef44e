//! The six-bit armour of VDM and VDO (IEC 61162-1) and the bits under it.

use crate::refusal::Refusal;
use terms::Mmsi;

/// Bytes kept of a message. The longest AIS message has 1064 bits (ITU-R M.1371, message 26 in five slots); senders
/// that pad to whole sentences stay below 1200.
const BYTES: usize = 150;

/// Value of an armour character: 48 to 87 are 0 to 39, 96 to 119 are 40 to 63.
const fn value(character: u8) -> u8 {
    match character {
        48..=87 => character - 48,
        96..=119 => character - 56,
        _ => INVALID,
    }
}

const INVALID: u8 = 0xFF;

/// [`value`] of every byte.
const VALUES: [u8; 256] = {
    let mut values = [INVALID; 256];
    let mut byte = 0;
    while byte < 256 {
        values[byte] = value(byte as u8);
        byte += 1;
    }
    values
};

/// The identity in the first 38 bits of a payload.
pub(crate) fn identity(payload: &[u8]) -> Option<Mmsi> {
    let head = payload.first_chunk::<7>()?;
    let mut bits = 0u64;
    for &character in head {
        match VALUES[usize::from(character)] {
            INVALID => return None,
            six => bits = bits << 6 | u64::from(six),
        }
    }
    Mmsi::new((bits >> 4 & 0x3FFF_FFFF) as u32)
}

/// The bits of one message.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Bits {
    /// Eight bytes of zeros stay behind the last bit, so that a read never leaves the array.
    bytes: [u8; BYTES + 8],
    len: usize,
}

impl Default for Bits {
    fn default() -> Self {
        Self { bytes: [0; BYTES + 8], len: 0 }
    }
}

impl Bits {
    /// Adds the payload of the next part, whose last `fill` bits are not data.
    pub fn push(&mut self, payload: &[u8], fill: usize) -> Result<(), Refusal> {
        let end = self.len + payload.len() * 6;
        if end > BYTES * 8 {
            return Err(Refusal::LongPayload);
        }
        let mut seen = 0;
        // The bits of the last, half-filled byte, then of the characters as they come.
        let mut at = self.len / 8;
        let mut waiting = (self.len % 8) as u32;
        let mut word = u32::from(self.bytes[at]) >> (8 - waiting);
        for &character in payload {
            let six = VALUES[usize::from(character)];
            seen |= six;
            word = word << 6 | u32::from(six & 63);
            waiting += 6;
            while waiting >= 8 {
                waiting -= 8;
                self.bytes[at] = (word >> waiting) as u8;
                at += 1;
            }
        }
        if seen > 63 {
            return Err(Refusal::BadPayload);
        }
        self.bytes[at] = (word << (8 - waiting)) as u8;
        self.len = end.saturating_sub(fill).max(self.len);
        // Fill bits become zeros: the next part begins in their place.
        self.bytes[self.len / 8] &= !(0xFF >> (self.len % 8));
        self.bytes[self.len / 8 + 1..].fill(0);
        Ok(())
    }

    /// Whether the bits before this one are all there.
    pub fn reaches(&self, end: usize) -> bool {
        end <= self.len
    }

    /// Armoured as one payload, without an incomplete last character.
    pub fn armoured(&self) -> String {
        let six = |n| self.u(6 * n, 6).unwrap_or_default() as u8;
        (0..self.len / 6).map(six).map(|six| if six < 40 { six + 48 } else { six + 56 } as char).collect()
    }

    /// An unsigned field of at most 32 bits, if all of it is there.
    pub fn u(&self, at: usize, len: usize) -> Option<u32> {
        if !self.reaches(at + len) {
            return None;
        }
        let chunk = self.bytes.get(at / 8..)?.first_chunk::<8>()?;
        let word = u64::from_be_bytes(*chunk) << (at % 8);
        Some((word >> (64 - len)) as u32)
    }

    /// A field in two's complement.
    pub fn i(&self, at: usize, len: usize) -> Option<i32> {
        let raw = self.u(at, len)?;
        let unused = 32 - len as u32;
        Some((raw << unused) as i32 >> unused)
    }

    /// One bit.
    pub fn flag(&self, at: usize) -> Option<bool> {
        self.u(at, 1).map(|bit| bit == 1)
    }

    /// Six-bit text up to an `@`, the end of the field or of the message, trimmed; `None` when nothing is left.
    pub fn text(&self, at: usize, most_characters: usize) -> Option<String> {
        let mut text = String::with_capacity(most_characters.min(self.len.saturating_sub(at) / 6));
        self.add_text(at, most_characters, &mut text);
        trimmed(text)
    }

    /// Adds six-bit text untrimmed; `false` when an `@` ended it.
    pub fn add_text(&self, at: usize, most_characters: usize, text: &mut String) -> bool {
        for n in 0..most_characters {
            match self.u(at + 6 * n, 6) {
                Some(0) => return false,
                // 1 to 31 are A to _, 32 to 63 are the characters of those codes.
                Some(six) => text.push((if six < 32 { six + 64 } else { six } as u8) as char),
                None => break,
            }
        }
        true
    }
}

/// Without blanks at either end; `None` when nothing is left.
pub(crate) fn trimmed(mut text: String) -> Option<String> {
    text.truncate(text.trim_end().len());
    let leading = text.len() - text.trim_start().len();
    text.drain(..leading);
    (!text.is_empty()).then_some(text)
}
