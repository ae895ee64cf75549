//! Reading a log: framing and decoding beside the floor and beside two published crates.
//!
//! `cargo bench -p lubber-core` prints a table of ratios, measured side by side, and then
//! criterion's own figures for each.

mod parse {
    pub(crate) mod log;
    pub(crate) mod reader;
}

use std::hint::black_box;
use std::time::Duration;
use std::time::Instant;

use criterion::Criterion;
use criterion::Throughput;
use criterion::criterion_group;
use criterion::criterion_main;
use parse::log;
use parse::reader::FLOOR;
use parse::reader::NMEA_KIT;
use parse::reader::READERS;

const LINES: usize = 18_000;
/// Rounds of the table; in each round every reader reads the log once, in turn, so that a slow
/// moment of the machine falls on all of them.
const ROUNDS: usize = 41;

fn logs() -> [(&'static str, Vec<u8>); 4] {
    [
        ("mixed", log::mixed(LINES)),
        ("mixed, shuffled", log::shuffled(LINES)),
        ("GNSS only", log::gnss(LINES)),
        ("mixed, TAG blocks", log::stamped(LINES)),
    ]
}

/// The median time of each reader over the log.
fn medians(log: &[u8]) -> [Duration; READERS.len()] {
    let mut times = [const { Vec::new() }; READERS.len()];
    for _ in 0..ROUNDS {
        for (reader, times) in READERS.iter().zip(&mut times) {
            let begin = Instant::now();
            black_box((reader.read)(black_box(log)));
            times.push(begin.elapsed());
        }
    }
    times.map(|mut times| {
        times.sort();
        times[ROUNDS / 2]
    })
}

fn ratios(_: &mut Criterion) {
    for (name, log) in logs() {
        let medians = medians(&log);
        println!("\n{name}: {LINES} lines, {} bytes a line", log.len() / LINES);
        println!("{:<32} {:>8} {:>8} {:>16} {:>10}", "", "ns/line", "MB/s", "of floor's speed", "x nmea-kit");
        for (reader, time) in READERS.iter().zip(medians) {
            let lines = (reader.read)(&log);
            if lines != LINES {
                println!("{:<32} reads {lines} lines only", reader.name);
                continue;
            }
            let seconds = time.as_secs_f64();
            let against = |other: usize| match (READERS[other].read)(&log) {
                LINES => format!("{:.2}", medians[other].as_secs_f64() / seconds),
                _ => "-".to_string(),
            };
            println!(
                "{:<32} {:>8.1} {:>8.0} {:>16} {:>10}",
                reader.name,
                seconds * 1e9 / LINES as f64,
                log.len() as f64 / seconds / 1e6,
                against(FLOOR),
                against(NMEA_KIT),
            );
        }
    }
    println!();
}

fn each(criterion: &mut Criterion) {
    for (name, log) in logs() {
        let mut group = criterion.benchmark_group(name);
        group.throughput(Throughput::Bytes(log.len() as u64));
        for reader in &READERS {
            if (reader.read)(&log) == LINES {
                group.bench_function(reader.name, |bencher| bencher.iter(|| (reader.read)(black_box(&log))));
            }
        }
        group.finish();
    }
}

criterion_group!(benches, ratios, each);
criterion_main!(benches);
