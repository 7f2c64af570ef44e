//! A declaration that the picture contradicts for long is asked about, once.

use crate::Watch;
use record::words::capital;
use rules::{BuiltIn, Declarations, Declared, Doing, Waters};
use serde::{Deserialize, Serialize};
use std::time::Duration;
use terms::{Moment, Subject, span};

/// How long the picture contradicts a declaration before it is asked about (own choice).
const LASTS: Duration = Duration::from_secs(600);
/// The contradiction is gone, or nothing is known any more, only if that lasts as long as this.
const GONE: Duration = Duration::from_secs(60);
/// Faster over the ground than an anchor drags or a boat made fast can go, in knots (common practice).
const LIES_KN: f64 = 3.0;
/// Faster than a vessel hove to drifts, in knots (common practice).
const HOVE_TO_KN: f64 = 5.0;
/// No ocean is this shallow, in metres below the transducer.
const OCEAN_M: f64 = 10.0;

/// The declarations that were asked about; each again only once it is declared again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Asked {
    doing: bool,
    waters: bool,
}

/// What contradicts the declarations.
#[derive(Debug, Default)]
pub(crate) struct Questions {
    pub asked: Asked,
    doing: Contradicted,
    waters: Contradicted,
}

/// Since when a declaration is contradicted, and when it last was.
#[derive(Debug, Default)]
struct Contradicted(Option<(Moment, Moment)>);

impl Contradicted {
    /// Takes whether it is now; returns for how long, once that is long enough to ask.
    fn weigh(&mut self, at: Moment, now: bool) -> Option<Duration> {
        self.0 = match self.0 {
            Some((since, _)) if now => Some((since, at)),
            Some((_, last)) if at.since(last) > GONE => None,
            None if now => Some((at, at)),
            same => same,
        };
        let (since, _) = self.0.filter(|_| now)?;
        Some(at.since(since)).filter(|lasted| *lasted >= LASTS)
    }
}

/// The speed over the ground that a declared doing rules out.
fn too_fast_kn(doing: Doing) -> Option<f64> {
    match doing {
        Doing::AtAnchor | Doing::Moored => Some(LIES_KN),
        Doing::HoveTo => Some(HOVE_TO_KN),
        Doing::UnderSail | Doing::UnderPower => None,
    }
}

impl Watch {
    /// Asks about declarations that have been contradicted for long.
    pub(crate) fn look_at_declarations(&mut self, at: Moment) {
        let Declarations { doing, waters, .. } = *self.board.declared();
        if doing.is_none() && waters.is_none() {
            return;
        }
        let own = self.lookout.own(at);
        let fast = doing.and_then(too_fast_kn).zip(own.sog_kn).filter(|(most, sog)| sog >= most);
        let shoal = own.depth_below_transducer_m.filter(|m| waters == Some(Waters::Ocean) && *m <= OCEAN_M);
        let q = &mut self.questions;
        let (moved, shoaled) = (q.doing.weigh(at, fast.is_some()), q.waters.weigh(at, shoal.is_some()));
        let mut asks = Vec::new();
        if let (false, Some(for_), Some((_, sog_kn)), Some(doing)) = (q.asked.doing, moved, fast, doing) {
            q.asked.doing = true;
            asks.push(format!(
                "declared {doing}, but making {sog_kn:.1} knots for {}: still {doing}?",
                span(for_)
            ));
        }
        if let (false, Some(for_), Some(m)) = (q.asked.waters, shoaled, shoal) {
            q.asked.waters = true;
            let for_ = span(for_);
            asks.push(format!(
                "declared ocean, but the sounder shows {m:.1} m for {for_}: still in the ocean?"
            ));
        }
        for words in asks {
            let words = capital(&words).into();
            self.board.follow(at, BuiltIn::DeclarationDoubtful, Subject::OwnVessel, words);
        }
    }

    /// Takes a declaration: whatever was asked about its kind is answered.
    pub(crate) fn answered(&mut self, at: Moment, declared: Declared) {
        let q = &mut self.questions;
        match declared {
            Declared::Doing(_) => (q.asked.doing, q.doing) = (false, Contradicted::default()),
            Declared::Waters(_) => (q.asked.waters, q.waters) = (false, Contradicted::default()),
            Declared::Visibility(_) => return,
        }
        if !q.asked.doing && !q.asked.waters {
            self.board.over(at, BuiltIn::DeclarationDoubtful, Subject::OwnVessel);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_contradiction_lasts_through_gaps_of_a_minute_and_no_longer() {
        let asked = |weighed: &[(i64, bool)]| {
            let mut contradicted = Contradicted::default();
            let last = weighed.iter().map(|(s, now)| contradicted.weigh(Moment(s * 1000), *now)).last();
            last.flatten().map(|lasted| lasted.as_secs())
        };
        assert_eq!(asked(&[(0, true), (599, true)]), None);
        assert_eq!(asked(&[(0, true), (600, true)]), Some(600));
        assert_eq!(asked(&[(0, true), (300, true), (360, false), (361, true), (600, true)]), Some(600));
        assert_eq!(asked(&[(0, true), (300, true), (361, false), (362, true), (961, true)]), None);
        assert_eq!(asked(&[(0, true), (300, true), (361, false), (362, true), (962, true)]), Some(600));
        assert_eq!(asked(&[(0, true), (600, true), (601, false)]), None, "nobody asks while it is gone");
    }
}
