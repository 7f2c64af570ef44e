//! The watch: lines and acts of the crew in, events and rows for the logbook out. It carries from one room to the next and
//! decides nothing: the lookout keeps the picture, the board judges the orders and lives the alerts. Live daemon,
//! replay and tests run this same code; only feed and clock differ.

mod bridge;
mod crew;
mod departure;
mod exercise;
mod gear;
mod look;
#[cfg(test)]
mod tests;
mod view;

use boat::{self, Boat};
use look::Trends;
use look::parts::target_row;
pub use look::{FeedOutside, Outside};
use lookout::casualty::{CasualtyNews, CasualtyState, Gap, Kind};
use lookout::search::Vessel;
use lookout::{Finding, Lookout, Propulsion, Source, Trouble, Visibility};
use record::EventRecord;
use record::{Entry, OwnRow, Stamp, TargetRow};
use rules::{Board, BoardSettings, BuiltIn, Carry, Doing, Orders, Snapshot, Words};
use sentence::{Counts, Decoder, DecoderOptions, FramerOptions, Refusal, Report, Sentence};
use std::collections::BTreeMap;
use std::time::Duration;
use terms::{CasualtyId, FeedId, Moment, Quantity, Subject, Utc};
use view::View;

/// What the watch gives to the outside.
#[derive(Debug)]
pub enum Output {
    /// An event of an alert, for the signals and the logbook.
    Event {
        /// When.
        at: Stamp,
        /// The record.
        record: Box<EventRecord>,
        /// Who is to be told, and how.
        carry: Carry,
    },
    /// Own vessel, for the logbook.
    Own(Stamp, OwnRow),
    /// A target, for the logbook.
    Target(Stamp, TargetRow),
    /// A reading of own vessel's instruments, for the logbook.
    Instrument(Stamp, Quantity, f64),
    /// A line for the logbook.
    Entry(Stamp, Entry),
}

/// What is known of a feed inside the watch.
struct Ear {
    name: String,
    framing: FramerOptions,
    decoder: Decoder,
    /// Acknowledgements that come by it count.
    trusted: bool,
    /// Refusals of the decoder; the framer counts its own at the feed.
    refused: Counts,
    /// Silence of the feed that is an alert; `None` where silence means nothing (a replayed file that has ended).
    silent_after: Option<Duration>,
    heard: Option<Moment>,
    since: Moment,
    silent: bool,
    /// Not open: its device or its other side is gone.
    closed: bool,
    /// More of its lines are refused than taken.
    garbled: bool,
    /// What came before its framer's counts were told last, and before that.
    counted: [Counted; 2],
    /// The word for all this that the lookout was told.
    health: Option<&'static str>,
    /// How much it brings, by the minute.
    pace: departure::Pace,
}

/// What a feed has brought so far.
#[derive(Debug, Clone, Copy, Default)]
struct Counted {
    bytes: u64,
    taken: u64,
    refused: u64,
}

/// A feed as the watch is told of it.
#[derive(Debug, Clone)]
pub struct FeedSetting {
    /// Its name.
    pub name: String,
    /// Lines without a checksum are taken.
    pub checksum_optional: bool,
    /// Sentences in simulator mode are taken.
    pub simulator: bool,
    /// Acknowledgements that come by it count.
    pub trusted: bool,
    /// Silence after which an alert is raised, if any.
    pub silent_after: Option<Duration>,
}

/// Fewer lines in one look do not tell a garbled feed.
const LINES_TO_TELL: u64 = 10;
/// Without UTC for so long is an alert: by then a receiver that stood cold has told its almanac's time (common practice).
const CLOCK_PATIENCE: Duration = Duration::from_secs(120);
/// No fix for so long is an alert.
const FIX_LOST_AFTER: Duration = Duration::from_secs(30);

/// What is wrong outside the picture, in words: a signal, the logbook, the recording, the orders file. At most one for
/// each built-in alert and subject.
type Faults = BTreeMap<(BuiltIn, Subject), String>;

/// The watch.
pub struct Watch {
    lookout: Lookout,
    board: Board,
    ears: Vec<Ear>,
    outputs: Vec<Output>,
    /// Lists that are used again for each line, so that none is made anew.
    findings: Vec<Finding>,
    quantities: Vec<Quantity>,
    /// The feed whose sentence is being taken.
    hearing: Option<FeedId>,
    began: Moment,
    had_fix: Option<Moment>,
    fix_lost: bool,
    /// Since when nothing has told UTC; `None` while something does.
    clock_unknown: Option<Moment>,
    clock_told: bool,
    /// What is wrong outside the picture, in words.
    faults: Faults,
    orders_from: String,
    not_before: Option<Utc>,
    trends: Trends,
    vessel: Vessel,
    locker: gear::Locker,
    departure: departure::Departure,
    exercise: Option<exercise::Exercise>,
}

/// The last numbers used in a logbook; none is used twice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Numbers {
    /// Of an alert.
    pub alert: u32,
    /// Of a casualty.
    pub casualty: u32,
}

impl FeedSetting {
    /// As the boat's configuration has it.
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

impl Watch {
    /// A watch that begins at a moment, with no orders yet. Its alerts and casualties are numbered on from the last
    /// ones of the logbook.
    /// No satellite date before `not_before` is believed; `None` in a replay, whose dates are as old as they are.
    pub fn new(
        at: Moment,
        boat: &Boat,
        feeds: &[FeedSetting],
        last: Numbers,
        not_before: Option<Utc>,
    ) -> Self {
        let mut watch = Self {
            lookout: Lookout::new(boat::lookout_settings(boat, not_before)),
            board: Board::new(BoardSettings {
                last_alert: last.alert,
                ship_time_s: boat.watch.ship_time_s,
                ..BoardSettings::default()
            }),
            ears: Vec::new(),
            outputs: Vec::new(),
            findings: Vec::new(),
            quantities: Vec::new(),
            hearing: None,
            began: at,
            had_fix: None,
            fix_lost: false,
            clock_unknown: None,
            clock_told: false,
            faults: Faults::new(),
            orders_from: String::new(),
            not_before,
            trends: Trends::default(),
            vessel: look::vessel_of(boat),
            locker: gear::Locker::of(boat),
            departure: departure::Departure::of(boat),
            exercise: None,
        };
        watch.lookout.number_casualties_from(last.casualty.saturating_add(1));
        for f in feeds {
            watch.add_feed(at, f.clone());
        }
        let (board, view) = watch.board_and_view(at);
        board.set_roster(at, boat.watch.roster.clone(), &view);
        board.set_watch_alarm(at, boat.watch.watch_alarm.clone(), &view);
        watch.pump(at);
        watch
    }

    /// What the board may ask at a moment.
    fn view(&self, at: Moment) -> View<'_> {
        let (ears, exercise) = (self.ears.as_slice(), self.exercise.as_ref());
        View { at, lookout: &self.lookout, ears, faults: &self.faults, exercise }
    }

    /// The board, to be changed, and what it may ask meanwhile.
    fn board_and_view(&mut self, at: Moment) -> (&mut Board, View<'_>) {
        let (ears, exercise) = (self.ears.as_slice(), self.exercise.as_ref());
        (&mut self.board, View { at, lookout: &self.lookout, ears, faults: &self.faults, exercise })
    }

    /// What must outlast a restart, as JSON: the alerts and the casualties, each with its clocks.
    pub fn snapshot(&self, at: Moment) -> [String; 2] {
        // Numbers, texts and tables keyed by texts always have a form in JSON.
        [
            serde_json::to_string(&self.board.snapshot()).unwrap_or_default(),
            serde_json::to_string(&self.lookout.casualties_snapshot(at)).unwrap_or_default(),
        ]
    }

    /// Takes up what an earlier run left; to be called before orders are set. A casualty whose alert was not kept is
    /// raised anew.
    ///
    /// # Errors
    /// When a text is not a snapshot; the other is taken up all the same.
    pub fn restore(
        &mut self,
        at: Moment,
        alerts: Option<&str>,
        casualties: Option<&str>,
        gap: Gap,
    ) -> Result<(), serde_json::Error> {
        let length = |taken: Moment| match gap {
            Gap::SameClock => Some(at.since(taken)),
            Gap::Of(length) => Some(length),
            Gap::Unknown => None,
        };
        let alerts = alerts.map(serde_json::from_str::<Snapshot>).transpose();
        let casualties = casualties.map(serde_json::from_str).transpose();
        if let Ok(Some(snapshot)) = &alerts {
            self.board.restore(at, snapshot.clone(), length(snapshot.at));
        }
        if let Ok(Some(snapshot)) = &casualties {
            self.lookout.restore_casualties(at, Clone::clone(snapshot), gap);
        }
        self.declare_to_lookout();
        for c in self.open_casualties(at) {
            let subject = Subject::Casualty(c.id);
            if !self.board.alerts().any(|a| a.subject == subject) {
                self.casualty(at, c.id, CasualtyNews::Raised);
            }
        }
        self.pump(at);
        alerts.map(drop).and(casualties.map(drop))
    }

    /// Where the orders in force come from.
    pub fn orders_from(&self) -> &str {
        &self.orders_from
    }

    /// Adds a feed that sentences may come by, and names it for `hear`. At most 65,535.
    pub fn add_feed(&mut self, at: Moment, f: FeedSetting) -> FeedId {
        let id = FeedId(u16::try_from(self.ears.len()).unwrap_or(u16::MAX));
        self.lookout.name_feed(id, &f.name);
        self.ears.push(Ear {
            name: f.name,
            framing: FramerOptions { checksum_optional: f.checksum_optional },
            decoder: Decoder::new(DecoderOptions { simulator: f.simulator, not_before: self.not_before }),
            trusted: f.trusted,
            refused: Counts::default(),
            silent_after: f.silent_after,
            heard: None,
            since: at,
            silent: false,
            closed: false,
            garbled: false,
            counted: [Counted::default(); 2],
            health: None,
            pace: departure::Pace::default(),
        });
        id
    }

    /// Puts orders in force; those before end.
    pub fn set_orders(&mut self, at: Moment, orders: Orders, from: &str) {
        from.clone_into(&mut self.orders_from);
        let (board, view) = self.board_and_view(at);
        board.set_orders(at, &orders, &view);
        self.pump(at);
    }

    /// Takes a checked line of a feed. What the decoder refuses is counted.
    pub fn hear(&mut self, at: Moment, feed: FeedId, line: &[u8]) {
        let Some(ear) = self.ears.get_mut(usize::from(feed.0)) else { return };
        let heard =
            Sentence::check(line, &ear.framing).and_then(|s| Ok((talker(&s), ear.decoder.read(at, &s)?)));
        match heard {
            Ok((talker, report)) => self.hear_report(at, feed, talker, &report),
            Err(why) => self.refused(feed, why),
        }
    }

    /// Counts a line of a feed that was not taken.
    pub fn refused(&mut self, feed: FeedId, why: Refusal) {
        if let Some(ear) = self.ears.get_mut(usize::from(feed.0)) {
            ear.refused.refuse(why);
        }
    }

    /// Takes what a line of a feed says, and the talker of the device behind it.
    pub fn hear_report(&mut self, at: Moment, feed: FeedId, talker: Option<[u8; 2]>, report: &Report) {
        self.hearing = Some(feed);
        if let Some(ear) = self.ears.get_mut(usize::from(feed.0)) {
            ear.heard = Some(at);
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
        self.pump(at);
        self.hearing = None;
    }

    /// Takes how a feed does: whether it is open, and what its framer has counted so far.
    pub fn feed_state(&mut self, at: Moment, feed: FeedId, open: bool, counts: &Counts) {
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

    /// The system's UTC: a hint until satellites tell it.
    pub fn system_utc(&mut self, at: Moment, utc: Utc) {
        self.lookout.system_utc(at, utc);
    }

    /// Runs every timer that has come due, in the order of their times.
    pub fn advance(&mut self, at: Moment) {
        // Each turn moves one of the timers on; the bound keeps a fault in one of them from stopping the watch.
        for _ in 0..10_000 {
            let Some(due) = self.next_wake().filter(|d| *d <= at) else { break };
            self.advance_to(due);
        }
        self.advance_to(at);
    }

    fn advance_to(&mut self, at: Moment) {
        self.lookout.advance(at);
        self.pump(at);
        self.look_for_silence(at);
        self.look_for_clock(at);
        self.look_at_dates(at);
        self.advance_exercise(at);
        self.note_weather(at);
        let (board, view) = self.board_and_view(at);
        board.advance(at, &view);
        self.pump(at);
    }

    /// When it wants to be advanced next.
    pub fn next_wake(&self) -> Option<Moment> {
        let silence = self.ears.iter().filter(|e| !e.silent).filter_map(Ear::silent_at).min();
        let fix = (!self.fix_lost).then(|| self.fix_lost_at()).flatten();
        let clock = self.clock_unknown.filter(|_| !self.clock_told).map(|since| since + CLOCK_PATIENCE);
        let timers = [silence, fix, clock, self.trends.due(), self.dates_due(), self.exercise_due()];
        [self.lookout.next_wake(), self.board.next_wake()].into_iter().chain(timers).flatten().min()
    }

    /// Feeds that have been silent too long, and a fix that is gone.
    fn look_for_silence(&mut self, at: Moment) {
        for (ear, n) in self.ears.iter_mut().zip(0..) {
            if !ear.silent && ear.silent_at().is_some_and(|s| s <= at) {
                ear.silent = true;
                self.board.call(at, BuiltIn::FeedSilent, Subject::Feed(FeedId(n)), Words::default());
                ear.tell_health(at, FeedId(n), &mut self.lookout);
            }
        }
        if !self.fix_lost && self.fix_lost_at().is_some_and(|s| s <= at) {
            self.fix_lost = true;
            let words = match self.had_fix {
                Some(_) => {
                    "Position lost: no fix by satellite any more. Close approach and casualties are judged from the last one"
                }
                None => {
                    "No fix by satellite since the watch began: nothing can be said about ranges and close approach"
                }
            };
            self.board.call(at, BuiltIn::FixLost, Subject::OwnVessel, words.into());
        }
    }

    /// Neither satellites nor the computer's clock tell UTC. A replay has the time that was recorded, or none.
    fn look_for_clock(&mut self, at: Moment) {
        if self.not_before.is_none() {
            return;
        }
        if self.calendar(at).is_some() {
            self.clock_unknown = None;
            if std::mem::take(&mut self.clock_told) {
                self.board.over(at, BuiltIn::ClockNotKnown, Subject::OwnVessel);
            }
            return;
        }
        let since = *self.clock_unknown.get_or_insert(at);
        if !self.clock_told && at.since(since) >= CLOCK_PATIENCE {
            self.clock_told = true;
            let words = "The time is not known: no satellite tells it and the computer's clock is wrong. Times of the \
                         logbook, the sun and schedules cannot be trusted until one does";
            self.board.call(at, BuiltIn::ClockNotKnown, Subject::OwnVessel, words.into());
        }
    }

    /// Passes on what is declared, by which the lookout names rules of the road.
    fn declare_to_lookout(&mut self) {
        let declared = self.board.declared();
        let propulsion = match declared.doing {
            Some(Doing::UnderPower) => Some(Propulsion::Power),
            Some(Doing::UnderSail | Doing::HoveTo) => Some(Propulsion::Sail),
            Some(Doing::AtAnchor | Doing::Moored) | None => None,
        };
        let visibility = declared.visibility.map(|v| match v {
            rules::Visibility::Good => Visibility::InSight,
            rules::Visibility::Restricted => Visibility::Restricted,
        });
        self.lookout.declare(propulsion, visibility);
    }

    /// When the fix counts as lost, if nothing comes; never where no feed is there to bring one.
    fn fix_lost_at(&self) -> Option<Moment> {
        let live = self.ears.iter().any(|e| e.silent_after.is_some());
        match self.had_fix {
            Some(last) => Some(last + FIX_LOST_AFTER),
            None => live.then(|| self.began + FIX_LOST_AFTER * 4),
        }
    }

    /// Hands on what the lookout found, and collects what the board says.
    fn pump(&mut self, at: Moment) {
        let mut found = std::mem::take(&mut self.findings);
        self.lookout.take_findings_into(&mut found);
        let mut findings = found.drain(..).peekable();
        let mut quantities = std::mem::take(&mut self.quantities);
        while let Some(f) = findings.next() {
            match f {
                // All that one judgement changed of a subject is told together.
                Finding::Changed(subject, quantity) => {
                    quantities.clear();
                    quantities.push(quantity);
                    while let Some(Finding::Changed(_, q)) =
                        findings.next_if(|f| matches!(f, Finding::Changed(s, _) if *s == subject))
                    {
                        quantities.push(q);
                    }
                    self.changed(at, subject, &quantities);
                }
                Finding::Gone(subject) => self.board.gone(at, subject),
                Finding::Casualty { id, news } => self.casualty(at, id, news),
                Finding::BeaconTest { text, mmsi } => {
                    let subject = mmsi.map_or(Subject::Lookout, Subject::Target);
                    self.board.note(at, BuiltIn::BeaconTest.word(), subject, text.into());
                }
                Finding::Trouble { subject, trouble, text } => {
                    self.board.call(at, doubtful(trouble), subject, text.into());
                }
                Finding::Mended { subject, trouble } => {
                    let order = doubtful(trouble);
                    // Another trouble may keep the same alert.
                    if !self.lookout.troubles().into_iter().any(|t| t != trouble && doubtful(t) == order) {
                        self.board.over(at, order, subject);
                    }
                }
                Finding::Noted { subject, text } => {
                    self.board.note(at, "lookout", subject, text.into());
                }
            }
        }
        drop(findings);
        (self.findings, self.quantities) = (found, quantities);
        self.tell_events(at);
        if self.exercise_is_met() {
            self.end_exercise(at, record::DrillEnd::Acknowledged);
            self.tell_events(at);
        }
    }

    fn tell_events(&mut self, at: Moment) {
        let (board, view) = self.board_and_view(at);
        for e in board.take_events(&view) {
            self.heed_exercise(&e);
            let output = self.event(e);
            self.outputs.push(output);
        }
    }

    fn changed(&mut self, at: Moment, subject: Subject, quantities: &[Quantity]) {
        let (board, view) = self.board_and_view(at);
        board.changed_together(at, subject, quantities, &view);
        quantities.iter().for_each(|q| self.write_down(at, subject, *q));
    }

    /// What changed goes into the logbook.
    fn write_down(&mut self, at: Moment, subject: Subject, quantity: Quantity) {
        match subject {
            Subject::OwnVessel if quantity == Quantity::Fix => self.fix(at),
            Subject::OwnVessel => {
                let reading = self.lookout.reading(at, subject, quantity);
                if let Some(v) = reading.value.and_then(|v| v.number()) {
                    self.outputs.push(Output::Instrument(self.stamp(at), quantity, v));
                }
            }
            Subject::Target(mmsi) if quantity == Quantity::Report => {
                if let Some(t) = self.lookout.target(at, mmsi) {
                    self.outputs.push(Output::Target(self.stamp(at), target_row(&t)));
                }
            }
            _ => {}
        }
    }

    /// A fix came, or expired.
    fn fix(&mut self, at: Moment) {
        let own = self.lookout.own(at);
        if own.position.is_none() {
            return;
        }
        self.had_fix = Some(at);
        if std::mem::take(&mut self.fix_lost) {
            self.board.over(at, BuiltIn::FixLost, Subject::OwnVessel);
        }
        let row = OwnRow {
            position: own.position,
            cog_deg: own.cog_deg,
            sog_kn: own.sog_kn,
            heading_deg: own.heading_deg,
        };
        self.outputs.push(Output::Own(self.stamp(at), row));
    }

    fn casualty(&mut self, at: Moment, id: CasualtyId, news: CasualtyNews) {
        let Some(state) = self.lookout.casualty(at, id) else { return };
        let subject = Subject::Casualty(id);
        let order = built_in(state.kind);
        match news {
            CasualtyNews::Raised | CasualtyNews::Joined => {
                // What is real goes before any exercise.
                self.give_way(at);
                self.board.call(at, order, subject, Words::default());
            }
            // News for those who know already: told, but whoever has acknowledged need not do so again.
            CasualtyNews::Located
            | CasualtyNews::Silent
            | CasualtyNews::HeardAgain
            | CasualtyNews::Changed => {
                self.board.retell(at, order, subject, Words::default());
            }
            // The board was told by the act itself.
            CasualtyNews::StoodDown(_) => {}
        }
    }

    /// Something is wrong, or right again, outside the picture: a signal, the logbook, the orders file.
    pub fn trouble(&mut self, at: Moment, what: BuiltIn, subject: Subject, words: Option<String>) {
        match words {
            Some(words) => {
                self.faults.insert((what, subject), words);
                self.board.call(at, what, subject, Words::default());
            }
            None => {
                self.faults.remove(&(what, subject));
                self.board.over(at, what, subject);
            }
        }
        self.pump(at);
    }

    /// Writes a line into the logbook.
    pub fn enter(&mut self, at: Moment, entry: Entry) {
        self.outputs.push(Output::Entry(self.stamp(at), entry));
    }

    /// What has come out since this was last asked, in order.
    pub fn take_outputs(&mut self) -> Vec<Output> {
        std::mem::take(&mut self.outputs)
    }

    /// Steady time and UTC of a moment.
    pub fn stamp(&self, at: Moment) -> Stamp {
        Stamp { steady: at, utc: self.lookout.utc(at), feed: self.hearing }
    }

    /// Whether anybody is in distress.
    pub fn has_casualties(&self) -> bool {
        self.lookout.cases().any_open()
    }

    /// Casualties that have not been stood down: the crew, then strangers, each in the order in which they were raised.
    pub fn open_casualties(&self, at: Moment) -> Vec<CasualtyState> {
        let mut open = self.lookout.casualties(at);
        open.sort_by_key(|c| c.crew.is_none());
        open
    }

    /// Lines of all feeds that the decoders refused.
    pub fn all_refused(&self) -> u64 {
        self.ears.iter().map(|e| e.refused.all_refused()).sum()
    }
}

/// The built-in alert of a kind of casualty.
fn built_in(kind: Kind) -> BuiltIn {
    match kind {
        Kind::PersonOverboard => BuiltIn::PersonOverboard,
        Kind::Sart => BuiltIn::SearchTransmitter,
        Kind::Epirb => BuiltIn::Epirb,
        Kind::VesselInDistress(_) => BuiltIn::VesselInDistress,
        Kind::ManyBeacons { .. } => BuiltIn::TooManyBeacons,
    }
}

/// The built-in alert of an instrument that cannot be right.
fn doubtful(trouble: Trouble) -> BuiltIn {
    match trouble {
        Trouble::PositionsDiffer | Trouble::PositionJumps => BuiltIn::PositionDoubtful,
        Trouble::TransmitterSilent | Trouble::SetSends => BuiltIn::OwnTransmitterSilent,
        Trouble::TransmitterPosition | Trouble::TransmitterIdentity | Trouble::SetSensors => {
            BuiltIn::OwnTransmitterWrong
        }
        Trouble::ShipsSilent | Trouble::SetReceives => BuiltIn::AisSilent,
        Trouble::CompassFrozen | Trouble::LogFouled => BuiltIn::InstrumentDoubtful,
    }
}

/// The talker of a sentence, where it has the usual two letters.
pub fn talker(s: &Sentence<'_>) -> Option<[u8; 2]> {
    s.talker().as_bytes().try_into().ok()
}

impl Ear {
    /// What is said of its silence at a moment; `None` while it is not silent.
    fn says(&self, at: Moment) -> Option<String> {
        let since = match self.heard {
            Some(h) => format!("for {}", terms::span(at.since(h))),
            None => "since the watch began".to_owned(),
        };
        self.silent.then(|| format!("{}: no sentence {since}{}", self.name, self.why_silent()))
    }

    /// What can be said of why nothing is heard.
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

    /// Tells the lookout how the feed does where that has changed.
    fn tell_health(&mut self, at: Moment, feed: FeedId, lookout: &mut Lookout) {
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

    fn silent_at(&self) -> Option<Moment> {
        Some(self.heard.unwrap_or(self.since) + self.silent_after?)
    }
}
