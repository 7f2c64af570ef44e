//! Calls by the sentences of radios and receivers: what each becomes, and that it is announced once. Sentences that are no
//! quotation are made, and read back by other libraries.

use crate::{Effect, FeedSetting, Input, Numbers, Outside, Watch};
use lookout::casualty::Gap;
use record::{Act, Call, CallKind, Entry, EventRecord};
use rules::{EventKind, Priority};
use std::time::Duration;
use terms::{FeedId, Moment};

const BOAT: &str = "version = 1\n[vessel]\nmmsi = \"244123456\"\n[[feed]]\nname = \"radio\"\ntcp = \"a:1\"\n";
const URGENCY: &str = "$CDDSC,16,2110000010,10,00,26,,,,,S,*2D";
const FOR_US: &str = "!AIVDM,1,1,,A,<39>JhDr=1l0=1>P?F5B2?1B4P@C5P;55@P3<51B,0*18";
const SAFETY: &str = "!AIVDM,1,1,,A,>39>Jh@lt:3CJo;>sODr333Vo7RsC9L,2*1E";
const OVERBOARD_AREA: &str = "!AIVDM,1,1,,A,839>Jh@0EP1UF4Ah07POfuEQDu0l1T000,0*75";

struct Radio {
    w: Watch,
    ms: i64,
    entries: Vec<Call>,
    events: Vec<EventRecord>,
}

fn sealed(body: &str) -> String {
    let sum = body[1..].bytes().fold(0, |sum, b| sum ^ b);
    format!("{body}*{sum:02X}")
}

impl Radio {
    fn of(boat: &str) -> Self {
        let boat = boat::read("boat.toml", boat).unwrap().0;
        let feeds: Vec<FeedSetting> = boat.feeds.iter().map(FeedSetting::of).collect();
        let w = Watch::begun(Moment(0), &boat, &feeds, Numbers::default(), None);
        let mut radio = Self { w, ms: 0, entries: Vec::new(), events: Vec::new() };
        radio.gather();
        radio.events.clear();
        radio
    }

    fn new() -> Self {
        Self::of(BOAT)
    }

    fn gather(&mut self) {
        for effect in self.w.effects() {
            match effect {
                Effect::Entry(_, Entry::Call(call)) => self.entries.push(call),
                Effect::Event(_, record, _) => self.events.push(*record),
                _ => {}
            }
        }
    }

    fn pass(&mut self, s: i64) -> &mut Self {
        self.ms += s * 1000;
        self.w.advance(Moment(self.ms));
        self.gather();
        self
    }

    fn hear(&mut self, line: &str) -> &mut Self {
        self.pass(1);
        let line = if line.contains('*') { line.to_owned() } else { sealed(line) };
        let taken = self.w.take(Moment(self.ms), Input::Line(FeedId(0), line.parse().unwrap()));
        assert!(taken.is_ok());
        self.w.advance(Moment(self.ms));
        self.gather();
        self
    }

    /// Kinds logged and orders of what was announced, since the last call.
    fn told(&mut self) -> (Vec<CallKind>, Vec<(EventKind, String, Priority)>) {
        let kinds = std::mem::take(&mut self.entries).into_iter().map(|c| c.kind).collect();
        let of_radio = |e: &EventRecord| e.alert.about.to_string().starts_with("call ");
        let events = std::mem::take(&mut self.events).into_iter().filter(of_radio);
        (kinds, events.map(|e| (e.event, e.alert.order, e.alert.priority)).collect())
    }

    fn standing(&self) -> Vec<String> {
        let status = self.w.status(Moment(self.ms), &Outside::default());
        status
            .alerts
            .iter()
            .filter(|a| a.text.contains(" from ") || a.text.contains("NAVTEX"))
            .map(|a| a.text.clone())
            .collect()
    }
}

/// What each call becomes: the log's kind, then the alert or notice.
#[test]
fn each_call_becomes_what_the_table_says() {
    let raised = |order: &str, priority| vec![(EventKind::Raised, order.to_owned(), priority)];
    let noted = vec![(EventKind::Noted, "call".to_owned(), Priority::Notice)];
    let navtex = |code: &str| format!("$CRNRX,1,1,07,{code},2,021400.00,01,11,2026,20,0,A,KEEP CLEAR OF IT");
    let navtex = |code| navtex(code);
    for (line, kind, then) in [
        (URGENCY.to_owned(), CallKind::Urgency, raised("urgency call", Priority::Warning)),
        (FOR_US.to_owned(), CallKind::MessageForUs, raised("message for us", Priority::Warning)),
        (navtex("ND05"), CallKind::NavtexUrgent, raised("NAVTEX urgent", Priority::Warning)),
        (navtex("NE00"), CallKind::NavtexUrgent, raised("NAVTEX urgent", Priority::Warning)),
        (
            "$CDDSC,16,2110000010,08,00,26,900006,,,,S,".to_owned(),
            CallKind::Safety,
            raised("safety call", Priority::Caution),
        ),
        (SAFETY.to_owned(), CallKind::SafetyMessage, raised("safety message", Priority::Caution)),
        (OVERBOARD_AREA.to_owned(), CallKind::AreaNotice, raised("safety message", Priority::Caution)),
        (navtex("NA05"), CallKind::NavtexWarning, raised("NAVTEX warning", Priority::Caution)),
        (navtex("NB05"), CallKind::NavtexWarning, raised("NAVTEX warning", Priority::Caution)),
        (navtex("NL05"), CallKind::NavtexWarning, raised("NAVTEX warning", Priority::Caution)),
        (
            "$CDDSC,20,2110000010,00,00,26,900072,,,,R,".to_owned(),
            CallKind::Routine,
            raised("call for us", Priority::Caution),
        ),
        ("$CDDSC,20,2110000010,00,21,26,,,,,R,".to_owned(), CallKind::PositionAsked, noted.clone()),
        ("$CDDSC,20,2110000010,08,18,26,,,,,R,*29".to_owned(), CallKind::Test, noted.clone()),
        ("$CDDSC,20,2110000010,10,00,26,900006,,,,B,".to_owned(), CallKind::Acknowledged, noted.clone()),
        (navtex("NE05"), CallKind::Navtex, noted.clone()),
        // To another station: only logged. The quotation of a library.
        ("!AIVDM,1,1,,A,<5?SIj1;GbD07??4,0*38".to_owned(), CallKind::MessageForOther, Vec::new()),
        (navtex("NZ05"), CallKind::Navtex, Vec::new()),
    ] {
        let mut r = Radio::new();
        assert_eq!(r.hear(&line).told(), (vec![kind], then), "{line}");
        let words = r.w.handover(Moment(r.ms)).lines.join("\n");
        assert!(words.contains("Received 0 s ago: "), "{line}\n{words}");
        assert_eq!(r.w.status(Moment(r.ms), &Outside::default()).calls.len(), 1, "{line}");
    }
}

#[test]
fn a_distress_is_a_casualty_and_only_logged_here() {
    let mut r = Radio::new();
    // Sinking, from the standard; it has no refinement.
    r.hear("$CVDSC,12,3601234560,12,05,00,1474712519,0817,,,S,,");
    assert!(r.events.iter().any(|e| e.alert.order == "vessel in distress"));
    assert_eq!(r.told(), (vec![CallKind::Distress], vec![]));
    r.hear("$CDDSC,16,0024412340,12,10,10,1474712519,0817,3601234560,05,S,");
    assert_eq!(r.told().0, [CallKind::DistressAcknowledged]);
}

#[test]
fn a_message_to_anybody_is_announced_while_own_identity_is_not_known() {
    let mut r = Radio::of("version = 1\n[[feed]]\nname = \"radio\"\ntcp = \"a:1\"\n");
    assert_eq!(r.hear("!AIVDM,1,1,,A,<5?SIj1;GbD07??4,0*38").told().0, [CallKind::MessageForUs]);
}

#[test]
fn a_warning_stands_until_a_person_acknowledges_it_and_a_caution_for_a_watch() {
    let mut r = Radio::new();
    r.hear(URGENCY).hear(SAFETY);
    assert_eq!(r.standing().len(), 2);
    r.pass(5 * 3600);
    assert_eq!(r.standing(), ["Urgency call from 211000001 to all ships"]);
    r.told();
    assert!(r.w.take(Moment(r.ms), Input::Act(Act::Acknowledge { alert: None, order: None })).is_ok());
    r.gather();
    let kinds: Vec<EventKind> = r.told().1.into_iter().map(|(kind, ..)| kind).collect();
    assert_eq!(kinds, [EventKind::Acknowledged, EventKind::Cleared]);
    assert!(r.standing().is_empty());
    // And is not raised again by itself.
    r.pass(3600);
    assert!(r.standing().is_empty());
}

#[test]
fn the_same_words_are_announced_once() {
    let mut r = Radio::new();
    r.hear(SAFETY).hear(URGENCY);
    r.told();
    r.pass(300).hear(SAFETY).hear(URGENCY);
    // The board goes on calling for the urgency.
    let (kinds, events) = r.told();
    assert_eq!(kinds, [], "within ten minutes and a day");
    assert!(events.iter().all(|(kind, ..)| *kind == EventKind::Repeated), "{events:?}");
    r.pass(600).hear(SAFETY).hear(URGENCY);
    // The urgency may be a new one: its alert, which still stands, is announced anew.
    let (kinds, events) = r.told();
    assert_eq!(kinds, [CallKind::Urgency]);
    assert!(events.iter().all(|(_, order, _)| order == "urgency call") && !events.is_empty(), "{events:?}");
    assert_eq!(r.standing().iter().filter(|t| t.starts_with("Urgency")).count(), 1);
    r.pass(86_400).hear(SAFETY);
    assert_eq!(r.told().0, [CallKind::SafetyMessage], "a day later");
}

/// The pair of a radio's own log, quoted by a library: 42°31.4650′N 083°12.4437′W.
#[test]
fn a_position_told_waits_for_its_refinement_and_not_for_ever() {
    let dsc = "$CDDSC,20,3380400790,00,21,26,1423108312,2021,,,B,E*73";
    let mut r = Radio::new();
    r.hear(dsc);
    assert!(r.entries.is_empty());
    r.hear("$CDDSE,1,1,A,3380400790,00,46504437*15");
    let place = r.entries[0].position().unwrap();
    assert!((place.latitude_deg() - (42.0 + 31.465 / 60.0)).abs() < 1e-9);
    assert!((place.longitude_deg() + 83.0 + 12.4437 / 60.0).abs() < 1e-9);
    assert_eq!(
        r.told(),
        (vec![CallKind::PositionGiven], vec![(EventKind::Noted, "call".to_owned(), Priority::Notice)])
    );
    let mut r = Radio::new();
    r.hear(dsc).pass(2);
    let place = r.entries[0].position().unwrap();
    assert!((place.latitude_deg() - (42.0 + 31.0 / 60.0)).abs() < 1e-9, "to the whole minute");
}

/// A made message in two sentences, and the older form.
#[test]
fn a_navtex_message_is_put_together() {
    let mut r = Radio::new();
    r.hear("$CRNRX,002,001,07,ND05,2,021400,01,11,2026,69,0,A,PERSON OVERBOARD IN 46-23.75N 009-18.42W.*78");
    assert!(r.entries.is_empty());
    r.hear("$CRNRX,002,002,07,,,,,,,,,,^0D^0AVESSELS KEEP SHARP LOOKOUT*18");
    let text = "PERSON OVERBOARD IN 46-23.75N 009-18.42W. VESSELS KEEP SHARP LOOKOUT";
    assert_eq!(r.entries[0].text.as_deref(), Some(text));
    let event = r.events.iter().find(|e| e.alert.order == "NAVTEX urgent").unwrap();
    assert!(event.alert.spoken.starts_with("Urgent navtex message. Person overboard in four six two three"));
    // The older form: lines of one identity, the first of them from a manual.
    r.told();
    r.hear("$NXNRX,TA21,1,2,518,10,01,2005,102000,2.2,291600 UTC JAN =");
    r.hear("$NXNRX,TA21,2,2,518,10,01,2005,102000,2.2, WRECK ADRIFT");
    assert_eq!(r.entries[0].text.as_deref(), Some("291600 UTC JAN = WRECK ADRIFT"));
    assert_eq!((r.entries[0].navtex.as_deref(), r.entries[0].wrong_percent), (Some("TA21"), Some(2.2)));
}

#[test]
fn what_came_of_a_message_is_announced_and_a_better_copy_takes_its_place() {
    let part = |n: u8, code: &str, wrong: u8, text: &str| match n {
        1 => format!("$CRNRX,3,1,09,{code},2,021400,01,11,2026,100,{wrong},A,{text}"),
        n => format!("$CRNRX,3,{n},09,,,,,,,,,,{text}"),
    };
    let mut r = Radio::new();
    r.hear(&part(1, "NA07", 9, "WRECK ")).hear(&part(3, "", 0, "ADRIFT"));
    assert!(r.entries.is_empty());
    r.pass(10);
    assert_eq!((r.entries[0].incomplete, r.entries[0].text.as_deref()), (true, Some("WRECK […] ADRIFT")));
    assert_eq!(r.told().1, [(EventKind::Raised, "NAVTEX warning".to_owned(), Priority::Caution)]);
    // A worse copy is none.
    let whole = |code: &str, wrong: u8| {
        format!("$CRNRX,1,1,11,{code},2,061400,01,11,2026,100,{wrong},A,WRECK NEAR BUOY ADRIFT")
    };
    r.pass(3600).hear(&whole("NA07", 1));
    let (number, better) = (r.entries[0].number, r.entries[0].better);
    assert_eq!((number.0, better), (1, true));
    assert_eq!(r.told().1, [(EventKind::Repeated, "NAVTEX warning".to_owned(), Priority::Caution)]);
    assert!(r.standing()[0].contains("“WRECK NEAR BUOY ADRIFT”; 1.0 % of it received wrong; a better copy"));
    // Under 4 % needs no better one, and whatever comes within 72 h is the same.
    r.pass(3600).hear(&whole("NA07", 0));
    assert_eq!(r.told(), (vec![], vec![]));
    // The number 00 is given again and again: its words tell.
    r.hear(&whole("NA00", 0)).pass(60).hear(&whole("NA00", 0));
    assert_eq!(r.told().0, [CallKind::NavtexUrgent]);
    r.hear("$CRNRX,1,1,12,NA00,2,061400,01,11,2026,100,0,A,ANOTHER WRECK");
    assert_eq!(r.told().0, [CallKind::NavtexUrgent]);
}

#[test]
fn what_the_boat_rejects_is_logged_and_what_she_may_not_reject_is_announced() {
    let boat = format!("{BOAT}[calls]\nnavtex_stations = \"DN\"\nnavtex_subjects = \"E\"\n");
    let mut r = Radio::of(&boat);
    let mut told = |code: &str| {
        r.hear(&format!("$CRNRX,1,1,09,{code},2,021400,01,11,2026,100,0,A,TEXT OF {code}"));
        let (kinds, events) = r.told();
        (kinds.len(), events.len())
    };
    assert_eq!((told("NE01"), told("NJ01"), told("XE01")), ((1, 1), (1, 0), (1, 0)));
    for code in ["XA01", "XB01", "XD01", "XL01", "XJ00"] {
        assert_eq!(told(code), (1, 1), "{code}");
    }
    let wrong = boat::read("boat.toml", "version = 1\n[calls]\nnavtex_stations = \"D,E\"\n").unwrap_err();
    assert!(wrong.to_string().contains("takes capital letters"), "{wrong}");
}

#[test]
fn a_restart_keeps_the_calls_and_their_alerts() {
    let mut r = Radio::new();
    r.hear(URGENCY).hear(SAFETY);
    let begin = r.w.go_on(Moment(r.ms));
    let json = serde_json::to_string(&begin).unwrap();
    let mut begin: crate::Begin = serde_json::from_str(&json).unwrap();
    begin.gap = Gap::Of(Duration::from_secs(60));
    let mut r = Radio { ms: 1_000_000, ..Radio::new() };
    assert!(r.w.take(Moment(r.ms), Input::Begin(Box::new(begin))).is_ok());
    r.gather();
    r.told();
    // The alerts from before a restart must be met again within five minutes, and are.
    r.pass(400);
    assert_eq!(r.standing().len(), 2, "{:?}", r.standing());
    r.told();
    r.hear(SAFETY);
    assert_eq!(r.told(), (vec![], vec![]), "known from before");
    r.hear("$CDDSC,20,2110000010,08,18,26,,,,,R,*29");
    assert_eq!(r.entries[0].number.0, 3, "no number is used twice");
    r.pass(4 * 3600);
    assert_eq!(r.standing().len(), 1, "the caution's time ran on through the gap");
}

#[test]
fn a_flood_of_calls_stays_bounded() {
    let mut r = Radio::new();
    for n in 0..600 {
        r.hear(&format!("$CDDSC,16,21100{n:04}0,10,00,26,,,,,S,"));
        r.hear(&format!(
            "$CRNRX,9,1,{},N{}{:02},2,021400,01,11,2026,100,0,A,X",
            n % 100,
            ['A', 'E'][n % 2],
            n % 99
        ));
    }
    assert_eq!(r.entries.iter().filter(|c| c.kind == CallKind::Urgency).count(), 600, "all are logged");
    assert!(r.w.calls.log.len() <= super::MOST_HEARD);
    assert!(r.w.status(Moment(r.ms), &Outside::default()).calls.len() <= super::MOST_SHOWN);
    assert!(
        r.w.handover(Moment(r.ms)).lines.iter().filter(|l| l.starts_with("Received")).count()
            <= super::MOST_SHOWN
    );
}
