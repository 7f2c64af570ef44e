//! `card`: the quick card for the chart table (A4) and the companionway (A6), made from boat.toml.

use crate::check::read_file;
use crate::outcome::{Outcome, complain, print};
use boat::{Boat, Does, Means, Reaches, Signal, Switched};
use clap::Args;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use rules::Priority;
use std::path::PathBuf;
use std::time::Duration;
use terms::{legible, one_line, span};

/// `card`.
#[derive(Debug, Args)]
pub struct Card {
    /// The boat
    #[arg(long, default_value = boat::places::BOAT)]
    pub config: PathBuf,
    /// Write it there instead of printing it; a browser prints it, or makes a PDF of it
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
}

const STYLE: &str = "@page { margin: 12mm } @page large { size: A4; margin: 12mm } @page small { size: 105mm 148mm; margin: 6mm }
* { box-sizing: border-box; margin: 0 } body { font: 11pt/1.3 system-ui, sans-serif; color: #000; background: #fff; max-width: 190mm; margin: 0 auto; padding: 4mm }
section.large { page: large } section.small { page: small; break-before: page; font-size: 7.6pt; line-height: 1.22; max-width: 93mm }
h1 { font-size: 1.7em } h2 { font-size: 1.12em; margin: .7em 0 .2em; border-bottom: 1.5pt solid #000; break-after: avoid }
ol, ul { padding-left: 1.4em } li { margin: .1em 0 } table { border-collapse: collapse; width: 100% } td, th { text-align: left; vertical-align: top; padding: .1em .6em .1em 0; border-bottom: .5pt solid #999 }
.call { border: 1.5pt solid #000; padding: .5em .7em; margin-top: .3em } .call p { margin: .12em 0 } .call b { white-space: nowrap } .blank { border-bottom: .7pt solid #000; display: inline-block; min-width: 9em } .foot { margin-top: .7em; font-size: .85em }
.two { display: grid; grid-template-columns: 1fr 1fr; gap: 0 1.2em } @media print { body { padding: 0; max-width: none } }";

/// Prints the card, or writes it to a file.
pub fn card(asked: &Card) -> Outcome {
    let boat = match read_file(&asked.config, boat::read) {
        Ok((boat, _)) => boat,
        Err(why) => {
            complain(&why);
            return Outcome::BadFile;
        }
    };
    let page = page(&boat);
    let Some(file) = &asked.html else { return print(&page) };
    match std::fs::write(file, page) {
        Ok(()) => {
            print(&format!("{}: open it in a browser and print it, one A4 and one A6\n", file.display()))
        }
        Err(e) => {
            complain(&format!("middlewatch: {}: {e}", file.display()));
            Outcome::Failed
        }
    }
}

/// What each buzzer and horn sounds, by priority: the patterns of `signals`.
const PATTERNS: [(Priority, &str, &str); 4] = [
    (
        Priority::EmergencyAlarm,
        "seven short, one long, again and again",
        "somebody is overboard, or a beacon calls",
    ),
    (Priority::Alarm, "three beeps every seven seconds", "danger now: look at once"),
    (Priority::Warning, "two beeps", "danger may come, or the lookout is hurt"),
    (Priority::Caution, "one beep", "good to know; needs no answer"),
];

/// The letters of the ITU phonetic alphabet (Radio Regulations, appendix 14; from memory).
const LETTERS: [&str; 26] = [
    "Alfa", "Bravo", "Charlie", "Delta", "Echo", "Foxtrot", "Golf", "Hotel", "India", "Juliett", "Kilo",
    "Lima", "Mike", "November", "Oscar", "Papa", "Quebec", "Romeo", "Sierra", "Tango", "Uniform", "Victor",
    "Whiskey", "X-ray", "Yankee", "Zulu",
];

/// A call sign or number as it is spoken, letter by letter; figures stay figures.
fn spelt(text: &str) -> String {
    let letter = |c: char| {
        let place = usize::from(u8::try_from(c.to_ascii_uppercase()).unwrap_or(0).wrapping_sub(b'A'));
        LETTERS.get(place).map_or_else(|| c.to_string(), |word| (*word).to_owned())
    };
    text.chars().filter(|c| c.is_ascii_alphanumeric()).map(letter).collect::<Vec<_>>().join(" ")
}

/// How a signal calls at a priority, or `None` where it does not.
fn calls(signal: &Signal, priority: Priority, pattern: &str) -> Option<String> {
    if !signal.audience.priorities.contains(&priority) {
        return None;
    }
    let how = match &signal.means {
        Means::Switched { what: Switched::Buzzer, .. } => pattern.to_owned(),
        Means::Switched { what: Switched::Lamp, .. } => "flashes until acknowledged".to_owned(),
        Means::Switched { what: Switched::Relay, .. } => "is on while anything sounds".to_owned(),
        Means::Command(_) => "speaks or shows the alert".to_owned(),
        Means::Webhook(_) | Means::Nmea(_) => return None,
    };
    let whom = match &signal.audience.reaches {
        Reaches::Watch => " (the watch)".to_owned(),
        Reaches::Skipper => " (the skipper)".to_owned(),
        Reaches::AllHands => String::new(),
        Reaches::Person(name) => format!(" ({})", one_line(name)),
    };
    Some(format!("{}{whom} {how}", one_line(&signal.name)))
}

fn does(does: Does) -> &'static str {
    match does {
        Does::Acknowledge => "acknowledges all that is open",
        Does::Silence => "stops the sound for 30 s",
        Does::Overboard => "calls a person overboard",
        Does::Reset => "resets the watch alarm",
    }
}

fn sounds(boat: &Boat) -> Markup {
    html! {
        h2 { "What each sound means" }
        table {
            @for (priority, pattern, means) in PATTERNS {
                tr {
                    th { (priority.to_string().to_uppercase()) }
                    td {
                        (means) "."
                        @for words in boat.signals.iter().filter_map(|s| calls(s, priority, pattern)) { br; (words) "." }
                    }
                }
            }
        }
        @if boat.signals.is_empty() { p { "boat.toml has no signal: NOBODY HEARS AN ALARM." } }
    }
}

fn buttons(boat: &Boat) -> Markup {
    html! {
        h2 { "Where to answer" }
        ul {
            @for b in &boat.buttons {
                li {
                    b { (one_line(&b.name)) } " button " (does(b.does))
                    @if b.hold > Duration::ZERO { ": hold it " (span(b.hold)) }
                }
            }
            @if let Some(listen) = &boat.listen { li { "On a phone: the watch card, http://BOAT:" (listen.address.port()) "/" } }
            li { "At the computer: " code { "middlewatch status" } ", " code { "acknowledge" } ", " code { "overboard NAME" } }
        }
    }
}

fn what_to_do() -> Markup {
    html! {
        h2 { "When it calls" }
        ol {
            li { "Look where it says, with your own eyes." }
            li { "Do what the danger needs. It does not steer, and it does not know the rules of the road for you." }
            li { "Acknowledge. Until somebody does, it calls again, then the skipper, then all hands." }
            li { "In doubt, call the skipper." }
        }
        h2 { "Somebody overboard" }
        ol {
            li { "Shout. Throw a float. One points and does not look away." }
            li { "Press overboard: the computer marks the place and drifts it on." }
            li { "Turn back. Engine on only when no line is in the water." }
            li { "Call for help at once; a call can be cancelled." }
        }
    }
}

/// The distress call in the order of the Radio Regulations, articles 32.13C and 32.13D (from memory).
fn distress(boat: &Boat) -> Markup {
    let name = boat.vessel.name.as_deref().map(one_line);
    let name = || html! { @if let Some(name) = &name { b { (name) } } @else { span.blank {} } };
    let identity = || {
        html! {
            @if let Some(sign) = &boat.vessel.call_sign { ", call sign " b { (spelt(sign)) } }
            @if let Some(mmsi) = boat.vessel.mmsi { ", MMSI " b { (mmsi.to_string().chars().map(String::from).collect::<Vec<_>>().join(" ")) } }
        }
    };
    let persons = boat.crew.len();
    html! {
        h2 { "Distress call" }
        p { "Red DISTRESS key of the radio first: lift the cover, hold five seconds. Then channel 16, high power:" }
        div.call {
            p { b { "MAYDAY MAYDAY MAYDAY" } }
            p { "This is " (name()) " " (name()) " " (name()) (identity()) }
            p { b { "MAYDAY" } " " (name()) (identity()) }
            p { "Position " span.blank {} " at " span.blank {} " UTC" }
            p { "What is wrong: " span.blank {} }
            p { "I require immediate assistance" }
            p { @if persons > 0 { b { (persons) } } @else { span.blank {} } " persons on board. " span.blank {} }
            p { b { "OVER" } }
        }
    }
}

fn people(boat: &Boat) -> Markup {
    html! {
        @if !boat.crew.is_empty() {
            h2 { "Crew and beacons" }
            table {
                @for c in &boat.crew {
                    tr {
                        td { b { (one_line(&c.name)) } }
                        td { @if let Some(mmsi) = c.beacon { (mmsi.to_string()) } @else { "no beacon" } }
                        td { @if let Some(until) = c.until { "battery to " (until.to_string()) } }
                    }
                }
            }
        }
        h2 { "Ashore" }
        table {
            @for c in &boat.contacts { tr { td { b { (one_line(&c.name)) } } td { (one_line(&c.by)) } } }
            @if boat.contacts.is_empty() { tr { td { span.blank {} } td { span.blank {} } } }
        }
    }
}

/// The card as one page that prints as an A4 and an A6 sheet.
fn page(boat: &Boat) -> String {
    let title = boat
        .vessel
        .name
        .as_deref()
        .map_or("Quick card".to_owned(), |name| format!("{}: quick card", one_line(name)));
    let foot = html! { p.foot { "An aid only. Keep a proper lookout." } };
    legible(html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                section.large {
                    h1 { (title) }
                    (sounds(boat))
                    div.two { div { (what_to_do()) } div { (buttons(boat)) (people(boat)) } }
                    (distress(boat))
                    (foot)
                }
                section.small {
                    (what_to_do())
                    (buttons(boat))
                    (distress(boat))
                }
            }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOAT: &str = "version = 1\n[vessel]\nname = \"<Windlestraw>\"\ncall_sign = \"WX4K\"\nmmsi = \"232990417\"\n\
        [[crew]]\nname = \"Ilse\"\nbeacon = \"972990411\"\nuntil = \"2027-01\"\n[[crew]]\nname = \"Tobias\"\n\
        [[contact]]\nname = \"Orrin\"\nby = \"+00 1 234\"\n\
        [[signal]]\nname = \"horn\"\nbuzzer = { recorded = \"horn\" }\npriorities = [\"alarm\", \"emergency alarm\"]\n\
        [[button]]\nname = \"rail\"\nline = { recorded = \"rail\" }\ndoes = \"overboard\"\n";

    #[test]
    fn the_card_says_what_this_boat_has_and_no_name_breaks_it() {
        let page = page(&boat::read("boat.toml", BOAT).unwrap().0);
        for words in [
            "&lt;Windlestraw&gt;: quick card",
            "Whiskey X-ray 4 Kilo",
            "2 3 2 9 9 0 4 1 7",
            "horn (the watch) seven short, one long",
            "<b>rail</b> button calls a person overboard: hold it 2 s",
            "972990411",
            "battery to 2027-01-31",
            "no beacon",
            "+00 1 234",
            "<b>2</b> persons on board",
        ] {
            assert!(page.contains(words), "{words}\n{page}");
        }
        assert_eq!(page.matches("MAYDAY MAYDAY MAYDAY").count(), 2, "on both sheets");
        let bare = super::page(&Boat::default());
        assert!(bare.contains("NOBODY HEARS AN ALARM") && bare.contains("class=\"blank\""), "{bare}");
    }
}
