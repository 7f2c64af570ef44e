//! Exercises on the running watch. An invented event, marked EXERCISE wherever it appears, measures how the crew
//! responds. Nothing invented touches the lookout's own picture: the exercise has its own casualties.

use super::Watch;
use super::look::{casualty_now, closest, direction, where_to_look};
use lookout::Lookout;
use lookout::casualty::{Casualties, CasualtyState, OwnContext, Turn, aloud, in_full};
use record::{ActError, CasualtyNow, Drill, DrillEnd, Entry, ExerciseNow, Measures, TargetNow, TargetPart};
use rules::{AlertEvent, AlertId, BuiltIn, EventKind, Priority, Words};
use scenario::Overboard;
use sentence::ais::AisReport;
use sentence::{Decoder, DecoderOptions, FramerOptions, Report, Sentence};
use std::collections::VecDeque;
use std::time::Duration;
use terms::speech::{self, Side};
use terms::{CasualtyId, Mmsi, Moment, Position, Subject, normal_deg, span, turn_deg};

/// Prefix of everything that an exercise announces.
pub(super) const MARK: &str = "EXERCISE";
/// The invented beacon. No crew member can have it: its maker's part is 00 (ITU-R M.585, from memory).
const BEACON: u32 = 972_000_999;
/// Longest exercise; one that nobody ends is over after this.
const LONGEST: Duration = Duration::from_secs(3600);
/// How long to wait for a fender.
const FENDER_WITHIN: Duration = Duration::from_secs(600);
/// How often own vessel and the invented casualty are measured.
const MEASURED_EVERY: Duration = Duration::from_secs(1);
/// The way is off when this fraction of the speed is.
const SPEED_OFF: f64 = 0.5;
/// Below this speed at the alarm there is no way to take off.
const SLOW_KN: f64 = 2.0;
/// She has turned when her bow, or her course if no heading is heard, points within this of a casualty that had lain
/// abaft the beam.
const TOWARD_DEG: f64 = 45.0;
const ABAFT_DEG: f64 = 90.0;
/// Closer than this, a bearing means nothing.
const NEAR_NM: f64 = 0.01;

/// How the invented ship approaches.
struct Approach {
    range_nm: f64,
    off_bow_deg: f64,
    cpa_nm: f64,
    tcpa_s: f64,
}

/// What the exercise of a close approach announces.
const APPROACH: Approach = Approach { range_nm: 3.0, off_bow_deg: 30.0, cpa_nm: 0.2, tcpa_s: 720.0 };

/// What an exercise measures.
#[derive(Debug, Clone, Default)]
struct Measured {
    alarm: Option<Moment>,
    acknowledged: Option<Moment>,
    spotter: Option<Moment>,
    speed_off: Option<Moment>,
    turned: Option<Moment>,
    alongside: Option<Moment>,
    sog_kn: Option<f64>,
    was_abaft: bool,
    greatest_nm: Option<f64>,
    closest_nm: Option<f64>,
}

/// An exercise under way.
#[derive(Debug)]
pub(super) struct Exercise {
    drill: Drill,
    began: Moment,
    casualties: Casualties,
    casualty: Option<CasualtyId>,
    alert: Option<AlertId>,
    /// The invented beacon's sentences still to come.
    lines: VecDeque<(Moment, Vec<u8>)>,
    decoder: Decoder,
    measured: Measured,
    next: Moment,
}

impl Exercise {
    /// The invented casualty at a moment.
    fn state(&self, at: Moment, id: CasualtyId, lookout: &Lookout) -> Option<CasualtyState> {
        self.casualties.state(at, id, &lookout.context(at)).filter(|_| self.casualty == Some(id))
    }

    /// The words for the invented casualty at a moment. `side` is where it was said to lie last.
    pub fn says(&self, at: Moment, about: Subject, lookout: &Lookout, side: Option<Side>) -> Option<Words> {
        let Subject::Casualty(id) = about else { return None };
        let state = self.state(at, id, lookout)?;
        // Nobody of that name is missing.
        let aloud = aloud(&state, side).replacen(&format!(", {MARK}"), "", 1);
        let spoken = speech::sentences(["exercise", &aloud]);
        Some(Words { written: format!("{MARK}: {}", in_full(&state)), spoken: Some(spoken) })
    }
}

impl Measured {
    fn take(&mut self, at: Moment, state: &CasualtyState, own: &OwnContext) {
        let sog_kn = own.sog_kn.filter(|s| at.since(s.at) <= Duration::from_secs(10)).map(|s| s.value);
        if let (Some(before), Some(now)) = (self.sog_kn.filter(|kn| *kn >= SLOW_KN), sog_kn)
            && now <= before * SPEED_OFF
        {
            self.speed_off.get_or_insert(at);
        }
        let Some(range_nm) = state.range_nm else { return };
        if self.turned.is_none() {
            self.greatest_nm = Some(self.greatest_nm.unwrap_or(0.0).max(range_nm));
        } else {
            self.greatest_nm = self.greatest_nm.map(|g| g.max(range_nm));
            self.closest_nm = Some(self.closest_nm.unwrap_or(f64::MAX).min(range_nm));
        }
        let ahead = own.ahead(at).map(|(deg, _)| deg);
        let off = state.bearing_deg.zip(ahead).map(|(b, a)| turn_deg(a, b).abs());
        if let Some(off) = off.filter(|_| range_nm >= NEAR_NM) {
            self.was_abaft |= off > ABAFT_DEG;
            if self.was_abaft && off <= TOWARD_DEG {
                self.turned.get_or_insert(at);
            }
        }
    }

    /// Seconds since the alarm.
    fn since(&self, what: Option<Moment>) -> Option<f64> {
        Some(what?.seconds_from(self.alarm?))
    }

    /// The measurements, each rounded to what can be told apart.
    fn measures(&self) -> Measures {
        let seconds = |what| self.since(what).map(|s| rounded(s, 1e3));
        Measures {
            acknowledged_s: seconds(self.acknowledged),
            spotter_told_s: seconds(self.spotter),
            speed_off_s: seconds(self.speed_off),
            turned_s: seconds(self.turned),
            alongside_s: seconds(self.alongside),
            greatest_nm: self.greatest_nm.map(|nm| rounded(nm, 1e4)),
            closest_nm: self.closest_nm.map(|nm| rounded(nm, 1e4)),
            sog_kn: self.sog_kn.map(|kn| rounded(kn, 1e3)),
        }
    }
}

fn rounded(value: f64, parts: f64) -> f64 {
    (value * parts).round() / parts
}

/// The sentences of a beacon that goes overboard here and now. It lies in the water as a person does; the wind carries
/// it, and so does the current that own vessel knows.
fn beacon_lines(at: Moment, position: Position, own: &OwnContext) -> VecDeque<(Moment, Vec<u8>)> {
    let fall = |beacon| Overboard {
        utc: own.utc.map_or(terms::Utc(0), |(utc, _)| utc),
        position,
        beacon,
        wind: own.wind.map(|w| (w.value.from_deg, w.value.speed_kn)),
        current: own.current.map(|c| (c.set_deg, c.drift_kn)),
        seed: at.0.unsigned_abs() % 1_000_000,
    };
    let sentences = Mmsi::new(BEACON).map(|beacon| fall(beacon).sentences());
    sentences.into_iter().flatten().map(|(after, line)| (at + after, line.into_bytes())).collect()
}

impl Watch {
    /// Begins, marks or ends an exercise; reports in words what was done.
    pub(super) fn drill(&mut self, at: Moment, what: &str) -> Result<String, ActError> {
        let wrong = |why: String| Err(ActError::Wrong(why));
        match (what, &mut self.exercise) {
            ("spotter" | "alongside" | "end", None) => Err(ActError::Nothing("no exercise is on".to_owned())),
            ("spotter", Some(e)) if e.casualty.is_some() => {
                e.measured.spotter.get_or_insert(at);
                Ok(format!("{MARK}: spotter told"))
            }
            ("alongside", Some(e)) if e.casualty.is_some() => {
                e.measured.alongside = Some(at);
                Ok(self.end_exercise(at, DrillEnd::Alongside).unwrap_or_default())
            }
            ("spotter" | "alongside", Some(_)) => wrong("nobody is overboard in this exercise".to_owned()),
            ("end", Some(_)) => Ok(self.end_exercise(at, DrillEnd::Ended).unwrap_or_default()),
            (word, None) => match Drill::named(word) {
                Some(drill) => self.begin_exercise(at, drill),
                None => {
                    let known: Vec<&str> = Drill::ALL.iter().map(|d| d.word()).collect();
                    wrong(format!(
                        "`{}` is no exercise: it is one of {}; or spotter, alongside, end",
                        terms::one_line(word),
                        known.join(", ")
                    ))
                }
            },
            (_, Some(e)) => Err(ActError::Nothing(format!("an exercise is on already: {}", e.drill.title()))),
        }
    }

    fn begin_exercise(&mut self, at: Moment, drill: Drill) -> Result<String, ActError> {
        if let Some(real) = self.open_casualties(at).first() {
            return Err(ActError::Nothing(format!(
                "casualty {} is real and open: there is no exercise now",
                real.id.0
            )));
        }
        let mut exercise = Exercise {
            drill,
            began: at,
            casualties: Casualties::new(vec![lookout::casualty::CrewMember {
                name: MARK.to_owned(),
                mmsi: Mmsi::new(BEACON),
            }]),
            casualty: None,
            alert: None,
            lines: VecDeque::new(),
            decoder: Decoder::new(DecoderOptions::default()),
            measured: Measured::default(),
            next: at + MEASURED_EVERY,
        };
        if drill == Drill::Overboard {
            let own = self.lookout.context(at);
            let Some(place) = own.position_at(at) else {
                return Err(ActError::Nothing(
                    "own position is not known, and the beacon would lie nowhere: throw a fender instead"
                        .to_owned(),
                ));
            };
            exercise.lines = beacon_lines(at, place, &own);
        }
        self.exercise = Some(exercise);
        let text = match drill {
            Drill::Overboard => "a beacon goes over the side; its first burst comes in a second".to_owned(),
            Drill::Fender => {
                let text = format!(
                    "{MARK}: throw the fender; the next press of an overboard button within {} is it",
                    span(FENDER_WITHIN)
                );
                self.board.exercise(at, "exercise", Subject::Lookout, Priority::Notice, text.into());
                "throw the fender and press the button".to_owned()
            }
            other => {
                let (order, priority, text) = self.invented(other);
                self.raise_exercise(at, order, Subject::Lookout, priority, text);
                other.title().to_owned()
            }
        };
        let who = self.on_watch();
        self.enter(at, Entry::DrillBegan { drill, who });
        Ok(format!("{MARK}: {text}"))
    }

    /// What the other kinds announce: the real alert's name and priority, and invented words.
    fn invented(&self, drill: Drill) -> (&'static str, Priority, String) {
        let built_in = |b: BuiltIn, text: String| (b.word(), b.priority(), text);
        match drill {
            Drill::Feed => {
                let feed = self.ears.first().map_or("a feed", |e| e.name.as_str());
                built_in(BuiltIn::FeedSilent, format!("{feed}: no sentence for 60 s"))
            }
            Drill::Fix => built_in(
                BuiltIn::FixLost,
                "Position lost: no fix by satellite any more. Say where we are, and go on by hand".to_owned(),
            ),
            // The stage at which it first sounds.
            Drill::WatchAlarm => (
                BuiltIn::WatchAlarm.word(),
                Priority::Warning,
                "The watch has not reset the watch alarm".to_owned(),
            ),
            _ => (
                "close approach",
                Priority::Alarm,
                format!(
                    "an invented ship, {:.0}° on the starboard bow: {}, now {:.1} nm off",
                    APPROACH.off_bow_deg,
                    closest(Some(APPROACH.cpa_nm), Some(APPROACH.tcpa_s)),
                    APPROACH.range_nm
                ),
            ),
        }
    }

    fn raise_exercise(
        &mut self,
        at: Moment,
        order: &str,
        subject: Subject,
        priority: Priority,
        text: String,
    ) {
        let own = self.lookout.context(at);
        let id = self.board.exercise(at, order, subject, priority, format!("{MARK}: {text}").into());
        if let Some(e) = &mut self.exercise {
            e.alert = Some(id);
            if e.measured.alarm.is_none() {
                e.measured.alarm = Some(at);
                e.measured.sog_kn = own.sog_kn.map(|s| s.value);
            }
        }
    }

    /// Takes a press of the overboard button: if the exercise waits for a fender, this is it.
    pub(super) fn fender(&mut self, at: Moment, late: Duration) -> Option<CasualtyId> {
        let own = self.lookout.context(at);
        let number = self.lookout.cases().next_number();
        let e = self.exercise.as_mut().filter(|e| {
            e.drill == Drill::Fender && e.casualty.is_none() && at.since(e.began) <= FENDER_WITHIN
        })?;
        e.casualties.number_from(number);
        let id = e.casualties.overboard(at, late, Some(MARK.to_owned()), &own);
        self.fallen(at, id);
        Some(id)
    }

    /// The invented casualty is in the water: the alarm.
    fn fallen(&mut self, at: Moment, id: CasualtyId) {
        // No real casualty may take its number.
        self.lookout.number_casualties_from(id.0.saturating_add(1));
        if let Some(e) = &mut self.exercise {
            e.casualty = Some(id);
            e.casualties.take_news();
        }
        let kind = BuiltIn::PersonOverboard;
        self.raise_exercise(at, kind.word(), Subject::Casualty(id), kind.priority(), String::new());
    }

    /// The invented casualty as it is now.
    pub(super) fn exercise_state(&self, at: Moment, id: CasualtyId) -> Option<CasualtyState> {
        self.exercise.as_ref()?.state(at, id, &self.lookout)
    }

    /// When the exercise needs attention next.
    pub(super) fn exercise_due(&self) -> Option<Moment> {
        let e = self.exercise.as_ref()?;
        Some(e.lines.front().map_or(e.next, |(due, _)| e.next.min(*due)))
    }

    /// Plays the invented events and takes the measurements.
    pub(super) fn advance_exercise(&mut self, at: Moment) {
        let Some(e) = &mut self.exercise else { return };
        let fender_missed =
            e.drill == Drill::Fender && e.casualty.is_none() && at.since(e.began) > FENDER_WITHIN;
        if fender_missed || at.since(e.began) > LONGEST {
            self.end_exercise(at, DrillEnd::Forgotten);
            return;
        }
        while let Some((due, line)) = self.exercise.as_mut().and_then(|e| {
            let due = e.lines.front().is_some_and(|(due, _)| *due <= at);
            if due { e.lines.pop_front() } else { None }
        }) {
            self.hear_invented(due, &line);
        }
        let own = self.lookout.context(at);
        let Some(e) = &mut self.exercise else { return };
        e.next = e.next.max(at + MEASURED_EVERY);
        let Some(id) = e.casualty else { return };
        e.casualties.advance(at, &own);
        e.casualties.take_news();
        let Some(state) = e.casualties.state(at, id, &own) else { return };
        e.measured.take(at, &state, &own);
    }

    /// Takes a sentence of the invented beacon; it reaches the exercise's own casualties and nothing else.
    fn hear_invented(&mut self, at: Moment, line: &[u8]) {
        let own = self.lookout.context(at);
        let number = self.lookout.cases().next_number();
        let Some(e) = &mut self.exercise else { return };
        let checked = Sentence::check(line, &FramerOptions::default());
        let report = checked.ok().and_then(|s| e.decoder.read(at, &s).ok());
        let Some(Report::Ais(report)) = report else { return };
        if e.casualty.is_none() {
            e.casualties.number_from(number);
        }
        e.casualties.hear_ais(at, &report as &AisReport, &own);
        if e.casualty.is_none()
            && let Some(state) = e.casualties.states(at, &own).first()
        {
            let id = state.id;
            self.fallen(at, id);
        }
    }

    /// Follows what the board says about the exercise's alert.
    pub(super) fn heed_exercise(&mut self, event: &AlertEvent) {
        let Some(e) = self.exercise.as_mut().filter(|e| e.alert == Some(event.alert.id)) else { return };
        if event.kind == EventKind::Acknowledged {
            e.measured.acknowledged.get_or_insert(event.at);
        }
    }

    /// Whether an exercise that ends with its acknowledgement has been acknowledged.
    pub(super) fn exercise_is_met(&self) -> bool {
        self.exercise.as_ref().is_some_and(|e| !e.drill.fetches() && e.measured.acknowledged.is_some())
    }

    /// Ends the exercise under way, if any, and announces it.
    pub(super) fn end_exercise(&mut self, at: Moment, ended: DrillEnd) -> Option<String> {
        let who = self.on_watch();
        let e = self.exercise.as_ref()?;
        let measures = e.measured.measures();
        if let Some((time_s, greatest_nm)) = measures.turned_s.zip(measures.greatest_nm) {
            self.guidance.drilled = Some(Turn { time_s, greatest_nm });
        }
        let entry = Entry::DrillEnded { drill: e.drill, who, ended, measures };
        let words = entry.text();
        self.board.end_exercise(at, &words.as_str().into());
        // Announce it while the invented casualty still exists.
        self.tell_events(at);
        self.exercise = None;
        self.enter(at, entry);
        Some(words)
    }

    /// Ends the exercise at once for a real casualty and announces that aloud, separately.
    pub(super) fn give_way(&mut self, at: Moment) {
        if self.end_exercise(at, DrillEnd::Real).is_some() {
            let text = format!("{MARK} over. This is real");
            self.board.exercise(at, "exercise", Subject::Lookout, Priority::Notice, text.into());
        }
    }

    /// Who is on watch, by the roster or as set by hand.
    pub(super) fn on_watch(&self) -> Option<String> {
        self.board.on_watch().map(|(who, _)| who.to_owned())
    }

    /// The exercise as `status` shows it.
    pub(super) fn exercise_now(&self, at: Moment) -> Option<ExerciseNow> {
        let e = self.exercise.as_ref()?;
        let state = e.casualty.and_then(|id| self.exercise_state(at, id));
        let side = |id| self.guidance.side(Subject::Casualty(id));
        let spoken = |id| e.says(at, Subject::Casualty(id), &self.lookout, side(id))?.spoken;
        let casualty = state.as_ref().map(|s| {
            let spoken = spoken(s.id).unwrap_or_default();
            Box::new(CasualtyNow { spoken, ..casualty_now(s, at, side(s.id)) })
        });
        Some(ExerciseNow {
            drill: e.drill.word().to_owned(),
            title: e.drill.title().to_owned(),
            began_s: at.since(e.began).as_secs_f64(),
            words: state.as_ref().map(in_full),
            casualty,
            target: if e.drill == Drill::Ship {
                invented_ship(&self.lookout.context(at), at).map(Box::new)
            } else {
                None
            },
            measured: e.measured.measures().to_string(),
        })
    }
}

/// The invented ship as her announcement has her. `None` where neither heading nor course is known to lay her off from.
fn invented_ship(own: &OwnContext, at: Moment) -> Option<TargetNow> {
    let (ahead_deg, to) = own.ahead(at)?;
    let Approach { range_nm, off_bow_deg, cpa_nm, tcpa_s } = APPROACH;
    let bearing_deg = normal_deg(ahead_deg + off_bow_deg);
    // The CPA is square to the relative track; on this side of it she passes ahead.
    let cpa_bearing_deg = normal_deg(bearing_deg - (cpa_nm / range_nm).acos().to_degrees());
    let hours = tcpa_s / 3600.0;
    let vector = |deg: f64, length: f64| (length * deg.to_radians().sin(), length * deg.to_radians().cos());
    let (then, now) = (vector(cpa_bearing_deg, cpa_nm), vector(bearing_deg, range_nm));
    let under_way = own.cog_deg.zip(own.sog_kn);
    let way = under_way.map_or((0.0, 0.0), |(cog, sog)| vector(cog.value, sog.value));
    let (east, north) = ((then.0 - now.0) / hours + way.0, (then.1 - now.1) / hours + way.1);
    Some(TargetNow {
        part: TargetPart {
            mmsi: Mmsi::new(BEACON)?,
            name: Some("an invented ship".to_owned()),
            kind: None,
            latitude_deg: None,
            longitude_deg: None,
            cog_deg: Some(normal_deg(east.atan2(north).to_degrees())),
            sog_kn: Some(east.hypot(north)),
            range_nm: Some(range_nm),
            bearing_deg: Some(bearing_deg),
            relative_bearing_deg: Some(off_bow_deg),
            relative_to: Some(to),
            cpa_nm: Some(cpa_nm),
            tcpa_s: Some(tcpa_s),
            age_s: None,
        },
        cpa_bearing_deg: Some(cpa_bearing_deg),
        closest: closest(Some(cpa_nm), Some(tcpa_s)),
        lost: false,
        meeting: None,
        described: None,
        side: Some(direction(off_bow_deg, to)),
        look: where_to_look(Some(range_nm), Some(bearing_deg), Some((off_bow_deg, to)), None),
    })
}

#[cfg(test)]
mod tests;
