//! The same AIS message heard twice: by two receivers, or once more from a repeater.

use rustc_hash::FxHasher;
use sentence::ais::AisReport;
use std::hash::{Hash, Hasher};
use std::time::Duration;
use terms::{FeedId, Moment};

/// Two receivers hear one message within this.
const WITHIN: Duration = Duration::from_secs(4);
/// Two receivers on one wire deliver it within this.
const AT_ONCE: Duration = Duration::from_secs(1);
/// A repeater sends it again within this.
const REPEATED_WITHIN: Duration = Duration::from_secs(30);
/// How many of a target's messages are remembered.
const REMEMBERED: usize = 6;

/// A target's last messages by their content.
#[derive(Debug, Clone, Default)]
pub(crate) struct Recent {
    heard: [Option<(u64, Moment, FeedId)>; REMEMBERED],
    next: usize,
}

impl Recent {
    /// Whether a message was heard already; remembers it if not. No station sends one second's report twice; without
    /// the second, a receiver that hears the same again has heard another message, unless it comes at once (two
    /// receivers on one wire).
    pub fn is_repetition(&mut self, at: Moment, feed: FeedId, report: &AisReport) -> bool {
        let content = content(report);
        let known = self.heard.iter().flatten().any(|&(h, then, by)| {
            let within = match report.utc_second {
                _ if report.repeat > 0 => REPEATED_WITHIN,
                None if by == feed => AT_ONCE,
                _ => WITHIN,
            };
            h == content && at.since(then) <= within
        });
        if !known {
            if let Some(place) = self.heard.get_mut(self.next) {
                *place = Some((content, at, feed));
            }
            self.next = (self.next + 1) % REMEMBERED;
        }
        known
    }
}

/// What a message says, whoever relayed it and on whichever channel.
fn content(r: &AisReport) -> u64 {
    let mut h = FxHasher::default();
    let bits = |v: Option<f64>| v.map(f64::to_bits);
    (r.message, r.part, r.nav_status, r.heading_deg, r.utc_second, r.ship_type).hash(&mut h);
    let position = r.position.map(|p| (p.latitude_deg().to_bits(), p.longitude_deg().to_bits()));
    (position, bits(r.sog_kn), bits(r.cog_deg), bits(r.rate_of_turn_deg_min)).hash(&mut h);
    (&r.name, &r.call_sign, &r.destination, &r.text, r.dimension_a_m, r.dimension_b_m).hash(&mut h);
    h.finish()
}
