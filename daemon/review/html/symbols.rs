//! Symbols of IMO SN.1/Circ.243 (from memory): own ship, AIS targets, past positions, the AIS search and rescue
//! transmitter and the event mark. Shape alone tells them apart; colour only repeats it.

use super::svg::{Svg, Xy};
use maud::{Markup, html};
use rules::Priority;

/// A letter for a priority, as in the ALF sentence (IEC 61162-1 8.3.14); N for a notice.
pub(super) fn letter(priority: Priority) -> char {
    match priority {
        Priority::EmergencyAlarm => 'E',
        Priority::Alarm => 'A',
        Priority::Warning => 'W',
        Priority::Caution => 'C',
        Priority::Notice => 'N',
    }
}

/// The style's name for a priority.
pub(super) fn class(priority: Priority) -> &'static str {
    match priority {
        Priority::EmergencyAlarm => "pe",
        Priority::Alarm => "pa",
        Priority::Warning => "pw",
        Priority::Caution => "pc",
        Priority::Notice => "pn",
    }
}

/// A priority's letter in its box, for tables.
pub(super) fn badge(priority: Priority) -> Markup {
    html! {
        span class={ "badge " (class(priority)) } title=(priority) aria-label=(priority) { (letter(priority)) }
    }
}

/// Own ship: a double circle.
pub(super) fn own_ship(svg: &mut Svg, xy: Xy, hint: &str) {
    svg.group_at("own", xy, 0.0, hint, |g| {
        g.circle("o", (0.0, 0.0), 7.0);
        g.circle("o", (0.0, 0.0), 3.5);
    });
}

/// An activated AIS target: an acute isosceles triangle toward its heading or course. One that raised an alert is bold,
/// as a dangerous target is.
pub(super) fn target(svg: &mut Svg, xy: Xy, toward_deg: Option<f64>, dangerous: bool, hint: &str) {
    let class = if dangerous { "target danger" } else { "target" };
    svg.group_at(class, xy, toward_deg.unwrap_or(0.0), hint, |g| {
        g.path("o", "M0-9L4.5 7H-4.5Z");
        if toward_deg.is_none() {
            // Heading and course unknown.
            g.path("o", "M-2 2.5H2");
        }
    });
}

/// An AIS search and rescue transmitter, or any other beacon: a circle with a cross inside.
pub(super) fn beacon(svg: &mut Svg, xy: Xy, hint: &str) {
    svg.group_at("beacon", xy, 0.0, hint, |g| {
        g.circle("o", (0.0, 0.0), 8.0);
        g.path("o", "M-5.7-5.7L5.7 5.7M-5.7 5.7L5.7-5.7");
    });
}

/// An event mark: a rectangle with a diagonal. The label beside it names the event; MOB for a person overboard.
pub(super) fn event_mark(svg: &mut Svg, xy: Xy, class: &str, hint: &str) {
    svg.group_at(&format!("mark {class}"), xy, 0.0, hint, |g| g.path("o", "M-7-5H7V5H-7ZM-7 5L7-5"));
}
