//! The orders shipped with the daemon.

/// Name and text of each shipped file.
pub const SHIPPED: [(&str, &str); 3] = [
    ("ocean.toml", include_str!("../orders/ocean.toml")),
    ("coastal.toml", include_str!("../orders/coastal.toml")),
    ("at-anchor.toml", include_str!("../orders/at-anchor.toml")),
];
