//! Which variation a swing is reckoned with, and how sure it is.

use lubber_core::unit::Position;

use crate::analysis::bearings::signed;
use crate::analysis::swing::Degrees;
use crate::analysis::variation;
use crate::analysis::variation::Zone;
use crate::exit::Failure;

/// The variation in use.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Chosen {
    pub(super) variation: Degrees,
    /// `given`, `wire` or `model`.
    pub(super) from: &'static str,
    /// What the owner should know about it.
    pub(super) notes: Vec<String>,
}

/// The sigma of a variation that no model can judge, degrees: about the model's own in middle latitudes.
const UNJUDGED_DEG: f64 = 0.4;

/// The owner's variation; else the wire's where it is within 2 degrees or 3 sigma of the model's; else the
/// model's.
pub(super) fn choose(
    given_deg: Option<f64>,
    wire_deg: Option<f64>,
    place: Option<Position>,
    unix_ms: Option<i64>,
) -> Result<Chosen, Failure> {
    let field = place.zip(unix_ms).and_then(|(place, at)| {
        let year = variation::year(at).ok()?;
        variation::field(f64::from(place.lat_e7) / 1e7, f64::from(place.lon_e7) / 1e7, year).ok()
    });
    let mut notes = Vec::new();
    if let Some(field) = field {
        if field.zone != Zone::Sound {
            notes.push(format!(
                "the horizontal field here is {:.0} nT, under 6000: a compass is sluggish, and no card makes it sure",
                field.horizontal_nt
            ));
        }
        if field.extrapolated_years > 0.0 {
            notes.push(format!(
                "the log is {:.0} years outside what the magnetic model of {} is for: the variation is the less sure",
                field.extrapolated_years, field.epoch
            ));
        }
    }
    let sigma_deg = field.map_or(UNJUDGED_DEG, |field| field.sigma_deg);
    let chosen = |deg: f64, from, notes| Chosen { variation: Degrees { deg, sigma_deg }, from, notes };
    match (given_deg, wire_deg, field) {
        (Some(deg), _, field) => {
            if let Some(field) = field.filter(|f| signed(deg - f.variation_deg).abs() > (3.0 * f.sigma_deg).max(2.0)) {
                notes.push(format!(
                    "--variation {} is not what the model says here ({}): all of the difference goes into A",
                    lettered(deg),
                    lettered(field.variation_deg)
                ));
            }
            Ok(chosen(deg, "given", notes))
        }
        (None, Some(wire), Some(field)) => {
            if signed(wire - field.variation_deg).abs() <= (3.0 * field.sigma_deg).max(2.0) {
                return Ok(chosen(wire, "wire", notes));
            }
            notes.push(format!(
                "the line says {} of variation, the model {}: the model's is used; look at the variation set in the gear",
                lettered(wire),
                lettered(field.variation_deg)
            ));
            Ok(chosen(field.variation_deg, "model", notes))
        }
        (None, None, Some(field)) => Ok(chosen(field.variation_deg, "model", notes)),
        (None, Some(wire), None) => Ok(chosen(wire, "wire", notes)),
        (None, None, None) => Err(Failure::new(
            "no variation: the log has neither one (HDG, RMC) nor a position and date for the magnetic model; give it, \
             for example: --variation 4.1E",
        )),
    }
}

/// `4.1 E`; what rounds to nothing is east.
pub(super) fn lettered(degrees: f64) -> String {
    format!("{:.1} {}", degrees.abs(), if degrees < -0.05 { 'W' } else { 'E' })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2026-07-01.
    const AT: i64 = 1_782_864_000_000;
    /// Newport: WMM2025 gives 13.67 W in 2027.0 (another package, pygeomag 1.1.0), 13.7 within a year.
    const NEWPORT: Position = Position { lat_e7: 415_000_000, lon_e7: -713_000_000 };

    #[test]
    fn the_wire_is_believed_near_the_model_only() {
        let near = choose(None, Some(-13.2), Some(NEWPORT), Some(AT)).unwrap();
        assert_eq!((near.from, near.variation.deg), ("wire", -13.2));
        assert!((0.3..0.5).contains(&near.variation.sigma_deg) && near.notes.is_empty());
        let far = choose(None, Some(13.2), Some(NEWPORT), Some(AT)).unwrap();
        assert!(far.from == "model" && (far.variation.deg + 13.7).abs() <= 0.1 && far.notes.len() == 1, "{far:?}");
        let given = choose(Some(-13.0), Some(13.2), Some(NEWPORT), Some(AT)).unwrap();
        assert_eq!((given.from, given.notes.len()), ("given", 0));
        assert_eq!(choose(None, Some(5.0), None, None).unwrap().variation.sigma_deg, UNJUDGED_DEG);
        assert!(choose(None, None, None, Some(AT)).is_err());
    }
}
