//! What a call or message is, by its sentence.

use super::parts::Whole;
use record::{Call, CallKind};
use sentence::ais::AisReport;
use sentence::{NavtexIdentity, SelectiveCall};
use std::time::Duration;
use terms::Mmsi;

/// Symbols of ITU-R M.493 less 100 (quoted by decoder libraries).
const AREA: u8 = 2;
const DISTRESS: u8 = 12;
const GROUP: u8 = 14;
const ALL_SHIPS: u8 = 16;
const INDIVIDUAL: u8 = 20;
const SAFETY: u8 = 8;
const URGENCY: u8 = 10;
const DISTRESS_ACKNOWLEDGEMENT: u8 = 10;
const TEST: u8 = 18;
const POSITION: u8 = 21;
/// Kinds of area notice (IMO SN.1/Circ.289).
const PERSON_OVERBOARD: u8 = 74;
const SEARCH_AND_RESCUE: u8 = 75;

/// A call as it was heard.
#[derive(Debug)]
pub(super) struct Heard {
    /// What sets it apart from others.
    pub key: String,
    /// What it says; its number is still to come.
    pub call: Call,
    /// Whether it is announced at all if it is new.
    pub announced: bool,
}

/// For how long the same call or text is no news: ten minutes by DSC, which may be a new need; a day for texts; 72 hours
/// for a NAVTEX identity (IMO A.700(17)).
pub(super) fn same_as(kind: CallKind) -> Duration {
    let hours = |n: u64| Duration::from_secs(n * 3600);
    match kind.by() {
        "NAVTEX" => hours(72),
        "AIS" => hours(24),
        _ => Duration::from_secs(600),
    }
}

/// A digital selective call.
pub(super) fn of_dsc(dsc: &SelectiveCall) -> Heard {
    let answer = dsc.acknowledgement == Some('B');
    let kind = match (dsc.category, dsc.telecommand) {
        _ if dsc.format == Some(DISTRESS) => CallKind::Distress,
        (Some(DISTRESS), Some(DISTRESS_ACKNOWLEDGEMENT)) => CallKind::DistressAcknowledged,
        (Some(DISTRESS), _) if answer => CallKind::DistressAcknowledged,
        (Some(DISTRESS), _) => CallKind::DistressRelay,
        (_, Some(TEST)) => CallKind::Test,
        (_, Some(POSITION)) if dsc.position.is_some() || answer => CallKind::PositionGiven,
        (_, Some(POSITION)) => CallKind::PositionAsked,
        _ if answer => CallKind::Acknowledged,
        (Some(URGENCY), _) => CallKind::Urgency,
        (Some(SAFETY), _) => CallKind::Safety,
        _ => CallKind::Routine,
    };
    let to = match dsc.format {
        Some(ALL_SHIPS) => Some("all ships"),
        Some(AREA) => Some("an area"),
        Some(GROUP) => Some("a group"),
        Some(INDIVIDUAL) => Some("us"),
        _ => None,
    };
    let mut call = Call {
        caller: dsc.caller,
        to: to.map(str::to_owned),
        casualty_mmsi: dsc.casualty,
        channel: dsc.channel.clone(),
        ..Call::new(kind)
    };
    call.set_position(dsc.position);
    let key = format!(
        "dsc {:?} {:?} {:?} {:?} {:?} {:?} {:?}",
        dsc.caller.map(Mmsi::number),
        dsc.format,
        dsc.category,
        dsc.telecommand,
        dsc.channel,
        dsc.casualty.map(Mmsi::number),
        dsc.position,
    );
    // The casualty is announced in place of a distress.
    let announced =
        !matches!(kind, CallKind::Distress | CallKind::DistressRelay | CallKind::DistressAcknowledged);
    Heard { key, call, announced }
}

/// A text or an area notice by AIS; `None` if there is nothing in it.
pub(super) fn of_ais(ais: &AisReport, own: Option<Mmsi>) -> Option<Heard> {
    let (kind, to) = match ais.message {
        14 => (CallKind::SafetyMessage, None),
        // While own identity is not known, it may be for us.
        12 if ais.addressee == own || own.is_none() => {
            let to = ais.addressee.map_or_else(|| "us".to_owned(), |mmsi| mmsi.to_string());
            (CallKind::MessageForUs, Some(to))
        }
        12 => (CallKind::MessageForOther, ais.addressee.map(|mmsi| mmsi.to_string())),
        _ => return of_notice(ais),
    };
    let text = ais.text.clone()?;
    let key = format!("ais {} {} {text}", ais.message, ais.mmsi);
    let call = Call { caller: Some(ais.mmsi), to, text: Some(text), ..Call::new(kind) };
    Some(Heard { key, call, announced: kind != CallKind::MessageForOther })
}

fn of_notice(ais: &AisReport) -> Option<Heard> {
    let notice = ais.area_notice.as_ref()?;
    let about = match notice.kind {
        PERSON_OVERBOARD => "person overboard",
        SEARCH_AND_RESCUE => "search and rescue area",
        _ => return None,
    };
    let text = notice.text.as_ref().map_or_else(|| about.to_owned(), |more| format!("{about}: {more}"));
    let mut call = Call {
        caller: Some(ais.mmsi),
        radius_m: notice.radius_m,
        text: Some(text),
        ..Call::new(CallKind::AreaNotice)
    };
    call.set_position(notice.position);
    let key = format!("ais 8 {} {:?} {} {:?}", ais.mmsi, notice.link, notice.kind, notice.position);
    Some(Heard { key, call, announced: true })
}

/// A NAVTEX message. `is_wanted` says whether the boat's file has it announced; some messages it cannot reject.
pub(super) fn of_navtex(whole: Whole, is_wanted: impl Fn(&NavtexIdentity) -> bool) -> Heard {
    let Whole { identity, text, wrong_percent, incomplete } = whole;
    let kind = match identity {
        NavtexIdentity { subject: 'D', .. } | NavtexIdentity { number: 0, .. } => CallKind::NavtexUrgent,
        NavtexIdentity { subject: 'A' | 'B' | 'L', .. } => CallKind::NavtexWarning,
        _ => CallKind::Navtex,
    };
    // The number 00 is used again and again.
    let more = if identity.number == 0 { text.as_str() } else { "" };
    let key = format!("navtex {identity} {more}");
    let announced = kind.is_never_rejected() || (identity.subject != 'Z' && is_wanted(&identity));
    let call = Call {
        navtex: Some(identity.to_string()),
        text: (!text.is_empty()).then_some(text),
        wrong_percent,
        incomplete,
        ..Call::new(kind)
    };
    Heard { key, call, announced }
}
