//! The feeds, and what they bring.

use crate::Watch;
use crate::departure::Pace;
use crate::input::Talker;
use lookout::{Lookout, Source};
use rules::BuiltIn;
use sentence::{CheckedLine, Counts, Decoder, DecoderOptions, Refusal, Report, Sentence};
use serde::{Deserialize, Serialize};
use std::time::Duration;
use terms::{FeedId, Moment, Subject, one_line};

/// Too few lines between two looks to call a feed garbled.
const LINES_TO_TELL: u64 = 10;
/// What the watch knows about a feed.
pub(crate) struct Ear {
    pub name: String,
    /// Its settings.
    pub setting: FeedSetting,
    decoder: Decoder,
    /// Whether its acknowledgements count.
    trusted: bool,
    /// The decoder's refusals; the framer counts its own at the feed.
    pub refused: Counts,
    /// How long it may be silent before an alert; `None` if silence means nothing (a replayed file that has ended).
    pub silent_after: Option<Duration>,
    pub heard: Option<Moment>,
    pub silent: bool,
    /// Not open: its device or its peer is gone.
    pub closed: bool,
    /// More of its lines are refused than accepted.
    garbled: bool,
    /// Counts at the last report of its framer, and at the one before.
    counted: [Counted; 2],
    /// The word for all this last given to the lookout.
    health: Option<&'static str>,
    /// How much it brings a minute.
    pub pace: Pace,
}

/// What a feed has brought so far.
#[derive(Debug, Clone, Copy, Default)]
struct Counted {
    bytes: u64,
    taken: u64,
    refused: u64,
}

/// A feed as presented to the watch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FeedSetting {
    /// Its name.
    pub name: String,
    /// Accept lines without a checksum.
    pub checksum_optional: bool,
    /// Accept sentences in simulator mode.
    pub simulator: bool,
    /// Acknowledgements on this feed count.
    pub trusted: bool,
    /// Silence that raises an alert, if any.
    #[serde(with = "seconds", rename = "silent_after_s")]
    pub silent_after: Option<Duration>,
}

impl FeedSetting {
    /// As the boat's file configures it.
    pub fn of(feed: &boat::Feed) -> Self {
        Self {
            name: feed.name.clone(),
            checksum_optional: feed.checksum_optional,
            simulator: feed.simulator,
            trusted: feed.trusted,
            silent_after: Some(feed.silent_after),
        }
    }
}

/// A sentence's talker, if it has the usual two letters.
pub fn talker(s: &Sentence<'_>) -> Talker {
    s.talker().as_bytes().try_into().ok()
}

impl Ear {
    /// The words for its silence at a moment; `None` while it is not silent.
    pub fn says(&self, at: Moment) -> Option<String> {
        let since = match self.heard {
            Some(h) => format!("for {}", terms::span(at.since(h))),
            None => "since the watch began".to_owned(),
        };
        self.silent.then(|| format!("{}: no sentence {since}{}", self.name, self.why_silent()))
    }

    /// The likely reason why nothing is heard.
    fn why_silent(&self) -> &'static str {
        let [now, before] = self.counted;
        if self.closed {
            ". It cannot be opened"
        } else if now.bytes > before.bytes {
            ". Bytes come, but no whole sentence: the speed of the line may be wrong, or its wires swapped"
        } else {
            ""
        }
    }

    /// Informs the lookout of a change in the feed's health.
    pub fn tell_health(&mut self, at: Moment, feed: FeedId, lookout: &mut Lookout) {
        let health = if self.closed {
            "closed"
        } else if self.silent {
            "silent"
        } else if self.garbled {
            "garbled"
        } else if self.heard.is_some() {
            "working"
        } else {
            return;
        };
        if self.health != Some(health) {
            self.health = Some(health);
            lookout.feed_health(at, feed, health);
        }
    }
}

impl Watch {
    /// Adds a feed for `hear` to name. At most 65,535.
    pub(crate) fn add_feed(&mut self, at: Moment, mut f: FeedSetting) {
        f.name = one_line(&f.name);
        let id = FeedId(u16::try_from(self.ears.len()).unwrap_or(u16::MAX));
        self.lookout.name_feed(id, &f.name);
        self.live |= f.silent_after.is_some();
        self.silences.set(id, f.silent_after.map(|after| at + after));
        self.ears.push(Ear {
            name: f.name.clone(),
            setting: f.clone(),
            decoder: Decoder::new(DecoderOptions { simulator: f.simulator }),
            trusted: f.trusted,
            refused: Counts::default(),
            silent_after: f.silent_after,
            heard: None,
            silent: false,
            closed: false,
            garbled: false,
            counted: [Counted::default(); 2],
            health: None,
            pace: Pace::default(),
        });
    }

    /// Takes a checked line of a feed. Counts what the decoder refuses.
    pub(crate) fn hear(&mut self, at: Moment, feed: FeedId, line: &CheckedLine) {
        let Some(ear) = self.ears.get_mut(usize::from(feed.0)) else { return };
        let sentence = line.sentence();
        match ear.decoder.read(at, &sentence) {
            Ok(report) => self.hear_report(at, feed, talker(&sentence), &report),
            Err(why) => self.refused(feed, why),
        }
    }

    /// Counts a refused line of a feed.
    pub(crate) fn refused(&mut self, feed: FeedId, why: Refusal) {
        if let Some(ear) = self.ears.get_mut(usize::from(feed.0)) {
            ear.refused.refuse(why);
        }
    }

    /// Takes the content of a feed's line, and the talker of the device behind it.
    pub(crate) fn hear_report(&mut self, at: Moment, feed: FeedId, talker: Talker, report: &Report) {
        self.hearing = Some(feed);
        if let Some(ear) = self.ears.get_mut(usize::from(feed.0)) {
            ear.heard = Some(at);
            self.silences.set(feed, ear.silent_after.map(|after| at + after));
            ear.pace.hear(at, report);
            let trusted = ear.trusted;
            if std::mem::take(&mut ear.silent) {
                self.board.over(at, BuiltIn::FeedSilent, Subject::Feed(feed));
            }
            ear.tell_health(at, feed, &mut self.lookout);
            if let (true, Report::DeviceAlert(words)) = (trusted, report) {
                self.bridge(at, words);
            }
        }
        if let Report::Ais(ais) = report
            && ais.own_vessel
        {
            self.departure.hear(at, ais);
        }
        self.lookout.hear_from(at, Source { talker, ..Source::of(feed) }, report);
        if self.pump_casualties(at) {
            self.left = Some(feed);
        } else {
            self.pump(at);
        }
        self.hearing = None;
    }

    /// Takes a feed's state: whether it is open, and its framer's counts so far.
    pub(crate) fn feed_state(&mut self, at: Moment, feed: FeedId, open: bool, counts: &Counts) {
        let Some(ear) = self.ears.get_mut(usize::from(feed.0)) else { return };
        let now = Counted {
            bytes: counts.bytes,
            taken: counts.sentences,
            refused: counts.all_refused() + ear.refused.all_refused(),
        };
        let (taken, refused) = (
            now.taken.saturating_sub(ear.counted[0].taken),
            now.refused.saturating_sub(ear.counted[0].refused),
        );
        ear.counted = [now, ear.counted[0]];
        ear.closed = !open;
        if taken + refused >= LINES_TO_TELL {
            ear.garbled = refused > taken;
        }
        ear.tell_health(at, feed, &mut self.lookout);
        self.pump(at);
    }
}

/// A length of time as seconds, or null.
mod seconds {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};
    use std::time::Duration;

    pub fn serialize<S: Serializer>(d: &Option<Duration>, s: S) -> Result<S::Ok, S::Error> {
        d.map(|d| d.as_secs_f64()).serialize(s)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(d: D) -> Result<Option<Duration>, D::Error> {
        let seconds = Option::<f64>::deserialize(d)?;
        Ok(seconds.and_then(|s| Duration::try_from_secs_f64(s).ok()))
    }
}
