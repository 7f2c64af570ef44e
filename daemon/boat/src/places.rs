//! Default paths of the installed files.

/// The boat file that `run` reads by default.
pub const BOAT: &str = "/etc/middlewatch/boat.toml";
/// The standing orders, if the boat names no file.
pub const ORDERS: &str = "/etc/middlewatch/orders.toml";
/// The logbook, if the boat names no file.
pub const LOGBOOK: &str = "/var/lib/middlewatch/logbook.db";
/// The control socket, if the boat names none.
pub const CONTROL: &str = "/run/middlewatch/control.sock";
