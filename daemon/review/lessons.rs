//! What the night teaches, in three lines: what called most, what was slow to be acknowledged, what was blind.

use super::night::{Alert, Night};
use super::when::spoken;
use record::words::plural;
use rules::Priority;
use std::collections::BTreeMap;
use terms::one_line;

/// An acknowledgement that took longer than this was slow, seconds (own choice: a watchkeeper below for a sail change).
const SLOW_S: f64 = 120.0;

impl Night {
    /// The three lines.
    pub(super) fn lessons(&self) -> [String; 3] {
        let asked = |a: &&Alert| a.raised.is_some() && !a.exercise && a.priority >= Priority::Warning;
        let called: Vec<&Alert> = self.alerts.iter().filter(asked).collect();
        [most(&called), self.slow(&called), self.blind_line()]
    }

    fn slow(&self, called: &[&Alert]) -> String {
        let dated = self.is_dated();
        let needed: Vec<&&Alert> = called.iter().filter(|a| a.needs_acknowledgement()).collect();
        let slow = needed.iter().filter_map(|a| Some((a.acknowledged_after_s()?, **a)));
        let slow: Vec<(f64, &Alert)> = slow.filter(|(s, _)| *s >= SLOW_S).collect();
        let never = needed.iter().filter(|a| a.acknowledged.is_none()).count();
        let mut parts = Vec::new();
        if let Some((s, a)) = slow.iter().max_by(|a, b| a.0.total_cmp(&b.0)) {
            let at = a.raised.map(|t| format!(" at {}", t.label(dated))).unwrap_or_default();
            parts.push(format!(
                "{} took over {}, the slowest {} ({}{at})",
                plural(slow.len(), "acknowledgement"),
                spoken(SLOW_S),
                spoken(*s),
                one_line(&a.order)
            ));
        }
        if never > 0 {
            parts.push(format!("{} never acknowledged", plural(never, "alert")));
        }
        if parts.is_empty() {
            parts.push("nothing waited for long".to_owned());
        }
        format!("Slow to be acknowledged: {}", parts.join("; "))
    }

    fn blind_line(&self) -> String {
        let mut blind = self.blindness();
        blind.sort_by(|a, b| b.total_s.total_cmp(&a.total_s));
        let worst: Vec<String> =
            blind.iter().take(3).map(|b| format!("{} {}", one_line(&b.sense), spoken(b.total_s))).collect();
        let more = if blind.len() > 3 { format!(" and {} more", blind.len() - 3) } else { String::new() };
        let none = "nothing, as far as is known".to_owned();
        format!("Blind: {}", if worst.is_empty() { none } else { worst.join(", ") + &more })
    }
}

/// The order that called most, and of it the ship that did.
fn most(called: &[&Alert]) -> String {
    let mut orders: BTreeMap<&str, Vec<&Alert>> = BTreeMap::new();
    for a in called {
        orders.entry(&a.order).or_default().push(a);
    }
    // Of two that called as often, the one that stands first by name.
    let Some((order, of)) = orders.iter().rev().max_by_key(|(_, of)| of.len()) else {
        return "Called most: nothing called".to_owned();
    };
    let mut ships: BTreeMap<u32, (usize, String)> = BTreeMap::new();
    for a in of {
        if let Some(mmsi) = a.mmsi {
            let name = a.name.as_deref().map_or_else(|| format!("MMSI {mmsi}"), one_line);
            ships.entry(mmsi.number()).or_insert((0, name)).0 += 1;
        }
    }
    let ship = ships.values().max_by_key(|(n, _)| *n).filter(|(n, _)| *n > 1);
    let ship = ship.map_or(String::new(), |(n, name)| format!(", {n} of them {name}"));
    format!("Called most: {}, {} of {}{ship}", one_line(order), of.len(), plural(called.len(), "call"))
}
