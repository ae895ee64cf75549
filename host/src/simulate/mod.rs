//! The invented boat with a known truth: makes logs for the demo, the tests and the benches.
//!
//! A [`Voyage`] is a pure function of its [`Settings`]: no clock, no file, no chance but its seed,
//! and the same bytes on every machine. It knows what really is ([`Truth`]) and says what the gear
//! makes of it: plain NMEA 0183.
//!
//! ```text
//! script -> pilot -> rudder -> hull -> true heading -> + sea's yaw -> heading sensor -> HDG
//!             ^                  |                                        |
//!             |                  +-> track, current, leeway -> receiver -> RMC VTG GGA
//!             +--------------------- what the sensor reads <--------------+
//! ```
//!
//! The pilot steers by its own heading sensor alone, so a false compass turns the boat while the
//! sensor goes on reading the ordered course.
//!
//! ```
//! use lubber::simulate::{Heard, Settings, Voyage};
//!
//! let settings = Settings { length_ms: 10_000, ..Settings::demo() };
//! let mut voyage = Voyage::new(settings)?;
//! let mut log = Vec::new();
//! while let Some(truth) = voyage.step(&mut |heard| {
//!     if let Heard::Line { bytes, .. } = heard {
//!         log.extend_from_slice(bytes);
//!     }
//! }) {
//!     assert!((120.0..160.0).contains(&truth.heading_true_deg));
//! }
//! assert!(log.starts_with(b"$HCHDG,"));
//! # Ok::<(), lubber::simulate::SettingsError>(())
//! ```

mod chance;
mod check;
mod damage;
mod exact;
mod happening;
mod hull;
mod pilot;
mod ramp;
mod script;
mod sensor;
mod settings;
mod speak;
pub mod swing;
mod talk;
mod truth;
mod voyage;
mod weather;
mod wire;

pub use check::SettingsError;
pub use happening::{Change, Happening, Whom};
pub use script::{Event, ScriptError, demo, duration};
pub use settings::{Boat, Gear, Kind, Rot, Second, Sentence, Settings, Steering, Waters};
pub use truth::{Cue, Truth, head};
pub use voyage::{Heard, STEP_MS, Voyage};
pub use wire::Stamps;
