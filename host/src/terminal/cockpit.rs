//! The watch on a whole screen: the trace of the last ten minutes with the lubber line through it, the
//! facts beside it, the alerts and what is not watched below.
//!
//! ```text
//! 02:11:09  1 ALARM off-heading  Curlew
//!  30 port     order 135 C    30 stbd | heading  152 C 150 M 154 T
//!       .        |  .              now |          17 to starboard
//!       .        | .                   | course   154 T, 5.8 kn
//!       .       .|                     | rudder   2 port
//!       .      . |                 5 m | witnesses 2 agree
//! ```
//! The trace is drawn as a boat leaves her wake: newest at the top, straight up is straight on.

use ratatui::Frame;
use ratatui::layout::Constraint;
use ratatui::layout::Layout;
use ratatui::layout::Rect;
use ratatui::style::Color;
use ratatui::style::Modifier;
use ratatui::style::Style;
use ratatui::symbols::Marker;
use ratatui::text::Line;
use ratatui::text::Span;
use ratatui::widgets::Paragraph;
use ratatui::widgets::canvas::Canvas;
use ratatui::widgets::canvas::Line as Stroke;
use ratatui::widgets::canvas::Points;

use crate::view::alert::Entry;
use crate::view::text::Row;
use crate::view::text::Tone;
use crate::view::text::wrap;

/// What is shown.
#[derive(Clone, Debug, Default)]
pub struct Scene {
    /// Time, boat, how many alerts stand.
    pub head: Row,
    /// What the trace is drawn against.
    pub order: String,
    /// From the order to the heading in degrees, starboard plus, and how many seconds ago.
    pub trace: Vec<(f64, f64)>,
    /// The limit of off-heading in degrees.
    pub limit_deg: f64,
    /// The facts, a name and a text each.
    pub facts: Vec<(&'static str, Row)>,
    /// The alerts that are not normal, the most urgent first.
    pub alerts: Vec<Entry>,
    /// Where to read what found no room; empty where there is no such place.
    pub more: &'static str,
    /// What is not watched just now, and the sources.
    pub notes: Vec<Row>,
    /// What happened last, newest last.
    pub log: Vec<Row>,
    /// The keys, each with its rank: where there is no room for all, the highest are left out first.
    pub keys: Vec<(&'static str, u8)>,
    /// Red light only.
    pub night: bool,
}

/// How long the trace is, in seconds.
pub const TRACE_S: f64 = 600.0;
/// Where nothing was known for longer than this the trace is broken, in seconds.
const GAP_S: f64 = 65.0;
/// How far to each side the trace reaches, in degrees.
const SIDE: f64 = 30.0;
/// The trace stands beside the facts from this width on.
const WIDE: u16 = 60;
const FACTS: u16 = 36;
/// A screen of fewer rows than this is a low one.
const LOW: u16 = 18;

/// Paints `scene` on the frame, as much of it as there is room for: the head, the alerts and the facts
/// before the trace, the trace before what happened last.
pub fn draw(frame: &mut Frame<'_>, scene: &Scene) {
    let area = frame.area();
    let night = scene.night;
    let most = |rows: usize, at_most: u16| u16::try_from(rows).unwrap_or(u16::MAX).min(at_most);
    let lines = scene.alerts.iter().map(|alert| alert.head.len() + alert.text.len()).sum::<usize>();
    // A low screen needs a larger part of it for the same few words.
    let share = if area.height < LOW { area.height * 2 / 5 } else { area.height / 3 };
    let alerts = most(lines.max(1), share.max(1));
    let notes = if area.height >= 18 { most(scene.notes.len(), area.height / 5) } else { 0 };
    let log = if area.height >= 22 { most(scene.log.len().max(1), 4) } else { 0 };
    let keys = key_lines(&scene.keys, usize::from(area.width), area.height >= LOW);
    let [head, middle, below, not_watched, happened, last] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Min(u16::from(area.height > 2)),
        Constraint::Length(alerts),
        Constraint::Length(notes),
        Constraint::Length(log),
        Constraint::Length(most(keys.len(), if area.height >= 4 { 2 } else { 0 })),
    ])
    .areas(area);
    frame.render_widget(Paragraph::new(line(&scene.head, night)), head);
    if middle.width >= WIDE {
        let [left, right] = Layout::horizontal([Constraint::Min(20), Constraint::Length(FACTS)]).areas(middle);
        trace(frame, left, scene);
        facts(frame, right, scene);
    } else {
        let rows = most(scene.facts.len(), middle.height);
        let [above, rest] = Layout::vertical([Constraint::Length(rows), Constraint::Min(0)]).areas(middle);
        facts(frame, above, scene);
        if rest.height >= 4 {
            trace(frame, rest, scene);
        }
    }
    let standing = if scene.alerts.is_empty() {
        vec![Row::default().and(Tone::Quiet, "no alert stands")]
    } else {
        fitted(&scene.alerts, usize::from(below.height), scene.more)
    };
    rows(frame, below, &standing, scene.more, night);
    rows(frame, not_watched, &scene.notes, scene.more, night);
    let newest = scene.log.len().saturating_sub(usize::from(happened.height));
    rows(frame, happened, &scene.log[newest..], scene.more, night);
    frame.render_widget(Paragraph::new(keys.join("\n")).style(style(Tone::Quiet, night)), last);
}

/// The keys in a line of `width` columns, or two where the screen is high enough; then the least important
/// are left out, and never the one that ends it.
fn key_lines(keys: &[(&'static str, u8)], width: usize, high: bool) -> Vec<String> {
    let mut keys = keys.to_vec();
    loop {
        // A no-break space keeps a key and its word on one line.
        let all = keys.iter().map(|(key, _)| key.replace(' ', "\u{a0}")).collect::<Vec<String>>().join(", ");
        let lines = wrap(&all, width, 0);
        let highest = keys.iter().map(|(_, rank)| *rank).max().unwrap_or(0);
        if lines.len() <= 1 + usize::from(high) || highest == 0 {
            return lines;
        }
        keys.retain(|(_, rank)| *rank != highest);
    }
}

/// As much of the alerts as finds room in so many rows: the first line of each before what any of them saw,
/// and the more urgent before the less. The first one is shown wherever there is a row at all.
fn fitted(alerts: &[Entry], room: usize, more: &str) -> Vec<Row> {
    let heads = if alerts.len() <= room { alerts.len() } else { room.saturating_sub(1).max(1) };
    let hidden = alerts.len() - heads;
    let mut left = room.saturating_sub(heads + usize::from(hidden > 0));
    let mut shown = Vec::new();
    for Entry { head, text } in &alerts[..heads] {
        shown.extend(head.first().cloned());
        let further: Vec<&Row> = head.iter().skip(1).chain(text).collect();
        let fit = further.len().min(left);
        left -= fit;
        shown.extend(further[..fit].iter().copied().cloned());
        if fit > 0
            && fit < further.len()
            && let Some(last) = shown.last_mut()
        {
            *last = std::mem::take(last).and(Tone::Quiet, " ...");
        }
    }
    // At one row alone the head of the screen has their number.
    if hidden > 0 && room > 1 {
        shown.push(Row::default().and(Tone::Title, format!("... and {hidden} more{more}")));
    }
    shown
}

fn rows(frame: &mut Frame<'_>, area: Rect, rows: &[Row], more: &str, night: bool) {
    let room = usize::from(area.height);
    let mut lines: Vec<Line<'_>> = rows.iter().take(room).map(|row| line(row, night)).collect();
    // What finds no room is said, not passed over.
    if rows.len() > room
        && let Some(last) = lines.last_mut()
    {
        let left = rows.len() - room + 1;
        *last = Line::styled(format!("... and {left} lines more{more}"), style(Tone::Title, night));
    }
    frame.render_widget(Paragraph::new(lines), area);
}

fn facts(frame: &mut Frame<'_>, area: Rect, scene: &Scene) {
    // Where there is no room for a column there is none for its spaces.
    let column = if area.width < 30 { 0 } else { 10 };
    let lines = scene.facts.iter().map(|(name, row)| {
        let mut pieces = vec![Span::styled(format!("{name:<column$} "), style(Tone::Quiet, scene.night))];
        pieces.extend(line(row, scene.night).spans);
        Line::from(pieces)
    });
    frame.render_widget(Paragraph::new(lines.collect::<Vec<_>>()), area);
}

fn trace(frame: &mut Frame<'_>, area: Rect, scene: &Scene) {
    let [top, field] = Layout::vertical([Constraint::Length(1), Constraint::Min(1)]).areas(area);
    let width = usize::from(top.width.saturating_sub(1));
    let sides = [format!("{SIDE:.0} port"), scene.order.clone(), format!("{SIDE:.0} stbd")];
    let used: usize = sides.iter().map(|side| side.chars().count()).sum();
    let words = if used + 2 > width {
        format!("{:^width$}", scene.order)
    } else {
        let left = (width.saturating_sub(sides[1].chars().count())) / 2;
        let before = left.saturating_sub(sides[0].chars().count());
        let after = width.saturating_sub(left + sides[1].chars().count() + sides[2].chars().count());
        format!("{}{:before$}{}{:after$}{}", sides[0], "", sides[1], "", sides[2])
    };
    frame.render_widget(Paragraph::new(words).style(style(Tone::Quiet, scene.night)), top);
    let quiet = colour(Tone::Quiet, scene.night);
    let plain = colour(Tone::Title, scene.night);
    let wrong = colour(Tone::Alarm, scene.night);
    let limit = scene.limit_deg;
    let at = |(off, ago): (f64, f64)| (off.clamp(-SIDE, SIDE), -ago);
    let near = |pair: &&[(f64, f64)]| (pair[0].1 - pair[1].1).abs() <= GAP_S;
    let joined: Vec<_> = scene.trace.windows(2).filter(near).map(|pair| (at(pair[0]), at(pair[1]))).collect();
    // A limit is a row of dots: the line that is drawn through is the lubber line alone.
    let dots: Vec<(f64, f64)> = (0..30)
        .flat_map(|dot| [-scene.limit_deg, scene.limit_deg].map(|x| (x, -f64::from(dot) * TRACE_S / 30.0)))
        .collect();
    let canvas = Canvas::default().marker(Marker::Braille).x_bounds([-SIDE, SIDE]).y_bounds([-TRACE_S, 0.0]).paint(
        move |canvas| {
            canvas.draw(&Points { coords: &dots, color: quiet });
            canvas.draw(&Stroke { x1: 0.0, y1: -TRACE_S, x2: 0.0, y2: 0.0, color: quiet });
            canvas.layer();
            for (one, other) in &joined {
                let color = if one.0.abs().max(other.0.abs()) > limit { wrong } else { plain };
                canvas.draw(&Stroke { x1: one.0, y1: one.1, x2: other.0, y2: other.1, color });
            }
            canvas.print(-SIDE, 0.0, Line::styled("now", Style::new().fg(quiet)));
            canvas.print(-SIDE, -TRACE_S / 2.0, Line::styled("5 min ago", Style::new().fg(quiet)));
        },
    );
    let field = Rect { width: field.width.saturating_sub(1), ..field };
    frame.render_widget(canvas, field);
}

fn line(row: &Row, night: bool) -> Line<'static> {
    let piece = |piece: &crate::view::text::Piece| {
        // A name from a file or a wire must not steer the terminal.
        let text: String = piece.text.chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
        Span::styled(text, style(piece.tone, night))
    };
    Line::from(row.0.iter().map(piece).collect::<Vec<_>>())
}

/// The colours of MSC.191(79), as on the other screens; at night one red, and the words alone tell
/// them apart, with what nobody has answered reversed and flashing.
fn style(tone: Tone, night: bool) -> Style {
    let style = Style::new().fg(colour(tone, night));
    match tone {
        Tone::AlarmUnanswered => {
            style.add_modifier(Modifier::BOLD.union(Modifier::REVERSED).union(Modifier::SLOW_BLINK))
        }
        Tone::Alarm | Tone::Warning | Tone::Title => style.add_modifier(Modifier::BOLD),
        Tone::Plain | Tone::Quiet | Tone::Caution => style,
    }
}

fn colour(tone: Tone, night: bool) -> Color {
    match (tone, night) {
        (Tone::Quiet, true) => Color::Indexed(88),
        (Tone::Alarm | Tone::AlarmUnanswered, true) => Color::LightRed,
        (_, true) => Color::Red,
        (Tone::Plain, _) => Color::Reset,
        (Tone::Title, _) => Color::Reset,
        (Tone::Quiet, _) => Color::DarkGray,
        (Tone::Caution, _) => Color::Yellow,
        (Tone::Warning, _) => Color::Indexed(214),
        (Tone::Alarm | Tone::AlarmUnanswered, _) => Color::LightRed,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    fn scene() -> Scene {
        Scene {
            head: Row::plain("02:11:09  Curlew  ").and(Tone::AlarmUnanswered, "1 ALARM"),
            order: "order 135 C".into(),
            trace: (0..600).map(|s| (if s < 60 { 20.0 } else { 2.0 }, f64::from(s))).collect(),
            limit_deg: 15.0,
            facts: vec![("heading", Row::plain("152 C")), ("course", Row::plain("154 T, 5.8 kn"))],
            alerts: vec![entry("ALARM off-heading HCHDG", "17 to starboard")],
            more: ": lubber status",
            notes: vec![Row::plain("not watched: rudder-lost, never heard")],
            log: vec![Row::plain("02:00:00 ordered heading 135 C")],
            keys: vec![("a acknowledge", 1), ("s silence", 2), ("c steer here", 4), ("n night", 3), ("q end", 0)],
            night: false,
        }
    }

    fn entry(head: &str, text: &str) -> Entry {
        Entry { head: vec![Row::default().and(Tone::AlarmUnanswered, head)], text: vec![Row::plain(text)] }
    }

    fn painted(scene: &Scene, width: u16, height: u16) -> Vec<String> {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
        terminal.draw(|frame| draw(frame, scene)).unwrap();
        let buffer = terminal.backend().buffer().clone();
        (0..height).map(|y| (0..width).map(|x| buffer[(x, y)].symbol()).collect()).collect()
    }

    #[test]
    fn the_usual_terminal_shows_everything() {
        let rows = painted(&scene(), 80, 24);
        let all = rows.join("\n");
        for must in [
            "02:11:09  Curlew  1 ALARM",
            "30 port",
            "order 135 C",
            "30 stbd",
            "heading    152 C",
            "154 T, 5.8 kn",
            "ALARM off-heading HCHDG",
            "not watched: rudder-lost",
            "02:00:00 ordered",
            "a acknowledge",
            "5 min ago",
        ] {
            assert!(all.contains(must), "{must:?} not in\n{all}");
        }
    }

    #[test]
    fn the_trace_stands_where_she_was() {
        let rows = painted(&scene(), 80, 24);
        // 44 columns less one for the field: the lubber line in the middle of 43.
        let row = |y: usize| rows[y].chars().take(43).collect::<Vec<char>>();
        let drawn = |c: &char| ('\u{2801}'..='\u{28ff}').contains(c);
        // The newest minute is 20 degrees to starboard: right of the middle by two thirds of the half.
        assert!(drawn(&row(2)[21 + 14]) || drawn(&row(2)[21 + 15]), "{}", rows.join("\n"));
        // Before that it was 2 degrees: beside the line, and nothing at 20.
        assert!(!drawn(&row(10)[21 + 14]), "{}", rows.join("\n"));
        assert!(drawn(&row(10)[21]), "the lubber line: {}", rows.join("\n"));
    }

    #[test]
    fn a_small_terminal_keeps_what_matters_and_none_is_too_small() {
        let all = painted(&scene(), 40, 8).join("\n");
        assert!(all.contains("1 ALARM") && all.contains("152 C") && all.contains("ALARM off-heading"), "{all}");
        for (width, height) in [(1, 1), (2, 3), (20, 5), (200, 2), (5, 60), (300, 100)] {
            painted(&scene(), width, height);
        }
    }

    #[test]
    fn no_key_is_cut_and_the_one_that_ends_it_is_always_there() {
        let keys = [("a acknowledge", 1), ("s silence", 2), ("c steer here", 4), ("n night", 3), ("q end", 0)];
        assert_eq!(key_lines(&keys, 80, true), ["a acknowledge, s silence, c steer here, n night, q end"]);
        assert_eq!(key_lines(&keys, 40, true), ["a acknowledge, s silence, c steer here,", "n night, q end"]);
        assert_eq!(key_lines(&keys, 40, false), ["a acknowledge, s silence, n night, q end"]);
        assert_eq!(key_lines(&keys, 34, false), ["a acknowledge, s silence, q end"]);
        assert_eq!(key_lines(&keys, 20, false), ["a acknowledge, q end"]);
        assert_eq!(key_lines(&keys, 3, false), ["q end"]);
        let all = painted(&scene(), 40, 10).join("\n");
        assert!(all.contains("n night, q end"), "{all}");
    }

    #[test]
    fn what_finds_no_room_is_said() {
        let alerts = (0..30).map(|n| entry(&format!("alert {n}"), "as was seen")).collect();
        let all = painted(&Scene { alerts, ..scene() }, 80, 24).join("\n");
        assert!(all.contains("alert 6 ") && all.contains("... and 23 more: lubber status"), "{all}");
        assert!(!all.contains("as was seen"), "a head before any text: {all}");
        let notes = (0..30).map(|n| Row::plain(format!("note {n}"))).collect();
        let all = painted(&Scene { notes, more: "", ..scene() }, 80, 24).join("\n");
        assert!(all.contains("... and 27 lines more ") && !all.contains("lubber status"), "{all}");
    }

    #[test]
    fn the_most_urgent_alert_is_seen_on_every_screen_and_what_it_saw_where_there_is_room() {
        let alerts = vec![
            entry("ALARM off-heading", "47 to starboard"),
            entry("ALARM heading-lost", "last heard 4 s ago"),
            entry("ALARM heading-disagreement, over", "over: they agree again"),
        ];
        let scene = Scene { alerts, ..scene() };
        for (width, height) in [(80, 10), (40, 15), (20, 8), (20, 4), (20, 2)] {
            let all = painted(&scene, width, height).join("\n");
            assert!(all.contains("ALARM off-heading"), "{width} x {height}\n{all}");
        }
        for (width, height) in [(80, 10), (40, 15)] {
            let all = painted(&scene, width, height).join("\n");
            assert!(all.contains("47 to starboard") && all.contains("ALARM heading-lost"), "{width} x {height}\n{all}");
        }
        // All that fits is there, each text under its head.
        let all = painted(&scene, 40, 24);
        let row =
            |text: &str| all.iter().position(|row| row.contains(text)).unwrap_or_else(|| panic!("{text}: {all:?}"));
        assert_eq!(row("47 to starboard"), row("ALARM off-heading") + 1);
        assert_eq!(row("over: they agree"), row("ALARM off-heading") + 5);
    }

    #[test]
    fn at_night_there_is_red_light_only_and_names_steer_nothing() {
        let scene = Scene { night: true, head: Row::plain("a\u{1b}[2Jb"), ..scene() };
        let mut terminal = Terminal::new(TestBackend::new(80, 24)).unwrap();
        terminal.draw(|frame| draw(frame, &scene)).unwrap();
        let buffer = terminal.backend().buffer().clone();
        for cell in buffer.content().iter().filter(|cell| cell.symbol() != " ") {
            assert!(matches!(cell.fg, Color::Red | Color::LightRed | Color::Indexed(88)), "{cell:?}");
        }
        assert!(buffer.content().iter().all(|cell| !cell.symbol().contains('\u{1b}')));
    }
}
