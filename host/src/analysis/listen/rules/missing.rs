//! What is not there, and what a watch would miss without it.

use super::About;
use super::is_heading;
use super::is_receiver;
use crate::analysis::listen::Finding;
use crate::analysis::listen::Kind;
use crate::analysis::listen::Tally;

pub(super) fn rules(about: &About<'_>, out: &mut Vec<Finding>) {
    if about.around.untimed {
        let text = "There is no time in this log: sentences are counted, but rates, gaps and ages are not known.";
        let remedy = "Give --start and --rate if you know them, or record with a time on each line.";
        out.push(Finding::note(Kind::NoTime, text, remedy));
    }
    // Where nothing can be read, that is the finding.
    if about.tallies.iter().all(|tally| tally.read == 0) {
        return;
    }
    // What came and was refused for its checksum is not missing: there is a finding for it.
    let came = |is: fn(&Tally) -> bool| about.tallies.iter().any(|tally| tally.spoilt >= 10 && is(tally));
    let picture = &about.survey.heard.picture;
    let headings: Vec<usize> = (0..picture.headings().len())
        .filter(|&index| picture.headings()[index].raw.latest().is_some() && picture.copy_of(index).is_none())
        .collect();
    match headings.len() {
        0 if came(is_heading) => {}
        0 => out.push(Finding::advice(
            Kind::NoHeading,
            "No heading comes: neither off-heading nor a false or frozen compass can be watched for.",
            "Connect the heading sensor (HDG, HDM, HDT or THS), or what forwards it.",
        )),
        1 => out.push(Finding::note(
            Kind::NoSecondHeading,
            "There is one heading sensor only: a false compass shows by the track over ground alone, and later than by \
             a second one.",
            "",
        )),
        _ => {}
    }
    if picture.position().latest().is_none() && !came(is_receiver) {
        out.push(Finding::advice(
            Kind::NoPosition,
            "No position comes: position-lost cannot be watched for, and the variation must come from the wire.",
            "Connect a satellite receiver (RMC, GGA, GLL or GNS), and wait for its fix.",
        ));
    }
    if picture.grounds().iter().all(|channel| channel.velocity.latest().is_none()) && !came(is_receiver) {
        out.push(Finding::advice(
            Kind::NoGround,
            "No course and speed over ground come: a false compass cannot be seen by the track.",
            "Let the satellite receiver send RMC or VTG.",
        ));
    }
    if picture.rudder().latest().is_none() {
        let text = "No rudder angle comes (RSA): whether the boat answers her rudder cannot be judged.";
        out.push(Finding::note(Kind::NoRudder, text, ""));
    }
    let ordered = |formatter: &[u8; 3]| about.steady().any(|tally| tally.formatter.0 == *formatter);
    if ![b"HTD", b"HTC", b"HSC"].into_iter().any(ordered) {
        let text = "No ordered heading comes (HTD, HTC or HSC): say it to the watch with --steer, else the mean of the \
                    first steady minute is taken.";
        out.push(Finding::note(Kind::NoOrder, text, ""));
    }
}
