//! Lines that parsers get wrong, each with its right meaning.
//!
//! The table stands in the order of fixtures/parser-cases.txt, line by line, so that neither can
//! change without the other. No row has a published expected value: each meaning follows from the
//! field orders (E. S. Raymond, NMEA Revealed v2.24, and the tables of open parsers) and from the
//! rule that absent, half-present, out of range and zero are four different things.

mod reading;

use lubber_core::angle::TurnRate;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Refusal;
use lubber_core::sentence::Field::Absent;
use lubber_core::sentence::Field::Known;
use lubber_core::sentence::*;
use reading::*;

/// What a line means.
#[derive(Debug, PartialEq)]
enum Meaning {
    /// A sentence, every optional field of it absent or sound.
    Reads(Sentence<'static>),
    /// A sentence that is heard and refused: field and defect.
    Malformed(u8, Defect),
    /// No sentence at all.
    Refused(Refusal),
    /// The first part refused, the second read.
    RefusedThenReads(Refusal, Sentence<'static>),
}

use Meaning::Malformed;
use Meaning::Reads;
use Meaning::Refused;

fn hdt(mdeg: i64) -> Meaning {
    Reads(true_heading(mdeg))
}

/// A true heading with one digit after the point.
fn true_heading(mdeg: i64) -> Sentence<'static> {
    Sentence::Hdt(Hdt { heading: truth(mdeg), decimals: 1 })
}

fn hdg(mdeg: i64, deviation: Option<i32>, variation_mdeg: i32) -> Meaning {
    let deviation = deviation.map_or(Absent, turn);
    Reads(Sentence::Hdg(Hdg { heading: compass(mdeg), deviation, variation: variation(variation_mdeg), decimals: 1 }))
}

fn ths(heading: Field<lubber_core::heading::True>, mode: ThsMode, decimals: u8) -> Meaning {
    Reads(Sentence::Ths(Ths { heading, mode: Known(mode), decimals }))
}

fn rsa(starboard: Field<lubber_core::angle::Turn>, port: Field<lubber_core::angle::Turn>) -> Meaning {
    Reads(Sentence::Rsa(Rsa { starboard, port }))
}

/// `$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W`: year 94 is 1994.
fn rmc(mode: Field<Mode>, nav_status: Field<u8>) -> Meaning {
    Reads(Sentence::Rmc(Rmc {
        time: utc(12, 35, 19, 0),
        valid: Known(true),
        // 48 + 7.038/60; 11 + 31/60.
        position: at(481_173_000, 115_166_667),
        speed: knots(22_400),
        course: truth(84_400),
        date: date(1994, 3, 23),
        variation: variation(-3100),
        mode,
        nav_status,
    }))
}

#[rustfmt::skip]
fn meanings() -> Vec<(&'static str, Meaning)> {
    vec![
        // Empty: heard, no value, and nothing is wrong with it. Letters without values say nothing.
        ("$HEHDT,,T*01", Reads(Sentence::Hdt(Hdt::default()))),
        ("$HCHDG,,,,,*6C", Reads(Sentence::Hdg(Hdg::default()))),
        ("$TIROT,,V*02", Reads(Sentence::Rot(Rot::default()))),
        ("$IIRSA,,V,,V*40", rsa(Absent, Absent)),
        ("$VWVHW,,T,,M,,N,,K*54", Reads(Sentence::Vhw(Vhw::default()))),
        // The new form, though field 2 is not T: nine fields are no old form.
        ("$GPVTG,,,,,,,,,N*30", Reads(Sentence::Vtg(Vtg { mode: Known(Mode::NotValid), ..Vtg::default() }))),
        ("$GPRMC,,V,,,,,,,,,,N*53",
            Reads(Sentence::Rmc(Rmc { valid: Known(false), mode: Known(Mode::NotValid), ..Rmc::default() }))),
        ("$GPGGA,,,,,,0,,,,M,,M,,*66", Reads(Sentence::Gga(Gga { quality: Known(0), ..Gga::default() }))),
        ("$GPGLL,,,,,,V,N*64",
            Reads(Sentence::Gll(Gll { valid: Known(false), mode: Known(Mode::NotValid), ..Gll::default() }))),
        ("$GPZDA,,,,,,*48", Reads(Sentence::Zda(Zda::default()))),
        // Zero satellites are a count, not an absence.
        ("$GNGNS,,,,,,NNN,00,,,,,,V*67",
            Reads(Sentence::Gns(Gns { modes: b"NNN", satellites: Known(0), ..Gns::default() }))),
        // Without a checksum nothing says that the digits are whole.
        ("$HEHDT,123.4,T", Refused(Refusal::ChecksumMissing)),
        // Hex digits have no case. One rudder: the second is absent, whatever its status says.
        ("$IIRSA,-0.9,A,,V*5D", rsa(turn(-900), Absent)),
        // A deviation left empty with its letter is absent, not 0.0.
        ("$HCHDG,123.3,,,12.6,E*1f", hdg(123_300, None, 12_600)),
        ("$HCHDG,98.3,1.5,W,7.1,W*72", hdg(98_300, Some(-1500), -7100)),
        ("$HEHDT,135.9,T*21", hdt(135_900)),
        ("$GPVTG,136.01,T,123.40,M,6.633,N,12.285,K,A*1e", Reads(Sentence::Vtg(Vtg {
            course: truth(136_010),
            course_magnetic: magnetic(123_400),
            // The knots; 12.285 km/h would be 6.6334.
            speed: knots(6633),
            mode: Known(Mode::Autonomous),
        }))),
        // West and south are minus.
        ("$HCHDG,98.3,1.5,W,7.1,W*72", hdg(98_300, Some(-1500), -7100)),
        ("$GPRMC,123519.25,A,4807.038,S,01131.000,W,022.4,084.4,230394,003.1,W*4C", Reads(Sentence::Rmc(Rmc {
            time: utc(12, 35, 19, 250),
            valid: Known(true),
            position: at(-481_173_000, -115_166_667),
            speed: knots(22_400),
            course: truth(84_400),
            date: date(1994, 3, 23),
            variation: variation(-3100),
            mode: Absent,
            nav_status: Absent,
        }))),
        // 33 + 51.60127/60 = 33.8600212; 70 + 30/60.
        ("$GPGLL,3351.60127,S,07030.00000,W,225444.50,A,D*65", Reads(Sentence::Gll(Gll {
            position: at(-338_600_212, -705_000_000),
            time: utc(22, 54, 44, 500),
            valid: Known(true),
            mode: Known(Mode::Differential),
        }))),
        ("$GPTHS,77.52,A*30", ths(truth(77_520), ThsMode::Autonomous, 2)),
        // A value is there, and the talker says not to use it.
        ("$GPTHS,77.52,V*27", ths(invalid(), ThsMode::Invalid, 2)),
        ("$GPTHS,,V*0E", ths(Absent, ThsMode::Invalid, 0)),
        ("$IIRSA,10.5,A,-9.5,A*55", rsa(turn(10_500), turn(-9500))),
        // Each rudder has a status of its own.
        ("$IIRSA,10.5,V,-9.5,A*42", rsa(invalid(), turn(-9500))),
        ("$IIRSA,10.5,A,,V*4D", rsa(turn(10_500), Absent)),
        // Two fields: the talker of one rudder leaves the second out.
        ("$IIRSA,10.5,A*1B", rsa(turn(10_500), Absent)),
        ("$TIROT,-35.6,A*26", Reads(Sentence::Rot(Rot { rate: Known(TurnRate::from_centideg_per_min(-3560)) }))),
        ("$TIROT,35.6,V*1C", Reads(Sentence::Rot(Rot { rate: invalid() }))),
        // Three editions; the first part reads the same in each.
        ("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A", rmc(Absent, Absent)),
        ("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W,A*07",
            rmc(Known(Mode::Autonomous), Absent)),
        // The navigational status is kept and judges nothing: U and V leave the position standing,
        // since receivers that cannot state their integrity send V for good.
        ("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W,A,S*78",
            rmc(Known(Mode::Autonomous), Known(b'S'))),
        ("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W,A,C*68",
            rmc(Known(Mode::Autonomous), Known(b'C'))),
        ("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W,A,U*7E",
            rmc(Known(Mode::Autonomous), Known(b'U'))),
        ("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W,A,V*7D",
            rmc(Known(Mode::Autonomous), Known(b'V'))),
        // 55 + 24.8683/60; 12 + 55.7938/60. Variation absent, not zero.
        ("$GNRMC,050700.00,A,5524.8683,N,01255.7938,E,0.2,181.3,230623,,,R,V*21", Reads(Sentence::Rmc(Rmc {
            time: utc(5, 7, 0, 0),
            valid: Known(true),
            position: at(554_144_717, 129_298_967),
            speed: knots(200),
            course: truth(181_300),
            date: date(2023, 6, 23),
            variation: Absent,
            mode: Known(Mode::Rtk),
            nav_status: Known(b'V'),
        }))),
        // Before 2.3 there was no mode, and its absence says nothing against the course.
        ("$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48", Reads(Sentence::Vtg(Vtg {
            course: truth(54_700),
            course_magnetic: magnetic(34_400),
            speed: knots(5500),
            mode: Absent,
        }))),
        ("$GPVTG,054.7,T,,M,005.5,N,010.2,K,D*0D", Reads(Sentence::Vtg(Vtg {
            course: truth(54_700),
            course_magnetic: Absent,
            speed: knots(5500),
            mode: Known(Mode::Differential),
        }))),
        ("$HCHDM,238.5,M*25", Reads(Sentence::Hdm(Hdm { heading: magnetic(238_500), decimals: 1 }))),
        // Any talker is kept.
        ("$INHDT,33.3,T*16", hdt(33_300)),
        ("$IIHDT,33.3,T*11", hdt(33_300)),
        // One system of four has a fix: that is a fix. 38 + 44.24011/60; 9 + 8.43828/60.
        ("$GNGNS,112257.00,3844.24011,N,00908.43828,W,ANNN,08,1.03,10.5,48.0,,,V*36", Reads(Sentence::Gns(Gns {
            time: utc(11, 22, 57, 0),
            position: at(387_373_352, -91_406_380),
            modes: b"ANNN",
            satellites: Known(8),
            hdop: Known(103),
        }))),
        // 43 + 32.69262/60; 172 + 35.48549/60.
        ("$GNGNS,014035.00,4332.69262,S,17235.48549,E,RR,13,0.9,25.63,11.24,,*70", Reads(Sentence::Gns(Gns {
            time: utc(1, 40, 35, 0),
            position: at(-435_448_770, 1_725_914_248),
            modes: b"RR",
            satellites: Known(13),
            hdop: Known(90),
        }))),
        // More than 82 characters, and minutes to seven digits. 41 + 58.8441367/60 = 41.98073561;
        // 91 + 47.4416929/60 = 91.79069488.
        ("$GPGGA,115739.00,4158.8441367,N,09147.4416929,W,4,13,0.9,255.747,M,-32.00,M,01,0000*6E",
            Reads(Sentence::Gga(Gga {
                time: utc(11, 57, 39, 0),
                position: at(419_807_356, -917_906_949),
                quality: Known(4),
                satellites: Known(13),
                hdop: Known(90),
            }))),
        // Quality 8 is a simulator: the position is there and is no fix.
        ("$GPGGA,115739.00,4158.8441367,N,09147.4416929,W,8,13,0.9,255.747,M,-32.00,M,,*63",
            Reads(Sentence::Gga(Gga {
                time: utc(11, 57, 39, 0),
                position: invalid(),
                quality: Known(8),
                satellites: Known(13),
                hdop: Known(90),
            }))),
        // The leap second of 2016, and a zone whose minutes take the sign of the hours.
        ("$GPZDA,235960.00,31,12,2016,-05,30*42", Reads(Sentence::Zda(Zda {
            time: utc(23, 59, 60, 0),
            date: date(2016, 12, 31),
            zone_minutes: Known(-330),
        }))),
        // One digit of hours is a number like any other.
        ("$GPZDA,160012.71,11,03,2004,-1,00*7D", Reads(Sentence::Zda(Zda {
            time: utc(16, 0, 12, 710),
            date: date(2004, 3, 11),
            zone_minutes: Known(-60),
        }))),
        // Text that a library for floating point takes for a number. The talker's fault, and it
        // is named: none of these is a heading of 0.
        ("$HEHDT,nan,T*60", Malformed(1, Defect::NotANumber)),
        ("$HEHDT,inf,T*60", Malformed(1, Defect::NotANumber)),
        ("$HEHDT,1e3,T*66", Malformed(1, Defect::NotANumber)),
        // A plus changes nothing; talkers in the field send one.
        ("$HEHDT,+12.5,T*32", hdt(12_500)),
        ("$HEHDT,0x10,T*48", Malformed(1, Defect::NotANumber)),
        ("$HEHDT,12.3.4,T*05", Malformed(1, Defect::NotANumber)),
        // 400 is not 40: out of range is never wrapped.
        ("$HEHDT,400.0,T*2B", Malformed(1, Defect::OutOfRange)),
        // Latitude 99 degrees 61 minutes. The time 25:61:99 is bad too, but the position decides.
        ("$GPGLL,9961.0,N,00000.0,E,256199,A,A*40", Malformed(1, Defect::OutOfRange)),
        // A hemisphere X could be either, 96 degrees apart.
        ("$GPGLL,4807.038,X,01131.000,E,123519,A,A*5E", Malformed(1, Defect::UnknownLetter)),
        // HDT says true and the letter says magnetic: whichever is wrong, it is not a true heading.
        ("$HEHDT,33.3,M*05", Malformed(1, Defect::UnknownLetter)),
        // Newer editions add fields at the end.
        ("$HEHDT,33.3,T,extra*4A", hdt(33_300)),
        // What stands before the start character is no part of the line.
        ("xx$HEHDT,33.3,T*1C", hdt(33_300)),
        // The TAG block's exclusive or is 2C, not 1A: the block and its time are refused, and the
        // sentence after it, whole in itself, stands.
        (r"\s:GP01,c:1700000000*1A\$HEHDT,33.3,T*1C",
            Meaning::RefusedThenReads(Refusal::TagChecksum, true_heading(33_300))),
        // Cut short: at the line's end there is no checksum yet, so nothing is taken from it.
        ("$HEHDT,3", Refused(Refusal::ChecksumMissing)),
        // Two characters and none name no talker and formatter.
        ("$HE", Refused(Refusal::NoAddress)),
        ("$", Refused(Refusal::NoAddress)),
        ("$HEHDT*", Refused(Refusal::ChecksumMalformed)),
        // Its checksum is right: a sentence without any field. Heard, no value.
        ("$HEHDT*55", Reads(Sentence::Hdt(Hdt::default()))),
        ("$HEHDT,33.3,T*2", Refused(Refusal::ChecksumMalformed)),
        // A heading without its letter is half-present, and the checksum says that it was sent so.
        ("$HEHDT,33.3*64", Malformed(1, Defect::HalfPresent)),
        // A start character in mid-line: the first is lost, the second is whole.
        ("$HCHDG,123.4,$HEHDT,33.3,T*1C", Meaning::RefusedThenReads(Refusal::Interrupted, true_heading(33_300))),
    ]
}

#[test]
fn each_line_has_its_right_meaning() {
    let lines = fixture("parser-cases.txt");
    let meanings = meanings();
    let of_table: Vec<&str> = meanings.iter().map(|(line, _)| *line).collect();
    assert_eq!(lines, of_table, "the fixture and the table differ");
    for (text, meaning) in &meanings {
        let mut refused = None;
        let mut read = None;
        framed(text, ChecksumPolicy::Required, |line| match line {
            Err(refusal) => {
                assert_eq!((refused, read), (None, None), "{text}: more than was expected");
                refused = Some(refusal);
            }
            Ok(line) => {
                let ok = match (decode(line), meaning) {
                    (Ok(got), Reads(want) | Meaning::RefusedThenReads(_, want)) => {
                        assert_eq!(got, Decoded { sentence: *want, unusable: 0 }, "{text}");
                        true
                    }
                    (Err(got), Malformed(field, defect)) => (got.field, got.defect) == (*field, *defect),
                    (got, want) => panic!("{text}: {got:?}, not {want:?}"),
                };
                assert!(ok, "{text}: {:?}, not {meaning:?}", decode(line));
                assert_eq!(read.replace(()), None, "{text}: two sentences");
            }
        });
        let want = match meaning {
            Reads(_) | Malformed(..) => (None, Some(())),
            Refused(refusal) => (Some(*refusal), None),
            Meaning::RefusedThenReads(refusal, _) => (Some(*refusal), Some(())),
        };
        assert_eq!((refused, read), want, "{text}");
    }
}

#[test]
fn a_missing_checksum_passes_where_the_owner_says_so() {
    let mut read = 0;
    framed("$HEHDT,123.4,T", ChecksumPolicy::Optional, |line| {
        assert_eq!(decode(line.unwrap()), Ok(Decoded { sentence: true_heading(123_400), unusable: 0 }));
        read += 1;
    });
    assert_eq!(read, 1);
}

#[test]
fn talkers_are_kept() {
    for (text, talker) in [("$INHDT,33.3,T*16", "IN"), ("$IIHDT,33.3,T*11", "II"), ("$HCHDM,238.5,M*25", "HC")] {
        one(text, |line, _| assert_eq!(line.talker().as_str(), talker));
    }
}
