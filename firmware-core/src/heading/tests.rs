//! Heading algebra against published conversions and tables.

use super::card::point;
use super::*;
use std::vec::Vec;

fn m(deg: i32) -> Magnetic {
    Magnetic(Bearing::from_deg(deg))
}

/// A card that has one deviation on every heading.
fn flat(deg: i32) -> Card {
    Card::new(&[point(0, deg * 1000), point(180, deg * 1000)]).unwrap()
}

/// (compass, deviation, magnetic, variation, true), whole degrees, east plus.
///
/// Sources: nauticalive.com "Application of deviation" 3 and 4; tidalstreams.net "Compass examples"
/// 5 and 6; oceannavigator.com "Correcting from compass to true and back again" 1 to 3;
/// seasources.net compass course problems (leeway taken out) and NAVEDTRA 14221.
const CONVERSIONS: [(i32, i32, i32, i32, i32); 11] = [
    (18, 5, 23, -3, 20),
    (135, 6, 141, -4, 137),
    (274, -4, 270, -7, 263),
    (90, -8, 82, 12, 94),
    (29, 11, 40, 0, 40),
    (225, 8, 233, -22, 211),
    (195, 4, 199, -13, 186),
    (75, 5, 80, -10, 70),
    (170, 15, 185, -5, 180),
    (85, 10, 95, -5, 90),
    (315, 3, 318, -6, 312),
];

#[test]
fn published_conversions_both_ways() {
    for (compass, deviation, magnetic, variation, truth) in CONVERSIONS {
        let (compass, variation) = (Compass(Bearing::from_deg(compass)), Variation(Turn::from_deg(variation)));
        let card = flat(deviation);
        assert_eq!(compass.by_card(&card), m(magnetic));
        assert_eq!(m(magnetic).to_true(variation), True(Bearing::from_deg(truth)));
        assert_eq!(True(Bearing::from_deg(truth)).to_magnetic(variation), m(magnetic));
        assert_eq!(m(magnetic).to_compass(&card), compass);
    }
}

/// Handbook of Magnetic Compass Adjustment (NGA, 2004), art. 501, data of figure 501.
const HANDBOOK: [(i32, i32); 8] = [
    (0, 10_500),
    (45, 20_000),
    (90, 11_500),
    (135, -1_200),
    (180, -5_500),
    (225, -8_000),
    (270, -12_500),
    (315, -6_800),
];

#[test]
fn the_handbook_table_at_its_points_and_through_north() {
    let points: Vec<_> = HANDBOOK.iter().map(|&(c, d)| point(c, d)).collect();
    let card = Card::new(&points).unwrap();
    for (compass, deviation) in HANDBOOK {
        assert_eq!(card.deviation(Compass(Bearing::from_deg(compass))).as_mdeg(), deviation);
    }
    // Half-way between 315 (-6.8) and 000 (+10.5): computed by hand, (-6.8 + 10.5) / 2 = 1.85.
    assert_eq!(card.deviation(Compass(Bearing::from_mdeg(337_500))).as_mdeg(), 1_850);
    assert_eq!(card.greatest().deviation.as_mdeg(), 20_000);
}

#[test]
fn the_inverse_undoes_the_card_everywhere() {
    let points: Vec<_> = HANDBOOK.iter().map(|&(c, d)| point(c, d)).collect();
    let card = Card::new(&points).unwrap();
    for mdeg in (0..360_000).step_by(137) {
        let compass = Compass(Bearing::from_mdeg(mdeg));
        let back = compass.by_card(&card).to_compass(&card);
        // One millidegree of magnetic is at most 1 / 0.2 of compass; this card's least slope is 0.61.
        assert!(compass.0.turn_to(back.0).size().as_mdeg() <= 2, "{mdeg}: {back:?}");
        let magnetic = Magnetic(Bearing::from_mdeg(mdeg));
        let again = magnetic.to_compass(&card).by_card(&card);
        assert!(magnetic.0.turn_to(again.0).size().as_mdeg() <= 1, "{mdeg}: {again:?}");
    }
}

/// USCG deck examination question "You swung ship and compared the magnetic compass against the
/// gyro compass", gyro error 2 W, variation 8 W (readings from seatrials.net): psc, pgc in tenths.
const GYRO_SWING: [(i64, i64); 12] = [
    (305, 240),
    (615, 540),
    (920, 840),
    (1225, 1140),
    (1520, 1440),
    (1810, 1740),
    (2100, 2040),
    (2395, 2340),
    (2690, 2640),
    (2980, 2940),
    (3275, 3240),
    (3585, 3540),
];

#[test]
fn the_twelve_heading_gyro_swing() {
    let points: Vec<_> = GYRO_SWING
        .iter()
        .map(|&(psc, pgc)| {
            let compass = Compass(Bearing::from_mdeg(psc * 100));
            let truth = True(Bearing::from_mdeg((pgc - 20) * 100));
            let magnetic = truth.to_magnetic(Variation(Turn::from_deg(-8)));
            CardPoint { compass, deviation: compass.0.turn_to(magnetic.0) }
        })
        .collect();
    let deviations: Vec<_> = points.iter().map(|p| p.deviation.as_mdeg()).collect();
    assert_eq!(deviations, [-500, -1500, -2000, -2500, -2000, -1000, 0, 500, 1000, 2000, 2500, 1500]);
    let card = Card::new(&points).unwrap();
    // Question 2: psc 210 has no deviation. Question 1: M 064 has 1.567 W by a line between M 060 and M 090.
    assert_eq!(card.deviation(Compass(Bearing::from_deg(210))), Turn::ZERO);
    let compass = m(64).to_compass(&card);
    let deviation = compass.0.turn_to(m(64).0).as_mdeg();
    assert!((deviation + 1_567).abs() <= 1, "{deviation}");
}

/// Aircraft compass compensation worksheets Q1 to Q3 (pdfslide.us, pdfcoffee.com): check swings,
/// (magnetic, compass) from NW clockwise to W, and the deviations printed for them.
type Worksheet = ([(i32, i32); 8], [i32; 8]);
const WORKSHEETS: [Worksheet; 3] = [
    (
        [(317, 316), (0, 358), (47, 42), (93, 89), (135, 134), (179, 177), (225, 220), (273, 269)],
        [1, 2, 5, 4, 1, 2, 5, 4],
    ),
    (
        [(318, 316), (1, 0), (49, 47), (92, 89), (137, 135), (182, 181), (229, 227), (276, 273)],
        [2, 1, 2, 3, 2, 1, 2, 3],
    ),
    (
        [(317, 316), (0, 358), (48, 47), (89, 89), (136, 135), (183, 181), (224, 223), (270, 270)],
        [1, 2, 1, 0, 1, 2, 1, 0],
    ),
];

#[test]
fn the_three_worksheets() {
    for (readings, printed) in WORKSHEETS {
        let points: Vec<_> = readings
            .iter()
            .map(|&(magnetic, compass)| {
                let compass = Compass(Bearing::from_deg(compass));
                CardPoint { compass, deviation: compass.0.turn_to(m(magnetic).0) }
            })
            .collect();
        let deviations: Vec<_> = points.iter().map(|p| p.deviation.as_mdeg() / 1000).collect();
        assert_eq!(deviations, printed);
        let card = Card::new(&points).unwrap();
        for (magnetic, compass) in readings {
            assert_eq!(m(magnetic).to_compass(&card), Compass(Bearing::from_deg(compass)));
        }
    }
}

#[test]
fn a_published_wrap_around_error_is_not_repeated() {
    // A student report (zanotowane.pl/9/3255/844.php) prints "315.0" for magnetic 315, compass 000,
    // and an A of 43.63 from it. The right deviation is -45 and the right A is -1.375.
    let compass = [40, 67, 92, 118, 143, 181, 270, 0];
    let deviations: Vec<_> = compass
        .iter()
        .zip((0..8).map(|i| i * 45))
        .map(|(&c, magnetic)| Bearing::from_deg(c).turn_to(Bearing::from_deg(magnetic)).as_mdeg())
        .collect();
    assert_eq!(deviations[7], -45_000);
    assert_eq!(deviations.iter().sum::<i32>() / 8, -1_375);
}

#[test]
fn cards_that_cannot_be() {
    assert_eq!(Card::new(&[]), Err(CardError::TooFew));
    assert_eq!(Card::new(&[point(10, 0)]), Err(CardError::TooFew));
    let many: Vec<_> = (0..73).map(|i| point(i * 4, 0)).collect();
    assert_eq!(Card::new(&many), Err(CardError::TooMany));
    let twice = Card::new(&[point(10, 0), point(90, 0), point(370, 1000)]);
    assert_eq!(twice, Err(CardError::Twice { compass: Compass(Bearing::from_deg(10)) }));
    assert!(matches!(Card::new(&[point(0, 0), point(90, 91_000)]), Err(CardError::TooLarge { .. })));
    // Slope exactly 0.2 (deviation falls by 72 in 90) is refused, a hair more is taken.
    assert!(matches!(Card::new(&[point(0, 36_000), point(90, -36_000)]), Err(CardError::Folded { .. })));
    assert!(Card::new(&[point(0, 35_999), point(90, -36_000)]).is_ok());
    // The fold may lie across north.
    assert!(matches!(Card::new(&[point(350, 10_000), point(10, -10_000)]), Err(CardError::Folded { .. })));
}
