//! Symbols of IMO SN.1/Circ.243 (from memory): own ship, AIS targets, past positions, the AIS search and rescue
//! transmitter and the event mark. Everything is told by shape first; colour only repeats it.

use super::svg::{Svg, esc};
use rules::Priority;

/// A letter for a priority, as the ALF sentence has it (IEC 61162-1 8.3.14); N for a notice.
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
pub(super) fn badge(priority: Priority) -> String {
    let (class, letter, name) = (class(priority), letter(priority), esc(&priority.to_string()));
    format!("<span class=\"badge {class}\" title=\"{name}\" aria-label=\"{name}\">{letter}</span>")
}

/// Own ship: a double circle.
pub(super) fn own_ship(svg: &mut Svg, x: f64, y: f64, told: &str) {
    svg.group_at("own", x, y, 0.0, told);
    svg.circle("o", 0.0, 0.0, 7.0);
    svg.circle("o", 0.0, 0.0, 3.5);
    svg.end();
}

/// An activated AIS target: an acute isosceles triangle toward its heading or course. One that an alert called is
/// drawn bold, as a dangerous target is.
pub(super) fn target(svg: &mut Svg, x: f64, y: f64, toward_deg: Option<f64>, dangerous: bool, told: &str) {
    let class = if dangerous { "target danger" } else { "target" };
    svg.group_at(class, x, y, toward_deg.unwrap_or(0.0), told);
    svg.raw("<path class=\"o\" d=\"M0-9L4.5 7H-4.5Z\"/>");
    if toward_deg.is_none() {
        // Heading and course unknown.
        svg.raw("<path class=\"o\" d=\"M-2 2.5H2\"/>");
    }
    svg.end();
}

/// An AIS search and rescue transmitter, and any other beacon: a circle with a cross inside.
pub(super) fn beacon(svg: &mut Svg, x: f64, y: f64, told: &str) {
    svg.group_at("beacon", x, y, 0.0, told);
    svg.circle("o", 0.0, 0.0, 8.0);
    svg.raw("<path class=\"o\" d=\"M-5.7-5.7L5.7 5.7M-5.7 5.7L5.7-5.7\"/>");
    svg.end();
}

/// An event mark: a rectangle with a diagonal line. Text beside it says what happened; of a person overboard, MOB.
pub(super) fn event_mark(svg: &mut Svg, x: f64, y: f64, class: &str, told: &str) {
    svg.group_at(&format!("mark {class}"), x, y, 0.0, told);
    svg.raw("<path class=\"o\" d=\"M-7-5H7V5H-7ZM-7 5L7-5\"/>");
    svg.end();
}
