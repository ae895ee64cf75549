//! What keeping watch costs for each sentence, beside reading it alone.
//!
//! `cargo bench -p lubber-core --bench watch` prints the ratio, measured side by side in one run: an hour of
//! 25 sentences a second from two headings, a gyro, a rudder, a log and a receiver, framed and decoded alone,
//! and given to a monitor with every alert on. The bar is a ratio under 2. Then criterion's own figures.

use std::fmt::Write;
use std::hint::black_box;
use std::time::Duration;
use std::time::Instant as Clock;

use criterion::Criterion;
use criterion::Throughput;
use criterion::criterion_group;
use criterion::criterion_main;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Framed;
use lubber_core::frame::Framer;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Settings;
use lubber_core::picture::SourceId;
use lubber_core::sentence;
use lubber_core::time::Instant;

const SECONDS: u64 = 3600;
const A_SECOND: u64 = 25;
/// In each round both read the log once, in turn, so that a slow moment of the machine falls on both.
const ROUNDS: usize = 15;

/// Lines with the moment each comes at, in milliseconds.
fn log() -> Vec<(u64, String)> {
    let mut lines = Vec::new();
    for tenth in 0..SECONDS * 10 {
        let t = tenth as f64 / 10.0;
        // Swings of 7 and 5 s, and a new course every ten minutes.
        let yaw = 2.0 * (t * 0.9).sin() + 1.1 * (t * 1.26).sin();
        let truth = (135.0 + 40.0 * ((tenth / 6000) % 3) as f64 + yaw).rem_euclid(360.0);
        let (clock, ms) = (tenth / 10, tenth * 100);
        let utc = format!("{:02}{:02}{:02}.00", clock / 3600, clock / 60 % 60, clock % 60);
        let place = "4950.000,N,01130.000,W";
        let mut say = |body: String| {
            let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
            let mut line = String::new();
            write!(line, "${body}*{sum:02X}\r\n").expect("a string takes everything");
            lines.push((ms, line));
        };
        say(format!("HCHDG,{:.1},,,4.0,E", (truth - 4.0).rem_euclid(360.0)));
        if tenth % 2 == 1 {
            say(format!("GPHDT,{truth:.1},T"));
        }
        if tenth % 5 == 2 {
            say(format!("TIROT,{:.1},A", 60.0 * (1.8 * (t * 0.9).cos() + 1.4 * (t * 1.26).cos())));
            say("ERRSA,-2.5,A,,".to_string());
            say(format!("VWVHW,,,{:.1},M,5.5,N,10.2,K", (truth - 4.0).rem_euclid(360.0)));
        }
        if tenth % 10 == 4 {
            say(format!("GPRMC,{utc},A,{place},5.6,{truth:.1},140726,,,A"));
            say(format!("GPVTG,{truth:.1},T,,M,5.6,N,10.4,K,A"));
            say(format!("GPGGA,{utc},{place},1,09,1.0,2.0,M,50.0,M,,"));
            say(format!("GPZDA,{utc},14,07,2026,00,00"));
        }
    }
    lines
}

/// Frames and decodes; how many sentences.
fn read(log: &[(u64, String)]) -> u64 {
    let mut framer = Framer::new(ChecksumPolicy::Required);
    let mut sentences = 0;
    for (_, line) in log {
        framer.feed(line.as_bytes(), &mut |framed| {
            if let Framed::Line(line) = framed {
                sentences += u64::from(black_box(sentence::decode(&line)).is_ok());
            }
        });
    }
    sentences
}

/// The same under a watch with every alert on; how many sentences, and how many alerts changed.
fn watch(log: &[(u64, String)]) -> (u64, u64) {
    let settings = Settings { source_count: 1, rot_is_gyro: true, ..Settings::default() };
    let mut monitor = Monitor::new(Instant::from_ms(0), settings);
    let mut alerts = 0;
    for (ms, line) in log {
        monitor.bytes(Instant::from_ms(*ms), SourceId(0), line.as_bytes(), &mut |event| {
            alerts += u64::from(matches!(black_box(event), Event::Alert(_)));
        });
    }
    (monitor.counts(SourceId(0)).sentences, alerts)
}

fn ratio(_: &mut Criterion) {
    let log = log();
    let lines = SECONDS * A_SECOND;
    let ((watched, alerts), sentences) = (watch(&log), read(&log));
    assert_eq!((log.len() as u64, sentences, watched), (lines, lines, lines), "every line is read both ways");
    let (mut reading, mut watching) = (Duration::MAX, Duration::MAX);
    for _ in 0..ROUNDS {
        // The least of each: what else the machine does can only add to it.
        let begin = Clock::now();
        black_box(read(black_box(&log)));
        reading = reading.min(begin.elapsed());
        let begin = Clock::now();
        black_box(watch(black_box(&log)));
        watching = watching.min(begin.elapsed());
    }
    let each = |time: Duration| time.as_secs_f64() * 1e9 / lines as f64;
    println!("\n{lines} lines, {A_SECOND} a second, {alerts} changes of alerts");
    println!("framing and decoding {:>8.1} ns a sentence", each(reading));
    println!(
        "the whole watch      {:>8.1} ns a sentence, {:.2} times that",
        each(watching),
        each(watching) / each(reading)
    );
}

fn figures(criterion: &mut Criterion) {
    let log = log();
    let mut group = criterion.benchmark_group("watch");
    group.sample_size(10).throughput(Throughput::Elements(SECONDS * A_SECOND));
    group.bench_function("framing and decoding", |bench| bench.iter(|| read(black_box(&log))));
    group.bench_function("the whole watch", |bench| bench.iter(|| watch(black_box(&log))));
    group.finish();
}

criterion_group!(benches, ratio, figures);
criterion_main!(benches);
