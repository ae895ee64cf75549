//! The card file, `card.toml`: a deviation card as the owner, or `lubber swing`, wrote it down.
//!
//! The points rule. Coefficients beside them are information, and one that does not fit the points
//! is a finding. What else is known of the card (sensor, boat, date, place, the log it is from) is
//! kept for displays.

use std::path::Path;

use lubber_core::angle::Bearing;
use lubber_core::angle::EastWest;
use lubber_core::angle::Turn;
use lubber_core::heading::Card;
use lubber_core::heading::CardError;
use lubber_core::heading::CardPoint;
use lubber_core::heading::Compass;
use lubber_core::picture::Name;
use lubber_core::unit::Date;
use lubber_core::unit::Position;

use crate::analysis::harmonic;
use crate::analysis::harmonic::Drawn;
use crate::analysis::harmonic::Fit;
use crate::analysis::harmonic::How;
use crate::analysis::harmonic::Point;
use crate::analysis::harmonic::Straight;
use crate::boat::read::Section;
use crate::boat::read::Text;
use crate::boat::read::Value;
use crate::boat::read::Want;
use crate::boat::words;
use crate::exit::Failure;

/// A deviation card as written down, and as usable.
#[derive(Clone, Debug)]
pub struct CardFile {
    /// The file, for messages.
    pub name: String,
    /// Whose headings it corrects.
    pub sensor: Option<Name>,
    /// The boat.
    pub boat: Option<String>,
    /// When the deviations were observed.
    pub date: Option<Date>,
    /// Where.
    pub position: Option<Position>,
    /// Whatever the owner noted.
    pub note: Option<String>,
    /// The digest of the log it was made from.
    pub log: Option<String>,
    /// The version of the program that wrote it.
    pub version: Option<String>,
    /// Whether the boat was upright; so unless the file says otherwise.
    pub upright: bool,
    /// The points as written, by rising compass heading.
    pub points: Vec<CardPoint>,
    /// The standard deviation of each point in degrees, in the same order, where the file has it.
    pub sigmas: Vec<Option<f64>>,
    /// Coefficients A to E as written, degrees.
    pub coefficients: [Option<f64>; harmonic::TERMS],
    /// Their standard deviations as written, degrees.
    pub coefficient_sigmas: [Option<f64>; harmonic::TERMS],
    /// The five-term fit of the points, as far as they determine it.
    pub fit: Option<Fit>,
    /// How the curve between the points was drawn.
    pub how: How,
    /// What the owner should see.
    pub findings: Vec<String>,
    /// The card for the core: 72 points where the fit drew it, else the owner's own.
    pub card: Card,
}

/// How a card begins: shown where a file is no card at all.
pub const EXAMPLE: &str = r#"    sensor = "HCHDG"
    date = 2026-06-14
    points = [
        { compass = 0, deviation = -2.1 },
        { compass = 45, deviation = "3.0 E" },
        { compass = 90, deviation = "1.5 W" },
    ]"#;

/// A point this far off the five-term curve is pointed out, degrees. Not from a source: a card written
/// in whole degrees is off by half of one at most, and a slip of the pen by more.
const DOUBTFUL_DEG: f64 = 1.0;

/// A written coefficient may differ this much from the fit, degrees: adjusters give coefficients and
/// table to half a degree (training text at seaspirit.ru).
const COEFFICIENT_DEG: f64 = 0.5;

const KEYS: [&str; 11] =
    ["sensor", "boat", "date", "position", "note", "log", "version", "upright", "points", "coefficients", "sigmas"];

const SENSOR: Want =
    Want { what: "the talker and formatter of the sensor's heading sentence", example: "sensor = \"HCHDG\"" };
const DATE: Want = Want { what: "a day that exists, without quotes", example: "date = 2026-06-14" };
const POSITION: Want = Want { what: "latitude and longitude in quotes", example: "position = \"50 21.5 N, 4 09.0 W\"" };
const UPRIGHT: Want = Want { what: "true or false", example: "upright = true" };
const WORDS: Want = Want { what: "words in quotes", example: "note = \"after the new stove\"" };
const POINTS: Want = Want {
    what: "a list of at least two points",
    example: "points = [ { compass = 0, deviation = -2.1 }, { compass = 45, deviation = \"3.0 E\" } ]",
};
const POINT: Want =
    Want { what: "a point with compass and deviation", example: "{ compass = 45, deviation = \"3.0 E\" }" };
const COMPASS: Want = Want { what: "a COMPASS heading from 0 to 360 degrees", example: "compass = 45" };
const DEVIATION: Want = Want {
    what: "degrees up to 90, east plus, or in quotes with the letter E or W",
    example: "deviation = -1.5 or deviation = \"1.5 W\"",
};
const SIGMA: Want = Want { what: "a standard deviation in degrees, not negative", example: "sigma = 0.3" };
const COEFFICIENTS: Want = Want {
    what: "a table of A to E in degrees",
    example: "coefficients = { A = 0.5, B = -1.8, C = 1.2, D = 0.6, E = 0.1 }",
};

impl CardFile {
    /// Reads the card at `path`.
    ///
    /// # Errors
    /// The refusal names file, line, what was expected and an example.
    pub fn read(path: &Path) -> Result<Self, Failure> {
        Self::of(&Text::read(path, "deviation card", EXAMPLE)?)
    }

    /// The card that `text` is; `name` stands for the file in messages.
    ///
    /// # Errors
    /// As [`CardFile::read`].
    pub fn from_text(name: &str, text: &str) -> Result<Self, Failure> {
        Self::of(&Text::new(name, text))
    }

    fn of(text: &Text) -> Result<Self, Failure> {
        let tree = text.parse()?;
        let root = Section::root(text, &tree, &KEYS)?;
        let written = points(&root)?;
        let drawn = harmonic::draw(&written.iter().map(|one| as_point(one.point)).collect::<Vec<_>>());
        let card = Card::new(&drawn.points.iter().map(from_point).collect::<Vec<_>>())
            .map_err(|error| refuse_card(&root, error))?;
        let points: Vec<CardPoint> = written.iter().map(|one| one.point).collect();
        let fit = match &drawn.how {
            How::FiveTerm(fit) => Some(fit.clone()),
            How::Straight(_) => harmonic::fit(&points.iter().copied().map(as_point).collect::<Vec<_>>()),
        };
        let of_words = |key| root.get(key).map(|value| value.words(WORDS).map(str::to_owned)).transpose();
        let mut file = Self {
            name: text.name().to_owned(),
            sensor: root.get("sensor").map(|value| sensor(&value)).transpose()?,
            boat: of_words("boat")?,
            date: root.get("date").map(|value| value.date(DATE)).transpose()?,
            position: root.get("position").map(|value| position(&value)).transpose()?,
            note: of_words("note")?,
            log: of_words("log")?,
            version: of_words("version")?,
            upright: root.get("upright").map_or(Ok(true), |value| value.switch(UPRIGHT))?,
            points,
            sigmas: written.iter().map(|one| one.sigma).collect(),
            coefficients: five(&root, "coefficients", false)?,
            coefficient_sigmas: five(&root, "sigmas", true)?,
            fit,
            how: drawn.how.clone(),
            findings: Vec::new(),
            card,
        };
        file.findings = findings(&file, &drawn);
        Ok(file)
    }
}

/// A point as written.
struct Written {
    point: CardPoint,
    sigma: Option<f64>,
}

fn points(root: &Section<'_>) -> Result<Vec<Written>, Failure> {
    let list = root.need("points", POINTS)?;
    let many = list.list(POINTS)?.count();
    if many > Card::CAPACITY {
        let why = format!("{many} points: a card holds at most {}, one every 5 degrees", Card::CAPACITY);
        return Err(list.because(&why));
    }
    let mut written: Vec<Written> = Vec::new();
    for value in list.list(POINTS)? {
        let point = value.section(&["compass", "deviation", "sigma"], POINT)?;
        let compass = point.need("compass", COMPASS)?;
        let deviation = point.need("deviation", DEVIATION)?;
        let one = CardPoint { compass: Compass(bearing(&compass)?), deviation: east_west(&deviation)? };
        if written.iter().any(|other| other.point.compass == one.compass) {
            let why = format!("compass heading {:.1} stands there twice; which of the two is right?", one.compass.0);
            return Err(compass.because(&why));
        }
        let sigma = point.get("sigma").map(|value| not_negative(&value)).transpose()?;
        written.push(Written { point: one, sigma });
    }
    if written.len() < 2 {
        return Err(list.because(&format!(
            "points: {many} of them make no card: expected {}, for example: {}",
            POINTS.what, POINTS.example
        )));
    }
    written.sort_by_key(|one| one.point.compass.0);
    Ok(written)
}

fn bearing(value: &Value<'_>) -> Result<Bearing, Failure> {
    let number = value.thousandths().filter(|mdeg| (0..=360_000).contains(mdeg)).map(Bearing::from_mdeg);
    number.or_else(|| value.string().and_then(words::bearing)).ok_or_else(|| value.refuse(COMPASS))
}

fn east_west(value: &Value<'_>) -> Result<Turn, Failure> {
    let number = value.thousandths().and_then(|mdeg| i32::try_from(mdeg).ok()).map(Turn::from_mdeg);
    let deviation = number.or_else(|| value.string().and_then(words::east_west));
    deviation.filter(|turn| turn.size() <= Turn::from_deg(90)).ok_or_else(|| value.refuse(DEVIATION))
}

fn not_negative(value: &Value<'_>) -> Result<f64, Failure> {
    let sigma = value.thousandths().filter(|&mdeg| (0..=180_000).contains(&mdeg));
    sigma.map(|mdeg| mdeg as f64 / 1000.0).ok_or_else(|| value.refuse(SIGMA))
}

fn sensor(value: &Value<'_>) -> Result<Name, Failure> {
    value.string().and_then(Name::parse).ok_or_else(|| value.refuse(SENSOR))
}

fn position(value: &Value<'_>) -> Result<Position, Failure> {
    value.string().and_then(words::position).ok_or_else(|| value.refuse(POSITION))
}

/// The five numbers of `coefficients` or `sigmas`, those that are there.
fn five(root: &Section<'_>, key: &'static str, sigmas: bool) -> Result<[Option<f64>; harmonic::TERMS], Failure> {
    let mut found = [None; harmonic::TERMS];
    if let Some(value) = root.get(key) {
        let section = value.section(&harmonic::NAMES, COEFFICIENTS)?;
        for (slot, name) in found.iter_mut().zip(harmonic::NAMES) {
            *slot = match section.get(name) {
                Some(value) if sigmas => Some(not_negative(&value)?),
                Some(value) => Some(f64::from(east_west(&value)?.as_mdeg()) / 1000.0),
                None => None,
            };
        }
    }
    Ok(found)
}

/// The core refuses the card: that is said at the line of the points.
fn refuse_card(root: &Section<'_>, error: CardError) -> Failure {
    match root.need("points", POINTS) {
        Ok(value) => value.because(&error.to_string()),
        Err(missing) => missing,
    }
}

fn as_point(point: CardPoint) -> Point {
    Point {
        compass_deg: f64::from(point.compass.0.as_mdeg()) / 1000.0,
        deviation_deg: f64::from(point.deviation.as_mdeg()) / 1000.0,
    }
}

fn from_point(point: &Point) -> CardPoint {
    #[expect(clippy::cast_possible_truncation, reason = "degrees of a circle; saturates")]
    let (compass, deviation) =
        ((point.compass_deg * 1000.0).round() as i64, (point.deviation_deg * 1000.0).round() as i32);
    CardPoint { compass: Compass(Bearing::from_mdeg(compass)), deviation: Turn::from_mdeg(deviation) }
}

/// An angle in degrees as `1.5 W`.
fn lettered(deg: f64) -> EastWest {
    EastWest(from_point(&Point { compass_deg: 0.0, deviation_deg: deg }).deviation)
}

fn findings(file: &CardFile, drawn: &Drawn) -> Vec<String> {
    let mut findings = Vec::new();
    match &drawn.how {
        How::FiveTerm(fit) => {
            let worst = file.points.iter().zip(&fit.residuals).max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
            if let Some((point, residual)) = worst.filter(|(_, residual)| residual.abs() > DOUBTFUL_DEG) {
                findings.push(format!(
                    "the points do not lie on a smooth curve; furthest off is compass {}: {} where the curve has {}. \
                     The card follows the points. Check that one, or swing again",
                    point.compass.0,
                    EastWest(point.deviation),
                    lettered(f64::from(point.deviation.as_mdeg()) / 1000.0 - residual),
                ));
            }
        }
        How::Straight(Straight::TooFew(points)) => findings.push(format!(
            "only {points} points, joined by straight lines; a curve needs 5 or more, spread around the circle"
        )),
        How::Straight(Straight::Gap { from_deg, to_deg }) => findings.push(format!(
            "no point between compass {from_deg:03.0} and {to_deg:03.0}; there the card is a straight line, which is a guess"
        )),
        How::Straight(Straight::Bunched) => findings.push(
            "the points bunch too much for a curve and are joined by straight lines; spread them around the circle"
                .to_owned(),
        ),
        How::Straight(Straight::Dense(_)) => {}
    }
    if let Some(fit) = &file.fit {
        for (term, name) in harmonic::NAMES.iter().enumerate() {
            let (found, is_found) = (fit.coefficients.0[term], fit.determined[term]);
            if let Some(written) = file.coefficients[term].filter(|w| is_found && (w - found).abs() > COEFFICIENT_DEG) {
                findings.push(format!(
                    "coefficient {name} is written as {written:+.1}, but the points give {found:+.1}; the points rule"
                ));
            }
        }
    }
    if !file.upright {
        findings.push("this card was not made upright; it holds for that heel only".to_owned());
    }
    findings
}

#[cfg(test)]
mod tests;
