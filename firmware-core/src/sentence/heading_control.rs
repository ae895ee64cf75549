//! What HTC and HTD share: the first 13 fields, and the one type that both are read into.

use crate::angle::Bearing;
use crate::angle::Turn;
use crate::bounds::HEADING_LIMIT;
use crate::bounds::RUDDER_COMMAND;
use crate::sentence::field::Defect;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;

/// Which north a heading to steer is counted from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum HeadingReference {
    /// `T`.
    True,
    /// `M`: the pilot's own compass, before any card of ours.
    Magnetic,
}

/// Heading and rudder control, as ordered (HTC) or as the pilot says it is doing (HTD).
///
/// What only HTD has is absent in HTC, and the other way round.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct HeadingControl {
    /// Field 1: whether manual override is in use.
    pub override_in_use: Field<bool>,
    /// Fields 2 and 3: commanded rudder, starboard (`R`) plus.
    pub rudder: Field<Turn>,
    /// Field 4: `M` by hand, `S` heading control alone, `H` heading control, `T` track control,
    /// `R` rudder control. Kept as it came.
    pub steering_mode: Field<u8>,
    /// Field 7: how far off the heading before the pilot itself complains, either side.
    pub off_heading_limit: Field<Turn>,
    /// Fields 10 and 13: heading to steer. Without its reference it is half-present: between true
    /// and magnetic lies the whole variation.
    pub heading_to_steer: Field<Bearing>,
    /// Field 13: the reference of every heading in the sentence.
    pub reference: Field<HeadingReference>,
    /// HTC field 14: what kind of sentence it is, as newer editions say; kept as it came.
    pub status: Field<u8>,
    /// HTD field 14: whether the rudder is within its limit.
    pub rudder_within_limit: Field<bool>,
    /// HTD field 15: whether the heading is within its limit.
    pub heading_within_limit: Field<bool>,
    /// HTD field 16: whether the track is within its limit.
    pub track_within_limit: Field<bool>,
    /// HTD field 17: the heading that the pilot steers by, in the same reference.
    pub vessel_heading: Field<Bearing>,
}

impl HeadingControl {
    /// Reads fields 1 to 13. Those that speak of tracks and turn radii are passed over.
    ///
    /// # Errors
    /// [`Malformed`] where field 10 holds something that is not a direction. A reference that is
    /// missing or unknown makes it unusable and does not refuse the sentence: the rest still tells
    /// what the pilot does.
    #[inline]
    pub(crate) fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let override_in_use = fields.status();
        let rudder = fields.signed(&RUDDER_COMMAND, b'R', b'L').narrow().map(Turn::from_mdeg);
        let steering_mode = fields.letter();
        fields.skip(2);
        let off_heading_limit = fields.number(&HEADING_LIMIT).map(Turn::from_mdeg);
        fields.skip(2);
        let heading = fields.bearing().principal(10, "a heading to steer of 0 to 360 degrees")?;
        fields.skip(2);
        let reference = match *fields.text() {
            [] => Field::Absent,
            [b'T'] => Field::Known(HeadingReference::True),
            [b'M'] => Field::Known(HeadingReference::Magnetic),
            _ => fields.defect(Defect::UnknownLetter),
        };
        Ok(Self {
            override_in_use,
            rudder,
            steering_mode,
            off_heading_limit,
            heading_to_steer: fields.under_status(heading, reference.map(|_| true)),
            reference,
            ..Self::default()
        })
    }
}
