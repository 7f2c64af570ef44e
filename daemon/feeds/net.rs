//! Sockets as feeds.

use nix::sys::socket::sockopt::RxqOvfl;
use nix::sys::socket::{ControlMessageOwned, MsgFlags, recvmsg, setsockopt};
use socket2::{Domain, Protocol, Socket, TcpKeepalive, Type};
use std::io::{self, IoSliceMut};
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::os::fd::AsRawFd;
use std::time::Duration;
use tokio::io::Interest;
use tokio::net::{TcpStream, UdpSocket};

/// How long a server may take to accept.
const CONNECT: Duration = Duration::from_secs(10);

/// Connects to host:port, trying each address of the name. Keep-alive probes find a peer that died silently.
pub(crate) async fn connect(address: &str) -> io::Result<TcpStream> {
    let late = || {
        io::Error::new(
            io::ErrorKind::TimedOut,
            format!("{address} did not answer in {} s", CONNECT.as_secs()),
        )
    };
    let stream = tokio::time::timeout(CONNECT, TcpStream::connect(address)).await.map_err(|_| late())??;
    let keepalive =
        TcpKeepalive::new().with_time(Duration::from_secs(15)).with_interval(Duration::from_secs(5));
    socket2::SockRef::from(&stream).set_tcp_keepalive(&keepalive)?;
    Ok(stream)
}

/// Datagrams that arrive at an address.
#[derive(Debug)]
pub struct Datagrams {
    socket: UdpSocket,
    /// Room for the kernel's count of what it dropped.
    control: Vec<u8>,
    /// The kernel's count as last read; it wraps.
    counted: u32,
    dropped: u64,
}

impl Datagrams {
    /// Listens at an address. Its datagrams are this socket's alone: on Linux, of two sockets that share an address
    /// the younger gets all that is sent to it, and the elder nothing. What is sent to a group or to a broadcast
    /// address reaches every socket there as a copy, so only those addresses are shared with other programs.
    ///
    /// With a group, hears what is sent to that group, and nothing else.
    ///
    /// # Errors
    /// That another socket has the port, or what the system says.
    pub(super) fn bind(
        bind: SocketAddr,
        group: Option<Ipv4Addr>,
        interface: Option<Ipv4Addr>,
    ) -> io::Result<Self> {
        let named = match bind.ip() {
            IpAddr::V4(ip) if ip.is_multicast() => Some(ip),
            _ => None,
        };
        let group = group.or(named);
        let address = group.map_or(bind, |group| SocketAddr::new(group.into(), bind.port()));
        let socket = Socket::new(Domain::for_address(address), Type::DGRAM, Some(Protocol::UDP))?;
        socket.set_reuse_address(group.is_some() || is_broadcast(address))?;
        socket.set_nonblocking(true)?;
        setsockopt(&socket, RxqOvfl, &1)?;
        socket.bind(&address.into()).map_err(|e| refused(address, e))?;
        if let Some(group) = group {
            let on = interface.unwrap_or(match bind.ip() {
                IpAddr::V4(ip) if !ip.is_multicast() => ip,
                _ => Ipv4Addr::UNSPECIFIED,
            });
            socket.join_multicast_v4(&group, &on)?;
        }
        let socket = UdpSocket::from_std(socket.into())?;
        Ok(Self { socket, control: nix::cmsg_space!(u32), counted: 0, dropped: 0 })
    }

    /// Reads one datagram; what does not fit is cut off.
    ///
    /// # Errors
    /// What the system says.
    pub(super) async fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let (socket, control) = (&self.socket, &mut self.control);
        let receive = || {
            let mut pieces = [IoSliceMut::new(into)];
            let got = recvmsg::<()>(socket.as_raw_fd(), &mut pieces, Some(control), MsgFlags::empty())?;
            let count = got.cmsgs()?.find_map(|c| match c {
                ControlMessageOwned::RxqOvfl(count) => Some(count),
                _ => None,
            });
            Ok((got.bytes, count))
        };
        let (n, count) = socket.async_io(Interest::READABLE, receive).await?;
        // The kernel gives no count before the first loss.
        if let Some(count) = count {
            self.dropped += u64::from(count.wrapping_sub(self.counted));
            self.counted = count;
        }
        Ok(n)
    }

    /// Datagrams that the kernel dropped before the last one read, because nobody read them in time.
    pub(super) const fn dropped(&self) -> u64 {
        self.dropped
    }
}

/// Whether an address is a broadcast address, as the kernel's routes have it: it refuses to connect to one a socket that
/// has not asked to broadcast (ip(7)). Nothing is sent.
fn is_broadcast(address: SocketAddr) -> bool {
    let connected = || std::net::UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0))?.connect(address);
    address.is_ipv4() && connected().is_err_and(|e| e.kind() == io::ErrorKind::PermissionDenied)
}

/// Why an address cannot be listened on, and what to do.
fn refused(address: SocketAddr, e: io::Error) -> io::Error {
    let port = address.port();
    let why = match e.kind() {
        io::ErrorKind::AddrInUse => format!(
            "UDP port {port} is taken by another program or another feed; `ss -lunp` names it: stop it, or let the \
             sentences come to another port"
        ),
        io::ErrorKind::AddrNotAvailable => {
            format!("this computer does not have the address {}", address.ip())
        }
        _ => format!("{address}: {e}"),
    };
    io::Error::new(e.kind(), why)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// A socket as a program has it that means to share a port at any price.
    fn grasping(address: SocketAddr) -> io::Result<std::net::UdpSocket> {
        let socket = Socket::new(Domain::for_address(address), Type::DGRAM, Some(Protocol::UDP))?;
        socket.set_reuse_address(true)?;
        socket.set_reuse_port(true)?;
        socket.bind(&address.into())?;
        Ok(socket.into())
    }

    fn at(ip: Ipv4Addr, port: u16) -> SocketAddr {
        SocketAddr::new(ip.into(), port)
    }

    const GROUP: Ipv4Addr = Ipv4Addr::new(239, 192, 0, 77);
    /// Broadcast on the loopback interface.
    const EVERYBODY: Ipv4Addr = Ipv4Addr::new(127, 255, 255, 255);

    /// A port that is free at this moment.
    fn free() -> u16 {
        std::net::UdpSocket::bind("0.0.0.0:0").unwrap().local_addr().unwrap().port()
    }

    async fn next(from: &mut Datagrams) -> String {
        let mut chunk = [0; 100];
        let n = tokio::time::timeout(Duration::from_secs(20), from.read(&mut chunk)).await.unwrap().unwrap();
        String::from_utf8(chunk[..n].to_vec()).unwrap()
    }

    #[tokio::test]
    async fn nobody_takes_a_port_that_is_listened_on() {
        for ip in [Ipv4Addr::UNSPECIFIED, Ipv4Addr::LOCALHOST] {
            let mut ours = Datagrams::bind(at(ip, 0), None, None).unwrap();
            let port = ours.socket.local_addr().unwrap().port();
            for theirs in [Ipv4Addr::UNSPECIFIED, Ipv4Addr::LOCALHOST] {
                let refused = grasping(at(theirs, port)).unwrap_err();
                assert_eq!(refused.kind(), io::ErrorKind::AddrInUse, "{ip}, {theirs}");
            }
            let refused = Datagrams::bind(at(ip, port), None, None).unwrap_err();
            assert!(refused.to_string().contains(&format!("UDP port {port} is taken by another program")));
            let sender = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
            sender.send_to(b"ours", ("127.0.0.1", port)).unwrap();
            assert_eq!(next(&mut ours).await, "ours");
        }
    }

    #[tokio::test]
    async fn a_port_that_others_share_already_is_refused() {
        let there = grasping(at(Ipv4Addr::UNSPECIFIED, 0)).unwrap();
        let port = there.local_addr().unwrap().port();
        assert!(Datagrams::bind(at(Ipv4Addr::UNSPECIFIED, port), None, None).is_err());
    }

    #[tokio::test]
    async fn groups_and_broadcasts_are_shared_and_all_get_a_copy() {
        let sender = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
        sender.set_broadcast(true).unwrap();
        let multicast = socket2::SockRef::from(&sender);
        multicast.set_multicast_if_v4(&Ipv4Addr::LOCALHOST).unwrap();
        multicast.set_multicast_loop_v4(true).unwrap();
        for shared in [GROUP, EVERYBODY] {
            let port = free();
            let bind = if shared == GROUP { at(Ipv4Addr::UNSPECIFIED, port) } else { at(shared, port) };
            let group = (shared == GROUP).then_some(GROUP);
            let listen = || Datagrams::bind(bind, group, Some(Ipv4Addr::LOCALHOST)).unwrap();
            let (mut first, mut second) = (listen(), listen());
            // Whoever comes last and wants all of the port, on its own address too.
            let _there = grasping(at(Ipv4Addr::UNSPECIFIED, port)).unwrap();
            sender.send_to(b"for all", (shared, port)).unwrap();
            assert_eq!(next(&mut first).await, "for all");
            assert_eq!(next(&mut second).await, "for all");
        }
        assert!(!is_broadcast(at(Ipv4Addr::LOCALHOST, 1)) && !is_broadcast(at(Ipv4Addr::UNSPECIFIED, 1)));
    }

    /// What the kernel drops while nobody reads is known with the next datagram.
    #[tokio::test]
    async fn what_the_kernel_drops_is_counted() {
        let mut ours = Datagrams::bind(at(Ipv4Addr::LOCALHOST, 0), None, None).unwrap();
        let address = ours.socket.local_addr().unwrap();
        // The least that the kernel allows (socket(7)).
        socket2::SockRef::from(&ours.socket).set_recv_buffer_size(1).unwrap();
        let sender = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
        const SENT: u64 = 500;
        let mut read = 0;
        for _ in 0..2 {
            for _ in 0..SENT {
                sender.send_to(b"$IIHDT,123.4,T*2A\r\n", address).unwrap();
            }
            sender.send_to(b"last of what fits", address).unwrap();
            let mut chunk = [0; 100];
            while let Some(Ok(_)) = at_once(ours.read(&mut chunk)).await {
                read += 1;
            }
            sender.send_to(b"after", address).unwrap();
            assert_eq!(next(&mut ours).await, "after");
            read += 1;
        }
        assert_eq!(read + ours.dropped(), 2 * (SENT + 2));
        assert!(ours.dropped() > SENT, "{}", ours.dropped());
    }

    /// What is ready within a moment.
    async fn at_once<T>(what: impl Future<Output = T>) -> Option<T> {
        tokio::time::timeout(Duration::from_millis(50), what).await.ok()
    }
}
