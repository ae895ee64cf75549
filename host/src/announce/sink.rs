//! What a person types to name where alerts are announced.

use std::fmt;
use std::net::Ipv6Addr;
use std::str::FromStr;

/// Where alerts are announced: `udp:HOST:PORT` or `serial:DEVICE[?baud=N]`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Sink {
    /// Datagrams, one for each sentence.
    Udp {
        /// Name or address, without brackets.
        host: String,
        /// Port.
        port: u16,
    },
    /// A serial adapter.
    Serial {
        /// The device, such as `/dev/ttyUSB1`.
        device: String,
        /// Its speed in baud.
        baud: u32,
    },
}

/// Why there is no sink.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SinkError {
    /// The text names none: the owner's typing.
    #[error(
        "`{0}` is no place to announce alerts at: udp:HOST:PORT or serial:DEVICE?baud=N was expected. Example: \
         udp:192.168.4.255:10110 or serial:/dev/ttyUSB1"
    )]
    NoSink(String),
    /// It cannot be opened.
    #[error("cannot announce alerts at {sink}: {why}")]
    Refused {
        /// Where.
        sink: Sink,
        /// Why not, with the remedy.
        why: String,
    },
}

/// The speed of NMEA 0183.
const USUAL_BAUD: u32 = 4800;

impl FromStr for Sink {
    type Err = SinkError;

    fn from_str(text: &str) -> Result<Self, SinkError> {
        let wrong = || SinkError::NoSink(text.to_owned());
        match text.split_once(':') {
            Some(("udp", rest)) => {
                let (host, port) = rest.rsplit_once(':').ok_or_else(wrong)?;
                let port = port.parse().ok().filter(|port| *port > 0).ok_or_else(wrong)?;
                let inner = host.strip_prefix('[').and_then(|host| host.strip_suffix(']'));
                let good = match inner {
                    Some(inner) => inner.parse::<Ipv6Addr>().is_ok(),
                    None => !host.is_empty() && !host.contains([':', '[', ']', ' ']),
                };
                let host = inner.unwrap_or(host).to_owned();
                if good { Ok(Self::Udp { host, port }) } else { Err(wrong()) }
            }
            Some(("serial", rest)) => {
                let (device, baud) = match rest.split_once('?') {
                    None => (rest, Some(USUAL_BAUD)),
                    Some((device, query)) => (device, query.strip_prefix("baud=").and_then(|baud| baud.parse().ok())),
                };
                let baud = baud.filter(|baud| (300..=4_000_000).contains(baud)).ok_or_else(wrong)?;
                if device.trim().is_empty() { Err(wrong()) } else { Ok(Self::Serial { device: device.into(), baud }) }
            }
            _ => Err(wrong()),
        }
    }
}

impl fmt::Display for Sink {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Udp { host, port } if host.contains(':') => write!(f, "udp:[{host}]:{port}"),
            Self::Udp { host, port } => write!(f, "udp:{host}:{port}"),
            Self::Serial { device, baud: USUAL_BAUD } => write!(f, "serial:{device}"),
            Self::Serial { device, baud } => write!(f, "serial:{device}?baud={baud}"),
        }
    }
}
