//! A sentence written from values reads back as the same values, over the whole of each range in
//! the table of bounds; and no body whatever makes a reader panic.

mod reading;

use lubber_core::bounds;
use lubber_core::bounds::Bounds;
use lubber_core::sentence::Field::Absent;
use lubber_core::sentence::Field::Known;
use lubber_core::sentence::*;
use proptest::prelude::*;
use reading::*;

const FORMATTERS: [&str; 30] = [
    "HDG", "HDM", "HDT", "THS", "ROT", "RSA", "VHW", "VTG", "RMC", "GGA", "GLL", "GNS", "ZDA", "XDR", "MWV", "MWD",
    "HTD", "HTC", "HSC", "APB", "XTE", "RMB", "ACN", "ACK", "HBT", "TXT", "ALR", "ALF", "ALC", "ARC",
];

/// A value of the table, or none.
fn maybe(bounds: &Bounds) -> impl Strategy<Value = Option<i64>> + use<> {
    proptest::option::weighted(0.9, bounds.min..=bounds.max)
}

/// A number with all the digits of its row, or nothing.
fn digits(value: Option<i64>, places: u8) -> String {
    let Some(value) = value else { return String::new() };
    let (sign, size) = (if value < 0 { "-" } else { "" }, value.unsigned_abs());
    let scale = 10u64.pow(u32::from(places));
    if places == 0 {
        return format!("{sign}{size}");
    }
    format!("{sign}{}.{:0width$}", size / scale, size % scale, width = usize::from(places))
}

/// A size and one of two letters, or two empty fields.
fn lettered(value: Option<i64>, places: u8, plus: char, minus: char) -> String {
    match value {
        None => ",".into(),
        Some(v) => format!("{},{}", digits(Some(v.abs()), places), if v < 0 { minus } else { plus }),
    }
}

/// Degrees and minutes: 1e-7 degree is exactly 6e-6 minutes.
fn position(lat_e7: i32, lon_e7: i32) -> String {
    let half = |e7: i32, width: usize, letters: [char; 2]| {
        let size = i64::from(e7).abs();
        let minutes = size % 10_000_000 * 6;
        let letter = letters[usize::from(e7 < 0)];
        format!("{:0width$}{:02}.{:06},{letter}", size / 10_000_000, minutes / 1_000_000, minutes % 1_000_000)
    };
    format!("{},{}", half(lat_e7, 2, ['N', 'S']), half(lon_e7, 3, ['E', 'W']))
}

fn clock(ms: u32) -> String {
    let s = ms / 1000;
    format!("{:02}{:02}{:02}.{:03}", s / 3600, s / 60 % 60, s % 60, ms % 1000)
}

fn read_back(body: &str, want: Sentence<'_>) {
    one(&sentence(body), |_, got| assert_eq!(got, Ok(Decoded { sentence: want, unusable: 0 }), "{body}"));
}

fn direction(mdeg: Option<i64>) -> Field<lubber_core::angle::Bearing> {
    mdeg.map_or(Absent, |v| Known(bearing(v % 360_000)))
}

fn angle(mdeg: Option<i64>) -> Field<lubber_core::angle::Turn> {
    mdeg.map_or(Absent, |v| turn(i32::try_from(v).unwrap()))
}

fn decimals(mdeg: Option<i64>) -> u8 {
    if mdeg.is_some() { 3 } else { 0 }
}

proptest! {
    // The same cases each time: a test that fails fails for everybody.
    #![proptest_config(ProptestConfig {
        rng_seed: proptest::test_runner::RngSeed::Fixed(2026),
        failure_persistence: None,
        ..ProptestConfig::with_cases(512)
    })]

    #[test]
    fn headings(heading in maybe(&bounds::BEARING), dev in maybe(&bounds::DEVIATION), var in maybe(&bounds::VARIATION),
                port in any::<bool>(), west in any::<bool>()) {
        use lubber_core::heading::{Compass, Magnetic, True, Variation};
        let dev = dev.map(|v| if port { -v } else { v });
        let var = var.map(|v| if west { -v } else { v });
        let text = digits(heading, 3);
        let decimals = decimals(heading);
        read_back(
            &format!("HCHDG,{text},{},{}", lettered(dev, 3, 'E', 'W'), lettered(var, 3, 'E', 'W')),
            Sentence::Hdg(Hdg {
                heading: direction(heading).map(Compass),
                deviation: angle(dev),
                variation: angle(var).map(Variation),
                decimals,
            }),
        );
        read_back(&format!("HCHDM,{text},M"), Sentence::Hdm(Hdm { heading: direction(heading).map(Magnetic), decimals }));
        read_back(&format!("HEHDT,{text},T"), Sentence::Hdt(Hdt { heading: direction(heading).map(True), decimals }));
        read_back(&format!("HETHS,{text},A"), Sentence::Ths(Ths {
            heading: direction(heading).map(True), mode: Known(ThsMode::Autonomous), decimals,
        }));
    }

    #[test]
    fn turns_and_rudders(rate in maybe(&bounds::RATE_OF_TURN), a in maybe(&bounds::RUDDER), b in maybe(&bounds::RUDDER)) {
        use lubber_core::angle::TurnRate;
        let known = rate.map_or(Absent, |v| Known(TurnRate::from_centideg_per_min(i32::try_from(v).unwrap())));
        read_back(&format!("TIROT,{},A", digits(rate, 2)), Sentence::Rot(Rot { rate: known }));
        read_back(
            &format!("IIRSA,{},A,{},A", digits(a, 3), digits(b, 3)),
            Sentence::Rsa(Rsa { starboard: angle(a), port: angle(b) }),
        );
    }

    #[test]
    fn courses_and_speeds(a in maybe(&bounds::BEARING), b in maybe(&bounds::BEARING), kn in maybe(&bounds::SPEED)) {
        use lubber_core::heading::{Magnetic, True};
        let speed = kn.map_or(Absent, knots);
        let (truth, magnetic) = (direction(a).map(True), direction(b).map(Magnetic));
        let four = format!("{},T,{},M,{},N,,K", digits(a, 3), digits(b, 3), digits(kn, 3));
        let decimals = decimals(a.or(b));
        read_back(&format!("VWVHW,{four}"), Sentence::Vhw(Vhw { truth, magnetic, speed, decimals }));
        read_back(&format!("GPVTG,{four},D"), Sentence::Vtg(Vtg {
            course: truth, course_magnetic: magnetic, speed, mode: Known(Mode::Differential),
        }));
        read_back(&format!("WIMWD,{},T,{},M,{},N,,M", digits(a, 3), digits(b, 3), digits(kn, 3)),
            Sentence::Mwd(Mwd { truth, magnetic, speed }));
        read_back(&format!("WIMWV,{},R,{},N,A", digits(a, 3), digits(kn, 3)),
            Sentence::Mwv(Mwv { angle: direction(a), relative: Known(true), speed }));
        read_back(&format!("APHSC,{},T,{},M", digits(a, 3), digits(b, 3)),
            Sentence::Hsc(Hsc { truth, magnetic, status: Absent }));
    }

    #[test]
    fn fixes(lat in -900_000_000..=900_000_000i32, lon in -1_800_000_000..=1_800_000_000i32, ms in 0..86_401_000u32,
             days in (1970u16..=2069, 1u8..=12, 1u8..=28), kn in maybe(&bounds::SPEED), course in maybe(&bounds::BEARING),
             var in maybe(&bounds::VARIATION), sats in maybe(&bounds::SATELLITES), hdop in maybe(&bounds::DILUTION)) {
        use lubber_core::heading::{True, Variation};
        // The last second of the range is the leap second, which is written as 23:59:60.
        let time = if ms < 86_400_000 { clock(ms) } else { format!("235960.{:03}", ms - 86_400_000) };
        let utc = Known(lubber_core::unit::TimeOfDay::from_ms(ms).unwrap());
        let (here, position) = (position(lat, lon), at(lat, lon));
        let (year, month, day) = days;
        read_back(
            &format!("GPRMC,{time},A,{here},{},{},{day:02}{month:02}{:02},{},A,V",
                digits(kn, 3), digits(course, 3), year % 100, lettered(var, 3, 'E', 'W')),
            Sentence::Rmc(Rmc {
                time: utc, valid: Known(true), position, speed: kn.map_or(Absent, knots),
                course: direction(course).map(True), date: date(year, month, day),
                variation: angle(var).map(Variation), mode: Known(Mode::Autonomous), nav_status: Known(b'V'),
            }),
        );
        let satellites = sats.map_or(Absent, |v| Known(u8::try_from(v).unwrap()));
        let dilution = hdop.map_or(Absent, |v| Known(u16::try_from(v).unwrap()));
        let tail = format!("{},{}", digits(sats, 0), digits(hdop, 2));
        read_back(&format!("GPGGA,{time},{here},2,{tail},1.0,M,2.0,M,,"),
            Sentence::Gga(Gga { time: utc, position, quality: Known(2), satellites, hdop: dilution }));
        read_back(&format!("GNGNS,{time},{here},AN,{tail},1.0,2.0,,,V"),
            Sentence::Gns(Gns { time: utc, position, modes: b"AN", satellites, hdop: dilution }));
        read_back(&format!("GPGLL,{here},{time},A,A"),
            Sentence::Gll(Gll { position, time: utc, valid: Known(true), mode: Known(Mode::Autonomous) }));
    }

    #[test]
    fn dates_and_zones(ms in 0..86_400_000u32, days in (1980u16..=2999, 1u8..=12, 1u8..=28), zone in -14 * 60 - 59..=14 * 60 + 59i16) {
        let (year, month, day) = days;
        let sign = if zone < 0 { "-" } else { "" };
        read_back(
            &format!("GPZDA,{},{day:02},{month:02},{year},{sign}{:02},{:02}", clock(ms), zone.abs() / 60, zone.abs() % 60),
            Sentence::Zda(Zda {
                time: Known(lubber_core::unit::TimeOfDay::from_ms(ms).unwrap()),
                date: date(year, month, day),
                zone_minutes: Known(zone),
            }),
        );
    }

    #[test]
    fn pilots(rudder in maybe(&bounds::RUDDER_COMMAND), port in any::<bool>(), limit in maybe(&bounds::HEADING_LIMIT),
              steer in maybe(&bounds::BEARING), heading in maybe(&bounds::BEARING), error in maybe(&bounds::CROSS_TRACK)) {
        let rudder = rudder.map(|v| if port { -v } else { v });
        let error = error.map(|v| if port { -v } else { v });
        let first = format!("V,{},H,N,,{},,,{},,,M",
            lettered(rudder, 3, 'R', 'L'), digits(limit, 3), digits(steer, 3));
        let control = HeadingControl {
            override_in_use: Known(false), rudder: angle(rudder), steering_mode: Known(b'H'),
            off_heading_limit: angle(limit), heading_to_steer: direction(steer),
            reference: Known(HeadingReference::Magnetic), ..HeadingControl::default()
        };
        read_back(&format!("APHTC,{first},C"), Sentence::Htc(Htc { status: Known(b'C'), ..control }));
        read_back(&format!("APHTD,{first},A,V,A,{}", digits(heading, 3)), Sentence::Htd(Htd {
            rudder_within_limit: Known(true), heading_within_limit: Known(false), track_within_limit: Known(true),
            vessel_heading: direction(heading), ..control
        }));
        let side = lettered(error, 3, 'R', 'L');
        read_back(&format!("GPXTE,A,A,{side},N,D"), Sentence::Xte(Xte {
            valid: Known(true), cycle_lock: Known(true),
            cross_track: error.map_or(Absent, |v| Known(i32::try_from(v).unwrap())), mode: Known(Mode::Differential),
        }));
    }

    /// No bytes at all make a reader panic, and an unread field is never counted.
    #[test]
    fn any_body_is_survived(at in 0..FORMATTERS.len(), body in r#"[ "\#%-)+-\[\]-~]{0,120}"#) {
        one(&sentence(&format!("II{},{body}", FORMATTERS[at])), |_, got| {
            let fields = body.matches(',').count() + 1;
            if let Ok(got) = got {
                assert!(usize::from(got.unusable) <= fields, "{body}: {} of {fields}", got.unusable);
                assert!(!matches!(got.sentence, Sentence::Other { .. }));
            }
        });
    }

    /// The same with fields that look right: numbers, letters, times.
    #[test]
    fn any_likely_body_is_survived(at in 0..FORMATTERS.len(),
                                   body in "((A|V|T|M|N|E|S|W|K|[+-]?[0-9]{0,5}(\\.[0-9]{0,9})?|[0-9]{6}(\\.[0-9]{2})?)?,){0,18}") {
        one(&sentence(&format!("II{},{body}", FORMATTERS[at])), |_, got| {
            if let Ok(got) = got {
                assert!(!matches!(got.sentence, Sentence::Other { .. }));
            }
        });
    }
}
