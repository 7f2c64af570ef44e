//! What a voice says of an order: what and who, where by side, how far, what it does; at most twenty words.

use super::Watched;
use crate::alert::Origin;
use crate::condition::Measure;
use crate::judge::Sight;
use crate::order::Piece;
use crate::wording;
use terms::{Quantity, Subject, Value, Whose, speech};

/// A closest approach below this is called a collision course, in nautical miles: within a ship's length and the error
/// of any fix.
const COLLISION_NM: f64 = 0.05;

/// A ship's line longer than this leaves out the degrees: numbers take long to say.
const ENOUGH_WORDS: usize = 16;

impl Watched {
    /// What a voice says now of one of this order's alerts.
    pub fn aloud(&self, origin: &Origin, subject: Subject, sight: &Sight<'_>) -> String {
        let name = &self.order.name;
        let said = match origin {
            Origin::Unjudged(_) => return speech::sentences([format!("cannot judge {name}").as_str()]),
            Origin::Crowd(_) => {
                let more = u32::try_from(self.crowd.len()).unwrap_or(u32::MAX);
                return speech::sentences([name.as_str(), &format!("{} more", speech::whole(more))]);
            }
            _ => match (&self.order.say, self.order.each) {
                (Some(say), _) => self.say(say, subject, sight),
                (None, Whose::Target) => self.ship(subject, sight),
                (None, _) => self.what_and_value(subject, sight),
            },
        };
        speech::shortened(&said)
    }

    fn say(&self, say: &[Piece], subject: Subject, sight: &Sight<'_>) -> String {
        let piece = |piece: &Piece| match piece {
            Piece::Words(w) => w.clone(),
            Piece::Name => sight.picture.name_of(subject),
            Piece::Value(m) => wording::spoken(m, self.value(m, subject, sight).as_ref()),
        };
        say.iter().map(piece).collect()
    }

    /// The order's name, whose it is unless own vessel's, and the first value of its text.
    fn what_and_value(&self, subject: Subject, sight: &Sight<'_>) -> String {
        let whose =
            if self.order.each == Whose::Own { String::new() } else { sight.picture.name_of(subject) };
        let value = self.order.text.iter().find_map(|piece| match piece {
            Piece::Value(m) => Some(wording::spoken(m, self.value(m, subject, sight).as_ref())),
            _ => None,
        });
        speech::sentences([self.order.name.as_str(), &whose, &value.unwrap_or_default()])
    }

    /// "Ship, forty degrees on the port bow, five miles. Passes a quarter of a mile ahead in twenty minutes."
    fn ship(&self, subject: Subject, sight: &Sight<'_>) -> String {
        use Quantity as Q;
        let value = |q| sight.measure(&Measure::Quantity(q), subject, None).value;
        let number = |q| value(q).as_ref().and_then(Value::number);
        let by_approach = self
            .order
            .tests
            .iter()
            .any(|t| matches!(t.measure.follows(), Some(Q::Cpa | Q::CpaLeast | Q::CpaMost)));
        let what = if by_approach { "ship" } else { self.order.name.as_str() };
        let range = number(Q::Range).map(speech::distance);
        let lost = sight.picture.last_heard(subject);
        let passes = number(Q::Cpa).zip(number(Q::Tcpa)).filter(|(_, tcpa_s)| by_approach && *tcpa_s > 0.0);
        let still = value(Q::Situation) == Some(Value::Word("stopped".to_owned()));
        let passes = passes.map(|(cpa_nm, tcpa_s)| {
            let way = match value(Q::Passing) {
                Some(Value::Word(w)) => format!(" {w}"),
                _ => String::new(),
            };
            let time = speech::time(tcpa_s);
            if cpa_nm < COLLISION_NM {
                format!("on a collision course, {time}")
            } else if still {
                format!("stopped, we pass {} off in {time}", speech::distance(cpa_nm))
            } else {
                format!("passes {}{way} in {time}", speech::distance(cpa_nm))
            }
        });
        // Of a ship that is not heard any more nobody can say what she does.
        let passes = match lost {
            Some(ago) => Some(format!("last heard {} ago", speech::time(ago.as_secs_f64()))),
            None => passes,
        };
        let line = |side: Option<String>| {
            let place: Vec<String> = [side, range.clone()].into_iter().flatten().collect();
            let place = place.join(", ");
            let ship = format!("{what}, {place}");
            let first = if by_approach { [ship.as_str(), ""] } else { [what, place.as_str()] };
            speech::sentences(first.into_iter().chain(passes.as_deref()))
        };
        let relative = number(Q::RelativeBearing);
        let exact = line(
            relative.map(|deg| speech::look(deg, None)).or_else(|| number(Q::Bearing).map(speech::bearing)),
        );
        // Rather the side alone than nothing of what she does.
        match relative {
            Some(relative) if speech::words(&exact) > ENOUGH_WORDS => {
                line(Some(speech::Side::of(relative, None).words().to_owned()))
            }
            _ => exact,
        }
    }
}
