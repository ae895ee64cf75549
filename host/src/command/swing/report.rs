//! The report of a swing, whichever way it was made: what the JSON holds, and what the page shows besides.

use chrono::DateTime;
use lubber_core::angle::Bearing;
use lubber_core::angle::Turn;
use lubber_core::heading::Card;
use lubber_core::heading::CardPoint;
use lubber_core::heading::Compass;
use lubber_core::unit::Position;
use serde_json::Value;
use serde_json::json;

use crate::analysis::bearings;
use crate::analysis::harmonic::Coefficients;
use crate::analysis::harmonic::NAMES;
use crate::analysis::harmonic::TERMS;
use crate::analysis::swing::Degrees;
use crate::analysis::swing::Measured;
use crate::analysis::swing::Swing;
use crate::analysis::swing::Verdict;
use crate::boat::card_text::CardText;
use crate::plot;

/// A swing as reported.
pub(super) struct Report {
    /// The sensor that was swung.
    pub(super) sensor: String,
    /// `gps`, `HCHDT`, `sun`, `bearings`.
    pub(super) reference: String,
    /// First and last moment, Unix milliseconds.
    pub(super) from: Option<i64>,
    pub(super) to: Option<i64>,
    /// Full circles to port and starboard.
    pub(super) circles: (u32, u32),
    /// Of 36.
    pub(super) sectors: usize,
    /// `None` for a term that was not determined.
    pub(super) coefficients: [Option<Degrees>; TERMS],
    /// All causes counted, square degrees.
    pub(super) covariance: [[f64; TERMS]; TERMS],
    pub(super) residual_rms_deg: f64,
    pub(super) speed_kn: Option<Measured>,
    pub(super) set_deg: Option<Measured>,
    pub(super) drift_kn: Option<Measured>,
    pub(super) lag_s: Option<Measured>,
    pub(super) variation: Degrees,
    pub(super) variation_from: &'static str,
    pub(super) verdict: Verdict,
    pub(super) reasons: Vec<String>,
    /// Beside the JSON: the boat and place, what was seen, the track, where it is from.
    pub(super) boat: Option<String>,
    pub(super) position: Option<Position>,
    /// The day, where no moment is known: year, month, day.
    pub(super) day: Option<(i32, u32, u32)>,
    pub(super) marks: Vec<plot::Mark>,
    pub(super) track: Option<plot::Track>,
    /// The logs or files it was made from, and the digest of each.
    pub(super) sources: Vec<String>,
    pub(super) digest: Option<String>,
}

impl Report {
    /// What a swing by GPS found.
    pub(super) fn of(swing: &Swing) -> Self {
        let c = &swing.coefficients;
        let marks = swing.residuals.iter().filter(|residual| residual.counted).map(|residual| plot::Mark {
            compass_deg: residual.compass_deg,
            deviation_deg: residual.deviation_deg,
            residual_deg: residual.residual_deg,
            kind: match residual.sense {
                -1 => plot::Kind::Port,
                1 => plot::Kind::Starboard,
                _ => plot::Kind::Steady,
            },
        });
        Self {
            reference: "gps".to_owned(),
            circles: (swing.circles.port, swing.circles.starboard),
            sectors: swing.sectors_covered,
            coefficients: [c.a, c.b, c.c, c.d, c.e].map(Some),
            covariance: swing.covariance,
            residual_rms_deg: swing.residual_rms_deg,
            speed_kn: Some(swing.speed_kn),
            set_deg: swing.set_deg,
            drift_kn: Some(swing.drift_kn),
            lag_s: swing.lag_s,
            variation: swing.variation,
            verdict: swing.verdict,
            reasons: swing.reasons.clone(),
            marks: marks.collect(),
            ..Self::blank()
        }
    }

    /// What a card from sights, or from another heading, is.
    pub(super) fn of_card(card: &bearings::Card, reference: &str) -> Self {
        let term = |at: usize| {
            let sigma_deg = card.covariance[at][at].sqrt();
            card.determined[at].then_some(Degrees { deg: card.coefficients.0[at], sigma_deg })
        };
        let squares: f64 = card.residuals.iter().map(|r| r * r).sum();
        Self {
            reference: reference.to_owned(),
            coefficients: std::array::from_fn(term),
            covariance: card.covariance,
            residual_rms_deg: (squares / card.residuals.len().max(1) as f64).sqrt(),
            verdict: card.verdict,
            reasons: card.reasons.clone(),
            ..Self::blank()
        }
    }

    fn blank() -> Self {
        Self {
            sensor: String::new(),
            reference: String::new(),
            from: None,
            to: None,
            circles: (0, 0),
            sectors: 0,
            coefficients: [None; TERMS],
            covariance: [[0.0; TERMS]; TERMS],
            residual_rms_deg: 0.0,
            speed_kn: None,
            set_deg: None,
            drift_kn: None,
            lag_s: None,
            variation: Degrees { deg: 0.0, sigma_deg: 0.0 },
            variation_from: "given",
            verdict: Verdict::Good,
            reasons: Vec::new(),
            boat: None,
            position: None,
            day: None,
            marks: Vec::new(),
            track: None,
            sources: Vec::new(),
            digest: None,
        }
    }

    /// The deviation on a COMPASS heading and its sigma, degrees.
    pub(super) fn deviation(&self, compass_deg: f64) -> Degrees {
        let coefficients = Coefficients(self.coefficients.map(|term| term.map_or(0.0, |term| term.deg)));
        let deg = coefficients.deviation(compass_deg);
        Degrees { deg, sigma_deg: bearings::spread(&self.covariance, compass_deg) }
    }

    /// The greatest deviation of whole degrees, with its heading.
    pub(super) fn greatest(&self) -> (f64, Degrees) {
        let all = (0..360).map(f64::from).map(|heading| (heading, self.deviation(heading)));
        all.max_by(|a, b| a.1.deg.abs().total_cmp(&b.1.deg.abs()))
            .unwrap_or((0.0, Degrees { deg: 0.0, sigma_deg: 0.0 }))
    }

    /// The 36 rows: compass heading, deviation and sigma, degrees.
    pub(super) fn rows(&self) -> impl Iterator<Item = (f64, Degrees)> {
        (0..36).map(|at| f64::from(at) * 10.0).map(|heading| (heading, self.deviation(heading)))
    }

    /// The card in the core's form; `None` where it is folded.
    pub(super) fn card(&self) -> Option<Card> {
        #[expect(clippy::cast_possible_truncation, reason = "degrees of a circle; saturates")]
        let point = |at: i32| CardPoint {
            compass: Compass(Bearing::from_deg(at * 5)),
            deviation: Turn::from_mdeg((self.deviation(f64::from(at) * 5.0).deg * 1000.0).round() as i32),
        };
        Card::new(&(0..72).map(point).collect::<Vec<_>>()).ok()
    }

    /// The file to be kept.
    pub(super) fn card_text(&self) -> CardText {
        use chrono::Datelike;
        let date = self.from.and_then(DateTime::from_timestamp_millis).map(|at| (at.year(), at.month(), at.day()));
        CardText {
            sensor: Some(self.sensor.clone()),
            boat: self.boat.clone(),
            date: date.or(self.day),
            position: self.position,
            note: Some(format!("{}, by {}", self.verdict, self.reference)),
            log: self.digest.clone(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            points: self.rows().map(|(heading, row)| (heading, row.deg, row.sigma_deg)).collect(),
            coefficients: self.coefficients.map(|term| term.map(|term| (term.deg, term.sigma_deg))),
        }
    }

    /// JSON, schema 1.
    pub(super) fn json(&self) -> Value {
        let mut coefficients = serde_json::Map::new();
        for (name, term) in NAMES.iter().zip(self.coefficients) {
            let (deg, sigma) = (term.map(|t| rounded(t.deg)), term.map(|t| rounded(t.sigma_deg)));
            coefficients.insert((*name).to_owned(), json!({"deg": deg, "sigma_deg": sigma}));
        }
        let card: Vec<Value> = self
            .rows()
            .map(|(heading, row)| {
                json!({"compass_deg": heading, "deviation_deg": rounded(row.deg), "sigma_deg": rounded(row.sigma_deg)})
            })
            .collect();
        let (_, greatest) = self.greatest();
        let measured = |value: Option<Measured>| match value {
            Some(value) => json!({"value": rounded(value.value), "sigma": rounded(value.sigma)}),
            None => Value::Null,
        };
        json!({
            "schema": 1,
            "sensor": self.sensor,
            "reference": self.reference,
            "from": self.from.and_then(iso),
            "to": self.to.and_then(iso),
            "circles": {"port": self.circles.0, "starboard": self.circles.1},
            "sectors_covered": self.sectors,
            "coefficients": coefficients,
            "card": card,
            "greatest_deviation": {"deg": rounded(greatest.deg), "sigma_deg": rounded(greatest.sigma_deg)},
            "residual_rms_deg": rounded(self.residual_rms_deg),
            "speed_kn": measured(self.speed_kn),
            "set_deg": measured(self.set_deg),
            "drift_kn": measured(self.drift_kn),
            "lag_s": measured(self.lag_s),
            "variation": {
                "deg": rounded(self.variation.deg),
                "sigma_deg": rounded(self.variation.sigma_deg),
                "from": self.variation_from,
            },
            "verdict": self.verdict.to_string(),
            "reasons": self.reasons,
        })
    }
}

/// Three decimals; minus zero is zero.
fn rounded(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0 + 0.0
}

/// `2026-06-14T08:02:00.000Z`.
pub(super) fn iso(unix_ms: i64) -> Option<String> {
    DateTime::from_timestamp_millis(unix_ms).map(|at| at.format("%Y-%m-%dT%H:%M:%S%.3fZ").to_string())
}
