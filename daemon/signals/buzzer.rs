//! Sounders and lights on a switched line: buzzer, lamp, relay. The patterns differ by ear, so that a sleeper knows
//! what he is called for before he is awake.

use super::ear::{Ear, Heard};
use super::standing::{Standing, once};
use super::{Reporter, TRY_AGAIN};
use crate::clock::Clock;
use crate::gpio::{Gpio as _, Output, Sense};
use boat::{GpioLine, Switched};
use rules::Priority;
use std::io;
use std::time::Duration;
use terms::Moment;

/// Half the period of a lamp's flash.
const FLASH: Duration = Duration::from_millis(500);
/// Shortest phase, in milliseconds, for which the sense line is read.
const SENSED: u64 = 100;

/// Alternating on and off times in milliseconds, on first.
type Pattern = &'static [u64];

/// Seven short and one long, without a pause (the general emergency signal, SOLAS 1974 III/50, from memory).
const EMERGENCY: Pattern = &[200, 150, 200, 150, 200, 150, 200, 150, 200, 150, 200, 150, 200, 150, 1200, 400];
/// Three short every seven seconds (three short signals at intervals of 7 to 10 s: IMO MSC.302(87), from memory).
const ALARM: Pattern = &[250, 250, 250, 250, 250, 5750];
/// Two short, each time the alert is repeated (IMO MSC.302(87), from memory).
const WARNING: Pattern = &[250, 250, 250, 750];
/// One short; our choice, alert management asks for none.
const CAUTION: Pattern = &[250, 750];
/// A tick; our choice.
const NOTICE: Pattern = &[60, 940];

fn pattern(priority: Priority) -> Pattern {
    match priority {
        Priority::EmergencyAlarm => EMERGENCY,
        Priority::Alarm => ALARM,
        Priority::Warning => WARNING,
        Priority::Caution => CAUTION,
        Priority::Notice => NOTICE,
    }
}

/// What a switched line does next; the caller supplies the time.
#[derive(Debug)]
struct Player {
    what: Switched,
    standing: Standing,
    /// What is playing, and since when.
    playing: Option<(Priority, Moment)>,
    /// Played once if nothing goes on.
    once: Option<Priority>,
    flash_since: Moment,
}

impl Player {
    fn new(what: Switched) -> Self {
        Self { what, standing: Standing::default(), playing: None, once: None, flash_since: Moment(0) }
    }

    fn hear(&mut self, at: Moment, heard: &Heard) {
        let dark = self.standing.is_empty(Priority::Notice);
        self.standing.hear(heard);
        self.once = self.once.max(once(heard));
        if dark {
            self.flash_since = at;
        }
        if self.what == Switched::Buzzer {
            self.choose(at);
        }
    }

    /// Chooses the pattern: the most urgent one that goes on, or one to play once.
    fn choose(&mut self, at: Moment) {
        let sounds = self.standing.sounds(Priority::Notice);
        let goes_on = sounds.filter(|p| *p >= Priority::Alarm);
        // A one-off call does not interrupt a continuing one, and ends once its alert is answered.
        if goes_on.is_some() || self.once == Some(Priority::Warning) && sounds.is_none() {
            self.once = None;
        }
        let wanted = goes_on.or(self.once);
        match (self.playing, wanted) {
            (Some((playing, _)), Some(wanted)) if playing == wanted => {}
            (_, wanted) => self.playing = wanted.map(|p| (p, at)),
        }
    }

    /// The level now, and when it next changes by itself. In hours of rest, a lamp and a relay show only alarms; a
    /// buzzer never receives what rests.
    fn level(&mut self, at: Moment, rests: bool) -> (bool, Option<Moment>) {
        let least = if rests { Priority::Alarm } else { Priority::Notice };
        match self.what {
            Switched::Relay => (self.standing.sounds(least).is_some(), None),
            Switched::Lamp if self.standing.unacknowledged(least) => {
                let flash = FLASH.as_millis() as i64;
                let half = (at.0 - self.flash_since.0).div_euclid(flash);
                (half % 2 == 0, Some(Moment(self.flash_since.0 + (half + 1) * flash)))
            }
            Switched::Lamp => (!self.standing.is_empty(least), None),
            Switched::Buzzer => self.buzz(at),
        }
    }

    fn buzz(&mut self, at: Moment) -> (bool, Option<Moment>) {
        let Some((priority, since)) = self.playing else { return (false, None) };
        let steps = pattern(priority);
        let whole: u64 = steps.iter().sum();
        let passed = at.since(since).as_millis() as u64;
        let sounds = self.standing.sounds(Priority::Notice);
        let goes_on = sounds.is_some_and(|p| p == priority && p >= Priority::Alarm);
        if passed >= whole && !goes_on {
            self.once = None;
            self.playing = None;
            return (false, None);
        }
        let (mut left, mut on) = (passed % whole, true);
        for step in steps {
            if left < *step {
                return (on, Some(at + Duration::from_millis(step - left)));
            }
            left -= step;
            on = !on;
        }
        (false, None)
    }
}

/// The line that sounds, and its sense line, if fitted.
type Lines = (Box<dyn Output>, Option<Box<dyn Sense>>);

/// A line with its sense line, requested when needed and released on failure.
struct Wired {
    line: GpioLine,
    sense: Option<GpioLine>,
    taken: Option<Lines>,
    level: bool,
    since: Moment,
}

impl Wired {
    fn take(&mut self) -> io::Result<()> {
        if self.taken.is_none() {
            let sense = self.sense.as_ref().map(|l| l.sense()).transpose()?;
            self.taken = Some((self.line.output()?, sense));
            self.level = false;
        }
        Ok(())
    }

    /// Sets the level; before a change, checks on the sense line that the last one took effect. Returns whether the
    /// line is known to work: if a sense line is fitted, only a sound it has seen proves that.
    fn set(&mut self, at: Moment, level: bool) -> Result<bool, String> {
        let outcome = self.switch(at, level);
        if outcome.is_err() {
            self.taken = None;
        }
        match outcome.map_err(|e| e.to_string())? {
            None => Ok(self.sense.is_none()),
            Some((true, true)) => Ok(true),
            Some((false, false)) => Ok(false),
            Some((true, false)) => Err(format!("{}: its sense line saw nothing when it sounded", self.line)),
            Some((false, true)) => Err(format!("{}: its sense line saw it sound when it was off", self.line)),
        }
    }

    /// Switches the level. Returns the previous level and what the sense line read, if it was read.
    fn switch(&mut self, at: Moment, level: bool) -> io::Result<Option<(bool, bool)>> {
        self.take()?;
        let Some((output, sense)) = self.taken.as_mut().filter(|_| level != self.level) else {
            return Ok(None);
        };
        let long_enough = at.since(self.since).as_millis() as u64 >= SENSED;
        let seen = sense.as_mut().filter(|_| long_enough).map(|s| s.get()).transpose()?;
        output.set(level)?;
        let before = std::mem::replace(&mut self.level, level);
        self.since = at;
        Ok(seen.map(|seen| (before, seen)))
    }
}

/// Switches a line by the events until there are no more.
pub(super) async fn run(
    what: Switched,
    line: GpioLine,
    sense: Option<GpioLine>,
    mut ear: Ear,
    mut reporter: Reporter,
) {
    let mut player = Player::new(what);
    let mut wired = Wired { line, sense, taken: None, level: false, since: Clock.now() };
    loop {
        let now = Clock.now();
        let (level, next) = player.level(now, ear.rests());
        match wired.set(now, level) {
            // Not proved either way yet.
            Ok(false) => {}
            outcome => reporter.report(outcome.map(drop)),
        }
        let next = if wired.taken.is_none() { Some(now + TRY_AGAIN) } else { next };
        tokio::select! {
            biased;
            heard = ear.next() => match heard {
                Some(heard) => player.hear(Clock.now(), &heard),
                None => break,
            },
            () = Clock.until(next) => {}
        }
    }
    // Silent once the daemon is gone: a sound nobody can stop is worse than none.
    let _ = wired.set(Clock.now(), false);
}

/// Plays the alarm pattern once and checks each part of it on the sense line.
pub(super) async fn trial(line: &GpioLine, sense: Option<&GpioLine>) -> Result<(), String> {
    let mut wired =
        Wired { line: line.clone(), sense: sense.cloned(), taken: None, level: false, since: Clock.now() };
    let (mut on, mut outcome) = (true, Ok(()));
    for step in &ALARM[..5] {
        outcome = outcome.and(wired.set(Clock.now(), on).map(drop));
        on = !on;
        tokio::time::sleep(Duration::from_millis(*step)).await;
    }
    outcome.and(wired.set(Clock.now(), false).map(drop))
}

#[cfg(test)]
mod tests {
    use super::super::ear::tests::Night;
    use super::super::standing::tests::event;
    use super::*;
    use rules::{AlertState as S, EventKind as E, Priority as P};
    use std::collections::BTreeSet;

    /// Levels from a moment on and the times between changes, at most `most`.
    fn play(player: &mut Player, from: Moment, most: usize) -> Vec<(bool, i64)> {
        let (mut at, mut heard) = (from, Vec::new());
        while heard.len() < most {
            let (level, next) = player.level(at, false);
            let Some(next) = next else {
                heard.push((level, -1));
                break;
            };
            heard.push((level, next.0 - at.0));
            at = next;
        }
        heard
    }

    #[test]
    fn patterns_differ_by_ear() {
        let all = [P::EmergencyAlarm, P::Alarm, P::Warning, P::Caution, P::Notice].map(pattern);
        let sounds: BTreeSet<Vec<u64>> = all.iter().map(|p| p.iter().step_by(2).copied().collect()).collect();
        assert_eq!(sounds.len(), 5);
        for p in all {
            assert_eq!(p.len() % 2, 0, "it ends with a pause");
        }
    }

    #[test]
    fn an_alarm_goes_on_until_it_is_silenced_and_a_warning_is_told_once() {
        let mut player = Player::new(Switched::Buzzer);
        let t = Moment(1000);
        player.hear(t, &event(1, P::Warning, S::ActiveUnacknowledged, E::Raised, true));
        let heard = play(&mut player, t, 10);
        assert_eq!(heard, [(true, 250), (false, 250), (true, 250), (false, 750), (false, -1)]);
        player.hear(Moment(5000), &event(2, P::Alarm, S::ActiveUnacknowledged, E::Raised, true));
        let heard = play(&mut player, Moment(5000), 13);
        assert_eq!(heard[4..7], [(true, 250), (false, 5750), (true, 250)], "again and again");
        player.hear(Moment(6000), &event(3, P::EmergencyAlarm, S::ActiveUnacknowledged, E::Raised, true));
        assert_eq!(play(&mut player, Moment(6000), 1), [(true, 200)], "more urgent cuts in");
        player
            .hear(Moment(7000), &event(3, P::EmergencyAlarm, S::ActiveAcknowledged, E::Acknowledged, false));
        assert_eq!(play(&mut player, Moment(7000), 1), [(true, 250)], "the alarm is still there");
        player.hear(Moment(7100), &event(2, P::Alarm, S::ActiveSilenced, E::Silenced, false));
        assert_eq!(play(&mut player, Moment(7100), 1), [(false, -1)], "at once, in the midst of a tone");
        // An acknowledged emergency is repeated now and then: each sounds once, not for ever.
        player.hear(Moment(9000), &event(3, P::EmergencyAlarm, S::ActiveAcknowledged, E::Repeated, true));
        let heard = play(&mut player, Moment(9000), 40);
        assert_eq!((heard.len(), heard[heard.len() - 1]), (17, (false, -1)));
    }

    #[test]
    fn a_lamp_flashes_then_stays_lit_then_goes_out_and_a_relay_follows_the_sound() {
        let mut lamp = Player::new(Switched::Lamp);
        let mut relay = Player::new(Switched::Relay);
        for (kind, state, aloud, lit, closed) in [
            (E::Raised, S::ActiveUnacknowledged, true, vec![(true, 500), (false, 500), (true, 500)], true),
            (E::Silenced, S::ActiveSilenced, false, vec![(true, 500), (false, 500), (true, 500)], false),
            (E::Acknowledged, S::ActiveAcknowledged, false, vec![(true, -1)], false),
            (E::Cleared, S::Normal, false, vec![(false, -1)], false),
        ] {
            let t = event(1, P::Alarm, state, kind, aloud);
            lamp.hear(Moment(0), &t);
            relay.hear(Moment(0), &t);
            assert_eq!(play(&mut lamp, Moment(0), 3), lit, "{kind:?}");
            assert_eq!(relay.level(Moment(0), false), (closed, None), "{kind:?}");
        }
    }

    #[test]
    fn at_night_all_three_rest_from_a_warning_and_in_the_morning_they_are_as_it_stands() {
        let level = |player: &mut Player, night: &mut Night, at| {
            night.hears().iter().for_each(|h| player.hear(at, h));
            player.level(at, night.ear.rests()).0
        };
        let warn = |state, kind, aloud| event(1, P::Warning, state, kind, aloud);
        for what in [Switched::Buzzer, Switched::Lamp, Switched::Relay] {
            let (mut player, mut night) = (Player::new(what), Night::new());
            night.is(21);
            night.tell(warn(S::ActiveUnacknowledged, E::Raised, true));
            assert!(level(&mut player, &mut night, Moment(0)), "{what:?} in the evening");
            // The buzzer's call is over by then.
            night.is(22);
            assert!(!level(&mut player, &mut night, Moment(60_000)), "{what:?} when rest begins");
            night.tell(warn(S::ActiveUnacknowledged, E::Repeated, true));
            assert!(!level(&mut player, &mut night, Moment(70_000)), "{what:?} when it is repeated");
            night.is(30);
            assert!(level(&mut player, &mut night, Moment(120_000)), "{what:?} when rest ends");
        }
        for (what, in_the_morning) in
            [(Switched::Buzzer, false), (Switched::Lamp, true), (Switched::Relay, false)]
        {
            let (mut player, mut night) = (Player::new(what), Night::new());
            night.tell(warn(S::ActiveUnacknowledged, E::Raised, true));
            night.tell(warn(S::ActiveAcknowledged, E::Acknowledged, false));
            assert!(!level(&mut player, &mut night, Moment(0)), "{what:?} at its acknowledgement");
            night.is(6);
            assert_eq!(
                level(&mut player, &mut night, Moment(1000)),
                in_the_morning,
                "{what:?} when rest ends"
            );
            night.tell(warn(S::Normal, E::Cleared, false));
            assert!(!level(&mut player, &mut night, Moment(2000)), "{what:?} when it is over");
        }
    }
}
