//! The folder's promises, kept on a disk whose power can be cut at every write.

mod disk;
mod power;
mod trouble;

use std::io::Read;

use disk::Disk;

use super::names::Form;
use super::names::Name;
use super::rotate::Limits;
use super::rotate::Rotation;

/// Small files, so that there are many.
const SMALL: Limits = Limits { size: 2_000, keep: u64::MAX, floor: 0 };

/// A day's end, so that a run goes over it: 2026-07-13T23:59:30Z, by `date -u -d @1783987170`.
const START_MS: i64 = 1_783_987_170_000;

/// Line `number` of a run.
fn text(number: usize) -> String {
    format!("$ZZLIN,{number},{}\r\n", "x".repeat(number * 37 % 60))
}

fn give(rotation: &mut Rotation<Disk>, ms: i64, number: usize) {
    let mut line = Vec::new();
    super::lines::stamped(&mut line, "mast", ms, text(number).as_bytes());
    rotation.line(ms, &line);
}

/// The lines of every file, in the order of their names; what is not readable, or has no stamp, is wrong.
fn read_all(disk: &Disk) -> Result<Vec<(i64, String)>, String> {
    let mut files: Vec<_> = disk.files().into_iter().filter_map(|(n, b)| Some((Name::parse(&n)?, b))).collect();
    files.sort_by_key(|(name, _)| *name);
    let mut all = Vec::new();
    for ((name, form), bytes) in files {
        let mut text = String::new();
        let mut read: Box<dyn Read> = match form {
            Form::Packed => Box::new(zstd::stream::read::Decoder::new(bytes.as_slice()).unwrap()),
            _ => Box::new(bytes.as_slice()),
        };
        read.read_to_string(&mut text).map_err(|error| format!("{name:?}: {error}"))?;
        for line in text.split_inclusive('\n') {
            let ms = super::lines::stamp_of(line.as_bytes()).ok_or_else(|| format!("torn: {line:?}"))?;
            all.push((ms, line.split_once('$').map(|(_, rest)| format!("${rest}")).unwrap_or_default()));
        }
    }
    Ok(all)
}

fn pack_all(rotation: &mut Rotation<Disk>) {
    // Each piece is a step; a file that fails is not tried again by itself.
    for _ in 0..10_000 {
        if !rotation.step() {
            return;
        }
    }
    panic!("it never ends");
}

/// The numbers of the lines; one that is not whole is wrong.
fn numbers(lines: &[(i64, String)]) -> Result<Vec<usize>, String> {
    let number = |(_, line): &(i64, String)| {
        let number = line.split(',').nth(1).and_then(|word| word.parse().ok());
        number.filter(|number| *line == text(*number)).ok_or_else(|| format!("not whole: {line:?}"))
    };
    lines.iter().map(number).collect()
}
