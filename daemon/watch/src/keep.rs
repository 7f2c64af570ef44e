//! How a watch begins, and what it leaves for the next.

use crate::calls;
use crate::guidance::Kept as KeptGuidance;
use crate::look::Since;
use crate::question::Asked;
use crate::rhythm::Rhythm;
use crate::senses::FeedSetting;
use crate::{Watch, built_in};
use lookout::casualty::{CasualtyNews, Gap, Snapshot as KeptCasualties};
use lookout::search::Sailing;
use lookout::{anchor, hearing};
use record::Entry;
use rules::{Doing, Orders, Snapshot};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;
use terms::{FeedId, Moment, Subject, Utc};

/// The last numbers used in a logbook; no number is used twice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Numbers {
    /// Of an alert.
    pub alert: u32,
    /// Of a casualty.
    pub casualty: u32,
}

/// What must outlast a restart: alerts and casualties, each with its clocks.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Kept {
    /// The alerts, with what is declared and who is on watch.
    pub alerts: Option<Snapshot>,
    /// The casualties.
    pub casualties: Option<KeptCasualties>,
    /// Where the anchor lies.
    pub anchor: anchor::Kept,
    /// The declarations that were asked about.
    pub asked: Asked,
    /// The calls received.
    pub calls: calls::Kept,
    /// How far the watch is guided to those overboard.
    pub guidance: KeptGuidance,
    /// The search that is being sailed.
    pub search: Option<Sailing>,
}

/// Everything a watch needs to begin, or to continue where another left off.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Begin {
    /// Version of the recording's format.
    pub version: u32,
    /// The program that writes.
    pub program: String,
    /// The kernel's name for the boot that steady time belongs to.
    pub boot: Option<String>,
    /// UTC then; `None` while it was unknown.
    pub utc: Option<Utc>,
    /// Whether a watch begins here; else one continues.
    pub begins: bool,
    /// Whether the run before was cut off.
    pub cut_off: bool,
    /// Earliest satellite date to believe; `None` in a replay, whose dates may be old.
    pub not_before: Option<Utc>,
    /// UTC by satellite at the last sign of life of the run before, if known: a date long after it is not believed, and
    /// one before it not at once.
    pub last_sign: Option<Utc>,
    /// The feeds by their numbers.
    pub feeds: Vec<FeedSetting>,
    /// The last numbers used.
    pub last: Numbers,
    /// What was kept.
    pub kept: Kept,
    /// What is known about the time since then.
    pub gap: Gap,
    /// What was heard of others, as proof of hearing.
    pub hearing: Option<hearing::Kept>,
    /// The usual rates of the feeds by name, in sentences a minute.
    pub rates: BTreeMap<String, f64>,
    /// The usual silences of the feeds by name.
    pub rhythms: BTreeMap<String, Rhythm>,
    /// The orders in force.
    pub orders: Arc<Orders>,
}

impl Default for Begin {
    fn default() -> Self {
        Self {
            version: 1,
            program: env!("CARGO_PKG_VERSION").to_owned(),
            boot: None,
            utc: None,
            begins: false,
            cut_off: false,
            not_before: None,
            last_sign: None,
            feeds: Vec::new(),
            last: Numbers::default(),
            kept: Kept::default(),
            gap: Gap::Of(Duration::ZERO),
            hearing: None,
            rates: BTreeMap::new(),
            rhythms: BTreeMap::new(),
            orders: Arc::default(),
        }
    }
}

impl Watch {
    /// Begins at a moment, in place of whatever was before. Raises again any casualty whose alert was not kept.
    pub(crate) fn begin(&mut self, at: Moment, mut begin: Begin) {
        let effects = std::mem::take(&mut self.effects);
        *self = Self { effects, ..Self::at(at, Arc::clone(&self.boat), begin.not_before, begin.last) };
        for feed in begin.feeds {
            self.add_feed(at, feed);
        }
        if let Some(utc) = begin.utc {
            self.lookout.system_utc(at, utc);
        }
        if let Some(utc) = begin.last_sign {
            self.lookout.remember_utc(utc);
        }
        self.restore(at, begin.kept, begin.gap);
        // With the time known and what was kept in place, both go on from the first moment.
        let boat = self.boat.clone();
        let (board, view) = self.board_and_view(at);
        board.set_roster(at, boat.watch.roster.clone(), &view);
        board.set_watch_alarm(at, boat.watch.watch_alarm.clone(), &view);
        self.pump(at);
        for ear in &mut self.ears {
            let usual = begin.rates.get(&ear.name).copied();
            ear.pace.take_up(usual.filter(|r| r.is_finite() && *r > 0.0));
            if let Some(kept) = begin.rhythms.remove(&ear.name) {
                ear.rhythm.take_up(kept);
            }
        }
        (0..self.ears.len()).filter_map(|n| u16::try_from(n).ok()).for_each(|n| self.expect(FeedId(n)));
        if let Some(kept) = begin.hearing {
            self.lookout.take_up_hearing(at, kept);
        }
        if begin.begins {
            self.enter(at, Entry::Began { cut_off: begin.cut_off });
        }
        self.since = Since::new(at, None, *self.board.declared());
        self.set_orders(at, begin.orders, begin.begins);
        self.look_about(at);
    }

    pub(crate) fn restore(&mut self, at: Moment, kept: Kept, gap: Gap) {
        let length = |taken: Moment| match gap {
            Gap::SameClock => Some(at.since(taken)),
            Gap::Of(length) => Some(length),
            Gap::Unknown => None,
        };
        let goes_on =
            kept.alerts.as_ref().is_some_and(|s| length(s.at).is_some_and(|lasted| s.at + lasted == at));
        if let Some(snapshot) = kept.alerts {
            let length = length(snapshot.at);
            self.board.restore(at, snapshot, length);
            self.entered_watch = self.on_watch();
        }
        self.guidance.take_up(at, kept.guidance, length);
        self.questions.asked = kept.asked;
        self.take_up_calls(at, kept.calls, gap);
        self.take_up_search(at, kept.search, goes_on);
        if let Some(kept) = kept.casualties {
            self.lookout.restore_casualties(at, kept, gap);
        }
        self.lookout.take_up_anchor(at, kept.anchor);
        self.declare_to_lookout();
        if self.board.declared().doing == Some(Doing::AtAnchor) {
            self.lookout.lie_at_anchor(at, None);
        }
        for c in self.open_casualties(at) {
            let subject = Subject::Casualty(c.id);
            if self.board.built_in(built_in(c.kind), subject).is_none() {
                self.casualty(at, c.id, CasualtyNews::Raised);
            }
        }
        self.pump(at);
    }

    /// What must outlast a restart.
    pub fn kept(&self, at: Moment) -> Kept {
        Kept {
            alerts: Some(self.board.snapshot()),
            casualties: Some(self.lookout.casualties_snapshot(at)),
            anchor: self.lookout.keep_anchor(),
            asked: self.questions.asked,
            calls: self.keep_calls(at),
            guidance: self.guidance.keep(at),
            search: self.search.clone(),
        }
    }

    /// Where the anchor lies, which is learnt all the time, to outlast a restart.
    pub fn kept_anchor(&self) -> anchor::Kept {
        self.lookout.keep_anchor()
    }

    /// What was heard and not heard of others, to outlast a restart.
    pub fn kept_hearing(&self) -> hearing::Kept {
        self.lookout.keep_hearing()
    }

    /// The usual rates of the feeds by name, to outlast a restart.
    pub fn usual_rates(&self) -> BTreeMap<String, f64> {
        self.ears.iter().filter_map(|e| Some((e.name.clone(), e.pace.usual()?))).collect()
    }

    /// The usual silences of the feeds by name, to outlast a restart.
    pub fn rhythms(&self) -> BTreeMap<String, Rhythm> {
        self.ears.iter().map(|e| (e.name.clone(), e.rhythm.clone())).collect()
    }

    /// What another watch needs to continue from here.
    pub fn go_on(&self, at: Moment) -> Begin {
        Begin {
            utc: self.stamp(at).utc.map(|(utc, _)| utc),
            not_before: self.not_before,
            last_sign: self.stamp(at).by_satellite(),
            feeds: self.ears.iter().map(|e| e.setting.clone()).collect(),
            last: self.last,
            kept: self.kept(at),
            hearing: Some(self.kept_hearing()),
            rates: self.usual_rates(),
            rhythms: self.rhythms(),
            orders: Arc::clone(&self.orders),
            ..Begin::default()
        }
    }
}
