//! The disk fills, fails, goes away and comes back.

use std::io::ErrorKind;

use super::SMALL;
use super::START_MS;
use super::disk::Disk;
use super::give;
use super::numbers;
use super::pack_all;
use super::read_all;
use crate::record::rotate::Limits;
use crate::record::rotate::Rotation;

fn open(disk: &Disk, limits: Limits) -> Rotation<Disk> {
    Rotation::open(disk.clone(), limits).unwrap()
}

/// Gives `count` lines from `first` on, a second apart and synced each; how many syncs were well.
fn run(rotation: &mut Rotation<Disk>, first: usize, count: usize) -> usize {
    let mut well = 0;
    for number in first..first + count {
        give(rotation, START_MS + number as i64 * 1000, number);
        well += usize::from(rotation.sync().is_ok());
    }
    well
}

fn end(mut rotation: Rotation<Disk>) {
    rotation.retry();
    rotation.close(None).unwrap();
    pack_all(&mut rotation);
}

#[test]
fn a_new_file_each_day_and_at_its_size() {
    let disk = Disk::default();
    let mut rotation = open(&disk, SMALL);
    assert_eq!(run(&mut rotation, 0, 100), 100);
    assert_eq!(rotation.counts.lines, 100);
    end(rotation);
    let names: Vec<_> = disk.files().into_keys().collect();
    assert_eq!(names[0], "2026-07-13T235930Z.nmea.zst");
    assert!(names.contains(&"2026-07-14T000000Z.nmea.zst".to_owned()), "{names:?}");
    assert!(names.len() >= 4);
    let lines = read_all(&disk).unwrap();
    assert_eq!(numbers(&lines).unwrap(), (0..100).collect::<Vec<_>>());
    assert!(lines.windows(2).all(|pair| pair[1].0 - pair[0].0 == 1000));
}

#[test]
fn whatever_a_disk_says_nothing_is_lost_and_it_works_again() {
    for kind in [
        ErrorKind::StorageFull,
        ErrorKind::ReadOnlyFilesystem,
        ErrorKind::PermissionDenied,
        ErrorKind::FileTooLarge,
        ErrorKind::Other,
    ] {
        for healthy in [0, 1, 20] {
            let disk = Disk::default();
            let mut rotation = open(&disk, SMALL);
            assert_eq!(run(&mut rotation, 0, healthy), healthy);
            disk.fail(Some(kind));
            assert_eq!(run(&mut rotation, healthy, 40), 0, "{kind}");
            disk.fail(None);
            assert_eq!(run(&mut rotation, healthy + 40, 10), 10, "{kind}");
            assert_eq!(rotation.counts.lost, 0);
            end(rotation);
            assert_eq!(
                numbers(&read_all(&disk).unwrap()).unwrap(),
                (0..healthy + 50).collect::<Vec<_>>(),
                "{kind} after {healthy}"
            );
        }
    }
}

#[test]
fn what_a_failed_sync_left_out_is_written_again() {
    let disk = Disk::default();
    let mut rotation = open(&disk, SMALL);
    run(&mut rotation, 0, 5);
    disk.fail_syncs(true);
    assert_eq!(run(&mut rotation, 5, 5), 0);
    disk.fail_syncs(false);
    assert_eq!(run(&mut rotation, 10, 5), 5);
    end(rotation);
    assert_eq!(numbers(&read_all(&disk).unwrap()).unwrap(), (0..15).collect::<Vec<_>>());
}

#[test]
fn a_full_disk_takes_the_rest_of_a_line_when_there_is_room() {
    for room in [1, 50, 333, 1_000, 1_999] {
        let disk = Disk::default();
        let mut rotation = open(&disk, Limits { size: 100_000, ..SMALL });
        disk.room(Some(room));
        let well = run(&mut rotation, 0, 60);
        assert!(well < 60);
        disk.room(None);
        assert_eq!(run(&mut rotation, 60, 5), 5);
        end(rotation);
        assert_eq!(numbers(&read_all(&disk).unwrap()).unwrap(), (0..65).collect::<Vec<_>>());
        assert_eq!(disk.files().len(), 2, "one of each day: {:?}", disk.files().keys());
    }
}

#[test]
fn what_finds_no_room_in_memory_is_counted() {
    let disk = Disk::default();
    let mut rotation = open(&disk, SMALL);
    disk.fail(Some(ErrorKind::ReadOnlyFilesystem));
    let mut given = 0;
    while rotation.counts.lost < 10 {
        give(&mut rotation, START_MS, given);
        given += 1;
        assert!(given < 100_000);
    }
    assert!(rotation.sync().is_err());
    disk.fail(None);
    rotation.sync().unwrap();
    let kept = rotation.counts.lines;
    assert_eq!(kept + rotation.counts.lost, given as u64);
    assert!(kept > 9_000);
}

#[test]
fn a_folder_that_is_gone_is_told_though_nothing_comes_and_begun_anew_when_it_is_back() {
    let disk = Disk::default();
    let mut rotation = open(&disk, SMALL);
    run(&mut rotation, 0, 5);
    disk.take_away(true);
    assert_eq!(rotation.sync().unwrap_err().kind(), ErrorKind::NotFound);
    assert_eq!(run(&mut rotation, 5, 5), 0);
    disk.take_away(false);
    assert_eq!(run(&mut rotation, 10, 5), 5);
    end(rotation);
    assert_eq!(numbers(&read_all(&disk).unwrap()).unwrap(), (5..15).collect::<Vec<_>>());
}

#[test]
fn the_oldest_go_when_there_is_too_much() {
    let disk = Disk::default();
    let limits = Limits { size: 1_000, keep: 4_000, floor: 0 };
    let mut rotation = open(&disk, limits);
    for at in 0..40 {
        run(&mut rotation, at * 10, 10);
        pack_all(&mut rotation);
        let total: usize = disk.files().values().map(Vec::len).sum();
        assert!(total <= 4_000 + 1_000, "{total}");
    }
    assert!(rotation.counts.dropped > 5);
    end(rotation);
    let lines = numbers(&read_all(&disk).unwrap()).unwrap();
    assert_eq!(lines.last(), Some(&399));
    assert!(lines.windows(2).all(|pair| pair[1] == pair[0] + 1), "only the beginning is gone");
}

#[test]
fn so_much_of_the_disk_stays_free() {
    let disk = Disk::default();
    disk.room(Some(10_000));
    let limits = Limits { size: 1_000, keep: u64::MAX, floor: 6_000 };
    let mut rotation = open(&disk, limits);
    run(&mut rotation, 0, 300);
    let total: usize = disk.files().values().map(Vec::len).sum();
    assert!(total <= 4_000, "{total}");
    assert!(rotation.counts.dropped > 0);
    // Nothing of ours is left to be dropped: it waits, and says why.
    let mut narrow = open(&Disk::default(), limits);
    narrow.layer.room(Some(6_010));
    give(&mut narrow, START_MS, 0);
    let error = narrow.sync().unwrap_err();
    assert!(error.to_string().contains("are to stay free"), "{error}");
    narrow.layer.room(Some(60_000));
    narrow.sync().unwrap();
}

#[test]
fn what_others_keep_in_the_folder_is_left_alone() {
    use crate::record::file_layer::FileLayer;
    let mut disk = Disk::default();
    for name in ["night.nmea", "notes.txt", "2026-07-01T000000Z.nmea.gz"] {
        let mut file = disk.create(name).unwrap();
        disk.append(&mut file, b"\0mine").unwrap();
    }
    let mut rotation = open(&disk, Limits { keep: 1, ..SMALL });
    run(&mut rotation, 0, 50);
    end(rotation);
    let files = disk.files();
    assert!(["night.nmea", "notes.txt", "2026-07-01T000000Z.nmea.gz"].iter().all(|name| files[*name] == b"\0mine"));
}
