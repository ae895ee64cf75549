//! What names an alert on the wire, in ALF, ALC, ACN and ARC alike.

use crate::bounds::ALERT_NUMBER;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;

/// The three fields that name one alert.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct AlertName<'a> {
    /// The maker's letters where the alert is the maker's own; empty for a standard one.
    pub manufacturer: &'a [u8],
    /// Which alert.
    pub alert: Field<u32>,
    /// Which of several of that kind.
    pub instance: Field<u32>,
}

impl<'a> Fields<'a> {
    /// Manufacturer, alert and instance: three fields.
    #[inline]
    pub fn alert_name(&mut self) -> AlertName<'a> {
        AlertName { manufacturer: self.text(), alert: self.number(&ALERT_NUMBER), instance: self.number(&ALERT_NUMBER) }
    }
}
