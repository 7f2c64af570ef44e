//! Reads a file of orders; reports everything wrong with it at once, with line, column and what was expected.
//!
//! # The language of the orders
//!
//! A file is TOML with `version = 1`, then `[[order]]`, `[[mark]]` (`name`, `position`) and `[[trial]]`. Lengths of
//! time are `"1 h 30 min"`, places `"50°06.00′N 005°12.00′W"`. An order has these fields; `name`, `priority` and `when` must be there.
//!
//! | field | says |
//! |---|---|
//! | `name` | what it is called; no two alike |
//! | `each` | about whom: `"own vessel"` (the default), `"target"`, `"feed"` |
//! | `priority` | `"alarm"`, `"warning"`, `"caution"`, or `"notice"`, which is only noted |
//! | `when` | the condition at which to call: a text, or `{ all = […] }`, `{ any = […] }`, `{ none = […] }`, which nest |
//! | `until` | when it is over (default: once `when` is false). Limits apart keep a wavering value from calling twice |
//! | `worse` | if true after a call, it calls again, once, even if acknowledged: a ship that turns toward us |
//! | `held` | how long `when` must hold before it calls, and `worse` before it calls again |
//! | `over_for` | how long the end must last before it is over |
//! | `text` | what it announces; `{name}` and any measure in braces, `{CPA}`, `{age of position}` |
//! | `say` | what a voice says, at most 20 words (default: worked out from what the order is about) |
//! | `only` | applies by what is declared and by the sun: `"by night"`, `"by day"`, `"under sail"`, `"under power"`, `"hove to"`, `"at anchor"`, `"moored"`, `"ocean"`, `"coastal"`, `"good visibility"`, `"restricted visibility"`. Several of a kind: any of them |
//! | `except` | does not apply while she does one of these |
//! | `signals` | signals by name (default: all that carry its priority). Once escalated, all of them in any case |
//! | `patience` | how long it may go unjudged before it says so (default 10 min, or `"never"`) |
//! | `repeats` | how often it repeats while unacknowledged |
//! | `escalates` | how long unacknowledged before it goes to the skipper, and as long again to all hands |
//! | `rests` | how long after acknowledgement (caution, notice: after the call) before it calls again about it |
//! | `unless` | orders that say enough: while one of them has an active alert about the same subject, it does not call about it |
//! | `worst` | `"lowest TCPA"`, `"highest …"`: which of several subjects comes first |
//!
//! Undeclared or unknown, an order applies: the stricter choice. A condition is true, false or unknown; the unknown
//! neither begins an alert nor ends one. One false makes `all` false whatever else is unknown. The grammar of a
//! condition is at the head of `phrase`. "falls 3 hPa in 3 h" compares with the highest value of the last three hours,
//! "veers" adds up the turns along the way, "is off its mean" needs half its window.
//!
//! # Off soundings
//!
//! In the ocean an echo sounder goes blank, freezes on its last depth or takes a layer of plankton for a bottom, for
//! weeks, and none of it is a fault. Three fields keep an order about depth quiet there without blinding it: `patience
//! = "never"`, so that a blank one raises no complaint; `held` of some minutes, so that a ghost must last; and `rests`
//! of half a day, so that one acknowledged does not call again each dusk and dawn. The shipped orders have such a one for
//! the ocean, as a caution, and another for coastal waters, which calls at once and has a patience of a minute. A declaration,
//! `ocean` or `coastal`, decides which applies; it is never guessed.
//!
//! # Trials
//!
//! A `[[trial]]` has a `name`, `steps`, and if wished `glide = true` (numbers go in a straight line from step to
//! step), `every` (how often all values are heard; 10 s), `utc` and `calls` (how often orders must have called by the end).
//! A step has `at`, a time since the beginning such as `"1:05"` or `"1:05:30"`, any quantities with their values
//! (`CPA = "0.4 nm"`, `position = "50°06.00′N 005°12.00′W"`, `"not known"`), and
//! `target` or `feed` (whose they are), `gone = true`, `declare`, `acknowledge`, `standing` (orders whose alerts
//! must stand then, all of them and no others).

mod beaufort;
mod file;
mod measure;
mod number;
mod order;
mod phrase;
mod trial;

pub use file::{orders, reference};
pub use phrase::did_you_mean;
