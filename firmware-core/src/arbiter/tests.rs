//! The alert state machine, written out change by change.

use super::*;
use crate::alert::Lost;
use crate::alert::Why;
use std::format;
use std::string::String;
use std::vec::Vec as StdVec;

fn raised() -> Verdict {
    Verdict::Raised(Evidence::Lost { how: Lost::Silent, silent: Span::from_s(4) })
}

struct Watch {
    arbiter: Arbiter,
    seen: StdVec<String>,
}

impl Watch {
    fn new() -> Self {
        Self { arbiter: Arbiter::new(), seen: StdVec::new() }
    }

    fn write(seen: &mut StdVec<String>, c: AlertChange) {
        let mark = match (c.escalated, c.repeated, c.follows) {
            (true, ..) => " escalated",
            (_, true, _) => " repeated",
            (_, _, Some(_)) => " follows",
            _ => "",
        };
        seen.push(format!("{} {} {} #{}{mark}", c.at.as_ms() / 1000, c.priority, c.state.word(), c.occurrence));
    }

    fn take(&mut self, s: u64, kind: AlertKind, verdict: Verdict, follows: Option<AlertKind>) {
        let seen = &mut self.seen;
        let now = Instant::from_ms(s * 1000);
        self.arbiter.take(now, kind, Instance::Boat, &verdict, follows, &mut |c| Self::write(seen, c));
    }

    fn steps(&mut self, from: u64, to: u64) {
        for s in from..=to {
            let seen = &mut self.seen;
            self.arbiter.step(Instant::from_ms(s * 1000), &mut |c| Self::write(seen, c));
        }
    }

    fn acknowledge(&mut self, s: u64) {
        let seen = &mut self.seen;
        self.arbiter.acknowledge(Instant::from_ms(s * 1000), &mut |c| Self::write(seen, c));
    }

    fn silence(&mut self, s: u64) {
        let seen = &mut self.seen;
        self.arbiter.silence(Instant::from_ms(s * 1000), &mut |c| Self::write(seen, c));
    }
}

#[test]
fn an_alarm_acknowledged_and_rectified() {
    let mut w = Watch::new();
    w.take(1, AlertKind::HeadingLost, raised(), None);
    w.take(2, AlertKind::HeadingLost, raised(), None);
    w.acknowledge(3);
    w.take(4, AlertKind::HeadingLost, Verdict::Clear, None);
    w.take(5, AlertKind::HeadingLost, raised(), None);
    assert_eq!(
        w.seen,
        [
            "1 alarm active-unacknowledged #1",
            "3 alarm active-acknowledged #1",
            "4 alarm normal #1",
            "5 alarm active-unacknowledged #2"
        ]
    );
}

#[test]
fn rectified_unacknowledged_that_recurs_is_active_again() {
    let mut w = Watch::new();
    w.take(1, AlertKind::HeadingLost, raised(), None);
    w.take(2, AlertKind::HeadingLost, Verdict::Clear, None);
    w.take(3, AlertKind::HeadingLost, raised(), None);
    w.take(4, AlertKind::HeadingLost, Verdict::Clear, None);
    w.acknowledge(5);
    assert_eq!(
        w.seen,
        [
            "1 alarm active-unacknowledged #1",
            "2 alarm rectified-unacknowledged #1",
            "3 alarm active-unacknowledged #2",
            "4 alarm rectified-unacknowledged #2",
            "5 alarm normal #2"
        ]
    );
}

#[test]
fn silence_lasts_thirty_seconds() {
    let mut w = Watch::new();
    w.take(0, AlertKind::OffHeading, raised(), None);
    w.silence(10);
    w.steps(11, 45);
    assert_eq!(
        w.seen,
        ["0 alarm active-unacknowledged #1", "10 alarm active-silenced #1", "40 alarm active-unacknowledged #1"]
    );
}

#[test]
fn a_warning_repeats_each_minute_and_escalates_after_five() {
    let mut w = Watch::new();
    w.take(0, AlertKind::PositionLost, raised(), None);
    w.steps(1, 400);
    assert_eq!(
        w.seen,
        [
            "0 warning active-unacknowledged #1",
            "60 warning active-unacknowledged #1 repeated",
            "120 warning active-unacknowledged #1 repeated",
            "180 warning active-unacknowledged #1 repeated",
            "240 warning active-unacknowledged #1 repeated",
            "300 alarm active-unacknowledged #1 escalated"
        ]
    );
    // The next time it is a warning again.
    w.acknowledge(401);
    w.take(402, AlertKind::PositionLost, Verdict::Clear, None);
    w.take(403, AlertKind::PositionLost, raised(), None);
    assert_eq!(w.seen.last().map(String::as_str), Some("403 warning active-unacknowledged #2"));
}

#[test]
fn a_caution_asks_for_no_answer() {
    let mut w = Watch::new();
    w.take(1, AlertKind::InputDamaged, raised(), None);
    w.acknowledge(2);
    w.silence(3);
    w.steps(4, 400);
    w.take(401, AlertKind::InputDamaged, Verdict::Clear, None);
    assert_eq!(w.seen, ["1 caution active #1", "401 caution normal #1"]);
}

#[test]
fn what_cannot_be_judged_clears_nothing() {
    let mut w = Watch::new();
    w.take(1, AlertKind::OffHeading, raised(), None);
    w.take(2, AlertKind::OffHeading, Verdict::Unjudged(Why::NoHeading), None);
    assert!(w.arbiter.stands(AlertKind::OffHeading, Instance::Boat));
    assert_eq!(w.seen.len(), 1);
}

#[test]
fn a_follower_sounds_by_itself_once_its_cause_is_gone() {
    let mut w = Watch::new();
    w.take(1, AlertKind::HeadingLost, raised(), Some(AlertKind::InputLost));
    w.take(2, AlertKind::HeadingLost, raised(), Some(AlertKind::InputLost));
    // Its cause is over a little before it, and then stands again.
    w.take(3, AlertKind::HeadingLost, raised(), None);
    w.take(5, AlertKind::HeadingLost, raised(), Some(AlertKind::InputLost));
    for s in 6..=20 {
        w.take(s, AlertKind::HeadingLost, raised(), None);
    }
    assert_eq!(w.seen, ["1 alarm active-unacknowledged #1 follows", "16 alarm active-unacknowledged #1"]);
}

#[test]
fn a_follower_neither_repeats_nor_escalates_while_its_cause_stands() {
    let mut w = Watch::new();
    let (kind, cause) = (AlertKind::PositionLost, Some(AlertKind::InputLost));
    for s in 0..=400 {
        w.take(s, kind, raised(), cause);
        w.steps(s, s);
    }
    assert_eq!(w.seen, ["0 warning active-unacknowledged #1 follows"]);
    // Its cause is over and it is not, be it judged or not: from then on it counts like any other.
    for s in 401..=720 {
        w.take(s, kind, if s % 2 == 0 { raised() } else { Verdict::Unjudged(Why::NoHeading) }, None);
        w.steps(s, s);
    }
    let repeated = [471, 531, 591, 651].map(|s| format!("{s} warning active-unacknowledged #1 repeated"));
    let alone = ["411 warning active-unacknowledged #1".into()];
    let escalated = ["711 alarm active-unacknowledged #1 escalated".into()];
    assert_eq!(w.seen[1..], [&alone[..], &repeated, &escalated].concat());
}

#[test]
fn one_that_begins_to_follow_waits_with_its_cause() {
    let mut w = Watch::new();
    w.take(0, AlertKind::PositionLost, raised(), None);
    w.steps(1, 70);
    for s in 71..=500 {
        w.take(s, AlertKind::PositionLost, raised(), Some(AlertKind::InputLost));
        w.steps(s, s);
    }
    assert_eq!(w.seen, ["0 warning active-unacknowledged #1", "60 warning active-unacknowledged #1 repeated"]);
}

#[test]
fn what_an_earlier_watch_left_is_an_alarm_until_somebody_answers() {
    let again = |w: &mut Watch, kind| {
        let seen = &mut w.seen;
        let ago = Span::from_s(90);
        w.arbiter.present_again(Instant::from_ms(0), kind, Instance::Boat, ago, &mut |c| Watch::write(seen, c));
    };
    let presented = "0 alarm active-unacknowledged #0";
    // Answered, and raised anew where it still stands. Presented twice it is still one.
    let mut w = Watch::new();
    again(&mut w, AlertKind::PositionLost);
    again(&mut w, AlertKind::PositionLost);
    assert!(!w.arbiter.stands(AlertKind::PositionLost, Instance::Boat), "nobody knows, so nothing follows from it");
    w.silence(1);
    w.steps(2, 31);
    w.acknowledge(40);
    w.take(50, AlertKind::PositionLost, raised(), None);
    let answered = ["1 alarm active-silenced #0", "31 alarm active-unacknowledged #0", "40 alarm normal #0"];
    assert_eq!(w.seen, [&[presented], &answered[..], &["50 warning active-unacknowledged #1"]].concat());
    assert!(w.arbiter.stands(AlertKind::PositionLost, Instance::Boat));

    // Raised anew before anybody answered: from then on it is what it is.
    let mut w = Watch::new();
    again(&mut w, AlertKind::PositionLost);
    w.take(20, AlertKind::PositionLost, raised(), None);
    w.take(21, AlertKind::PositionLost, Verdict::Clear, None);
    assert_eq!(w.seen, [presented, "20 warning active-unacknowledged #1", "21 warning rectified-unacknowledged #1"]);

    // A judge that has just begun is clear before it has seen enough; later it is believed.
    let mut w = Watch::new();
    again(&mut w, AlertKind::OffHeading);
    for s in 1..=121 {
        w.take(s, AlertKind::OffHeading, Verdict::Clear, None);
    }
    w.acknowledge(130);
    assert_eq!(w.seen, [presented, "120 alarm rectified-unacknowledged #0", "130 alarm normal #0"]);
}

#[test]
fn a_full_table_makes_room_for_what_stands() {
    let mut arbiter = Arbiter::new();
    let mut changes = 0;
    let mut take = |source: u8, verdict| {
        let instance = Instance::Source(crate::picture::SourceId(source));
        arbiter.take(Instant::from_ms(0), AlertKind::InputLost, instance, &verdict, None, &mut |_| changes += 1);
    };
    for source in 0..ALERTS as u8 {
        take(source, raised());
    }
    take(3, Verdict::Clear);
    for _ in 0..5 {
        take(99, raised());
    }
    take(99, Verdict::Clear);
    assert_eq!(changes, ALERTS + 3);
}

#[test]
fn a_track_that_stands_alone_is_a_caution_only_by_the_owners_word_and_an_alarm_once_a_heading_contradicts() {
    use crate::alert::Alone;
    use crate::alert::Disagreeing;
    use crate::alert::Suspect;
    use crate::alert::Third;
    use crate::heading::True;
    use crate::unit::Speed;

    let origin = |formatter: &[u8; 3]| crate::picture::Origin {
        source: crate::picture::SourceId(0),
        talker: crate::frame::Talker(*b"GP"),
        formatter: crate::frame::Formatter(*formatter),
    };
    let ground = |third| Evidence::Disagreement {
        of: origin(b"HDG"),
        with: Disagreeing::Ground {
            origin: origin(b"RMC"),
            course: True(crate::angle::Bearing::from_deg(90)),
            speed: Speed::from_milliknots(5000),
        },
        by: crate::angle::Turn::from_deg(12),
        alone: Some(Alone { who: Suspect::Other, third }),
    };
    let heading = Evidence::Disagreement {
        of: origin(b"HDG"),
        with: Disagreeing::Heading { origin: origin(b"HDT"), heading: True(crate::angle::Bearing::from_deg(90)) },
        by: crate::angle::Turn::from_deg(12),
        alone: None,
    };
    let run = |evidence: &[Evidence]| {
        let mut arbiter = Arbiter::new();
        let mut seen = std::vec::Vec::new();
        for (s, evidence) in (0u64..).zip(evidence) {
            let verdict = Verdict::Raised(*evidence);
            let now = Instant::from_ms(s * 1000);
            let kind = AlertKind::HeadingDisagreement;
            arbiter.take(now, kind, Instance::Boat, &verdict, None, &mut |c| seen.push((c.priority, c.state)));
        }
        seen
    };
    let alarm = (Priority::Alarm, State::ActiveUnacknowledged);
    assert_eq!(run(&[ground(Third::Named(origin(b"HDT"))), heading]), [(Priority::Caution, State::Active), alarm]);
    assert_eq!(run(&[ground(Third::Heading(origin(b"VHW")))]), [alarm]);
    assert_eq!(run(&[ground(Third::Gyro)]), [alarm]);
    // What is only a caution nobody has heard, so no warning may hide behind it.
    let heard = |evidence: Evidence| {
        let mut arbiter = Arbiter::new();
        let (kind, boat) = (AlertKind::HeadingDisagreement, Instance::Boat);
        arbiter.take(Instant::from_ms(0), kind, boat, &Verdict::Raised(evidence), None, &mut |_| {});
        (arbiter.stands(kind, boat), arbiter.is_heard(kind, boat))
    };
    assert_eq!(heard(ground(Third::Named(origin(b"HDT")))), (true, false));
    assert_eq!(heard(heading), (true, true));
}
