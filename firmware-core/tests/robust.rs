//! Nothing on a wire stops the watch: random bytes, random times, every sentence with random fields.

use lubber_core::alert::WatchkeeperSettings;
use lubber_core::angle::Bearing;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Settings;
use lubber_core::monitor::SourceSettings;
use lubber_core::picture::Command;
use lubber_core::picture::Reference;
use lubber_core::picture::Referred;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;
use lubber_core::time::Span;
use proptest::prelude::*;

const FORMATTERS: [&str; 30] = [
    "HDG", "HDM", "HDT", "THS", "ROT", "RSA", "VHW", "VTG", "RMC", "GGA", "GLL", "GNS", "ZDA", "XDR", "MWV", "MWD",
    "HTD", "HTC", "HSC", "APB", "XTE", "RMB", "ACN", "ACK", "HBT", "TXT", "ALR", "ALF", "ALC", "ARC",
];

/// A field as talkers send it, or as a broken one does.
fn field() -> impl Strategy<Value = String> {
    prop_oneof![
        Just(String::new()),
        "[TMNEWSAVRLKD]",
        "[0-9]{1,3}(\\.[0-9]{1,4})?",
        "-?[0-9]{1,20}(\\.[0-9]{0,20})?",
        "[0-9]{6}(\\.[0-9]{1,3})?",
        "[0-9]{4,5}\\.[0-9]{3,5}",
        "[ -#%-)+-\\[\\]-~]{0,12}",
    ]
}

fn sentence() -> impl Strategy<Value = Vec<u8>> {
    let talker = prop_oneof![Just("HC"), Just("GP"), Just("II"), Just("AG"), Just("ZZ")];
    (talker, 0..FORMATTERS.len(), prop::collection::vec(field(), 0..20)).prop_map(|(talker, formatter, fields)| {
        let body = format!("{talker}{},{}", FORMATTERS[formatter], fields.join(","));
        let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
        format!("${body}*{sum:02X}\r\n").into_bytes()
    })
}

fn wire() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![4 => sentence(), 1 => prop::collection::vec(any::<u8>(), 0..300)]
}

fn settings(policy: ChecksumPolicy) -> Settings {
    Settings {
        sources: [SourceSettings { checksum: policy, may_acknowledge: true }; 4],
        source_count: 4,
        rot_is_gyro: true,
        watchkeeper: WatchkeeperSettings::new(Span::from_min(3), Span::from_s(90)),
        ..Settings::default()
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_input_stops_the_watch_and_every_byte_is_accounted_for(
        pieces in prop::collection::vec((wire(), 0u8..6, prop_oneof![8 => 0u64..3_000, 1 => 0u64..100_000_000]), 1..60),
        order in 0i64..360_000,
    ) {
        for policy in [ChecksumPolicy::Required, ChecksumPolicy::Optional, ChecksumPolicy::Ignored] {
            let mut monitor = Monitor::new(Instant::from_ms(0), settings(policy));
            let mut now = 0;
            let mut sent = [0u64; 4];
            let mut events = [0u64; 4];
            for (bytes, source, wait) in &pieces {
                now += wait;
                let at = Instant::from_ms(now);
                let source = SourceId(*source);
                sent[source.index()] += bytes.len() as u64;
                monitor.bytes(at, source, bytes, &mut |event| match event {
                    Event::Sentence { source, .. } | Event::Malformed { source, .. } => events[source.index()] += 1,
                    _ => {}
                });
                monitor.tick(at, &mut |_| {});
                prop_assert!(monitor.wake_at() > at);
                let bearing = Bearing::from_mdeg(order);
                monitor.order(at, Command::Steer(Referred { bearing, reference: Reference::True }), &mut |_| {});
                // What it says of itself can be said.
                let status = monitor.status(at);
                for change in &status.alerts {
                    prop_assert!(!change.evidence.to_string().is_empty());
                }
                for why in status.judging.iter().filter_map(|judging| judging.err()) {
                    prop_assert!(!why.to_string().is_empty());
                }
            }
            for index in 0..4 {
                let source = SourceId(index);
                monitor.finish(Instant::from_ms(now), source, &mut |_| {});
                let counts = monitor.counts(source);
                prop_assert_eq!(counts.bytes_in, sent[source.index()]);
                prop_assert_eq!(counts.bytes_in, counts.sentence_bytes + counts.refused_bytes + counts.between);
                prop_assert_eq!(counts.sentences, events[source.index()]);
            }
        }
    }
}

#[test]
fn the_watch_is_small() {
    // The bar is 12 KiB of static memory on a microcontroller; pointers are narrower there than here.
    let size = std::mem::size_of::<Monitor>();
    println!("Monitor: {size} bytes");
    assert!(size <= 12 * 1024, "{size} bytes");
}
