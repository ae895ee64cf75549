//! Bytes, checksums, refused lines: whether the line itself is sound.

use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Counts;
use lubber_core::frame::Refusal;
use lubber_core::picture::SourceId;

use super::About;
use super::grouped;
use super::listed;
use super::percent;
use super::times;
use crate::analysis::listen::Finding;
use crate::analysis::listen::Kind;
use crate::analysis::listen::Level;
use crate::analysis::listen::Table;
use crate::analysis::listen::Tally;

/// Fewer bytes than this decide nothing.
const NOISE_FROM: u64 = 200;
/// A sound line has well over nine tenths of its bytes in sentences; noise has next to none.
const NOISE_SHARE: f64 = 0.05;
/// A wrong speed and swapped wires spoil a good part of all bytes; with fewer that are no text it is another
/// language. Common practice, no source.
const CLEAN_SHARE: f64 = 0.01;
/// So many lines show whether a checksum is frozen.
const FROZEN_FROM: u64 = 10;
/// More refused lines than this call for action; fewer than [`SEEN_SHARE`] are not worth a sentence.
/// Common practice, no source: a sound installation refuses less than one line in a thousand.
const DAMAGED_SHARE: f64 = 0.01;
const SEEN_SHARE: f64 = 0.001;

pub(super) fn rules(about: &About<'_>, out: &mut Vec<Finding>) {
    for source in about.sources() {
        let counts = about.survey.counts(source);
        if counts.bytes_in == 0 {
            out.push(silent(about, source));
        } else if is_noise(&counts) {
            out.push(noise(about, source, &counts));
        } else {
            checksums(about, source, &counts, out);
        }
    }
    odd_names(about, out);
}

fn silent(about: &About<'_>, source: SourceId) -> Finding {
    let text = format!("Nothing came from {}: not one byte.", about.source(source));
    let remedy = "Check that the talker is switched on, that A and B (or signal and ground) are connected to the \
                  listener and not to its output, and that the port is the right one.";
    Finding::advice(Kind::Silent, text, remedy).of(source)
}

/// Whether bytes come and hardly a sentence, and not for want of good checksums.
fn is_noise(counts: &Counts) -> bool {
    let sums = [Refusal::ChecksumMissing, Refusal::ChecksumWrong].map(|reason| counts.refused[reason as usize]);
    counts.bytes_in >= NOISE_FROM
        && (counts.sentence_bytes as f64) < counts.bytes_in as f64 * NOISE_SHARE
        && sums.iter().sum::<u64>() * 2 <= counts.refused_total()
}

fn noise(about: &About<'_>, source: SourceId, counts: &Counts) -> Finding {
    let strange = about.survey.wires().get(usize::from(source.0)).map_or(0, |wire| wire.strange);
    let text = format!(
        "{} brings {} bytes and {} {}; {} of the bytes are no text.",
        about.source(source),
        grouped(counts.bytes_in),
        if counts.sentences == 0 { "not one sentence".to_owned() } else { grouped(counts.sentences) },
        match counts.sentences {
            0 => "among them",
            1 => "sentence",
            _ => "sentences",
        },
        percent(strange, counts.bytes_in),
    );
    if (strange as f64) < counts.bytes_in as f64 * CLEAN_SHARE {
        let remedy = "It is clean text, so the speed and the wires are right: what talks there does not speak NMEA \
                      0183, or is set to another output. See its manual, or what the file was recorded from.";
        return Finding::advice(Kind::Noise, text, remedy).of(source);
    }
    let remedy = "The speed is not the talker's (4800 is usual, 38400 for AIS and fast headings), or the two wires A \
                  and B are swapped: try ?baud= in the source's name first, then swap the wires.";
    Finding::advice(Kind::Noise, text, remedy).of(source)
}

fn checksums(about: &About<'_>, source: SourceId, counts: &Counts, out: &mut Vec<Finding>) {
    let lines = counts.sentences + counts.refused_total();
    let missing = counts.refused[Refusal::ChecksumMissing as usize];
    let mut left = counts.refused;
    if missing >= FROZEN_FROM && missing as f64 >= lines as f64 * 0.5 {
        left[Refusal::ChecksumMissing as usize] = 0;
        let text = format!("{} of the lines{} have no checksum.", percent(missing, lines), about.of_source(source));
        let remedy = "checksum = \"optional\" for this source in boat.toml (or --checksum optional) reads them; a line \
                      that is damaged then shows only by its form.";
        out.push(Finding::advice(Kind::NoChecksum, text, remedy).of(source));
    }
    let frozen: Vec<&Tally> =
        about.tallies.iter().copied().filter(|tally| tally.source == source && is_frozen(tally)).collect();
    if !frozen.is_empty() {
        let wrong = &mut left[Refusal::ChecksumWrong as usize];
        *wrong = wrong.saturating_sub(frozen.iter().map(|tally| tally.spoilt).sum());
        out.push(frozen_checksums(about, source, &frozen));
    }
    let wrong: u64 = about.tallies.iter().filter(|tally| tally.source == source).map(|tally| tally.sums.wrong).sum();
    if about.around.policies.get(usize::from(source.0)) == Some(&ChecksumPolicy::Ignored) {
        let text = format!(
            "Checksums{} are not looked at: {} with a wrong one passed, damaged ones too.",
            about.of_source(source),
            if wrong == 1 { "1 line".to_owned() } else { format!("{} lines", grouped(wrong)) },
        );
        let remedy = "Mend the talker and set checksum = \"required\" again.";
        out.push(Finding::note(Kind::ChecksumIgnored, text, remedy).of(source));
    }
    damaged(about, source, (lines, counts.refused_total()), &left, out);
}

/// Whether a checksum is always the same and nearly always wrong. It is right by chance once in 256.
pub(super) fn is_frozen(tally: &Tally) -> bool {
    let sums = &tally.sums;
    sums.same >= FROZEN_FROM && sums.other * 50 <= sums.same && sums.wrong * 10 >= sums.same * 8
}

fn frozen_checksums(about: &About<'_>, source: SourceId, frozen: &[&Tally]) -> Finding {
    let names: Vec<String> = frozen.iter().map(|tally| tally.name()).collect();
    let sum = |tally: &Tally| String::from_utf8_lossy(&tally.sums.digits).into_owned();
    let on = if about.several_sources() { format!(" on {}", about.source(source)) } else { String::new() };
    let text = match frozen {
        [one] => {
            format!("All checksums of {}{on} are the same ({}): the talker's checksum is broken.", one.name(), sum(one))
        }
        _ => format!(
            "All checksums of {} are the same{on}, one for each sentence ({} of {}): the talker's checksum is broken.",
            listed(&names),
            sum(frozen[0]),
            frozen[0].name(),
        ),
    };
    let remedy = "checksum = \"ignored\" for this source in boat.toml (or --checksum ignored) would read it, damaged \
                  lines too. Better: update or replace the talker, or what recorded it.";
    Finding::advice(Kind::FrozenChecksum, text, remedy).of(source).about(names)
}

/// `left` are the refused lines by reason that no other finding explains, of all the lines and all refused.
fn damaged(about: &About<'_>, source: SourceId, (lines, all): (u64, u64), left: &[u64], out: &mut Vec<Finding>) {
    let refused: u64 = left.iter().sum();
    let share = refused as f64 / lines.max(1) as f64;
    // One line is cut wherever a recording begins or ends.
    if refused < 3 || share < SEEN_SHARE {
        return;
    }
    let most = Refusal::ALL.into_iter().max_by_key(|reason| left[*reason as usize]);
    let besides = match all.saturating_sub(refused) {
        0 => String::new(),
        told => format!("Besides the {} whose talker makes no right checksum, ", grouped(told)),
    };
    let text = format!(
        "{besides}{} of the lines{} were refused ({}), the most for this: {}.",
        percent(refused, lines),
        about.of_source(source),
        times(refused),
        most.map_or("", Refusal::words),
    );
    let remedy = "Look for a bad crimp or a corroded plug, a cable beside a radio's or the drive's, two talkers on one \
                  pair of wires, or a talker that sends more than its speed can carry.";
    let level = if share >= DAMAGED_SHARE { Level::Advice } else { Level::Note };
    out.push(Finding::advice(Kind::Damaged, text, remedy).at_level(level).of(source));
}

/// Names that damage made, with a right checksum.
fn odd_names(about: &About<'_>, out: &mut Vec<Finding>) {
    const NAMES: usize = 5;
    let odd: Vec<String> =
        about.tallies.iter().filter(|tally| about.is_ghost(tally)).map(|tally| tally.name()).collect();
    if odd.len() >= NAMES {
        let text = format!(
            "{} names are hardly ever there, or the same sentence comes a hundred times more often from another \
             talker: {}. Their checksums are right.",
            odd.len(),
            listed(&odd)
        );
        let remedy = "They are damage from before the checksum was made: suspect what forwards or records the \
                      sentences (a multiplexer or gateway), for here no checksum protects the values.";
        out.push(Finding::advice(Kind::OddNames, text, remedy).about(odd));
    }
    let unlisted = about.survey.table().unlisted;
    if unlisted > 0 {
        let text = format!(
            "More names than are told apart ({}): {} further lines are in no row of the table.",
            Table::MOST,
            grouped(unlisted)
        );
        out.push(Finding::note(Kind::TooManyNames, text, ""));
    }
}
