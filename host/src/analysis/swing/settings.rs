//! What the owner may set about a swing, each default with its reason.

/// What is known beside the log, and the limits of the verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Variation where the swing was made, degrees, east plus.
    pub variation_deg: f64,
    /// One standard deviation of the variation, degrees; it goes into A whole.
    ///
    /// The World Magnetic Model's own figure is `sqrt(0.26^2 + (5417 / H)^2)`, H in nT.
    pub variation_sigma_deg: f64,
    /// The wind during the swing, where it is known.
    pub wind: Option<Wind>,
    /// The error assumed for a calm where no wind is given: one standard deviation of the amplitude.
    ///
    /// See [`Settings::wind_error_deg`]: 0.15 degrees stand for Beaufort 0, less than 1 knot of wind,
    /// at 3 to 6 knots. A light air of 3 knots does four times as much, so give the wind.
    pub calm_error_deg: f64,
    /// The error that a true wind as fast as the boat makes, degrees of amplitude on the beam.
    ///
    /// Wind acts on a motoring boat twice: it sets her to leeward and it slows her upwind. Equal
    /// parts of the two are a current and do no harm; what is left looks exactly like B and C. For a
    /// yacht of 9 m at 5 knots the windage of hull and rig gives some 0.3 and 1.3 degrees per
    /// (wind/speed), hence 1 degree. Our own estimate from drag and lift, no source.
    pub wind_error_deg: f64,
    /// The lag of course behind heading expected before the log is seen: its middle, seconds.
    pub lag_prior_s: f64,
    /// One standard deviation of that expectation, seconds: a lag even between -2 and +3 s has 1.44.
    ///
    /// Common practice, no source: a sensor is damped by up to 3 s, a receiver's course by as much.
    pub lag_prior_sigma_s: f64,
    /// The limits of the verdict.
    pub limits: Limits,
}

/// The wind during a swing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wind {
    /// True wind speed, metres per second.
    pub speed_mps: f64,
    /// Where the true wind comes from, degrees true; `None` where only its strength is known.
    pub from_true_deg: Option<f64>,
}

/// Where a verdict falls from `good` to `usable` and to `not usable`.
#[derive(Clone, Debug, PartialEq)]
pub struct Limits {
    /// Greatest sigma of the card in degrees: good up to the first, usable up to the second.
    ///
    /// Twice the first is the 2 degrees a helmsman steers to; twice the second is the 5 degrees the
    /// Marshall Islands' Marine Notice 2-011-32 allows a compass. The choice is ours.
    pub card_sigma_deg: [f64; 2],
    /// Greatest deviation in degrees: good up to the first, usable up to the second.
    ///
    /// 7 degrees: Panama Canal vessel requirements N-1-2022, 4.k. (Marine Notice 2-011-32 asks for 5
    /// on a ship's adjusted compass; that 6 can be lived with is common practice, no source.)
    /// 40 degrees: beyond it the place must be reconsidered, common practice, no source.
    pub deviation_deg: [f64; 2],
    /// Greatest A in degrees before the sensor is called misaligned.
    ///
    /// IMO MSC.86(70) annex 2 4.3 (draft text) asks correctors to offer 3 degrees of A.
    pub a_deg: f64,
    /// Turn rate in degrees a second that is too fast: good up to the first, usable up to the second.
    ///
    /// Common practice, no source: a circle takes a minute and a half or more. Beyond, drift angle
    /// and heel grow and the lag is no longer one number.
    pub turn_rate_dps: [f64; 2],
    /// Speed through the water in m/s that is too slow: usable down to the first, not below the second.
    ///
    /// A velocity error of 0.05 m/s is 1 degree of course at 5.6 knots and 10 at 0.6 (R. B. Langley,
    /// NavList, 19 Oct 2004).
    pub speed_mps: [f64; 2],
    /// Scatter of the course about the fit in degrees: good up to the first, usable up to the second.
    pub residual_deg: [f64; 2],
    /// Sectors of 10 degrees that must hold data: good from the first, usable from the second, of 36.
    pub sectors: [usize; 2],
    /// True wind in m/s up to which a swing counts as calm: 5 knots, common practice, no source.
    pub calm_wind_mps: f64,
    /// 1 + slope of the card at which it is folded: one course would have two readings.
    pub fold: f64,
    /// The least disagreement in degrees rms, of the two senses or of a third harmonic, worth a word.
    pub disagreement_deg: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            variation_deg: 0.0,
            variation_sigma_deg: 0.4,
            wind: None,
            calm_error_deg: 0.15,
            wind_error_deg: 1.0,
            lag_prior_s: 0.5,
            lag_prior_sigma_s: 1.44,
            limits: Limits::default(),
        }
    }
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            card_sigma_deg: [1.0, 2.5],
            deviation_deg: [7.0, 40.0],
            a_deg: 3.0,
            turn_rate_dps: [6.0, 12.0],
            speed_mps: [1.5, 0.8],
            residual_deg: [4.0, 10.0],
            sectors: [34, 24],
            calm_wind_mps: 2.6,
            fold: 0.2,
            disagreement_deg: 1.0,
        }
    }
}

impl Settings {
    /// One standard deviation, in degrees, of what the wind may have done at a speed through the
    /// water: the amplitude of a curve `sin(heading - wind)`.
    pub(crate) fn wind_sigma_deg(&self, speed_mps: f64) -> f64 {
        match self.wind {
            Some(wind) => self.wind_error_deg * wind.speed_mps / speed_mps.max(0.1),
            None => self.calm_error_deg,
        }
    }
}
