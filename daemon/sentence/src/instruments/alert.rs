//! Alerts of other devices and words about them: ALR, ALF, ACK, ACN; and the supervision sentence HBT.

use crate::fields::{count, letter, time_only, within, words};
use crate::instruments::valid;
use crate::report::{DeviceAlert, Report};
use crate::sentence::Sentence;

/// A letter from a list.
fn one_of(field: &[u8], letters: &[u8]) -> Option<char> {
    letter(field).filter(|l| letters.contains(l)).map(char::from)
}

/// ALR: time, number, condition A or V, acknowledged A or V, text.
pub(super) fn alr(sentence: &Sentence<'_>) -> DeviceAlert {
    let [time, identifier, condition, acknowledged, text] = sentence.first();
    DeviceAlert {
        identifier: count(identifier),
        state: one_of(condition, b"AV"),
        acknowledged: one_of(acknowledged, b"AV").map(|a| a == 'A'),
        time: time_only(time),
        text: words(text),
        ..DeviceAlert::default()
    }
}

/// The first of two sentences of an alert, with its sequence number, until the second arrives.
#[derive(Debug, Clone, Default)]
pub(crate) struct AlertParts {
    first: Option<(Option<u32>, DeviceAlert)>,
}

impl AlertParts {
    /// ALF: sentences, number, sequence, time, category, priority, state, maker, identifier, instance, revision,
    /// escalation, text. A second sentence continues the text and leaves the rest empty: it is joined to its first,
    /// which has already been reported, so that nothing waits for a sentence that may never come.
    pub fn alf(&mut self, sentence: &Sentence<'_>) -> DeviceAlert {
        let [total, number, sequence, time, _, priority, state, source, identifier, instance, _, _, text] =
            sentence.first();
        let alert = DeviceAlert {
            source: words(source),
            identifier: count(identifier),
            instance: count(instance),
            priority: one_of(priority, b"EAWC"),
            state: one_of(state, b"VSAOUN"),
            time: time_only(time),
            text: words(text),
            ..DeviceAlert::default()
        };
        let first = self.first.take();
        match (count(total), count(number)) {
            (Some(2), Some(1)) => self.first = Some((count(sequence), alert.clone())),
            (Some(2), Some(2)) => {
                if let Some((_, first)) = first.filter(|(s, _)| *s == count(sequence)) {
                    let parts: Vec<String> = [first.text.clone(), alert.text].into_iter().flatten().collect();
                    return DeviceAlert { text: Some(parts.join(": ")).filter(|t| !t.is_empty()), ..first };
                }
            }
            _ => {}
        }
        alert
    }
}

/// ACK: number of the acknowledged alarm.
pub(super) fn ack(sentence: &Sentence<'_>) -> DeviceAlert {
    let [identifier] = sentence.first();
    DeviceAlert { identifier: count(identifier), ..DeviceAlert::default() }
}

/// ACN: time, maker, identifier, instance, command, C.
pub(super) fn acn(sentence: &Sentence<'_>) -> DeviceAlert {
    let [time, source, identifier, instance, command] = sentence.first();
    DeviceAlert {
        source: words(source),
        identifier: count(identifier),
        instance: count(instance),
        command: one_of(command, b"AQOS"),
        time: time_only(time),
        ..DeviceAlert::default()
    }
}

/// HBT: interval in seconds, A normal or V, sequence.
pub(super) fn hbt(sentence: &Sentence<'_>) -> Report {
    let [interval, status] = sentence.first();
    Report::Heartbeat { interval_s: within(interval, 0.0, 999.0), normal: valid(status) }
}
