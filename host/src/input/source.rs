//! What a person types to name an input: one grammar everywhere.

use std::fmt;
use std::path::PathBuf;
use std::str::FromStr;

/// An input, as named on the command line or in the boat file.
///
/// ```text
/// FILE  file:PATH              a recorded log
/// -                            standard input
/// serial:/dev/ttyUSB0          a serial adapter; the speed is found by listening
/// serial:/dev/ttyUSB0?baud=4800
/// tcp:HOST:PORT                a server that sends NMEA 0183
/// udp:ADDRESS:PORT             datagrams that arrive at this address of ours
/// ```
/// IPv6 addresses stand in brackets: `tcp:[fe80::1]:10110`.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Source {
    /// A recorded log.
    File(PathBuf),
    /// Standard input.
    Stdin,
    /// A serial adapter.
    Serial {
        /// The device, such as `/dev/ttyUSB0`.
        device: String,
        /// Its speed in baud; `None` is found by listening.
        baud: Option<u32>,
    },
    /// A TCP server to connect to.
    Tcp {
        /// Name or address, without brackets.
        host: String,
        /// Port.
        port: u16,
    },
    /// A UDP address of this machine to listen at.
    Udp {
        /// Name or address, without brackets.
        address: String,
        /// Port.
        port: u16,
    },
}

/// Why a text names no source: the owner's typing.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` names no input: {expected}. Example: {example}")]
pub struct SourceError {
    /// What was typed.
    pub text: String,
    /// What was expected.
    pub expected: String,
    /// Something that would have been right.
    pub example: &'static str,
}

const SERIAL: &str = "serial:/dev/ttyUSB0 or serial:/dev/ttyUSB0?baud=4800";
const TCP: &str = "tcp:192.168.4.1:10110";
const UDP: &str = "udp:0.0.0.0:10110";
const FILE: &str = "file:night.nmea";
const SCHEMES: [(&str, &str); 4] = [("serial", SERIAL), ("tcp", TCP), ("udp", UDP), ("file", FILE)];

impl Source {
    /// Whether it is a recorded log by its nature; standard input is so only by what it carries.
    pub const fn is_file(&self) -> bool {
        matches!(self, Self::File(_))
    }
}

impl FromStr for Source {
    type Err = SourceError;

    fn from_str(text: &str) -> Result<Self, SourceError> {
        let fail = |expected: &str, example| {
            Err(SourceError { text: text.to_owned(), expected: expected.to_owned(), example })
        };
        if text == "-" {
            return Ok(Self::Stdin);
        }
        if text.trim().is_empty() {
            return fail("it is empty; a file, `-`, serial:, tcp: or udp: was expected", FILE);
        }
        let Some((scheme, rest)) = text.split_once(':') else {
            if text.starts_with("/dev/tty") || text.starts_with("/dev/serial/") || is_com_port(text) {
                return fail("a serial device is written with `serial:` before it", SERIAL);
            }
            if let Some((name, example)) = SCHEMES.iter().find(|(name, _)| name.eq_ignore_ascii_case(text)) {
                return fail(&format!("after `{name}` a `:` and what to open were expected"), example);
            }
            return Ok(Self::File(text.into()));
        };
        match scheme {
            "file" if rest.is_empty() => fail("after `file:` a path was expected", FILE),
            "file" => Ok(Self::File(rest.into())),
            "serial" => serial(text, rest),
            "tcp" => {
                let (host, port) = host_and_port(text, rest, "tcp:HOST:PORT", TCP)?;
                Ok(Self::Tcp { host, port })
            }
            "udp" => {
                let (address, port) = host_and_port(text, rest, "udp:ADDRESS:PORT", UDP)?;
                Ok(Self::Udp { address, port })
            }
            _ => bare_path(text, scheme, rest),
        }
    }
}

/// A text with a colon but no known scheme: a path, unless it looks like a mistyped scheme.
fn bare_path(text: &str, scheme: &str, rest: &str) -> Result<Source, SourceError> {
    let lower = scheme.to_ascii_lowercase();
    let meant = SCHEMES.iter().find(|(name, _)| is_near(&lower, name));
    // One letter is a drive, and a folder or a date before the colon is a path.
    let looks_like_scheme = scheme.len() > 1 && scheme.bytes().all(|b| b.is_ascii_alphabetic());
    let (expected, example) = if let Some((name, example)) = meant {
        (format!("`{scheme}:` is not known; did you mean `{name}:`?"), *example)
    } else if looks_like_scheme && !rest.is_empty() {
        (format!("`{scheme}:` is not known; the kinds of input are file:, serial:, tcp: and udp:"), SERIAL)
    } else {
        return Ok(Source::File(text.into()));
    };
    Err(SourceError {
        text: text.to_owned(),
        expected: format!("{expected} (a file of that name is written file:{text})"),
        example,
    })
}

fn serial(text: &str, rest: &str) -> Result<Source, SourceError> {
    let fail = |expected: String| Err(SourceError { text: text.to_owned(), expected, example: SERIAL });
    let (device, query) = match rest.split_once('?') {
        Some((device, query)) => (device, Some(query)),
        None => (rest, None),
    };
    if device.is_empty() {
        return fail("after `serial:` a device was expected".to_owned());
    }
    let baud = match query {
        None => None,
        Some(query) => match query.split_once('=') {
            Some(("baud", number)) => match number.parse() {
                Ok(baud @ 300..=4_000_000) => Some(baud),
                _ => return fail(format!("the speed `{number}` is not a whole number from 300 to 4000000")),
            },
            _ => return fail(format!("after `?` only `baud=` was expected, not `{query}`")),
        },
    };
    Ok(Source::Serial { device: device.to_owned(), baud })
}

fn host_and_port(text: &str, rest: &str, form: &str, example: &'static str) -> Result<(String, u16), SourceError> {
    let fail = |expected: String| Err(SourceError { text: text.to_owned(), expected, example });
    let (host, port) = if let Some(inside) = rest.strip_prefix('[') {
        let Some((host, after)) = inside.split_once(']') else {
            return fail("the `[` of an IPv6 address has no `]`".to_owned());
        };
        if host.parse::<std::net::Ipv6Addr>().is_err() && !host.contains('%') {
            return fail(format!("`{host}` in brackets is not an IPv6 address"));
        }
        (host, after.strip_prefix(':'))
    } else {
        match rest.rsplit_once(':') {
            Some((host, _)) if host.contains(':') => {
                return fail("an IPv6 address stands in brackets, as in tcp:[fe80::1]:10110".to_owned());
            }
            Some((host, port)) => (host, Some(port)),
            None => (rest, None),
        }
    };
    if host.is_empty() {
        return fail(format!("{form} was expected, and the part before the port is empty"));
    }
    let Some(port) = port.filter(|port| !port.is_empty()) else {
        return fail(format!("{form} was expected, and the port is missing (nmea-0183 is registered as 10110)"));
    };
    match port.parse() {
        Ok(port @ 1..) => Ok((host.to_owned(), port)),
        _ => fail(format!("the port `{port}` is not a whole number from 1 to 65535")),
    }
}

fn is_com_port(text: &str) -> bool {
    text.len() > 3 && text[..3].eq_ignore_ascii_case("com") && text[3..].bytes().all(|b| b.is_ascii_digit())
}

/// Whether `typed` is `name` with one slip: letters swapped, one wrong, missing or too many.
fn is_near(typed: &str, name: &str) -> bool {
    let (a, b) = (typed.as_bytes(), name.as_bytes());
    let ahead = a.iter().zip(b).take_while(|(x, y)| x == y).count();
    let behind = a.iter().rev().zip(b.iter().rev()).take_while(|(x, y)| x == y).count();
    let covered = |length: usize| ahead + behind >= length;
    match a.len().cmp(&b.len()) {
        std::cmp::Ordering::Equal => {
            let swapped = ahead + 1 < a.len() && a[ahead] == b[ahead + 1] && a[ahead + 1] == b[ahead];
            covered(a.len() - 1) || (swapped && ahead + behind + 2 >= a.len())
        }
        std::cmp::Ordering::Less => a.len() + 1 == b.len() && covered(a.len()),
        std::cmp::Ordering::Greater => b.len() + 1 == a.len() && covered(b.len()),
    }
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let bracketed = |host: &str| if host.contains(':') { format!("[{host}]") } else { host.to_owned() };
        match self {
            Self::File(path) => {
                let plain = path.display().to_string();
                // Written so that it reads back as the same source.
                match plain.parse() {
                    Ok(Self::File(same)) if same == *path => f.write_str(&plain),
                    _ => write!(f, "file:{plain}"),
                }
            }
            Self::Stdin => f.write_str("-"),
            Self::Serial { device, baud: None } => write!(f, "serial:{device}"),
            Self::Serial { device, baud: Some(baud) } => write!(f, "serial:{device}?baud={baud}"),
            Self::Tcp { host, port } => write!(f, "tcp:{}:{port}", bracketed(host)),
            Self::Udp { address, port } => write!(f, "udp:{}:{port}", bracketed(address)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_form_reads_and_prints_back() {
        for text in [
            "night.nmea",
            "logs/2026-07-14T02:11.nmea",
            "c:\\logs\\night.nmea",
            "./serial",
            "-",
            "serial:/dev/ttyUSB0",
            "serial:/dev/ttyUSB0?baud=4800",
            "serial:COM3",
            "tcp:plotter.local:10110",
            "tcp:[fe80::1]:10110",
            "udp:0.0.0.0:10110",
            "udp:[::]:10110",
        ] {
            let source: Source = text.parse().unwrap_or_else(|e| panic!("{text}: {e}"));
            assert_eq!(source.to_string(), text);
        }
        assert_eq!("file:-".parse(), Ok(Source::File("-".into())));
        assert_eq!(Source::File("-".into()).to_string(), "file:-");
        assert_eq!(Source::File("tcp:1:2".into()).to_string(), "file:tcp:1:2");
    }

    #[test]
    fn a_slip_is_named_with_its_remedy() {
        for (text, part) in [
            ("serail:/dev/ttyUSB0", "did you mean `serial:`?"),
            ("seral:/dev/ttyUSB0", "did you mean `serial:`?"),
            ("Serial:/dev/ttyUSB0", "did you mean `serial:`?"),
            ("tpc:host:10110", "did you mean `tcp:`?"),
            ("upd:0.0.0.0:10110", "did you mean `udp:`?"),
            ("http://plotter", "the kinds of input are"),
            (
                "bluetooth:xx",
                "the kinds of input are file:, serial:, tcp: and udp: (a file of that name is written file:",
            ),
            ("/dev/ttyUSB0", "written with `serial:` before it"),
            ("COM3", "written with `serial:` before it"),
            ("tcp", "after `tcp` a `:`"),
            ("tcp:", "before the port is empty"),
            ("tcp:plotter", "the port is missing"),
            ("tcp:plotter:", "the port is missing"),
            ("tcp:plotter:0", "1 to 65535"),
            ("tcp:plotter:70000", "1 to 65535"),
            ("tcp:fe80::1:10110", "stands in brackets"),
            ("tcp:[fe80::1:10110", "has no `]`"),
            ("tcp:[boat]:10110", "not an IPv6 address"),
            ("udp:10110", "the port is missing"),
            ("serial:", "a device was expected"),
            ("serial:/dev/ttyUSB0?baud=fast", "300 to 4000000"),
            ("serial:/dev/ttyUSB0?speed=4800", "only `baud=`"),
            ("file:", "a path was expected"),
            ("", "it is empty"),
        ] {
            let error = text.parse::<Source>().expect_err(text).to_string();
            assert!(error.contains(part), "{text}: {error}");
            assert!(error.contains("Example: "), "{error}");
        }
    }
}
