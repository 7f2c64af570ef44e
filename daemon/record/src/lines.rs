//! What comes by the feeds, for those who look through the running watch.

use serde::{Deserialize, Serialize};

/// A feed of the running watch.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HeldFeed {
    /// Its name.
    pub feed: String,
    /// Where its bytes come from, as `listen` takes it: `serial:/dev/ttyUSB0@4800`.
    pub source: String,
    /// "up", "ended", or "down: why"; empty before it was first opened.
    pub state: String,
}

impl HeldFeed {
    /// Whether this is what somebody asks for: `feed:NAME`, or a source.
    pub fn is(&self, asked: &str) -> bool {
        asked == self.source || asked.strip_prefix("feed:") == Some(&self.feed)
    }
}

/// The first line of the stream: the feeds that it shows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HeldFeeds {
    /// In the order of `boat.toml`.
    pub feeds: Vec<HeldFeed>,
}

/// A further line of the stream: what has come by one feed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Piece {
    /// The feed's name.
    pub feed: String,
    /// The bytes, each as the letter of its number (ISO 8859-1), so that none is lost whatever came.
    pub bytes: String,
    /// Pieces of this feed left out so far, because whoever looks reads too slowly.
    pub lost: u64,
}

impl Piece {
    /// What has come by a feed.
    pub fn new(feed: &str, bytes: &[u8], lost: u64) -> Self {
        Self { feed: feed.to_owned(), bytes: bytes.iter().map(|&b| char::from(b)).collect(), lost }
    }

    /// The bytes as they came.
    pub fn bytes(&self) -> Vec<u8> {
        // A letter beyond them was never a byte.
        self.bytes.chars().filter_map(|c| u8::try_from(c).ok()).collect()
    }
}
