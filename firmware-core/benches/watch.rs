//! What keeping watch costs for each sentence, beside reading it alone.
//!
//! `cargo bench -p lubber-core --bench watch` prints the ratio, measured side by side in one run: an hour from two
//! headings, a gyro, a rudder, a log and a receiver, framed and decoded alone, and given to a monitor with every
//! alert on. The bar is a ratio under 2. Everything is judged twice a second however much comes, so there are three
//! logs: 25 sentences a second, as from gear of the slower kind; 40, the rate that a recorded day is reckoned at;
//! and a dense one of 59, from a compass, a gyro and a rudder that speak ten times a second and a receiver that does
//! five times. Then, for each alert, what is saved by switching it off: the parts do not add up to the whole, for
//! some of it is shared. Then criterion's own figures.

use std::fmt::Write;
use std::hint::black_box;
use std::time::Duration;
use std::time::Instant as Clock;

use criterion::Criterion;
use criterion::Throughput;
use criterion::criterion_group;
use criterion::criterion_main;
use lubber_core::alert::AlertKind;
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
/// The whole watch may cost less than so many times what framing and decoding does.
const BAR: f64 = 2.0;
/// In each round each of them reads the log once, in turn, so that a slow moment of the machine falls on all.
const ROUNDS: usize = 15;
/// The log is timed minute by minute, and the least time of each minute counts: what else the machine does can
/// only add to it, and the shorter the piece, the likelier it is once left alone.
const MINUTES: usize = SECONDS as usize / 60;

/// How often what comes: in which tenths of a second, counted from each second.
struct Pace {
    name: &'static str,
    true_heading: &'static [u64],
    steering: &'static [u64],
    log: &'static [u64],
    velocity: &'static [u64],
    clock: &'static [u64],
}

const USUAL: Pace = Pace {
    name: "usual",
    true_heading: &[1, 3, 5, 7, 9],
    steering: &[2, 7],
    log: &[2, 7],
    velocity: &[4],
    clock: &[4],
};

const BUSY: Pace = Pace {
    name: "busy",
    true_heading: &[0, 1, 2, 3, 4, 5, 6, 7, 8, 9],
    steering: &[1, 3, 5, 7, 9],
    log: &[2, 7],
    velocity: &[4, 9],
    clock: &[4, 9],
};

const DENSE: Pace = Pace {
    name: "dense",
    true_heading: &[0, 1, 2, 3, 4, 5, 6, 7, 8, 9],
    steering: &[0, 1, 2, 3, 4, 5, 6, 7, 8, 9],
    log: &[2, 7],
    velocity: &[0, 2, 4, 6, 8],
    clock: &[4, 9],
};

/// Lines with the moment each comes at, in milliseconds.
fn log(pace: &Pace) -> Vec<(u64, String)> {
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
        let now = |tenths: &[u64]| tenths.contains(&(tenth % 10));
        if now(pace.true_heading) {
            say(format!("GPHDT,{truth:.1},T"));
        }
        if now(pace.steering) {
            say(format!("TIROT,{:.1},A", 60.0 * (1.8 * (t * 0.9).cos() + 1.4 * (t * 1.26).cos())));
            say("ERRSA,-2.5,A,,".to_string());
        }
        if now(pace.log) {
            say(format!("VWVHW,,,{:.1},M,5.5,N,10.2,K", (truth - 4.0).rem_euclid(360.0)));
        }
        if now(pace.velocity) {
            say(format!("GPRMC,{utc},A,{place},5.6,{truth:.1},140726,,,A"));
            say(format!("GPVTG,{truth:.1},T,,M,5.6,N,10.4,K,A"));
            say(format!("GPGGA,{utc},{place},1,09,1.0,2.0,M,50.0,M,,"));
        }
        if now(pace.clock) {
            say(format!("GPZDA,{utc},14,07,2026,00,00"));
        }
    }
    lines
}

/// The least time of each minute.
struct Least([Duration; MINUTES]);

impl Least {
    fn none() -> Self {
        Self([Duration::MAX; MINUTES])
    }

    /// Does `work` on each minute of `log`.
    fn time(&mut self, log: &[(u64, String)], mut work: impl FnMut(&[(u64, String)])) {
        for (minute, least) in log.chunks(log.len() / MINUTES).zip(&mut self.0) {
            let begin = Clock::now();
            work(black_box(minute));
            *least = (*least).min(begin.elapsed());
        }
    }

    /// Nanoseconds for each of the `lines` of the log.
    fn each(&self, lines: usize) -> f64 {
        self.0.iter().sum::<Duration>().as_secs_f64() * 1e9 / lines as f64
    }
}

/// Frames and decodes; how many sentences.
fn read(log: &[(u64, String)], least: &mut Least) -> u64 {
    let mut framer = Framer::new(ChecksumPolicy::Required);
    let mut sentences = 0;
    least.time(log, |lines| {
        for (_, line) in lines {
            framer.feed(line.as_bytes(), &mut |framed| {
                if let Framed::Line(line) = framed {
                    sentences += u64::from(black_box(&sentence::decode(&line)).is_ok());
                }
            });
        }
    });
    sentences
}

/// The same under a watch with every alert on but for those that are `off`; how many sentences, and how many
/// alerts changed.
fn watch(log: &[(u64, String)], off: &[AlertKind], least: &mut Least) -> (u64, u64) {
    let mut settings = Settings { source_count: 1, rot_is_gyro: true, ..Settings::default() };
    for kind in off {
        settings.limits[*kind as usize].disabled = true;
    }
    let mut monitor = Monitor::new(Instant::from_ms(0), settings);
    let mut alerts = 0;
    least.time(log, |lines| {
        for (ms, line) in lines {
            monitor.bytes(Instant::from_ms(*ms), SourceId(0), line.as_bytes(), &mut |event| {
                alerts += u64::from(matches!(black_box(&event), Event::Alert(_)));
            });
        }
    });
    (monitor.counts(SourceId(0)).sentences, alerts)
}

fn ratio(_: &mut Criterion) {
    // A profiler wants one of the figures below and nothing else.
    if std::env::args().any(|arg| arg == "--profile-time") {
        return;
    }
    for pace in [USUAL, BUSY, DENSE] {
        let log = log(&pace);
        let (mut reading, mut watching, mut idle) = (Least::none(), Least::none(), Least::none());
        let sentences = read(&log, &mut reading);
        let (watched, alerts) = watch(&log, &[], &mut watching);
        let lines = log.len();
        assert_eq!((sentences, watched), (lines as u64, lines as u64), "every line is read both ways");
        let mut without: Vec<Least> = AlertKind::ALL.iter().map(|_| Least::none()).collect();
        for _ in 0..ROUNDS {
            black_box(read(&log, &mut reading));
            black_box(watch(&log, &[], &mut watching));
            black_box(watch(&log, &AlertKind::ALL, &mut idle));
            for (kind, least) in AlertKind::ALL.iter().zip(&mut without) {
                black_box(watch(&log, std::slice::from_ref(kind), least));
            }
        }
        let [reading, whole, idle] = [&reading, &watching, &idle].map(|least| least.each(lines));
        println!("\n{}: {lines} lines, {} a second, {alerts} changes of alerts", pace.name, lines as u64 / SECONDS);
        println!("{:<24} {reading:>6.1} ns a sentence", "framing and decoding");
        let verdict = if whole < BAR * reading { "under" } else { "over" };
        println!(
            "{:<24} {whole:>6.1} ns a sentence, {:.2} times that: {verdict} the bar of {BAR}",
            "the whole watch",
            whole / reading
        );
        println!("{:<24} {idle:>6.1} ns a sentence, {:.2} times that", "without any alert", idle / reading);
        for (kind, least) in AlertKind::ALL.iter().zip(&without) {
            println!("{:<24} {:>6.1} ns less without it", kind.name(), whole - least.each(lines));
        }
    }
}

fn figures(criterion: &mut Criterion) {
    let log = log(&USUAL);
    let mut group = criterion.benchmark_group("watch");
    group.sample_size(10).throughput(Throughput::Elements(log.len() as u64));
    group.bench_function("framing and decoding", |bench| bench.iter(|| read(&log, &mut Least::none())));
    group.bench_function("without any alert", |bench| bench.iter(|| watch(&log, &AlertKind::ALL, &mut Least::none())));
    group.bench_function("the whole watch", |bench| bench.iter(|| watch(&log, &[], &mut Least::none())));
    group.finish();
}

criterion_group!(benches, ratio, figures);
criterion_main!(benches);
