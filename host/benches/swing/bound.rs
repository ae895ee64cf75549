//! The Cramer-Rao bound of a card: no unbiased estimate can do better on the average.
//!
//! From the simulator's true errors, each with its true memory, and the true path of the boat. The
//! unknowns are A to E, the lag with its prior, the current and one speed per leg; that the speed
//! settles, and how the helm wanders, is taken as known, so the bound is rather too low than too high.

use lubber::analysis::swing::Settings;
use lubber::simulate::swing::Leg;
use lubber::simulate::swing::Plan;

/// Root of the mean variance over 36 headings, degrees, of a card without the variation's error.
pub(crate) fn card_sigma_deg(plan: &Plan, settings: &Settings) -> Option<f64> {
    let clean = Plan {
        yaw_deg: 1e-6,
        heading_error_deg: 0.0,
        heading_step_deg: 0.1,
        heading_hz: 10,
        receiver_white_mps: 0.0,
        receiver_wander_mps: 0.0,
        leeway_deg: 0.0,
        ..plan.clone()
    };
    let log = clean.run();
    let rows: Vec<Row> = log.ground.iter().filter_map(|&(t, ..)| row(&log.headings, t, plan)).collect();
    let n = rows.len();
    let covariance = covariance(plan, &rows);
    let lower = cholesky(covariance, 2 * n)?;
    let legs = plan.legs.len();
    let unknowns = 8 + legs;
    let mut columns = vec![vec![0.0; 2 * n]; unknowns];
    for (i, r) in rows.iter().enumerate() {
        let (sin, cos) = r.psi.sin_cos();
        let c = r.compass;
        for (at, f) in [1.0, c.sin(), c.cos(), (2.0 * c).sin(), (2.0 * c).cos(), -r.rate].into_iter().enumerate() {
            (columns[at][2 * i], columns[at][2 * i + 1]) = (-sin * plan.speed_mps * f, cos * plan.speed_mps * f);
        }
        columns[6][2 * i] = 1.0;
        columns[7][2 * i + 1] = 1.0;
        let leg = leg_at(plan, r.t);
        (columns[8 + leg][2 * i], columns[8 + leg][2 * i + 1]) = (cos, sin);
    }
    for column in &mut columns {
        forward(&lower, 2 * n, column);
    }
    let mut information = vec![0.0; unknowns * unknowns];
    for i in 0..unknowns {
        for j in 0..unknowns {
            information[i * unknowns + j] = columns[i].iter().zip(&columns[j]).map(|(a, b)| a * b).sum();
        }
        information[i * unknowns + i] += 1e-9;
    }
    information[5 * unknowns + 5] += settings.lag_prior_sigma_s.powi(-2);
    let factor = cholesky(information, unknowns)?;
    let variance = (0..36).map(|at| {
        let c = f64::from(at * 10).to_radians();
        let mut line = vec![0.0; unknowns];
        line[..5].copy_from_slice(&[1.0, c.sin(), c.cos(), (2.0 * c).sin(), (2.0 * c).cos()]);
        forward(&factor, unknowns, &mut line);
        line.iter().map(|v| v * v).sum::<f64>()
    });
    // What the wind did is beyond any estimate: half its amplitude's variance, averaged over headings.
    let wind =
        (plan.wind_told_mps.map_or(settings.calm_error_deg, |wind| settings.wind_error_deg * wind / plan.speed_mps))
            .powi(2)
            / 2.0;
    Some((variance.sum::<f64>() / 36.0 * 1.0_f64.to_degrees().powi(2) + wind).sqrt())
}

struct Row {
    t: f64,
    compass: f64,
    psi: f64,
    rate: f64,
}

fn row(headings: &[(f64, f64)], t: f64, plan: &Plan) -> Option<Row> {
    let at = |t: f64| headings.get(headings.partition_point(|(s, _)| *s < t - 1e-6)).map(|(_, h)| *h);
    let signed = |d: f64| (d + 180.0).rem_euclid(360.0) - 180.0;
    let (before, now, after) = (at(t - plan.lag_s() - 2.0)?, at(t - plan.lag_s())?, at(t - plan.lag_s() + 2.0)?);
    let turned = signed(after - before);
    let psi = now + plan.deviation(now) + plan.variation_true_deg;
    Some(Row { t, compass: now.to_radians(), psi: psi.to_radians(), rate: turned.to_radians() / 4.0 })
}

/// Which leg a time lies in, by the plan's own turn rate.
fn leg_at(plan: &Plan, t: f64) -> usize {
    let mut end = 0.0;
    for (at, leg) in plan.legs.iter().enumerate() {
        end += match leg {
            Leg::Straight(seconds) => *seconds,
            Leg::Turn(degrees) => degrees.abs() / plan.turn_rate_dps,
        };
        if t < end {
            return at;
        }
    }
    plan.legs.len() - 1
}

fn covariance(plan: &Plan, rows: &[Row]) -> Vec<f64> {
    let n = rows.len();
    let mut out = vec![0.0; 4 * n * n];
    let omega = std::f64::consts::TAU / plan.yaw_period_s;
    // How much of the yaw course and sensor do not share, each with its own lag.
    let filter = |tau: f64, delay: f64| {
        let gain = 1.0 / (1.0 + (omega * tau).powi(2)).sqrt();
        let phase = -(omega * tau).atan() - omega * delay;
        (gain * phase.cos(), gain * phase.sin())
    };
    let course = filter(plan.drift_angle_s, plan.receiver_delay_s);
    let sensor = filter(plan.damping_s, plan.lag_s());
    let yaw = (plan.yaw_deg.to_radians() * (course.0 - sensor.0).hypot(course.1 - sensor.1)).powi(2);
    let samples = f64::from(plan.heading_hz.min(3));
    let heading =
        plan.heading_error_deg.powi(2) / f64::from(plan.heading_hz) + plan.heading_step_deg.powi(2) / 12.0 / samples;
    let s2 = plan.speed_mps.powi(2);
    for i in 0..n {
        for j in 0..=i {
            let dt = (rows[i].t - rows[j].t).abs();
            let same = if i == j { 1.0 } else { 0.0 };
            let isotropic = plan.receiver_white_mps.powi(2) * same
                + plan.receiver_wander_mps.powi(2) * (-dt / plan.receiver_memory_s).exp();
            let along = s2 * plan.speed_wander.powi(2) * (-dt / 40.0).exp();
            let across =
                s2 * (yaw * (-0.1 * omega * dt).exp() * (omega * dt).cos() + heading.to_radians().to_radians() * same);
            let ((si, ci), (sj, cj)) = (rows[i].psi.sin_cos(), rows[j].psi.sin_cos());
            let block = [
                [isotropic + along * ci * cj + across * si * sj, along * ci * sj - across * si * cj],
                [along * si * cj - across * ci * sj, isotropic + along * si * sj + across * ci * cj],
            ];
            for (a, line) in block.iter().enumerate() {
                for (b, value) in line.iter().enumerate() {
                    out[(2 * i + a) * 2 * n + 2 * j + b] = *value;
                    out[(2 * j + b) * 2 * n + 2 * i + a] = *value;
                }
            }
        }
    }
    out
}

fn cholesky(mut m: Vec<f64>, n: usize) -> Option<Vec<f64>> {
    for row in 0..n {
        for column in 0..=row {
            let (above, here) = m.split_at_mut(row * n);
            let other = if column == row { &here[..column] } else { &above[column * n..column * n + column] };
            let dot: f64 = other.iter().zip(&here[..column]).map(|(a, b)| a * b).sum();
            let rest = here[column] - dot;
            if column == row {
                if rest.is_nan() || rest <= 0.0 {
                    return None;
                }
                here[column] = rest.sqrt();
            } else {
                here[column] = rest / above[column * n + column];
            }
        }
    }
    Some(m)
}

fn forward(lower: &[f64], n: usize, b: &mut [f64]) {
    for row in 0..n {
        let dot: f64 = lower[row * n..row * n + row].iter().zip(&b[..row]).map(|(l, x)| l * x).sum();
        b[row] = (b[row] - dot) / lower[row * n + row];
    }
}
