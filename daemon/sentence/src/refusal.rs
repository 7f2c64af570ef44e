//! Why a line, or a part of an AIS message, is not taken.

use serde::{Serialize, Serializer};
use thiserror::Error;

macro_rules! refusals {
    ($($(#[$doc:meta])* $variant:ident $text:literal;)+) => {
        /// Why a line was not taken. The text is short and stable: `listen` prints it and counters are named after it.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Error)]
        #[repr(u8)]
        pub enum Refusal { $($(#[$doc])* #[error($text)] $variant,)+ }

        impl Refusal {
            /// All of them, in order of declaration.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// The stable text.
            pub const fn text(self) -> &'static str {
                match self { $(Self::$variant => $text,)+ }
            }
        }
    };
}

refusals! {
    /// No line end within [`crate::MAX_LINE`] bytes.
    TooLong "line too long";
    /// Neither `$` nor `!` in the line.
    NotASentence "no sentence in the line";
    /// Another sentence begins before this one's checksum.
    CutShort "cut short by the next sentence";
    /// No checksum, and the feed needs one.
    NoChecksum "no checksum";
    /// Not two hexadecimal digits, or not the sum of the bytes.
    BadChecksum "wrong checksum";
    /// A control character inside.
    BadCharacter "control character in the sentence";
    /// Neither talker and formatter of five capitals or digits, nor proprietary.
    BadAddress "no talker and formatter";
    /// The numbers of parts and part of a VDM or VDO do not make sense.
    BadFragment "wrong fragment numbers";
    /// More parts than an AIS message can have.
    TooManyFragments "too many fragments";
    /// A later part without the ones before it.
    OrphanFragment "fragment without its predecessor";
    /// Two messages under way cannot be told apart; neither is believed.
    ContestedFragment "fragments of two messages cannot be told apart";
    /// A character outside the six-bit armour.
    BadPayload "wrong character in the payload";
    /// More bits than any AIS message has.
    LongPayload "payload too long";
    /// Fewer than the 38 bits of type, repeat indicator and identity.
    ShortPayload "payload too short";
    /// An identity of more than nine digits, or message type 0.
    BadHead "no such identity or message type";
    /// A simulator's values on a feed not declared to be one.
    Simulator "a simulator's values";
}

impl Serialize for Refusal {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(self.text())
    }
}
