//! The main value of a sentence, and how far it leaps from one to the next.

use lubber_core::angle::Bearing;
use lubber_core::angle::Turn;
use lubber_core::angle::TurnRate;
use lubber_core::sentence::Defect;
use lubber_core::sentence::Field;
use lubber_core::sentence::Sentence;
use lubber_core::unit::Position;
use lubber_core::unit::Speed;

/// The main value of one sentence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Value {
    /// A direction: heading, wind, order.
    Direction(Bearing),
    /// A signed angle: rudder.
    Angle(Turn),
    /// A speed: through the water, over ground.
    Speed(Speed),
    /// A rate of turn.
    Rate(TurnRate),
    /// A position.
    Place(Position),
}

/// What a sentence says of its main value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Main {
    /// This.
    Value(Value),
    /// The talker itself says that it is not to be used.
    Void,
    /// It is empty, or there and not usable.
    Empty,
    /// Such a sentence has no main value, or lubber does not read it.
    None,
}

/// A difference of two main values.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Leap {
    /// Thousandths of the unit.
    pub thousandths: i64,
    /// The unit.
    pub unit: Unit,
}

/// The unit of a leap.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Unit {
    /// Degrees.
    Degrees,
    /// Knots.
    Knots,
    /// Degrees a minute.
    DegreesPerMinute,
    /// Metres.
    Metres,
}

impl Unit {
    /// As it is written after a number.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Degrees => "deg",
            Self::Knots => "kn",
            Self::DegreesPerMinute => "deg/min",
            Self::Metres => "m",
        }
    }
}

impl Main {
    /// The main value of `sentence`.
    #[inline]
    pub(super) fn of(sentence: &Sentence<'_>) -> Self {
        match sentence {
            Sentence::Hdg(s) => Self::field(s.heading, |h| Value::Direction(h.0)),
            Sentence::Hdm(s) => Self::field(s.heading, |h| Value::Direction(h.0)),
            Sentence::Hdt(s) => Self::field(s.heading, |h| Value::Direction(h.0)),
            Sentence::Ths(s) => Self::field(s.heading, |h| Value::Direction(h.0)),
            // Many send VHW for the speed alone, and no heading is missed there.
            Sentence::Vhw(s) => match (s.magnetic, s.truth) {
                (Field::Known(magnetic), _) => Self::Value(Value::Direction(magnetic.0)),
                (_, Field::Known(truth)) => Self::Value(Value::Direction(truth.0)),
                _ => Self::field(s.speed, Value::Speed),
            },
            Sentence::Rot(s) => Self::field(s.rate, Value::Rate),
            Sentence::Rsa(s) => match (s.starboard, s.port) {
                (Field::Known(angle), _) | (Field::Absent, Field::Known(angle)) => Self::Value(Value::Angle(angle)),
                (starboard, port) => {
                    Self::field(if starboard == Field::Absent { port } else { starboard }, Value::Angle)
                }
            },
            Sentence::Rmc(s) => Self::under(s.valid, s.position, Value::Place),
            Sentence::Gll(s) => Self::under(s.valid, s.position, Value::Place),
            Sentence::Gga(s) => match (s.position, s.quality) {
                (Field::Absent, Field::Known(0)) => Self::Void,
                (position, _) => Self::field(position, Value::Place),
            },
            Sentence::Gns(s) => match (s.position, s.modes) {
                (Field::Absent, modes) if modes.iter().all(|&mode| mode == b'N') && !modes.is_empty() => Self::Void,
                (position, _) => Self::field(position, Value::Place),
            },
            Sentence::Vtg(s) => Self::field(s.speed, Value::Speed),
            // Wind felt and wind over the water come in turn under one name: only the first is followed.
            Sentence::Mwv(s) if s.relative == Field::Known(false) => Self::None,
            Sentence::Mwv(s) => Self::field(s.angle, Value::Direction),
            Sentence::Mwd(s) => match s.truth {
                Field::Known(truth) => Self::Value(Value::Direction(truth.0)),
                _ => Self::field(s.magnetic, |m| Value::Direction(m.0)),
            },
            Sentence::Htd(s) | Sentence::Htc(s) => Self::field(s.heading_to_steer, Value::Direction),
            Sentence::Hsc(s) => match s.magnetic {
                Field::Known(magnetic) => Self::Value(Value::Direction(magnetic.0)),
                _ => Self::field(s.truth, |t| Value::Direction(t.0)),
            },
            _ => Self::None,
        }
    }

    #[inline]
    fn field<T>(field: Field<T>, value: impl FnOnce(T) -> Value) -> Self {
        match field {
            Field::Known(known) => Self::Value(value(known)),
            Field::Unusable(Defect::MarkedInvalid) => Self::Void,
            Field::Unusable(_) | Field::Absent => Self::Empty,
        }
    }

    /// A receiver without a fix may leave the position empty: its status says why.
    #[inline]
    fn under<T>(valid: Field<bool>, field: Field<T>, value: impl FnOnce(T) -> Value) -> Self {
        match (valid, field) {
            (Field::Known(false), _) => Self::Void,
            (_, field) => Self::field(field, value),
        }
    }
}

impl Value {
    /// From one value to the next; none where the two are of different kinds.
    #[inline]
    pub(super) fn leap_to(self, next: Self) -> Option<Leap> {
        let (thousandths, unit) = match (self, next) {
            (Self::Direction(a), Self::Direction(b)) => (i64::from(a.turn_to(b).size().as_mdeg()), Unit::Degrees),
            (Self::Angle(a), Self::Angle(b)) => (i64::from((b - a).size().as_mdeg()), Unit::Degrees),
            (Self::Speed(a), Self::Speed(b)) => ((b.as_milliknots() - a.as_milliknots()).abs(), Unit::Knots),
            (Self::Rate(a), Self::Rate(b)) => {
                let change = i64::from(b.as_centideg_per_min()) - i64::from(a.as_centideg_per_min());
                (change.abs() * 10, Unit::DegreesPerMinute)
            }
            (Self::Place(a), Self::Place(b)) =>
            {
                #[expect(clippy::cast_possible_truncation, reason = "half round the earth is 2e10 mm")]
                ((metres(a, b) * 1000.0).round() as i64, Unit::Metres)
            }
            _ => return None,
        };
        Some(Leap { thousandths, unit })
    }
}

/// The distance of two positions in metres, by middle latitude: good to a per cent over tens of miles.
pub(super) fn metres(a: Position, b: Position) -> f64 {
    let deg = |e7: i32| f64::from(e7) / 1e7;
    let north = deg(b.lat_e7) - deg(a.lat_e7);
    let middle = (deg(b.lat_e7) + deg(a.lat_e7)) / 2.0;
    // The shorter way round: two sides of the date line are neighbours.
    let across = (deg(b.lon_e7) - deg(a.lon_e7) + 540.0).rem_euclid(360.0) - 180.0;
    // A degree of latitude is 60 nautical miles of 1852 m.
    north.hypot(across * middle.to_radians().cos()) * 60.0 * 1852.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn leaps_go_the_short_way_and_only_between_equals() {
        let direction = |deg| Value::Direction(Bearing::from_deg(deg));
        assert_eq!(direction(359).leap_to(direction(2)), Some(Leap { thousandths: 3000, unit: Unit::Degrees }));
        let speed = Value::Speed(Speed::from_milliknots(5_000));
        assert_eq!(speed.leap_to(direction(2)), None);
        let rudder = |deg| Value::Angle(Turn::from_deg(deg));
        assert_eq!(rudder(-30).leap_to(rudder(30)).map(|l| l.thousandths), Some(60_000));
    }

    #[test]
    fn a_minute_of_latitude_is_a_mile_and_of_longitude_less() {
        let at = |lat_e7, lon_e7| Position { lat_e7, lon_e7 };
        assert!((metres(at(540_000_000, 0), at(540_166_667, 0)) - 1852.0).abs() < 0.5);
        // At 60 degrees a minute of longitude is half as wide: cos 60 = 1/2.
        assert!((metres(at(600_000_000, 0), at(600_000_000, 166_667)) - 926.0).abs() < 0.5);
        assert!((metres(at(0, 1_799_916_667), at(0, -1_799_916_667)) - 1852.0).abs() < 0.5, "over the date line");
    }
}
