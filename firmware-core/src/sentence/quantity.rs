//! Directions, speeds, positions, times and dates: the quantities that several sentences share.

use crate::angle::Bearing;
use crate::angle::Turn;
use crate::bounds::BEARING;
use crate::bounds::Bounds;
use crate::bounds::CROSS_TRACK;
use crate::bounds::LATITUDE;
use crate::bounds::LONGITUDE;
use crate::bounds::SPEED;
use crate::bounds::SPEED_KMH;
use crate::bounds::WIND_SPEED;
use crate::decimal::Number;
use crate::heading::Magnetic;
use crate::heading::True;
use crate::sentence::field::Defect;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::unit::Date;
use crate::unit::Position;
use crate::unit::Speed;
use crate::unit::TimeOfDay;

/// Digits of a minute of arc that are kept: 1e-9 minute, far below the 1e-7 degree that is stored.
const MINUTE_PLACES: u8 = 9;
/// One minute of arc at [`MINUTE_PLACES`].
const MINUTE: i64 = 1_000_000_000;

/// A direction with the letter that says which north it is counted from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// `T`: from true north.
    True(True),
    /// `M`: from magnetic north.
    Magnetic(Magnetic),
}

/// The five fields that begin XTE and APB.
#[derive(Clone, Copy, Debug)]
pub(crate) struct GuardedCrossTrack {
    pub(crate) valid: Field<bool>,
    pub(crate) cycle_lock: Field<bool>,
    pub(crate) error: Field<i32>,
}

impl Fields<'_> {
    /// A direction without a letter; 360 counts as 0.
    #[inline]
    pub fn bearing(&mut self) -> Field<Bearing> {
        self.scaled(&BEARING).map(Bearing::from_mdeg)
    }

    /// A direction without a letter, and how many digits it has after the point.
    #[inline]
    pub fn bearing_and_decimals(&mut self) -> (Field<Bearing>, u8) {
        let (field, decimals) = self.scaled_and_decimals(&BEARING);
        (field.map(Bearing::from_mdeg), decimals)
    }

    /// A direction followed by its fixed reference letter, `T` or `M`.
    #[inline]
    pub fn bearing_with(&mut self, reference: u8) -> Field<Bearing> {
        self.with_unit(&BEARING, reference).map(Bearing::from_mdeg)
    }

    /// A direction followed by its fixed reference letter, and its digits after the point.
    #[inline]
    pub fn bearing_with_and_decimals(&mut self, reference: u8) -> (Field<Bearing>, u8) {
        let (field, decimals) = self.with_unit_and_decimals(&BEARING, reference);
        (field.map(Bearing::from_mdeg), decimals)
    }

    /// A direction followed by the letter of its reference, `T` or `M`.
    #[inline]
    pub fn direction(&mut self) -> Field<Direction> {
        let text = self.text();
        let letter = self.text();
        if text.is_empty() {
            return Field::Absent;
        }
        match *letter {
            [] => self.defect(Defect::HalfPresent),
            [b'T'] => self.check(text, &BEARING).map(|v| Direction::True(True(Bearing::from_mdeg(v)))),
            [b'M'] => self.check(text, &BEARING).map(|v| Direction::Magnetic(Magnetic(Bearing::from_mdeg(v)))),
            _ => self.defect(Defect::UnknownLetter),
        }
    }

    /// A signed angle with `E` or `W`, east plus.
    #[inline]
    pub fn east_west(&mut self, bounds: &Bounds) -> Field<Turn> {
        self.signed(bounds, b'E', b'W').narrow().map(Turn::from_mdeg)
    }

    /// A speed in knots without a letter.
    #[inline]
    pub fn knots(&mut self) -> Field<Speed> {
        self.scaled(&SPEED).map(Speed::from_milliknots)
    }

    /// A speed in knots with `N` and again in km/h with `K`: four fields.
    ///
    /// The knots are taken; km/h is read only where they are absent.
    #[inline]
    pub fn knots_or_kmh(&mut self) -> Field<Speed> {
        let knots = self.with_unit(&SPEED, b'N').map(Speed::from_milliknots);
        if knots == Field::Absent {
            return self.with_unit(&SPEED_KMH, b'K').map(Speed::from_metres_per_hour);
        }
        self.skip(2);
        knots
    }

    /// A wind speed followed by its unit: `N` knots, `K` km/h, `M` m/s.
    #[inline]
    pub fn wind_speed(&mut self) -> Field<Speed> {
        let text = self.text();
        let letter = self.text();
        if text.is_empty() {
            return Field::Absent;
        }
        let value = match *letter {
            [] => return self.defect(Defect::HalfPresent),
            [b'N' | b'K' | b'M'] => self.check(text, &WIND_SPEED),
            _ => return self.defect(Defect::UnknownLetter),
        };
        match *letter {
            [b'N'] => value.map(Speed::from_milliknots),
            [b'K'] => value.map(Speed::from_metres_per_hour),
            _ => value.narrow().map(Speed::from_mm_s),
        }
    }

    /// Latitude `ddmm.mmm`, `N` or `S`, longitude `dddmm.mmm`, `E` or `W`: four fields.
    ///
    /// Both numbers empty is absent, whatever the letters say; anything less than both numbers
    /// and both letters is half-present. Rounded to the nearest 1e-7 degree.
    #[inline]
    pub fn position(&mut self) -> Field<Position> {
        let lat = self.digits();
        let lat_letter = self.text();
        let lon = self.digits();
        let lon_letter = self.text();
        if lat.is_empty() && lon.is_empty() {
            return Field::Absent;
        }
        if lat.is_empty() || lon.is_empty() || lat_letter.is_empty() || lon_letter.is_empty() {
            return self.defect(Defect::HalfPresent);
        }
        let south = match *lat_letter {
            [b'N'] => false,
            [b'S'] => true,
            _ => return self.defect(Defect::UnknownLetter),
        };
        let west = match *lon_letter {
            [b'E'] => false,
            [b'W'] => true,
            _ => return self.defect(Defect::UnknownLetter),
        };
        match (degrees_e7(lat, &LATITUDE), degrees_e7(lon, &LONGITUDE)) {
            (Ok(lat), Ok(lon)) => {
                Field::Known(Position { lat_e7: if south { -lat } else { lat }, lon_e7: if west { -lon } else { lon } })
            }
            (Err(defect), _) | (_, Err(defect)) => self.defect(defect),
        }
    }

    /// A UTC time of day, `hhmmss` or `hhmmss.sss`, rounded down to the millisecond: a time never
    /// lies ahead of what was sent. Second 60 is legal in 23:59 alone, where leap seconds stand.
    #[inline]
    pub fn time(&mut self) -> Field<TimeOfDay> {
        let text = self.text();
        if text.is_empty() {
            return Field::Absent;
        }
        match time_of_day(text) {
            Ok(time) => Field::Known(time),
            Err(defect) => self.defect(defect),
        }
    }

    /// A date `ddmmyy`. Years 70 to 99 are 1970 to 1999, 00 to 69 are 2000 to 2069.
    ///
    /// Common practice, no source: the digits do not say the century, and GPS began in 1980.
    #[inline]
    pub fn date(&mut self) -> Field<Date> {
        let text = self.text();
        if text.is_empty() {
            return Field::Absent;
        }
        let &[d, dd, m, mm, y, yy] = text else { return self.defect(Defect::NotANumber) };
        let (Some(day), Some(month), Some(year)) = (pair(d, dd), pair(m, mm), pair(y, yy)) else {
            return self.defect(Defect::NotANumber);
        };
        let year = u16::from(year) + if year >= 70 { 1900 } else { 2000 };
        match Date::new(year, month, day) {
            Some(date) => Field::Known(date),
            None => self.defect(Defect::OutOfRange),
        }
    }

    /// A cross-track error in nautical miles and the side to steer to: thousandths of a nautical
    /// mile, plus where the course is to be changed to starboard (`R`).
    #[inline]
    pub fn cross_track(&mut self) -> Field<i32> {
        self.signed(&CROSS_TRACK, b'R', b'L').narrow()
    }

    /// The five fields that begin XTE and APB: two statuses, then a cross-track error with its
    /// side and its unit `N`, which either status can mark invalid.
    ///
    /// # Errors
    /// [`Malformed`] where the error is not one in nautical miles.
    #[inline]
    pub(crate) fn guarded_cross_track(&mut self) -> Result<GuardedCrossTrack, Malformed> {
        let valid = self.status();
        let cycle_lock = self.status();
        let error = self.cross_track();
        let error = match (error, self.text()) {
            (Field::Known(_), b"") => self.defect(Defect::HalfPresent),
            (Field::Known(_), unit) if unit != b"N" => self.defect(Defect::UnknownLetter),
            (error, _) => error,
        };
        let error = error.principal(3, "a cross-track error in nautical miles, L or R, and N")?;
        let error = self.under_status(error, valid);
        // Only Loran-C ever had a cycle to lock, so no more than a plain V speaks against it.
        let error = if cycle_lock == Field::Known(false) { error.marked_invalid() } else { error };
        Ok(GuardedCrossTrack { valid, cycle_lock, error })
    }
}

/// Degrees times ten million from `ddmm.mmm` or `dddmm.mmm`, checked by `bounds`.
#[inline]
fn degrees_e7(number: Number<'_>, bounds: &Bounds) -> Result<i32, Defect> {
    let (packed, _) = number.scaled(MINUTE_PLACES).map_err(|_| Defect::NotANumber)?;
    let (degrees, minutes) = (packed / (100 * MINUTE), packed % (100 * MINUTE));
    if packed < 0 || minutes >= 60 * MINUTE {
        return Err(Defect::OutOfRange);
    }
    // A minute is 1e7/60 of the unit: 1e9 of ours are 6000 to one of it.
    let e7 = degrees * 10_000_000 + (minutes + 3000) / 6000;
    if !bounds.holds(e7) {
        return Err(Defect::OutOfRange);
    }
    i32::try_from(e7).map_err(|_| Defect::OutOfRange)
}

#[inline]
fn time_of_day(text: &[u8]) -> Result<TimeOfDay, Defect> {
    let Some((&[h, hh, m, mm, s, ss], fraction)) = text.split_first_chunk::<6>() else {
        return Err(Defect::NotANumber);
    };
    let (Some(hour), Some(minute), Some(second)) = (pair(h, hh), pair(m, mm), pair(s, ss)) else {
        return Err(Defect::NotANumber);
    };
    let mut ms = 0;
    if let Some((&point, digits)) = fraction.split_first() {
        if point != b'.' || !digits.iter().all(u8::is_ascii_digit) {
            return Err(Defect::NotANumber);
        }
        for place in 0..3 {
            ms = ms * 10 + u32::from(digits.get(place).map_or(0, |d| d - b'0'));
        }
    }
    let leap = second == 60 && hour == 23 && minute == 59;
    if hour > 23 || minute > 59 || (second > 59 && !leap) {
        return Err(Defect::OutOfRange);
    }
    let seconds = (u32::from(hour) * 60 + u32::from(minute)) * 60 + u32::from(second);
    TimeOfDay::from_ms(seconds * 1000 + ms).ok_or(Defect::OutOfRange)
}

/// The number of two digits.
#[inline]
fn pair(tens: u8, ones: u8) -> Option<u8> {
    if tens.is_ascii_digit() && ones.is_ascii_digit() { Some((tens - b'0') * 10 + (ones - b'0')) } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fields(body: &str) -> Fields<'_> {
        Fields::new(Some(body.as_bytes()))
    }

    #[test]
    fn positions() {
        let at = |lat_e7, lon_e7| Field::Known(Position { lat_e7, lon_e7 });
        // 48 degrees 07.038' = 48.1173; 11 degrees 31.000' = 11.51666...
        assert_eq!(fields("4807.038,N,01131.000,E").position(), at(481_173_000, 115_166_667));
        assert_eq!(fields("4807.038,S,01131.000,W").position(), at(-481_173_000, -115_166_667));
        assert_eq!(fields("9000,N,18000.0,W").position(), at(900_000_000, -1_800_000_000));
        assert_eq!(fields("0000.0,N,00000.0,E").position(), at(0, 0));
        // Leading zeros left out, or none at all after the point.
        assert_eq!(fields("807.038,N,1131,E").position(), at(81_173_000, 115_166_667));
        assert_eq!(fields("4807.,N,01131.,E").position(), at(481_166_667, 115_166_667));
        // Ten digits of minutes, as survey receivers send, round to the nearest and not over 60.
        assert_eq!(fields("4759.99999999,N,01131.000,E").position(), at(480_000_000, 115_166_667));
        for (body, defect) in [
            ("9000.001,N,01131.0,E", Defect::OutOfRange),
            ("4860.0,N,01131.0,E", Defect::OutOfRange),
            ("-4807.0,N,01131.0,E", Defect::OutOfRange),
            ("4807.0,N,18000.1,E", Defect::OutOfRange),
            ("4807.0,N,,E", Defect::HalfPresent),
            (",N,01131.0,E", Defect::HalfPresent),
            ("4807.0,,01131.0,E", Defect::HalfPresent),
            ("4807.0,N,01131.0,", Defect::HalfPresent),
            ("4807.0,N", Defect::HalfPresent),
            ("4807.0,X,01131.0,E", Defect::UnknownLetter),
            ("4807.0,N,01131.0,N", Defect::UnknownLetter),
            ("48o7.0,N,01131.0,E", Defect::NotANumber),
            ("4807.0x,N,01131.0,E", Defect::NotANumber),
            ("-000.5,N,01131.0,E", Defect::OutOfRange),
            ("48.7.0,N,01131.0,E", Defect::NotANumber),
        ] {
            let mut f = fields(body);
            assert_eq!((f.position(), f.unusable()), (Field::Unusable(defect), 1), "{body}");
        }
        assert_eq!(fields(",N,,E").position(), Field::Absent);
    }

    #[test]
    fn times() {
        let ms = |body| fields(body).time().map(TimeOfDay::as_ms);
        assert_eq!(ms("000000"), Field::Known(0));
        assert_eq!(ms("172809.456"), Field::Known(62_889_456));
        assert_eq!(ms("010203.4"), Field::Known(3_723_400));
        assert_eq!(ms("010203."), Field::Known(3_723_000));
        assert_eq!(ms("235959.9999"), Field::Known(86_399_999));
        assert_eq!(ms("235960.5"), Field::Known(86_400_500));
        assert_eq!(ms(""), Field::Absent);
        for body in ["240000", "126000", "120060", "235961", "999999"] {
            assert_eq!(ms(body), Field::Unusable(Defect::OutOfRange), "{body}");
        }
        for body in ["1", "12000", "1200000", "12:00:00", "-10000", "120000.1x", "120000,5x"] {
            let want = if body == "120000,5x" { Field::Known(43_200_000) } else { Field::Unusable(Defect::NotANumber) };
            assert_eq!(ms(body), want, "{body}");
        }
    }

    #[test]
    fn dates_and_their_century() {
        let year = |body| fields(body).date().map(Date::year);
        assert_eq!(fields("230394").date(), Field::Known(Date::new(1994, 3, 23).unwrap()));
        assert_eq!((year("010170"), year("311299")), (Field::Known(1970), Field::Known(1999)));
        assert_eq!((year("010100"), year("311269")), (Field::Known(2000), Field::Known(2069)));
        assert_eq!(year("290223"), Field::Unusable(Defect::OutOfRange));
        assert_eq!(year("320123"), Field::Unusable(Defect::OutOfRange));
        assert_eq!(year("000000"), Field::Unusable(Defect::OutOfRange));
        assert_eq!(year("2303"), Field::Unusable(Defect::NotANumber));
        assert_eq!(year("23.394"), Field::Unusable(Defect::NotANumber));
    }

    #[test]
    fn knots_first_and_kilometres_where_they_are_absent() {
        let mm_s = |body| fields(body).knots_or_kmh().map(Speed::as_mm_s);
        assert_eq!(mm_s("3.6,N,99,K"), Field::Known(1852));
        assert_eq!(mm_s(",N,3.6,K"), Field::Known(1000));
        assert_eq!(mm_s(",,,"), Field::Absent);
        assert_eq!(mm_s("0.0,N,,K"), Field::Known(0));
        assert_eq!(mm_s("-1,N,2,K"), Field::Unusable(Defect::OutOfRange));
        assert_eq!(mm_s("1,K,2,K"), Field::Unusable(Defect::UnknownLetter));
    }

    #[test]
    fn directions_carry_their_letter() {
        let north = Bearing::NORTH;
        assert_eq!(fields("360.0,T").direction(), Field::Known(Direction::True(True(north))));
        assert_eq!(fields("0,M").direction(), Field::Known(Direction::Magnetic(Magnetic(north))));
        assert_eq!(fields("11,").direction(), Field::Unusable(Defect::HalfPresent));
        assert_eq!(fields(",T").direction(), Field::Absent);
    }
}
