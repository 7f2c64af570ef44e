//! The feeds, and what they bring.

use crate::Watch;
use crate::departure::Pace;
use crate::input::Talker;
use crate::rhythm::{PATIENCE, Rhythm};
use lookout::{Lookout, Source};
use rules::BuiltIn;
use sentence::{CheckedLine, Counts, Decoder, DecoderOptions, Refusal, Report, Sentence};
use serde::{Deserialize, Serialize};
use std::time::Duration;
use terms::{FeedId, Moment, Subject, one_line};

/// Too few lines between two looks to call a feed garbled.
const LINES_TO_TELL: u64 = 10;
/// A feed that falls silent again within this comes and goes: from then on one alert stands until it has spoken for as long
/// (own choice).
pub(crate) const STEADY: Duration = Duration::from_secs(30 * 60);

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
    /// What silence is usual.
    pub rhythm: Rhythm,
    began: Moment,
    pub heard: Option<Moment>,
    /// Since when it has been closed, or has brought bytes but no sentence.
    fails: Option<Moment>,
    pub silent: bool,
    /// How often it has fallen silent without being steady between, and when it last spoke again.
    silences: u32,
    back: Option<Moment>,
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
    /// Silence that raises an alert.
    pub silent_after: Silence,
}

/// Which silence of a feed raises an alert.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Silence {
    /// None: a replayed file ends.
    Never,
    /// One that is not usual for the feed.
    Unusual,
    /// One of this length, as the boat's file says.
    After(#[serde(with = "seconds")] Duration),
}

impl FeedSetting {
    /// As the boat's file configures it.
    pub fn of(feed: &boat::Feed) -> Self {
        Self {
            name: feed.name.clone(),
            checksum_optional: feed.checksum_optional,
            simulator: feed.simulator,
            trusted: feed.trusted,
            silent_after: feed.silent_after.map_or(Silence::Unusual, Silence::After),
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
        let (name, times) = (&self.name, self.silences);
        match (self.silent, times) {
            (true, ..=1) => Some(format!("{name}: no sentence {since}{}", self.why_silent())),
            (true, _) => {
                Some(format!("{name}: no sentence {since}, silent {times} times by now{}", self.why_silent()))
            }
            (false, 2..) => Some(format!("{name} comes and goes: silent {times} times by now")),
            (false, _) => None,
        }
    }

    /// When it will count as silent if nothing comes.
    fn silent_at(&self) -> Option<Moment> {
        let since = self.heard.unwrap_or(self.began);
        match (self.setting.silent_after, self.silence()) {
            (Silence::Never, _) => None,
            (_, Some(after)) => Some(since + after),
            // What has no silence of its own fails if the wire itself does.
            (_, None) => Some(self.fails?.max(since) + PATIENCE),
        }
    }

    /// The silence that raises an alert; `None` where it means nothing.
    pub fn silence(&self) -> Option<Duration> {
        match self.setting.silent_after {
            Silence::Never => None,
            Silence::Unusual => self.rhythm.silence(),
            Silence::After(after) => Some(after),
        }
    }

    /// It has fallen silent. Returns whether that is news.
    pub fn fall_silent(&mut self, at: Moment) -> bool {
        let again = self.back.is_some_and(|back| at.since(back) < STEADY);
        self.silences = if again { self.silences.saturating_add(1) } else { 1 };
        self.silent = true;
        // The alert of one that comes and goes still stands.
        self.silences <= 2
    }

    /// It speaks again. Returns whether its alert is over.
    fn speak_again(&mut self, at: Moment) -> bool {
        self.silent = false;
        self.back = Some(at);
        self.silences <= 1
    }

    /// It has been steady for long enough.
    pub fn settle(&mut self) {
        self.silences = 0;
    }

    /// When one that comes and goes will have been steady.
    fn steady_at(&self) -> Option<Moment> {
        let back = self.back.filter(|_| !self.silent && self.silences > 1)?;
        Some(back + STEADY)
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
    /// Lines from all feeds that the decoders refused.
    pub fn all_refused(&self) -> u64 {
        self.ears.iter().map(|e| e.refused.all_refused()).sum()
    }

    /// Adds a feed for `hear` to name. At most 65,535.
    pub(crate) fn add_feed(&mut self, at: Moment, mut f: FeedSetting) {
        f.name = one_line(&f.name);
        let id = FeedId(u16::try_from(self.ears.len()).unwrap_or(u16::MAX));
        self.lookout.name_feed(id, &f.name);
        self.live |= f.silent_after != Silence::Never;
        self.ears.push(Ear {
            name: f.name.clone(),
            setting: f.clone(),
            decoder: Decoder::new(DecoderOptions { simulator: f.simulator }),
            trusted: f.trusted,
            refused: Counts::default(),
            rhythm: Rhythm::default(),
            began: at,
            heard: None,
            fails: None,
            silent: false,
            silences: 0,
            back: None,
            closed: false,
            garbled: false,
            counted: [Counted::default(); 2],
            health: None,
            pace: Pace::default(),
        });
        self.expect(id);
    }

    /// Sets when a feed will count as silent, or as steady again.
    pub(crate) fn expect(&mut self, feed: FeedId) {
        let Some(ear) = self.ears.get(usize::from(feed.0)) else { return };
        if !ear.silent {
            self.silences.set(feed, ear.silent_at());
        }
        self.steady.set(feed, ear.steady_at());
    }

    /// A silent feed speaks again, or can.
    fn speaks_again(&mut self, at: Moment, feed: FeedId) {
        let ear = self.ears.get_mut(usize::from(feed.0)).filter(|e| e.silent);
        if ear.is_some_and(|ear| ear.speak_again(at)) {
            self.board.over(at, BuiltIn::FeedSilent, Subject::Feed(feed));
        }
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
            (ear.heard, ear.fails) = (Some(at), None);
            ear.rhythm.hear(at, report);
            ear.pace.hear(at, report);
            let trusted = ear.trusted;
            self.speaks_again(at, feed);
            self.expect(feed);
            if let Some(ear) = self.ears.get_mut(usize::from(feed.0)) {
                ear.tell_health(at, feed, &mut self.lookout);
            }
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
        let emergency = self.pump_casualties(at);
        self.hear_call(at, report);
        if emergency {
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
        let [now, before] = ear.counted;
        let fails = ear.closed || (now.bytes > before.bytes && now.taken == before.taken);
        ear.fails = fails.then(|| ear.fails.unwrap_or(at));
        // Where silence means nothing, no sentence will show that the wire is mended.
        if !fails && ear.silence().is_none() {
            self.speaks_again(at, feed);
        }
        self.expect(feed);
        if let Some(ear) = self.ears.get_mut(usize::from(feed.0)) {
            ear.tell_health(at, feed, &mut self.lookout);
        }
        self.pump(at);
    }
}

/// A length of time as seconds.
mod seconds {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};
    use std::time::Duration;

    pub fn serialize<S: Serializer>(d: &Duration, s: S) -> Result<S::Ok, S::Error> {
        d.as_secs_f64().serialize(s)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(d: D) -> Result<Duration, D::Error> {
        Duration::try_from_secs_f64(f64::deserialize(d)?).map_err(serde::de::Error::custom)
    }
}
