//! Finds the standing orders: the file, else the last good copy, else the built-in ones.

use crate::check::{built_in_orders, read_file};
use crate::control::Reply;
use crate::files;
use record::Done;
use rules::Orders;
use std::io;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

/// How long reading the file may take: whoever asked for it waits no longer than ten seconds.
const READ: Duration = Duration::from_secs(5);

/// Orders to stand by.
pub(super) struct Found {
    pub orders: Arc<Orders>,
    /// What is wrong with the file.
    pub trouble: Option<String>,
}

/// What a file's orders are, or what is wrong with it.
pub(super) type Read = Result<Arc<Orders>, String>;

/// Reads a file's orders on a thread of their own: the watch waits for no disk.
pub(super) async fn read(path: &Path) -> Read {
    let read = |path: &Path| Ok(read_file(path, Orders::read).map(Arc::new));
    let slow = |e: io::Error| Err(format!("{}: {e}", path.display()));
    files::aside(path, READ, read).await.unwrap_or_else(slow)
}

/// Who asked for the orders to be read again. They are read once at a time, and for all who asked before that began;
/// each holds a connection of control, whose number is limited.
#[derive(Default)]
pub(super) struct Reloads {
    /// Who waits for the reading under way.
    reading: Option<Vec<Reply<Done>>>,
    /// Who asked since it began, and so waits for the next: the file may have changed.
    next: Option<Vec<Reply<Done>>>,
}

impl Reloads {
    /// Takes a wish, with where its answer goes, if anybody waits. Whether a reading must begin.
    pub fn ask(&mut self, reply: Option<Reply<Done>>) -> bool {
        let begins = self.reading.is_none();
        let of = if begins { &mut self.reading } else { &mut self.next };
        of.get_or_insert_default().extend(reply);
        begins
    }

    /// Ends the reading under way: whom its result answers, and whether another must begin.
    pub fn done(&mut self) -> (Vec<Reply<Done>>, bool) {
        let next = self.next.take();
        let again = next.is_some();
        (std::mem::replace(&mut self.reading, next).unwrap_or_default(), again)
    }
}

/// The file's orders, or others if it is bad.
pub(super) fn find(read: Read, last_good: Option<&str>) -> Found {
    let why = match read {
        Ok(orders) => return Found { orders, trouble: None },
        Err(why) => why,
    };
    let copy = last_good.and_then(|text| Orders::read("the last good copy", text).ok());
    let orders = copy.unwrap_or_else(built_in_orders);
    let trouble = Some(format!("The watch stands by other orders ({}). {why}", orders.name()));
    Found { orders: Arc::new(orders), trouble }
}
