//! What outlasts a watch, on a real disk.

use std::fs;
use std::path::PathBuf;
use std::time::Duration;
use std::time::SystemTime;

use lubber_core::time::Span;

use super::*;
use crate::clock::Clock;

/// A folder of its own for each test, taken away with it.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("lubber-memory-{}-{name}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        Self(path)
    }

    fn file(&self) -> PathBuf {
        self.0.join("lubber/standing.json")
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn standing(order: &str) -> Standing {
    let alert = Kept {
        alert: "off-heading".into(),
        priority: "alarm".into(),
        state: "active-unacknowledged".into(),
        sensor: Some("HCHDG".into()),
        source: Some("a \"source\"\n".into()),
        part: None,
        follows: false,
        left_utc_s: Some(1_783_987_200),
        text: "heading 168 C, ordered 150 C".into(),
    };
    Standing { order: Some(order.into()), sources: vec!["nav".into()], alerts: vec![alert] }
}

fn left(folder: &Folder) -> Option<Left> {
    Keeper::open(&folder.file()).unwrap().1.unwrap()
}

#[test]
fn the_newest_is_there_when_the_next_watch_looks() {
    let folder = Folder::new("newest");
    let (keeper, first) = Keeper::open(&folder.file()).unwrap();
    assert_eq!(first.unwrap(), None);
    for order in ["wind", "hand", "150.000C"] {
        keeper.keep(standing(order));
    }
    // It is written at its end at the latest.
    drop(keeper);
    let next = left(&folder).unwrap();
    assert_eq!(next.standing, standing("150.000C"));
    assert!(next.ago < Span::from_min(1), "{next:?}");
    // Looked at and not changed, it is still there for the one after.
    assert_eq!(left(&folder).unwrap().standing, standing("150.000C"));
}

#[test]
fn its_age_is_that_of_the_last_sign_of_life() {
    let folder = Folder::new("age");
    let (keeper, _) = Keeper::open(&folder.file()).unwrap();
    keeper.keep(standing("wind"));
    drop(keeper);
    let now = SystemTime::from(Clock::utc());
    let set = |time| fs::File::options().write(true).open(folder.file()).unwrap().set_modified(time).unwrap();
    set(now - Duration::from_secs(7200));
    let ago = left(&folder).unwrap().ago;
    assert!((Span::from_min(120)..Span::from_min(121)).contains(&ago), "{ago:?}");
    // A board whose clock begins in 1970 takes it for fresh: too loud is better than silent.
    set(now + Duration::from_secs(7200));
    assert_eq!(left(&folder).unwrap().ago, Span::ZERO);
}

#[test]
fn what_is_damaged_is_moved_aside_and_said() {
    let folder = Folder::new("damaged");
    for (content, part) in [
        (&b"{\"schema\":1,\"order\":null,\"ale"[..], "EOF"),
        (b"", "EOF"),
        (b"\xff\x00", "expected value"),
        (b"{\"schema\":2,\"order\":null,\"alerts\":[]}", "its schema is 2"),
        (&[b' '; 300 << 10], "far too long"),
    ] {
        fs::create_dir_all(folder.0.join("lubber")).unwrap();
        fs::write(folder.file(), content).unwrap();
        let (keeper, left) = Keeper::open(&folder.file()).unwrap();
        let said = left.unwrap_err().to_string();
        assert!(said.contains("damaged") && said.contains(part) && said.contains("standing.json.damaged"), "{said}");
        assert_eq!(fs::read(folder.0.join("lubber/standing.json.damaged")).unwrap(), content);
        keeper.keep(standing("hand"));
        drop(keeper);
        let (_, left) = Keeper::open(&folder.file()).unwrap();
        assert_eq!(left.unwrap().unwrap().standing, standing("hand"));
    }
}

#[test]
fn a_watch_that_never_began_does_not_make_the_last_one_younger() {
    let folder = Folder::new("never-began");
    let (keeper, _) = Keeper::open(&folder.file()).unwrap();
    keeper.keep(standing("wind"));
    drop(keeper);
    let old = std::time::SystemTime::from(Clock::utc()) - Duration::from_secs(7200);
    fs::File::options().write(true).open(folder.file()).unwrap().set_modified(old).unwrap();
    for alive in [false, false, true] {
        let (keeper, left) = Keeper::open(&folder.file()).unwrap();
        let Left { standing: kept, ago } = left.unwrap().unwrap();
        assert!(kept == standing("wind") && ago >= Span::from_min(120), "{ago:?}");
        if alive {
            keeper.alive();
        }
    }
    assert!(left(&folder).unwrap().ago < Span::from_min(1));
}

#[test]
fn two_watches_do_not_share_one() {
    let folder = Folder::new("two");
    let (keeper, _) = Keeper::open(&folder.file()).unwrap();
    let refused = Keeper::open(&folder.file()).unwrap_err();
    assert!(refused.to_string().contains("another watch") && refused.to_string().contains("--state FILE"), "{refused}");
    drop(keeper);
    assert!(Keeper::open(&folder.file()).is_ok());
}

#[test]
fn what_cannot_be_written_is_reported_and_tried_again() {
    let folder = Folder::new("full");
    let (keeper, _) = Keeper::open(&folder.file()).unwrap();
    // A folder in the way of the new file: what a full or read-only disk would do, and root too.
    let in_the_way = folder.0.join("lubber/standing.json.new");
    fs::create_dir(&in_the_way).unwrap();
    keeper.keep(standing("wind"));
    let report = || {
        let clock = Clock::start();
        loop {
            if let Some(report) = keeper.report() {
                return report;
            }
            assert!(clock.now().since(Default::default()) < Span::from_s(60), "no report");
            std::thread::park_timeout(Duration::from_millis(5));
        }
    };
    assert!(matches!(report(), Report::Fails(why) if why.contains("--state FILE")));
    fs::remove_dir(&in_the_way).unwrap();
    keeper.alive();
    assert_eq!(report(), Report::Works);
    drop(keeper);
    assert_eq!(left(&folder).unwrap().standing, standing("wind"));
    // A file that somebody took away is made anew by the next sign of life.
    let (keeper, _) = Keeper::open(&folder.file()).unwrap();
    fs::remove_file(folder.file()).unwrap();
    keeper.alive();
    drop(keeper);
    assert_eq!(left(&folder).unwrap().standing, standing("wind"));
}

#[test]
fn where_it_lies() {
    let path = |text: &str| Some(PathBuf::from(text));
    assert_eq!(place(path("/var/lib/lubber"), path("/state"), None), path("/var/lib/lubber/standing.json"));
    assert_eq!(place(None, path("/state"), path("/home/me")), path("/state/lubber/standing.json"));
    assert_eq!(place(None, path("state"), path("/home/me")), path("/home/me/.local/state/lubber/standing.json"));
    assert_eq!(place(None, None, path("me")), None);
    let nowhere = Keeper::open(std::path::Path::new("/proc/no/such/standing.json")).unwrap_err();
    assert!(nowhere.to_string().contains("--state FILE"), "{nowhere}");
}
