//! What a swing is worth over many boats with a known truth: `cargo bench --bench swing [-- BOATS]`.
//!
//! A report, not a timed test. Card errors are rms over 36 headings with the common error of the
//! variation taken out; `within` counts the headings whose truth lies inside two sigma, all causes
//! counted. The boats: deviation 1 to 15 degrees, current up to 1.5 kn, 3 to 6 kn, lag -2 to +3 s, 1.5 to
//! 4 degrees a second, a receiver of 0.05 m/s rms (north and east together, a tenth of the power
//! wandering), 1 or 10 Hz, whole degrees or tenths, yaw 0.5 to 1.5 degrees rms, speed wandering by
//! 0.5 %, and a calm that errs by the 0.15 degrees the analysis assumes. `Noisy` doubles and more.

#[path = "swing/bound.rs"]
mod bound;

use lubber::analysis::swing::Collector;
use lubber::analysis::swing::Settings;
use lubber::analysis::swing::Swing;
use lubber::analysis::swing::Verdict;
use lubber::analysis::swing::analyse;
use lubber::clock::Clock;
use lubber::simulate::swing::Case;
use lubber::simulate::swing::Leg;
use lubber::simulate::swing::Plan;

/// Boats whose Cramer-Rao bound is computed: each takes a dense covariance.
const BOUNDED: u64 = 16;

fn main() {
    let boats = std::env::args().skip(1).find_map(|arg| arg.parse().ok()).unwrap_or(1000);
    let only: Vec<String> = std::env::args().skip(1).filter(|arg| arg.starts_with(char::is_uppercase)).collect();
    println!("{boats} boats a case; degrees; bars: both median <= 0.25, 90 % <= 0.40, within 93-97 %\n");
    println!(
        "case       card error        within  A within   sigma  sigma A /   lag   bound  verdicts\n\
         \x20          median  90 %   2 sigma   2 sigma  median  (rate x P)  rms s  ratio  good/usable/not/refused, false cries"
    );
    for case in
        [Case::Both, Case::BothOnly, Case::Port, Case::PortOnly, Case::Arcs, Case::Noisy, Case::Wind, Case::Legs]
    {
        if !only.is_empty() && !only.contains(&format!("{case:?}")) {
            continue;
        }
        row(case, boats);
    }
    println!("\nsigma A / (rate x P): greatest; P = 1.44 s is the prior spread of the lag; bar 1.3 for port only");
    println!("bound ratio: rms error over the Cramer-Rao bound of the same {BOUNDED} boats; bar 1.3");
    hour();
}

/// How long an hour at 10 Hz takes, collected and analysed: once with a swing in it, once all circles.
fn hour() {
    let mut plan = Plan::drawn(1, Case::Both);
    plan.heading_hz = 10;
    for (name, times) in [("one swing in it", 1.0), ("all circles", f64::INFINITY)] {
        let mut legs = plan.legs.clone();
        let mut spent = 0.0;
        let mut turns = 0.0;
        let swing = plan.legs.iter().map(|leg| seconds(leg, &plan)).sum::<f64>();
        while spent + swing < 3600.0 && turns < times {
            legs.extend(plan.legs.clone());
            spent += swing;
            turns += 1.0;
        }
        legs.push(Leg::Straight((3600.0 - swing - spent).max(1.0)));
        let log = Plan { legs, ..plan.clone() }.run();
        let clock = Clock::start();
        let mut collector = Collector::new();
        log.play(&mut collector);
        let gathered = collector.finish();
        let collected = clock.now();
        let found = analyse(&gathered, &Settings::default());
        let analysed = clock.now();
        let circles = found.map(|f| f.circles);
        println!(
            "an hour at 10 Hz, {name}: {} headings collected in {} ms, analysed in {} ms ({circles:?}); bar 300 ms",
            log.headings.len(),
            collected.as_ms(),
            analysed.as_ms() - collected.as_ms(),
        );
    }
}

fn seconds(leg: &Leg, plan: &Plan) -> f64 {
    match leg {
        Leg::Straight(seconds) => *seconds,
        Leg::Turn(degrees) => degrees.abs() / plan.turn_rate_dps,
    }
}

fn row(case: Case, boats: u64) {
    let (mut errors, mut sigmas, mut lags, mut verdicts) = (Vec::new(), Vec::new(), Vec::new(), [0; 4]);
    let (mut within, mut headings, mut a_within, mut worst) = (0, 0, 0, 0.0_f64);
    let (mut squares, mut bounds, mut cried) = (0.0, 0.0, 0);
    for seed in 0..boats {
        let plan = Plan::drawn(seed, case);
        let log = plan.run();
        let mut collector = Collector::new();
        log.play(&mut collector);
        let settings = log.settings();
        let found = match analyse(&collector.finish(), &settings) {
            Ok(found) => found,
            Err(refusal) => {
                if verdicts[3] == 0 {
                    eprintln!("{case:?} {seed}: {refusal}");
                }
                verdicts[3] += 1;
                continue;
            }
        };
        verdicts[found.verdict as usize] += 1;
        // The simulated boats have no third harmonic, and turn alike either way.
        let cries = |reason: &String| reason.contains("very near") || reason.contains("do not agree");
        cried += u32::from(found.reasons.iter().any(cries));
        let error = error(&found, &plan);
        for r in &found.card {
            headings += 1;
            within += u32::from((r.deviation_deg - plan.deviation(r.compass_deg)).abs() <= 2.0 * r.sigma_deg);
        }
        let a = found.coefficients.a;
        a_within += u32::from((a.deg - plan.coefficients[0]).abs() <= 2.0 * a.sigma_deg);
        worst = worst.max(a.sigma_deg / (plan.turn_rate_dps * settings.lag_prior_sigma_s));
        sigmas.push(found.card.iter().map(|r| r.sigma_deg).sum::<f64>() / 36.0);
        lags.extend(found.lag_s.map(|lag| (lag.value - plan.lag_s()).powi(2)));
        if seed < BOUNDED
            && case != Case::Legs
            && let Some(bound) = bound::card_sigma_deg(&plan, &settings)
        {
            bounds += bound * bound;
            squares += error * error;
        }
        errors.push(error);
    }
    let found = errors.len().max(1) as f64;
    errors.sort_by(f64::total_cmp);
    sigmas.sort_by(f64::total_cmp);
    let at = |sorted: &[f64], part: f64| sorted.get((part * sorted.len() as f64) as usize).copied().unwrap_or(f64::NAN);
    println!(
        "{:<10} {:>6.3} {:>6.3} {:>7.1} % {:>7.1} % {:>7.3} {:>10.2} {:>7.2} {:>6.2}   {}/{}/{}/{}, {}",
        format!("{case:?}"),
        at(&errors, 0.5),
        at(&errors, 0.9),
        100.0 * f64::from(within) / f64::from(headings.max(1)),
        100.0 * f64::from(a_within) / found,
        at(&sigmas, 0.5),
        worst,
        (lags.iter().sum::<f64>() / lags.len().max(1) as f64).sqrt(),
        (squares / bounds).sqrt(),
        verdicts[Verdict::Good as usize],
        verdicts[Verdict::Usable as usize],
        verdicts[Verdict::NotUsable as usize],
        verdicts[3],
        cried
    );
}

/// Rms over 36 headings of card less truth, the error of the variation taken out.
fn error(found: &Swing, plan: &Plan) -> f64 {
    let told = plan.variation_true_deg - plan.variation_told_deg;
    let squares: f64 =
        found.card.iter().map(|r| (r.deviation_deg - told - plan.deviation(r.compass_deg)).powi(2)).sum();
    (squares / found.card.len() as f64).sqrt()
}
