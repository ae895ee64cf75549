//! Boat files that are read, and boat files that are refused with the line at fault.

use super::*;
use lubber_core::angle::Turn;
use lubber_core::picture::Transducer;
use lubber_core::time::Span;

fn read(text: &str) -> Result<BoatFile, Failure> {
    BoatFile::from_text("boat.toml", text, Path::new("/home/curlew"))
}

fn limit_of(file: &BoatFile, kind: AlertKind) -> LimitSettings {
    let place = AlertKind::ALL.iter().position(|other| *other == kind).unwrap();
    file.settings(None).limits[place]
}

#[test]
fn everything_that_may_stand_there() {
    let file = read(
        r#"
        [boat]
        name = "Curlew"
        length = "32 ft"

        [[source]]
        name = "nav"
        from = "serial:/dev/ttyUSB0?baud=4800"
        checksum = "optional"

        [[source]]
        from = "udp:0.0.0.0:10110"

        [heading]
        primary = "HCHDG"
        pilot = "APHDG"
        second = "GPHDT"
        card = "cards/2026.toml"
        deviation = "card"
        rot = "gyro"

        [page]
        address = "192.168.4.1:10350"

        [limits.off-heading]
        limit = 12.5
        delay = "2 min"

        [limits.heading-disagreement]
        limit = "20 deg"
        current_change = "0.35 kn/min"

        [limits.position-lost]
        delay = 90
        enabled = false

        [limits.turn-rate-disagreement]
        limit = "2.5 deg/s"

        [limits.rudder-unanswered]
        limit = "4 deg"

        [limits.card-doubtful]
        limit = 3

        [limits.rudder-lost]
        delay = "20 s"

        [limits.supply-low]
        limit = "23.4 V"
        name = "House"

        [watchkeeper]
        after = "10 min"
        third = "2 min"
        "#,
    )
    .unwrap();
    assert_eq!((file.name.as_deref(), file.length_m), (Some("Curlew"), Some(9.754)));
    let named: Vec<_> = file.sources.iter().map(|source| (source.name.as_str(), source.from.as_str())).collect();
    assert_eq!(named, [("nav", "serial:/dev/ttyUSB0?baud=4800"), ("udp:0.0.0.0:10110", "udp:0.0.0.0:10110")]);
    assert_eq!(file.card.as_deref(), Some(Path::new("/home/curlew/cards/2026.toml")));
    let settings = file.settings(None);
    assert_eq!(settings.source_count, 2);
    assert_eq!(settings.sources[0].checksum, ChecksumPolicy::Optional);
    assert_eq!(settings.sources[1].checksum, ChecksumPolicy::Required);
    assert_eq!(
        (settings.primary, settings.pilot, settings.second),
        (Name::parse("HCHDG"), Name::parse("APHDG"), Name::parse("GPHDT"))
    );
    assert_eq!((settings.deviation, settings.rot_is_gyro), (DeviationRule::Card, true));
    let off = limit_of(&file, AlertKind::OffHeading);
    assert_eq!((off.limit, off.delay, off.disabled), (Some(Turn::from_mdeg(12_500)), Some(Span::from_min(2)), false));
    assert_eq!(limit_of(&file, AlertKind::HeadingDisagreement).limit, Some(Turn::from_deg(20)));
    assert_eq!(Some(settings.current_change), CurrentChange::from_milliknots_per_min(350));
    let position = limit_of(&file, AlertKind::PositionLost);
    assert_eq!((position.limit, position.delay, position.disabled), (None, Some(Span::from_s(90)), true));
    assert_eq!(limit_of(&file, AlertKind::InputLost), LimitSettings::default());
    assert_eq!(file.page, Some("192.168.4.1:10350".parse().ok()));
    assert_eq!((read("[page]").unwrap().page, read("").unwrap().page), (Some(None), None));
    let limit = |kind| limit_of(&file, kind).limit.map(Turn::as_mdeg);
    assert_eq!(limit(AlertKind::TurnRateDisagreement), Some(2_500));
    assert_eq!((limit(AlertKind::RudderUnanswered), limit(AlertKind::CardDoubtful)), (Some(4_000), Some(3_000)));
    assert_eq!(limit_of(&file, AlertKind::RudderLost).delay, Some(Span::from_s(20)));
    assert_eq!(limit(AlertKind::SupplyLow), None, "no angle");
    assert_eq!((settings.supply.limit_millivolts, settings.supply.name), (Some(23_400), Transducer::named("HOUSE")));
    assert_eq!(settings.watchkeeper, WatchkeeperSettings::new(Span::from_min(10), Span::from_min(2)));
}

#[test]
fn a_run_without_a_boat_file_and_an_empty_one_are_defaults() {
    for file in [BoatFile::default(), read("# nothing decided\n").unwrap()] {
        let settings = file.settings(None);
        assert_eq!(settings.source_count, 0);
        assert_eq!((settings.primary, settings.deviation), (None, DeviationRule::Auto));
        assert_eq!((settings.supply, settings.watchkeeper), (SupplySettings::default(), None));
        assert!(settings.limits.iter().all(|limit| *limit == LimitSettings::default()));
    }
}

#[test]
fn the_demonstration_boat() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/boat.toml");
    let (found, file) = BoatFile::find(Some(&path)).unwrap().unwrap();
    assert_eq!(found, path);
    assert_eq!(file.primary, Name::parse("HCHDG"));
    // The card is found from where the boat file lies, not from the working folder.
    let card = file.card_file().unwrap().unwrap();
    assert_eq!((card.card.points().len(), card.findings.len()), (72, 0));
    assert!(card.card.greatest().deviation.size() <= Turn::from_mdeg(3_200));
    assert_eq!(file.settings(Some(card.card.clone())).card, Some(card.card));
}

#[test]
fn a_boat_file_that_was_asked_for_must_be_there() {
    let said = BoatFile::find(Some(Path::new("no/such/boat.toml"))).map(|_| ()).unwrap_err().to_string();
    assert_eq!(said, "no/such/boat.toml: there is no such file; expected a boat file");
}

/// Files and what their refusal must say.
const REFUSED: &[(&str, &[&str])] = &[
    (
        "[boat]\nnmae = \"x\"",
        &["boat.toml:2: unknown key \"nmae\": did you mean \"name\"?", "there may be name and length"],
    ),
    ("[headings]", &["boat.toml:1: unknown key \"headings\": did you mean \"heading\"?"]),
    ("colour = 1", &["boat.toml:1: unknown key \"colour\". In the file there may be boat, source, heading, limits"]),
    ("boat = 3", &["boat.toml:1: boat = 3: expected a table"]),
    ("[boat]\nname = 3", &["boat.toml:2: name = 3: expected a name in quotes, for example: name = \"Curlew\""]),
    ("[boat]\nname = \" \"", &["boat.toml:2: name = \" \": expected a name"]),
    ("[boat]\nlength = \"9.8 yd\"", &["boat.toml:2: length = \"9.8 yd\"", "in m or ft", "\"32 ft\""]),
    ("[boat]\nlength = 0", &["boat.toml:2: length = 0: expected a length from 1 to 100 m"]),
    ("[boat]\nlength = nan", &["boat.toml:2: length = nan"]),
    ("[source]\nfrom = \"-\"", &["boat.toml:1: source", "expected sources, each under [[source]]"]),
    ("[[source]]\nname = \"nav\"", &["boat.toml:1: from is missing", "serial:/dev/ttyUSB0"]),
    ("[[source]]\nfrom = \"\"", &["boat.toml:2: from = \"\": expected where"]),
    (
        "[[source]]\nfrom = \"-\"\nchecksum = \"optinal\"",
        &[
            "boat.toml:3: checksum = \"optinal\": expected \"required\", \"optional\" or \"ignored\", for example: checksum",
        ],
    ),
    (
        "[[source]]\nfrom = \"-\"\nmay_acknowledge = \"yes\"",
        &["boat.toml:3: may_acknowledge = \"yes\": expected true or false, for example: may_acknowledge = true"],
    ),
    ("[[source]]\nfrom = \"-\"\n[[source]]\nfrom = \"-\"", &["boat.toml:3: two sources are called \"-\""]),
    (
        "[[source]]\nfrom='a'\n[[source]]\nfrom='b'\n[[source]]\nfrom='c'\n[[source]]\nfrom='d'\n[[source]]\nfrom='e'",
        &["boat.toml:9: one source too many: lubber listens to 4 at most"],
    ),
    ("[heading]\nprimary = \"HDG\"", &["boat.toml:2: primary = \"HDG\": expected talker and formatter", "\"HCHDG\""]),
    (
        "[heading]\nprimary = \"GPRMC\"",
        &["boat.toml:2: primary = \"GPRMC\": expected talker and formatter of a heading"],
    ),
    ("[heading]\npilot = 1", &["boat.toml:2: pilot = 1"]),
    (
        "[[source]]\nname = \"nav\"\nfrom = \"-\"\n[heading]\nprimary = \"nav\"",
        &["boat.toml:5: primary = \"nav\" is a source", "\"HCHDG\""],
    ),
    ("[heading]\ncard = 3", &["boat.toml:2: card = 3", "card = \"card.toml\""]),
    (
        "[heading]\ndeviation = \"auto\"",
        &["boat.toml:2: deviation = \"auto\": expected \"card\", \"wire\" or \"none\""],
    ),
    ("[heading]\ndeviation = \"card\"", &["boat.toml:2: deviation = \"card\", but no card is named"]),
    ("[heading]\nrot = \"compass\"", &["boat.toml:2: rot = \"compass\": expected \"gyro\""]),
    ("[limits.off-headin]\nlimit = 3", &["boat.toml:1: unknown key \"off-headin\": did you mean \"off-heading\"?"]),
    ("[limits]\noff-heading = 15", &["boat.toml:2: off-heading = 15: expected one table for each alert"]),
    ("[limits.off-heading]\nlimit = \"15 s\"", &["boat.toml:2: limit = \"15 s\": expected an angle", "\"15 deg\""]),
    ("[limits.off-heading]\nlimit = 0", &["boat.toml:2: limit = 0: expected an angle over 0 up to 90 degrees"]),
    ("[limits.off-heading]\nlimit = \"-15 deg\"", &["boat.toml:2: limit"]),
    ("[limits.off-heading]\ndelay = \"10 deg\"", &["boat.toml:2: delay = \"10 deg\": expected a time up to an hour"]),
    ("[limits.off-heading]\ndelay = \"2 h\"", &["boat.toml:2: delay"]),
    ("[limits.off-heading]\ndelay = 3601", &["boat.toml:2: delay = 3601"]),
    ("[limits.off-heading]\nenabled = \"no\"", &["boat.toml:2: enabled = \"no\": expected true or false"]),
    ("[limits.position-lost]\nlimit = 15", &["boat.toml:2: limit: position-lost has none"]),
    (
        "[limits.turn-rate-disagreement]\nlimit = \"2 deg\"",
        &["boat.toml:2: limit = \"2 deg\": expected a rate over 0 up to 20 degrees a second", "\"2 deg/s\""],
    ),
    ("[limits.turn-rate-disagreement]\nlimit = 21", &["boat.toml:2: limit = 21: expected a rate"]),
    (
        "[limits.supply-low]\nlimit = \"15 deg\"",
        &["boat.toml:2: limit = \"15 deg\": expected a voltage of 5 to 100 V", "limit = \"11.8 V\""],
    ),
    (
        "[limits.heading-disagreement]\ncurrent_change = \"3 kn\"",
        &["boat.toml:2: current_change = \"3 kn\": expected knots a minute", "\"0.18 kn/min\""],
    ),
    (
        "[limits.heading-disagreement]\ncurrent_change = 0",
        &["boat.toml:2: current_change = 0: expected knots a minute"],
    ),
    ("[limits.heading-frozen]\ncurrent_change = 0.2", &["boat.toml:2: unknown key \"current_change\""]),
    ("[limits.supply-low]\nlimit = 1.2", &["boat.toml:2: limit = 1.2: expected a voltage"]),
    (
        "[limits.supply-low]\nname = \"the house battery\"",
        &["boat.toml:2: name = \"the house battery\": expected a transducer's name in XDR", "name = \"BATT\""],
    ),
    ("[limits.off-heading]\nname = \"BATT\"", &["boat.toml:2: unknown key \"name\""]),
    ("[limits.rudder-lost]\nlimit = 3", &["boat.toml:2: limit: rudder-lost has none, only delay and enabled"]),
    ("[limits.watchkeeper-silent]\ndelay = 3", &["boat.toml:2: delay: the times of the watchkeeper", "[watchkeeper]"]),
    ("[watchkeeper]", &["boat.toml:1: after is missing: expected a time from 3 to 12 min", "after = \"10 min\""]),
    ("[watchkeeper]\nafter = \"2 min\"", &["boat.toml:2: after = \"2 min\": expected a time from 3 to 12 min"]),
    ("[watchkeeper]\nafter = \"721 s\"", &["boat.toml:2: after = \"721 s\": expected a time from 3 to 12 min"]),
    (
        "[watchkeeper]\nafter = \"5 min\"\nthird = \"4 min\"",
        &["boat.toml:3: third = \"4 min\": expected a time from 90 s to 3 min", "third = \"90 s\""],
    ),
    ("[watchkeeper]\ninterval = 1", &["boat.toml:2: unknown key \"interval\"", "there may be after and third"]),
    (
        "[page]\naddress = \"boat:10350\"",
        &["boat.toml:2: address = \"boat:10350\": expected an address of this machine", "192.168.4.1:10350"],
    ),
    ("[page]\nadress = \"127.0.0.1:1\"", &["boat.toml:2: unknown key \"adress\": did you mean \"address\"?"]),
    ("\n[journal]", &["boat.toml:2: path is missing: expected the journal's file", "path = \"journal.sqlite\""]),
    ("[boat\nname = 1", &["boat.toml:1: not TOML"]),
    ("[boat]\nname = Curlew", &["boat.toml:2: not TOML", "key = \"words\""]),
];

#[test]
fn refusals_name_line_expectation_and_example() {
    for (text, wanted) in REFUSED {
        let said = read(text).map(|file| file.limits).expect_err(text).to_string();
        for part in *wanted {
            assert!(said.contains(part), "{text:?} was refused with {said:?}, without {part:?}");
        }
        assert!(said.starts_with("boat.toml:"), "{said}");
    }
}

#[test]
fn what_only_shows_later_is_refused_with_its_place_too() {
    let file =
        read("[heading]\nprimary = \"HCHDG\"\ncard = \"nosuch.toml\"\n[[source]]\nname = \"a\"\nfrom = \"serial:\"\n");
    let file = file.unwrap();
    let Failure(why) = file.card_file().unwrap_err();
    for must in ["boat.toml:3: card: ", "nosuch.toml: there is no such file", "for example: card = \"card.toml\""] {
        assert!(why.contains(must), "{why}");
    }
    let Failure(why) = file.sources[0].refuse("after `serial:` a device was expected");
    assert!(
        why.starts_with("boat.toml:6: from = \"serial:\": after `serial:` a device was expected; expected "),
        "{why}"
    );
    assert!(why.contains("for example: from = "), "{why}");
}
