//! Headings side by side: one sensor or two, and how far apart.

use lubber_core::frame::Formatter;
use lubber_core::frame::Talker;
use lubber_core::picture::HeadingChannel;
use lubber_core::picture::Kinship;
use lubber_core::picture::SourceId;

use super::About;
use crate::analysis::listen::Finding;
use crate::analysis::listen::Kind;
use crate::analysis::listen::Level;

/// Two headings of one formatter that differ by more on average are to be looked at. A good compass
/// without a card is off by a few degrees; common practice, no source.
const DIFFER_DEG: f64 = 5.0;
/// So many comparisons make a mean.
const COMPARED: u64 = 10;
/// A heading heard less often is damage, and no sensor.
const HEARD: u64 = 10;

pub(super) fn rules(about: &About<'_>, out: &mut Vec<Finding>) {
    let picture = &about.survey.heard.picture;
    let headings = picture.headings();
    let heard = |channel: &HeadingChannel| {
        let origin = channel.origin;
        about.steady().any(|tally| {
            (tally.source, tally.talker, tally.formatter) == (origin.source, origin.talker, origin.formatter)
                && tally.claims.headings >= HEARD
        })
    };
    let name = |channel: &HeadingChannel| about.named(channel.origin.source, &channel.origin.to_string());
    let plain = |channels: [&HeadingChannel; 2]| channels.map(|channel| channel.origin.to_string());
    for (index, channel) in headings.iter().enumerate().filter(|(_, channel)| heard(channel)) {
        if let Some(kept) = picture.copy_of(index) {
            let text = format!(
                "{} and {} are one sensor: their difference stayed constant while the boat turned through 90 degrees. \
                 They count as one witness.",
                name(kept),
                name(channel)
            );
            let remedy = "A second, independent heading would show a false compass sooner.";
            out.push(Finding::note(Kind::OneSensor, text, remedy).about(plain([kept, channel])));
            continue;
        }
        for (earlier, other) in headings[..index].iter().enumerate().filter(|(_, channel)| heard(channel)) {
            if picture.copy_of(earlier).is_some() {
                continue;
            }
            let finding = match picture.kinship(earlier, index) {
                Kinship::Two => {
                    let text =
                        format!("{} and {} are two sensors: two witnesses of the heading.", name(other), name(channel));
                    Finding::note(Kind::TwoSensors, text, "")
                }
                Kinship::Unknown => {
                    let (text, remedy) = untold(other, channel);
                    let text = format!(
                        "Whether {} and {} are one sensor cannot be told yet.{text}",
                        name(other),
                        name(channel)
                    );
                    Finding::note(Kind::KinshipUnknown, text, remedy)
                }
                Kinship::OneSensor => continue,
            };
            out.push(finding.about(plain([other, channel])));
        }
    }
    differ(about, out);
}

/// Why no kinship was found, and what is to be done. A log has no compass of its own, and one talker sends one
/// sensor's heading in several sentences: the watch takes neither for a second sensor, whatever it does.
fn untold(one: &HeadingChannel, other: &HeadingChannel) -> (&'static str, &'static str) {
    let remedy = "Do not count it as a second compass.";
    if [one, other].iter().any(|channel| channel.origin.formatter.0 == *b"VHW") {
        (" VHW is a log's sentence, and its heading is likely another sensor's.", remedy)
    } else if (one.origin.source, one.origin.talker) == (other.origin.source, other.origin.talker) {
        (" One talker sends both, so they likely come from one sensor.", remedy)
    } else {
        ("", "It can after slow turns through 90 degrees or more, or new courses with steady stretches between them.")
    }
}

fn differ(about: &About<'_>, out: &mut Vec<Finding>) {
    let picture = &about.survey.heard.picture;
    let place = |sensor: (SourceId, Talker, Formatter)| {
        picture.headings().iter().position(|channel| {
            let origin = channel.origin;
            (origin.source, origin.talker, origin.formatter) == sensor
        })
    };
    let steady = |sensor| about.steady().any(|tally| (tally.source, tally.talker, tally.formatter) == sensor);
    for pair in about.survey.heard.sensors.pairs.iter().filter(|pair| pair.count >= COMPARED) {
        if !steady(pair.one) || !steady(pair.other) {
            continue;
        }
        let kinship = place(pair.one).zip(place(pair.other)).map(|(one, other)| picture.kinship(one, other));
        if kinship == Some(Kinship::OneSensor) && pair.mean().abs() < DIFFER_DEG {
            continue;
        }
        let name = |sensor: (SourceId, Talker, Formatter)| about.named(sensor.0, &format!("{}{}", sensor.1, sensor.2));
        let used = picture
            .primary()
            .map(|primary| name((primary.origin.source, primary.origin.talker, primary.origin.formatter)));
        let text = format!(
            "{} and {} differ by {:.1} degrees on average, at most by {:.1} at {}.{}",
            name(pair.one),
            name(pair.other),
            pair.mean().abs(),
            pair.most.0,
            about.survey.clock(pair.most.1),
            used.map_or(String::new(), |used| format!(" The watch is kept by {used}.")),
        );
        let remedy = "Choose with [heading] primary in boat.toml, and swing the compass: deviation differs from place \
                      to place.";
        let level = if pair.mean().abs() >= DIFFER_DEG { Level::Advice } else { Level::Note };
        let plain = [pair.one, pair.other].map(|(_, talker, formatter)| format!("{talker}{formatter}"));
        out.push(Finding::advice(Kind::HeadingsDiffer, text, remedy).at_level(level).about(plain));
    }
}
