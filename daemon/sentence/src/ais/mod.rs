//! AIS messages (ITU-R M.1371).

mod assemble;
pub(crate) mod bits;
mod decode;
mod report;
mod still;

pub(crate) use assemble::Assembler;
pub use report::{AisReport, AreaNotice, Eta, PositionSource};
