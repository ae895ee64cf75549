//! The framer's rules one by one. Checksums in the lines are computed by hand where no source is named.

use std::string::String;
use std::vec::Vec;

use super::*;

const HDG: &str = "$HCHDG,98.3,0.1,E,12.6,W*56";

/// What came of `stream`, in short: a line as its text, a refusal as its reason and length.
fn frame(policy: ChecksumPolicy, stream: &str) -> Vec<Result<String, (Refusal, u32)>> {
    let mut framer = Framer::new(policy);
    let mut seen = Vec::new();
    let mut out = |framed: Framed<'_>| {
        seen.push(match framed {
            Framed::Line(line) => Ok(String::from_utf8(line.raw.to_vec()).unwrap()),
            Framed::Refused(refused) => Err((refused.reason, refused.bytes)),
        });
    };
    framer.feed(stream.as_bytes(), &mut out);
    framer.finish(&mut out);
    assert_eq!(framer.pending(), 0);
    seen
}

fn required(stream: &str) -> Vec<Result<String, (Refusal, u32)>> {
    frame(ChecksumPolicy::Required, stream)
}

fn line(text: &str) -> Result<String, (Refusal, u32)> {
    Ok(text.into())
}

#[test]
fn a_sentence_is_complete_at_its_second_digit() {
    let mut framer = Framer::new(ChecksumPolicy::Required);
    let mut lines = 0;
    let (last, head) = HDG.as_bytes().split_last().unwrap();
    framer.feed(head, &mut |_| lines += 1);
    assert_eq!(framer.pending(), head.len() as u64);
    framer.feed(&[*last], &mut |_| lines += 10);
    assert_eq!((lines, framer.pending()), (10, 0));
    assert_eq!(required(&std::format!("{HDG}{HDG}\n{HDG}\r\n")), [line(HDG), line(HDG), line(HDG)]);
}

#[test]
fn the_parts_of_a_line() {
    let mut framer = Framer::new(ChecksumPolicy::Required);
    let mut lines = 0;
    framer.feed(HDG.as_bytes(), &mut |framed| {
        let Framed::Line(line) = framed else { panic!("{framed:?}") };
        assert_eq!((line.talker().as_str(), line.formatter().as_str()), ("HC", "HDG"));
        assert_eq!((line.address, line.body), (&b"HCHDG"[..], Some(&b"98.3,0.1,E,12.6,W"[..])));
        assert_eq!((line.start, line.checksum), (Start::Parametric, Checksum::Right));
        lines += 1;
    });
    // An encapsulated one, without a comma.
    framer.feed(b"!HEHDT*55", &mut |framed| {
        let Framed::Line(line) = framed else { panic!("{framed:?}") };
        assert_eq!((line.address, line.body, line.start), (&b"HEHDT"[..], None, Start::Encapsulated));
        lines += 1;
    });
    assert_eq!(lines, 2);
}

#[test]
fn a_missing_checksum_is_the_policys_to_judge() {
    let stream = "$HEHDT,1,T\r\n$HEHDT,2,T\n$HEHDT,3,T";
    let missing = Err((Refusal::ChecksumMissing, 10));
    let unfinished = Err((Refusal::Unfinished, 10));
    assert_eq!(required(stream), [missing.clone(), missing, unfinished.clone()]);
    for policy in [ChecksumPolicy::Optional, ChecksumPolicy::Ignored] {
        assert_eq!(frame(policy, stream), [line("$HEHDT,1,T"), line("$HEHDT,2,T"), unfinished.clone()]);
    }
}

#[test]
fn a_wrong_checksum_passes_only_where_it_is_ignored() {
    // As printed in "NMEA Revealed"; the exclusive or is 20.
    let bad = "$GPRMB,A,0.66,L,003,004,4917.24,N,12309.57,W,001.3,052.5,000.5,V*0B";
    let refused = Err((Refusal::ChecksumWrong, bad.len() as u32));
    assert_eq!(required(bad), std::slice::from_ref(&refused));
    assert_eq!(frame(ChecksumPolicy::Optional, bad), [refused]);
    assert_eq!(frame(ChecksumPolicy::Ignored, bad), [line(bad)]);
}

#[test]
fn half_a_checksum_is_none_in_every_policy() {
    for policy in [ChecksumPolicy::Required, ChecksumPolicy::Optional, ChecksumPolicy::Ignored] {
        for (stream, bytes) in [("$HEHDT,1,T*\r\n", 11), ("$HEHDT,1,T*3\n", 12), ("$HEHDT,1,T*G3\n", 12)] {
            assert_eq!(frame(policy, stream), [Err((Refusal::ChecksumMalformed, bytes))], "{stream}");
        }
        assert_eq!(frame(policy, "$HEHDT,1,T*3"), [Err((Refusal::Unfinished, 12))]);
    }
}

#[test]
fn a_start_character_begins_anew_wherever_it_stands() {
    for (cut, reason) in [
        ("$HCHDG,98", Refusal::Interrupted),
        ("$HCHDG,98*", Refusal::Interrupted),
        ("$HCHDG,98*5", Refusal::Interrupted),
        ("$", Refusal::Interrupted),
        ("\\s:boat", Refusal::Interrupted),
        ("\\s:boat*00\\", Refusal::TagChecksum),
    ] {
        let seen = required(&std::format!("{cut}{HDG}"));
        let [Err((seen_reason, bytes)), good] = seen.as_slice() else { panic!("{cut}: {seen:?}") };
        // The closing backslash of a refused TAG block may be the next one's start: between.
        assert_eq!((*seen_reason, *bytes as usize), (reason, cut.strip_suffix('\\').unwrap_or(cut).len()), "{cut}");
        assert_eq!(*good, line(HDG));
    }
}

#[test]
fn the_tail_of_a_refused_line_is_never_a_sentence() {
    // A byte is lost and replaced, a good-looking tail follows; only the next start counts.
    assert_eq!(required("$HC\u{7}HDG,98.3,0.1,E,12.6,W*56\r\n"), [Err((Refusal::Unprintable, 4))]);
    assert_eq!(
        required(&std::format!("$HCHDG{}HCHDG,98.3,0.1,E,12.6,W*56\r\n{HDG}", "1".repeat(250))),
        [Err((Refusal::TooLong, 256)), line(HDG)]
    );
}

#[test]
fn the_limit_is_256_bytes() {
    let long = |n: usize| std::format!("$HCXDR,{}\r\n", "1".repeat(n - 7));
    assert_eq!(frame(ChecksumPolicy::Optional, &long(256)), [line(long(256).trim_end())]);
    assert_eq!(frame(ChecksumPolicy::Optional, &long(257)), [Err((Refusal::TooLong, 256))]);
    let mut framer = Framer::new(ChecksumPolicy::Optional);
    for n in [80, 81, 256] {
        framer.feed(long(n).as_bytes(), &mut |_| {});
    }
    assert_eq!((framer.counts().sentences, framer.counts().overlong), (3, 2), "80 and CR LF are 82");
}

#[test]
fn an_address_names_a_talker_and_a_formatter() {
    for good in ["HEHDT", "P1ABC", "PABC", "PABCd-e", "12345"] {
        let stream = std::format!("${good},1\n");
        assert_eq!(frame(ChecksumPolicy::Optional, &stream), [line(stream.trim_end())]);
    }
    for bad in ["", "HE", "HEHD", "HEHDTX", "heHDT", "HE DT", "PAB", "PA-C", "pABC"] {
        let stream = std::format!("${bad},1\n");
        let refused = Err((Refusal::NoAddress, bad.len() as u32 + 3));
        assert_eq!(frame(ChecksumPolicy::Optional, &stream), [refused], "{bad}");
    }
    // Whatever the checksum: the exclusive or of nothing is 00, that of HE is 0D.
    assert_eq!(required("$*00$HE*0D$HE*00$HE\n").len(), 4);
    assert!(required("$*00$HE*0D$HE*00$HE\n").iter().all(|seen| matches!(seen, Err((Refusal::NoAddress, _)))));
}

#[test]
fn tag_blocks_go_with_what_follows_them() {
    let time = |stream: &str| {
        let mut framer = Framer::new(ChecksumPolicy::Required);
        let mut seen = Vec::new();
        framer.feed(stream.as_bytes(), &mut |framed| {
            seen.push(match framed {
                Framed::Line(line) => Ok(line.tag.unix_ms),
                Framed::Refused(refused) => Err((refused.reason, refused.bytes)),
            });
        });
        (seen, framer.counts().sentence_bytes, framer.counts().between)
    };
    let length = HDG.len() as u64;
    let with = |tags: &str| time(&std::format!("{tags}{HDG}"));
    assert_eq!(with("\\c:5*6C\\"), ([Ok(Some(5000))].into(), 8 + length, 0));
    assert_eq!(
        with("\\s:x*31\\\\c:5*6C\\\\c:1*68\\"),
        ([Ok(Some(5000))].into(), 24 + length, 0),
        "the first time holds"
    );
    assert_eq!(with("\\c:5*6C\\\r\n"), ([Err((Refusal::TagAlone, 8)), Ok(None)].into(), length, 2));
    assert_eq!(with("\\c:5*00\\"), ([Err((Refusal::TagChecksum, 7)), Ok(None)].into(), length, 1));
    assert_eq!(with("\\c:5\\"), ([Err((Refusal::TagChecksum, 4)), Ok(None)].into(), length, 1));
    assert_eq!(with("\\c:5*6"), ([Err((Refusal::Interrupted, 6)), Ok(None)].into(), length, 0));
    assert_eq!(with("\\c:5*6C\r\n"), ([Err((Refusal::TagMalformed, 7)), Ok(None)].into(), length, 2));
    assert_eq!(with("\\c:5\u{1}"), ([Err((Refusal::Unprintable, 5)), Ok(None)].into(), length, 0));
    assert_eq!(with("\\\\\\\\"), ([Ok(None)].into(), length, 4), "lone backslashes are between");
    // A group is refused as one, and the sentence behind it stands without a time.
    assert_eq!(with("\\c:5*6C\\\\c:1*00\\"), ([Err((Refusal::TagChecksum, 15)), Ok(None)].into(), length, 1));
    // A sound block before a bad sentence is refused with it and does not reach the next.
    let bad = "\\c:5*6C\\$HEHDT,1*00";
    assert_eq!(with(bad), ([Err((Refusal::ChecksumWrong, 19)), Ok(None)].into(), length, 0));
}

#[test]
fn the_end_of_the_stream_closes_what_is_open() {
    assert_eq!(required("\\c:5*6C\\"), [Err((Refusal::Unfinished, 8))]);
    assert_eq!(required("\\c:5*6C\\$HE"), [Err((Refusal::Unfinished, 11))]);
    assert_eq!(required("\\c:5*6C\\\\"), [Err((Refusal::Unfinished, 9))]);
    assert_eq!(required("\\c:5*00\\"), [Err((Refusal::TagChecksum, 7))]);
    assert_eq!(required("junk \r\n"), []);
    // A framer goes on after an end: a source that comes back.
    let mut framer = Framer::new(ChecksumPolicy::Required);
    framer.feed(b"$HCHDG,98.3", &mut |_| {});
    framer.finish(&mut |_| {});
    framer.feed(b",0.1,E,12.6,W*56", &mut |framed| panic!("{framed:?}"));
    framer.feed(HDG.as_bytes(), &mut |_| {});
    assert_eq!((framer.counts().sentences, framer.counts().between), (1, 16));
}

#[test]
fn junk_without_end_takes_no_memory_and_loses_nothing() {
    let mut framer = Framer::new(ChecksumPolicy::Ignored);
    let junk = [b'x'; 4096];
    framer.feed(b"$", &mut |_| {});
    let mut refused = 0;
    for _ in 0..1000 {
        framer.feed(&junk, &mut |_| refused += 1);
    }
    assert_eq!((refused, framer.pending()), (1, 0));
    assert_eq!((framer.counts().refused_bytes, framer.counts().between), (256, 4_095_745));
}
