//! Serial lines, their speed, and who may read them.

use std::fmt;
use std::io;
use std::io::Read;
use std::time::Duration;

use lubber_core::frame::ChecksumPolicy;
use lubber_core::time::Instant;
use serialport::ClearBuffer;
use serialport::SerialPort;

use crate::input::InputError;
use crate::input::Source;
use crate::input::live::Got;
use crate::input::live::READ_FOR;
use crate::input::utc::looks_like_sentence;

/// The speeds tried where none was given, in this order: NMEA 0183's own, its high-speed one
/// (NMEA 0183-HS), and two that gateways use (common practice, no source).
pub const SEARCHED_BAUDS: [u32; 4] = [4800, 38_400, 9600, 115_200];

/// Most bytes kept while listening at one speed.
const LISTENED_AT_MOST: usize = 64 << 10;

/// A serial line that is open.
pub(crate) struct SerialWire {
    port: Box<dyn SerialPort>,
    search: Option<Search>,
    checksum: ChecksumPolicy,
    listen_for: Duration,
    buf: Vec<u8>,
    noise: Noise,
}

/// What a line of a given speed brings before its first line of text: at the wrong speed, or with the two
/// wires swapped, bytes come and no line ever does.
#[derive(Debug, Default)]
struct Noise {
    since: Option<Instant>,
    bytes: usize,
    /// Bytes that no text has.
    strange: usize,
    doubted: bool,
    settled: bool,
}

/// What there is to say of what was heard.
#[derive(Debug, PartialEq, Eq)]
enum Heard {
    /// Nothing new.
    Nothing,
    /// It was in doubt, and is text now.
    Text,
    /// It is noise, and why.
    Doubtful(String),
}

/// So many bytes over so long without a single line of text are noise: at 4800 baud a talker that says
/// anything at all says several lines in that time.
const NOISE_BYTES: usize = 200;
/// It is listened to for six times as long as one speed is, where the speed is looked for.
const NOISE_TIMES: u32 = 6;

impl Noise {
    /// Whether it is to be said now that nothing but noise comes, or no longer; each is said once.
    fn listen(&mut self, now: Instant, bytes: &[u8], least: Duration) -> Heard {
        if self.settled {
            return Heard::Nothing;
        }
        let since = *self.since.get_or_insert(now);
        self.bytes += bytes.len();
        let text = |byte: &&u8| matches!(byte, b' '..=b'~' | b'\r' | b'\n' | b'\t');
        let strange = bytes.len() - bytes.iter().filter(text).count();
        self.strange += strange;
        // A sentence begins among text: then the line is as it should be, however damaged.
        let begins = bytes.iter().any(|byte| matches!(byte, b'$' | b'!'));
        if begins && strange * 10 < bytes.len() {
            self.settled = true;
            return if self.doubted { Heard::Text } else { Heard::Nothing };
        }
        if self.doubted || self.bytes < NOISE_BYTES || Duration::from_millis(now.since(since).as_ms()) < least {
            return Heard::Nothing;
        }
        self.doubted = true;
        Heard::Doubtful(format!(
            "{} bytes came and not one line of text: the two data wires (A and B) are swapped, or the talker's speed \
             is another one; leave out ?baud= and it is found by listening",
            self.bytes
        ))
    }
}

/// Looking for the speed.
#[derive(Debug)]
struct Search {
    index: usize,
    since: Option<Instant>,
    heard: Vec<u8>,
    /// Bytes heard at all speeds of this round.
    in_round: usize,
    rounds_left: usize,
}

impl SerialWire {
    /// Opens `device` at `baud`, or at the first of [`SEARCHED_BAUDS`]. Where `search_on` the given
    /// speed was itself found by listening, and is doubted again if it brings nothing.
    pub(crate) fn open(
        from: &Source,
        device: &str,
        baud: Option<u32>,
        search_on: bool,
        checksum: ChecksumPolicy,
        listen_for: Duration,
    ) -> Result<Self, InputError> {
        let index = baud.and_then(|baud| SEARCHED_BAUDS.iter().position(|&b| b == baud)).unwrap_or(0);
        let port = serialport::new(device, baud.unwrap_or(SEARCHED_BAUDS[index]))
            .timeout(READ_FOR.min(listen_for))
            .open()
            .map_err(|error| InputError::Refused { from: from.clone(), what: "open", why: why(device, &error) })?;
        let search = (baud.is_none() || search_on).then(|| Search {
            index,
            since: None,
            heard: Vec::new(),
            in_round: 0,
            rounds_left: SEARCHED_BAUDS.len(),
        });
        Ok(Self { port, search, checksum, listen_for, buf: vec![0; 4096], noise: Noise::default() })
    }

    pub(crate) const fn is_searching(&self) -> bool {
        self.search.is_some()
    }

    pub(crate) fn read(&mut self, now: Instant) -> Result<Got, String> {
        let count = match self.port.read(&mut self.buf) {
            Ok(0) => return Err("the adapter is gone; plug it in again".to_owned()),
            Ok(count) => count,
            Err(error) => match error.kind() {
                io::ErrorKind::TimedOut | io::ErrorKind::WouldBlock | io::ErrorKind::Interrupted => 0,
                _ => return Err(format!("the adapter is gone or broken ({error}); plug it in again")),
            },
        };
        let bytes = &self.buf[..count];
        let Some(search) = &mut self.search else {
            if count == 0 {
                return Ok(Got::Nothing);
            }
            return Ok(match self.noise.listen(now, bytes, self.listen_for * NOISE_TIMES) {
                Heard::Doubtful(why) => Got::Noise { why, bytes: bytes.to_vec() },
                Heard::Text => Got::Text(bytes.to_vec()),
                Heard::Nothing => Got::Bytes(bytes.to_vec()),
            });
        };
        if search.heard.len() + count <= LISTENED_AT_MOST {
            search.heard.extend_from_slice(bytes);
        }
        search.in_round += count;
        let lines = search.heard.split_inclusive(|&b| b == b'\n').filter(|line| line.ends_with(b"\n"));
        if lines.into_iter().any(|line| looks_like_sentence(line, self.checksum)) {
            let found = Got::Found { baud: SEARCHED_BAUDS[search.index], bytes: std::mem::take(&mut search.heard) };
            self.search = None;
            return Ok(found);
        }
        let since = *search.since.get_or_insert(now);
        if Duration::from_millis(now.since(since).as_ms()) < self.listen_for {
            return Ok(Got::Nothing);
        }
        search.index = (search.index + 1) % SEARCHED_BAUDS.len();
        search.since = None;
        search.heard.clear();
        search.rounds_left -= 1;
        let silent = search.in_round == 0;
        let round_over = search.rounds_left == 0;
        if round_over {
            search.rounds_left = SEARCHED_BAUDS.len();
            search.in_round = 0;
        }
        self.port
            .set_baud_rate(SEARCHED_BAUDS[search.index])
            .and_then(|()| self.port.clear(ClearBuffer::Input))
            .map_err(|error| format!("the adapter does not take another speed ({error})"))?;
        Ok(match (round_over, silent) {
            (false, _) => Got::Nothing,
            (true, true) => Got::Doubt("the line is silent; check that the talker is on and its wires".to_owned()),
            (true, false) => Got::Doubt(
                "no sentence at 4800, 38400, 9600 or 115200 baud; check the two data wires (A and B may be swapped), \
                 or give the speed with ?baud="
                    .to_owned(),
            ),
        })
    }
}

impl fmt::Debug for SerialWire {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("SerialWire").field("port", &self.port.name()).field("search", &self.search).finish()
    }
}

/// Why a device cannot be opened, and the remedy.
fn why(device: &str, error: &serialport::Error) -> String {
    match error.kind() {
        serialport::ErrorKind::Io(io::ErrorKind::NotFound) => {
            "there is no such device; plug the adapter in, and see `lubber ports`".to_owned()
        }
        serialport::ErrorKind::Io(io::ErrorKind::PermissionDenied) => match access(device).group {
            Some(group) => format!(
                "you may not open it; it belongs to the group {group}: run `sudo usermod -aG {group} $USER`, \
                 then log out and in again"
            ),
            None => "you may not open it; ask the administrator for access to serial ports".to_owned(),
        },
        serialport::ErrorKind::NoDevice if std::path::Path::new(device).exists() => {
            format!("another program has it open; `fuser -v {device}` shows which")
        }
        serialport::ErrorKind::NoDevice => "there is no such device; see `lubber ports`".to_owned(),
        _ if std::fs::metadata(device).is_ok_and(|about| about.is_file() || about.is_dir()) => {
            "it is not a serial device; a recorded log is named without `serial:`".to_owned()
        }
        _ => format!("{}; is it a serial device? See `lubber ports`", error.description),
    }
}

/// Who may read a device.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Access {
    /// Whether we may, by the device's mode; `None` where that cannot be told.
    pub readable: Option<bool>,
    /// The group that may, where the mode lets one.
    pub group: Option<String>,
}

/// Who may read and write `device`, by its owner, group and mode. An access list set beside these is
/// not seen. The device is not opened: that alone can reset what is at its other end.
#[cfg(unix)]
pub fn access(device: &str) -> Access {
    use std::os::unix::fs::MetadataExt;

    let Ok(about) = std::fs::metadata(device) else { return Access::default() };
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let numbers = |key: &str| -> Vec<u32> {
        let line = status.lines().find_map(|line| line.strip_prefix(key)).unwrap_or_default();
        line.split_ascii_whitespace().filter_map(|number| number.parse().ok()).collect()
    };
    let mut groups = numbers("Groups:");
    groups.extend(numbers("Gid:"));
    let readable = numbers("Uid:").get(1).map(|&user| may(about.mode(), about.uid(), about.gid(), user, &groups));
    let names = std::fs::read_to_string("/etc/group").unwrap_or_default();
    let group = (about.mode() & 0o060 == 0o060).then(|| group_name(&names, about.gid())).flatten();
    Access { readable, group }
}

/// Who may read `device`: not known on this system.
#[cfg(not(unix))]
pub fn access(_device: &str) -> Access {
    Access::default()
}

/// Whether `user`, a member of `groups`, may read and write what `owner` and `group` own.
#[cfg(unix)]
fn may(mode: u32, owner: u32, group: u32, user: u32, groups: &[u32]) -> bool {
    let shift = match () {
        () if user == 0 => return true,
        () if user == owner => 6,
        () if groups.contains(&group) => 3,
        () => 0,
    };
    mode >> shift & 0o6 == 0o6
}

/// The name of group `number` in the text of `/etc/group`.
#[cfg(unix)]
fn group_name(names: &str, number: u32) -> Option<String> {
    names.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        (fields.nth(1)?.parse() == Ok(number)).then(|| name.to_owned())
    })
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;

    #[test]
    fn the_mode_says_who_may() {
        assert!(may(0o660, 0, 20, 1000, &[1000, 20]));
        assert!(!may(0o660, 0, 20, 1000, &[1000]));
        assert!(may(0o600, 1000, 20, 1000, &[]));
        assert!(!may(0o060, 1000, 20, 1000, &[20]), "the owner's own bits go first");
        assert!(!may(0o640, 0, 20, 1000, &[20]), "a serial port is opened for writing too");
        assert!(may(0o666, 0, 20, 1000, &[]));
        assert!(may(0o000, 5, 20, 0, &[]));
    }

    #[test]
    fn the_group_is_named() {
        let names = "root:x:0:\ndialout:x:20:ada\nbroken\n";
        assert_eq!(group_name(names, 20).as_deref(), Some("dialout"));
        assert_eq!(group_name(names, 21), None);
    }
}
