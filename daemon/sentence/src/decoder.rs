//! From a checked sentence to its meaning.

use crate::ais::Assembler;
use crate::instruments::{self, AlertParts};
use crate::refusal::Refusal;
use crate::report::Report;
use crate::sentence::Sentence;
use terms::Moment;

/// What is taken on trust from a feed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct DecoderOptions {
    /// The feed is declared to be a simulator: its mode S is taken as valid.
    pub simulator: bool,
}

/// Sentences of one feed to reports. Holds only the parts of AIS messages under way and the first sentence of an alert.
#[derive(Debug, Clone)]
pub struct Decoder {
    options: DecoderOptions,
    assembler: Assembler,
    alerts: AlertParts,
}

impl Decoder {
    /// A decoder for one feed.
    pub fn new(options: DecoderOptions) -> Self {
        Self { options, assembler: Assembler::default(), alerts: AlertParts::default() }
    }

    /// What a sentence says; `at` is when it was heard.
    ///
    /// # Errors
    /// If an AIS message is malformed, a part of one does not belong anywhere, or the values are a simulator's on a
    /// feed not declared as one. Values missing or out of range are no error: they are `None`.
    pub fn read(&mut self, at: Moment, sentence: &Sentence<'_>) -> Result<Report, Refusal> {
        if sentence.is_proprietary() {
            return Ok(Report::Unread);
        }
        match sentence.formatter_bytes() {
            b"VDM" => self.assembler.read(at, sentence, false),
            b"VDO" => self.assembler.read(at, sentence, true),
            b"ALF" => Ok(Report::DeviceAlert(self.alerts.alf(sentence))),
            _ => instruments::read(sentence, &self.options),
        }
    }
}
