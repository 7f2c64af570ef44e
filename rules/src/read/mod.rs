//! Reading a file of orders: everything wrong with it is told at once, with line, column and what was expected.
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
//! | `until` | the condition at which it is over; left out, as soon as `when` is false. Limits apart keep a value that wavers from calling twice |
//! | `worse` | where it has called and this becomes true, it calls again, once, though somebody has acknowledged: a ship that turns toward us |
//! | `held` | `when` must be true so long before it calls, and `worse` before it calls again |
//! | `over_for` | the end must be so for so long before it is over |
//! | `text` | what is told; `{name}` and any measure in braces, `{CPA}`, `{age of position}` |
//! | `only` | applies by what is declared and by the sun: `"by night"`, `"by day"`, `"under sail"`, `"under power"`, `"hove to"`, `"at anchor"`, `"moored"`, `"ocean"`, `"coastal"`, `"good visibility"`, `"restricted visibility"`. Several of a kind: any of them |
//! | `except` | does not apply while she does one of these |
//! | `signals` | signals by name; left out, all that carry its priority. Once nobody has acknowledged, all of them in any case |
//! | `patience` | it says so when it could not be judged for so long (default 10 min, or `"never"`) |
//! | `repeats` | told again at this interval while nobody acknowledges |
//! | `escalates` | goes to the skipper, and then to all hands, each time nobody has acknowledged for so long |
//! | `rests` | once acknowledged (a caution or notice: once told) it does not call anew about that subject for so long |
//! | `worst` | `"lowest TCPA"`, `"highest …"`: which of several subjects is told first |
//!
//! Undeclared or not known, an order applies: the stricter. A condition is true, false or not known, and what is
//! not known neither begins an alert nor ends one. One false makes `all` false whatever is not known besides.
//! The grammar of a condition stands at the head of `phrase`. "falls 3 hPa in 3 h" compares with the highest value
//! of the last three hours, "veers" adds the turns up along the way, "is off its mean" needs half its window.
//!
//! # Off soundings
//!
//! In the ocean an echo sounder goes blank, freezes on its last depth or takes a layer of plankton for a bottom, for
//! weeks, and none of it is a fault. Three fields keep an order about depth quiet there without making it blind:
//! `patience = "never"`, so that a blank one is not complained of; `held` of some minutes, so that a ghost has to
//! last; and `rests` of half a day, so that one that was acknowledged does not call again each dusk and dawn.
//! `ocean.toml` has such an order, as a caution; near land `coastal.toml` has another, which calls at once and
//! whose patience is a minute. Which of them applies is declared, `ocean` or `coastal`, and never guessed.
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
