//! Headings, deviations and positions as a person writes them: `135 C`, `3.0 E`, `50 21.5 N, 4 09 W`.
//!
//! Strict: what is not wholly understood is `None`, and the caller names the place and an example.

use lubber_core::angle::Bearing;
use lubber_core::angle::Turn;
use lubber_core::decimal;
use lubber_core::picture::Reference;
use lubber_core::picture::Referred;
use lubber_core::unit::Position;

/// A heading with its reference letter, 0 to 360 degrees: `135C`, `135 m`, `007.5T`.
pub fn heading(text: &str) -> Option<Referred> {
    let text = text.trim();
    let (number, letter) = text.split_at_checked(text.len().checked_sub(1)?)?;
    let reference = match letter {
        "C" | "c" => Reference::Compass,
        "M" | "m" => Reference::Magnetic,
        "T" | "t" => Reference::True,
        _ => return None,
    };
    Some(Referred { bearing: bearing(number)?, reference })
}

/// A direction in degrees without a letter, 0 to 360: `135`, `007.5`.
pub fn bearing(text: &str) -> Option<Bearing> {
    let mdeg = unsigned(text.trim())?;
    (mdeg <= 360_000).then(|| Bearing::from_mdeg(mdeg))
}

/// A deviation or variation: `3.0 E`, `1.5W`, or a signed number that is east plus. At most 180.
pub fn east_west(text: &str) -> Option<Turn> {
    let text = text.trim();
    let mdeg = match text.strip_suffix(['E', 'e']) {
        Some(east) => unsigned(east.trim_end())?,
        None => match text.strip_suffix(['W', 'w']) {
            Some(west) => -unsigned(west.trim_end())?,
            None => decimal::scaled(text.as_bytes(), 3).ok()?,
        },
    };
    i32::try_from(mdeg).ok().filter(|mdeg| mdeg.abs() <= 180_000).map(Turn::from_mdeg)
}

/// A position, latitude first: `50.35,-4.15`, `50.35N 4.15W` with a comma between, or in degrees and
/// minutes with their letters, `50 21.5 N, 4 09 W`.
pub fn position(text: &str) -> Option<Position> {
    let (lat, lon) = text.split_once(',')?;
    Some(Position { lat_e7: coordinate(lat, 'N', 'S', 90)?, lon_e7: coordinate(lon, 'E', 'W', 180)? })
}

/// One coordinate in degrees times ten million.
fn coordinate(text: &str, plus: char, minus: char, most_deg: i64) -> Option<i32> {
    let text = text.trim();
    let letter = text.chars().next_back()?.to_ascii_uppercase();
    let e7 = if letter == plus || letter == minus {
        let mut parts = text[..text.len() - 1].split_whitespace();
        let degrees = parts.next().filter(|part| !part.starts_with(['+', '-']))?;
        let e7 = match (parts.next(), parts.next()) {
            (None, _) => decimal::scaled(degrees.as_bytes(), 7).ok()?,
            (Some(minutes), None) if !minutes.starts_with(['+', '-']) && !degrees.contains('.') => {
                let minutes_e7 = decimal::scaled(minutes.as_bytes(), 7).ok().filter(|&e7| e7 < 600_000_000)?;
                let degrees_e7 = decimal::scaled(degrees.as_bytes(), 7).ok()?;
                degrees_e7.checked_add((minutes_e7 + 30) / 60)?
            }
            _ => return None,
        };
        if letter == minus { -e7 } else { e7 }
    } else {
        decimal::scaled(text.as_bytes(), 7).ok()?
    };
    (e7.checked_abs()? <= most_deg * 10_000_000).then(|| i32::try_from(e7).ok()).flatten()
}

/// A number without a sign, in thousandths.
fn unsigned(text: &str) -> Option<i64> {
    if text.starts_with(['+', '-']) {
        return None;
    }
    decimal::scaled(text.as_bytes(), 3).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings() {
        for (text, mdeg, reference) in [
            ("135C", 135_000, Reference::Compass),
            ("135 M", 135_000, Reference::Magnetic),
            (" 007.5t ", 7_500, Reference::True),
            ("360T", 0, Reference::True),
            ("0c", 0, Reference::Compass),
        ] {
            let want = Referred { bearing: Bearing::from_mdeg(mdeg), reference };
            assert_eq!(heading(text), Some(want), "{text}");
        }
        for bad in ["", "C", "135", "-5C", "+5C", "361C", "13x5C", "135Q", "135CC", "1e2C", "135°", "NaN C", "٣C"] {
            assert_eq!(heading(bad), None, "{bad}");
        }
    }

    #[test]
    fn east_and_west() {
        for (text, mdeg) in
            [("3.0 E", 3_000), ("1.5W", -1_500), ("-2.1", -2_100), ("+0.25", 250), ("0", 0), ("4.1e", 4_100)]
        {
            assert_eq!(east_west(text), Some(Turn::from_mdeg(mdeg)), "{text}");
        }
        for bad in ["", "E", "-3 W", "3 N", "181", "3.0 E W", "inf"] {
            assert_eq!(east_west(bad), None, "{bad}");
        }
    }

    #[test]
    fn positions() {
        let at = |lat_e7, lon_e7| Some(Position { lat_e7, lon_e7 });
        assert_eq!(position("50.35,-4.15"), at(503_500_000, -41_500_000));
        assert_eq!(position("50.35N, 4.15 W"), at(503_500_000, -41_500_000));
        assert_eq!(position("50 21.0 S, 4 09 e"), at(-503_500_000, 41_500_000));
        assert_eq!(position("90,180"), at(900_000_000, 1_800_000_000));
        for bad in
            ["", "50", "91,0", "0,181", "-50N,4W", "50 60 N, 4 W", "50.5 20 N, 4 W", "50 20, 4 9", "a,b", "50N,4N"]
        {
            assert_eq!(position(bad), None, "{bad}");
        }
    }
}
