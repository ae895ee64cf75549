//! Our values by name, each with its state.

use lubber_core::angle::Bearing;
use lubber_core::angle::Turn;
use lubber_core::angle::TurnRate;
use lubber_core::heading::Magnetic;
use lubber_core::heading::True;
use lubber_core::sentence::Field;
use lubber_core::sentence::Sentence;
use lubber_core::unit::Date;
use lubber_core::unit::Position;
use lubber_core::unit::Speed;
use lubber_core::unit::TimeOfDay;

use crate::Values;

pub(crate) fn values(sentence: &Sentence<'_>) -> Values<Field<i64>> {
    let bearing = |b: Bearing| i64::from(b.as_mdeg());
    let truth = |t: True| bearing(t.0);
    let magnetic = |m: Magnetic| bearing(m.0);
    let turn = |t: Turn| i64::from(t.as_mdeg());
    let speed = |s: Speed| i64::from(s.as_mm_s());
    let lat = |p: Position| i64::from(p.lat_e7);
    let lon = |p: Position| i64::from(p.lon_e7);
    let time = |t: TimeOfDay| i64::from(t.as_ms());
    match *sentence {
        Sentence::Hdg(s) => vec![
            ("heading", s.heading.map(|c| bearing(c.0))),
            ("deviation", s.deviation.map(turn)),
            ("variation", s.variation.map(|v| turn(v.0))),
        ],
        Sentence::Hdm(s) => vec![("heading", s.heading.map(magnetic))],
        Sentence::Hdt(s) => vec![("heading", s.heading.map(truth))],
        Sentence::Ths(s) => vec![("heading", s.heading.map(truth))],
        Sentence::Rot(s) => vec![("rate", s.rate.map(TurnRate::as_centideg_per_min).map(i64::from))],
        Sentence::Rsa(s) => vec![("starboard", s.starboard.map(turn)), ("port", s.port.map(turn))],
        Sentence::Vhw(s) => {
            vec![("true", s.truth.map(truth)), ("magnetic", s.magnetic.map(magnetic)), ("speed", s.speed.map(speed))]
        }
        Sentence::Vtg(s) => vec![
            ("true", s.course.map(truth)),
            ("magnetic", s.course_magnetic.map(magnetic)),
            ("speed", s.speed.map(speed)),
        ],
        Sentence::Rmc(s) => vec![
            ("time", s.time.map(time)),
            ("lat", s.position.map(lat)),
            ("lon", s.position.map(lon)),
            ("speed", s.speed.map(speed)),
            ("course", s.course.map(truth)),
            ("date", s.date.map(Date::days_since_1970)),
            ("variation", s.variation.map(|v| turn(v.0))),
        ],
        Sentence::Gga(s) => vec![
            ("time", s.time.map(time)),
            ("lat", s.position.map(lat)),
            ("lon", s.position.map(lon)),
            ("quality", s.quality.map(i64::from)),
            ("satellites", s.satellites.map(i64::from)),
            ("hdop", s.hdop.map(i64::from)),
        ],
        Sentence::Gll(s) => {
            vec![("lat", s.position.map(lat)), ("lon", s.position.map(lon)), ("time", s.time.map(time))]
        }
        Sentence::Gns(s) => vec![
            ("time", s.time.map(time)),
            ("lat", s.position.map(lat)),
            ("lon", s.position.map(lon)),
            ("satellites", s.satellites.map(i64::from)),
            ("hdop", s.hdop.map(i64::from)),
        ],
        Sentence::Zda(s) => vec![
            ("time", s.time.map(time)),
            ("date", s.date.map(Date::days_since_1970)),
            ("zone", s.zone_minutes.map(i64::from)),
        ],
        Sentence::Mwv(s) => vec![("angle", s.angle.map(bearing)), ("speed", s.speed.map(speed))],
        Sentence::Mwd(s) => {
            vec![("true", s.truth.map(truth)), ("magnetic", s.magnetic.map(magnetic)), ("speed", s.speed.map(speed))]
        }
        Sentence::Hsc(s) => vec![("true", s.truth.map(truth)), ("magnetic", s.magnetic.map(magnetic))],
        _ => panic!("{sentence:?} is not generated"),
    }
}
