//! NAVTEX messages put together from their sentences.

use sentence::{NavtexIdentity, NavtexPart};
use std::time::Duration;
use terms::Moment;

/// Messages under way at once.
const MOST_MESSAGES: usize = 8;
/// Most sentences of one message (IEC 61162-1 numbers them to 999; 129 hold the longest message, from memory).
const MOST_PARTS: u16 = 200;
/// A message whose next part does not come within this is taken as it is (own choice).
const PATIENCE: Duration = Duration::from_secs(10);

/// Messages of which parts are still to come.
#[derive(Debug, Default)]
pub(super) struct Parts(Vec<Message>);

#[derive(Debug)]
struct Message {
    heard: Moment,
    sequence: Option<u8>,
    identity: Option<NavtexIdentity>,
    wrong_percent: Option<f64>,
    parts: Vec<Option<String>>,
}

/// A message as far as it came.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Whole {
    /// Who sent it, on what, and its number.
    pub identity: NavtexIdentity,
    /// Its text on one line; a mark stands for parts that never came.
    pub text: String,
    /// Characters received wrong, in per cent.
    pub wrong_percent: Option<f64>,
    /// Parts never came.
    pub incomplete: bool,
}

impl Message {
    /// Whether a part belongs to it: by the receiver's sequence number, in the older form by the identity of each part.
    fn goes_on_with(&self, part: &NavtexPart) -> bool {
        let index = usize::from(part.part) - 1;
        let same = match part.sequence {
            Some(_) => self.sequence == part.sequence,
            None => self.sequence.is_none() && self.identity == part.identity,
        };
        same && self.parts.len() == usize::from(part.parts)
            && self.parts.get(index).is_some_and(|p| p.as_ref().is_none_or(|p| *p == part.text))
            && (part.identity.is_none() || self.identity.is_none() || self.identity == part.identity)
    }

    /// `None` if the part that names it never came.
    fn whole(self) -> Option<Whole> {
        let incomplete = self.parts.iter().any(Option::is_none);
        let text: String = self.parts.into_iter().map(|p| p.unwrap_or_else(|| " […] ".to_owned())).collect();
        let text: Vec<&str> = text.split_whitespace().collect();
        Some(Whole {
            identity: self.identity?,
            text: text.join(" "),
            wrong_percent: self.wrong_percent,
            incomplete,
        })
    }
}

impl Parts {
    /// Takes a part; the message if that makes it whole. Where there is no place, the oldest goes as it is.
    pub fn take(&mut self, at: Moment, part: &NavtexPart) -> Option<Whole> {
        if part.part == 0 || part.part > part.parts || part.parts > MOST_PARTS {
            return None;
        }
        let n = match self.0.iter().position(|m| m.goes_on_with(part)) {
            Some(n) => n,
            None => {
                self.0.push(Message {
                    heard: at,
                    sequence: part.sequence,
                    identity: part.identity,
                    wrong_percent: part.wrong_percent,
                    parts: vec![None; usize::from(part.parts)],
                });
                self.0.len() - 1
            }
        };
        let message = self.0.get_mut(n)?;
        message.heard = at;
        message.identity = message.identity.or(part.identity);
        // In the older form each line has its own.
        message.wrong_percent = match (message.wrong_percent, part.wrong_percent) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        };
        *message.parts.get_mut(usize::from(part.part) - 1)? = Some(part.text.clone());
        if message.parts.iter().all(Option::is_some) {
            return self.0.remove(n).whole();
        }
        if self.0.len() > MOST_MESSAGES { self.0.remove(0).whole() } else { None }
    }

    /// When the next one is to be taken as it is.
    pub fn due(&self) -> Option<Moment> {
        self.0.iter().map(|m| m.heard + PATIENCE).min()
    }

    /// A message whose parts stopped coming.
    pub fn overdue(&mut self, at: Moment) -> Option<Whole> {
        while let Some(n) = self.0.iter().position(|m| m.heard + PATIENCE <= at) {
            if let Some(whole) = self.0.remove(n).whole() {
                return Some(whole);
            }
        }
        None
    }
}
