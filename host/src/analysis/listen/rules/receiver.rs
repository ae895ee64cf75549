//! Positions and dates: two receivers, leaps, dates that cannot be right.

use super::About;
use super::is_receiver;
use crate::analysis::listen::Finding;
use crate::analysis::listen::Kind;
use crate::analysis::listen::Length;
use crate::analysis::listen::Level;
use crate::analysis::listen::Tally;
use crate::analysis::listen::Unit;
use crate::analysis::listen::dates::ROLLOVER_MS;
use chrono::DateTime;
use lubber_core::time::Span;

/// Two receivers further apart than this on average do not both know where the boat is.
/// Common practice, no source: a civil receiver is good to some 10 m.
const APART_M: f64 = 50.0;
/// So many comparisons make a mean.
const COMPARED: u64 = 10;
/// A position that leaps so far within ten seconds left the boat behind: over 38 knots.
const LEAP_M: i64 = 200;
/// A log's stamps and the time of its talkers may differ by the delay of the line.
const CLOCK_OFF_MS: i64 = 3_000;

pub(super) fn rules(about: &About<'_>, out: &mut Vec<Finding>) {
    beside(about, out);
    for tally in about.steady() {
        leaps(about, tally, out);
        dates(about, tally, out);
    }
}

fn beside(about: &About<'_>, out: &mut Vec<Finding>) {
    let ground =
        about.survey.heard.picture.grounds().iter().min_by_key(|channel| channel.origin.formatter.0 != *b"RMC");
    let steady = |receiver| about.steady().any(|tally| is_receiver(tally) && (tally.source, tally.talker) == receiver);
    for pair in about.survey.heard.receivers.pairs.iter().filter(|pair| pair.count >= COMPARED) {
        if !steady(pair.one) || !steady(pair.other) {
            continue;
        }
        let name = |(source, talker): (_, lubber_core::frame::Talker)| about.named(source, talker.as_str());
        let used = ground.map_or(String::new(), |channel| {
            format!(
                " Course and speed are taken from {}.",
                about.named(channel.origin.source, &channel.origin.to_string())
            )
        });
        let mean = pair.mean();
        let text = format!(
            "Talkers {} and {} both send positions, {:.0} m apart on average, at most {:.0} m at {}: two receivers, or \
             one that is repeated.{used}",
            name(pair.one),
            name(pair.other),
            mean,
            pair.most.0,
            about.survey.clock(pair.most.1),
        );
        let finding = if mean > APART_M {
            Finding::advice(Kind::TwoReceivers, text, "One of them is wrong: compare both with a known place.")
        } else {
            Finding::note(Kind::TwoReceivers, text, "")
        };
        let names = about
            .steady()
            .filter(|tally| is_receiver(tally) && [pair.one, pair.other].contains(&(tally.source, tally.talker)));
        out.push(finding.about(names.map(Tally::name)));
    }
}

fn leaps(about: &About<'_>, tally: &Tally, out: &mut Vec<Finding>) {
    let Some((leap, at)) = tally.leap.filter(|(leap, _)| leap.unit == Unit::Metres) else { return };
    if leap.thousandths / 1000 < LEAP_M || about.around.untimed {
        return;
    }
    let text = format!(
        "The position of {} leapt by {} m at {}, faster than any sailing boat.",
        about.name(tally),
        leap.thousandths / 1000,
        about.survey.clock(at)
    );
    let remedy = "A receiver that lost its fix, jamming, or damage on the line that the checksum does not show.";
    out.push(Finding::advice(Kind::PositionLeaps, text, remedy).of(tally.source).about([tally.name()]));
}

fn dates(about: &About<'_>, tally: &Tally, out: &mut Vec<Finding>) {
    let dates = &tally.dates;
    let name = about.name(tally);
    let mut push = |finding: Finding| out.push(finding.of(tally.source).about([tally.name()]));
    if dates.none_yet > 0 {
        let level = if dates.none_yet == dates.said { Level::Advice } else { Level::Note };
        let how_many = if dates.none_yet == dates.said { "all".into() } else { dates.none_yet.to_string() };
        let text = format!(
            "The dates of {name} are of {} ({how_many} of {}): it does not know the date yet.",
            dates.none_yet_year, dates.said
        );
        let remedy = "A receiver learns the date with its first fix; a gateway may have to be told. Without it there is \
                      no variation by the World Magnetic Model.";
        push(Finding::advice(Kind::NoDate, text, remedy).at_level(level));
    }
    if dates.behind > 0 {
        let text = format!(
            "The GPS dates of {name} are {} weeks old (the GPS week number starts anew every 1024 weeks).",
            dates.behind_weeks
        );
        let remedy = "The watch mends them; other gear may not, and its variation and tides are then wrong. Update the \
                      receiver or replace it.";
        push(Finding::advice(Kind::DatesBehind, text, remedy));
    }
    let day = |ms: i64| DateTime::from_timestamp_millis(ms).map(|day| day.format("%Y-%m-%d").to_string());
    if let (Some(last), Some(today)) = (dates.last_ms, about.around.today_ms)
        && dates.behind == 0
        && last + ROLLOVER_MS <= today
        && let (Some(said), Some(mended)) = (day(last), day(last + ROLLOVER_MS))
    {
        let text = format!(
            "The dates of {name} are old ({said}). If this was recorded lately, they are 1024 weeks behind and it is \
             {mended}."
        );
        push(Finding::note(Kind::DatesOld, text, "Compare with the day on which you recorded it."));
    }
    if let Some(offset) = dates.offset_ms.filter(|offset| offset.abs() > CLOCK_OFF_MS) {
        let text = format!(
            "The stamps of the log are {} {} the time that {name} says.",
            Length(Span::from_ms(offset.unsigned_abs())),
            if offset > 0 { "ahead of" } else { "behind" },
        );
        let remedy = "Set the clock of the recorder; the times told here are the log's own.";
        push(Finding::note(Kind::ClockOff, text, remedy));
    }
}
