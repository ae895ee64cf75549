//! The file of a swing by the sun or by bearings: what the owner read off, as typed.
//!
//! ```toml
//! sensor = "HCHDG"
//! date = 2026-06-14
//! position = "47 00.0 N, 6 00.0 W"
//! sights = [
//!     { at = 07:02:10, compass = 5, relative = 82 },
//!     { at = 07:04:00, compass = 88, relative = "ahead" },
//! ]
//! ```

use std::path::Path;

use lubber_core::angle::Bearing;
use lubber_core::picture::Name;
use lubber_core::unit::Date;
use lubber_core::unit::Position;

use crate::analysis::bearings::Sighting;
use crate::boat::read::Section;
use crate::boat::read::Text;
use crate::boat::read::Value;
use crate::boat::read::Want;
use crate::boat::words;
use crate::exit::Failure;

/// What is sighted, which decides what the file must hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Object {
    /// The sun: the time of each sight and the place lead to its bearing.
    Sun,
    /// An object or a transit whose bearing is known.
    Known,
}

/// The file as usable.
#[derive(Clone, Debug, PartialEq)]
pub struct Observations {
    /// The file, for messages.
    pub name: String,
    /// Whose headings were read.
    pub sensor: Option<Name>,
    /// The boat.
    pub boat: Option<String>,
    /// When.
    pub date: Option<Date>,
    /// Where.
    pub position: Option<Position>,
    /// Variation, degrees, east plus.
    pub variation_deg: Option<f64>,
    /// Whatever the owner noted.
    pub note: Option<String>,
    /// The sights, in the order of the file; never none.
    pub sights: Vec<Sight>,
}

/// One sight as written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sight {
    /// The line it stands in, for messages.
    pub line: usize,
    /// When, Unix milliseconds, UTC.
    pub at_ms: Option<i64>,
    /// The COMPASS heading read, degrees; `None` where the log is to say it.
    pub compass_deg: Option<f64>,
    /// What was seen.
    pub sighting: Sighting,
    /// The bearing of the object from true north, or else from magnetic north, degrees.
    pub bearing: Option<KnownBearing>,
}

/// The known bearing of an object, degrees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum KnownBearing {
    /// From true north, as a chart has it.
    True(f64),
    /// From magnetic north.
    Magnetic(f64),
}

/// A file of sights of the sun.
pub const SUN_EXAMPLE: &str = r#"    # Sights of the sun. Times are UTC. A relative bearing is read clockwise from the bow, or is
    # "ahead" or "astern" when she runs at the sun or away from it. Without compass, --log tells it.
    sensor = "HCHDG"
    boat = "Curlew"
    date = 2026-06-14
    position = "47 00.0 N, 6 00.0 W"
    sights = [
        { at = 07:02:10, compass = 5, relative = 82 },
        { at = 07:05:30, compass = 48, relative = "040" },
        { at = 07:09:00, compass = 88, relative = "ahead" },
    ]"#;

/// A file of bearings of known objects.
pub const BEARINGS_EXAMPLE: &str = r#"    # Bearings of one object, or of a transit. Its bearing is true (from the chart) or magnetic, once for
    # all or in each sight. Only a compass with a sight has bearing = ... instead of relative = ...
    sensor = "HCHDG"
    date = 2026-06-14
    variation = "0.5 W"
    true = 134
    sights = [
        { compass = 5, relative = 130 },
        { compass = 133, relative = "ahead" },
        { compass = 90, bearing = 136 },
        { compass = 312, relative = "astern", true = 130.5 },
    ]"#;

const SIGHT: Want = Want { what: "a sight", example: "{ at = 07:02:10, compass = 5, relative = 82 }" };
const SIGHTS: Want = Want {
    what: "a list of sights",
    example: "sights = [ { at = 07:02:10, compass = 5, relative = 82 }, { at = 07:09:00, compass = 88, relative = \"ahead\" } ]",
};
const SENSOR: Want =
    Want { what: "the talker and formatter of the sensor's heading sentence", example: "sensor = \"HCHDG\"" };
const WORDS: Want = Want { what: "words in quotes", example: "boat = \"Curlew\"" };
const DATE: Want = Want { what: "a day that exists, without quotes", example: "date = 2026-06-14" };
const POSITION: Want = Want { what: "latitude and longitude in quotes", example: "position = \"47 00.0 N, 6 00.0 W\"" };
const VARIATION: Want = Want {
    what: "degrees up to 180, east plus, or in quotes with the letter E or W",
    example: "variation = -0.5 or variation = \"0.5 W\"",
};
const AT: Want = Want { what: "a time in UTC, without quotes", example: "at = 07:02:10 or at = 2026-06-14T07:02:10Z" };
const COMPASS: Want = Want { what: "a COMPASS heading from 0 to 360 degrees", example: "compass = 5" };
const RELATIVE: Want = Want {
    what: "degrees clockwise from the bow, 0 to 360, or \"ahead\" or \"astern\"",
    example: "relative = 82 or relative = \"ahead\"",
};
const BEARING: Want = Want { what: "a bearing from 0 to 360 degrees", example: "true = 134" };

const KEYS: [&str; 9] = ["sensor", "boat", "date", "position", "variation", "note", "true", "magnetic", "sights"];

impl Observations {
    /// Reads the file at `path`.
    ///
    /// # Errors
    /// The refusal names file, line, what was expected and an example.
    pub fn read(path: &Path, object: Object) -> Result<Self, Failure> {
        let example = match object {
            Object::Sun => SUN_EXAMPLE,
            Object::Known => BEARINGS_EXAMPLE,
        };
        Self::of(&Text::read(path, "file of sights", example)?, object)
    }

    /// The file that `text` is; `name` stands for it in messages.
    ///
    /// # Errors
    /// As [`Observations::read`].
    pub fn from_text(name: &str, text: &str, object: Object) -> Result<Self, Failure> {
        Self::of(&Text::new(name, text), object)
    }

    fn of(text: &Text, object: Object) -> Result<Self, Failure> {
        let tree = text.parse()?;
        let root = Section::root(text, &tree, &KEYS)?;
        let of_words = |key| root.get(key).map(|value| value.words(WORDS).map(str::to_owned)).transpose();
        let date = root.get("date").map(|value| value.date(DATE)).transpose()?;
        let common = known(&root)?;
        if let (Object::Sun, Some(value)) = (object, root.get("true").or(root.get("magnetic"))) {
            return Err(value.because("the sun's bearing is reckoned from time and place; take this out"));
        }
        let list = root.need("sights", SIGHTS)?;
        let mut sights = Vec::new();
        for value in list.list(SIGHTS)? {
            sights.push(sight(&value, object, date, common, text)?);
        }
        if sights.is_empty() {
            return Err(list.refuse(SIGHTS));
        }
        Ok(Self {
            name: text.name().to_owned(),
            sensor: root
                .get("sensor")
                .map(|value| value.string().and_then(Name::parse).ok_or_else(|| value.refuse(SENSOR)))
                .transpose()?,
            boat: of_words("boat")?,
            date,
            position: match (root.get("position"), object) {
                (Some(value), _) => {
                    Some(value.string().and_then(words::position).ok_or_else(|| value.refuse(POSITION))?)
                }
                (None, Object::Sun) => {
                    return Err(root.need("position", POSITION).err().unwrap_or_else(|| list.refuse(POSITION)));
                }
                (None, Object::Known) => None,
            },
            variation_deg: root.get("variation").map(|value| east_west(&value)).transpose()?,
            note: of_words("note")?,
            sights,
        })
    }
}

fn sight(
    value: &Value<'_>,
    object: Object,
    date: Option<Date>,
    common: Option<KnownBearing>,
    text: &Text,
) -> Result<Sight, Failure> {
    let section = value.section(&["at", "compass", "relative", "bearing", "true", "magnetic"], SIGHT)?;
    let at_ms = match section.get("at") {
        Some(at) => {
            let (own, ms) = at.moment(AT)?;
            let day = own.or(date).ok_or_else(|| {
                at.because("at has no day: write date = 2026-06-14 above the sights, or at = 2026-06-14T07:02:10Z")
            })?;
            Some(day.days_since_1970() * 86_400_000 + i64::from(ms))
        }
        None if object == Object::Sun => return Err(section.need("at", AT).err().unwrap_or_else(|| value.refuse(AT))),
        None => None,
    };
    let sighting = match (section.get("relative"), section.get("bearing")) {
        (Some(_), Some(bearing)) => {
            return Err(
                bearing.because("bearing and relative in one sight: which of the two was read? Take the other out")
            );
        }
        (Some(relative), None) => match relative.string() {
            Some("ahead") => Sighting::Ahead,
            Some("astern") => Sighting::Astern,
            _ => Sighting::Relative(degrees(&relative, RELATIVE)?),
        },
        (None, Some(bearing)) => Sighting::ByCompass(degrees(&bearing, BEARING)?),
        (None, None) => {
            return Err(section.need("relative", RELATIVE).err().unwrap_or_else(|| value.refuse(RELATIVE)));
        }
    };
    let compass = section.get("compass").map(|compass| degrees(&compass, COMPASS)).transpose()?;
    if compass.is_none() && at_ms.is_none() {
        return Err(section.need("compass", COMPASS).err().unwrap_or_else(|| value.refuse(COMPASS)));
    }
    let bearing = known(&section)?.or(common);
    if object == Object::Known && bearing.is_none() {
        let why = "the bearing of the object is missing: expected true or magnetic, above the sights or in each, for \
                   example: true = 134";
        return Err(value.because(why));
    }
    Ok(Sight { line: text.line(value.at()), at_ms, compass_deg: compass, sighting, bearing })
}

/// The known bearing of one table.
fn known(section: &Section<'_>) -> Result<Option<KnownBearing>, Failure> {
    match (section.get("true"), section.get("magnetic")) {
        (Some(_), Some(magnetic)) => {
            Err(magnetic.because("true and magnetic both: one bearing is enough; take one out"))
        }
        (Some(truth), None) => Ok(Some(KnownBearing::True(degrees(&truth, BEARING)?))),
        (None, Some(magnetic)) => Ok(Some(KnownBearing::Magnetic(degrees(&magnetic, BEARING)?))),
        (None, None) => Ok(None),
    }
}

fn degrees(value: &Value<'_>, want: Want) -> Result<f64, Failure> {
    let number = value.thousandths().filter(|mdeg| (0..=360_000).contains(mdeg)).map(Bearing::from_mdeg);
    let bearing = number.or_else(|| value.string().and_then(words::bearing)).ok_or_else(|| value.refuse(want))?;
    Ok(f64::from(bearing.as_mdeg()) / 1000.0)
}

fn east_west(value: &Value<'_>) -> Result<f64, Failure> {
    let number = value.thousandths().filter(|mdeg| mdeg.abs() <= 180_000).map(|mdeg| mdeg as f64 / 1000.0);
    let lettered = || value.string().and_then(words::east_west).map(|turn| f64::from(turn.as_mdeg()) / 1000.0);
    number.or_else(lettered).ok_or_else(|| value.refuse(VARIATION))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refusal(text: &str, object: Object) -> String {
        Observations::from_text("sights.toml", text, object).unwrap_err().to_string()
    }

    #[test]
    fn the_examples_of_the_help_are_read() {
        let sun = Observations::from_text("sun.toml", SUN_EXAMPLE, Object::Sun).unwrap();
        assert_eq!(sun.sights.len(), 3);
        // 2026-06-14T07:02:10Z, by another calendar.
        assert_eq!(sun.sights[0].at_ms, Some(1_781_420_530_000));
        assert_eq!((sun.sights[1].sighting, sun.sights[2].sighting), (Sighting::Relative(40.0), Sighting::Ahead));
        let known = Observations::from_text("b.toml", BEARINGS_EXAMPLE, Object::Known).unwrap();
        assert_eq!(known.variation_deg, Some(-0.5));
        assert_eq!(known.sights[2].sighting, Sighting::ByCompass(136.0));
        let bearings: Vec<_> = known.sights.iter().map(|sight| sight.bearing).collect();
        assert_eq!((bearings[0], bearings[3]), (Some(KnownBearing::True(134.0)), Some(KnownBearing::True(130.5))));
    }

    #[test]
    fn a_typo_is_refused_with_its_line_and_an_example() {
        let head = "date = 2026-06-14\nposition = \"47 N, 6 W\"\nsights = [\n";
        for (sight, says) in [
            (
                "{ at = 07:02:10, compas = 5, relative = 82 }",
                "sights.toml:4: unknown key \"compas\": did you mean \"compass\"?",
            ),
            (
                "{ at = 07:02:10, compass = 365, relative = 82 }",
                "sights.toml:4: compass = 365: expected a COMPASS heading",
            ),
            ("{ at = 07:02:10, compass = 5, relative = \"a head\" }", "relative = \"ahead\""),
            ("{ at = \"07:02\", compass = 5, relative = 82 }", "sights.toml:4: at = \"07:02\": expected a time in UTC"),
            ("{ at = 2026-06-14T07:02:10+02:00, compass = 5, relative = 82 }", "expected a time in UTC"),
            ("{ compass = 5, relative = 82 }", "sights.toml:4: at is missing"),
            ("{ at = 07:02:10, compass = 5 }", "sights.toml:4: relative is missing"),
            ("{ at = 07:02:10, compass = 5, relative = 1, bearing = 2 }", "which of the two was read?"),
            ("{ at = 07:02:10, compass = 005, relative = 1 }", "write 45, or \"045\" in quotes"),
        ] {
            let said = refusal(&format!("{head}{sight}\n]"), Object::Sun);
            assert!(said.contains(says), "{sight}: {said}");
        }
        assert!(refusal("sights = [{ at = 07:02:10, relative = 1 }]", Object::Sun).contains("at has no day"));
        assert!(
            refusal("sights = [{ compass = 1, relative = 1 }]", Object::Known).contains("the bearing of the object")
        );
        assert!(refusal("sights = []\ntrue = 3", Object::Known).contains("expected a list of sights"));
        assert!(refusal("sensor = \"HCHDG\"", Object::Known).contains("sights is missing"));
        let sun = "date = 2026-06-14\nsights = [{ at = 07:02:10, compass = 1, relative = 1 }]";
        assert!(refusal(sun, Object::Sun).contains("position is missing"));
    }
}
