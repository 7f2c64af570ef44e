//! Sockets as feeds.

use socket2::{Domain, Protocol, Socket, TcpKeepalive, Type};
use std::io;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::time::Duration;
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

/// A socket that hears datagrams to its address, to the broadcast address and, if configured, to a group. Other
/// listeners on this computer may share the port.
pub(super) fn bind(
    bind: SocketAddr,
    group: Option<Ipv4Addr>,
    interface: Option<Ipv4Addr>,
) -> io::Result<UdpSocket> {
    let socket = Socket::new(Domain::for_address(bind), Type::DGRAM, Some(Protocol::UDP))?;
    socket.set_reuse_address(true)?;
    socket.set_nonblocking(true)?;
    socket.bind(&bind.into())?;
    if let Some(group) = group {
        let on = interface.unwrap_or(match bind.ip() {
            IpAddr::V4(ip) if !ip.is_multicast() => ip,
            _ => Ipv4Addr::UNSPECIFIED,
        });
        socket.join_multicast_v4(&group, &on)?;
    }
    UdpSocket::from_std(socket.into())
}
