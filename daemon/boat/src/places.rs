//! Where the installed files are.

/// Where `run` looks for the boat when it is not told.
pub const BOAT: &str = "/etc/middlewatch/boat.toml";
/// Where the standing orders lie when the boat doesn't say.
pub const ORDERS: &str = "/etc/middlewatch/orders.toml";
/// Where the logbook lies when the boat doesn't say.
pub const LOGBOOK: &str = "/var/lib/middlewatch/logbook.db";
/// Where the control socket is when the boat doesn't say.
pub const CONTROL: &str = "/run/middlewatch/control.sock";
