//! The passage as text, for people.

use super::account::AlertAccount;
use super::account::Episode;
use super::gather::Passage;
use super::gather::Watch;
use super::keeping::Keeping;
use crate::journal::AlertEntry;
use crate::journal::WordEntry;
use crate::view::Stamp;
use crate::view::number::Count;
use crate::view::text::Row;
use crate::view::text::Tone;
use crate::view::text::wrap;

/// The rows, at most `width` characters each.
pub(super) fn rows(passage: &Passage, width: usize) -> Vec<Row> {
    let mut rows = vec![Row::default().and(Tone::Title, format!("passage, from {}", passage.journal.display()))];
    let (told, known) = (passage.watches.len(), passage.known);
    if told < known {
        let words = format!("{told} of the {known} watches in it; the others by: --watch N, or --watch all");
        rows.extend(wrap(&words, width, 0).into_iter().map(Row::plain));
    }
    for watch in &passage.watches {
        rows.push(Row::default());
        rows.extend(one(watch, width));
    }
    rows
}

fn one(watch: &Watch, width: usize) -> Vec<Row> {
    let episodes = watch.episodes();
    let mut rows = head(watch, width);
    rows.extend(what_happened(watch, width));
    rows.extend(alerts(watch, &episodes, width));
    rows.extend(course(watch, width));
    rows.extend(sources(watch));
    rows.extend(unjudged(watch, width));
    rows
}

fn section(words: &str) -> [Row; 2] {
    [Row::default(), Row::default().and(Tone::Title, words)]
}

fn head(watch: &Watch, width: usize) -> Vec<Row> {
    let row = &watch.row;
    let title = match &row.boat {
        Some(boat) => format!("WATCH {} of {boat}", row.number),
        None => format!("WATCH {}", row.number),
    };
    let kind = if row.replayed { ", a log replayed" } else { "" };
    let mut rows = vec![Row::default().and(Tone::Title, format!("{title}{kind}"))];
    let end = watch.stamp(u64::try_from(row.lasted_ms).unwrap_or(0));
    let how = match watch.ending() {
        "inputs-ended" => "ended with its inputs",
        "interrupted" => "ended by hand",
        "running-or-cut-off" => "no end is written: it still runs, or was cut off",
        _ => "no end is written: it was CUT OFF, by power or by a fault",
    };
    let times = match (watch.stamp(0).iso(), end.iso()) {
        (Some(began), Some(ended)) => format!("{} to {} UTC", minute(&began), minute(&ended)),
        _ => "at a time that no talker gave".into(),
    };
    let lasted = lasting(u64::try_from(row.lasted_ms).unwrap_or(0));
    let mut lines = vec![("kept", format!("{times}, {lasted}; {how}"))];
    if watch.span != (0, u64::try_from(row.lasted_ms).unwrap_or(0)) {
        let (from, to) = (watch.stamp(watch.span.0), watch.stamp(watch.span.1));
        lines
            .push(("told of", format!("{} to {}, {}", from.clock(), to.clock(), lasting(watch.span.1 - watch.span.0))));
    }
    let settings: Option<serde_json::Value> = serde_json::from_str(&row.settings).ok();
    for (name, text) in settings.as_ref().and_then(serde_json::Value::as_object).into_iter().flatten() {
        if name.starts_with("source") || name == "heading" {
            lines.push((if name == "heading" { "heading" } else { "source" }, text.as_str().unwrap_or("").to_owned()));
        }
    }
    for card in &watch.cards {
        let digest =
            card.digest.as_deref().map(|digest| format!(", SHA-256 {}...", digest.get(..12).unwrap_or(digest)));
        let sensor = card.sensor.as_deref().map(|sensor| format!(", of {sensor}")).unwrap_or_default();
        let date = card.date.as_deref().map(|date| format!(", made {date}")).unwrap_or_default();
        lines.push(("card", format!("{}{sensor}{date}{}", card.file, digest.unwrap_or_default())));
    }
    lines.push(("by", format!("lubber {}", row.version)));
    for (name, text) in lines {
        for (place, line) in wrap(&text, width, 11).into_iter().enumerate() {
            let name = if place == 0 { name } else { "" };
            rows.push(Row::plain(format!("  {name:<8} {}", line.trim_start())));
        }
    }
    rows
}

/// `2026-07-14 01:50` of an ISO time.
fn minute(iso: &str) -> String {
    iso.get(..16).unwrap_or(iso).replace('T', " ")
}

/// A thing of the time line: a change of an alert, or a word.
enum Thing<'a> {
    Change(&'a AlertEntry),
    Word(&'a WordEntry),
}

impl Thing<'_> {
    fn at(&self) -> Stamp {
        match self {
            Self::Change(change) => change.at,
            Self::Word(word) => word.at,
        }
    }
}

fn what_happened(watch: &Watch, width: usize) -> Vec<Row> {
    let mut rows = section("WHAT HAPPENED").to_vec();
    let within = |at: Stamp| (watch.span.0..=watch.span.1).contains(&at.since_start_ms);
    let changes = watch.alerts.iter().filter(|change| within(change.at)).map(Thing::Change);
    let mut things: Vec<Thing<'_>> = changes.chain(watch.words.iter().map(Thing::Word)).collect();
    things.sort_by_key(|thing| thing.at().since_start_ms);
    let mut day = None;
    for thing in &things {
        let at = thing.at();
        if at.day().is_some() && at.day() != day {
            day = at.day();
            rows.push(Row::plain(format!("{} UTC", day.as_deref().unwrap_or_default())));
        }
        match thing {
            Thing::Change(change) => rows.extend(changed(change, width)),
            Thing::Word(word) => {
                let said = match (word.who.as_str(), word.obeyed) {
                    ("watch", _) | (_, Some(_)) => word.text.clone(),
                    (who, None) => format!("{} ({who})", word.text),
                };
                rows.extend(timed(at, Row::default(), &said, width));
            }
        }
    }
    if things.is_empty() {
        rows.push(Row::plain("nothing"));
    }
    rows
}

/// A line behind its time; `mark` stands before the words.
fn timed(at: Stamp, mark: Row, words: &str, width: usize) -> Vec<Row> {
    let clock = at.clock();
    let indent = clock.len() + 1;
    let taken = mark.width();
    let mut lines = wrap(words, width.saturating_sub(taken), indent).into_iter();
    let first = lines.next().unwrap_or_default();
    let mut head = Row::plain(format!("{clock} "));
    head.0.extend(mark.0);
    let head = head.and(Tone::Plain, first.trim_start());
    std::iter::once(head).chain(lines.map(Row::plain)).collect()
}

fn changed(change: &AlertEntry, width: usize) -> Vec<Row> {
    let (word, tone) = match (change.state.as_str(), change.priority.as_str()) {
        ("normal", priority) => (format!("over ({priority}) "), Tone::Plain),
        (_, "alarm") => ("ALARM ".into(), Tone::Alarm),
        (_, "warning") => ("WARNING ".into(), Tone::Warning),
        _ => ("caution ".into(), Tone::Caution),
    };
    let mut what = format!("{} {}: {}", change.alert, change.instance, change.state);
    if change.escalated {
        what += ", was a warning that nobody answered";
    } else if change.repeated {
        what += ", not answered";
    }
    if let Some(cause) = &change.follows {
        what += &format!(", follows from {cause}");
    }
    let mut rows = timed(change.at, Row::default().and(tone, word), &what, width);
    // What was seen is told once, when it was raised.
    if matches!(change.state.as_str(), "active" | "active-unacknowledged") && !change.repeated {
        rows.extend(wrap(&change.text, width, change.at.clock().len() + 1).into_iter().map(Row::plain));
    }
    rows
}

fn alerts(watch: &Watch, episodes: &[Episode], width: usize) -> Vec<Row> {
    let accounts = watch.alert_accounts(episodes);
    let asked = watch.somebody_was_asked();
    if accounts.is_empty() {
        return section("ALERTS").into_iter().chain([Row::plain("none was raised")]).collect();
    }
    let mut rows = section("ALERTS                               raised       stood     longest  answered").to_vec();
    for account in &accounts {
        let tone = match account.priority.as_str() {
            "alarm" => Tone::Alarm,
            "warning" => Tone::Warning,
            _ => Tone::Caution,
        };
        let answered = match (account.priority.as_str(), account.answered) {
            ("caution", _) => "-".into(),
            _ if !asked => "-".into(),
            (_, answered) => format!("{answered} of {}", account.raised),
        };
        let priority = if account.priority == "caution" { "caution".into() } else { account.priority.to_uppercase() };
        rows.push(Row::default().and(tone, format!("{priority:<8}")).and(
            Tone::Plain,
            format!(
                "{:<28} {:>6} {:>11} {:>11}  {answered}",
                account.alert,
                account.raised,
                lasting(account.stood_ms),
                lasting(account.longest_ms)
            ),
        ));
        for line in wrap(&remarks(account, asked), width, 8) {
            rows.push(Row::plain(line));
        }
    }
    rows
}

/// What there is to say of one; `asked`: there was somebody who could have answered.
fn remarks(account: &AlertAccount, asked: bool) -> String {
    let mut remarks = vec![account.instance.clone()];
    if let (Some(longest), Some(mean)) = (account.answer_longest_ms, account.answer_mean_ms) {
        remarks.push(if account.answered == 1 {
            format!("answered after {}", lasting(longest))
        } else {
            format!("answered after {} on average, {} at the longest", lasting(mean), lasting(longest))
        });
    }
    if account.unanswered > 0 && !asked {
        remarks.push("replayed: nobody was asked".into());
    } else if account.unanswered > 0 {
        remarks.push(format!(
            "NOBODY ANSWERED {}",
            if account.raised == 1 { String::new() } else { format!("{} of them", account.unanswered) }
        ));
    }
    if account.escalated > 0 {
        remarks.push(format!("{} became an alarm", account.escalated));
    }
    if account.followed > 0 {
        remarks.push(format!("{} followed from another alert", account.followed));
    }
    if account.stands {
        remarks.push("still stood at the end".into());
    }
    remarks.iter().map(|remark| remark.trim_end()).collect::<Vec<_>>().join("; ")
}

fn course(watch: &Watch, width: usize) -> Vec<Row> {
    let (total, hours) = watch.keeping();
    let limit = watch.row.limit_mdeg as f64 / 1000.0;
    let mut rows = section(&format!("COURSE KEEPING (within: within {limit:.0} degrees of the order)")).to_vec();
    if total.minutes == 0 {
        rows.push(Row::plain("no minute was kept"));
        return rows;
    }
    let utc = watch.minutes.iter().any(|minute| minute.at.utc_ms.is_some());
    rows.push(Row::plain(format!(
        "{:<6} {:>9} {:>6} {:>6} {:>8} {:>9} {:>11} {:>7} {:>7}",
        if utc { "UTC" } else { "since" },
        "off order",
        "rms",
        "yaw",
        "within",
        "rudder",
        "rudder goes",
        "speed",
        "miles"
    )));
    let line = |name: &str, keeping: &Keeping| {
        Row::plain(
            format!(
                "{name:<6} {:>9} {:>6} {:>6} {:>8} {:>9} {:>11} {:>7} {:>7}",
                to_side(keeping.off_deg()),
                one_decimal(keeping.off_rms_deg()),
                one_decimal(keeping.yaw_deg()),
                keeping.within().map_or("-".into(), |part| percent(part, keeping.judged_s - keeping.within_s)),
                to_side(keeping.rudder_deg()),
                keeping.travel_deg_per_min().map_or("-".into(), |travel| format!("{travel:.0}/min")),
                one_decimal(keeping.speed_kn()),
                one_decimal(keeping.distance_nm()),
            )
            .trim_end(),
        )
    };
    if hours.len() > 1 {
        for (at, keeping) in &hours {
            let clock = at.clock();
            let name =
                if at.utc_ms.is_some() { clock.get(..5).unwrap_or(&clock) } else { clock.get(..5).unwrap_or("") };
            rows.push(line(name, keeping));
        }
    }
    rows.push(line("all", &total));
    let without = total.samples - total.headings;
    if without > 0 {
        rows.push(Row::plain(format!(
            "no heading for {} of {}",
            lasting(without.unsigned_abs() * 1000),
            lasting(total.samples.unsigned_abs() * 1000)
        )));
    }
    if total.doubted_s > 0 {
        let doubted = lasting(total.doubted_s.unsigned_abs() * 1000);
        let words = format!(
            "NOT COUNTED in the first four: {doubted} in minutes in which heading-disagreement, -lost or -frozen stood, \
             for then the heading says nothing of the course"
        );
        rows.extend(wrap(&words, width, 0).into_iter().map(Row::plain));
    }
    rows.push(Row::plain("degrees; yaw: about the straight line through each minute; kn and nautical miles"));
    rows
}

/// A part of the time in per cent; all of it only where nothing is missing.
fn percent(part: f64, missing: i64) -> String {
    let percent = (part * 100.0).round();
    if percent >= 100.0 && missing > 0 { "99.9 %".into() } else { format!("{percent:.0} %") }
}

fn one_decimal(value: Option<f64>) -> String {
    value.map_or("-".into(), |value| format!("{value:.1}"))
}

/// `1.2 stbd`, `0.4 port`, `0.0`.
fn to_side(degrees: Option<f64>) -> String {
    let Some(degrees) = degrees else { return "-".into() };
    let shown = format!("{:.1}", degrees.abs());
    match shown.as_str() {
        "0.0" => shown,
        _ if degrees < 0.0 => format!("{shown} port"),
        _ => format!("{shown} stbd"),
    }
}

fn sources(watch: &Watch) -> Vec<Row> {
    let accounts = watch.sources();
    let mut rows = section("SOURCES                       sentences  refused  gaps over 5 s  longest silence").to_vec();
    for account in &accounts {
        let name: String = account.source.chars().take(28).collect();
        rows.push(Row::plain(format!(
            "{name:<28} {:>10} {:>8} {:>14}  {:>15}",
            Count(account.sentences.unsigned_abs()).to_string(),
            Count(account.refused.unsigned_abs()).to_string(),
            account.gaps,
            lasting(account.longest_silence_ms.unsigned_abs())
        )));
    }
    if accounts.is_empty() {
        rows.push(Row::plain("no minute was kept"));
    }
    rows
}

fn unjudged(watch: &Watch, width: usize) -> Vec<Row> {
    let mut rows = section("NOT WATCHED (to the minute)").to_vec();
    let Some(unjudged) = watch.unjudged() else {
        rows.push(Row::plain("the journal was written before this was kept"));
        return rows;
    };
    for one in &unjudged {
        let why: Vec<String> = one.why.iter().map(|(why, ms)| format!("{} {why}", lasting(*ms))).collect();
        let words = match one.why.as_slice() {
            [(why, _)] => why.clone(),
            _ => why.join("; "),
        };
        for (place, line) in wrap(&words, width, 39).into_iter().enumerate() {
            let name = if place == 0 { format!("{:<26}{:>11}", one.alert, lasting(one.ms)) } else { String::new() };
            rows.push(Row::plain(format!("{name:<37}  {}", line.trim_start())));
        }
    }
    if unjudged.is_empty() {
        rows.push(Row::plain("everything was, all the time"));
    }
    rows
}

/// `42 s`, `5 min 12 s`, `3 h 05 min`, `2 d 4 h`.
pub(super) fn lasting(ms: u64) -> String {
    let s = (ms + 500) / 1000;
    match s {
        0..60 => format!("{s} s"),
        60..3_600 if s.is_multiple_of(60) => format!("{} min", s / 60),
        60..3_600 => format!("{} min {} s", s / 60, s % 60),
        3_600..86_400 => format!("{} h {:02} min", s / 3_600, s / 60 % 60),
        _ => format!("{} d {} h", s / 86_400, s / 3_600 % 24),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_and_sides_in_words() {
        let said = [400, 59_400, 59_600, 312_000, 11_100_000, 187_200_000].map(lasting);
        assert_eq!(said, ["0 s", "59 s", "1 min", "5 min 12 s", "3 h 05 min", "2 d 4 h"]);
        assert_eq!(to_side(Some(-0.44)), "0.4 port");
        assert_eq!(to_side(Some(0.04)), "0.0");
        assert_eq!(percent(0.9999, 1), "99.9 %");
        assert_eq!(percent(1.0, 0), "100 %");
    }
}
