//! One message from a beacon, an emitter or a caller: a test, a new casualty, or more about an open one.

use super::beacon::{TestMessage, Verdict};
use super::case::{Case, Identity, Kind, Mark, Source, Whose, Why};
use super::fixes::{BeaconFix, Bearing, is_by_fix};
use super::news::{CasualtyNews, News};
use super::own::OwnContext;
use super::stand_down::SILENCE_ENDS_STAND_DOWN;
use super::{Casualties, TAKEN_OVER_NM, TAKEN_OVER_WITHIN};
use sentence::ais::PositionSource;
use std::time::Duration;
use terms::{Mmsi, Moment, Position};

/// Open casualties other than the crew's that are kept one by one; any more are reported as one …
const UNKNOWN_CASES: usize = 32;
/// … but as many of each feed in any case: the forgeries of one do not hide who is heard by another.
const UNKNOWN_OF_A_FEED: usize = 4;
/// How many beacons beyond those kept one by one have their identities remembered, to count them.
const COUNTED_BEACONS: usize = 256;
/// Rough time from the fall to the first burst: the beacon must inflate its vest and start (from memory; own choice).
const FALL_TO_BURST: Duration = Duration::from_secs(30);

/// A beacon set off by hand is heard up to this long after the fall (own choice).
const FELL_UNHEARD: Duration = Duration::from_secs(900);
/// Faster than the wind drives any person through the water (own choice).
const LEEWAY_KN: f64 = 1.5;

/// One message from a beacon, an emitter or a caller, however it came.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Message {
    pub identity: Identity,
    pub kind: Kind,
    pub source: Source,
    pub test: bool,
    pub fix: Option<(BeaconFix, Option<PositionSource>)>,
    /// A place that is no fix.
    pub mark: Option<Mark>,
    /// When the emitter says it was set off.
    pub began: Option<Moment>,
    pub battery_low: Option<bool>,
    /// The station that relays another's distress call.
    pub relayed_by: Option<Mmsi>,
}

impl Message {
    /// Its position, if by satellite.
    pub fn fixed_position(&self) -> Option<Position> {
        let (fix, source) = self.fix?;
        is_by_fix(source).then_some(fix.position)
    }

    /// Its MMSI.
    pub fn mmsi(&self) -> Option<Mmsi> {
        if let Identity::Mmsi(m) = self.identity { Some(m) } else { None }
    }
}

impl Casualties {
    /// One message, however it came.
    pub(super) fn take(&mut self, at: Moment, message: Message, own: &OwnContext) {
        self.follow(at, own);
        if let Some(index) = self.open.iter().position(|c| c.is(&message.identity)) {
            let id = self.open[index].id;
            for news in self.update(at, index, &message, own) {
                self.tell(id, news);
            }
            return;
        }
        let why = if message.test {
            match self.hear_test(at, &message, own) {
                Some(why) => why,
                None => return,
            }
        } else {
            Why::Active
        };
        if self.is_quiet_after_stand_down(at, &message, own) {
            return;
        }
        self.raise(at, &message, why, own);
    }

    /// A test: reported once, unless it turns out not to be one.
    fn hear_test(&mut self, at: Moment, message: &Message, own: &OwnContext) -> Option<Why> {
        let position = message.fixed_position();
        let crew = &self.crew;
        let reserved =
            |i: &Identity| matches!(i, Identity::Mmsi(m) if crew.iter().any(|c| c.mmsi == Some(*m)));
        let test = TestMessage { at, identity: &message.identity, reserved: &reserved, position, own };
        match self.tests.hear(&test) {
            Verdict::GoesOn => None,
            Verdict::Raise(why) => Some(why),
            Verdict::Begins => {
                let crew = self.crew_name(&message.identity);
                let range_nm = own.position_at(at).zip(position).map(|(o, p)| o.range_and_bearing(p).0);
                let mmsi = message.mmsi();
                let whose = match (&crew, &message.identity) {
                    (Some(name), _) => format!("beacon of {name}"),
                    (None, Identity::Mmsi(m)) => format!("beacon {m}"),
                    (None, Identity::Emitter(e)) => format!("beacon with emitter {e}"),
                };
                let range = range_nm.map_or(String::new(), |r| format!(", {r:.2} nm off"));
                let text = format!("test of the {whose} heard{range}");
                self.push_notice(News::BeaconTest { mmsi, crew, range_nm, text });
                None
            }
        }
    }

    /// Raises a casualty, or lets a beacon take over a mark.
    fn raise(&mut self, at: Moment, message: &Message, why: Why, own: &OwnContext) {
        self.tests.forget(&message.identity);
        let crew = self.crew_name(&message.identity);
        if let Some(index) = self.mark_to_take_over(at, message, crew.as_deref(), own) {
            let case = &mut self.open[index];
            case.join(&message.identity, message.source);
            case.crew = crew.or(case.crew.take());
            case.began = case.began.min(message.began.unwrap_or(at));
            let id = case.id;
            self.tell(id, CasualtyNews::Joined);
            // Any other news is reported as part of this.
            self.update(at, index, message, own);
            return;
        }
        let mut kind = message.kind;
        let mut identity = Some(message.identity.clone());
        let mut why = why;
        let feed = self.feed;
        let unknown = |c: &&Case| c.identity.as_ref().is_some_and(|i| self.crew_name(i).is_none());
        let strangers = || self.open.iter().filter(unknown);
        if crew.is_none()
            && strangers().count() >= UNKNOWN_CASES
            && strangers().filter(|c| c.feed == feed).count() >= UNKNOWN_OF_A_FEED
        {
            if self.count_in_crowd(at, message) {
                return;
            }
            (kind, identity, why) =
                (Kind::ManyBeacons { count: self.count_beacon(&message.identity) }, None, Why::TooMany);
        }
        let id = self.number();
        let many = identity.is_none();
        let case = Case::new(id, kind, message.source, why, at, message.began.unwrap_or(at));
        self.open.push(Case { identity, crew, feed, relayed_by: message.relayed_by, ..case });
        self.tell(id, CasualtyNews::Raised);
        // Any other news is reported as part of this.
        if !many {
            let index = self.open.len() - 1;
            self.place_by_track(at, index, message, own);
            self.update(at, index, message, own);
        }
    }

    /// Until the beacon of one of ours has a fix, its wearer is taken to be where own vessel was shortly before the first
    /// burst. A stranger fell from somewhere else.
    fn place_by_track(&mut self, at: Moment, index: usize, message: &Message, own: &OwnContext) {
        let case = &mut self.open[index];
        if case.whose() != Whose::Ours || message.source == Source::Dsc {
            return;
        }
        let fell = message.began.unwrap_or(at - FALL_TO_BURST);
        case.mark = self.track.place_or_now(fell, own).map(|p| {
            // Half a minute either way at own speed: the time of the fall is a guess.
            let slack_nm =
                own.velocity(at).map_or(0.05, |v| v.drift_kn * FALL_TO_BURST.as_secs_f64() / 3600.0);
            Mark { at: fell, position: p.position, radius95_nm: p.radius95_nm + slack_nm.max(0.02) }
        });
    }

    /// The open casualty without a beacon that this one takes over: no more than five minutes old and half a mile off.
    fn mark_to_take_over(
        &self,
        at: Moment,
        message: &Message,
        crew: Option<&str>,
        own: &OwnContext,
    ) -> Option<usize> {
        // What a person wears, or a report of one; not another vessel's call.
        let worn = message.mmsi().is_none_or(|m| m.is_beacon() || crew.is_some());
        if !worn || !matches!(message.kind, Kind::PersonOverboard | Kind::Sart) {
            return None;
        }
        let by_mark = message.mark.map(|m| (m.position, m.radius95_nm));
        let here = || own.position_at(at).map(|p| (p, 0.0));
        let place = message.fixed_position().map(|p| (p, 0.0)).or(by_mark).or_else(here);
        let fits = |c: &Case| {
            c.takes(&message.identity)
                && c.kind == Kind::PersonOverboard
                && at.since(c.raised) <= TAKEN_OVER_WITHIN
                && (near(place, c.fixes.last().map(|f| f.position).or(c.mark.map(|m| m.position)))
                    || c.line
                        .as_ref()
                        .zip(place)
                        .is_some_and(|(l, (p, off_nm))| l.off_nm(p) <= TAKEN_OVER_NM + off_nm))
        };
        let same = |c: &Case| match (c.crew.as_deref(), crew) {
            (Some(a), Some(b)) => a.eq_ignore_ascii_case(b),
            _ => false,
        };
        let free = |c: &Case| c.crew.is_none() || crew.is_none();
        // Whoever has been missed since is now heard, wherever that is.
        let missed = |c: &Case| c.line.as_ref().is_some_and(|l| l.unseen) && c.takes(&message.identity);
        let named = self.open.iter().position(|c| (fits(c) || missed(c)) && same(c));
        named.or_else(|| self.open.iter().rposition(|c| fits(c) && free(c)))
    }

    /// One more of too many beacons; false where no alarm for them is open yet.
    fn count_in_crowd(&mut self, at: Moment, message: &Message) -> bool {
        let counted = self.count_beacon(&message.identity);
        let many = |k: Kind| matches!(k, Kind::ManyBeacons { .. });
        if let Some(case) = self.open.iter_mut().find(|c| many(c.kind)) {
            case.kind = Kind::ManyBeacons { count: counted };
            case.heard = Some(at);
            return true;
        }
        let lately = self.closed.iter().rev().find(|c| many(c.kind)).and_then(|c| c.stood_down);
        lately.is_some_and(|(ended, _)| at.since(ended) <= SILENCE_ENDS_STAND_DOWN)
    }

    /// Counts a beacon beyond those kept one by one; returns how many there are, as far as they are counted.
    fn count_beacon(&mut self, identity: &Identity) -> u32 {
        if let Identity::Mmsi(m) = identity
            && self.crowd.len() < COUNTED_BEACONS
        {
            self.crowd.insert(*m);
        }
        u32::try_from(self.crowd.len()).unwrap_or(u32::MAX).max(1)
    }

    /// A message from an open casualty, and what in it is news.
    fn update(&mut self, at: Moment, index: usize, message: &Message, own: &OwnContext) -> Vec<CasualtyNews> {
        let here = own.position_at(at);
        let current_kn = self.surroundings.current(own).set_drift().drift_kn;
        let track = &self.track;
        let case = &mut self.open[index];
        let id = case.id;
        let mut told = Vec::new();
        let heard_before = message.source == Source::Ais && case.burst.replace(at).is_some();
        if heard_before && std::mem::replace(&mut case.silence_told, false) {
            told.push(CasualtyNews::HeardAgain);
        }
        case.heard = Some(at);
        if let Some((fix, source)) = message.fix {
            let first = case.fixes.last().is_none();
            // Where own track knows better, a first fix far off is doubted; anything else is believed.
            let ours = case.mark.is_some() && message.source != Source::Dsc;
            let (since, until) = (case.began - FELL_UNHEARD, case.raised);
            let fell = |f: &BeaconFix| ours && track.reaches(f, since, until, LEEWAY_KN + current_kn);
            let adrift = case.is_person() || !matches!(case.kind, Kind::VesselInDistress(_));
            let bearing = Bearing { own: here.filter(|_| ours), by_own_track: &fell, adrift };
            if case.fixes.take(at, fix, source, &bearing) {
                // A wrong position is no proof of hearing so far.
                let range_nm =
                    here.filter(|_| case.fixes.borne_out(!ours)).map(|h| h.range_and_bearing(fix.position).0);
                case.heard_to_nm = [case.heard_to_nm, range_nm].into_iter().flatten().reduce(f64::max);
                if first {
                    told.push(CasualtyNews::Located);
                }
            }
        }
        if message.mark.is_some() {
            case.mark = message.mark;
        }
        let battery_low = message.battery_low.or(case.battery_low);
        // A person stays a person, whatever else the beacon's or the call's name suggests.
        let kind = if message.test || case.kind == Kind::PersonOverboard { case.kind } else { message.kind };
        // What was relayed is now heard from the vessel herself.
        let direct = message.source == Source::Dsc && message.relayed_by.is_none();
        let relayed_by = case.relayed_by.filter(|_| !direct);
        if battery_low != case.battery_low || kind != case.kind || relayed_by != case.relayed_by {
            told.push(CasualtyNews::Changed);
            case.battery_low = battery_low;
            case.kind = kind;
            case.relayed_by = relayed_by;
        }
        let now_tests = message.test && case.why == Why::Active;
        let note = now_tests && !std::mem::replace(&mut case.noted, true);
        let mmsi = case.mmsi();
        if note {
            let text = format!(
                "the beacon of casualty {} now says that it is under test; the casualty stands",
                id.0
            );
            self.note(mmsi, text);
        }
        told
    }
}

/// Whether a place with this error in miles is near another; if either is missing, nothing speaks against it.
pub(super) fn near(place: Option<(Position, f64)>, other: Option<Position>) -> bool {
    match (place, other) {
        (Some((p, off_nm)), Some(o)) => p.range_and_bearing(o).0 <= TAKEN_OVER_NM + off_nm,
        _ => true,
    }
}
