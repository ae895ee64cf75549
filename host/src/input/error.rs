//! Why an input cannot be used: whose fault it is, and the remedy.

use std::io;

use crate::input::Source;

/// Why an input cannot be used; its text is for a person.
#[derive(Debug, thiserror::Error)]
pub enum InputError {
    /// No source was named.
    #[error("no input was named; name a log, `-`, serial:DEVICE, tcp:HOST:PORT or udp:ADDRESS:PORT")]
    None,
    /// More sources than one watch listens to.
    #[error("{count} inputs were named; at most {} can be listened to at once", lubber_core::picture::SourceId::MAX)]
    TooMany {
        /// How many were named.
        count: usize,
    },
    /// Logs and live inputs in one run.
    #[error("{log} is a recorded log and {live} is live; replay logs and listen in separate runs")]
    Mixed {
        /// A log among them.
        log: Source,
        /// A live input among them.
        live: Source,
    },
    /// The same source named twice: its sentences would count double.
    #[error("{from} is named twice; name it once")]
    Twice {
        /// The source.
        from: Source,
    },
    /// The system refused to open or read it.
    #[error("cannot {what} {from}: {why}")]
    Refused {
        /// The source.
        from: Source,
        /// `open`, `read`, `listen at`, `connect to`.
        what: &'static str,
        /// The reason and the remedy, a clause each.
        why: String,
    },
    /// There is not one byte in it.
    #[error("{from} is empty; nothing was recorded, or the recording went elsewhere")]
    Empty {
        /// The source.
        from: Source,
    },
    /// There is no sentence in it.
    #[error(
        "{from} is not a log of NMEA 0183: no sentence in its first {looked_at} bytes ({found}); \
         a line such as $HCHDG,101.1,,,7.1,W*3C was expected"
    )]
    NotALog {
        /// The source.
        from: Source,
        /// How many bytes were looked at.
        looked_at: u64,
        /// What they look like instead.
        found: &'static str,
    },
    /// Sentences, but every checksum is wrong or missing.
    #[error(
        "{from} holds {lines} lines of sentence form in its first {looked_at} bytes, and not one has a right checksum, \
         so none can be trusted for the time; if the recorder spoilt them, set checksum = \"ignored\" (or \"optional\" \
         where they are missing) for this source, and know that damaged lines will then pass"
    )]
    NoRightChecksum {
        /// The source.
        from: Source,
        /// Lines that have the form of a sentence.
        lines: u64,
        /// How many bytes were looked at.
        looked_at: u64,
    },
    /// Sentences with a time, but none of those has a right checksum, while others have.
    #[error(
        "{percent} % of the lines of {from} have {fault} checksum in its first {looked_at} bytes, every one of the \
         {timed} that tell the time among them, so none can be trusted for it; lubber listen shows which talkers they \
         are of. --checksum {rule} (checksum = \"{rule}\" for this source in boat.toml) lets them tell it, and know that \
         damaged lines will then pass"
    )]
    NoTrustedTime {
        /// The source.
        from: Source,
        /// How many lines in a hundred.
        percent: u64,
        /// `a wrong`, or `no`.
        fault: &'static str,
        /// What would let them pass: `ignored`, or `optional`.
        rule: &'static str,
        /// Lines that tell the time.
        timed: u64,
        /// How many bytes were looked at.
        looked_at: u64,
    },
    /// A log without any time.
    #[error(
        "{from} carries no time in its first {looked_at} bytes: no stamps, and no RMC, ZDA, GGA, GNS or GLL with one; \
         give --rate with its sentences per second, and --start with the time of its first line, \
         such as --start 2026-07-14T02:00:00Z --rate 10"
    )]
    NoTime {
        /// The source.
        from: Source,
        /// How many bytes were looked at.
        looked_at: u64,
    },
    /// A rate that is no rate.
    #[error("--rate {rate} is not a number of sentences per second from 0.001 to 100000")]
    Rate {
        /// What was given.
        rate: f64,
    },
}

impl InputError {
    /// The system's refusal to open or read a file, with the remedy.
    pub(crate) fn file(from: &Source, what: &'static str, error: &io::Error) -> Self {
        let why = match error.kind() {
            io::ErrorKind::NotFound => "there is no such file; check the name and the folder".to_owned(),
            io::ErrorKind::PermissionDenied => {
                "you may not read it; ask its owner, or change it with chmod u+r".to_owned()
            }
            io::ErrorKind::IsADirectory => "it is a folder without logs (*.nmea, *.nmea.zst); name the log".to_owned(),
            io::ErrorKind::InvalidData => error.to_string(),
            _ => format!("{error}; check the disk it is on"),
        };
        Self::Refused { from: from.clone(), what, why }
    }
}
