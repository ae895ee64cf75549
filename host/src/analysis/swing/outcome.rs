//! The outcome of a swing: numbers with their uncertainty, named as the JSON of `swing` names them.

use serde::Serialize;

use super::KNOT;
use super::collect::Gathered;
use super::fit::Extra;
use super::fit::LAG;
use super::fit::Problem;
use super::fit::Solution;
use super::fit::TERMS;
use super::fit::basis;
use super::fit::deviation;
use super::matrix::Symmetric;
use super::settings::Settings;
use super::verdict;
use super::verdict::Verdict;

/// An angle in degrees and its standard deviation.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Degrees {
    /// Degrees.
    pub deg: f64,
    /// One standard deviation, degrees.
    pub sigma_deg: f64,
}

/// A number and its standard deviation, in the unit its name says.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Measured {
    /// The number.
    pub value: f64,
    /// One standard deviation.
    pub sigma: f64,
}

/// Full circles used.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Circles {
    /// To port.
    pub port: u32,
    /// To starboard.
    pub starboard: u32,
}

/// The five coefficients.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "UPPERCASE")]
pub struct Coefficients {
    /// Constant: plus, turn the sensor clockwise.
    pub a: Degrees,
    /// Of the sine.
    pub b: Degrees,
    /// Of the cosine.
    pub c: Degrees,
    /// Of the sine of twice the heading.
    pub d: Degrees,
    /// Of the cosine of twice the heading.
    pub e: Degrees,
}

/// One row of the card.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CardRow {
    /// COMPASS heading, degrees.
    pub compass_deg: f64,
    /// Deviation there, degrees, east plus.
    pub deviation_deg: f64,
    /// One standard deviation, all causes counted, degrees.
    pub sigma_deg: f64,
}

/// The current of one stretch of the log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Current {
    /// Which log, counted from 0.
    pub log: usize,
    /// The middle of its first block, seconds.
    pub t_s: f64,
    /// North and east, m/s.
    pub flow_mps: [f64; 2],
    /// Their standard deviations, m/s.
    pub sigma_mps: [f64; 2],
}

/// What one bin of three seconds left over, for the plot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residual {
    /// Time, seconds.
    pub t_s: f64,
    /// COMPASS heading, degrees, 0 up to 360.
    pub compass_deg: f64,
    /// Deviation seen in this bin alone, degrees: the card's and the residual.
    pub deviation_deg: f64,
    /// Seen less fitted, degrees.
    pub residual_deg: f64,
    /// -1 in a turn to port, 0 straight, +1 in a turn to starboard.
    pub sense: i8,
    /// Whether the fit counted it; else it lay out too far.
    pub counted: bool,
}

/// A card found, with how sure it is. Serialized, it is the swing's JSON but for the names and times
/// that only the caller knows.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Swing {
    /// Full circles found and used.
    pub circles: Circles,
    /// Sectors of 10 degrees of compass heading that hold data, of 36.
    pub sectors_covered: usize,
    /// A to E, all causes of error counted.
    pub coefficients: Coefficients,
    /// 36 rows.
    pub card: Vec<CardRow>,
    /// The greatest deviation with its sign.
    pub greatest_deviation: Degrees,
    /// Scatter of the course of three seconds about the fit.
    pub residual_rms_deg: f64,
    /// Speed through the water in the circles, or on the legs.
    pub speed_kn: Measured,
    /// Where the current flows to, degrees true; `None` where the drift is within its error.
    pub set_deg: Option<Measured>,
    /// How fast, knots.
    pub drift_kn: Measured,
    /// Course behind heading in a turn, seconds; `None` where nothing turned.
    pub lag_s: Option<Measured>,
    /// The variation used.
    pub variation: Degrees,
    /// What the card is worth.
    pub verdict: Verdict,
    /// Why, and the remedy; notes on what was assumed come last.
    pub reasons: Vec<String>,
    /// Covariance of A to E in square degrees, all causes counted.
    #[serde(skip)]
    pub covariance: [[f64; TERMS]; TERMS],
    /// The same from the scatter of this log alone, without the errors of variation and wind.
    #[serde(skip)]
    pub scatter_covariance: [[f64; TERMS]; TERMS],
    /// Every current found.
    #[serde(skip)]
    pub currents: Vec<Current>,
    /// What every bin left over.
    #[serde(skip)]
    pub residuals: Vec<Residual>,
    /// Mean turn rate of the fastest turn, degrees a second, without sign; `None` where nothing turned.
    #[serde(skip)]
    pub turn_rate_dps: Option<f64>,
}

impl Swing {
    /// The deviation on a COMPASS heading and its standard deviation, all causes counted, in degrees.
    pub fn deviation(&self, compass_deg: f64) -> Degrees {
        let functions = basis(compass_deg.to_radians());
        let c = &self.coefficients;
        let values = [c.a.deg, c.b.deg, c.c.deg, c.d.deg, c.e.deg];
        Degrees { deg: dot(&functions, &values), sigma_deg: spread(&self.covariance, &functions) }
    }
}

fn dot(a: &[f64; TERMS], b: &[f64; TERMS]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// The standard deviation of a combination of the coefficients.
pub(crate) fn spread(covariance: &[[f64; TERMS]; TERMS], functions: &[f64; TERMS]) -> f64 {
    covariance.iter().zip(functions).map(|(row, f)| f * dot(row, functions)).sum::<f64>().max(0.0).sqrt()
}

fn square(covariance: &Symmetric) -> [[f64; TERMS]; TERMS] {
    let degrees = 1.0_f64.to_degrees().powi(2);
    std::array::from_fn(|row| std::array::from_fn(|column| covariance.at(row, column) * degrees))
}

/// Adds what the data cannot show: the variation's error to A, the wind's to B and C.
fn add_unseen(covariance: &mut [[f64; TERMS]; TERMS], a_deg: f64, speed_mps: f64, settings: &Settings) {
    covariance[0][0] += settings.variation_sigma_deg.powi(2);
    let variance = settings.wind_sigma_deg(speed_mps).powi(2);
    match settings.wind.and_then(|wind| wind.from_true_deg) {
        // The curve is sin(compass + A + variation - wind): all its strength lies in one direction.
        Some(from) => {
            let (sin, cos) = (from - a_deg - settings.variation_deg).to_radians().sin_cos();
            let along = [cos, -sin];
            for (row, r) in along.iter().enumerate() {
                for (column, c) in along.iter().enumerate() {
                    covariance[1 + row][1 + column] += variance * r * c;
                }
            }
        }
        None => {
            covariance[1][1] += variance / 2.0;
            covariance[2][2] += variance / 2.0;
        }
    }
}

/// By how much the lag of one turn departs from that of another, one sigma in seconds: damping, delay
/// and drift angle are one number only in a turn of constant rate.
///
/// Measured with the simulator, whose turns wander by 8 %: without it the lag's error is 1.4 of its
/// sigma, and A after one circle alone is too sure.
const LAG_DEPARTS_S: f64 = 0.07;

/// Puts a solution into the words of the trade.
pub(crate) fn outcome(problem: &Problem, solution: &Solution, gathered: &Gathered, settings: &Settings) -> Swing {
    let x = &solution.x;
    let sigma = |at: usize| solution.covariance.at(at, at).max(0.0).sqrt();
    let speed_mps = problem.main_speed().map_or(0.0, |at| x[at]);
    let residuals = residuals(problem, solution);
    let scatter_covariance = square(&solution.covariance);
    let mut covariance = scatter_covariance;
    add_unseen(&mut covariance, x[0].to_degrees(), speed_mps, settings);
    let turned =
        || problem.series.iter().flat_map(|s| &s.pieces).filter_map(|p| Some((p.turned_deg?, p.to_s - p.from_s)));
    let turn_rate_dps = turned().map(|(degrees, time)| (degrees / time).abs()).max_by(f64::total_cmp);
    if let Some(rate) = turn_rate_dps {
        covariance[0][0] += (LAG_DEPARTS_S * rate).powi(2) / turned().count() as f64;
    }
    let term = |at: usize| Degrees { deg: x[at].to_degrees(), sigma_deg: covariance[at][at].sqrt() };
    let row = |compass_deg: f64| {
        let functions = basis(compass_deg.to_radians());
        let deviation_deg = deviation(x, compass_deg.to_radians()).to_degrees();
        CardRow { compass_deg, deviation_deg, sigma_deg: spread(&covariance, &functions) }
    };
    let greatest = (0..360)
        .map(|degree| row(f64::from(degree)))
        .max_by(|a, b| a.deviation_deg.abs().total_cmp(&b.deviation_deg.abs()))
        .map_or(Degrees { deg: 0.0, sigma_deg: 0.0 }, |r| Degrees { deg: r.deviation_deg, sigma_deg: r.sigma_deg });
    let currents = currents(problem, solution);
    let (set_deg, drift_kn) = main_current(problem, solution);
    let mut circles = Circles::default();
    for (degrees, _) in turned() {
        let full = ((degrees.abs() + 360.0 - super::CIRCLE_DEG) / 360.0) as u32;
        *(if degrees < 0.0 { &mut circles.port } else { &mut circles.starboard }) += full;
    }
    let mut swing = Swing {
        circles,
        sectors_covered: sectors(problem, solution),
        coefficients: Coefficients { a: term(0), b: term(1), c: term(2), d: term(3), e: term(4) },
        card: (0..36).map(|at| row(10.0 * f64::from(at))).collect(),
        greatest_deviation: greatest,
        residual_rms_deg: rms(residuals.iter().filter(|r| r.counted).map(|r| r.residual_deg)),
        speed_kn: Measured { value: speed_mps / KNOT, sigma: problem.main_speed().map_or(0.0, sigma) / KNOT },
        set_deg,
        drift_kn,
        lag_s: turn_rate_dps.map(|_| Measured { value: x[LAG], sigma: sigma(LAG).hypot(LAG_DEPARTS_S) }),
        variation: Degrees { deg: settings.variation_deg, sigma_deg: settings.variation_sigma_deg },
        verdict: Verdict::Good,
        reasons: Vec::new(),
        covariance,
        scatter_covariance,
        currents,
        residuals,
        turn_rate_dps,
    };
    let asked = verdict::Asked {
        third: problem.ask(solution, Extra::ThirdHarmonic),
        sense: problem.ask(solution, Extra::Sense),
        refused: solution.refused(),
        spikes: gathered.spikes,
    };
    (swing.verdict, swing.reasons) = verdict::judge(&swing, &asked, settings);
    swing
}

pub(crate) fn rms(values: impl Iterator<Item = f64>) -> f64 {
    let (count, squares) = values.fold((0.0, 0.0), |(n, sum), v| (n + 1.0, sum + v * v));
    if count > 0.0 { (squares / count).sqrt() } else { 0.0 }
}

fn residuals(problem: &Problem, solution: &Solution) -> Vec<Residual> {
    let seen = problem.bins().filter_map(|(block, at, bin)| {
        let seen = problem.see(&solution.x, block, bin)?;
        // The angle between the water track seen and the heading predicted.
        let residual_deg = seen.residual[1].atan2(seen.speed + seen.residual[0]).to_degrees();
        let turned = problem.series[block].pieces[bin.piece].turned_deg;
        Some(Residual {
            t_s: bin.t_s,
            compass_deg: seen.compass.to_degrees().rem_euclid(360.0),
            deviation_deg: deviation(&solution.x, seen.compass).to_degrees() + residual_deg,
            residual_deg,
            sense: turned.map_or(0, |degrees| degrees.signum() as i8),
            counted: solution.counted(block, at),
        })
    });
    seen.collect()
}

/// Sectors that hold data: each bin covers the headings of its three seconds.
fn sectors(problem: &Problem, solution: &Solution) -> usize {
    let mut covered = [false; 36];
    for (block, at, bin) in problem.bins() {
        if solution.counted(block, at) {
            for step in -4..=4 {
                let t = bin.t_s - solution.x[LAG] + 0.4 * f64::from(step);
                if let Some((heading, _)) = problem.series[block].heading.at(t) {
                    covered[(heading.rem_euclid(360.0) / 10.0) as usize % 36] = true;
                }
            }
        }
    }
    covered.into_iter().filter(|c| *c).count()
}

fn currents(problem: &Problem, solution: &Solution) -> Vec<Current> {
    let mut before = usize::MAX;
    let mut out = Vec::new();
    for (series, &at) in problem.series.iter().zip(&problem.layout.current) {
        if at != before {
            before = at;
            let sigma = |i: usize| solution.covariance.at(i, i).max(0.0).sqrt();
            let flow_mps = [solution.x[at], solution.x[at + 1]];
            out.push(Current {
                log: series.log,
                t_s: series.middle_s(),
                flow_mps,
                sigma_mps: [sigma(at), sigma(at + 1)],
            });
        }
    }
    out
}

/// Set and drift of the current that most of the data saw.
fn main_current(problem: &Problem, solution: &Solution) -> (Option<Measured>, Measured) {
    let bins = |at: usize| -> usize {
        let mine = problem.series.iter().zip(&problem.layout.current).filter(|(_, current)| **current == at);
        mine.map(|(series, _)| series.bins.len()).sum()
    };
    let Some(&at) = problem.layout.current.iter().max_by_key(|at| bins(**at)) else {
        return (None, Measured { value: 0.0, sigma: 0.0 });
    };
    let (north, east) = (solution.x[at], solution.x[at + 1]);
    let drift = north.hypot(east);
    let covariance = solution.covariance.block(at, 2);
    let (cos, sin) = if drift > 0.0 { (north / drift, east / drift) } else { (1.0, 0.0) };
    let along = covariance.quadratic(&[cos, sin]).max(0.0).sqrt();
    let across = covariance.quadratic(&[-sin, cos]).max(0.0).sqrt();
    let set =
        Measured { value: east.atan2(north).to_degrees().rem_euclid(360.0), sigma: across.atan2(drift).to_degrees() };
    ((drift > 2.0 * across).then_some(set), Measured { value: drift / KNOT, sigma: along / KNOT })
}
