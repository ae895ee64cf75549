//! The survey as a whole, on invented bytes.

use lubber_core::frame::ChecksumPolicy;
use lubber_core::picture::HeadingSettings;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

use super::Around;
use super::At;
use super::Finding;
use super::Kind;
use super::Level;
use super::Survey;

fn sealed(body: &str) -> String {
    format!("${body}*{:02X}\r\n", body.bytes().fold(0, |sum, byte| sum ^ byte))
}

fn survey() -> Survey {
    Survey::new(&[ChecksumPolicy::Required], HeadingSettings::default())
}

fn at(ms: u64) -> At {
    At { now: Instant::from_ms(ms), utc_ms: None }
}

fn around() -> Around {
    Around { sources: vec!["line".into()], policies: vec![ChecksumPolicy::Required], ..Around::default() }
}

fn kinds(findings: &[Finding]) -> Vec<Kind> {
    findings.iter().map(|finding| finding.kind).collect()
}

#[test]
fn bytes_chopped_anywhere_give_the_same() {
    let mut bytes = Vec::new();
    for n in 0..60 {
        bytes.extend(sealed(&format!("HCHDG,{}.5,,,4.1,E", 90 + n % 5)).bytes());
        bytes.extend(sealed("HCHDG,400.5,,,4.1,E").bytes());
        bytes.extend(b"$IIRSA,1.0,A*00\r\n\x1b$II$IIRSA");
        bytes.extend(sealed("IIVHW,,T,90.1,X,5.0,N,,").bytes());
    }
    let hear = |size: usize| {
        let mut survey = survey();
        for chunk in bytes.chunks(size) {
            survey.bytes(at(1_000), SourceId(0), chunk);
        }
        survey.finish(SourceId(0));
        let rows: Vec<_> = survey
            .table()
            .sorted()
            .iter()
            .map(|t| (t.name(), t.read, t.malformed, t.spoilt, t.unusable, t.leap.map(|(leap, _)| leap)))
            .collect();
        (rows, survey.counts(SourceId(0)), survey.findings(&around()))
    };
    let whole = hear(bytes.len());
    assert_eq!(whole.0.len(), 3, "{:?}", whole.0);
    for size in [1, 2, 3, 7, 64, 1000] {
        assert_eq!(hear(size), whole, "in pieces of {size}");
    }
}

#[test]
fn values_are_not_compared_across_a_break_in_time() {
    let run = |broken: bool| {
        let mut survey = survey();
        for s in 0..40_u64 {
            if broken && s == 20 {
                survey.break_in(Instant::from_ms(s * 1000), SourceId(0));
            }
            let heading = if s < 20 { 90 } else { 270 };
            survey.bytes(at(s * 1000), SourceId(0), sealed(&format!("HCHDG,{heading}.0,,,,")).as_bytes());
        }
        survey.table().all()[0].leap.map(|(leap, at)| (leap.thousandths, at.now.as_ms()))
    };
    assert_eq!(run(false), Some((180_000, 20_000)));
    assert_eq!(run(true), Some((0, 1_000)));
}

#[test]
fn silence_of_the_whole_line_is_no_silence_of_one_talker() {
    let mut survey = survey();
    for s in (0..60).chain(200..300_u64) {
        survey.bytes(at(s * 1000), SourceId(0), sealed("HCHDG,90.1,,,,").as_bytes());
        survey.bytes(at(s * 1000 + 100), SourceId(0), sealed("IIRSA,1.0,A,,V").as_bytes());
    }
    let tally = &survey.table().all()[0];
    assert_eq!(tally.gap.map(|gap| gap.length.as_ms()), Some(141_000));
    let own = tally.own_gap.map(|gap| gap.length.as_ms());
    assert!(own.is_some_and(|own| own <= 1_100), "{own:?}");
    assert!(!kinds(&survey.findings(&around())).contains(&Kind::Gaps));
}

#[test]
fn noise_is_told_from_a_dead_line_and_from_a_sound_one() {
    let mut survey = survey();
    assert!(kinds(&survey.findings(&around())).contains(&Kind::Silent));
    // What another speed makes of a line: no start character stands for long.
    let noise: Vec<u8> = (0..2000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8 | 0x80).collect();
    survey.bytes(at(0), SourceId(0), &noise);
    let findings = survey.findings(&around());
    assert_eq!(kinds(&findings), [Kind::Noise]);
    assert_eq!(findings[0].level, Level::Advice);
    assert!(findings[0].text.contains("2\u{a0}000 bytes"), "{}", findings[0].text);
    assert!(findings[0].text.contains("100 % of the bytes are no text") && findings[0].remedy.contains("swapped"));
    // Clean text has come over right wires at the right speed.
    let mut survey = self::survey();
    survey.bytes(at(0), SourceId(0), "all is well here ".repeat(200).as_bytes());
    let findings = survey.findings(&around());
    assert_eq!(kinds(&findings), [Kind::Noise]);
    assert!(findings[0].remedy.contains("does not speak NMEA") && !findings[0].remedy.contains("swapped"));
}

#[test]
fn a_heading_that_is_away_for_seconds_again_and_again_is_counted() {
    let hear = |every_s: u64, away_s: u64| {
        let mut survey = survey();
        for s in 0..3_600_u64 {
            if s % every_s >= away_s {
                survey.bytes(at(s * 1000), SourceId(0), sealed(&format!("HCHDG,{}.1,,,,", 90 + s % 7)).as_bytes());
            }
            survey.bytes(at(s * 1000 + 100), SourceId(0), sealed("IIRSA,1.0,A,,V").as_bytes());
        }
        let findings = survey.findings(&around());
        findings.into_iter().find(|finding| finding.kind == Kind::Gaps).map(|finding| (finding.level, finding.text))
    };
    // 72 times in an hour; the first is before it was ever heard.
    let (level, text) = hear(50, 6).unwrap();
    assert!(text.starts_with("HCHDG was silent 71 times for 5 s or more, 7.00 s at the longest"), "{text}");
    assert_eq!(level, Level::Advice);
    assert_eq!(hear(50, 3), None, "a line that drops a few is no loose plug");
    assert_eq!(hear(1_000, 6), None, "three times in an hour may be chance");
}

#[test]
fn what_came_before_the_time_was_known_is_dated_from_what_followed() {
    let mut survey = survey();
    survey.bytes(at(0), SourceId(0), b"$IIRSA,1.0,A*00\r\n");
    survey.bytes(At { utc_ms: Some(1_783_995_069_300), ..at(5_000) }, SourceId(0), sealed("IIRSA,1.0,A,,V").as_bytes());
    // 1783995069 s: 02:11:09, by `date -u -d @1783995069`.
    assert_eq!(survey.clock(at(0)), "02:11:04");
    assert_eq!(survey.clock(survey.end()), "02:11:09");
}

#[test]
fn memory_does_not_grow_with_strangers() {
    let mut survey = survey();
    for n in 0..26_u32.pow(3) {
        let letter = |place: u32| char::from(b'A' + u8::try_from(n / place % 26).unwrap_or(0));
        let name = format!("X{}{}{}Z", letter(1), letter(26), letter(676));
        survey.bytes(at(0), SourceId(0), sealed(&format!("{name},1")).as_bytes());
    }
    assert_eq!(survey.table().all().len(), super::Table::MOST);
    assert_eq!(survey.table().unlisted, 26_u64.pow(3) - super::Table::MOST as u64);
    assert!(kinds(&survey.findings(&around())).contains(&Kind::TooManyNames));
}
