//! Alerts of other devices and words about them: ALR, ALF, ACK, ACN; and the supervision sentence HBT.

use crate::fields::{count, letter, time_only, within, words};
use crate::instruments::valid;
use crate::report::{DeviceAlert, Report};
use crate::sentence::Sentence;

/// A letter out of a list.
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

/// ALF: sentences, number, sequence, time, category, priority, state, maker, identifier, instance, revision, escalation,
/// text. A second sentence goes on with the text and leaves the rest empty.
pub(super) fn alf(sentence: &Sentence<'_>) -> DeviceAlert {
    let [_, _, _, time, _, priority, state, source, identifier, instance, _, _, text] = sentence.first();
    DeviceAlert {
        source: words(source),
        identifier: count(identifier),
        instance: count(instance),
        priority: one_of(priority, b"EAWC"),
        state: one_of(state, b"VSAOUN"),
        time: time_only(time),
        text: words(text),
        ..DeviceAlert::default()
    }
}

/// ACK: number of the alarm that is acknowledged.
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
