//! Lines to typed sentences, one file per formatter. A sentence in hand is meaningful.
//!
//! `field` is the cursor that every file reads with; `quantity`, `status` and `alert_name` are what
//! several sentences share. A bad optional field is counted and unusable and the rest stands; a bad
//! principal value refuses the sentence; an empty principal value is absent: heard, no value.
//! Fields after those that are read are passed over, since newer editions add some.

mod ack;
mod acn;
mod alc;
mod alert_name;
mod alf;
mod alr;
mod apb;
mod arc;
pub mod field;
mod gga;
mod gll;
mod gns;
mod hbt;
mod hdg;
mod hdm;
mod hdt;
mod heading_control;
mod hsc;
mod htc;
mod htd;
mod mwd;
mod mwv;
mod quantity;
mod rmb;
mod rmc;
mod rot;
mod rsa;
#[cfg(test)]
mod sample;
mod status;
mod ths;
mod txt;
mod vhw;
mod vtg;
mod xdr;
mod xte;
mod zda;

pub use ack::Ack;
pub use acn::Acn;
pub use alc::{Alc, AlcEntry};
pub use alert_name::AlertName;
pub use alf::Alf;
pub use alr::Alr;
pub use apb::Apb;
pub use arc::Arc;
pub use field::{Defect, Field, Fields, Malformed};
pub use gga::Gga;
pub use gll::Gll;
pub use gns::Gns;
pub use hbt::Hbt;
pub use hdg::Hdg;
pub use hdm::Hdm;
pub use hdt::Hdt;
pub use heading_control::{HeadingControl, HeadingReference};
pub use hsc::Hsc;
pub use htc::Htc;
pub use htd::Htd;
pub use mwd::Mwd;
pub use mwv::Mwv;
pub use quantity::Direction;
pub use rmb::Rmb;
pub use rmc::Rmc;
pub use rot::Rot;
pub use rsa::Rsa;
pub use status::Mode;
pub use ths::{Ths, ThsMode};
pub use txt::Txt;
pub use vhw::Vhw;
pub use vtg::Vtg;
pub use xdr::{Measurement, Xdr};
pub use xte::Xte;
pub use zda::Zda;

use crate::frame::Formatter;
use crate::frame::Line;
use crate::frame::Start;
use crate::frame::Talker;

/// A decoded sentence and how many of its fields were there but unusable.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decoded<'a> {
    /// The sentence.
    pub sentence: Sentence<'a>,
    /// Fields that were there but could not be used; the rest of the sentence stands.
    pub unusable: u8,
}

/// One sentence, by what it says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sentence<'a> {
    /// Heading of a magnetic sensor.
    Hdg(Hdg),
    /// Magnetic heading.
    Hdm(Hdm),
    /// True heading.
    Hdt(Hdt),
    /// True heading and its mode.
    Ths(Ths),
    /// Rate of turn.
    Rot(Rot),
    /// Rudder angle.
    Rsa(Rsa),
    /// Heading and speed through the water.
    Vhw(Vhw),
    /// Course and speed over ground.
    Vtg(Vtg),
    /// Time, position, course, speed and variation.
    Rmc(Rmc),
    /// Position and the quality of the fix.
    Gga(Gga),
    /// Position.
    Gll(Gll),
    /// Position by several satellite systems.
    Gns(Gns<'a>),
    /// Time and date.
    Zda(Zda),
    /// Measurements of any kind.
    Xdr(Xdr<'a>),
    /// Wind against the bow.
    Mwv(Mwv),
    /// Wind against north.
    Mwd(Mwd),
    /// What a heading or track control system says it is doing.
    Htd(Htd),
    /// What is ordered of a heading or track control system.
    Htc(Htc),
    /// The heading that is ordered.
    Hsc(Hsc),
    /// What a navigator tells a pilot.
    Apb(Apb<'a>),
    /// Cross-track error.
    Xte(Xte),
    /// The way to a waypoint.
    Rmb(Rmb<'a>),
    /// An alert command.
    Acn(Acn<'a>),
    /// The acknowledgement of one alarm.
    Ack(Ack),
    /// A heartbeat.
    Hbt(Hbt),
    /// A text for people.
    Txt(Txt<'a>),
    /// The state of one alarm.
    Alr(Alr<'a>),
    /// The state of one alert.
    Alf(Alf<'a>),
    /// The list of active alerts.
    Alc(Alc<'a>),
    /// The refusal of an alert command.
    Arc(Arc<'a>),
    /// Framed and counted, but nothing lubber reads: AIS, makers' own sentences, depth.
    Other {
        /// Who sent it.
        talker: Talker,
        /// What it is.
        formatter: Formatter,
        /// Its fields as they came.
        body: &'a [u8],
    },
}

/// Reads the fields of `line`.
///
/// # Errors
/// [`Malformed`] where the principal value of a known sentence is not usable. A formatter that is
/// not known is no error.
#[inline]
pub fn decode<'a>(line: &Line<'a>) -> Result<Decoded<'a>, Malformed> {
    let fields = &mut Fields::new(line.body);
    let formatter = match (line.start, line.address) {
        (Start::Parametric, &[first, _, a, b, c]) if first != b'P' => [a, b, c],
        _ => return Ok(other(line)),
    };
    match &formatter {
        b"HDG" => read(fields, Hdg::parse, Sentence::Hdg),
        b"HDM" => read(fields, Hdm::parse, Sentence::Hdm),
        b"HDT" => read(fields, Hdt::parse, Sentence::Hdt),
        b"THS" => read(fields, Ths::parse, Sentence::Ths),
        b"ROT" => read(fields, Rot::parse, Sentence::Rot),
        b"RSA" => read(fields, Rsa::parse, Sentence::Rsa),
        b"VHW" => read(fields, Vhw::parse, Sentence::Vhw),
        b"VTG" => read(fields, Vtg::parse, Sentence::Vtg),
        b"RMC" => read(fields, Rmc::parse, Sentence::Rmc),
        b"GGA" => read(fields, Gga::parse, Sentence::Gga),
        b"GLL" => read(fields, Gll::parse, Sentence::Gll),
        b"GNS" => read(fields, Gns::parse, Sentence::Gns),
        b"ZDA" => read(fields, Zda::parse, Sentence::Zda),
        b"XDR" => read(fields, Xdr::parse, Sentence::Xdr),
        b"MWV" => read(fields, Mwv::parse, Sentence::Mwv),
        b"MWD" => read(fields, Mwd::parse, Sentence::Mwd),
        b"HTD" => read(fields, htd::parse, Sentence::Htd),
        b"HTC" => read(fields, htc::parse, Sentence::Htc),
        b"HSC" => read(fields, Hsc::parse, Sentence::Hsc),
        b"APB" => read(fields, Apb::parse, Sentence::Apb),
        b"XTE" => read(fields, Xte::parse, Sentence::Xte),
        b"RMB" => read(fields, Rmb::parse, Sentence::Rmb),
        b"ACN" => read(fields, Acn::parse, Sentence::Acn),
        b"ACK" => read(fields, Ack::parse, Sentence::Ack),
        b"HBT" => read(fields, Hbt::parse, Sentence::Hbt),
        b"TXT" => read(fields, Txt::parse, Sentence::Txt),
        b"ALR" => read(fields, Alr::parse, Sentence::Alr),
        b"ALF" => read(fields, Alf::parse, Sentence::Alf),
        b"ALC" => read(fields, Alc::parse, Sentence::Alc),
        b"ARC" => read(fields, Arc::parse, Sentence::Arc),
        _ => Ok(other(line)),
    }
}

/// One arm of [`decode`], a function of its own for each formatter so that the sentence is built
/// where the caller wants it and not moved there.
#[inline(never)]
fn read<'a, T>(
    fields: &mut Fields<'a>,
    parse: impl FnOnce(&mut Fields<'a>) -> Result<T, Malformed>,
    sentence: impl FnOnce(T) -> Sentence<'a>,
) -> Result<Decoded<'a>, Malformed> {
    let sentence = sentence(parse(fields)?);
    Ok(Decoded { sentence, unusable: fields.unusable() })
}

#[inline(never)]
fn other<'a>(line: &Line<'a>) -> Decoded<'a> {
    let body = line.body.unwrap_or(b"");
    Decoded { sentence: Sentence::Other { talker: line.talker(), formatter: line.formatter(), body }, unusable: 0 }
}
