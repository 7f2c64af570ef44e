//! Reading a file of orders: everything wrong with it is told at once, with line, column and what was expected.

mod beaufort;
mod fields;
mod file;
mod measure;
mod number;
mod order;
mod phrase;
mod source;
mod trial;

pub use file::orders;
pub use number::seconds_of_day;
pub use phrase::did_you_mean;
