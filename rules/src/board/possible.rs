//! Whether the orders can be judged at all with what is heard.

use super::Board;
use crate::condition::{Measure, Predicate};
use crate::picture::Picture;
use terms::{Subject, Whose};

/// How an order fares with the data at hand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Possible {
    /// The order's name.
    pub name: String,
    /// It applies under the present declarations.
    pub in_force: bool,
    /// Measures that nothing heard provides, by name.
    pub missing: Vec<String>,
    /// It is about targets and none is held, so only its questions about own vessel were checked.
    pub no_target: bool,
}

impl Board {
    /// For each order, in file order, whether everything it asks for is available now. A measure missing for some
    /// targets but present for others counts as available.
    pub fn possible(&self, picture: &dyn Picture) -> Vec<Possible> {
        let sight = self.sight(picture);
        let of = |w: &super::Watched| {
            let subjects = match w.order.each {
                Whose::Own => vec![Subject::OwnVessel],
                whose => picture.subjects(whose),
            };
            let mut missing: Vec<String> = Vec::new();
            for test in &w.order.tests {
                // An age or a silence is known even of what was never heard.
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
