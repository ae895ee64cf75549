//! Shared by the sentence tests: one line through the real framer and decoder, and short names for values.

#![allow(dead_code, reason = "each test binary uses its own part")]

use std::fs;
use std::path::Path;

use lubber_core::angle::Bearing;
use lubber_core::angle::Turn;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Framed;
use lubber_core::frame::Framer;
use lubber_core::frame::Line;
use lubber_core::frame::Refusal;
use lubber_core::heading::Compass;
use lubber_core::heading::Magnetic;
use lubber_core::heading::True;
use lubber_core::heading::Variation;
use lubber_core::sentence::Decoded;
use lubber_core::sentence::Defect;
use lubber_core::sentence::Field;
use lubber_core::sentence::Malformed;
use lubber_core::sentence::decode;
use lubber_core::unit::Date;
use lubber_core::unit::Position;
use lubber_core::unit::Speed;
use lubber_core::unit::TimeOfDay;

/// The lines of a fixture, comments and empty lines left out.
pub(crate) fn fixture(name: &str) -> Vec<String> {
    let path = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures")).join(name);
    let text = fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    text.lines().filter(|line| !line.is_empty() && !line.starts_with('#')).map(str::to_owned).collect()
}

/// Frames `text` and a line end after it, and hands over all that comes out.
pub(crate) fn framed(text: &str, policy: ChecksumPolicy, mut each: impl FnMut(Result<&Line<'_>, Refusal>)) {
    let mut framer = Framer::new(policy);
    let mut out = |framed: Framed<'_>| match framed {
        Framed::Line(line) => each(Ok(&line)),
        Framed::Refused(refused) => each(Err(refused.reason)),
    };
    framer.feed(text.as_bytes(), &mut out);
    framer.feed(b"\r\n", &mut out);
    framer.finish(&mut out);
}

/// The one sentence that `text` holds, checksum required.
pub(crate) fn one(text: &str, check: impl FnOnce(&Line<'_>, Result<Decoded<'_>, Malformed>)) {
    let mut check = Some(check);
    framed(text, ChecksumPolicy::Required, |line| {
        let line = line.unwrap_or_else(|refusal| panic!("{text}: {refusal}"));
        let check = check.take().unwrap_or_else(|| panic!("{text}: more than one line"));
        check(line, decode(line));
    });
    assert!(check.is_none(), "{text}: no line");
}

/// Completes `body` (what stands between `$` and `*`) with its start and checksum.
pub(crate) fn sentence(body: &str) -> String {
    let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    format!("${body}*{sum:02X}")
}

pub(crate) fn bearing(mdeg: i64) -> Bearing {
    assert!((0..360_000).contains(&mdeg));
    Bearing::from_mdeg(mdeg)
}

pub(crate) fn compass(mdeg: i64) -> Field<Compass> {
    Field::Known(Compass(bearing(mdeg)))
}

pub(crate) fn magnetic(mdeg: i64) -> Field<Magnetic> {
    Field::Known(Magnetic(bearing(mdeg)))
}

pub(crate) fn truth(mdeg: i64) -> Field<True> {
    Field::Known(True(bearing(mdeg)))
}

pub(crate) fn turn(mdeg: i32) -> Field<Turn> {
    Field::Known(Turn::from_mdeg(mdeg))
}

pub(crate) fn variation(mdeg: i32) -> Field<Variation> {
    Field::Known(Variation(Turn::from_mdeg(mdeg)))
}

/// Thousandths of a knot.
pub(crate) fn knots(milliknots: i64) -> Field<Speed> {
    Field::Known(Speed::from_milliknots(milliknots))
}

/// Degrees times ten million.
pub(crate) fn at(lat_e7: i32, lon_e7: i32) -> Field<Position> {
    Field::Known(Position { lat_e7, lon_e7 })
}

/// Hours, minutes, seconds and milliseconds.
pub(crate) fn utc(h: u32, m: u32, s: u32, ms: u32) -> Field<TimeOfDay> {
    Field::Known(TimeOfDay::from_ms(((h * 60 + m) * 60 + s) * 1000 + ms).unwrap())
}

pub(crate) fn date(year: u16, month: u8, day: u8) -> Field<Date> {
    Field::Known(Date::new(year, month, day).unwrap())
}

/// What is there and cannot be used because the talker says so.
pub(crate) fn invalid<T>() -> Field<T> {
    Field::Unusable(Defect::MarkedInvalid)
}
