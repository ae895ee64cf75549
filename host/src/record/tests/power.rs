//! The power is cut at every write.

use super::SMALL;
use super::START_MS;
use super::disk::Chance;
use super::disk::Disk;
use super::disk::Lie;
use super::give;
use super::numbers;
use super::pack_all;
use super::read_all;
use crate::record::rotate::Rotation;

const LINES: usize = 160;

/// By how much the first date moves what was stamped before.
const MOVED_MS: i64 = 7_200_250;

/// Records until the end or the cut: how many lines were promised, and how many given. Four lines a second.
fn record(disk: &Disk, first: usize, moves: bool) -> (usize, usize) {
    let (mut promised, mut given) = (0, 0);
    let Ok(mut rotation) = Rotation::open(disk.clone(), SMALL) else { return (0, 0) };
    let mut offset = START_MS;
    for number in 0..LINES {
        if moves && number == LINES / 4 {
            rotation.moved(MOVED_MS);
            offset += MOVED_MS;
        }
        give(&mut rotation, offset + number as i64 * 250, first + number);
        given += 1;
        if number % 4 == 3 && rotation.sync().is_ok() {
            promised = given;
        }
        if number % 3 == 0 {
            rotation.step();
        }
    }
    if rotation.close(None).is_ok() {
        promised = given;
        while rotation.step() {}
    }
    (promised, given)
}

/// What was promised is there, once and in order, and nothing that was not given; else what is wrong.
fn check(disk: &Disk, promised: usize, given: usize) -> Result<(), String> {
    let lines = numbers(&read_all(disk)?)?;
    match () {
        () if !lines.is_sorted_by(|a, b| a < b) => Err(format!("twice, or out of order: {lines:?}")),
        () if !(0..promised).all(|number| lines.binary_search(&number).is_ok()) => {
            Err(format!("{promised} promised: {lines:?}"))
        }
        () if lines.last().is_some_and(|last| *last >= given) => Err(format!("{given} given: {lines:?}")),
        () => Ok(()),
    }
}

fn recover(disk: &Disk) {
    let mut rotation = Rotation::open(disk.clone(), SMALL).unwrap();
    pack_all(&mut rotation);
    assert!(disk.files().keys().all(|name| name.ends_with(".nmea.zst")), "{:?}", disk.files().keys());
}

#[test]
fn whatever_the_moment_of_a_cut_all_but_the_last_second_is_there() {
    for moves in [false, true] {
        let disk = Disk::default();
        assert_eq!(record(&disk, 0, moves), (LINES, LINES));
        let writes = disk.writes();
        assert!(writes > 100, "only {writes} writes");
        assert_eq!(numbers(&read_all(&disk).unwrap()).unwrap(), (0..LINES).collect::<Vec<_>>());
        let mut kept = 0;
        for cut in 0..=writes {
            for seed in 1..=3 {
                let mut chance = Chance(seed * 0x9E37_79B9 + cut * 7919 + 1);
                let at = format!("cut at {cut} of {writes}, seed {seed}, moves {moves}");
                let disk = Disk::default();
                disk.power_for(cut);
                let (promised, given) = record(&disk, 0, moves);
                disk.cut_power(&mut chance);
                // Every other time the power goes once more while what is left is tidied.
                if seed % 2 == 0 {
                    disk.power_for(chance.below(40));
                    if let Ok(mut rotation) = Rotation::open(disk.clone(), SMALL) {
                        while rotation.step() {}
                    }
                    disk.cut_power(&mut chance);
                }
                recover(&disk);
                check(&disk, promised, given).unwrap_or_else(|wrong| panic!("{at}: {wrong}"));
                kept += promised;
            }
        }
        assert!(kept > LINES * writes as usize, "so few were promised that nothing is shown: {kept}");
    }
}

#[test]
fn a_disk_that_lies_is_found_out_so_the_promise_hangs_on_each_sync() {
    for lie in [Lie::Sync, Lie::Folder] {
        let broken = (20..140).filter(|cut| {
            let disk = Disk::default();
            disk.lie(Some(lie));
            disk.power_for(*cut);
            let (promised, given) = record(&disk, 0, false);
            disk.cut_power(&mut Chance(cut * 7919 + 1));
            disk.lie(None);
            let recovered = Rotation::open(disk.clone(), SMALL).map(|mut rotation| pack_all(&mut rotation));
            recovered.is_err() || check(&disk, promised, given).is_err()
        });
        assert!(broken.count() > 20, "{lie:?} does no harm: the checks of these tests are worth nothing");
    }
}

#[test]
fn recording_goes_on_after_a_cut_without_touching_what_was_there() {
    let disk = Disk::default();
    disk.power_for(90);
    let (promised, given) = record(&disk, 0, false);
    assert!(promised > 20 && promised < LINES);
    disk.cut_power(&mut Chance(5));
    assert_eq!(record(&disk, given, false), (LINES, LINES));
    let lines = numbers(&read_all(&disk).unwrap()).unwrap();
    assert!((0..promised).chain(given..given + LINES).all(|number| lines.contains(&number)));
    let mut once = lines.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), lines.len(), "twice");
}

#[test]
fn the_first_date_moves_the_stamps_before_it_and_the_name() {
    let disk = Disk::default();
    record(&disk, 0, true);
    let stamps: Vec<i64> = read_all(&disk).unwrap().iter().map(|(ms, _)| *ms).collect();
    let late = stamps.iter().position(|ms| *ms >= START_MS + MOVED_MS).unwrap();
    // Only the file that was open is moved: those that were full before stay. Then one line follows another.
    assert!(stamps[late..].windows(2).all(|pair| pair[1] - pair[0] == 250), "{stamps:?}");
    assert!(late < LINES / 4, "what was in the open file is moved");
    assert!(disk.files().contains_key("2026-07-14T015930Z.nmea.zst") || late > 0);
    assert!(disk.files().keys().any(|name| name.starts_with("2026-07-14T0")), "{:?}", disk.files().keys());
}
