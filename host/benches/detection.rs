//! How the watch detects: false alerts over quiet days, and how soon each fault is found.
//!
//! Not a timing: it prints tables of log time. `cargo bench --bench detection -- DAYS FAULTS FIRST`
//! sails so many quiet days and so many of each fault (100 and 200 unless given), by seeds from
//! FIRST on (50 000), which nothing was tuned on. Progress goes to standard error.
//!
//! The bounds beside the delays are those of `bound.rs`, which says what each assumes. They count
//! from the fault (off-heading: from the limit); the ratio is the median delay from there over the
//! clairvoyant's. A delay counts from where its own bar does: from the fault, or from when the true
//! heading has turned.
//!
//! An alert whose judge looked at none of the voyages is said to be not judged.

#[path = "../../tests/common/passage.rs"]
mod passage;

#[path = "detection/bound.rs"]
mod bound;
#[path = "detection/scenarios.rs"]
mod scenarios;
#[path = "detection/tally.rs"]
mod tally;

use lubber::simulate::Truth;
use lubber_core::alert::AlertKind;
use lubber_core::arbiter::State;
use passage::Passage;
use passage::sail_under;
use scenarios::Bounded;
use scenarios::Fault;
use scenarios::From;

const KINDS: usize = AlertKind::ALL.len();

/// The limit of off-heading, where nobody sets another.
const OFF_DEG: f64 = lubber_core::alert::OFF_HEADING_LIMIT.as_mdeg() as f64 / 1000.0;

fn main() {
    let numbers: Vec<u64> = std::env::args().skip(1).filter_map(|arg| arg.parse().ok()).collect();
    let number = |place: usize, otherwise| numbers.get(place).copied().unwrap_or(otherwise);
    let (days, faults, first) = (number(0, 100), number(1, 200), number(2, 50_000));
    if days > 0 {
        quiet(first, days);
    }
    if faults > 0 {
        found(first + 30_000, faults);
    }
}

/// What a quiet day left behind.
struct Day {
    judged_s: [u64; KINDS],
    /// What was false.
    raised: Vec<(u64, AlertKind, String)>,
    /// What was right: by the truth she was off her course.
    right: Vec<(u64, AlertKind, String)>,
}

fn quiet(first: u64, days: u64) {
    let sailed = tally::each("quiet days", days, |day| {
        let sailing = scenarios::quiet_day(first + day);
        let outage = sailing.outage_ms.clone();
        let passage = sail_under(sailing.boat, sailing.watch, sailing.command, |_| false);
        let off_course = |ms| off_course(&passage.truth, ms).is_some_and(|deg| deg.abs() > OFF_DEG);
        let lost = |(ms, kind, _): &(u64, AlertKind, String)| *kind == AlertKind::PositionLost && outage.contains(ms);
        let off = |(ms, kind, _): &(u64, AlertKind, String)| *kind == AlertKind::OffHeading && off_course(*ms);
        let (right, raised) = passage.raised.iter().filter(|one| !lost(one)).cloned().partition(off);
        Day { judged_s: passage.judged_s, raised, right }
    });
    println!("Quiet days: {days}, seeds from {first}. Upper bound: 95 %, Poisson.");
    println!("{:<24} {:>12} {:>13} {:>10}", "alert", "false alerts", "bound a day", "judged");
    for kind in AlertKind::ALL {
        let count = sailed.iter().flat_map(|day| &day.raised).filter(|(_, raised, _)| *raised == kind).count();
        let judged: u64 = sailed.iter().map(|day| day.judged_s[kind as usize]).sum();
        if judged == 0 && count == 0 {
            println!("{:<24} {:>12} {:>13} {:>10}", kind.name(), "-", "-", "not judged");
            continue;
        }
        let bound = tally::upper_bound(count) / days as f64;
        let share = judged as f64 / (days * scenarios::DAY_MS / 100_000) as f64;
        println!("{:<24} {count:>12} {bound:>13.3} {share:>8.1} %", kind.name());
    }
    let all: usize = sailed.iter().map(|day| day.raised.len()).sum();
    println!("{:<24} {all:>12} {:>13.3}", "all", tally::upper_bound(all) / days as f64);
    let list = |of: fn(&Day) -> &Vec<(u64, AlertKind, String)>| {
        for (day, sailed) in (first..).zip(&sailed) {
            for (ms, kind, text) in of(sailed) {
                println!("  seed {day}, second {}: {kind}: {text}", ms / 1000);
            }
        }
    };
    list(|day| &day.raised);
    let right: usize = sailed.iter().map(|day| day.right.len()).sum();
    println!(
        "Not counted, for they are right: {right} off-heading. The pilot lost her in a squall, or without steerage"
    );
    println!(
        "way: by the truth she was over {OFF_DEG} degrees off, and had come to her order before or had half a minute."
    );
    list(|day| &day.right);
}

/// How far off her ordered course she truly was at `ms` or in the 20 s before (a sequential test comes that much after
/// what it sums), averaged over 11 s, in degrees by the pilot's compass without its faults; none without an order,
/// or while she has not come to a new one, for half a minute at most.
fn off_course(truth: &[Truth], ms: u64) -> Option<f64> {
    let at = truth.iter().rposition(|t| t.since_start_ms <= ms)?;
    let ordered = truth[at].ordered_compass_deg?;
    let off = |t: &Truth| (t.faultless_compass_deg - ordered + 180.0).rem_euclid(360.0) - 180.0;
    let lately = &truth[at.saturating_sub(30)..=at];
    let new = lately.iter().rposition(|t| t.ordered_compass_deg != Some(ordered)).map_or(0, |new| new + 1);
    let came = lately[new..].iter().position(|t| new == 0 || off(t).abs() <= 5.0)?;
    let from = (at + new + came + 1 - lately.len()).max(at.saturating_sub(20));
    let mean = |at: usize| {
        let window = &truth[at.saturating_sub(5)..(at + 6).min(truth.len())];
        window.iter().map(off).sum::<f64>() / window.len() as f64
    };
    (from..=at).map(mean).max_by(|a, b| a.abs().total_cmp(&b.abs()))
}

/// What became of one fault.
struct Outcome {
    /// Seconds from the fault, and from where its bar counts; `None` where it was missed.
    delay_s: Option<(f64, f64)>,
    judged: bool,
    /// Alerts before the fault came, which are false.
    before: usize,
    /// Other alerts that came before it was found, and do not belong to the fault.
    others: Vec<AlertKind>,
}

fn found(first: u64, count: u64) {
    println!();
    println!("Faults: {count} of each, seeds from {first}. Seconds of log time.");
    println!("From: f the fault, t the true heading turned by half a false compass, 5 deg (frozen) or the limit.");
    println!("Formula and clairvoyant: bounds from the fault or the limit, one false alert in 100 days.");
    println!(
        "{:<40} {:>4} {:>6} {:>7} {:>7} {:>7} {:>5} {:>8} {:>12} {:>6}",
        "fault", "from", "missed", "median", "90 %", "worst", "bar", "formula", "clairvoyant", "ratio"
    );
    let mut notes = Vec::new();
    for fault in scenarios::faults() {
        let outcomes = tally::each(fault.name, count, |n| suffer(&fault, first + n));
        row(&fault, &outcomes, &mut notes);
    }
    for kind in [AlertKind::WatchkeeperSilent, AlertKind::WatchImpaired] {
        println!("{:<40} not on the data line: no boat is needed to try it", kind.name());
    }
    println!();
    notes.iter().for_each(|note| println!("{note}"));
}

fn suffer(fault: &Fault, seed: u64) -> Outcome {
    let sailing = fault.sailing(seed);
    let at_ms = Fault::at_ms(seed);
    let kind = fault.kind;
    let passage = sail_under(sailing.boat, sailing.watch, sailing.command, |change| {
        change.kind == kind && change.at.as_ms() >= at_ms && is_new(change.state)
    });
    let begins = |passage: &Passage, found| match fault.from {
        From::Fault => at_ms,
        // Found before she had turned so far: a delay of nothing, and not a negative one.
        From::Turned(by_deg) => passage.turned_at(at_ms, by_deg).unwrap_or(found),
    };
    let delay_s = passage.first(kind, at_ms).map(|found| {
        let since = |from: u64| found.saturating_sub(from) as f64 / 1000.0;
        (since(at_ms), since(begins(&passage, found)))
    });
    let (before, after): (Vec<_>, Vec<_>) = passage.raised.iter().partition(|(ms, ..)| *ms < at_ms);
    Outcome {
        delay_s,
        judged: passage.judged_s[kind as usize] > 0,
        before: before.len(),
        others: after
            .iter()
            .map(|(_, raised, _)| *raised)
            .filter(|raised| *raised != kind && !fault.also.contains(raised))
            .collect(),
    }
}

fn is_new(state: State) -> bool {
    matches!(state, State::ActiveUnacknowledged | State::Active)
}

fn row(fault: &Fault, outcomes: &[Outcome], notes: &mut Vec<String>) {
    let (mut from_fault, mut delays): (Vec<f64>, Vec<f64>) = outcomes.iter().filter_map(|one| one.delay_s).unzip();
    from_fault.sort_by(f64::total_cmp);
    delays.sort_by(f64::total_cmp);
    if delays.is_empty() && outcomes.iter().all(|one| !one.judged) {
        println!("{:<40} not judged", fault.name);
        return;
    }
    let from = if matches!(fault.from, From::Fault) { "f" } else { "t" };
    let [median, most, worst] = [0.5, 0.9, 1.0].map(|part| tally::quantile(&delays, part));
    let bar = fault.bar_s.map_or_else(|| "-".to_owned(), |bar| format!("{bar:.0}"));
    let mut line = format!(
        "{:<40} {from:>4} {:>6} {median:>7.1} {most:>7.1} {worst:>7.1} {bar:>5}",
        fault.name,
        outcomes.len() - delays.len(),
    );
    if let Some(of) = fault.bound {
        let bound = bound::bound(of);
        let [half, late] = bound.clairvoyant_s;
        let formula = bound.formula_s.map_or_else(|| "-".to_owned(), |s| format!("{s:.1}"));
        // A boat let go comes to the limit at her own pace: only then is there something to find.
        let counted = if of == Bounded::OffHeading { &delays } else { &from_fault };
        let ratio = tally::quantile(counted, 0.5) / half;
        line += &format!(" {formula:>8} {:>12} {ratio:>6.1}", format!("{half:.1} {late:.1}"));
        notes.push(format!(
            "{}: quiet signal {:.2} deg rms, its innovation {:.2}; found {:.1} s after the fault (median), {:.1} (90 %).",
            fault.name,
            bound.signal_deg,
            bound.innovation_deg,
            tally::quantile(&from_fault, 0.5),
            tally::quantile(&from_fault, 0.9),
        ));
    }
    if fault.bar_s.is_some_and(|bar| most > bar) {
        line += "  over the bar";
    }
    println!("{line}");
    let before: usize = outcomes.iter().map(|one| one.before).sum();
    if before > 0 {
        notes.push(format!("{}: {before} alerts before the fault.", fault.name));
    }
    for kind in AlertKind::ALL {
        let first = outcomes.iter().filter(|one| one.others.contains(&kind)).count();
        if first > 0 {
            notes.push(format!("{}: {kind} came as well, {first} of {}.", fault.name, outcomes.len()));
        }
    }
}
