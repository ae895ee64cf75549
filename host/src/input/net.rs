//! Lines that come over the network: a TCP server we connect to, datagrams that are sent to us.

use std::io;
use std::io::Read;
use std::net::IpAddr;
use std::net::Ipv4Addr;
use std::net::Ipv6Addr;
use std::net::SocketAddr;
use std::net::TcpStream;
use std::net::ToSocketAddrs;
use std::net::UdpSocket;
use std::time::Duration;

use socket2::SockRef;
use socket2::TcpKeepalive;

use crate::input::InputError;
use crate::input::Source;
use crate::input::live::Got;
use crate::input::live::READ_FOR;

/// How long a server may take to answer.
const CONNECT_FOR: Duration = Duration::from_secs(5);

/// A server that lost its power never says good-bye: it is asked after so much silence.
const ASK_AFTER: Duration = Duration::from_secs(10);

/// A connection to a server.
#[derive(Debug)]
pub(crate) struct TcpWire {
    stream: TcpStream,
    buf: Vec<u8>,
}

impl TcpWire {
    pub(crate) fn connect(from: &Source, host: &str, port: u16) -> Result<Self, InputError> {
        let refused = |why: String| InputError::Refused { from: from.clone(), what: "connect to", why };
        let mut failure = "it has no address".to_owned();
        for address in addresses(host, port).map_err(refused)? {
            match TcpStream::connect_timeout(&address, CONNECT_FOR) {
                Ok(stream) => {
                    stream.set_read_timeout(Some(READ_FOR)).map_err(|error| refused(error.to_string()))?;
                    let ask = TcpKeepalive::new().with_time(ASK_AFTER).with_interval(ASK_AFTER / 2);
                    // Without it a dead server is noticed later, by its silence.
                    let _ = SockRef::from(&stream).set_tcp_keepalive(&ask);
                    return Ok(Self { stream, buf: vec![0; 16 << 10] });
                }
                Err(error) => failure = why_not_connected(&error),
            }
        }
        Err(refused(failure))
    }

    pub(crate) fn read(&mut self) -> Result<Got, String> {
        match self.stream.read(&mut self.buf) {
            Ok(0) => Err("the other side closed the connection".to_owned()),
            Ok(count) => Ok(Got::Bytes(self.buf[..count].to_vec())),
            Err(error) if is_only_silence(&error) => Ok(Got::Nothing),
            Err(error) => Err(format!("the connection broke: {error}")),
        }
    }
}

/// A port of ours that datagrams are sent to.
#[derive(Debug)]
pub(crate) struct UdpWire {
    socket: UdpSocket,
    buf: Vec<u8>,
}

impl UdpWire {
    pub(crate) fn bind(from: &Source, address: &str, port: u16) -> Result<Self, InputError> {
        let refused = |why: String| InputError::Refused { from: from.clone(), what: "listen at", why };
        let mut failure = "it has no address".to_owned();
        for address in addresses(address, port).map_err(refused)? {
            match listen(address) {
                Ok(socket) => return Ok(Self { socket, buf: vec![0; 64 << 10] }),
                Err(error) => failure = why_not_bound(&error, port),
            }
        }
        Err(refused(failure))
    }

    pub(crate) fn read(&mut self) -> Result<Got, String> {
        match self.socket.recv(&mut self.buf) {
            Ok(0) => Ok(Got::Nothing),
            Ok(count) => {
                let mut bytes = self.buf[..count].to_vec();
                // Some senders leave the line end to the end of the datagram. Others cut anywhere,
                // so only after a whole checksum is it a line end.
                if matches!(bytes[..], [.., b'*', high, low] if high.is_ascii_hexdigit() && low.is_ascii_hexdigit()) {
                    bytes.extend_from_slice(b"\r\n");
                }
                Ok(Got::Bytes(bytes))
            }
            Err(error) if is_only_silence(&error) => Ok(Got::Nothing),
            Err(error) => Err(format!("the port cannot be read: {error}")),
        }
    }
}

fn listen(address: SocketAddr) -> io::Result<UdpSocket> {
    let socket = UdpSocket::bind(address)?;
    match address.ip() {
        IpAddr::V4(group) if group.is_multicast() => socket.join_multicast_v4(&group, &Ipv4Addr::UNSPECIFIED)?,
        IpAddr::V6(group) if group.is_multicast() => socket.join_multicast_v6(&group, 0)?,
        _ => {}
    }
    socket.set_read_timeout(Some(READ_FOR))?;
    Ok(socket)
}

fn addresses(host: &str, port: u16) -> Result<Vec<SocketAddr>, String> {
    if let Ok(ip) = host.parse::<Ipv6Addr>() {
        return Ok(vec![SocketAddr::new(ip.into(), port)]);
    }
    let found = (host, port).to_socket_addrs();
    found.map(Iterator::collect).map_err(|error| {
        format!("the name `{host}` was not found ({error}); check its spelling and the network, or give its address")
    })
}

fn is_only_silence(error: &io::Error) -> bool {
    matches!(error.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut | io::ErrorKind::Interrupted)
}

fn why_not_connected(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::ConnectionRefused => {
            "nothing answers at that port; check the port, and that the sender is on and serves TCP".to_owned()
        }
        io::ErrorKind::TimedOut => "no answer for 5 s; check the address, and that the sender is on".to_owned(),
        io::ErrorKind::NetworkUnreachable | io::ErrorKind::HostUnreachable => {
            "there is no way to it; check that this machine is in the boat's network".to_owned()
        }
        _ => format!("{error}"),
    }
}

fn why_not_bound(error: &io::Error, port: u16) -> String {
    match error.kind() {
        io::ErrorKind::AddrInUse => format!(
            "another program on this machine listens at port {port} already; end it, or have the sender use another port"
        ),
        io::ErrorKind::AddrNotAvailable => {
            "this machine has no such address; the address is our own, and 0.0.0.0 stands for all of them".to_owned()
        }
        io::ErrorKind::PermissionDenied => "the system allows ports below 1024 only to its administrator".to_owned(),
        _ => format!("{error}"),
    }
}
