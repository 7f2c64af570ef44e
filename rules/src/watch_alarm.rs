//! The watch alarm: a timer that the watchkeeper must reset, and that calls others if nobody does. After
//! IMO MSC.128(75), performance standards for a bridge navigational watch alarm system.

use crate::declared::Doing;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use terms::Moment;
use thiserror::Error;

/// The shortest dormant period of the standard (MSC.128(75) 4.1.2).
pub const SHORTEST_DORMANT: Duration = Duration::from_secs(3 * 60);
/// The longest dormant period of the standard (MSC.128(75) 4.1.2).
pub const LONGEST_DORMANT: Duration = Duration::from_secs(12 * 60);
/// The longest dormant period allowed here: short-handed crews use 15 to 20 min (common practice).
const LONGEST_ALLOWED: Duration = Duration::from_secs(60 * 60);
/// From the visual indication to the first audible stage (MSC.128(75) 4.1.2).
pub const TO_FIRST: Duration = Duration::from_secs(15);
/// From the first audible stage to the second (MSC.128(75) 4.1.2).
pub const TO_SECOND: Duration = Duration::from_secs(15);
/// From the second audible stage to the third (MSC.128(75) 4.1.2).
pub const TO_THIRD: Duration = Duration::from_secs(90);

/// The settings of the watch alarm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WatchAlarmSettings {
    /// The dormant period: how long it waits after a reset.
    pub dormant: Duration,
    /// Names of the lookout positions; a reset that names another place does not count (MSC.128(75) 4.1.3.1).
    pub positions: Vec<String>,
    /// In automatic: on while she does one of these, or nothing is declared; empty for always.
    pub during: Vec<Doing>,
    /// In automatic: on within these hours, from and to in seconds of ship's day, and while the time is not known;
    /// empty for always.
    pub hours: Vec<(f64, f64)>,
}

/// What is wrong with the settings.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum WatchAlarmError {
    /// Too short or too long.
    #[error("the dormant period of the watch alarm is from 1 min to 1 h")]
    Dormant,
    /// There is nothing to reset it with.
    #[error("no input is named as a lookout position, so nobody could reset the watch alarm")]
    NoPosition,
}

terms::closed_list! {
    /// How it is switched.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum Switch {
        /// On or off by the declarations and the hours.
        Automatic = "automatic",
        /// On by hand.
        On = "on",
        /// Off by hand.
        Off = "off",
    }
}

#[expect(clippy::derivable_impls, reason = "a closed list takes no attribute on a variant")]
impl Default for Switch {
    fn default() -> Self {
        Self::Automatic
    }
}

terms::closed_list! {
    /// How far it has gone without a reset.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
    pub enum Stage {
        /// It is off.
        Off = "off",
        /// An emergency stands: all hands are up, and it waits until that is stood down.
        Suspended = "suspended",
        /// It waits.
        Dormant = "dormant",
        /// It shows a light: reset it.
        Visual = "visual",
        /// It sounds where the watch is kept.
        First = "first",
        /// It sounds where the skipper is.
        Second = "second",
        /// It sounds wherever anybody is.
        Third = "third",
    }
}

/// An input that is no lookout position.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("\"{0}\" is no lookout position and does not reset the watch alarm")]
pub struct NoLookoutPosition(pub String);

/// What of the watch alarm outlasts a restart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct KeptWatchAlarm {
    switch: Switch,
    answered: Option<Moment>,
    missed: u32,
}

impl KeptWatchAlarm {
    /// Shifted by a number of milliseconds, from the steady time of the run before to that of this one.
    pub(crate) fn shifted(self, by_ms: i64) -> Self {
        Self { answered: self.answered.map(|m| Moment(m.0.saturating_add(by_ms))), ..self }
    }
}

/// The watch alarm.
#[derive(Debug, Clone, PartialEq)]
pub struct WatchAlarm {
    settings: WatchAlarmSettings,
    switch: Switch,
    /// When it was last reset; `None` while off or suspended.
    answered: Option<Moment>,
    stage: Stage,
    /// An emergency stands.
    emergency: bool,
    /// When it was last advanced.
    looked: Option<Moment>,
    /// How often it reached the first audible stage.
    missed: u32,
}

impl WatchAlarm {
    /// A watch alarm that is off until it is first advanced.
    ///
    /// # Errors
    /// If the settings are not allowed.
    pub fn new(settings: WatchAlarmSettings) -> Result<Self, WatchAlarmError> {
        if settings.dormant < Duration::from_secs(60) || settings.dormant > LONGEST_ALLOWED {
            return Err(WatchAlarmError::Dormant);
        }
        if settings.positions.is_empty() {
            return Err(WatchAlarmError::NoPosition);
        }
        Ok(Self {
            settings,
            switch: Switch::default(),
            answered: None,
            stage: Stage::Off,
            emergency: false,
            looked: None,
            missed: 0,
        })
    }

    /// What to keep over a restart.
    pub(crate) fn keep(&self) -> KeptWatchAlarm {
        KeptWatchAlarm { switch: self.switch, answered: self.answered, missed: self.missed }
    }

    /// Goes on where the run before left off: a restart gives nobody a fresh dormant period. Where that has run out
    /// meanwhile the stages begin with the light, for whoever woke may have restarted the computer.
    pub(crate) fn take_up(&mut self, at: Moment, kept: KeptWatchAlarm) {
        (self.switch, self.missed) = (kept.switch, kept.missed);
        if let Some(answered) = kept.answered {
            let earliest = Moment(at.0.saturating_sub(self.settings.dormant.as_millis() as i64));
            self.answered = Some(answered.clamp(earliest, at));
            self.stage = Stage::Dormant;
        }
    }

    /// Whether its dormant period is within that of MSC.128(75).
    pub fn within_standard(&self) -> bool {
        (SHORTEST_DORMANT..=LONGEST_DORMANT).contains(&self.settings.dormant)
    }

    /// Whether an input is a lookout position, from which it can be reset.
    pub fn resets_from(&self, input: &str) -> bool {
        self.settings.positions.iter().any(|p| p == input)
    }

    /// Its stage.
    pub fn stage(&self) -> Stage {
        self.stage
    }

    /// How it is switched.
    pub fn switched(&self) -> Switch {
        self.switch
    }

    /// How often it has reached the first audible stage.
    pub fn missed(&self) -> u32 {
        self.missed
    }

    /// In how long it shows its light unless it is reset; `None` while it is off or suspended, or already asks.
    pub fn asks_in(&self, at: Moment) -> Option<Duration> {
        let asks = self.answered? + self.settings.dormant;
        (self.stage == Stage::Dormant).then(|| asks.since(at))
    }

    /// Switches it.
    pub fn switch(&mut self, switch: Switch) {
        self.switch = switch;
    }

    /// Suspends it while an emergency stands, from the next [`Self::advance`] on.
    pub fn suspend(&mut self, emergency: bool) {
        self.emergency = emergency;
    }

    /// Resets it: the dormant period starts again.
    pub fn reset(&mut self, at: Moment) {
        if self.answered.is_some() {
            self.answered = Some(at);
            self.stage = Stage::Dormant;
        }
    }

    /// Resets it from a named place.
    ///
    /// # Errors
    /// If that is no lookout position.
    pub fn answer(&mut self, at: Moment, input: &str) -> Result<(), NoLookoutPosition> {
        if !self.resets_from(input) {
            return Err(NoLookoutPosition(input.to_owned()));
        }
        self.reset(at);
        Ok(())
    }

    fn wanted(&self, doing: Option<Doing>, second_of_day: Option<f64>) -> bool {
        match self.switch {
            Switch::On => true,
            Switch::Off => false,
            Switch::Automatic => {
                let s = &self.settings;
                let by_doing = s.during.is_empty() || doing.is_none_or(|d| s.during.contains(&d));
                let within = |now: f64| {
                    s.hours
                        .iter()
                        .any(|(a, b)| if a <= b { now >= *a && now < *b } else { now >= *a || now < *b })
                };
                by_doing && (s.hours.is_empty() || second_of_day.is_none_or(within))
            }
        }
    }

    /// Advances to a moment; returns each stage newly reached, in order.
    pub fn advance(&mut self, at: Moment, doing: Option<Doing>, second_of_day: Option<f64>) -> Vec<Stage> {
        let mut reached = Vec::new();
        self.looked = Some(at);
        let rests = match (self.wanted(doing, second_of_day), self.emergency) {
            (false, _) => Some(Stage::Off),
            (true, true) => Some(Stage::Suspended),
            (true, false) => None,
        };
        match (rests, self.answered) {
            (Some(stage), _) => {
                self.answered = None;
                if self.stage != stage {
                    self.stage = stage;
                    reached.push(stage);
                }
            }
            (None, None) => {
                self.answered = Some(at);
                self.stage = Stage::Dormant;
                reached.push(Stage::Dormant);
            }
            (None, Some(_)) => {
                while let Some((due, stage)) = self.next_stage().filter(|(due, _)| *due <= at) {
                    let _ = due;
                    self.missed += u32::from(stage == Stage::First);
                    self.stage = stage;
                    reached.push(stage);
                }
            }
        }
        reached
    }

    fn next_stage(&self) -> Option<(Moment, Stage)> {
        let asks = self.answered? + self.settings.dormant;
        match self.stage {
            Stage::Off | Stage::Suspended | Stage::Third => None,
            Stage::Dormant => Some((asks, Stage::Visual)),
            Stage::Visual => Some((asks + TO_FIRST, Stage::First)),
            Stage::First => Some((asks + TO_FIRST + TO_SECOND, Stage::Second)),
            Stage::Second => Some((asks + TO_FIRST + TO_SECOND + TO_THIRD, Stage::Third)),
        }
    }

    /// When to advance it next; with hours set, at least each minute.
    pub fn next_wake(&self) -> Option<Moment> {
        let stage = self.next_stage().map(|(due, _)| due);
        let by_hours = self.switch == Switch::Automatic && !self.settings.hours.is_empty();
        let hours = self.looked.filter(|_| by_hours).map(|t| t + Duration::from_secs(60));
        [stage, hours].into_iter().flatten().min()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn keeper(minutes: u64) -> WatchAlarm {
        let settings = WatchAlarmSettings {
            dormant: Duration::from_secs(minutes * 60),
            positions: vec!["helm".into()],
            during: vec![Doing::UnderSail],
            hours: Vec::new(),
        };
        WatchAlarm::new(settings).unwrap()
    }

    #[test]
    fn stages_of_msc_128() {
        // IMO MSC.128(75) 4.1.2: dormant 3 to 12 min, then visual; 15 s on the first, 15 s more the second, 90 s
        // more the third stage.
        let mut k = keeper(12);
        assert!(k.within_standard() && keeper(3).within_standard() && !keeper(13).within_standard());
        let s = |s: f64| Moment::from_s(s);
        assert_eq!(k.advance(s(0.0), None, None), [Stage::Dormant], "undeclared, it is on");
        for (just_before, at, stage) in [
            (719.9, 720.0, Stage::Visual),
            (734.9, 735.0, Stage::First),
            (749.9, 750.0, Stage::Second),
            (839.9, 840.0, Stage::Third),
        ] {
            assert_eq!(k.next_wake(), Some(s(at)));
            assert_eq!(k.advance(s(just_before), None, None), []);
            assert_eq!(k.advance(s(at), None, None), [stage]);
        }
        assert_eq!(k.next_wake(), None);
        // 4.1.3.1: reset only from where a lookout can be kept.
        assert!(k.answer(s(850.0), "bunk").is_err());
        assert_eq!(k.stage(), Stage::Third);
        k.answer(s(850.0), "helm").unwrap();
        assert_eq!((k.stage(), k.next_wake()), (Stage::Dormant, Some(s(1570.0))));
    }

    #[test]
    fn a_long_sleep_of_the_computer_passes_no_stage_over() {
        let mut k = keeper(12);
        k.advance(Moment::ZERO, None, None);
        let all = [Stage::Visual, Stage::First, Stage::Second, Stage::Third];
        assert_eq!(k.advance(Moment::from_s(9000.0), None, None), all);
        assert_eq!(k.missed(), 1);
    }

    #[test]
    fn on_and_off_by_hand_by_what_is_declared_and_by_the_hours() {
        let mut k = keeper(12);
        let at = Moment::ZERO;
        assert_eq!(k.advance(at, Some(Doing::AtAnchor), None), []);
        assert_eq!(k.advance(at, Some(Doing::UnderSail), None), [Stage::Dormant]);
        k.switch(Switch::Off);
        assert_eq!(k.advance(at, Some(Doing::UnderSail), None), [Stage::Off]);
        assert!(k.answer(at, "helm").is_ok());
        assert_eq!(k.stage(), Stage::Off);
        k.switch(Switch::On);
        assert_eq!(k.advance(at, Some(Doing::Moored), None), [Stage::Dormant]);
        let hour = 3600.0;
        let settings = WatchAlarmSettings {
            hours: vec![(22.0 * hour, 6.0 * hour)],
            during: vec![],
            ..keeper(3).settings
        };
        let mut night = WatchAlarm::new(settings).unwrap();
        assert_eq!(night.advance(at, None, Some(21.9 * hour)), []);
        assert_eq!(night.advance(at, None, Some(22.0 * hour)), [Stage::Dormant]);
        assert_eq!(night.advance(at, None, Some(5.9 * hour)), []);
        assert_eq!(night.advance(at, None, Some(6.0 * hour)), [Stage::Off]);
        assert_eq!(night.advance(at, None, None), [Stage::Dormant], "at a time unknown it is on");
    }

    #[test]
    fn an_emergency_suspends_it_and_it_resumes_with_a_whole_dormant_period() {
        let mut k = keeper(12);
        let s = |s: f64| Moment::from_s(s);
        k.advance(s(0.0), None, None);
        assert_eq!(k.asks_in(s(20.0)), Some(Duration::from_secs(700)));
        assert_eq!(k.advance(s(720.0), None, None), [Stage::Visual]);
        assert_eq!(k.asks_in(s(720.0)), None);
        k.suspend(true);
        assert_eq!(k.advance(s(721.0), None, None), [Stage::Suspended]);
        assert_eq!(k.advance(s(9000.0), None, None), []);
        assert_eq!((k.next_wake(), k.asks_in(s(9000.0))), (None, None));
        k.reset(s(9000.0));
        assert_eq!(k.stage(), Stage::Suspended, "a reset does not end it");
        k.switch(Switch::Off);
        assert_eq!(k.advance(s(9001.0), None, None), [Stage::Off]);
        k.switch(Switch::On);
        assert_eq!(k.advance(s(9002.0), None, None), [Stage::Suspended]);
        k.suspend(false);
        assert_eq!(k.advance(s(9010.0), None, None), [Stage::Dormant]);
        assert_eq!(k.next_wake(), Some(s(9730.0)));
        assert_eq!(k.missed(), 0);
    }

    #[test]
    fn a_restart_gives_no_fresh_dormant_period_and_begins_with_the_light() {
        let s = |s: f64| Moment::from_s(s);
        let mut before = keeper(12);
        before.advance(s(0.0), None, None);
        before.advance(s(735.0), None, None);
        before.reset(s(1000.0));
        let after = |before: &WatchAlarm, restart: f64| {
            let mut k = keeper(12);
            k.take_up(s(restart), before.keep());
            let stages = k.advance(s(restart), None, None);
            (stages, k.next_wake(), k.missed())
        };
        assert_eq!(after(&before, 1300.0), (vec![], Some(s(1720.0)), 1));
        assert_eq!(after(&before, 1719.0), (vec![], Some(s(1720.0)), 1));
        assert_eq!(after(&before, 9000.0), (vec![Stage::Visual], Some(s(9015.0)), 1), "no stage is skipped");
        // By another clock: a reset cannot have come after now.
        assert_eq!(after(&before, 10.0), (vec![], Some(s(730.0)), 1));
        before.switch(Switch::Off);
        assert_eq!(after(&before, 1300.0).0, [Stage::Off], "switched by hand stays so");
        let mut k = keeper(12);
        k.take_up(s(0.0), keeper(12).keep().shifted(1000));
        assert_eq!(k.advance(s(0.0), None, None), [Stage::Dormant]);
    }

    #[test]
    fn settings_that_nobody_could_answer_are_refused() {
        let settings = WatchAlarmSettings { positions: vec![], ..keeper(3).settings };
        assert_eq!(WatchAlarm::new(settings), Err(WatchAlarmError::NoPosition));
        let settings = WatchAlarmSettings { dormant: Duration::from_secs(59), ..keeper(3).settings };
        assert_eq!(WatchAlarm::new(settings), Err(WatchAlarmError::Dormant));
    }
}
