//! Speed, position, time of day and date, as integers with the unit in the type.

/// A speed in millimetres a second, never negative.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Speed(i32);

/// A position: latitude north plus, longitude east plus, in degrees times ten million.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Position {
    /// Latitude, degrees times ten million, north plus.
    pub lat_e7: i32,
    /// Longitude, degrees times ten million, east plus.
    pub lon_e7: i32,
}

/// A UTC time of day in milliseconds since midnight, up to 86 400 999: second 60 is a leap second.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TimeOfDay(u32);

/// A calendar date, checked: the day exists in that month.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Date {
    year: u16,
    month: u8,
    day: u8,
}

impl Speed {
    /// Standing still.
    pub const ZERO: Self = Self(0);

    /// A speed of `mm_s` millimetres a second; a negative one counts as zero.
    pub const fn from_mm_s(mm_s: i32) -> Self {
        Self(if mm_s < 0 { 0 } else { mm_s })
    }

    /// A speed of `milliknots` thousandths of a knot, rounded to the nearest millimetre a second.
    ///
    /// One knot is 1852 m an hour by definition, so 1 kn = 1852/3600 m/s. Saturates.
    #[inline]
    pub const fn from_milliknots(milliknots: i64) -> Self {
        let mm_s = (milliknots.saturating_mul(1852) + 1800) / 3600;
        #[expect(clippy::cast_possible_truncation, reason = "held below i32::MAX")]
        Self(if mm_s < 0 {
            0
        } else if mm_s > i32::MAX as i64 {
            i32::MAX
        } else {
            mm_s as i32
        })
    }

    /// A speed of `m_h` metres an hour (thousandths of km/h), rounded to the nearest millimetre a second.
    #[inline]
    pub const fn from_metres_per_hour(m_h: i64) -> Self {
        let mm_s = (m_h.saturating_mul(10) + 18) / 36;
        #[expect(clippy::cast_possible_truncation, reason = "held below i32::MAX")]
        Self(if mm_s < 0 {
            0
        } else if mm_s > i32::MAX as i64 {
            i32::MAX
        } else {
            mm_s as i32
        })
    }

    /// Millimetres a second.
    #[inline]
    pub const fn as_mm_s(self) -> i32 {
        self.0
    }

    /// Thousandths of a knot, rounded to the nearest.
    pub const fn as_milliknots(self) -> i64 {
        (self.0 as i64 * 3600 + 926) / 1852
    }
}

impl TimeOfDay {
    /// The time `ms` milliseconds after midnight UTC, or `None` past the leap second's end.
    pub const fn from_ms(ms: u32) -> Option<Self> {
        if ms < 86_401_000 { Some(Self(ms)) } else { None }
    }

    /// Milliseconds since midnight UTC.
    pub const fn as_ms(self) -> u32 {
        self.0
    }
}

impl Date {
    /// The date, if that day exists.
    pub const fn new(year: u16, month: u8, day: u8) -> Option<Self> {
        if month < 1 || month > 12 || day < 1 || day > days_in(year, month) {
            return None;
        }
        Some(Self { year, month, day })
    }

    /// The year, four digits.
    pub const fn year(self) -> u16 {
        self.year
    }

    /// The month, 1 to 12.
    pub const fn month(self) -> u8 {
        self.month
    }

    /// The day of the month, 1 to 31.
    pub const fn day(self) -> u8 {
        self.day
    }

    /// Whole days since 1 January 1970, proleptic Gregorian.
    ///
    /// The count of days in 400-year cycles beginning on 1 March, so that the leap day is the last
    /// of its year; checked against chrono day by day in the host's tests.
    pub const fn days_since_1970(self) -> i64 {
        let shifted = self.year as i64 - if self.month <= 2 { 1 } else { 0 };
        let cycle = shifted.div_euclid(400);
        let year_of_cycle = shifted.rem_euclid(400);
        let month_from_march = (self.month as i64 + 9) % 12;
        let day_of_year = (153 * month_from_march + 2) / 5 + self.day as i64 - 1;
        cycle * 146_097 + year_of_cycle * 365 + year_of_cycle / 4 - year_of_cycle / 100 + day_of_year - 719_468
    }

    /// Milliseconds since 1970-01-01T00:00:00Z of this date at `time`.
    pub const fn unix_ms(self, time: TimeOfDay) -> i64 {
        self.days_since_1970() * 86_400_000 + time.as_ms() as i64
    }
}

const fn days_in(year: u16, month: u8) -> u8 {
    match month {
        2 if year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn knots_by_their_definition() {
        // 1 international nautical mile = 1852 m: SI brochure, table of non-SI units.
        assert_eq!(Speed::from_milliknots(1000).as_mm_s(), 514);
        assert_eq!(Speed::from_milliknots(3600).as_mm_s(), 1852);
        assert_eq!(Speed::from_metres_per_hour(3600).as_mm_s(), 1000);
        for milliknots in (0..150_000).step_by(37) {
            let back = Speed::from_milliknots(milliknots).as_milliknots();
            assert!((back - milliknots).abs() <= 1, "{milliknots} came back as {back}");
        }
    }

    #[test]
    fn dates() {
        assert_eq!(Date::new(1970, 1, 1).map(Date::days_since_1970), Some(0));
        assert_eq!(Date::new(2000, 3, 1).map(Date::days_since_1970), Some(11_017));
        assert_eq!(Date::new(2023, 2, 29), None);
        assert_eq!(Date::new(2100, 2, 29), None);
        assert_eq!(Date::new(2024, 0, 1), None);
        let (date, time) = (Date::new(2019, 3, 24), TimeOfDay::from_ms((82 * 60 + 19) * 1000));
        // 1553390539 = 2019-03-24 01:22:19 UTC: a published TAG block example.
        assert_eq!(date.zip(time).map(|(d, t)| d.unix_ms(t)), Some(1_553_390_539_000));
    }
}
