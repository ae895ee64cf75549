//! Any sentence: values that cannot be used, void ones, silences.

use lubber_core::time::Span;

use super::About;
use super::grouped;
use super::is_heading;
use super::is_receiver;
use super::is_watched;
use super::listed;
use super::percent;
use super::times;
use crate::analysis::listen::Finding;
use crate::analysis::listen::Kind;
use crate::analysis::listen::Length;
use crate::analysis::listen::Level;
use crate::analysis::listen::Tally;

/// From this share on, sentences without their value call for action. Common practice, no source.
const VOID_SHARE: f64 = 0.05;
/// Of what the watch does not look at, fewer sentences that cannot be read than this are only told.
const MALFORMED_SHARE: f64 = 0.01;
/// A talker is silent for long from here on, and from so many usual intervals.
const LONG: Span = Span::from_s(10);
const LONG_BEATS: u64 = 10;
/// So many shorter silences of a heading are no chance, and from so many an hour on they call for action: a
/// watch raises heading-lost at each. Common practice, no source.
const PAUSES: u64 = 5;
const PAUSES_AN_HOUR: f64 = 1.0;

pub(super) fn rules(about: &About<'_>, out: &mut Vec<Finding>) {
    for tally in about.tallies.iter().filter(|tally| tally.lines() >= 3) {
        malformed(about, tally, out);
    }
    for tally in about.steady() {
        void(about, tally, out);
        if !about.around.untimed {
            silences(about, tally, out);
        }
    }
    no_fix(about, out);
    unusable(about, out);
    overlong(about, out);
    makers(about, out);
}

fn malformed(about: &About<'_>, tally: &Tally, out: &mut Vec<Finding>) {
    let Some(fault) = tally.faults.iter().max_by_key(|fault| fault.count) else { return };
    let name = about.name(tally);
    let text = format!(
        "{name} cannot be read in {} of its sentences ({}): field {} is not {}.",
        percent(tally.malformed, tally.read + tally.malformed),
        times(tally.malformed),
        fault.malformed.field,
        fault.malformed.expected,
    );
    let remedy = "If it is always so, the talker is set wrong or broken; if now and then, the line is disturbed.";
    let seldom = (tally.malformed as f64) < (tally.read + tally.malformed) as f64 * MALFORMED_SHARE;
    let level = if seldom && !is_watched(tally) { Level::Note } else { Level::Advice };
    out.push(Finding::advice(Kind::Malformed, text, remedy).at_level(level).of(tally.source).about([tally.name()]));
}

/// Receivers are told by talker: a fix that is lost is missed in all of its sentences.
fn no_fix(about: &About<'_>, out: &mut Vec<Finding>) {
    let mut done = Vec::new();
    for tally in about.steady().filter(|tally| is_receiver(tally) && tally.void + tally.empty > 0) {
        let receiver = (tally.source, tally.talker);
        if done.contains(&receiver) {
            continue;
        }
        done.push(receiver);
        let same: Vec<&Tally> = about
            .steady()
            .filter(|other| is_receiver(other) && (other.source, other.talker) == receiver)
            .filter(|other| other.void + other.empty > 0)
            .collect();
        let worst = same.iter().copied().max_by(|a, b| a.share_without().total_cmp(&b.share_without()));
        let worst = worst.unwrap_or(tally);
        let names: Vec<String> = same.iter().map(|tally| tally.name()).collect();
        let (is, its) = if same.len() == 1 { ("has", "its") } else { ("have", "their") };
        let text = format!(
            "{}{} {is} no fix in {} of {its} sentences{}.",
            listed(&names),
            if about.several_sources() { format!(" on {}", about.source(tally.source)) } else { String::new() },
            percent(worst.void + worst.empty, worst.read),
            longest(about, worst),
        );
        let remedy = "Check the antenna: a free view of the sky, its plug, its cable.";
        out.push(Finding::advice(Kind::Void, text, remedy).at_level(level(worst)).of(tally.source).about(names));
    }
}

fn level(tally: &Tally) -> Level {
    if tally.share_without() >= VOID_SHARE { Level::Advice } else { Level::Note }
}

/// `, the longest for 90 s from 02:17:00`.
fn longest(about: &About<'_>, tally: &Tally) -> String {
    let longest = tally.longest_without(about.survey.end()).filter(|_| !about.around.untimed);
    longest.map_or(String::new(), |stretch| {
        format!(", the longest for {} from {}", Length(stretch.length), about.survey.clock(stretch.from))
    })
}

fn void(about: &About<'_>, tally: &Tally, out: &mut Vec<Finding>) {
    let without = tally.void + tally.empty;
    // A mode that says why has a rule of its own.
    if without == 0 || !is_watched(tally) || is_receiver(tally) || tally.claims.not_measured >= without {
        return;
    }
    let (says, remedy) = match (is_heading(tally), &tally.formatter.0, tally.void) {
        (true, ..) => (
            "comes without a usable heading",
            "A sensor that is starting, is not calibrated, or has lost its own gyros or compass says this.",
        ),
        (_, b"RSA", 1..) => (
            "says that its rudder angle is not valid (status V)",
            "Check the rudder sensor, its plug and its calibration.",
        ),
        (_, b"RSA", 0) => ("comes without a rudder angle", "Check the rudder sensor, its plug and its calibration."),
        _ => ("comes without a valid value", "Check the sensor it comes from."),
    };
    let text = format!(
        "{} {says} in {} of its sentences ({}){}.",
        about.name(tally),
        percent(without, tally.read),
        times(without),
        longest(about, tally),
    );
    out.push(Finding::advice(Kind::Void, text, remedy).at_level(level(tally)).of(tally.source).about([tally.name()]));
}

fn silences(about: &About<'_>, tally: &Tally, out: &mut Vec<Finding>) {
    // Lines that came and could not be read are no silence.
    if tally.bad() * 10 > tally.read {
        return;
    }
    // What the watch does not look at is told only where it is a steady talker.
    let enough = if is_watched(tally) { 10 } else { 100 };
    let long = tally.beat.usual().map_or(LONG, |usual| LONG.max(usual.times(LONG_BEATS)));
    let name = about.name(tally);
    let level = if is_watched(tally) { Level::Advice } else { Level::Note };
    let line = about.survey.wires().get(usize::from(tally.source.0)).and_then(|wire| wire.last_line());
    let since = line.map_or(Span::ZERO, |line| line.since(tally.last.now));
    if since >= long && tally.read >= enough {
        let text = format!(
            "{name} stopped at {}: nothing of it in the last {}, while others went on.",
            about.survey.clock(tally.last),
            Length(since),
        );
        let remedy = "Its sensor was switched off or failed, or its cable came loose.";
        out.push(Finding::advice(Kind::Stopped, text, remedy).at_level(level).of(tally.source).about([tally.name()]));
    }
    pauses(about, tally, out);
    let Some(gap) = tally.own_gap.filter(|gap| gap.length >= long && tally.read >= enough) else { return };
    let text = format!(
        "{name} was silent for {} from {}, while others went on; it usually comes every {}.",
        Length(gap.length),
        about.survey.clock(gap.from),
        tally.beat.usual().map_or_else(|| "?".into(), |usual| Length(usual).to_string()),
    );
    let remedy = "A sensor that starts anew, a loose plug, or more on the line than its speed can carry.";
    out.push(Finding::advice(Kind::Gaps, text, remedy).at_level(level).of(tally.source).about([tally.name()]));
}

/// A heading that is away for seconds again and again: each time too short to be a long silence.
fn pauses(about: &About<'_>, tally: &Tally, out: &mut Vec<Finding>) {
    let (Some(longest), Some(usual)) = (tally.own_gap, tally.beat.usual()) else { return };
    if !is_heading(tally) || tally.pauses < PAUSES {
        return;
    }
    let hours = tally.last.now.since(tally.first.now).as_ms() as f64 / 3_600_000.0;
    let often = tally.pauses as f64 >= hours * PAUSES_AN_HOUR;
    let text = format!(
        "{} was silent {} for {} s or more, {} at the longest, while others went on; it usually comes every {}.",
        about.name(tally),
        times(tally.pauses),
        Tally::PAUSE.as_s(),
        Length(longest.length),
        Length(usual),
    );
    let remedy = "A loose plug or a corroded contact, a sensor that starts anew, or more on the line than its speed can \
                  carry. A watch raises heading-lost each time.";
    let level = if often { Level::Advice } else { Level::Note };
    out.push(Finding::advice(Kind::Gaps, text, remedy).at_level(level).of(tally.source).about([tally.name()]));
}

/// Optional fields that cannot be used; those of HDG and RMC that matter have a rule of their own.
fn unusable(about: &About<'_>, out: &mut Vec<Finding>) {
    let spare =
        |tally: &Tally| tally.unusable.saturating_sub(tally.claims.deviation.half + tally.claims.variation.half);
    let names: Vec<String> = about
        .steady()
        .filter(|tally| spare(tally) > 0)
        .map(|tally| format!("{} {}", about.name(tally), times(spare(tally))))
        .collect();
    if !names.is_empty() {
        let text = format!(
            "Optional fields are there but cannot be used, and the rest of their sentences stands: {}.",
            listed(&names)
        );
        let sentences = about.steady().filter(|tally| spare(tally) > 0).map(Tally::name);
        out.push(Finding::note(Kind::Unusable, text, "").about(sentences));
    }
}

fn overlong(about: &About<'_>, out: &mut Vec<Finding>) {
    for tally in about.steady().filter(|tally| tally.overlong > 0) {
        let text = format!(
            "{} sends sentences of over 82 characters, more than the standard allows ({}). lubber takes them; other \
             gear may not.",
            about.name(tally),
            times(tally.overlong)
        );
        out.push(Finding::note(Kind::Overlong, text, "").of(tally.source).about([tally.name()]));
    }
}

fn makers(about: &About<'_>, out: &mut Vec<Finding>) {
    let own: Vec<&Tally> = about.steady().filter(|tally| tally.is_proprietary()).collect();
    let total: u64 = own.iter().map(|tally| tally.read).sum();
    if total > 0 {
        let names: Vec<String> = own.iter().map(|tally| tally.name()).collect();
        let text = format!("{} sentences are makers' own ({}): counted, and not read.", grouped(total), listed(&names));
        out.push(Finding::note(Kind::Makers, text, "").about(names));
    }
}
