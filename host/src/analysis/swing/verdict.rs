//! The verdict: what a card is worth, why, and what would make it better.

use serde::Serialize;

use super::KNOT;
use super::outcome::Circles;
use super::outcome::Swing;
use super::outcome::rms;
use super::settings::Settings;

/// What a card is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum Verdict {
    /// Keep it.
    #[serde(rename = "good")]
    Good,
    /// Keep it with its reasons in mind.
    #[serde(rename = "usable")]
    Usable,
    /// Swing again.
    #[serde(rename = "not usable")]
    NotUsable,
}

impl std::fmt::Display for Verdict {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Good => "good",
            Self::Usable => "usable",
            Self::NotUsable => "not usable",
        })
    }
}

/// What was asked beside the fit.
pub(crate) struct Asked {
    /// Third harmonics: values in radians and the Wald statistic.
    pub(crate) third: Option<(Vec<f64>, f64)>,
    /// B C D E by the sense of the turn.
    pub(crate) sense: Option<(Vec<f64>, f64)>,
    /// Part of the data left out as impossible.
    pub(crate) refused: f64,
    /// Samples dropped as spikes.
    pub(crate) spikes: u64,
}

/// The chi-square that 1 sound swing in 1000 passes, for 2 and 4 degrees of freedom.
///
/// NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4 (from memory): 13.816 and 18.467.
const BEYOND_CHANCE: [f64; 2] = [13.816, 18.467];
/// Part of the data that may be impossible: usable up to the first, not usable beyond the second.
const MOST_REFUSED: [f64; 2] = [0.1, 0.3];

struct Bench {
    verdict: Verdict,
    reasons: Vec<(Verdict, String)>,
}

impl Bench {
    fn say(&mut self, verdict: Verdict, reason: String) {
        self.verdict = self.verdict.max(verdict);
        self.reasons.push((verdict, reason));
    }

    /// By two limits that a value should not pass.
    fn most(&mut self, value: f64, limits: [f64; 2], reason: impl FnOnce() -> String) {
        if value.is_nan() || value > limits[1] {
            self.say(Verdict::NotUsable, reason());
        } else if value > limits[0] {
            self.say(Verdict::Usable, reason());
        }
    }
}

/// Judges, the gravest reason first.
pub(crate) fn judge(swing: &Swing, asked: &Asked, settings: &Settings) -> (Verdict, Vec<String>) {
    let mut bench = Bench { verdict: Verdict::Good, reasons: Vec::new() };
    evidence(&mut bench, swing, asked, settings);
    sureness(&mut bench, swing, settings);
    compass(&mut bench, swing, settings);
    demands(&mut bench, asked, settings);
    assumptions(&mut bench, swing, settings);
    bench.reasons.sort_by_key(|(verdict, _)| std::cmp::Reverse(*verdict));
    (bench.verdict, bench.reasons.into_iter().map(|(_, reason)| reason).collect())
}

/// What the data are like.
fn evidence(bench: &mut Bench, swing: &Swing, asked: &Asked, settings: &Settings) {
    let limits = &settings.limits;
    let covered = swing.sectors_covered;
    let missing = |count: usize| (36 - count.min(36)) as f64;
    // Steady legs hold a few sectors only; for them the sigma between the legs decides.
    if swing.turn_rate_dps.is_some() {
        bench.most(missing(covered), limits.sectors.map(missing), || {
            format!("only {covered} of 36 sectors hold data: turn full circles, and a little more")
        });
    }
    if swing.turn_rate_dps.is_some() && swing.circles == Circles::default() {
        let reason =
            "no full circle in the log: the card is pieced together from partial turns; turn full circles".to_owned();
        bench.say(Verdict::Usable, reason);
    }
    if let Some(rate) = swing.turn_rate_dps {
        bench.most(rate, limits.turn_rate_dps, || {
            format!(
                "the turn is fast ({rate:.1} degrees a second): take {:.0} s or more for a circle",
                360.0 / limits.turn_rate_dps[0]
            )
        });
    }
    let speed = swing.speed_kn.value;
    bench.most(-speed * KNOT, limits.speed_mps.map(|limit| -limit), || {
        format!(
            "too slow through the water ({speed:.1} kn): go {:.0} kn or more, for a slow boat's course is uncertain",
            limits.speed_mps[0] / KNOT
        )
    });
    let residual = swing.residual_rms_deg;
    bench.most(residual, limits.residual_deg, || {
        format!(
            "too much noise ({residual:.1} degrees rms about the curve): choose flat water, a steady helm and speed"
        )
    });
    let refused = asked.refused;
    bench.most(refused, MOST_REFUSED, || {
        format!(
            "{:.0} % of the data fit no curve: look whether two boats, or two sensors, are mixed in the log ({} spikes \
             were dropped besides)",
            100.0 * refused,
            asked.spikes
        )
    });
}

/// How sure the curve is.
fn sureness(bench: &mut Bench, swing: &Swing, settings: &Settings) {
    let worst = swing.card.iter().max_by(|a, b| a.sigma_deg.total_cmp(&b.sigma_deg));
    let Some(worst) = worst else { return };
    let one_way = match (swing.turn_rate_dps, swing.circles.port, swing.circles.starboard) {
        (Some(_), 1.., 0) => Some(("port", "starboard")),
        (Some(_), 0, 1..) => Some(("starboard", "port")),
        _ => None,
    };
    let a = swing.coefficients.a;
    bench.most(worst.sigma_deg, settings.limits.card_sigma_deg, || {
        let remedy = match one_way {
            Some((_, other)) => format!("add a circle to {other}"),
            None if a.sigma_deg > 0.8 * worst.sigma_deg && swing.variation.sigma_deg > 0.5 * a.sigma_deg => {
                "the variation is the uncertain part: give it with --variation from a chart".to_owned()
            }
            None => "swing again, two circles each way on flat water without wind".to_owned(),
        };
        format!(
            "the card is uncertain to {:.1} degrees (one sigma, worst on {:03.0} C): {remedy}",
            worst.sigma_deg, worst.compass_deg
        )
    });
    if let Some((way, other)) = one_way {
        let reason = format!(
            "circles to {way} only: the lag of the course and A cannot be told apart, so A is known to {:.1} degrees \
             only; add a circle to {other}, with a straight minute before it",
            a.sigma_deg
        );
        bench.say(Verdict::Usable, reason);
    }
}

/// What the curve says of the compass and its place.
fn compass(bench: &mut Bench, swing: &Swing, settings: &Settings) {
    let limits = &settings.limits;
    let greatest = swing.greatest_deviation.deg.abs();
    bench.most(greatest, limits.deviation_deg, || {
        if greatest > limits.deviation_deg[1] {
            format!("deviation up to {greatest:.0} degrees: no card mends this, find the sensor another place")
        } else {
            format!(
                "deviation up to {greatest:.1} degrees, more than {:.0}: better compensated, or the sensor moved away \
                 from iron and cables, and swung again",
                limits.deviation_deg[0]
            )
        }
    });
    if greatest > 20.0 {
        let form = 1.5 * (greatest / 21.0).powi(2);
        let reason = format!(
            "above 20 degrees the five terms describe a deviation only to about {form:.1} degrees, not counted in the sigma"
        );
        bench.say(Verdict::Usable, reason);
    }
    let a = swing.coefficients.a;
    if a.deg.abs() > limits.a_deg && a.deg.abs() > 2.0 * a.sigma_deg {
        let way = if a.deg > 0.0 { "clockwise" } else { "anticlockwise" };
        let reason = format!(
            "A is {:+.1} degrees, so the sensor is likely misaligned: turn it {way}, seen from above, by {:.1} degrees \
             and swing again",
            a.deg,
            a.deg.abs()
        );
        bench.say(Verdict::Usable, reason);
    }
    let steepest = (0..360)
        .map(|d| (f64::from(d), swing.deviation(f64::from(d) + 0.5).deg - swing.deviation(f64::from(d) - 0.5).deg))
        .min_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((at, slope)) = steepest.filter(|(_, slope)| 1.0 + slope <= limits.fold) {
        let reason = format!(
            "the card is folded near {at:03.0} C: there a small turn of the boat swings the compass far, and one course \
             may have two readings (1 + slope is {:.2}); find the sensor another place",
            1.0 + slope
        );
        bench.say(Verdict::NotUsable, reason);
    }
}

/// What the data demand beyond five terms and one lag.
fn demands(bench: &mut Bench, asked: &Asked, settings: &Settings) {
    let least = settings.limits.disagreement_deg;
    if let Some((values, statistic)) = &asked.third {
        let amplitude = values[0].hypot(values[1]).to_degrees();
        if *statistic > BEYOND_CHANCE[0] && amplitude > least {
            let reason = format!(
                "the deviation has a third harmonic of {amplitude:.1} degrees, which the five terms lack: something \
                 magnetic is very near the sensor; look within a metre of it"
            );
            bench.say(Verdict::Usable, reason);
        }
    }
    if let Some((values, statistic)) = &asked.sense {
        // Half the difference of the two curves, rms over all headings; the curves differ by twice it.
        let differ = 2.0 * rms(values.iter().map(|v| v.to_degrees())) * (values.len() as f64 / 2.0).sqrt();
        if *statistic > BEYOND_CHANCE[1] && differ > least {
            let reason = format!(
                "port and starboard circles do not agree ({differ:.1} degrees rms): the boat heels or the sensor lags \
                 unevenly, or wind and current changed; turn slower and swing again"
            );
            bench.say(if differ > 3.0 * least { Verdict::NotUsable } else { Verdict::Usable }, reason);
        }
    }
}

/// What was assumed, with its cost.
fn assumptions(bench: &mut Bench, swing: &Swing, settings: &Settings) {
    let speed = swing.speed_kn.value * KNOT;
    match settings.wind {
        Some(wind) if wind.speed_mps > settings.limits.calm_wind_mps => {
            let reason = format!(
                "true wind {:.0} kn: what it does to leeway and speed looks exactly like deviation, some {:.1} degrees \
                 rms of card error counted in the sigma; swing below {:.0} kn of wind",
                wind.speed_mps / KNOT,
                settings.wind_sigma_deg(speed) / 2.0_f64.sqrt(),
                settings.limits.calm_wind_mps / KNOT
            );
            bench.say(Verdict::Usable, reason);
        }
        Some(_) => {}
        None => bench.say(
            Verdict::Good,
            "calm is assumed: each degree of leeway from a steady wind would add 0.7 degrees rms of card error that \
             the residuals do not show; give the wind with --wind"
                .to_owned(),
        ),
    }
}
