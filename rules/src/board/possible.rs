//! Which orders can be judged with the data at hand.

use super::Board;
use crate::condition::{Measure, Predicate};
use crate::picture::Picture;
use terms::{Subject, Whose};

/// Whether one order can be judged with the data at hand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Possible {
    /// The order's name.
    pub name: String,
    /// Whether it applies as things are declared.
    pub in_force: bool,
    /// Names of the measures that no data at hand provides.
    pub missing: Vec<String>,
    /// It is about targets and none is held, so only its measures of own vessel were checked.
    pub no_target: bool,
}

impl Board {
    /// Checks for each order, in the order of the file, whether all its measures are available now. A measure that is
    /// missing for some targets only is available.
    pub fn possible(&self, picture: &dyn Picture) -> Vec<Possible> {
        let sight = self.sight(picture);
        let of = |w: &super::Watched| {
            let subjects = match w.order.each {
                Whose::Own => vec![Subject::OwnVessel],
                whose => picture.subjects(whose),
            };
            let mut missing: Vec<String> = Vec::new();
            for test in &w.order.tests {
                // Ages and silences are known even of what was never heard.
                if matches!(test.predicate, Predicate::Missing(_)) || matches!(test.measure, Measure::Age(_))
                {
                    continue;
                }
                let measure = match &test.measure {
                    Measure::Over(_, q, _) => Measure::Quantity(*q),
                    m => m.clone(),
                };
                let own = [Subject::OwnVessel];
                let asked = if measure.whose() == Whose::Own { &own[..] } else { &subjects };
                let none = asked.iter().all(|s| sight.measure(&measure, *s, None).value.is_none());
                let name = test.measure.to_string();
                if none && !asked.is_empty() && !missing.contains(&name) {
                    missing.push(name);
                }
            }
            let no_target = w.order.each == Whose::Target && subjects.is_empty();
            Possible { name: w.order.name.clone(), in_force: w.in_force, missing, no_target }
        };
        self.watched.iter().map(of).collect()
    }
}
