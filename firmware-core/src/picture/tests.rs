//! The picture from sentences: which heading, against which north, compared with which order.

use super::*;
use crate::angle::Bearing;
use crate::frame::ChecksumPolicy;
use crate::frame::Framed;
use crate::frame::Framer;
use crate::heading::CardPoint;
use crate::heading::Compass;
use crate::heading::Magnetic;
use crate::heading::True;
use crate::sentence::decode;

/// Feeds sentences without `$` and checksum at `s` seconds.
fn feed(picture: &mut Picture, s: u64, sentences: &[&str]) {
    let now = Instant::from_ms(s * 1000);
    let mut framer = Framer::new(ChecksumPolicy::Optional);
    for sentence in sentences {
        framer.feed(std::format!("${sentence}\r\n").as_bytes(), &mut |framed| {
            let Framed::Line(line) = framed else { panic!("{framed:?}") };
            let decoded = decode(&line).unwrap();
            picture.take(now, SourceId(0), &line, &decoded.sentence);
        });
    }
    picture.step(now, true);
}

fn picture(settings: HeadingSettings) -> Picture {
    Picture::new(Instant::from_ms(0), settings)
}

fn at(s: u64) -> Instant {
    Instant::from_ms(s * 1000)
}

fn deg(deg: i32) -> Bearing {
    Bearing::from_deg(deg)
}

fn card(deviation: i32) -> Card {
    let point = |c| CardPoint { compass: Compass(deg(c)), deviation: Turn::from_deg(deviation) };
    Card::new(&[point(0), point(180)]).unwrap()
}

fn primary(picture: &Picture) -> Option<std::string::String> {
    picture.primary().map(|channel| std::format!("{}", channel.origin))
}

#[test]
fn an_order_whose_pilot_says_it_stands_by_is_held_and_says_so() {
    let ordered_by = |p: &Picture, s| match p.steering(at(s)) {
        Steering::Heading { order, by, held } => Some((order.bearing, by, held)),
        _ => None,
    };
    let htd = |mode: &str| std::format!("AGHTD,V,,,{mode},,,,,,135.0,,,M,A,A,A,135.0");
    let origin = Origin {
        source: SourceId(0),
        talker: crate::frame::Talker(*b"AG"),
        formatter: crate::frame::Formatter(*b"HTD"),
    };
    let mut p = picture(HeadingSettings::default());
    feed(&mut p, 1, &[&htd("M")]);
    assert_eq!(p.steering(at(1)), Steering::Unknown, "nothing was ordered before");
    feed(&mut p, 2, &[&htd("S")]);
    assert_eq!(ordered_by(&p, 2), Some((deg(135), OrderedBy::Wire(origin), false)));
    for (s, mode) in [(3, "M"), (4, "R"), (9, "M")] {
        feed(&mut p, s, &[&htd(mode)]);
        assert_eq!(ordered_by(&p, s), Some((deg(135), OrderedBy::StoodBy(origin), s > 5)), "{mode}");
    }
    feed(&mut p, 10, &[&htd("S")]);
    assert_eq!(ordered_by(&p, 10), Some((deg(135), OrderedBy::Wire(origin), false)));
    // The owner's word is his own.
    feed(&mut p, 11, &[&htd("M")]);
    p.command(at(11), Command::SteerHand);
    assert_eq!(p.steering(at(11)), Steering::Hand);
}

#[test]
fn the_best_heading_heard_in_the_first_ten_seconds_is_kept() {
    let mut p = picture(HeadingSettings::default());
    feed(&mut p, 1, &["IIVHW,,,100,M,5.0,N,,", "GPHDT,104.0,T"]);
    assert_eq!(primary(&p).as_deref(), Some("GPHDT"));
    feed(&mut p, 2, &["HCHDG,100.0,,,4.0,E"]);
    assert_eq!(primary(&p).as_deref(), Some("HCHDG"));
    // After that a better one no longer replaces it in silence.
    let mut p = picture(HeadingSettings::default());
    feed(&mut p, 1, &["GPHDT,104.0,T"]);
    feed(&mut p, 11, &["GPHDT,104.0,T", "HCHDG,100.0,,,4.0,E"]);
    assert_eq!(primary(&p).as_deref(), Some("GPHDT"));
    // Unless it is gone before anybody came to rely on it, and stays away: four of its intervals and ten seconds.
    feed(&mut p, 62, &["HCHDG,100.0,,,4.0,E"]);
    assert_eq!(primary(&p).as_deref(), Some("HCHDG"));
}

#[test]
fn the_named_heading_is_the_one_even_if_it_comes_late() {
    let mut p = picture(HeadingSettings { primary: Name::parse("IIHDM"), ..HeadingSettings::default() });
    feed(&mut p, 1, &["HCHDG,100.0,,,4.0,E"]);
    assert_eq!(primary(&p), None);
    feed(&mut p, 60, &["IIHDM,101.0,M"]);
    assert_eq!(primary(&p).as_deref(), Some("IIHDM"));
}

#[test]
fn a_heading_in_every_reference() {
    let mut p = picture(HeadingSettings { card: Some(card(3)), ..HeadingSettings::default() });
    feed(&mut p, 1, &["HCHDG,358.0,0.0,E,4.0,E"]);
    let heading = p.heading(at(1)).unwrap();
    assert_eq!(heading.compass, Some(Compass(deg(358))));
    assert_eq!(heading.magnetic, Some(Magnetic(deg(1))));
    assert_eq!(heading.truth, Some(True(deg(5))));
    assert_eq!(heading.correction, Correction::Card);
}

#[test]
fn hdm_with_a_card_is_a_compass_and_hdt_never_takes_one() {
    let mut p = picture(HeadingSettings { card: Some(card(3)), ..HeadingSettings::default() });
    feed(&mut p, 1, &["IIHDM,100.0,M"]);
    assert_eq!(p.heading(at(1)).unwrap().magnetic, Some(Magnetic(deg(103))));
    let mut p = picture(HeadingSettings::default());
    feed(&mut p, 1, &["IIHDM,100.0,M"]);
    assert_eq!(p.heading(at(1)).unwrap().magnetic, Some(Magnetic(deg(100))));
    assert_eq!(p.heading(at(1)).unwrap().compass, None);
    let mut p = picture(HeadingSettings { card: Some(card(3)), ..HeadingSettings::default() });
    feed(&mut p, 1, &["GPHDT,100.0,T"]);
    assert_eq!(p.heading(at(1)).unwrap().truth, Some(True(deg(100))));
}

/// What an order is compared with: (order, who, heading it is compared with).
#[test]
fn the_pilots_order_is_compared_before_the_card_and_the_owners_m_and_t_after_it() {
    let mut p = picture(HeadingSettings { card: Some(card(3)), ..HeadingSettings::default() });
    feed(&mut p, 1, &["HCHDG,100.0,,,4.0,E"]);
    let hsc = Origin { source: SourceId(0), talker: crate::frame::Talker(*b"AG"), formatter: Formatter(*b"HSC") };
    for (reference, by, want) in [
        (Reference::Compass, OrderedBy::Owner, 100),
        (Reference::Magnetic, OrderedBy::Owner, 103),
        (Reference::True, OrderedBy::Owner, 107),
        (Reference::Compass, OrderedBy::Wire(hsc), 100),
        (Reference::True, OrderedBy::Wire(hsc), 104),
        (Reference::Compass, OrderedBy::FirstSteadyMinute, 100),
    ] {
        let order = Referred { bearing: deg(90), reference };
        let found = p.heading_for(order, by, at(1)).map(|h| (h.bearing, h.reference));
        assert_eq!(found, Some((deg(want), reference)), "{reference:?} by {by:?}");
    }
    // A stale heading is compared with nothing.
    assert_eq!(
        p.heading_for(Referred { bearing: deg(90), reference: Reference::Compass }, OrderedBy::Owner, at(9)),
        None
    );
}

#[test]
fn the_pilot_may_have_a_compass_of_its_own() {
    let settings =
        HeadingSettings { primary: Name::parse("HCHDG"), pilot: Name::parse("APHDM"), ..HeadingSettings::default() };
    let mut p = picture(settings);
    feed(&mut p, 1, &["HCHDG,100.0,,,4.0,E", "APHDM,115.0,M", "APHSC,,T,115.0,M"]);
    let Steering::Heading { order, by, held: false } = p.steering(at(1)) else { panic!("{:?}", p.steering(at(1))) };
    assert_eq!(order, Referred { bearing: deg(115), reference: Reference::Compass });
    assert_eq!(p.heading_for(order, by, at(1)).map(|h| h.bearing), Some(deg(115)));
}

#[test]
fn hsc_with_true_only_is_a_true_order_and_rmb_and_apb_are_none() {
    let mut p = picture(HeadingSettings::default());
    feed(&mut p, 1, &["HCHDG,100.0,,,4.0,E", "GPAPB,A,A,0.10,R,N,V,V,011,M,DEST,011,M,011,M"]);
    feed(&mut p, 1, &["GPRMB,A,0.66,L,003,004,4917.24,N,12309.57,W,001.3,052.5,000.5,V"]);
    assert_eq!(p.steering(at(1)), Steering::Unknown);
    feed(&mut p, 2, &["APHSC,140.0,T,,M"]);
    let Steering::Heading { order, .. } = p.steering(at(2)) else { panic!() };
    assert_eq!(order, Referred { bearing: deg(140), reference: Reference::True });
}

#[test]
fn htd_in_manual_is_no_order() {
    let mut p = picture(HeadingSettings::default());
    feed(&mut p, 1, &["AGHTD,V,2.0,R,M,R,,,,,150.0,,,M,A,A,A,149.0"]);
    assert_eq!(p.steering(at(1)), Steering::Unknown);
    feed(&mut p, 2, &["AGHTD,V,2.0,R,H,R,,,,,150.0,,,M,A,A,A,149.0"]);
    let Steering::Heading { order, .. } = p.steering(at(2)) else { panic!() };
    assert_eq!(order, Referred { bearing: deg(150), reference: Reference::Compass });
}

#[test]
fn a_copy_of_the_primary_is_one_witness() {
    let mut p = picture(HeadingSettings::default());
    for half in 0..400u64 {
        let heading = 10.0 + half as f64 * 0.5;
        let (hdg, hdt) = (std::format!("HCHDG,{heading:.1},,,4.1,E"), std::format!("IIHDT,{:.1},T", heading + 4.1));
        feed(&mut p, half, &[&hdg, &hdt]);
    }
    assert_eq!(p.copy_of(0).map(|c| c.origin), None);
    assert_eq!(p.copy_of(1).map(|c| c.origin), p.primary().map(|c| c.origin));
}

#[test]
fn what_was_worked_out_for_the_judges_ends_with_the_next_sentence_of_the_same_moment() {
    let mut p = picture(HeadingSettings::default());
    feed(&mut p, 1, &["HCHDG,100.0,,,,", "GPVTG,104.0,T,,M,5.0,N,,K,A"]);
    let take = |p: &mut Picture, sentence: &str| {
        let mut framer = Framer::new(ChecksumPolicy::Optional);
        framer.feed(std::format!("${sentence}\r\n").as_bytes(), &mut |framed| {
            let Framed::Line(line) = framed else { panic!("{framed:?}") };
            p.take(at(1), SourceId(0), &line, &decode(&line).unwrap().sentence);
        });
    };
    let compass = |p: &Picture, s| p.heading(at(s)).and_then(|reduced| reduced.compass);
    let course = |p: &Picture, s| p.ground(at(s)).and_then(|(_, ground)| ground.course);
    assert_eq!((compass(&p, 1), course(&p, 1)), (Some(Compass(deg(100))), Some(True(deg(104)))));
    take(&mut p, "HCHDG,110.0,,,,");
    take(&mut p, "GPVTG,114.0,T,,M,5.0,N,,K,A");
    assert_eq!((compass(&p, 1), course(&p, 1)), (Some(Compass(deg(110))), Some(True(deg(114)))));
    // At another moment it is not there either, nor once the variation is another.
    p.step(at(1), true);
    assert_eq!((compass(&p, 60), course(&p, 60)), (None, None));
    p.model(ModelVariation {
        variation: crate::heading::Variation(Turn::from_deg(-4)),
        sigma: Turn::from_deg(1),
        horizontal_nt: 20_000,
    });
    p.step(at(2), true);
    assert_eq!(p.heading(at(2)).and_then(|reduced| reduced.truth), Some(True(deg(106))));
}

#[test]
fn a_pair_has_one_place_in_the_table() {
    let mut seen = std::collections::BTreeSet::new();
    for low in 0..HEADINGS {
        for high in low + 1..HEADINGS {
            let index = pair_index(low, high).unwrap();
            assert_eq!(pair_index(high, low), Some(index));
            assert!(index < PAIRS && seen.insert(index), "{low} {high}");
        }
    }
    assert_eq!(pair_index(3, 3), None);
    assert_eq!(pair_index(0, HEADINGS), None);
}

#[test]
fn a_ninth_heading_is_let_go_without_harm() {
    let mut p = picture(HeadingSettings::default());
    for talker in ["AA", "AB", "AC", "AD", "AE", "AF", "AG", "AH", "AI", "AJ"] {
        feed(&mut p, 1, &[&std::format!("{talker}HDT,100.0,T")]);
    }
    assert_eq!(p.headings().len(), HEADINGS);
}

#[test]
fn a_void_fix_is_heard_but_is_no_position() {
    let mut p = picture(HeadingSettings::default());
    feed(&mut p, 1, &["GPRMC,,V,,,,,,,,,,N"]);
    assert!(p.position().was_heard());
    assert_eq!(p.position().latest(), None);
    assert_eq!(p.ground(at(1)), None);
}
