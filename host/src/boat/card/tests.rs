//! Cards that are read, and cards that are refused with the line at fault.

use super::*;

const HANDBOOK: &str = include_str!("../../../../fixtures/handbook-card.toml");

#[test]
fn the_handbook_card() {
    let file = CardFile::from_text("handbook-card.toml", HANDBOOK).unwrap();
    assert_eq!(file.points.len(), 8);
    assert_eq!(file.card.points().len(), 72);
    assert!(file.findings.is_empty(), "{:?}", file.findings);
    // Handbook of Magnetic Compass Adjustment (NGA, 2004), art. 501: its table, met exactly.
    for (compass, deviation) in [(0, 10_500), (45, 20_000), (135, -1_200), (270, -12_500), (315, -6_800)] {
        assert_eq!(file.card.deviation(Compass(Bearing::from_deg(compass))).as_mdeg(), deviation);
    }
    // Between them the five-term curve, not a line: at 022.5 the line has 15.25. The points' own fit
    // has B and C smaller by 0.06 and 0.04 than the handbook's half-differences.
    let curve = harmonic::Coefficients([1.0, 12.0, 8.0, 5.0, 1.5]).deviation(22.5);
    let got = f64::from(file.card.deviation(Compass(Bearing::from_mdeg(22_500))).as_mdeg()) / 1000.0;
    assert!((got - curve).abs() <= 0.12 && (got - 15.25).abs() > 1.0, "{got}, curve {curve}");
}

#[test]
fn everything_that_may_stand_there() {
    let file = CardFile::from_text(
        "c.toml",
        r#"
        sensor = "HCHDG"
        boat = "Curlew"
        date = 2026-06-14
        position = "50 21.0 N, 4 09.0 W"
        note = "calm"
        log = "sha256:0123"
        version = "0.1.0"
        upright = false
        coefficients = { A = 1.0, B = "0.5 W" }
        sigmas = { A = 0.3 }
        points = [ { compass = "090", deviation = "1.5 W", sigma = 0.2 }, { compass = 360, deviation = 2 },
                   { compass = 270.5, deviation = -0.25 } ]
        "#,
    )
    .unwrap();
    assert_eq!(file.sensor, Name::parse("HCHDG"));
    assert_eq!((file.boat.as_deref(), file.date), (Some("Curlew"), Date::new(2026, 6, 14)));
    assert_eq!(file.position, Some(Position { lat_e7: 503_500_000, lon_e7: -41_500_000 }));
    assert_eq!((file.note.as_deref(), file.log.as_deref()), (Some("calm"), Some("sha256:0123")));
    assert_eq!((file.version.as_deref(), file.upright), (Some("0.1.0"), false));
    assert_eq!(file.coefficients, [Some(1.0), Some(-0.5), None, None, None]);
    assert_eq!(file.coefficient_sigmas, [Some(0.3), None, None, None, None]);
    let points: Vec<_> = file.points.iter().map(|p| (p.compass.0.as_mdeg(), p.deviation.as_mdeg())).collect();
    assert_eq!(points, [(0, 2_000), (90_000, -1_500), (270_500, -250)]);
    assert_eq!(file.sigmas, [None, Some(0.2), None]);
}

/// A file of points alone.
fn of(points: &[(f64, f64)]) -> Result<CardFile, Failure> {
    let lines: Vec<String> =
        points.iter().map(|(c, d)| format!("{{ compass = {c:.1}, deviation = {d:.3} }}")).collect();
    CardFile::from_text("c.toml", &format!("points = [\n{}\n]\n", lines.join(",\n")))
}

#[test]
fn findings_say_what_is_doubtful() {
    let finding = |file: CardFile| file.findings.join("\n");
    let curve = harmonic::Coefficients([0.5, -1.8, 1.2, 0.6, -0.2]);
    let mut swing: Vec<(f64, f64)> = (0..8).map(|i| f64::from(i) * 45.0).map(|c| (c, curve.deviation(c))).collect();
    assert_eq!(finding(of(&swing).unwrap()), "");
    // East written for west at 045: the point stays as written, and is pointed out.
    let slip = -(swing[1].1 + 4.0);
    swing[1].1 = slip;
    let file = of(&swing).unwrap();
    assert!((f64::from(file.card.deviation(Compass(Bearing::from_deg(45))).as_mdeg()) / 1000.0 - slip).abs() < 0.001);
    assert!(finding(file).contains("furthest off is compass 045"));
    assert!(finding(of(&[(0.0, 1.0), (180.0, -1.0)]).unwrap()).contains("only 2 points"));
    let half: Vec<_> = (0..6).map(|i| (f64::from(i) * 40.0, 1.0)).collect();
    assert!(finding(of(&half).unwrap()).contains("no point between compass 200 and 000"));
    let written = format!("coefficients = {{ B = 14.0, C = 8.0 }}\n{HANDBOOK_POINTS}");
    let file = CardFile::from_text("c.toml", &written).unwrap();
    assert_eq!(finding(file), "coefficient B is written as +14.0, but the points give +11.9; the points rule");
}

const HANDBOOK_POINTS: &str = "points = [{compass=0,deviation=10.5},{compass=45,deviation=20},{compass=90,deviation=11.5},\
    {compass=135,deviation=-1.2},{compass=180,deviation=-5.5},{compass=225,deviation=-8},{compass=270,deviation=-12.5},\
    {compass=315,deviation=-6.8}]";

/// Files and what their refusal must say.
const REFUSED: &[(&str, &[&str])] = &[
    ("points = [\n{ compass = 0 }\n]", &["c.toml:2: deviation is missing", "for example: deviation = -1.5"]),
    ("sensor = \"HCHDG\"\n", &["c.toml:1: points is missing", "for example: points = ["]),
    (
        "\n\nsensor = \"HDG\"\npoints = [{compass=0,deviation=1},{compass=180,deviation=1}]",
        &["c.toml:3: sensor = \"HDG\"", "example: sensor = \"HCHDG\""],
    ),
    ("points = 3", &["c.toml:1: points = 3: expected a list"]),
    ("points = [ 3 ]", &["points = 3: expected a point with compass and deviation"]),
    ("points = []", &["c.toml:1: points: 0 of them make no card: expected a list of at least two"]),
    ("points = [{compass=0,deviation=1}]", &["c.toml:1: points: 1 of them make no card"]),
    ("ponits = []", &["c.toml:1: unknown key \"ponits\": did you mean \"points\"?"]),
    (
        "points = [\n{compass=0,deviation=1},\n{compass=90,deviaton=1}]",
        &["c.toml:3: unknown key \"deviaton\": did you mean \"deviation\"?"],
    ),
    (
        "points = [\n{compass=0,deviation=1},\n{compass=361,deviation=1}]",
        &["c.toml:3: compass = 361: expected a COMPASS"],
    ),
    ("points = [\n{compass=0,deviation=1},\n{compass=-1,deviation=1}]", &["c.toml:3: compass = -1"]),
    (
        "points = [\n{compass=0,deviation=1},\n{compass=045,deviation=1}]",
        &["c.toml:3: not TOML", "write 45, or \"045\""],
    ),
    ("points = [\n{compass=0,deviation=\"3 N\"}]", &["c.toml:2: deviation = \"3 N\"", "letter E or W", "\"1.5 W\""]),
    ("points = [\n{compass=0,deviation=\"-3 W\"}]", &["c.toml:2: deviation = \"-3 W\""]),
    ("points = [\n{compass=0,deviation=nan}]", &["c.toml:2: deviation = nan"]),
    ("points = [\n{compass=0,deviation=inf}]", &["c.toml:2: deviation = inf"]),
    ("points = [\n{compass=0,deviation=91}]", &["c.toml:2: deviation = 91: expected degrees up to 90"]),
    ("points = [\n{compass=0,deviation=9999999999999999999999}]", &["c.toml:2:"]),
    (
        "points = [\n{compass=0,deviation=1},\n{compass=360,deviation=2}]",
        &["c.toml:3: compass heading 000.0 stands there twice"],
    ),
    (
        "points = [{compass=0,deviation=40},{compass=30,deviation=-40}]",
        &["c.toml:1: the card folds between 000 C and 030 C"],
    ),
    (
        "date = \"2026-06-14\"\npoints = [{compass=0,deviation=1},{compass=180,deviation=1}]",
        &["c.toml:1: date", "date = 2026-06-14"],
    ),
    ("date = 2026-02-30\npoints = []", &["c.toml:1:"]),
    (
        "upright = 1\npoints = [{compass=0,deviation=1},{compass=180,deviation=1}]",
        &["c.toml:1: upright = 1: expected true or false"],
    ),
    (
        "position = \"50\"\npoints = [{compass=0,deviation=1},{compass=180,deviation=1}]",
        &["c.toml:1: position", "50 21.5 N"],
    ),
    (
        "coefficients = { F = 1 }\npoints = [{compass=0,deviation=1},{compass=180,deviation=1}]",
        &["c.toml:1: unknown key \"F\"", "A, B, C, D and E"],
    ),
    (
        "sigmas = { A = -1 }\npoints = [{compass=0,deviation=1},{compass=180,deviation=1}]",
        &["c.toml:1: A = -1: expected a standard deviation"],
    ),
    ("$HCHDG,101.1,,,7.1,W*3C\n", &["c.toml:1: not TOML"]),
    ("points = [{compass=0,deviation=1}", &["c.toml:1: not TOML"]),
    ("points = []\npoints = []", &["c.toml:2: not TOML: duplicate key"]),
];

#[test]
fn refusals_name_line_expectation_and_example() {
    for (text, wanted) in REFUSED {
        let said = CardFile::from_text("c.toml", text).map(|file| file.points).expect_err(text).to_string();
        for part in *wanted {
            assert!(said.contains(part), "{text:?} was refused with {said:?}, without {part:?}");
        }
        assert!(said.starts_with("c.toml:"), "{said}");
    }
}

#[test]
fn more_points_than_a_card_holds() {
    let many: Vec<_> = (0..73).map(|i| (f64::from(i) * 4.9, 1.0)).collect();
    assert!(of(&many).unwrap_err().to_string().contains("73 points: a card holds at most 72"));
    let dense: Vec<_> = (0..36).map(|i| (f64::from(i) * 10.0, 1.0)).collect();
    let file = of(&dense).unwrap();
    assert_eq!((file.card.points().len(), file.findings.len()), (36, 0));
}

#[test]
fn files_that_are_no_cards() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"));
    let said = |path: &Path| CardFile::read(path).map(|file| file.points).unwrap_err().to_string();
    assert!(said(folder).contains("is a folder"), "{}", said(folder));
    assert!(said(&folder.join("no-such-card.toml")).contains("there is no such file"));
    let program = std::env::current_exe().unwrap();
    assert!(said(&program).contains("is over 1 MiB") || said(&program).contains("is not text"), "{}", said(&program));
}

/// Pieces a card or a boat file is made of, and pieces that belong in neither.
const PIECES: [&str; 36] = [
    "points",
    "=",
    "[",
    "]",
    "{",
    "}",
    "compass",
    "deviation",
    ",",
    "1",
    "-91",
    "1e999",
    "nan",
    "\"3 W\"",
    "\"\"",
    "\n",
    "[[source]]",
    "[heading]",
    "from",
    "primary",
    "\"HCHDG\"",
    ".",
    "limits",
    "off-heading",
    "limit",
    "\"15 deg\"",
    "2026-06-14",
    "#",
    "\0",
    "\u{e9}",
    "\"\u{663}C\"",
    "{compass=0,deviation=1},",
    "{compass=180,deviation=1},",
    "{compass=359.9996,deviation=1},",
    "sigma",
    "true",
];

proptest::proptest! {
    #[test]
    fn whatever_the_file_holds_it_is_a_card_or_a_refusal_with_its_line(
        picks in proptest::collection::vec(0..PIECES.len(), 0..24),
    ) {
        let text: String = picks.iter().map(|&pick| PIECES[pick]).collect();
        for said in [
            CardFile::from_text("f.toml", &text).err(),
            crate::boat::file::BoatFile::from_text("f.toml", &text, Path::new("")).err(),
        ].into_iter().flatten() {
            proptest::prop_assert!(said.to_string().starts_with("f.toml:"), "{}", said);
        }
    }

    #[test]
    fn any_points_make_a_card_through_them_or_a_refusal(
        points in proptest::collection::vec((0i32..=360_000, -30_000i32..=30_000), 2..=30),
    ) {
        let lines: Vec<String> = points
            .iter()
            .map(|(c, d)| format!("{{compass={}.{:03},deviation=\"{}.{:03} {}\"}}", c / 1000, c % 1000, d.abs() / 1000,
                d.abs() % 1000, if *d < 0 { 'W' } else { 'E' }))
            .collect();
        if let Ok(file) = CardFile::from_text("f.toml", &format!("points=[{}]", lines.join(","))) {
            for (compass, deviation) in points {
                let compass = Compass(Bearing::from_mdeg(compass.into()));
                proptest::prop_assert_eq!(file.card.deviation(compass).as_mdeg(), deviation);
            }
        }
    }

    #[test]
    fn small_deviations_on_spread_points_always_make_a_card_through_them(
        count in 5i32..=24, shift in 0i32..15_000, small in proptest::collection::vec(-3_000i32..=3_000, 24),
    ) {
        let points: Vec<(i32, i32)> = (0..count).map(|i| (i * (360_000 / count) + shift, small[i as usize])).collect();
        let lines: Vec<String> =
            points.iter().map(|(c, d)| format!("{{compass={:.3},deviation={:.3}}}", f64::from(*c) / 1e3, f64::from(*d) / 1e3)).collect();
        let file = CardFile::from_text("f.toml", &format!("points=[{}]", lines.join(","))).unwrap();
        proptest::prop_assert_eq!(file.card.points().len(), 72);
        for (compass, deviation) in points {
            let compass = Compass(Bearing::from_mdeg(compass.into()));
            proptest::prop_assert_eq!(file.card.deviation(compass).as_mdeg(), deviation);
        }
    }
}
