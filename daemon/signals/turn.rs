//! What a voice says next: the most urgent first, the newest of each alert, each alert in its turn, and nothing twice in one
//! breath.

use super::ear::Heard;
use record::{EventRecord, example};
use rules::{EventKind, Priority};
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;
use terms::Moment;

/// Alerts that may wait while the program speaks of another; beyond that the least urgent is dropped.
const WAITING: usize = 64;
/// A line repeated within this of its end is heard as the same one (own choice).
const BREATH: Duration = Duration::from_secs(3);

/// Sort key of what is said next: real before exercise, then by priority, then by what of it was said before.
type Rank = (bool, Weight, Said);

/// A priority, with the way back to one overboard between alarms and warnings: it comes every few seconds, and an alarm is
/// not to wait for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Weight {
    /// A warning or less.
    Below(Priority),
    /// The way back.
    Guidance,
    /// An alarm or an emergency alarm.
    Above(Priority),
}

/// What was said before of an emergency, least urgent first. Of anything less nobody is cut short for a first call.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Said {
    /// It was called before; or no emergency.
    Before,
    /// A stranger's first call.
    NotYet,
    /// The first call of one of the crew.
    NotYetOfCrew,
}

/// A line that waits, or is being spoken.
#[derive(Debug, Clone)]
pub(super) struct Line {
    pub record: Arc<EventRecord>,
    /// Nothing was said of its alert to its end so far.
    first: bool,
}

impl Line {
    fn rank(&self) -> Rank {
        let record = &self.record;
        let weight = match record.alert.priority {
            _ if self.guides() => Weight::Guidance,
            p if p >= Priority::Alarm => Weight::Above(p),
            p => Weight::Below(p),
        };
        let said = match record.casualty.as_ref() {
            _ if !self.first || self.guides() || record.alert.priority < Priority::EmergencyAlarm => {
                Said::Before
            }
            Some(c) if c.crew.is_some() => Said::NotYetOfCrew,
            _ => Said::NotYet,
        };
        (!record.alert.exercise, weight, said)
    }

    /// Whether it is about the way back, and no call.
    fn guides(&self) -> bool {
        self.record.event == EventKind::Guidance
    }

    /// Whether it says the same as another, about the same casualty if any. Each test of the signal is to be heard.
    fn is_like(&self, other: &EventRecord) -> bool {
        if self.record.alert.order == example::ORDER {
            return false;
        }
        let casualty = |r: &EventRecord| r.casualty.as_ref().map(|c| c.id);
        self.record.alert.spoken == other.alert.spoken && casualty(&self.record) == casualty(other)
    }
}

/// The lines that wait, at most [`WAITING`], one for each alert.
#[derive(Debug, Default)]
pub(super) struct Turns {
    waiting: VecDeque<Line>,
    /// What was spoken last, and when it ended.
    last: Option<(Moment, Arc<EventRecord>)>,
}

impl Turns {
    /// Keeps an event that sounds in the place of an older one of its alert, or removes an alert that was answered.
    /// Returns whether it is to cut short what is being spoken.
    pub fn hear(&mut self, heard: &Heard, speaking: Option<&Line>) -> bool {
        let record = &heard.record;
        let of_alert = |w: &Line| w.record.alert.id == record.alert.id;
        if heard.ends() {
            self.waiting.retain(|w| !of_alert(w) || w.record.seq > record.seq);
            return speaking.is_some_and(of_alert);
        }
        if !heard.is_aloud() {
            return false;
        }
        let line = Line { record: record.clone(), first: heard.first };
        let urgent = !line.guides() && speaking.is_some_and(|s| line.rank() > s.rank());
        match self.waiting.iter_mut().find(|w| of_alert(w)) {
            // A call that waits says where, too.
            Some(w) if line.guides() && !w.guides() => {}
            Some(w) if w.guides() && !line.guides() => *w = line,
            Some(w) if w.record.seq <= record.seq => w.record = line.record,
            Some(_) => {}
            None => self.waiting.push_back(line),
        }
        self.keep_bound();
        urgent
    }

    /// Takes back a line that was cut short by something more urgent: it goes on where it was, with the newest news.
    pub fn put_back(&mut self, line: Line) {
        let newer = self.waiting.iter().position(|w| w.record.alert.id == line.record.alert.id);
        let newer = newer.and_then(|at| self.waiting.remove(at));
        let line = newer.map_or(line.clone(), |n| Line { first: line.first, ..n });
        self.waiting.push_front(line);
        self.keep_bound();
    }

    /// Drops the least urgent line, the last of them, where there are too many.
    fn keep_bound(&mut self) {
        if self.waiting.len() > WAITING {
            let least = (0..self.waiting.len()).rev().min_by_key(|&i| self.waiting[i].rank());
            least.and_then(|i| self.waiting.remove(i));
        }
    }

    /// Takes the most urgent line; among equals, the one that has waited longest. Leaves out what was said a moment ago.
    pub fn next(&mut self, now: Moment) -> Option<Line> {
        if let Some((ended, said)) = &self.last
            && now.since(*ended) <= BREATH
        {
            self.waiting.retain(|w| !w.is_like(said));
        }
        let most = self.waiting.iter().map(Line::rank).max()?;
        let at = self.waiting.iter().position(|w| w.rank() == most)?;
        self.waiting.remove(at)
    }

    /// A line was spoken to its end.
    pub fn spoken(&mut self, now: Moment, line: &Line) {
        self.last = Some((now, line.record.clone()));
        for w in self.waiting.iter_mut().filter(|w| w.record.alert.id == line.record.alert.id) {
            w.first = false;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::standing::tests::event;
    use super::*;
    use rules::{AlertState as S, EventKind as E, Priority as P};
    use terms::CasualtyId;

    /// A call of an emergency about a casualty of the same number, whose line is `spoken`.
    fn emergency(id: u32, seq: u32, crew: Option<&str>, spoken: &str) -> Heard {
        let kind = if seq == 1 { E::Raised } else { E::Repeated };
        let mut heard = event(id, P::EmergencyAlarm, S::ActiveUnacknowledged, kind, true);
        let record = Arc::make_mut(&mut heard.record);
        (record.seq, record.alert.spoken) = (seq, spoken.to_owned());
        let mut casualty = example::casualty();
        (casualty.id, casualty.crew) = (CasualtyId(id), crew.map(str::to_owned));
        record.casualty = Some(casualty);
        heard
    }

    fn says(turns: &mut Turns, at_s: i64) -> Option<String> {
        let line = turns.next(Moment(at_s * 1000))?;
        turns.spoken(Moment(at_s * 1000), &line);
        Some(line.record.alert.spoken.clone())
    }

    #[test]
    fn of_two_casualties_each_has_its_turn_however_much_news_there_is() {
        let mut turns = Turns::default();
        turns.hear(&emergency(1, 1, Some("Ada"), "Ada one"), None);
        turns.hear(&emergency(2, 1, None, "Bo one"), None);
        let mut said = Vec::new();
        for seq in 2..6 {
            said.push(says(&mut turns, i64::from(seq) * 10).unwrap());
            turns.hear(&emergency(1, seq, Some("Ada"), &format!("Ada {seq}")), None);
            turns.hear(&emergency(2, seq, None, &format!("Bo {seq}")), None);
        }
        assert_eq!(said, ["Ada one", "Bo 2", "Ada 3", "Bo 4"]);
    }

    #[test]
    fn a_first_call_cuts_a_repeat_short_and_a_repeat_cuts_nothing() {
        let mut turns = Turns::default();
        turns.hear(&emergency(1, 1, Some("Ada"), "Ada one"), None);
        let line = turns.next(Moment(0)).unwrap();
        assert!(!turns.hear(&emergency(2, 1, Some("Bo"), "Bo one"), Some(&line)), "it is a first call too");
        assert!(!turns.hear(&emergency(1, 2, Some("Ada"), "Ada two"), Some(&line)));
        turns.spoken(Moment(0), &line);
        assert_eq!(says(&mut turns, 10).unwrap(), "Bo one");
        let line = turns.next(Moment(20_000)).unwrap();
        assert_eq!(line.record.alert.spoken, "Ada two");
        assert!(!turns.hear(&emergency(2, 2, Some("Bo"), "Bo two"), Some(&line)), "each has its turn");
        assert!(turns.hear(&emergency(3, 1, None, "Cy one"), Some(&line)), "somebody else is overboard");
        // Newer news of what was cut short takes its place.
        turns.hear(&emergency(1, 3, Some("Ada"), "Ada three"), None);
        turns.put_back(line);
        let rest: Vec<String> = (3..9).map_while(|n| says(&mut turns, n * 10)).collect();
        assert_eq!(rest, ["Cy one", "Ada three", "Bo two"]);
    }

    #[test]
    fn a_line_is_not_said_twice_in_one_breath_but_of_two_casualties_it_is() {
        let mut turns = Turns::default();
        turns.hear(&emergency(1, 1, None, "Man overboard"), None);
        assert!(says(&mut turns, 10).is_some());
        turns.hear(&emergency(1, 2, None, "Man overboard"), None);
        assert_eq!(says(&mut turns, 12), None);
        turns.hear(&emergency(2, 1, None, "Man overboard"), None);
        assert!(says(&mut turns, 13).is_some());
        turns.hear(&emergency(1, 3, None, "Man overboard"), None);
        assert!(says(&mut turns, 40).is_some());
    }

    #[test]
    fn the_way_back_cuts_nobody_waits_for_alarms_and_gives_way_to_a_call() {
        let guidance = |seq| {
            let mut heard = emergency(1, seq, Some("Ada"), "Ada, astern");
            Arc::make_mut(&mut heard.record).event = E::Guidance;
            heard
        };
        let spoken = |id, priority, words: &str| {
            let mut heard = event(id, priority, S::ActiveUnacknowledged, E::Raised, true);
            Arc::make_mut(&mut heard.record).alert.spoken = words.to_owned();
            heard
        };
        let mut turns = Turns::default();
        turns.hear(&spoken(7, P::Warning, "wind"), None);
        let line = turns.next(Moment(0)).unwrap();
        assert!(!turns.hear(&guidance(2), Some(&line)), "it cuts no warning");
        assert!(turns.hear(&spoken(8, P::Alarm, "ship"), Some(&line)));
        turns.hear(&spoken(9, P::Warning, "depth"), Some(&line));
        let rest: Vec<String> = (1..9).map_while(|n| says(&mut turns, n * 10)).collect();
        assert_eq!(rest, ["ship", "Ada, astern", "depth"]);
        turns.hear(&emergency(1, 3, Some("Ada"), "Man overboard, Ada"), None);
        turns.hear(&guidance(3), None);
        assert_eq!(says(&mut turns, 100).unwrap(), "Man overboard, Ada", "a call that waits stays");
        turns.hear(&guidance(3), None);
        turns.hear(&emergency(1, 4, Some("Ada"), "Man overboard, Ada again"), None);
        assert_eq!(says(&mut turns, 120).unwrap(), "Man overboard, Ada again");
    }

    #[test]
    fn an_answer_ends_what_waits_and_what_is_spoken() {
        let mut turns = Turns::default();
        turns.hear(&emergency(1, 1, None, "Man overboard"), None);
        let line = turns.next(Moment(0)).unwrap();
        turns.hear(&emergency(1, 2, None, "Man overboard again"), Some(&line));
        let mut answer = emergency(1, 3, None, "");
        Arc::make_mut(&mut answer.record).event = E::Acknowledged;
        assert!(turns.hear(&answer, Some(&line)));
        assert_eq!(says(&mut turns, 10), None);
    }

    #[test]
    fn what_waits_is_bounded_and_the_least_urgent_goes() {
        let mut turns = Turns::default();
        for id in 0..200 {
            let priority = if id < 5 { P::Warning } else { P::Caution };
            let mut heard = event(id, priority, S::ActiveUnacknowledged, E::Raised, true);
            Arc::make_mut(&mut heard.record).alert.spoken = format!("{id}");
            turns.hear(&heard, None);
        }
        assert_eq!(turns.waiting.len(), WAITING);
        let said: Vec<String> = (1..7).map_while(|n| says(&mut turns, n * 10)).collect();
        assert_eq!(said, ["0", "1", "2", "3", "4", "5"]);
    }
}
