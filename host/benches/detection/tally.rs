//! Counting: jobs on two threads, quantiles, and the bound on a rate from a count.

use std::sync::Mutex;
use std::sync::atomic::AtomicU64;
use std::sync::atomic::Ordering;

const THREADS: usize = 2;

/// Does `job` for 0 up to `count` on two threads; the results in that order. Progress goes to standard error.
pub(crate) fn each<T: Send>(name: &str, count: u64, job: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let (next, done) = (AtomicU64::new(0), AtomicU64::new(0));
    let results = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..THREADS {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    if index >= count {
                        break;
                    }
                    let result = job(index);
                    results.lock().unwrap().push((index, result));
                    let done = done.fetch_add(1, Ordering::Relaxed) + 1;
                    if done == count || done.is_multiple_of(count.div_ceil(10)) {
                        eprintln!("{name}: {done} of {count}");
                    }
                }
            });
        }
    });
    let mut results = results.into_inner().unwrap();
    results.sort_by_key(|(index, _)| *index);
    results.into_iter().map(|(_, result)| result).collect()
}

/// The value below which `part` of `sorted` lies: the smallest that has so many at or below it.
pub(crate) fn quantile(sorted: &[f64], part: f64) -> f64 {
    let place = ((sorted.len() as f64 * part).ceil() as usize).max(1) - 1;
    sorted.get(place).copied().unwrap_or(f64::NAN)
}

/// The 95 % upper bound on the mean of a Poisson count that came out as `count`: where so few or
/// fewer have a chance of 5 % (Garwood's exact limit, one-sided). 3.0 for none.
pub(crate) fn upper_bound(count: usize) -> f64 {
    let at_most = |mean: f64| {
        let mut term = (-mean).exp();
        let mut sum = term;
        for k in 1..=count {
            term *= mean / k as f64;
            sum += term;
        }
        sum
    };
    let (mut low, mut high) = (0.0, 10.0 + 3.0 * count as f64);
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if at_most(middle) > 0.05 { low = middle } else { high = middle }
    }
    low
}
