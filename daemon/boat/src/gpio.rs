//! Where a GPIO line is.

use std::path::PathBuf;

/// Where a line is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum GpioLine {
    /// On a chip.
    Chip {
        /// Its device, like `/dev/gpiochip0`.
        chip: PathBuf,
        /// The line's number on it.
        line: u32,
        /// Active is the low level.
        active_low: bool,
    },
    /// On paper. An output appends its steady time in milliseconds and its level, one change a line; an input is a named
    /// pipe of the digits 0 and 1, or for a sense line a file with one of them.
    Recorded(PathBuf),
}

impl std::fmt::Display for GpioLine {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Chip { chip, line, .. } => write!(f, "{} line {line}", chip.display()),
            Self::Recorded(path) => write!(f, "{}", path.display()),
        }
    }
}
