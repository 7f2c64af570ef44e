//! What the board asks of the watch: the lookout's picture, and words for what no order raised.

use crate::alert::Origin;
use crate::words::Words;
use std::time::Duration;
use terms::{Dimension, FeedId, Position, Quantity, Reading, Subject, Utc, Whose};

/// The picture at one moment, as orders see it.
pub trait Picture {
    /// The last value of a quantity and when it was heard; of TCPA and the like the value as of this moment.
    fn reading(&self, subject: Subject, quantity: Quantity) -> Reading;

    /// A named transducer's dimension and reading, in that dimension's own unit; `None` when never heard.
    fn transducer(&self, name: &str) -> Option<(Dimension, Reading)>;

    /// All subjects of a kind, in a fixed order.
    fn subjects(&self, whose: Whose) -> Vec<Subject>;

    /// What to call a subject in a text.
    fn name_of(&self, subject: Subject) -> String;

    /// The feed that a subject is known by; `None` for what no feed brings, or where it makes no difference.
    fn feed_of(&self, _subject: Subject) -> Option<FeedId> {
        None
    }

    /// Whether a subject lies still: made fast, at anchor, or at rest. Those who do are announced apart from those who move.
    fn lies_still(&self, _subject: Subject) -> bool {
        false
    }

    /// Whether a subject's reports have stopped or never came: that nothing can be judged about it is no failing then.
    fn is_out_of_hearing(&self, _subject: Subject) -> bool {
        false
    }

    /// How long ago a subject reported last whose reports have stopped; `None` while it is heard.
    fn last_heard(&self, _subject: Subject) -> Option<Duration> {
        None
    }

    /// UTC, if known.
    fn utc(&self) -> Option<Utc>;

    /// Own position, if known.
    fn position(&self) -> Option<Position>;

    /// Where the anchor lies, if that is known better than by where she lay when she was declared at anchor.
    fn anchor(&self) -> Option<Position> {
        None
    }

    /// The words as of now for an alert that continues and that no order raised: a built-in one or an exercise. `None` if
    /// there is nothing to say beyond its last words.
    fn says(&self, _origin: &Origin, _about: Subject) -> Option<Words> {
        None
    }
}
