//! The voltage of one battery, by XDR.

use crate::picture::SourceId;
use crate::picture::Tracked;
use crate::sentence::Field;
use crate::sentence::Xdr;
use crate::time::Instant;

/// The name of a transducer, as it stands in XDR: its first [`Transducer::LONGEST`] bytes and its length.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Transducer {
    length: u8,
    bytes: [u8; Self::LONGEST],
}

/// Which battery is watched, and how low it may fall: the owner's `[limits.supply-low]`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SupplySettings {
    /// The transducer; else the first one heard whose name says that it is of a battery.
    pub name: Option<Transducer>,
    /// The limit in thousandths of a volt; else by what kind of battery it is.
    pub limit_millivolts: Option<u32>,
}

/// What is known of the battery.
#[derive(Clone, Copy, Debug, Default)]
pub struct Supply {
    named: bool,
    name: Option<Transducer>,
    source: Option<SourceId>,
    millivolts: Tracked<u32>,
}

impl Transducer {
    /// The most that is kept of a name: nobody names a battery at greater length.
    pub const LONGEST: usize = 12;

    /// The name that `text` is; none where it is empty or longer than [`Self::LONGEST`].
    pub fn named(text: &str) -> Option<Self> {
        let fits = (1..=Self::LONGEST).contains(&text.len());
        if fits { Some(Self::of(text.as_bytes())) } else { None }
    }

    /// A name from the wire, of any length.
    fn of(name: &[u8]) -> Self {
        let mut bytes = [0; Self::LONGEST];
        for (to, from) in bytes.iter_mut().zip(name) {
            *to = from.to_ascii_uppercase();
        }
        Self { length: u8::try_from(name.len()).unwrap_or(u8::MAX), bytes }
    }

    /// Whether it says that it is of a battery: a voltage may as well be a sensor's own supply.
    fn is_battery(&self) -> bool {
        self.bytes.windows(3).any(|part| part == b"BAT")
    }
}

/// No battery on a boat is above this; what is more is a fault of its talker.
const MOST_MILLIVOLTS: i64 = 100_000;

impl Supply {
    /// Nothing heard yet.
    pub fn new(settings: SupplySettings) -> Self {
        Self { named: settings.name.is_some(), name: settings.name, ..Self::default() }
    }

    /// The voltage in thousandths of a volt.
    pub fn millivolts(&self) -> &Tracked<u32> {
        &self.millivolts
    }

    /// Whether the owner names the transducer.
    pub fn is_named(&self) -> bool {
        self.named
    }

    /// The source that it came on last.
    pub fn source(&self) -> Option<SourceId> {
        self.source
    }

    /// An XDR came on `source`.
    pub(super) fn take(&mut self, now: Instant, source: SourceId, xdr: &Xdr<'_>) {
        for measurement in xdr.measurements().filter(|m| m.kind == b'U' && m.unit == b'V') {
            let name = Transducer::of(measurement.name);
            let known = match measurement.value {
                Field::Known(value) if (0..=MOST_MILLIVOLTS).contains(&value) => u32::try_from(value).ok(),
                _ => None,
            };
            // The first one heard stays: two batteries must not be taken for one.
            if self.name.is_none() && known.is_some() && name.is_battery() {
                self.name = Some(name);
            }
            if self.name != Some(name) {
                continue;
            }
            self.source = Some(source);
            match known {
                Some(millivolts) => self.millivolts.take(now, millivolts),
                None => self.millivolts.void(now),
            }
        }
    }

    #[cfg(test)]
    pub(crate) fn take_for_tests(&mut self, now: Instant, name: &[u8], millivolts: u32) {
        self.name = Some(Transducer::of(name));
        self.millivolts.take(now, millivolts);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::ChecksumPolicy;
    use crate::frame::Framed;
    use crate::frame::Framer;
    use crate::sentence;
    use crate::sentence::Sentence;
    use std::format;

    fn hear(supply: &mut Supply, s: u64, body: &str) {
        let mut heard = 0;
        Framer::new(ChecksumPolicy::Optional).feed(format!("${body}\r\n").as_bytes(), &mut |framed| {
            let Framed::Line(line) = framed else { panic!("{body}") };
            let Sentence::Xdr(xdr) = sentence::decode(&line).unwrap().sentence else { panic!("{body}") };
            supply.take(Instant::from_ms(s * 1000), SourceId(0), &xdr);
            heard += 1;
        });
        assert_eq!(heard, 1, "{body}");
    }

    fn heard(settings: SupplySettings, bodies: &[&str]) -> Option<u32> {
        let mut supply = Supply::new(settings);
        for (s, body) in bodies.iter().enumerate() {
            hear(&mut supply, s as u64, body);
        }
        supply.millivolts().latest()
    }

    #[test]
    fn the_first_battery_heard_is_the_one_that_is_watched() {
        let none = SupplySettings::default();
        assert_eq!(heard(none, &["IIXDR,U,12.6,V,BATT", "IIXDR,U,13.9,V,START BATTERY"]), Some(12_600));
        assert_eq!(heard(none, &["IIXDR,C,19.5,C,AIR,U,12.61,V,Bat1,U,5.0,V,SENSOR"]), Some(12_610));
        // Voltages that are of no battery, and what is no voltage.
        for body in ["IIXDR,U,5.0,V,SENSOR", "IIXDR,U,12.6,V,", "IIXDR,I,12.6,A,BATT", "IIXDR,U,12.6,A,BATT"] {
            assert_eq!(heard(none, &[body]), None, "{body}");
        }
        // Values that no battery has.
        for body in ["IIXDR,U,-12.6,V,BATT", "IIXDR,U,100.1,V,BATT", "IIXDR,U,,V,BATT", "IIXDR,U,x,V,BATT"] {
            assert_eq!(heard(none, &[body]), None, "{body}");
        }
    }

    #[test]
    fn the_owner_names_one() {
        let named = |name| SupplySettings { name: Transducer::named(name), ..SupplySettings::default() };
        let both = ["IIXDR,U,12.6,V,BATT", "IIXDR,U,24.1,V,Main"];
        assert_eq!(heard(named("MAIN"), &both), Some(24_100));
        assert_eq!(heard(named("BATT"), &both), Some(12_600));
        // A longer name that begins alike is another.
        assert_eq!(heard(named("HOUSE BATTER"), &["IIXDR,U,12.6,V,HOUSE BATTERY"]), None);
        assert_eq!((Transducer::named(""), Transducer::named("THE HOUSE BATTERY")), (None, None));
    }

    #[test]
    fn an_empty_value_is_heard_and_is_no_zero() {
        let mut supply = Supply::new(SupplySettings::default());
        hear(&mut supply, 0, "IIXDR,U,12.6,V,BATT");
        hear(&mut supply, 5, "IIXDR,U,,V,BATT");
        let now = Instant::from_ms(5_000);
        assert_eq!((supply.millivolts().latest(), supply.millivolts().is_void(now)), (Some(12_600), true));
    }
}
