//! A log as it was written, though it lies on disk compressed, or in the files of a folder.
//!
//! Compression is told by the first bytes and not by the name. What a cut of power or a bad disk has left of a compressed
//! log is read as far as it goes, and the rest is a remark.

use std::ffi::OsStr;
use std::fs;
use std::fs::File;
use std::io;
use std::io::BufReader;
use std::io::Cursor;
use std::io::ErrorKind;
use std::io::Read;
use std::path::Path;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicU32;
use std::sync::atomic::Ordering;

use zstd::stream::read::Decoder;

/// What a Zstandard frame begins with: RFC 8878, 3.1.1, 0xFD2FB528 with the least byte first.
const MAGIC: [u8; 4] = [0x28, 0xB5, 0x2F, 0xFD];

/// The window is memory of ours: 2 to the 24th bytes are 16 MiB. The recorder's own logs need 256 KiB.
const WINDOW_LOG_AT_MOST: u32 = 24;

/// How many compressed logs ended before they were complete; clones share it.
#[derive(Clone, Debug, Default)]
pub(crate) struct CutShort(Arc<AtomicU32>);

impl CutShort {
    pub(crate) fn count(&self) -> u32 {
        self.0.load(Ordering::Relaxed)
    }

    fn add(&self) {
        self.0.fetch_add(1, Ordering::Relaxed);
    }
}

/// Whether `bytes` begin as a compressed log does.
pub(crate) fn is_packed(bytes: &[u8]) -> bool {
    bytes.starts_with(&MAGIC)
}

/// `input` as it was before it was compressed, and whether it was.
pub(crate) fn plain(mut input: Box<dyn Read + Send>, cut_short: &CutShort) -> io::Result<(Box<dyn Read + Send>, bool)> {
    let mut first = Vec::new();
    input.by_ref().take(MAGIC.len() as u64).read_to_end(&mut first)?;
    let packed = is_packed(&first);
    let whole = Cursor::new(first).chain(input);
    if !packed {
        return Ok((Box::new(whole), false));
    }
    let mut decoder = Decoder::new(Box::new(whole) as Box<dyn Read + Send>)?;
    decoder.window_log_max(WINDOW_LOG_AT_MOST)?;
    Ok((Box::new(Unpacked { decoder, cut_short: cut_short.clone(), begun: false, ended: false }), true))
}

/// Opens a log on disk.
pub(crate) fn open(path: &Path, cut_short: &CutShort) -> io::Result<(Box<dyn Read + Send>, bool)> {
    plain(Box::new(File::open(path)?), cut_short)
}

struct Unpacked {
    decoder: Decoder<'static, BufReader<Box<dyn Read + Send>>>,
    cut_short: CutShort,
    begun: bool,
    ended: bool,
}

impl Read for Unpacked {
    fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        if self.ended {
            return Ok(0);
        }
        match self.decoder.read(buf) {
            Ok(count) => {
                self.begun |= count > 0;
                Ok(count)
            }
            // The disk's word, not the decoder's.
            Err(error) if error.raw_os_error().is_some() || error.kind() == ErrorKind::Interrupted => Err(error),
            Err(error) if !self.begun && error.kind() != ErrorKind::UnexpectedEof => {
                let why = format!("it is compressed, but not so that it can be unpacked here ({error}); try zstd -d");
                Err(io::Error::new(ErrorKind::InvalidData, why))
            }
            Err(_) => {
                self.ended = true;
                self.cut_short.add();
                Ok(0)
            }
        }
    }
}

/// The logs of a folder that a recorder keeps, one after another.
pub(crate) struct Logs {
    left: std::vec::IntoIter<PathBuf>,
    at: Option<Box<dyn Read + Send>>,
    /// The last byte that was read.
    last: u8,
    cut_short: CutShort,
}

impl Logs {
    /// The logs of `folder`, `.nmea` and `.nmea.zst`, in the order of their names; `None` where there are none.
    pub(crate) fn of(folder: &Path, cut_short: &CutShort) -> io::Result<Option<Self>> {
        let mut all = Vec::new();
        for entry in fs::read_dir(folder)? {
            let path = entry?.path();
            let Some(name) = path.file_name().and_then(OsStr::to_str) else { continue };
            let packed = name.strip_suffix(".nmea.zst").map(|stem| (stem.to_owned(), 0));
            if let Some(order) = packed.or_else(|| name.strip_suffix(".nmea").map(|stem| (stem.to_owned(), 1)))
                && path.is_file()
            {
                all.push((order, path));
            }
        }
        // By its stem, so that a second one of the same second comes after the first.
        all.sort_unstable();
        // A cut of power may leave a log and its compressed self: the compressed one was complete by then.
        all.dedup_by(|((later, _), _), ((earlier, _), _)| later == earlier);
        let left: Vec<PathBuf> = all.into_iter().map(|(_, path)| path).collect();
        Ok((!left.is_empty()).then(|| Self {
            left: left.into_iter(),
            at: None,
            last: b'\n',
            cut_short: cut_short.clone(),
        }))
    }
}

impl Read for Logs {
    fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        loop {
            let Some(input) = &mut self.at else {
                let Some(path) = self.left.next() else { return Ok(0) };
                self.at = match open(&path, &self.cut_short) {
                    Ok((input, _)) => Some(input),
                    // The recorder has just closed it, or dropped it.
                    Err(error) if error.kind() == ErrorKind::NotFound => {
                        let mut packed = path.into_os_string();
                        packed.push(".zst");
                        open(Path::new(&packed), &self.cut_short).map(|(input, _)| input).ok()
                    }
                    Err(error) => return Err(error),
                };
                continue;
            };
            match input.read(buf)? {
                0 => self.at = None,
                count => {
                    self.last = buf.get(count - 1).copied().unwrap_or(b'\n');
                    return Ok(count);
                }
            }
            // The last line of one log is no part of the first of the next.
            if let (true, [first, ..]) = (self.last != b'\n', &mut *buf) {
                *first = b'\n';
                self.last = b'\n';
                return Ok(1);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn packed(text: &[u8]) -> Vec<u8> {
        let mut encoder = zstd::stream::write::Encoder::new(Vec::new(), 3).unwrap();
        encoder.include_checksum(true).unwrap();
        io::Write::write_all(&mut encoder, text).unwrap();
        encoder.finish().unwrap()
    }

    fn read(bytes: &[u8]) -> (Vec<u8>, u32) {
        let cut_short = CutShort::default();
        let (mut input, _) = plain(Box::new(Cursor::new(bytes.to_vec())), &cut_short).unwrap();
        let mut all = Vec::new();
        input.read_to_end(&mut all).unwrap();
        (all, cut_short.count())
    }

    /// Half a megabyte that does not compress to nothing.
    fn text() -> Vec<u8> {
        (0..30_000_u32)
            .flat_map(|n| format!("$HCHDG,{},,,7.1,W\r\n", n.wrapping_mul(2_654_435_761)).into_bytes())
            .collect()
    }

    #[test]
    fn compressed_or_not_it_reads_the_same() {
        let text = text();
        assert_eq!(read(&text), (text.clone(), 0));
        assert_eq!(read(&packed(&text)), (text.clone(), 0));
        // Two put together are one.
        assert_eq!(read(&[packed(&text), packed(b"end\n")].concat()), ([&text[..], b"end\n"].concat(), 0));
        for short in [&b""[..], b"$", b"\x28\xb5\x2f"] {
            assert_eq!(read(short), (short.to_vec(), 0));
        }
    }

    #[test]
    fn what_can_be_read_of_a_damaged_one_counts() {
        let text = text();
        let whole = packed(&text);
        let (half, cut) = read(&whole[..whole.len() / 2]);
        assert_eq!(cut, 1);
        assert!(half.len() > text.len() / 4 && text.starts_with(&half), "{} of {}", half.len(), text.len());
        assert_eq!(read(&whole[..6]), (Vec::new(), 1));
        let mut spoilt = whole.clone();
        let middle = spoilt.len() / 2;
        spoilt[middle..middle + 64].fill(0xA5);
        let (some, cut) = read(&spoilt);
        assert!(cut == 1 && !some.is_empty() && some.len() <= text.len());
    }

    #[test]
    fn a_window_that_would_eat_the_memory_is_refused() {
        // A frame header of RFC 8878, 3.1.1.1: no single segment, window descriptor 0xFF (exponent 31).
        let mut bytes = MAGIC.to_vec();
        bytes.extend_from_slice(&[0x00, 0xFF, 0x01, 0x00, 0x00]);
        let (mut input, is_packed) = plain(Box::new(Cursor::new(bytes)), &CutShort::default()).unwrap();
        assert!(is_packed);
        let error = input.read_to_end(&mut Vec::new()).unwrap_err();
        assert!(error.to_string().contains("zstd -d"), "{error}");
    }

    #[test]
    fn a_folder_is_its_logs_one_after_another() {
        let folder = std::env::temp_dir().join(format!("lubber-folder-{}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(&folder).unwrap();
        assert!(Logs::of(&folder, &CutShort::default()).unwrap().is_none());
        let write = |name: &str, bytes: &[u8]| fs::write(folder.join(name), bytes).unwrap();
        write("2026-07-14T020000Z.nmea.zst", &packed(b"one\n"));
        write("2026-07-14T020000Z.nmea", b"one\n");
        write("2026-07-14T020000Z-02.nmea", b"two");
        write("2026-07-14T030000Z.nmea", b"three\n");
        write("2026-07-14T040000Z.nmea.zst.tmp", b"no");
        write("notes.txt", b"no");
        let mut logs = Logs::of(&folder, &CutShort::default()).unwrap().unwrap();
        let mut all = String::new();
        logs.read_to_string(&mut all).unwrap();
        assert_eq!(all, "one\ntwo\nthree\n");
        fs::remove_dir_all(&folder).unwrap();
    }
}
