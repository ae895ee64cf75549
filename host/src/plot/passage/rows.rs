//! The rows below the curves: one an alert, one a source.

use super::ALERT_ROWS;
use super::Bar;
use super::Chart;
use super::LEFT;
use super::RIGHT;
use super::SOURCE_ROWS;
use super::Stand;
use super::Time;
use crate::plot::pen::Pen;
use crate::plot::words;

/// The rows of the alerts: most urgent first, then as they came.
pub(super) fn of_alerts(chart: &Chart) -> Vec<(&Stand, Vec<&Stand>)> {
    let mut rows: Vec<(&Stand, Vec<&Stand>)> = Vec::new();
    for stand in &chart.stands {
        match rows.iter_mut().find(|(first, _)| first.alert == stand.alert && first.instance == stand.instance) {
            Some((_, all)) => all.push(stand),
            None => rows.push((stand, vec![stand])),
        }
    }
    let rank = |priority: &str| match priority {
        "alarm" => 0,
        "warning" => 1,
        _ => 2,
    };
    rows.sort_by_key(|(_, all)| all.iter().map(|stand| rank(&stand.priority)).min());
    rows
}

pub(super) fn draw_alerts(pen: &mut Pen, rows: &[(&Stand, Vec<&Stand>)], time: &Time, top: f64) -> f64 {
    pen.text(LEFT, top, 3.3, "start", "strong", "Alerts");
    let legend = [("alarm", "alarm"), ("warning", "warning"), ("caution", "caution")];
    let mut x = RIGHT - 92.0;
    for (class, words) in legend {
        pen.rect(x, top - 2.4, 5.0, 2.6, class);
        pen.text(x + 6.3, top, 2.8, "start", "", words);
        x += 23.0;
    }
    answer(pen, x + 1.0, top - 1.1);
    pen.text(x + 3.5, top, 2.8, "start", "", "answered");
    let mut y = top + 3.0;
    if rows.is_empty() {
        pen.text(LEFT, y + 2.6, 2.8, "start", "", "none was raised");
        return y + 4.0;
    }
    let most = if rows.len() > ALERT_ROWS { ALERT_ROWS - 1 } else { ALERT_ROWS };
    for (first, all) in rows.iter().take(most) {
        pen.text(LEFT - 1.5, y + 1.5, 2.5, "end", "", &words::short(&first.alert, 24));
        pen.text(LEFT - 1.5, y + 3.7, 1.9, "end", "faint", &words::short(&first.instance, 32));
        pen.line(LEFT, y + 2.0, RIGHT, y + 2.0, "grid");
        for stand in all {
            let (from, to) = (time.x(stand.from), time.x(stand.to));
            pen.rect(from, y + 0.3, (to - from).max(0.7), 3.4, &stand.priority);
            if stand.stands {
                pen.path(&[(to - 1.6, y + 0.8), (to - 0.4, y + 2.0), (to - 1.6, y + 3.2)], false, "onward");
            }
            if let Some(answered) = stand.answered {
                answer(pen, time.x(answered), y + 2.0);
            }
        }
        y += 5.0;
    }
    if rows.len() > most {
        let words = format!("and {} more alerts: see lubber passage", rows.len() - most);
        pen.text(LEFT, y + 2.6, 2.6, "start", "", &words);
        y += 5.0;
    }
    y
}

fn answer(pen: &mut Pen, x: f64, y: f64) {
    pen.path(&[(x - 1.1, y), (x - 0.3, y + 0.9), (x + 1.2, y - 1.0)], false, "answer-edge");
    pen.path(&[(x - 1.1, y), (x - 0.3, y + 0.9), (x + 1.2, y - 1.0)], false, "answer");
}

pub(super) fn draw_sources(pen: &mut Pen, chart: &Chart, time: &Time, top: f64) {
    pen.text(LEFT, top, 3.3, "start", "strong", "Sources");
    let x = RIGHT - 92.0;
    for (at, class, words) in [(0.0, "well", "came"), (23.0, "silent", "silent"), (46.0, "refused", "lines refused")] {
        pen.rect(x + at, top - 2.4, 5.0, 2.6, class);
        pen.text(x + at + 6.3, top, 2.8, "start", "", words);
    }
    let mut y = top + 3.0;
    for strip in chart.strips.iter().take(SOURCE_ROWS) {
        pen.text(LEFT - 1.5, y + 2.8, 2.5, "end", "", &tail(&strip.source, 22));
        for (from, to) in &chart.watches {
            pen.rect(time.x(*from), y + 0.3, time.x(*to) - time.x(*from), 3.4, "well");
        }
        // A minute that is narrower than the pen is joined with its neighbours, the worst of them shown.
        for group in bars(&strip.bars, time) {
            let (from, to) = (time.x(group.from), time.x(group.to));
            if group.refused > 0.0 {
                let height = 3.4 * group.refused.max(0.25);
                pen.rect(from, y + 3.7 - height, to - from, height, "refused");
            }
            if group.silent > 0.0 {
                pen.rect(from, y + 0.3, (to - from) * group.silent, 3.4, "silent");
            }
        }
        y += 5.0;
    }
    if chart.strips.is_empty() {
        pen.text(LEFT, y + 2.6, 2.8, "start", "", "no minute was kept");
    }
}

/// What is worth a mark, joined to at least half a millimetre.
fn bars(bars: &[Bar], time: &Time) -> Vec<Bar> {
    let least = 0.5 / (RIGHT - LEFT) * (time.to - time.from);
    let mut joined: Vec<Bar> = Vec::new();
    for bar in bars.iter().filter(|bar| bar.silent > 0.0 || bar.refused > 0.0) {
        match joined.last_mut().filter(|last| bar.to - last.from < least) {
            Some(last) => {
                last.to = bar.to;
                last.silent = last.silent.max(bar.silent);
                last.refused = last.refused.max(bar.refused);
            }
            None => joined.push(Bar { to: bar.to.max(bar.from + least), ..*bar }),
        }
    }
    joined
}

/// The last `most` characters: of a path its file.
fn tail(name: &str, most: usize) -> String {
    let count = name.chars().count();
    if count <= most {
        return name.to_owned();
    }
    format!("...{}", name.chars().skip(count - (most - 3)).collect::<String>())
}
