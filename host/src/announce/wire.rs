//! What a sink writes to.

use std::io;
use std::io::Write;
use std::net::Ipv6Addr;
use std::net::SocketAddr;
use std::net::ToSocketAddrs;
use std::net::UdpSocket;
use std::time::Duration;

use serialport::SerialPort;

use crate::announce::Sink;

/// A sentence takes 0.2 s at 4800 baud; a line that does not take one in so long is broken.
const WRITE_FOR: Duration = Duration::from_secs(2);

/// A sink that is open.
pub(super) enum Wire {
    Serial(Box<dyn SerialPort>),
    Udp(UdpSocket),
}

impl Wire {
    pub(super) fn open(sink: &Sink) -> Result<Self, String> {
        match sink {
            Sink::Serial { device, baud } => {
                let port = serialport::new(device, *baud).timeout(WRITE_FOR).open();
                port.map(Self::Serial).map_err(|error| {
                    format!(
                        "{error}; check the device and that nothing else uses it: it cannot be listened to at the \
                         same time"
                    )
                })
            }
            Sink::Udp { host, port } => udp(host, *port).map(Self::Udp),
        }
    }

    pub(super) fn send(&mut self, bytes: &[u8]) -> Result<(), String> {
        match self {
            Self::Serial(port) => {
                port.write_all(bytes).map_err(|error| format!("the adapter takes nothing ({error}); plug it in again"))
            }
            Self::Udp(socket) => match socket.send(bytes) {
                Ok(_) => Ok(()),
                // The answer to the one before: nobody listened then. Whether anybody does is the
                // listener's business; this one is sent all the same.
                Err(error) if error.kind() == io::ErrorKind::ConnectionRefused => {
                    socket.send(bytes).map(|_| ()).map_err(|error| lost(&error))
                }
                Err(error) => Err(lost(&error)),
            },
        }
    }
}

fn lost(error: &io::Error) -> String {
    format!("the network takes nothing ({error}); check that this machine is in the boat's network")
}

fn udp(host: &str, port: u16) -> Result<UdpSocket, String> {
    let addresses: Vec<SocketAddr> = match host.parse::<Ipv6Addr>() {
        Ok(ip) => vec![SocketAddr::new(ip.into(), port)],
        Err(_) => (host, port)
            .to_socket_addrs()
            .map_err(|error| format!("the name `{host}` was not found ({error}); check it, or give its address"))?
            .collect(),
    };
    let mut why = "it has no address".to_owned();
    for address in addresses {
        let ours = if address.is_ipv4() { "0.0.0.0:0" } else { "[::]:0" };
        let open = || {
            let socket = UdpSocket::bind(ours)?;
            if address.is_ipv4() {
                socket.set_broadcast(true)?;
            }
            socket.connect(address)?;
            Ok::<_, io::Error>(socket)
        };
        match open() {
            Ok(socket) => return Ok(socket),
            Err(error) => why = lost(&error),
        }
    }
    Err(why)
}
