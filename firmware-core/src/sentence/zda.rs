//! ZDA, time and date: `$GPZDA,172809.456,12,07,1996,00,00*57`.

use crate::bounds::SMALL_NUMBER;
use crate::bounds::YEAR;
use crate::bounds::ZONE_HOURS;
use crate::bounds::ZONE_MINUTES;
use crate::sentence::field::Defect;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::unit::Date;
use crate::unit::TimeOfDay;

/// Time and date.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Zda {
    /// Field 1: UTC. Second 60 of 23:59 is a leap second.
    pub time: Field<TimeOfDay>,
    /// Fields 2 to 4: UTC date, the year in four digits.
    pub date: Field<Date>,
    /// Fields 5 and 6: the local zone in minutes, as sent: the sign of the hours holds for the
    /// minutes too, so `-00,30` is -30. Which way the sign counts is not judged here.
    pub zone_minutes: Field<i16>,
}

impl Zda {
    /// Reads the fields.
    ///
    /// The date is not principal: receivers that have the time and not yet the week send 1 January
    /// 1970, and that must not cost the time.
    ///
    /// # Errors
    /// [`Malformed`] where field 1 is not a time.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let time = fields.time().principal(1, "a time hhmmss.ss")?;
        let date = date(fields);
        Ok(Self { time, date, zone_minutes: zone(fields) })
    }
}

fn date(fields: &mut Fields<'_>) -> Field<Date> {
    let day = fields.number::<u8>(&SMALL_NUMBER);
    let month = fields.number::<u8>(&SMALL_NUMBER);
    let year = fields.number::<u16>(&YEAR);
    match (day, month, year) {
        (Field::Known(day), Field::Known(month), Field::Known(year)) => match Date::new(year, month, day) {
            Some(date) => Field::Known(date),
            None => fields.defect(Defect::OutOfRange),
        },
        (Field::Absent, Field::Absent, Field::Absent) => Field::Absent,
        (Field::Unusable(defect), ..) | (_, Field::Unusable(defect), _) | (.., Field::Unusable(defect)) => {
            Field::Unusable(defect)
        }
        _ => fields.defect(Defect::HalfPresent),
    }
}

fn zone(fields: &mut Fields<'_>) -> Field<i16> {
    let text = fields.text();
    let (negative, digits) = match text {
        [b'-', digits @ ..] => (true, digits),
        _ => (false, text),
    };
    // A minus alone must not pass for an absent field.
    let hours = if digits.is_empty() && negative {
        fields.defect(Defect::NotANumber)
    } else {
        fields.check(digits, &ZONE_HOURS).narrow::<i16>()
    };
    match (hours, fields.number::<i16>(&ZONE_MINUTES)) {
        (Field::Known(hours), Field::Known(minutes)) => {
            let minutes = hours * 60 + minutes;
            Field::Known(if negative { -minutes } else { minutes })
        }
        (Field::Absent, Field::Absent) => Field::Absent,
        (Field::Unusable(defect), _) | (_, Field::Unusable(defect)) => Field::Unusable(defect),
        _ => fields.defect(Defect::HalfPresent),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::sample::read;

    #[test]
    fn the_published_sentence() {
        let (zda, unusable) = read("172809.456,12,07,1996,00,00", Zda::parse).unwrap();
        assert_eq!(zda.time, Field::Known(TimeOfDay::from_ms(62_889_456).unwrap()));
        assert_eq!(zda.date, Field::Known(Date::new(1996, 7, 12).unwrap()));
        assert_eq!((zda.zone_minutes, unusable), (Field::Known(0), 0));
    }

    #[test]
    fn zones() {
        let zone = |tail: &str| {
            let body = std::format!("160012.71,11,03,2004,{tail}");
            read(&body, Zda::parse).map(|(zda, unusable)| (zda.zone_minutes, unusable)).unwrap()
        };
        assert_eq!(zone("-05,30"), (Field::Known(-330), 0));
        assert_eq!(zone("-00,30"), (Field::Known(-30), 0));
        assert_eq!(zone("-1,00"), (Field::Known(-60), 0));
        assert_eq!(zone("13,45"), (Field::Known(825), 0));
        assert_eq!(zone(","), (Field::Absent, 0));
        assert_eq!(zone("-,"), (Field::Unusable(Defect::NotANumber), 1));
        assert_eq!(zone("05,"), (Field::Unusable(Defect::HalfPresent), 1));
        assert_eq!(zone("15,00"), (Field::Unusable(Defect::OutOfRange), 1));
    }

    #[test]
    fn what_is_no_date_is_counted_and_what_is_no_time_refuses() {
        let date = |body| read(body, Zda::parse).map(|(zda, unusable)| (zda.date.map(Date::year), unusable));
        assert_eq!(date("235960.00,31,12,2016,-05,30"), Ok((Field::Known(2016), 0)));
        assert_eq!(date(",,,,,"), Ok((Field::Absent, 0)));
        assert_eq!(date("110759.39,01,01,1970,00,00"), Ok((Field::Unusable(Defect::OutOfRange), 1)));
        assert_eq!(date("120000,31,11,2016,,"), Ok((Field::Unusable(Defect::OutOfRange), 1)));
        assert_eq!(date("120000,31,,2016,,"), Ok((Field::Unusable(Defect::HalfPresent), 1)));
        assert_eq!(date("120000,31,12,16,,"), Ok((Field::Unusable(Defect::OutOfRange), 1)));
        assert_eq!(date("250000,31,12,2016,,").map_err(|m| (m.field, m.defect)), Err((1, Defect::OutOfRange)));
    }
}
