//! Finds the standing orders: the file, else the last good copy, else the built-in ones.

use crate::check::{built_in_orders, read_file};
use rules::Orders;
use std::path::Path;
use std::sync::Arc;

/// Orders to stand by.
pub(super) struct Found {
    pub orders: Arc<Orders>,
    /// What is wrong with the file.
    pub trouble: Option<String>,
}

/// Reads a file's orders.
pub(super) fn read(path: &Path) -> Result<Arc<Orders>, String> {
    read_file(path, Orders::read).map(Arc::new)
}

/// The file's orders, or others if it is bad.
pub(super) fn find(path: &Path, last_good: Option<&str>) -> Found {
    let why = match read(path) {
        Ok(orders) => return Found { orders, trouble: None },
        Err(why) => why,
    };
    let copy = last_good.and_then(|text| Orders::read("the last good copy", text).ok());
    let orders = copy.unwrap_or_else(built_in_orders);
    let trouble = Some(format!("The watch stands by other orders ({}). {why}", orders.name()));
    Found { orders: Arc::new(orders), trouble }
}
