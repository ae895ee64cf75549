//! From the state of the voyage to the sentences on the line, one function a sentence.

use chrono::DateTime;

use super::settings::Gear;
use super::settings::Kind;
use super::settings::Rot;
use super::settings::Second;
use super::weather::KNOT;
use super::weather::Vector;
use super::wire::Builder;

/// UTC as the satellites give it.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Utc {
    /// Milliseconds since 1970-01-01T00:00:00Z; in a leap second those of the second before.
    pub(crate) unix_ms: i64,
    /// Whether this is a leap second.
    pub(crate) leap: bool,
}

impl Utc {
    /// The date and time; the ranges of the settings keep it within what a date can be.
    fn date(self) -> DateTime<chrono::Utc> {
        DateTime::from_timestamp_millis(self.unix_ms).unwrap_or_default()
    }
}

/// What the satellite receiver made of its last epoch.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Fix {
    /// The epoch.
    pub(crate) utc: Utc,
    /// Whether it has a position at all.
    pub(crate) valid: bool,
    pub(crate) latitude_deg: f64,
    pub(crate) longitude_deg: f64,
    pub(crate) velocity: Vector,
}

/// What the heading sensor has to say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Reading {
    /// A heading, in degrees.
    Is(f64),
    /// It speaks, but has no heading.
    Void,
    /// It does not speak.
    Lost,
}

impl Reading {
    pub(crate) fn degrees(self) -> Option<f64> {
        match self {
            Self::Is(degrees) => Some(degrees),
            Self::Void | Self::Lost => None,
        }
    }
}

/// Everything the talkers say, in the units of the model.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Said {
    pub(crate) reading: Reading,
    pub(crate) second_true_deg: f64,
    /// Change of what the heading sensor reads, and the boat's own turn; degrees a second.
    pub(crate) reading_dps: f64,
    pub(crate) gyro_dps: f64,
    /// Where there is none, the sensor says so.
    pub(crate) rudder_deg: Option<f64>,
    pub(crate) rudder_ordered_deg: f64,
    pub(crate) ordered_deg: Option<f64>,
    pub(crate) speed_mps: f64,
    pub(crate) wind_deg: f64,
    pub(crate) wind_mps: f64,
    pub(crate) variation_deg: f64,
    pub(crate) battery_v: f64,
    /// Starboard down plus; where there is none, nobody measures it.
    pub(crate) heel_deg: Option<f64>,
    pub(crate) fix: Fix,
}

/// Who sends a sentence of this kind.
pub(crate) fn talker(kind: Kind, gear: &Gear) -> &'static str {
    match kind {
        Kind::Hdg => "HC",
        Kind::Hdt if gear.second == Second::Independent => "GP",
        Kind::Hdt => "HC",
        Kind::Rot => "TI",
        Kind::Rsa | Kind::Vhw | Kind::Mwv | Kind::Xdr => "II",
        Kind::Rmc | Kind::Vtg | Kind::Gga | Kind::Zda => "GP",
        Kind::Htd | Kind::Hsc => "AP",
    }
}

impl Said {
    /// The line of `kind`, or `None` where its talker says nothing.
    pub(crate) fn line<'b>(&self, kind: Kind, gear: &Gear, to: &'b mut Builder) -> Option<&'b [u8]> {
        to.begin(talker(kind, gear), kind.formatter());
        match kind {
            Kind::Hdg => self.hdg(to)?,
            Kind::Hdt => self.hdt(gear, to)?,
            Kind::Rot => self.rot(gear, to),
            Kind::Rsa => {
                number_or_empty(to, self.rudder_deg, 1).text(if self.rudder_deg.is_some() { "A" } else { "V" });
                to.text("").text("V")
            }
            Kind::Rmc => self.rmc(gear, to),
            Kind::Vtg => self.vtg(gear, to),
            Kind::Gga => self.gga(to),
            Kind::Zda => self.zda(to),
            Kind::Vhw => self.vhw(to),
            Kind::Mwv => to.bearing(self.wind_deg, 0).text("R").number(self.wind_mps / KNOT, 1).text("N").text("A"),
            Kind::Htd => self.htd(to),
            Kind::Hsc => self.hsc(to),
            Kind::Xdr => self.xdr(to),
        };
        Some(to.end())
    }

    fn hdg<'b>(&self, to: &'b mut Builder) -> Option<&'b mut Builder> {
        match self.reading {
            Reading::Is(degrees) => to.bearing(degrees, 1),
            Reading::Void => to.text(""),
            Reading::Lost => return None,
        };
        Some(to.text("").text("").sided(self.variation_deg, 1, "E", "W"))
    }

    fn hdt<'b>(&self, gear: &Gear, to: &'b mut Builder) -> Option<&'b mut Builder> {
        let heading = match (gear.second, self.reading) {
            (Second::None, _) | (Second::Copy, Reading::Lost) => return None,
            (Second::Copy, Reading::Void) => None,
            (Second::Copy, Reading::Is(degrees)) => Some(degrees + self.variation_deg),
            (Second::Independent, _) => self.fix.valid.then_some(self.second_true_deg),
        };
        Some(bearing_or_empty(to, heading, 1).text("T"))
    }

    fn rot<'b>(&self, gear: &Gear, to: &'b mut Builder) -> &'b mut Builder {
        let turn = match gear.rot {
            Rot::Gyro => Some(self.gyro_dps),
            Rot::Derived => self.reading.degrees().map(|_| self.reading_dps),
        };
        match turn {
            Some(dps) => to.number(dps * 60.0, 1).text("A"),
            None => to.text("").text("V"),
        }
    }

    fn rmc<'b>(&self, gear: &Gear, to: &'b mut Builder) -> &'b mut Builder {
        let (utc, leap, fix) = (self.fix.utc.date(), self.fix.utc.leap, &self.fix);
        if !fix.valid {
            to.time(utc, leap).text("V");
            for _ in 0..6 {
                to.text("");
            }
            return to.date(utc).text("").text("").text("N");
        }
        to.time(utc, leap).text("A");
        to.place(fix.latitude_deg, 2, "N", "S").place(fix.longitude_deg, 3, "E", "W");
        to.number(fix.velocity.length() / KNOT, 2).bearing(fix.velocity.direction(), gear.cog_decimals);
        to.date(utc).sided(self.variation_deg, 1, "E", "W").text("A")
    }

    fn vtg<'b>(&self, gear: &Gear, to: &'b mut Builder) -> &'b mut Builder {
        let fix = &self.fix;
        let course = fix.valid.then(|| fix.velocity.direction());
        let speed = fix.valid.then(|| fix.velocity.length());
        bearing_or_empty(to, course, gear.cog_decimals).text("T");
        bearing_or_empty(to, course.map(|c| c - self.variation_deg), gear.cog_decimals).text("M");
        number_or_empty(to, speed.map(|s| s / KNOT), 2).text("N");
        number_or_empty(to, speed.map(|s| s * 3.6), 2).text("K").text(if fix.valid { "A" } else { "N" })
    }

    fn gga<'b>(&self, to: &'b mut Builder) -> &'b mut Builder {
        to.time(self.fix.utc.date(), self.fix.utc.leap);
        if self.fix.valid {
            to.place(self.fix.latitude_deg, 2, "N", "S").place(self.fix.longitude_deg, 3, "E", "W");
            to.text("1").text("10").text("0.9").text("3.0").text("M").text("32.0")
        } else {
            to.text("").text("").text("").text("").text("0").text("00").text("99.9").text("").text("M").text("")
        };
        to.text("M").text("").text("")
    }

    fn zda<'b>(&self, to: &'b mut Builder) -> &'b mut Builder {
        let utc = self.fix.utc.date();
        to.time(utc, self.fix.utc.leap).text(&utc.format("%d,%m,%Y").to_string()).text("00").text("00")
    }

    fn vhw<'b>(&self, to: &'b mut Builder) -> &'b mut Builder {
        let heading = self.reading.degrees();
        bearing_or_empty(to, heading.map(|h| h + self.variation_deg), 1).text("T");
        bearing_or_empty(to, heading, 1).text("M");
        to.number(self.speed_mps / KNOT, 2).text("N").number(self.speed_mps * 3.6, 2).text("K")
    }

    fn htd<'b>(&self, to: &'b mut Builder) -> &'b mut Builder {
        let rudder = self.rudder_ordered_deg;
        to.text("V").number(rudder.abs(), 1).text(if rudder < 0.0 { "L" } else { "R" });
        to.text("S").text("N").text("").text("").text("").text("");
        bearing_or_empty(to, self.ordered_deg, 1);
        to.text("").text("").text("M").text("A").text("").text("");
        bearing_or_empty(to, self.reading.degrees(), 1)
    }

    fn hsc<'b>(&self, to: &'b mut Builder) -> &'b mut Builder {
        bearing_or_empty(to, self.ordered_deg.map(|order| order + self.variation_deg), 1).text("T");
        bearing_or_empty(to, self.ordered_deg, 1).text("M")
    }

    fn xdr<'b>(&self, to: &'b mut Builder) -> &'b mut Builder {
        to.text("U").number(self.battery_v, 2).text("V").text("BATT");
        match self.heel_deg {
            Some(heel) => to.text("A").number(heel, 1).text("D").text("ROLL"),
            None => to,
        }
    }
}

fn bearing_or_empty(to: &mut Builder, degrees: Option<f64>, decimals: u8) -> &mut Builder {
    match degrees {
        Some(degrees) => to.bearing(degrees, decimals),
        None => to.text(""),
    }
}

fn number_or_empty(to: &mut Builder, value: Option<f64>, decimals: u8) -> &mut Builder {
    match value {
        Some(value) => to.number(value, decimals),
        None => to.text(""),
    }
}
