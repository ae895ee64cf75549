//! The quiet days and the faults: what is sailed, by seed, and what is to be raised.

use lubber::simulate::Change;
use lubber::simulate::Event;
use lubber::simulate::Happening;
use lubber::simulate::Kind;
use lubber::simulate::Rot;
use lubber::simulate::Second;
use lubber::simulate::Sentence;
use lubber::simulate::Settings as Boat;
use lubber::simulate::Steering;
use lubber::simulate::Whom;
use lubber_core::alert::AlertKind;
use lubber_core::angle::Bearing;
use lubber_core::angle::Turn;
use lubber_core::heading::Card;
use lubber_core::heading::CardPoint;
use lubber_core::heading::Compass;
use lubber_core::monitor::Settings as Watch;
use lubber_core::picture::Command;
use lubber_core::picture::Reference;
use lubber_core::picture::Referred;

use crate::passage::at;
use crate::passage::boat;

pub(crate) const DAY_MS: u64 = 86_400_000;
const MINUTE_MS: u64 = 60_000;
const HOUR_MS: u64 = 3_600_000;

/// One voyage and the watch kept on it.
pub(crate) struct Sailing {
    pub(crate) boat: Boat,
    pub(crate) watch: Watch,
    pub(crate) command: Option<Command>,
    /// When the satellite receiver has no fix: position-lost is right then, and only then.
    pub(crate) outage_ms: std::ops::Range<u64>,
}

/// Numbers from 0 up to 1 that the seed alone decides, apart from those the voyage itself draws.
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((mixed ^ (mixed >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.roll()
    }

    fn ms(&mut self, low: u64, high: u64) -> u64 {
        // Happenings fall on the steps of the model.
        self.between(low as f64, high as f64) as u64 / 100 * 100
    }
}

/// A day on which all is well: steered by course or by wind, in seas of 0.5 to 3.5 degrees rms of
/// yaw that grow and fall, with squalls, a tide and fronts of current, a slow stretch, a fjord
/// without satellites, a variation that changes, midnight, and on some a leap second.
pub(crate) fn quiet_day(seed: u64) -> Sailing {
    let mut dice = Dice(seed);
    let second = [Second::None, Second::Copy, Second::Independent][(seed % 3) as usize];
    let by_wind = seed % 4 == 3;
    let mut sailing = fitted(seed, second, (seed / 2).is_multiple_of(2));
    let boat = &mut sailing.boat;
    boat.length_ms = DAY_MS;
    boat.waters.tide_kn = dice.between(0.0, 0.8);
    boat.waters.tide_phase_deg = dice.between(0.0, 360.0);
    boat.waters.variation_gradient = [dice.between(-0.5, 0.5), dice.between(-0.5, 0.5)];
    if by_wind {
        boat.steering = Steering::Wind(45.0);
        sailing.command = Some(Command::SteerWind);
    }
    let mut every = |low: u64, high: u64, what: &mut dyn FnMut(&mut Dice) -> (Happening, Option<u64>)| {
        let mut when = dice.ms(low / 2, high);
        while when < DAY_MS {
            let (happening, lasts_ms) = what(&mut dice);
            boat.events.push(Event { lasts_ms, ..at(when, happening) });
            when += dice.ms(low, high);
        }
    };
    let runs = |to, over_ms| (Happening::Runs { to, over_ms }, None);
    let mut course = 135.0;
    every(20 * MINUTE_MS, if by_wind { 100 } else { 60 } * MINUTE_MS, &mut |dice| {
        course = (course + dice.between(-120.0, 120.0)).rem_euclid(360.0);
        (if by_wind { Happening::Tack } else { Happening::Order((course * 10.0_f64).round() / 10.0) }, None)
    });
    every(HOUR_MS, 3 * HOUR_MS, &mut |dice| {
        runs(Change::Sea(dice.between(0.5, 3.5)), dice.ms(10 * MINUTE_MS, HOUR_MS))
    });
    every(2 * HOUR_MS, 6 * HOUR_MS, &mut |dice| {
        let to = Change::Current(dice.between(0.0, 360.0), dice.between(0.0, 1.2));
        runs(to, dice.ms(5 * MINUTE_MS, 40 * MINUTE_MS))
    });
    every(HOUR_MS, 3 * HOUR_MS, &mut |dice| {
        (Happening::Gust(dice.between(1.2, 1.7)), Some(dice.ms(MINUTE_MS, 10 * MINUTE_MS)))
    });
    let speed_kn = sailing.boat.boat.speed_kn;
    let slow = dice.ms(2 * HOUR_MS, 20 * HOUR_MS);
    let boat = &mut sailing.boat;
    for (when, knots) in [(slow, 1.1), (slow + 25 * MINUTE_MS, speed_kn)] {
        let happening = Happening::Runs { to: Change::Speed(knots), over_ms: 4 * MINUTE_MS };
        boat.events.push(at(when, happening));
    }
    // She is slow because there is little wind.
    boat.events.push(Event { lasts_ms: Some(25 * MINUTE_MS), ..at(slow, Happening::Gust(0.4)) });
    let outage = dice.ms(HOUR_MS, 23 * HOUR_MS);
    let lasts = dice.ms(2 * MINUTE_MS, 12 * MINUTE_MS);
    boat.events.push(Event { lasts_ms: Some(lasts), ..at(outage, Happening::GpsLost) });
    sailing.outage_ms = outage..outage + lasts + MINUTE_MS;
    if seed.is_multiple_of(5) {
        let midnight = DAY_MS - boat.start_unix_ms.rem_euclid(DAY_MS as i64) as u64;
        boat.events.push(at(midnight, Happening::LeapSecond));
    }
    sailing
}

/// The boat of the seed with all the gear that can go wrong, and a watch that knows of it.
fn fitted(seed: u64, second: Second, gyro: bool) -> Sailing {
    let mut boat = boat(seed, second);
    boat.sentences.push(Sentence { kind: Kind::Xdr, every_ms: 5000 });
    (boat.boat.heel_deg, boat.boat.gust_response) = (12.0, 0.8);
    boat.waters.gust_rms = 0.12;
    // After a large turn the helm is another: a good pilot finds it before anybody worries.
    boat.gear.pilot_trim_s = 20.0;
    (boat.gear.rudder_noise_deg, boat.gear.rudder_offset_deg) = (0.2, (seed % 5) as f64 * 0.5 - 1.0);
    if gyro {
        (boat.gear.rot, boat.gear.gyro_noise_dps) = (Rot::Gyro, 0.05);
    }
    let watch = Watch { source_count: 1, rot_is_gyro: gyro, card: Some(card(&boat)), ..Watch::default() };
    Sailing { boat, watch, command: None, outage_ms: 0..0 }
}

/// The true card of the boat's heading sensor.
fn card(boat: &Boat) -> Card {
    let [a, b, c, d, e] = boat.gear.deviation;
    let points: Vec<CardPoint> = (0..72)
        .map(|n| {
            let degrees = f64::from(n) * 5.0;
            let (sine, cosine) = degrees.to_radians().sin_cos();
            let (sine2, cosine2) = (2.0 * degrees).to_radians().sin_cos();
            let deviation = a + b * sine + c * cosine + d * sine2 + e * cosine2;
            let compass = Compass(Bearing::from_deg(n * 5));
            CardPoint { compass, deviation: Turn::from_mdeg((deviation * 1000.0).round() as i32) }
        })
        .collect();
    Card::new(&points).unwrap()
}

/// From when a delay is counted.
#[derive(Clone, Copy)]
pub(crate) enum From {
    /// From the fault itself.
    Fault,
    /// From when the true heading, averaged over the yaw, has turned by so many degrees.
    Turned(f64),
}

/// A kind of fault: how it is made and what is to be raised, how soon.
pub(crate) struct Fault {
    pub(crate) name: &'static str,
    pub(crate) kind: AlertKind,
    /// What is right to be raised as well: what the fault does to the boat, or to another comparison.
    pub(crate) also: &'static [AlertKind],
    pub(crate) from: From,
    /// 90 % are to be found within so many seconds.
    pub(crate) bar_s: Option<f64>,
    /// How long it may go on before it counts as missed.
    pub(crate) within_ms: u64,
    /// Which of the bounds stands beside it.
    pub(crate) bound: Option<Bounded>,
    second: Second,
    gyro: bool,
    make: fn(u64, &mut Sailing, f64),
}

/// The faults that a bound is known for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Bounded {
    StepTwoHeadings,
    StepGps,
    CreepTwoHeadings,
    CreepGps,
    OffHeading,
}

/// The error of the false compasses in degrees, how long it takes to arrive, and how fast the creeping one creeps.
pub(crate) const FALSE_DEG: f64 = 15.0;
pub(crate) const FALSE_OVER_MS: u64 = 20_000;
pub(crate) const CREEP_DPS: f64 = 0.06;

impl Fault {
    /// When the fault comes: after ten minutes and a little.
    pub(crate) fn at_ms(seed: u64) -> u64 {
        10 * MINUTE_MS + seed % 1200 * 100
    }

    /// The sailing of the seed.
    pub(crate) fn sailing(&self, seed: u64) -> Sailing {
        let mut sailing = fitted(seed, self.second, self.gyro);
        let at_ms = Self::at_ms(seed);
        sailing.boat.length_ms = at_ms + self.within_ms;
        (self.make)(at_ms, &mut sailing, if seed.is_multiple_of(2) { 1.0 } else { -1.0 });
        sailing
    }
}

fn add(sailing: &mut Sailing, at_ms: u64, happening: Happening) {
    sailing.boat.events.push(at(at_ms, happening));
}

/// A new course ordered half a minute after the fault, so that there is something to answer.
fn and_order(sailing: &mut Sailing, at_ms: u64, side: f64) {
    add(sailing, at_ms + 30_000, Happening::Order(135.0 + 40.0 * side));
}

fn false_compass(at_ms: u64, sailing: &mut Sailing, side: f64) {
    add(sailing, at_ms, Happening::FalseCompass { error_deg: FALSE_DEG * side, over_ms: FALSE_OVER_MS });
}

fn creep(at_ms: u64, sailing: &mut Sailing, side: f64) {
    let over_ms = 1_000_000;
    add(sailing, at_ms, Happening::FalseCompass { error_deg: CREEP_DPS * 1000.0 * side, over_ms });
}

macro_rules! happens {
    ($happening:ident) => {
        |at_ms, sailing, _| add(sailing, at_ms, Happening::$happening)
    };
    ($happening:ident then order) => {
        |at_ms, sailing, side| {
            add(sailing, at_ms, Happening::$happening);
            and_order(sailing, at_ms, side);
        }
    };
    ($to:expr, $over_ms:expr) => {
        |at_ms, sailing, side| add(sailing, at_ms, Happening::Runs { to: $to(side), over_ms: $over_ms })
    };
}

/// Every fault.
pub(crate) fn faults() -> Vec<Fault> {
    let plain = |name, kind, make| Fault {
        name,
        kind,
        also: match kind {
            AlertKind::RudderUnanswered => &[AlertKind::OffHeading],
            AlertKind::OffHeading => &[AlertKind::RudderUnanswered],
            AlertKind::HeadingFrozen | AlertKind::CardDoubtful => &[AlertKind::HeadingDisagreement],
            AlertKind::InputLost => &[AlertKind::HeadingLost, AlertKind::PositionLost, AlertKind::RudderLost],
            _ => &[],
        },
        from: From::Fault,
        bar_s: None,
        within_ms: 20 * MINUTE_MS,
        bound: None,
        second: Second::None,
        gyro: false,
        make,
    };
    let two = Second::Independent;
    let (disagree, off) = (AlertKind::HeadingDisagreement, AlertKind::OffHeading);
    let rudder = AlertKind::RudderUnanswered;
    let gyro = AlertKind::TurnRateDisagreement;
    vec![
        Fault {
            from: From::Turned(FALSE_DEG / 2.0),
            bar_s: Some(15.0),
            second: two,
            bound: Some(Bounded::StepTwoHeadings),
            ..plain("false compass 15 deg, two headings", disagree, false_compass)
        },
        Fault {
            from: From::Turned(FALSE_DEG / 2.0),
            bar_s: Some(45.0),
            bound: Some(Bounded::StepGps),
            ..plain("false compass 15 deg, GPS only", disagree, false_compass)
        },
        Fault {
            // 12 degrees of error at 0.06 degrees a second.
            bar_s: Some(200.0),
            second: two,
            bound: Some(Bounded::CreepTwoHeadings),
            ..plain("creeping compass, two headings", disagree, creep)
        },
        Fault { bound: Some(Bounded::CreepGps), ..plain("creeping compass, GPS only", disagree, creep) },
        Fault {
            second: two,
            ..plain(
                "second heading false by 15 deg",
                disagree,
                happens!(|side: f64| Change::FalseSecond(15.0 * side), 20_000),
            )
        },
        Fault {
            second: two,
            ..plain("GPS course false by 15 deg", disagree, happens!(|side: f64| Change::FalseGps(15.0 * side), 20_000))
        },
        Fault {
            from: From::Turned(15.0),
            bar_s: Some(20.0),
            bound: Some(Bounded::OffHeading),
            ..plain("pilot lets go", off, happens!(PilotLetsGo))
        },
        Fault {
            from: From::Turned(15.0),
            ..plain("course changed by 30 deg, unordered", off, |at_ms, sailing, side| {
                sailing.boat.sentences.retain(|sentence| sentence.kind != Kind::Htd);
                let order = Referred { bearing: Bearing::from_deg(135), reference: Reference::Compass };
                sailing.command = Some(Command::Steer(order));
                add(sailing, at_ms, Happening::Order(135.0 + 30.0 * side));
            })
        },
        Fault { bar_s: Some(3.0), ..plain("heading lost", AlertKind::HeadingLost, happens!(HeadingLost)) },
        Fault { bar_s: Some(3.0), ..plain("heading void", AlertKind::HeadingLost, happens!(HeadingVoid)) },
        Fault {
            from: From::Turned(5.0),
            bar_s: Some(20.0),
            ..plain("heading frozen, GPS only", AlertKind::HeadingFrozen, happens!(HeadingFrozen))
        },
        Fault {
            from: From::Turned(5.0),
            bar_s: Some(20.0),
            second: two,
            ..plain("heading frozen, two headings", AlertKind::HeadingFrozen, happens!(HeadingFrozen))
        },
        plain("position lost", AlertKind::PositionLost, happens!(GpsLost)),
        plain("line silent", AlertKind::InputLost, |at_ms, sailing, _| {
            add(sailing, at_ms, Happening::Silence(Whom::ALL));
        }),
        plain("a quarter of the lines damaged", AlertKind::InputDamaged, |at_ms, sailing, _| {
            add(sailing, at_ms, Happening::LineNoise(0.25));
        }),
        plain("rudder sensor silent", AlertKind::RudderLost, happens!(RudderLost)),
        plain("rudder sensor void", AlertKind::RudderLost, happens!(RudderVoid)),
        plain("rudder jammed, course ordered", rudder, happens!(RudderStuck then order)),
        plain("steering cable parted, course ordered", rudder, happens!(CableBroken then order)),
        plain("rudder sensor reversed, course ordered", rudder, happens!(RudderReversed then order)),
        Fault {
            gyro: true,
            ..plain("gyro out by 1.5 deg/s", gyro, happens!(|side: f64| Change::GyroBias(1.5 * side), 10_000))
        },
        Fault { gyro: true, ..plain("gyro stuck, course ordered", gyro, happens!(GyroStuck then order)) },
        Fault {
            within_ms: 6 * HOUR_MS,
            second: two,
            ..plain("magnet near the sensor, 8 deg in an hour", AlertKind::CardDoubtful, |at_ms, sailing, side| {
                let to = Change::Magnet(8.0 * side, 0.0);
                add(sailing, at_ms, Happening::Runs { to, over_ms: HOUR_MS });
                for n in 1..12 {
                    let course = (135.0 + 90.0 * n as f64).rem_euclid(360.0);
                    add(sailing, at_ms + n * 30 * MINUTE_MS, Happening::Order(course));
                }
            })
        },
        plain("battery sags to 10.8 V", AlertKind::SupplyLow, happens!(|_: f64| Change::Battery(10.8), 5 * MINUTE_MS)),
    ]
}
