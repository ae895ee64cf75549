//! What logs in memory become when replayed.

use std::io::Cursor;
use std::slice;

use lubber_core::frame::ChecksumPolicy;

use crate::input::InputError;
use crate::input::LogNote;
use crate::input::NoteKind;
use crate::input::Replay;
use crate::input::ReplayOptions;
use crate::input::Source;
use crate::input::replay::Opened;
use crate::input::unpack::CutShort;

/// 2026-07-14T10:00:00Z.
const TEN: i64 = 1_784_023_200_000;

/// A piece, kept: source, at, UTC, text.
type Kept = (u8, u64, Option<i64>, String);

fn summed(body: &str) -> String {
    let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    format!("${body}*{sum:02X}\r\n")
}

fn rmc(time: &str, date: &str) -> String {
    summed(&format!("GPRMC,{time},A,4321.0,N,00812.0,W,5.1,151.0,{date},4.1,W,A"))
}

fn gll(time: &str) -> String {
    summed(&format!("GPGLL,4321.0,N,00812.0,W,{time},A,A"))
}

fn hdg() -> String {
    summed("HCHDG,150.2,,,4.1,W")
}

fn opened(texts: &[String], options: &ReplayOptions) -> Result<Replay, InputError> {
    let open = |text: &String| Opened {
        from: Source::File("invented.nmea".into()),
        input: Box::new(Cursor::new(text.clone().into_bytes())),
        bytes: Some(text.len() as u64),
        cut_short: CutShort::default(),
    };
    Replay::of(texts.iter().map(open).collect(), options)
}

fn replay_with(texts: &[String], options: &ReplayOptions) -> (Vec<Kept>, Vec<LogNote>) {
    let mut replay = opened(texts, options).unwrap_or_else(|error| panic!("{error}"));
    let (mut pieces, mut notes, mut last): (Vec<Kept>, _, _) = (Vec::new(), Vec::new(), 0);
    while let Some(piece) = replay.next().unwrap() {
        assert!(piece.at.as_ms() >= last && !piece.bytes.is_empty());
        last = piece.at.as_ms();
        pieces.push((piece.source.0, last, piece.utc_ms, String::from_utf8_lossy(piece.bytes).into_owned()));
        notes.extend(replay.take_notes());
    }
    notes.extend(replay.take_notes());
    for (index, text) in texts.iter().enumerate() {
        let of_it = pieces.iter().filter(|piece| usize::from(piece.0) == index);
        assert_eq!(of_it.map(|piece| piece.3.as_str()).collect::<String>(), *text, "no byte is lost or moved");
    }
    let bytes = texts.iter().map(|text| text.len() as u64).sum();
    assert_eq!((replay.progress().read, replay.progress().total), (bytes, Some(bytes)));
    (pieces, notes)
}

fn replay(text: &str) -> (Vec<Kept>, Vec<LogNote>) {
    replay_with(&[text.to_owned()], &ReplayOptions::default())
}

fn moments(pieces: &[Kept]) -> Vec<u64> {
    pieces.iter().map(|piece| piece.1).collect()
}

fn kinds(notes: &[LogNote]) -> Vec<NoteKind> {
    notes.iter().map(|note| note.kind).collect()
}

/// Sentences of `n` seconds from `hour`:00:00: RMC with the date, three headings, a GLL each.
fn seconds(hour: u32, from: u32, to: u32, date: &str) -> String {
    let time = |s: u32| format!("{hour:02}{:02}{:02}", s / 60, s % 60);
    (from..to).map(|s| rmc(&time(s), date) + &hdg() + &hdg() + &hdg() + &gll(&time(s))).collect()
}

#[test]
fn sentences_are_spread_between_the_times_they_stand_between() {
    let (pieces, notes) = replay(&seconds(10, 0, 4, "140726"));
    // RMC at 0, then five lines to the next RMC at 1000, and so on; the tail at the usual pace.
    let expected: Vec<u64> = (0..20).map(|line| line * 200).collect();
    assert_eq!(moments(&pieces), expected);
    assert_eq!(pieces[5].2, Some(TEN + 1000));
    assert_eq!(kinds(&notes), []);
}

#[test]
fn lines_before_the_first_time_lead_up_to_it() {
    let (pieces, _) = replay(&(hdg() + &hdg() + &seconds(10, 0, 9, "140726")));
    assert_eq!(moments(&pieces)[..4], [0, 200, 400, 600]);
    assert_eq!(pieces[2].2, Some(TEN));
    assert_eq!(pieces[0].2, Some(TEN - 400));
}

#[test]
fn each_kind_of_stamp_drives_time_and_what_has_none_stands_still() {
    for stamp in ["[2026-07-14T10:00:0S.250Z] ", "178402320S.25 ", "178402320S250 ", "2026-07-14 12:00:0S,25+02:00;"] {
        let line = |s: u32| stamp.replace('S', &s.to_string()) + &hdg();
        let (pieces, notes) = replay(&(line(1) + &line(2) + &hdg() + "# a remark\r\n" + &line(4)));
        assert_eq!(moments(&pieces), [0, 1000, 1000, 1000, 3000], "{stamp}: what has none stands still");
        assert_eq!(pieces[0].2, Some(TEN + 1250));
        assert_eq!(kinds(&notes), []);
    }
}

#[test]
fn a_gap_stays_a_gap_and_an_outlier_is_not_believed() {
    let text = seconds(10, 0, 4, "140726") + &seconds(11, 0, 4, "140726");
    let (pieces, notes) = replay(&text);
    assert_eq!(pieces[20].1, 3_600_000);
    assert!(pieces[19].1 <= 4000, "what stood before the gap stays there: {}", pieces[19].1);
    assert!(matches!(kinds(&notes)[..], [NoteKind::Gap { ms: 3_590_000..=3_600_000 }]), "{notes:?}");

    let text = seconds(10, 0, 4, "140726") + &rmc("231500", "140726") + &seconds(10, 4, 8, "140726");
    let (pieces, notes) = replay(&text);
    assert!(pieces.last().unwrap().1 <= 8000);
    assert_eq!(kinds(&notes), [NoteKind::Outlier]);
}

#[test]
fn time_that_steps_back_goes_on_from_where_it_was() {
    let text = seconds(10, 0, 10, "140726") + &seconds(9, 0, 10, "140726");
    let (pieces, notes) = replay(&text);
    let last = pieces.last().unwrap();
    assert!((18_500..=20_500).contains(&last.1), "{}", last.1);
    assert!((TEN - 3_600_000..TEN - 3_580_000).contains(&last.2.unwrap()));
    assert_eq!(kinds(&notes), [NoteKind::StepBack { ms: 3_609_000 }]);

    let stamped = |s: i64| format!("{}.0 {}", TEN / 1000 + s, hdg());
    let (pieces, notes) = replay(&[0, 1, 2, -100, -99, -98].map(stamped).concat());
    assert_eq!(pieces.last().unwrap().1, 4000);
    assert_eq!(kinds(&notes), [NoteKind::StepBack { ms: 102_000 }]);
}

#[test]
fn a_stamped_gap_is_dated_to_the_line() {
    let stamped = |s: i64| format!("{}.0 {}", TEN / 1000 + s, hdg());
    let (pieces, notes) = replay(&[0, 1, 3601, 3602].map(stamped).concat());
    assert_eq!(moments(&pieces), [0, 1000, 3_601_000, 3_602_000]);
    assert_eq!(kinds(&notes), [NoteKind::Gap { ms: 3_600_000 }]);
}

#[test]
fn heading_goes_on_at_the_usual_pace_where_the_position_is_lost() {
    // Five lines a second for 20 s, then 90 s of headings alone, then time again.
    let alone: String = (0..450).map(|_| hdg()).collect();
    let text = seconds(10, 0, 20, "140726") + &alone + &seconds(10, 110, 114, "140726");
    let (pieces, notes) = replay(&text);
    for (index, piece) in pieces.iter().enumerate().skip(100).take(450) {
        let expected = index as i64 * 200;
        assert!((piece.1 as i64 - expected).abs() <= 1000, "line {index} at {}", piece.1);
    }
    assert!(matches!(kinds(&notes)[..], [NoteKind::WithoutTime { ms: 90_000..=92_000 }]), "{notes:?}");

    // And where it never comes back.
    let (pieces, _) = replay(&(seconds(10, 0, 20, "140726") + &alone.repeat(20)));
    let last = pieces.last().unwrap().1 as i64;
    assert!((last - 9_100 * 200).abs() <= 20_000, "{last}");
}

#[test]
fn times_without_a_date_pass_midnight_and_have_no_utc() {
    let text: String = ["235958", "235959", "000000", "000001"].map(|time| gll(time) + &hdg()).concat();
    let (pieces, _) = replay(&text);
    assert_eq!(pieces[6].1, 3000);
    assert!(pieces.iter().all(|piece| piece.2.is_none()));
    let options = ReplayOptions { start: Some(TEN), ..ReplayOptions::default() };
    let (pieces, _) = replay_with(&[text], &options);
    // The midnight nearest to ten in the morning is that morning's.
    assert_eq!(pieces[4].2, Some(TEN - 36_000_000));
    let text: String = (0..4).map(|s| rmc(&format!("11080{s}"), "010170") + &hdg()).collect();
    assert!(replay(&text).0.iter().all(|piece| piece.2.is_none()), "1970 is no date");
}

#[test]
fn only_a_right_checksum_drives_time_unless_the_owner_says_otherwise() {
    let spoil = |text: String| text.replace("*", "*0").replace("*00", "*10");
    let text = spoil(seconds(10, 0, 4, "140726"));
    let error = opened(slice::from_ref(&text), &ReplayOptions::default()).unwrap_err();
    assert!(matches!(error, InputError::NoRightChecksum { lines: 20, .. }), "{error}");
    let options = ReplayOptions { checksums: vec![ChecksumPolicy::Ignored], ..ReplayOptions::default() };
    assert_eq!(replay_with(&[text], &options).0[5].1, 1000);
}

#[test]
fn times_that_are_there_and_cannot_be_trusted_are_said_to_be_so() {
    let spoil = |text: String| text.replace("*", "*0").replace("*00", "*10");
    // Every time is spoilt, and some headings are sound: 20 of 25 lines.
    let text = spoil(seconds(10, 0, 4, "140726")) + &hdg().repeat(5);
    let error = opened(slice::from_ref(&text), &ReplayOptions::default()).unwrap_err();
    assert!(matches!(error, InputError::NoTrustedTime { percent: 80, timed: 8, rule: "ignored", .. }), "{error}");
    let said = error.to_string();
    for must in ["80 % of the lines", "lubber listen", "--checksum ignored", "damaged lines will then pass"] {
        assert!(said.contains(must), "{said}");
    }
    // Without checksums it is another rule that lets them pass.
    let bare: String =
        seconds(10, 0, 4, "140726").lines().map(|line| line[..line.len() - 3].to_owned() + "\r\n").collect();
    let error = opened(slice::from_ref(&(bare + &hdg().repeat(5))), &ReplayOptions::default()).unwrap_err();
    assert!(matches!(error, InputError::NoTrustedTime { fault: "no", rule: "optional", .. }), "{error}");
}

#[test]
fn a_log_without_time_needs_a_rate() {
    let text = hdg().repeat(5);
    let error = opened(slice::from_ref(&text), &ReplayOptions::default()).unwrap_err().to_string();
    assert!(error.contains("--start") && error.contains("--rate"), "{error}");
    let options = ReplayOptions { start: Some(TEN), rate: Some(4.0), ..ReplayOptions::default() };
    let (pieces, _) = replay_with(slice::from_ref(&text), &options);
    assert_eq!(moments(&pieces), [0, 250, 500, 750, 1000]);
    assert_eq!(pieces[4].2, Some(TEN + 1000));
    let (pieces, notes) = replay_with(&[seconds(10, 0, 4, "140726")], &options);
    assert_eq!((pieces[5].1, kinds(&notes)), (1000, vec![NoteKind::RateNotUsed]));
    for rate in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let options = ReplayOptions { rate: Some(rate), ..ReplayOptions::default() };
        assert!(matches!(opened(slice::from_ref(&text), &options), Err(InputError::Rate { .. })));
    }
}

#[test]
fn logs_are_merged_by_time_and_one_without_a_date_is_laid_beside() {
    let a = seconds(10, 0, 4, "140726");
    let b: String = ["100001", "100002", "100003"].map(|time| gll(time) + &hdg()).concat();
    let (pieces, _) = replay_with(&[a, b], &ReplayOptions::default());
    let first_of_b = pieces.iter().find(|piece| piece.0 == 1).unwrap();
    assert_eq!(first_of_b.1, 1000);
    assert!(pieces.windows(2).any(|pair| pair[0].0 != pair[1].0));
}

#[test]
fn what_is_no_log_is_refused_with_its_nature() {
    for (text, part) in [
        (String::new(), "is empty"),
        ("\0".repeat(3000), "mostly zero bytes"),
        ("\u{1}\u{2}\u{fffd}".repeat(100), "not text"),
        ("Dear all, the berth is $12.50 a night.\n".repeat(50), "text of another kind"),
        ("PK\u{3}\u{4}".to_owned(), "unpack it first"),
    ] {
        let error = opened(&[text], &ReplayOptions::default()).unwrap_err().to_string();
        assert!(error.contains(part), "{error}");
    }
}

#[test]
fn a_log_cut_in_mid_line_and_without_line_ends_keeps_every_byte() {
    let whole = seconds(10, 0, 6, "140726");
    for cut in [1, 7, 60, 111] {
        replay(&whole[cut..whole.len() - cut]);
    }
    let (pieces, _) = replay(&whole.replace("\r\n", "\r"));
    assert_eq!(pieces[5].1, 1000);
    let zeros = "\0".repeat(300_000);
    let (pieces, _) = replay(&(whole.clone() + &zeros + &whole));
    assert!(pieces.len() > 40);
}

#[test]
fn the_pieces_do_not_depend_on_how_the_bytes_come() {
    struct Drip(Cursor<Vec<u8>>, usize);
    impl std::io::Read for Drip {
        fn read(&mut self, buf: &mut [u8]) -> std::io::Result<usize> {
            let length = buf.len().min(self.1);
            self.0.read(&mut buf[..length])
        }
    }
    let text = hdg() + &seconds(10, 0, 30, "140726") + &rmc("231500", "140726") + &seconds(11, 0, 9, "140726");
    let (whole, _) = replay(&text);
    for step in [1, 2, 7, 61, 4096] {
        let input = Box::new(Drip(Cursor::new(text.clone().into_bytes()), step));
        let one = Opened { from: Source::Stdin, input, bytes: None, cut_short: Default::default() };
        let mut replay = Replay::of(vec![one], &ReplayOptions::default()).unwrap();
        let mut at = 0;
        while let Some(piece) = replay.next().unwrap() {
            let text = String::from_utf8_lossy(piece.bytes).into_owned();
            assert_eq!((0, piece.at.as_ms(), piece.utc_ms, text), whole[at]);
            at += 1;
        }
        assert_eq!(at, whole.len());
    }
}

#[test]
fn a_recorder_without_a_clock_battery_loses_no_time_when_its_clock_is_set() {
    let stamped = |at: &str| format!("[{at}Z] {}", hdg());
    let text =
        ["1970-01-01T00:00:10", "1970-01-01T00:00:11", "2026-07-14T10:00:00", "2026-07-14T10:00:01"].map(stamped);
    let (pieces, notes) = replay(&text.concat());
    assert_eq!(moments(&pieces), [0, 1000, 1000, 2000]);
    assert_eq!((pieces[1].2, pieces[3].2), (None, Some(TEN + 1000)));
    assert_eq!(kinds(&notes), [NoteKind::ClockSet]);
}

#[test]
fn a_rollover_is_mended_by_the_other_receiver_and_an_old_log_is_left_alone() {
    // 2026-07-14 less 1024 weeks is 2006-11-28.
    let text: String = (0..9).map(|s| rmc(&format!("10000{s}"), "281106") + &hdg()).collect();
    let (pieces, notes) = replay(&text);
    assert_eq!((pieces[0].2, kinds(&notes)), (Some(TEN - 7168 * 86_400_000), vec![]));
    let zda = |s: u32| summed(&format!("GNZDA,10000{s}.50,14,07,2026,00,00"));
    let text: String = (0..9).map(|s| rmc(&format!("10000{s}"), "281106") + &hdg() + &zda(s)).collect();
    let (pieces, notes) = replay(&text);
    assert_eq!(pieces[0].2, Some(TEN));
    assert_eq!(kinds(&notes), [NoteKind::RolloverMended { weeks: 1024 }]);
    assert!(pieces.last().unwrap().1 <= 8500);
}

#[test]
fn damage_costs_no_byte_and_never_time() {
    let stamped: String = (0..200).map(|s| format!("{}.0 {}", TEN / 1000 + s, hdg())).collect();
    let clean = [seconds(10, 0, 60, "140726"), stamped];
    let mut state = 0x2545_F491_4F6C_DD1D_u64;
    let mut random = |below: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state % below as u64) as usize
    };
    for round in 0..300 {
        let mut bytes = clean[round % 2].clone().into_bytes();
        // Not so much that two spoilt stamps side by side agree: those would be believed.
        for _ in 0..random(60) {
            let at = random(bytes.len());
            match random(4) {
                0 => bytes[at] = b"$!\\\r\n,*0123456789cZ:\0"[random(21)],
                1 => bytes.truncate(at.max(4000)),
                2 => drop(bytes.remove(at)),
                _ => bytes.insert(at, b'0' + random(10) as u8),
            }
        }
        let text = String::from_utf8(bytes).unwrap();
        let (pieces, _) = replay(&text);
        assert!(pieces.last().unwrap().1 <= 400_000, "round {round}: {}", pieces.last().unwrap().1);
    }
}

#[test]
fn times_minutes_apart_spread_the_lines_between_them() {
    let text: String = (0..6).map(|m| rmc(&format!("10{:02}00", m * 2), "140726") + &hdg().repeat(119)).collect();
    let (pieces, notes) = replay(&text);
    for (line, piece) in pieces.iter().enumerate() {
        assert!((piece.1 as i64 - line as i64 * 1000).abs() <= 1000, "line {line} at {}", piece.1);
    }
    assert!(kinds(&notes).iter().all(|kind| matches!(kind, NoteKind::WithoutTime { .. })), "{notes:?}");
}
