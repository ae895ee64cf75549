//! The parts of a status that more than one display words alike: how many alerts stand and which, the
//! heading, the order, the witnesses.

use lubber_core::alert::Priority;
use lubber_core::alert::Said;
use lubber_core::alert::WatchkeeperStatus;
use lubber_core::angle::Bearing;
use lubber_core::angle::Turn;
use lubber_core::arbiter::AlertChange;
use lubber_core::arbiter::State;
use lubber_core::heading::True;
use lubber_core::monitor::Correction;
use lubber_core::monitor::HeadingStatus;
use lubber_core::monitor::Status;
use lubber_core::picture::Reference;
use lubber_core::picture::Referred;
use lubber_core::picture::Steering;
use lubber_core::time::Span;
use lubber_core::unit::Speed;

use crate::view::alert::tone;
use crate::view::doubt::Contrary;
use crate::view::doubt::doubt;
use crate::view::number::knots;
use crate::view::number::whole;
use crate::view::status::Agreement;
use crate::view::status::agreement;
use crate::view::status::independent;
use crate::view::text::Tone;

/// A part of the line.
#[derive(Clone, Debug)]
pub(super) struct Part {
    pub(super) text: String,
    pub(super) tone: Tone,
    /// 0 is never left out; the others go from the highest.
    pub(super) rank: u8,
    /// What it says where there is less room, from the rank at which it is shortened; the highest first.
    pub(super) shorter: Vec<(u8, String)>,
}

impl Part {
    fn or_shorter(mut self, rank: u8, text: impl Into<String>) -> Self {
        self.shorter.push((rank, text.into()));
        self
    }
}

pub(super) fn part(text: impl Into<String>, tone: Tone, rank: u8) -> Part {
    Part { text: text.into(), tone, rank, shorter: Vec::new() }
}

/// From this age on a value says how old it is.
const OLD: Span = Span::from_s(10);

/// A course this far from the heading is shown before nearly everything else: leeway and an ordinary current
/// take it less far (common practice, no source).
const FAR: Turn = Turn::from_deg(20);

/// An angle to one side: `3 stbd`, `12 port`, `0`.
pub(super) fn to_side(angle: Turn) -> String {
    match (whole(angle), angle.as_mdeg() < 0) {
        (0, _) => "0".into(),
        (size, true) => format!("{size} port"),
        (size, false) => format!("{size} stbd"),
    }
}

fn referred(bearing: Bearing, reference: Reference) -> Referred {
    Referred { bearing, reference }
}

/// Said of a value that is not of this moment.
pub(super) fn old(age: Span) -> String {
    if age >= OLD { format!(" {} ago", Said(age)) } else { String::new() }
}

/// Without the space: `135C`.
pub(super) fn compact(direction: Referred) -> String {
    format!("{}{}", direction.bearing, direction.reference.letter())
}

/// How many alerts stand, by priority, and which is the most urgent; and how many are over that nobody has
/// answered.
pub(super) fn alerts(status: &Status) -> Part {
    let active = |change: &&AlertChange| !matches!(change.state, State::Normal | State::RectifiedUnacknowledged);
    let over = status.alerts.iter().filter(|change| change.state == State::RectifiedUnacknowledged).count();
    let mut words = Vec::new();
    let mut loudest = Tone::Plain;
    let mut name = "";
    let mut others = 0;
    for (priority, one, many) in [
        (Priority::Alarm, "ALARM", "ALARMS"),
        (Priority::Warning, "WARNING", "WARNINGS"),
        (Priority::Caution, "caution", "cautions"),
    ] {
        let standing = || status.alerts.iter().filter(active).filter(|change| change.priority == priority);
        let count = standing().count();
        if count == 0 {
            continue;
        }
        if words.is_empty() {
            let unanswered = standing().any(|change| change.state == State::ActiveUnacknowledged);
            let state = if unanswered { State::ActiveUnacknowledged } else { State::ActiveAcknowledged };
            loudest = tone(priority, state);
            name = standing().next().map_or("", |change| change.kind.name());
        } else {
            others += count;
        }
        words.push(format!("{count} {}", if count == 1 { one } else { many }));
    }
    let over = if over > 0 { format!(", {over} over") } else { String::new() };
    let Some(first) = words.first() else { return part(format!("{:<9}", format!("no alert{over}")), loudest, 0) };
    let others = if others > 0 { format!(" +{others}") } else { String::new() };
    part(format!("{first} {name}{others}{over}"), loudest, 0)
        .or_shorter(7, format!("{first} {name}{others}"))
        .or_shorter(3, format!("{:<9}", format!("{first}{others}{over}")))
}

/// The heading in every reference it is known in, and whether it is to be believed.
pub(super) fn heading(status: &Status) -> Part {
    let Some(heading) = status.heading else { return part("NO HEADING", Tone::Alarm, 0) };
    let (text, short) = directions(&heading);
    if heading.stale {
        return part(format!("{text} LOST {}", Said(heading.age)), Tone::Alarm, 0);
    }
    if doubt(status).is_some() {
        return part(format!("{text} DOUBTED"), Tone::Alarm, 0).or_shorter(6, format!("{short} DOUBTED"));
    }
    part(text, Tone::Plain, 0)
}

/// The heading as it is sent, and behind it as a true one where it is another: `137C`, `, 141T`. None where
/// it is not there.
pub(super) fn sent_and_true(status: &Status) -> Option<(String, String)> {
    let heading = status.heading.filter(|heading| !heading.stale)?;
    let truth = heading.truth.filter(|_| heading.raw.reference != Reference::True);
    let truth = truth.map_or(String::new(), |truth| format!(", {}", compact(referred(truth.0, Reference::True))));
    Some((compact(heading.raw), truth))
}

/// All of it, and its first and last reference alone.
fn directions(heading: &HeadingStatus) -> (String, String) {
    let known: Vec<Referred> = [
        heading.compass.map(|h| referred(h.0, Reference::Compass)),
        heading.magnetic.map(|h| referred(h.0, Reference::Magnetic)),
        heading.truth.map(|h| referred(h.0, Reference::True)),
    ]
    .into_iter()
    .flatten()
    .collect();
    // A heading in no reference at all cannot be; the raw one is then what there is.
    let known = if known.is_empty() { vec![heading.raw] } else { known };
    // Magnetic equals compass where nothing corrects it: leaving it out makes room for the word that matters.
    let uncorrected = heading.correction == Correction::Uncorrected;
    let after = if uncorrected { " uncorrected" } else { "" };
    let shown = |left_out: bool| {
        let shown = known
            .iter()
            .enumerate()
            .filter(|(place, direction)| *place == 0 || !left_out || direction.reference != Reference::Magnetic);
        shown.map(|(_, direction)| compact(*direction)).collect::<Vec<String>>().join(" ")
    };
    (format!("{}{after}", shown(uncorrected)), format!("{}{after}", shown(true)))
}

/// The order and how far off it she is.
pub(super) fn order(status: &Status) -> Part {
    let (order, held) = match status.steering {
        Steering::Unknown => return part("no order yet", Tone::Plain, 1),
        Steering::Wind => return part("by the wind", Tone::Caution, 1),
        Steering::Hand => return part("by hand", Tone::Caution, 1),
        Steering::Heading { order, held, .. } => (order, held),
    };
    let order = compact(order);
    let held = if held { " held" } else { "" };
    if status.off.is_some() && doubt(status).is_some() {
        return part(format!("order {order}{held}, heading doubted"), Tone::Plain, 1)
            .or_shorter(8, format!("order {order}{held}"));
    }
    match status.off {
        None => part(format!("order {order}{held} {:<7}", ""), Tone::Plain, 1),
        Some(off) if whole(off) == 0 => part(format!("order {order}{held} on it  "), Tone::Plain, 1),
        Some(off) => part(format!("order {order}{held} {:<7}", to_side(off)), Tone::Plain, 1)
            .or_shorter(4, format!("{} of {order}{held}", to_side(off))),
    }
}

/// Course and speed over the ground: of the first importance where they contradict the heading.
pub(super) fn ground(status: &Status, (course, speed, age): (Option<True>, Speed, Span)) -> Part {
    let direction = course.map_or("none".to_owned(), |course| format!("{}T", course.0));
    let text = format!("COG {direction} {:>3} kn{}", knots(speed).to_string(), old(age));
    let heading = status.heading.filter(|heading| !heading.stale).and_then(|heading| heading.truth);
    let far = heading.zip(course).is_some_and(|(heading, course)| heading.0.turn_to(course.0).size() >= FAR);
    // A heading in doubt leaves nothing else to go by.
    if course.is_some() && (far || doubt(status).is_some()) {
        return part(text, Tone::Plain, 1).or_shorter(7, format!("COG {direction}{}", old(age)));
    }
    part(text, Tone::Plain, 8)
}

/// The heading sensor that contradicts the heading, and what it reads. The course is shown anyhow.
pub(super) fn contrary(status: &Status) -> Option<Part> {
    match doubt(status)?.contrary? {
        Contrary { ground: true, .. } => None,
        contrary => Some(part(contrary.words(), Tone::Plain, 1)),
    }
}

/// Within what time somebody must answer. The last minute stands where it is not left out.
pub(super) fn answer(watchkeeper: WatchkeeperStatus) -> Part {
    let left = watchkeeper.remaining;
    match watchkeeper.stage {
        0 if left > Span::from_min(1) => part(format!("answer in {}", Said(left)), Tone::Plain, 10),
        0 => part(format!("answer in {}", Said(left)), Tone::Caution, 1),
        stage => part(format!("ANSWER, stage {stage} of 4"), Tone::AlarmUnanswered, 0),
    }
}

/// Whether the witnesses of the heading agree.
pub(super) fn witnesses(status: &Status) -> Part {
    let count = independent(status);
    match agreement(status) {
        // The heading says it already.
        Agreement::Disagree if doubt(status).is_some() => part("witnesses DISAGREE", Tone::Alarm, 9),
        Agreement::Disagree => part("witnesses DISAGREE", Tone::Alarm, 1),
        _ if count == 0 => part("no witness", Tone::Plain, 9),
        Agreement::Agree => part(format!("{count} agree"), Tone::Plain, 9),
        Agreement::NotJudged(_) => part(format!("{count} not compared"), Tone::Plain, 9),
    }
}
