//! The orders shipped with the daemon.

/// The shipped standing orders, for a passage from the anchorage over the ocean to the next one. They stand in wherever
/// there are no others.
pub const SHIPPED: &str = include_str!("../orders/passage.toml");
