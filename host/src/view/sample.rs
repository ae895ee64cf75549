//! A status, and the alarms in it, for the tests of what shows them.

use lubber_core::alert::AlertKind;
use lubber_core::alert::Disagreeing;
use lubber_core::alert::Evidence;
use lubber_core::alert::Instance;
use lubber_core::alert::Priority;
use lubber_core::angle::Bearing;
use lubber_core::angle::Turn;
use lubber_core::arbiter::AlertChange;
use lubber_core::arbiter::State;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Formatter;
use lubber_core::frame::Talker;
use lubber_core::heading::Compass;
use lubber_core::heading::Magnetic;
use lubber_core::heading::True;
use lubber_core::monitor::Correction;
use lubber_core::monitor::HeadingStatus;
use lubber_core::monitor::Status;
use lubber_core::monitor::WitnessStatus;
use lubber_core::picture::OrderedBy;
use lubber_core::picture::Origin;
use lubber_core::picture::Reference;
use lubber_core::picture::Referred;
use lubber_core::picture::SourceId;
use lubber_core::picture::Steering;
use lubber_core::time::Instant;
use lubber_core::time::Span;
use lubber_core::unit::Speed;

use crate::view::Source;
use crate::view::Sources;
use crate::view::Stamp;

/// The compass of the samples.
pub(crate) const HCHDG: Origin = Origin { source: SourceId(0), talker: Talker(*b"HC"), formatter: Formatter(*b"HDG") };
/// The receiver of the samples.
pub(crate) const GPRMC: Origin = Origin { source: SourceId(0), talker: Talker(*b"GP"), formatter: Formatter(*b"RMC") };

/// An alarm that nobody has answered, of the compass, with this behind it.
pub(crate) fn alarm(kind: AlertKind, evidence: Evidence) -> AlertChange {
    AlertChange {
        at: Instant::default(),
        kind,
        instance: Instance::Sensor(HCHDG),
        number: 1,
        revision: 1,
        escalations: 0,
        occurrence: 1,
        priority: Priority::Alarm,
        state: State::ActiveUnacknowledged,
        escalated: false,
        repeated: false,
        follows: None,
        evidence,
    }
}

/// The compass says 137, as ordered, and the boat makes good 199: the alarm stands.
pub(crate) fn contradicted() -> Status {
    let compass = Referred { bearing: Bearing::from_deg(137), reference: Reference::Compass };
    let (course, speed) = (True(Bearing::from_deg(199)), Speed::from_milliknots(5_200));
    let with = Disagreeing::Ground { origin: GPRMC, course: True(Bearing::from_deg(190)), speed };
    let by = Turn::from_deg(58);
    let mut status = nothing_known();
    status.heading = Some(HeadingStatus {
        origin: HCHDG,
        raw: compass,
        compass: Some(Compass(compass.bearing)),
        magnetic: Some(Magnetic(compass.bearing)),
        truth: Some(True(Bearing::from_deg(141))),
        correction: Correction::Uncorrected,
        age: Span::from_ms(100),
        stale: false,
        unchanged: Span::ZERO,
    });
    status.steering = Steering::Heading { order: compass, by: OrderedBy::Owner, held: false };
    status.off = Some(Turn::ZERO);
    status.ground = Some((Some(course), speed, Span::from_ms(400)));
    let witness = WitnessStatus {
        origin: GPRMC,
        truth: Some(course),
        differs: Some(by),
        age: Span::from_ms(400),
        stale: false,
        copy_of: None,
        may_be_copy: false,
        ground: true,
    };
    status.witnesses.push(witness).expect("there is room");
    let evidence = Evidence::Disagreement { of: HCHDG, with, by, alone: None };
    status.alerts.push(alarm(AlertKind::HeadingDisagreement, evidence)).expect("there is room");
    status
}

/// Nothing was ever heard, and every alert judges.
pub(crate) fn nothing_known() -> Status {
    Status {
        heading: None,
        steering: Steering::Unknown,
        off: None,
        ground: None,
        position: None,
        rudder: None,
        supply: None,
        watchkeeper: None,
        variation: None,
        witnesses: Default::default(),
        judging: [Ok(()); AlertKind::ALL.len()],
        alerts: Default::default(),
    }
}

/// When the alarm of the samples was raised.
pub(crate) const STAMP: Stamp = Stamp { utc_ms: Some(1_783_995_069_300), since_start_ms: 812_300 };

/// Sources of these names.
pub(crate) fn sources(names: &[&str]) -> Sources {
    let source = |name: &&str| Source { name: (*name).into(), checksum: ChecksumPolicy::Required };
    Sources::new(names.iter().map(source).collect())
}

/// The compass says 152, ordered was 135: the alarm stands.
pub(crate) fn off_heading() -> AlertChange {
    let compass = |mdeg| Referred { bearing: Bearing::from_mdeg(mdeg), reference: Reference::Compass };
    let evidence = Evidence::OffHeading {
        heading: compass(152_100),
        ordered: compass(135_000),
        off: Turn::from_mdeg(17_100),
        lasting: Span::from_s(10),
        by: OrderedBy::Owner,
    };
    AlertChange { at: Instant::from_ms(812_300), ..alarm(AlertKind::OffHeading, evidence) }
}
