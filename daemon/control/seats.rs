//! Seats for connections: the most in all and for each peer, and who gives way once all are taken.

use std::net::{IpAddr, Ipv6Addr};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::timeout;

/// Time limit for the head of a request, from the moment the connection is accepted: a boat's own network brings one
/// in milliseconds.
pub(super) const HEAD: Duration = Duration::from_secs(2);
/// Time limit for a request's body and for whatever comes before the watch is asked. Longer than the limits inside it,
/// which answer in words.
const BODY: Duration = Duration::from_secs(14);
/// Time limit for the answer of the watch, likewise.
const ASKED: Duration = Duration::from_secs(12);
/// A client that has not taken its whole answer by then is cut off.
const READING: Duration = Duration::from_secs(5);

/// Whom connections are counted for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Peer {
    /// A user at the Unix socket; `None` if the kernel does not say which.
    User(Option<u32>),
    /// An address. Of IPv6 the first 64 bits: one computer may use all addresses of its network (RFC 4291, section 2.5.4).
    Address(IpAddr),
}

impl Peer {
    /// The peer at a remote address.
    pub fn at(address: IpAddr) -> Self {
        Self::Address(match address.to_canonical() {
            IpAddr::V6(v6) => IpAddr::V6(Ipv6Addr::from_bits(v6.to_bits() >> 64 << 64)),
            v4 @ IpAddr::V4(_) => v4,
        })
    }
}

/// How many seats there are.
#[derive(Debug, Clone, Copy)]
pub(super) struct Limits {
    /// Connections in all.
    pub all: usize,
    /// Connections of one peer.
    pub each: usize,
    /// Streams in all; each takes one of the connections.
    pub streams: usize,
    /// Streams of one peer.
    pub streams_each: usize,
}

/// Where a connection stands. Those that come first give way first; one whose question is with the watch never does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Phase {
    /// The head of the request has not come.
    Head,
    /// Its body has not come.
    Body,
    /// The client reads the answer.
    Reading,
    /// A stream.
    Streaming,
    /// The watch was asked.
    Asked,
    /// To be closed.
    Over,
}

impl Phase {
    /// How long it may last; `None` for a stream.
    const fn limit(self) -> Option<Duration> {
        match self {
            Self::Head => Some(HEAD),
            Self::Body => Some(BODY),
            Self::Reading => Some(READING),
            Self::Asked => Some(ASKED),
            Self::Over => Some(Duration::ZERO),
            Self::Streaming => None,
        }
    }
}

/// One taken seat as the room sees it.
#[derive(Debug)]
struct Taken {
    number: u64,
    peer: Peer,
    phase: watch::Sender<Phase>,
}

/// All seats of a listener, the oldest first.
#[derive(Debug)]
pub(super) struct Room {
    limits: Limits,
    taken: Mutex<Vec<Taken>>,
    next: AtomicU64,
}

/// A connection's seat, free again once dropped.
#[derive(Debug)]
pub(super) struct Seat {
    room: Arc<Room>,
    number: u64,
    peer: Peer,
    phase: watch::Sender<Phase>,
}

impl Room {
    pub fn new(limits: Limits) -> Arc<Self> {
        Arc::new(Self { limits, taken: Mutex::default(), next: AtomicU64::new(0) })
    }

    /// A seat for a new connection. A peer with all of its seats taken loses its oldest connection for it; in a full room
    /// the peer with the most connections does, if it has more than the newcomer. `None` if nobody gives way.
    pub fn admit(self: &Arc<Self>, peer: Peer) -> Option<Seat> {
        let mut taken = self.lock();
        let mine = count(&taken, peer);
        if mine >= self.limits.each {
            give_way(&mut taken, |t| t.peer == peer && phase(t) < Phase::Asked)?;
        } else if taken.len() >= self.limits.all {
            let of = |t: &Taken| count(&taken, t.peer);
            let may = taken.iter().filter(|t| of(t) > mine && phase(t) < Phase::Asked);
            let greediest = may.max_by_key(|t| of(t))?.peer;
            give_way(&mut taken, |t| t.peer == greediest && phase(t) < Phase::Asked)?;
        }
        let number = self.next.fetch_add(1, Ordering::Relaxed);
        let seat = Seat { room: self.clone(), number, peer, phase: watch::Sender::new(Phase::Head) };
        taken.push(Taken { number, peer, phase: seat.phase.clone() });
        Some(seat)
    }

    fn lock(&self) -> MutexGuard<'_, Vec<Taken>> {
        // Nothing that can panic half-way runs under this lock.
        self.taken.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn phase(taken: &Taken) -> Phase {
    *taken.phase.borrow()
}

fn count(taken: &[Taken], peer: Peer) -> usize {
    taken.iter().filter(|t| t.peer == peer).count()
}

/// Ends the connection that gives way first of some, the oldest of its phase. `None` if there is none.
fn give_way(taken: &mut Vec<Taken>, of: impl Fn(&Taken) -> bool) -> Option<()> {
    let (at, _) = taken.iter().enumerate().filter(|(_, t)| of(t)).min_by_key(|(at, t)| (phase(t), *at))?;
    taken.remove(at).phase.send_replace(Phase::Over);
    Some(())
}

impl Seat {
    /// The head of the request has come.
    pub fn head_came(&self) {
        self.go(Phase::Body);
    }

    /// The watch is asked.
    pub fn asks(&self) {
        self.go(Phase::Asked);
    }

    /// The answer goes out, unless it is a stream.
    pub fn answers(&self) {
        if *self.phase.borrow() != Phase::Streaming {
            self.go(Phase::Reading);
        }
    }

    /// The answer becomes a stream. In a room full of streams the peer with the most of them loses its oldest, if it has
    /// at least two more than this one.
    ///
    /// # Errors
    /// If there are too many, in words.
    pub fn streams(&self) -> Result<(), String> {
        let mut taken = self.room.lock();
        let limits = self.room.limits;
        let is_stream = |t: &Taken| phase(t) == Phase::Streaming;
        let of = |peer: Peer| taken.iter().filter(|t| t.peer == peer && is_stream(t)).count();
        let mine = of(self.peer);
        if mine >= limits.streams_each {
            return Err(format!("{mine} pages look on from here already; close one"));
        }
        let all = taken.iter().filter(|t| is_stream(t)).count();
        if all >= limits.streams {
            let full = || format!("{all} pages look on already; close one");
            let greedy = taken.iter().filter(|t| is_stream(t)).map(|t| t.peer).max_by_key(|p| of(*p));
            let greedy = greedy.filter(|p| of(*p) > mine + 1).ok_or_else(full)?;
            give_way(&mut taken, |t| t.peer == greedy && is_stream(t)).ok_or_else(full)?;
        }
        self.go(Phase::Streaming);
        Ok(())
    }

    /// Closes the connection.
    pub fn end(&self) {
        self.phase.send_replace(Phase::Over);
    }

    /// Waits until the connection must be closed: its time is up, or it gives way.
    pub async fn over(&self) {
        let mut phase = self.phase.subscribe();
        loop {
            let now = *phase.borrow_and_update();
            // The sender is this seat's own, so that a change is all that can come.
            match now.limit() {
                Some(limit) if timeout(limit, phase.changed()).await.is_err() => return,
                Some(_) => {}
                None => drop(phase.changed().await),
            }
        }
    }

    /// Goes on to another phase, but never back from the end.
    fn go(&self, to: Phase) {
        self.phase.send_if_modified(|phase| {
            let goes = *phase != Phase::Over;
            if goes {
                *phase = to;
            }
            goes
        });
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        self.room.lock().retain(|t| t.number != self.number);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: Limits = Limits { all: 6, each: 4, streams: 4, streams_each: 3 };

    fn peer(n: u8) -> Peer {
        Peer::at(IpAddr::from([10, 0, 0, n]))
    }

    fn is_over(seat: &Seat) -> bool {
        *seat.phase.borrow() == Phase::Over
    }

    #[test]
    fn addresses_of_one_network_are_one_peer() {
        let at = |text: &str| Peer::at(text.parse().unwrap());
        assert_eq!(at("2001:db8::1"), at("2001:db8::ffff:1"));
        assert_ne!(at("2001:db8::1"), at("2001:db8:0:1::1"));
        assert_eq!(at("::ffff:10.0.0.1"), at("10.0.0.1"));
        assert_ne!(at("10.0.0.1"), at("10.0.0.2"));
    }

    #[test]
    fn the_oldest_half_open_connection_of_a_peer_gives_way_to_its_next() {
        let room = Room::new(LIMITS);
        let mut seats: Vec<Seat> = (0..4).map(|_| room.admit(peer(1)).unwrap()).collect();
        seats[0].head_came();
        seats.push(room.admit(peer(1)).unwrap());
        assert_eq!(seats.iter().map(is_over).collect::<Vec<_>>(), [false, true, false, false, false]);
        assert_eq!(room.lock().len(), 4);
        // Whose question is with the watch keeps the seat.
        seats.iter().for_each(Seat::asks);
        assert!(is_over(&seats[1]), "what is over stays over");
        assert!(room.admit(peer(1)).is_none());
        assert!(room.admit(peer(2)).is_some());
        drop(seats);
        assert!(room.admit(peer(1)).is_some());
    }

    #[test]
    fn in_a_full_room_the_greediest_gives_way_to_one_that_holds_less() {
        let room = Room::new(LIMITS);
        let crowd: Vec<Seat> = [1, 2, 2, 2, 2, 3].map(|n| room.admit(peer(n)).unwrap()).into();
        let fourth = room.admit(peer(4)).unwrap();
        assert_eq!(crowd.iter().map(is_over).collect::<Vec<_>>(), [false, true, false, false, false, false]);
        for seat in &crowd {
            seat.asks();
        }
        let fifth = room.admit(peer(5)).unwrap();
        assert!(is_over(&fourth), "the only one whose question is not with the watch");
        fifth.asks();
        assert!(room.admit(peer(6)).is_none(), "nobody gives way whose question is with the watch");
    }

    #[test]
    fn streams_are_bounded_for_each_peer_and_in_all() {
        let room = Room::new(Limits { all: 20, each: 10, ..LIMITS });
        let stream = |n| {
            let seat = room.admit(peer(n)).unwrap();
            let outcome = seat.streams();
            outcome.map(|()| seat)
        };
        let one: Vec<Seat> = (0..3).map(|_| stream(1).unwrap()).collect();
        assert!(stream(1).unwrap_err().contains("3 pages look on from here"));
        let _two = stream(2).unwrap();
        // Full: the first of those with three gives way to a peer that has none.
        let _three = stream(3).unwrap();
        assert_eq!(one.iter().map(is_over).collect::<Vec<_>>(), [true, false, false]);
        let _four = stream(4).unwrap();
        assert!(stream(5).unwrap_err().contains("4 pages look on already"), "all have one: nobody gives way");
    }
}
