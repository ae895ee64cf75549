//! The swing: a deviation card from circles or steady legs, and how sure it is.
//!
//! ```text
//! samples -> Collector -> blocks -> Series -> Problem -> Solution -> Swing, with its verdict
//!            (any length)           (bins)    (unknowns)  (fit)
//! ```
//!
//! The current is found along with the deviation, so no bearing and no helper is needed. What a log
//! cannot tell apart stays in the sigmas: lag and A with circles one way only, wind and B C always.
//!
//! ```
//! use lubber::analysis::swing::{Collector, Refusal, Settings, analyse};
//!
//! let mut collector = Collector::new();
//! for second in 0..600 {
//!     collector.heading(f64::from(second), 90.0);
//!     collector.course(f64::from(second), 2.5, 92.0);
//! }
//! let found = analyse(&collector.finish(), &Settings::default());
//! assert!(matches!(found, Err(Refusal::NoTurn { .. })), "a straight leg alone tells nothing");
//! ```

mod collect;
mod decimate;
mod fit;
mod matrix;
mod noise;
mod outcome;
mod series;
mod settings;
#[cfg(test)]
mod tests;
mod verdict;

pub use collect::Block;
pub use collect::Collector;
pub use collect::Gathered;
pub use collect::Turn;
pub use outcome::CardRow;
pub use outcome::Circles;
pub use outcome::Coefficients;
pub use outcome::Current;
pub use outcome::Degrees;
pub use outcome::Measured;
pub use outcome::Residual;
pub use outcome::Swing;
pub use settings::Limits;
pub use settings::Settings;
pub use settings::Wind;
pub use verdict::Verdict;

use collect::CIRCLE_DEG;
use fit::Problem;
use series::Series;

/// Why no card can be made of a log: what is missing, and the remedy.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// No heading at all.
    #[error("no heading in the log: a swing needs HDG, or HDM, from the sensor to be swung")]
    NoHeading,
    /// No velocity over the ground, or void fixes only.
    #[error("no course and speed over the ground in the log: a swing needs RMC or VTG with a valid fix")]
    NoGround,
    /// The boat never moved.
    #[error(
        "the boat made no way (at most {greatest_kn:.1} kn over the ground): at anchor nothing tells the true \
         heading; motor one circle each way at 3 kn or more"
    )]
    NoWay {
        /// Greatest speed over the ground, knots.
        greatest_kn: f64,
    },
    /// Neither a turn of 180 degrees nor steady legs on enough headings.
    #[error(
        "no circle in the log, and steady legs on too few headings ({legs} legs): motor one circle each way, or \
         hold a minute on each of eight headings all round"
    )]
    NoTurn {
        /// Steady legs found.
        legs: usize,
    },
    /// The two series never overlap, or what overlaps is too short.
    #[error("heading and course do not meet in time on the turns of the log: look for gaps, and at the time stamps")]
    TooLittle,
}

/// Least velocity bins of three seconds a fit is made of.
const LEAST_BINS: usize = 20;

/// Blocks a fit is made of at most, those of most turning: more cost time and add little.
const MOST_BLOCKS: usize = 16;

/// Finds the card.
///
/// # Errors
/// [`Refusal`] says what the log lacks and the remedy. A log that yields a poor card is no error:
/// its verdict says so.
pub fn analyse(gathered: &Gathered, settings: &Settings) -> Result<Swing, Refusal> {
    if gathered.headings == 0 {
        return Err(Refusal::NoHeading);
    }
    if gathered.ground == 0 {
        return Err(Refusal::NoGround);
    }
    let least_way = settings.limits.speed_mps[1] / 2.0;
    if gathered.greatest_speed_mps < least_way {
        return Err(Refusal::NoWay { greatest_kn: gathered.greatest_speed_mps / KNOT });
    }
    let series = pick(gathered);
    let series = most_turning(series);
    if series.is_empty() {
        return Err(Refusal::NoTurn { legs: gathered.legs.len() });
    }
    if series.iter().map(|s| s.bins.len()).sum::<usize>() < LEAST_BINS {
        return Err(Refusal::TooLittle);
    }
    let mut problem = Problem::new(&series, settings);
    let solution = problem.solve().ok_or(Refusal::TooLittle)?;
    Ok(outcome::outcome(&problem, &solution, gathered, settings))
}

/// One knot in metres per second.
const KNOT: f64 = 1852.0 / 3600.0;

/// Which blocks the fit is made of: full circles with what is beside them; where there is none,
/// steady legs all round and the larger turns; where there are no legs either, the turns alone.
fn pick(gathered: &Gathered) -> Vec<Series> {
    let turned = |block: &Block, least: f64, sense: f64| block.turns.iter().any(|t| t.degrees * sense >= least);
    let circle = |block: &Block| turned(block, CIRCLE_DEG, 1.0) || turned(block, CIRCLE_DEG, -1.0);
    if gathered.turns.iter().any(circle) {
        let lacks = |sense: f64| !gathered.turns.iter().any(|block| turned(block, CIRCLE_DEG, sense));
        let wanted = |block: &&Block| {
            circle(block) || [1.0, -1.0].into_iter().any(|sense| lacks(sense) && turned(block, 0.0, sense))
        };
        return gathered.turns.iter().filter(wanted).map(|block| Series::new(block, false)).collect();
    }
    if all_round(&gathered.legs) {
        let blocks = gathered.legs.iter().chain(&gathered.turns);
        let mut series: Vec<Series> = blocks.map(|block| Series::new(block, true)).collect();
        series.sort_by(|a, b| a.log.cmp(&b.log).then(a.middle_s().total_cmp(&b.middle_s())));
        return series;
    }
    gathered.turns.iter().map(|block| Series::new(block, false)).collect()
}

/// The blocks of most turning, by time. Legs turn nothing and all stay.
fn most_turning(mut series: Vec<Series>) -> Vec<Series> {
    let turned = |s: &Series| s.pieces.iter().filter_map(|piece| piece.turned_deg).map(f64::abs).sum::<f64>();
    // By place and not by value: blocks that turned alike are not all dropped together.
    let mut most: Vec<(usize, f64)> =
        series.iter().map(turned).enumerate().filter(|(_, turned)| *turned > 0.0).collect();
    most.sort_by(|a, b| b.1.total_cmp(&a.1));
    let least: Vec<usize> = most.into_iter().skip(MOST_BLOCKS).map(|(at, _)| at).collect();
    let mut at = 0..;
    series.retain(|_| at.next().is_none_or(|at| !least.contains(&at)));
    series
}

/// Whether steady legs lie all round: six headings or more, none farther than 100 degrees from the next.
fn all_round(legs: &[Block]) -> bool {
    let mean = |block: &Block| {
        let sum: f64 = block.headings.iter().map(|(_, h)| h).sum();
        (sum / block.headings.len() as f64).rem_euclid(360.0)
    };
    let mut headings: Vec<f64> = legs.iter().map(mean).collect();
    headings.sort_by(f64::total_cmp);
    let gaps = headings.iter().zip(headings.iter().skip(1)).map(|(a, b)| b - a);
    let around = headings.first().zip(headings.last()).map_or(360.0, |(first, last)| first + 360.0 - last);
    let distinct = 1 + gaps.clone().filter(|gap| *gap > 20.0).count();
    distinct >= 6 && gaps.chain([around]).all(|gap| gap <= 100.0)
}
