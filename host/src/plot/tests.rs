use super::*;

/// A sheet of an invented boat with everything on it.
fn sheet() -> Sheet {
    let deviation = |deg: f64| 1.0 + 4.0 * deg.to_radians().sin() - 2.0 * deg.to_radians().cos();
    Sheet {
        boat: Some("<C> & \"o\"\u{1b}[1m".to_owned()),
        about: vec!["sensor HCHDG".to_owned(), "2026-06-14".to_owned(), "36 00.0 N 018 00.0 E".to_owned()],
        verdict: Some("usable".to_owned()),
        curve: (0..=72)
            .map(|at| f64::from(at) * 5.0)
            .map(|deg| Node { compass_deg: deg, deviation_deg: deviation(deg), sigma_deg: Some(0.3) })
            .collect(),
        marks: (0..2000)
            .map(|at| f64::from(at) * 0.18)
            .map(|deg| Mark { compass_deg: deg, deviation_deg: deviation(deg), residual_deg: 0.0, kind: Kind::Port })
            .collect(),
        track: Some(Track {
            ground: vec![(0..100).map(|at| [f64::from(at), (f64::from(at) / 9.0).sin() * 50.0]).collect()],
            water: vec![(0..100).map(|at| [0.0, f64::from(at)]).collect()],
            current: Some((210.0, 0.6)),
        }),
        facts: vec![("A".to_owned(), "+1.0".to_owned())],
        steer: (0..36).map(|at| (format!("{:03}", at * 10), format!("{:03}", at * 10))).collect(),
        heads: (0..36).map(|at| (format!("{:03}", at * 10), format!("{:03}", at * 10))).collect(),
        notes: (0..40).map(|at| format!("note number {at} is here to fill the page")).collect(),
        safety: vec!["An aid, not certified equipment.".to_owned()],
        source: "lubber".to_owned(),
    }
}

/// The elements of a page: what stands between `<` and `>`, and what between elements.
fn elements(page: &str) -> Vec<(&str, &str)> {
    page.split('<').skip(1).filter_map(|part| part.split_once('>')).collect()
}

/// All numbers of the attributes `names`.
fn numbers(page: &str, names: &[&str]) -> Vec<f64> {
    let after = |name: &str| -> Vec<f64> {
        page.split(&format!(" {name}=\"")).skip(1).filter_map(|rest| rest.split('"').next()?.parse().ok()).collect()
    };
    names.iter().flat_map(|name| after(name)).collect()
}

#[test]
fn words_cannot_break_out() {
    let page = svg(&sheet());
    assert!(page.contains("&lt;C&gt; &amp; &quot;o&quot; [1m"), "escaped, and the escape code harmless");
    let opened = elements(&page);
    assert!(opened.iter().all(|(tag, words)| !tag.contains('\u{1b}') && !words.contains('\u{1b}')));
    // Every element that is opened is closed by itself or by its end.
    let count = |what: &str| opened.iter().filter(|(tag, _)| tag.split([' ', '/']).next() == Some(what)).count();
    for what in ["text", "svg", "style"] {
        let ends = opened.iter().filter(|(tag, _)| *tag == format!("/{what}")).count();
        assert_eq!(count(what), ends, "{what}");
    }
}

#[test]
fn everything_stays_on_the_page() {
    let page = svg(&sheet());
    for x in numbers(&page, &["x", "x1", "x2", "cx"]) {
        assert!((8.0..=202.0).contains(&x) || x == 0.0, "x {x}");
    }
    for y in numbers(&page, &["y", "y1", "y2", "cy"]) {
        assert!((8.0..=291.0).contains(&y), "y {y}");
    }
    assert!(page.len() < 200_000, "{} bytes", page.len());
    assert!(page.contains("An aid, not certified equipment.") && page.contains("more; see what lubber prints"));
}

#[test]
fn a_card_alone_is_a_page_too() {
    let bare = Sheet { marks: Vec::new(), track: None, verdict: None, notes: Vec::new(), ..sheet() };
    let page = svg(&bare);
    assert!(!page.contains("Residuals") && !page.contains("Track"));
    assert!(page.contains("class=\"curve\"") && page.contains("class=\"band\""));
    let empty = svg(&Sheet::default());
    assert!(empty.starts_with("<svg") && empty.ends_with("</svg>\n") && !empty.contains("NaN"));
}

#[test]
fn the_band_is_two_sigma_wide() {
    let page = svg(&Sheet { marks: Vec::new(), ..sheet() });
    // The scale is 8 degrees up and down 62 mm: two sigma of 0.3 either way are 4.65 mm in all.
    let band =
        elements(&page).into_iter().find(|(tag, _)| tag.starts_with("path") && tag.contains("\"band\"")).unwrap().0;
    let way = band.split('"').nth(1).unwrap();
    let points: Vec<f64> = way.split(['M', 'L', 'Z']).filter_map(|p| p.split(' ').nth(1)?.parse().ok()).collect();
    assert_eq!(points.len(), 146);
    let wide = points[145] - points[0];
    assert!((wide - 4.0 * 0.3 / 16.0 * 62.0).abs() <= 0.02, "{wide}");
}
