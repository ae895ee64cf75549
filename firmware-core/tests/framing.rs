//! Framing against an obvious slow framer, over byte soups, chopped anywhere; and against published lines.

mod framing {
    pub(crate) mod event;
    pub(crate) mod oracle;
    pub(crate) mod soup;
}

use framing::event::Event;
use framing::event::feed_chopped;
use framing::event::feed_whole;
use framing::oracle;
use framing::soup;
use lubber_core::frame::Checksum;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Refusal;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;

const POLICIES: [ChecksumPolicy; 3] = [ChecksumPolicy::Required, ChecksumPolicy::Optional, ChecksumPolicy::Ignored];

fn settings(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(settings(1500))]

    #[test]
    fn the_framer_equals_the_obvious_slow_one(stream in soup::stream(), policy in soup::policy()) {
        let (events, counts, pending) = feed_whole(&stream, policy);
        let expected = oracle::frame(&stream, policy);
        prop_assert_eq!(events, expected.events);
        prop_assert_eq!(counts, expected.counts);
        prop_assert_eq!(pending, 0, "after the end nothing is pending");
    }

    #[test]
    fn chopping_changes_nothing(stream in soup::stream(), policy in soup::policy(), cuts in soup::cuts()) {
        let whole = feed_whole(&stream, policy);
        prop_assert_eq!(&feed_chopped(&stream, policy, cuts.iter().copied()), &whole);
        prop_assert_eq!(&feed_chopped(&stream, policy, std::iter::repeat(1)), &whole);
    }

    #[test]
    fn a_good_sentence_is_delivered_whatever_stands_before_it(
        garbage in soup::stream(),
        sentence in soup::good_sentence(),
        policy in soup::policy(),
    ) {
        let stream = [garbage.as_slice(), &sentence].concat();
        let (events, ..) = feed_whole(&stream, policy);
        let Some(Event::Line { raw, .. }) = events.last() else { panic!("{events:?}") };
        prop_assert_eq!(raw, &sentence);
    }

    #[test]
    fn refusals_and_lines_add_up(stream in soup::stream(), policy in soup::policy()) {
        let (events, counts, _) = feed_whole(&stream, policy);
        let refused: u64 = events.iter().filter_map(Event::refused_bytes).sum();
        prop_assert_eq!(refused, counts.refused_bytes);
        prop_assert_eq!(events.len() as u64, counts.sentences + counts.refused_total());
        for reason in Refusal::ALL {
            let seen = events.iter().filter(|event| event.reason() == Some(reason)).count();
            prop_assert_eq!(seen as u64, counts.refused[reason as usize], "{:?}", reason);
        }
    }
}

/// So that the comparisons above cannot pass by comparing nothing.
#[test]
fn the_soups_hold_every_kind_of_event() {
    let mut runner = TestRunner::deterministic();
    let mut refused = [0; Refusal::ALL.len()];
    let (mut lines, mut wrong, mut missing, mut timed, mut overlong) = (0, 0, 0, 0, 0);
    for _ in 0..2000 {
        let stream = soup::stream().new_tree(&mut runner).unwrap().current();
        let policy = soup::policy().new_tree(&mut runner).unwrap().current();
        let (events, counts, _) = feed_whole(&stream, policy);
        overlong += counts.overlong;
        refused.iter_mut().zip(counts.refused).for_each(|(sum, count)| *sum += count);
        for event in events {
            let Event::Line { tag, checksum, .. } = event else { continue };
            lines += 1;
            wrong += usize::from(checksum == Checksum::Wrong);
            missing += usize::from(checksum == Checksum::Missing);
            timed += usize::from(tag.unix_ms.is_some());
        }
    }
    assert!(refused.iter().all(|&count| count >= 50), "{refused:?}");
    assert!(lines > 5000 && [wrong, missing, timed].iter().all(|&n| n >= 100) && overlong >= 100);
}

#[test]
fn every_single_cut_gives_the_same_events() {
    let stream = b"$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34\n12:00 UdPbC\0\\s:boat,c:1553390539*23\\$HCHDG,98.3,0.1,E,12.6,W*56\r\n\\c:5*6C\\\\s:x*31\\!AIVDM,1*4A\
        $HEROT,-11.23,A*07$HEROT,0.0*$HEROT,0.0,A*2b\nx\\c:1*68\\y$HEHDT,1\r\n$HE\r\\s:bad*00\\$GPHDT,274.07,T*03\n$HCHDM,09";
    for policy in POLICIES {
        let whole = feed_whole(stream, policy);
        assert!(whole.1.sentences >= 5, "{:?}", whole.1);
        for first in 0..=stream.len() {
            for second in [1, 2, 3, 31, 32, 33, 64] {
                assert_eq!(feed_chopped(stream, policy, [first, second].into_iter()), whole, "cut {first} {second}");
            }
        }
    }
}

#[test]
fn every_published_sentence() {
    let fixture = include_str!("../../fixtures/published-sentences.txt");
    let lines: Vec<&str> = fixture.lines().filter(|line| !line.starts_with('#')).collect();
    let (sound, damaged): (Vec<&str>, Vec<&str>) = lines.into_iter().partition(|line| !line.ends_with("V*0B"));
    assert_eq!((sound.len(), damaged.len()), (34, 1));
    for line in sound {
        let (events, counts, _) = feed_whole(format!("{line}\r\n").as_bytes(), ChecksumPolicy::Required);
        // Of the one with a TAG block the raw line begins behind the block.
        let sentence = line.rsplit('\\').next().unwrap_or_default();
        let [Event::Line { raw, .. }] = events.as_slice() else { panic!("{line}: {events:?}") };
        assert_eq!(raw, sentence.as_bytes());
        assert_eq!((counts.sentence_bytes, counts.between), (line.len() as u64, 2), "{line}");
        // The NOAA log's RMC is 84 characters with CR LF; the standard allows 82.
        assert_eq!(counts.overlong, u64::from(line.len() > 80 && !line.starts_with('\\')), "{line}");
    }
    let (events, ..) = feed_whole(damaged[0].as_bytes(), ChecksumPolicy::Required);
    assert_eq!(events, [Event::refused(Refusal::ChecksumWrong, damaged[0].as_bytes())]);
}

/// Tests of the library go-nmea (tagblock_test), and the datagram prefix of IEC 61162-450 as its history has it.
#[test]
fn published_tag_blocks() {
    let sentence = "$HCHDG,98.3,0.1,E,12.6,W*56";
    let time = |block: &str| {
        let (events, ..) = feed_whole(format!("{block}{sentence}\r\n").as_bytes(), ChecksumPolicy::Required);
        match events.as_slice() {
            [Event::Line { tag, .. }] => Ok(tag.unix_ms),
            [Event::Refused { reason, .. }, Event::Line { tag, .. }] if tag.unix_ms.is_none() => Err(*reason),
            other => panic!("{block}: {other:?}"),
        }
    };
    assert_eq!(time("\\s:Satelite_1,c:1553390539*62\\"), Ok(Some(1_553_390_539_000)));
    assert_eq!(time("\\s:satelite,c:1564827317*25\\"), Ok(Some(1_564_827_317_000)));
    assert_eq!(time("\\x:NorSat_1,c:1564827317*42\\"), Ok(Some(1_564_827_317_000)));
    assert_eq!(time("\\x:NorSat_1,c:1564827317000*72\\"), Ok(Some(1_564_827_317_000)));
    let all_keys = "\\s:satelite,c:1564827317,r:1553390539,d:ara,g:bulk,n:13,t:helloworld*3F\\";
    assert_eq!(time(all_keys), Ok(Some(1_564_827_317_000)));
    assert_eq!(time("\\s:somewhere,c:1720289719*4D\\"), Ok(Some(1_720_289_719_000)));
    assert_eq!(time("UdPbC\0\\s:somewhere,c:1720289719*4D\\"), Ok(Some(1_720_289_719_000)));

    assert_eq!(time("\\s:satelite,c:1564827317*49\\"), Err(Refusal::TagChecksum));
    assert_eq!(time("\\s:satelite,c:156482731749\\"), Err(Refusal::TagChecksum));
    assert_eq!(time("\\s:satelite,c:gjadslkg*30\\"), Err(Refusal::TagMalformed));
    let empty_field = "\\s:satelite,,r:1553390539,d:ara,g:bulk,n:13,t:helloworld*68\\";
    assert_eq!(time(empty_field), Err(Refusal::TagMalformed));
}
