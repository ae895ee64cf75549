//! The watchkeeper through the whole monitor: the times of its stages, what answers it, and what does not.

use lubber_core::alert::AlertKind;
use lubber_core::alert::Evidence;
use lubber_core::alert::WatchkeeperSettings;
use lubber_core::alert::Why;
use lubber_core::angle::Bearing;
use lubber_core::arbiter::State;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Settings;
use lubber_core::monitor::SourceSettings;
use lubber_core::picture::Command;
use lubber_core::picture::Reference;
use lubber_core::picture::Referred;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;
use lubber_core::time::Span;

/// A change: the second, the stage, the state, whether it is to be heard, its revision and escalations.
type Seen = (u64, u8, State, bool, u8, u8);

struct Watch {
    monitor: Monitor,
    seen: Vec<Seen>,
}

fn at(s: u64) -> Instant {
    Instant::from_ms(s * 1000)
}

impl Watch {
    fn new(minutes: u64) -> Self {
        let mut settings = Settings {
            source_count: 2,
            watchkeeper: WatchkeeperSettings::new(Span::from_min(minutes), Span::from_s(90)),
            ..Settings::default()
        };
        settings.sources[1] = SourceSettings { may_acknowledge: true, ..SourceSettings::default() };
        // The sources of this test say nothing, and that is not what it is about.
        settings.limits[AlertKind::InputLost as usize].disabled = true;
        settings.limits[AlertKind::HeadingLost as usize].disabled = true;
        Self { monitor: Monitor::new(at(0), settings), seen: Vec::new() }
    }

    fn hear(seen: &mut Vec<Seen>, event: Event<'_>) {
        let Event::Alert(change) = event else { return };
        assert_eq!(change.kind, AlertKind::WatchkeeperSilent);
        let Evidence::WatchkeeperSilent { stage, .. } = change.evidence else { panic!("{:?}", change.evidence) };
        let s = change.at.as_ms() / 1000;
        let heard = change.state == State::ActiveUnacknowledged && change.evidence.is_audible();
        seen.push((s, stage, change.state, heard, change.revision, change.escalations));
    }

    fn run(&mut self, from: u64, to: u64) {
        for half in from * 2..=to * 2 {
            let seen = &mut self.seen;
            self.monitor.tick(Instant::from_ms(half * 500), &mut |event| Self::hear(seen, event));
        }
    }

    fn stage(&self, s: u64) -> u8 {
        self.monitor.watchkeeper(at(s)).unwrap().stage
    }

    fn sentence(&mut self, s: u64, source: u8, body: &str) -> Option<bool> {
        let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
        let mut obeyed = None;
        let seen = &mut self.seen;
        let line = format!("${body}*{sum:02X}\r\n");
        self.monitor.bytes(at(s), SourceId(source), line.as_bytes(), &mut |event| match event {
            Event::Command(command) => obeyed = Some(command.obeyed),
            event => Self::hear(seen, event),
        });
        obeyed
    }
}

#[test]
fn each_stage_is_a_change_of_its_own_and_the_first_is_not_heard() {
    let mut watch = Watch::new(10);
    watch.run(1, 900);
    // MSC.128(75) 4.1.2: visual at the end of the dormant period, +15 s first, +15 s second, +90 s third audible.
    let stands = State::ActiveUnacknowledged;
    assert_eq!(
        watch.seen,
        [
            (600, 1, stands, false, 1, 0),
            (615, 2, stands, true, 2, 1),
            (630, 3, stands, true, 3, 2),
            (720, 4, stands, true, 4, 3)
        ]
    );
    let status = watch.monitor.status(at(900));
    assert_eq!(status.alerts.len(), 1);
    assert_eq!(status.alerts[0].evidence.to_string(), "nobody answered for 15 min, stage 4 of 4");
    assert_eq!(status.watchkeeper.map(|w| (w.stage, w.remaining)), Some((4, Span::ZERO)));
}

#[test]
fn every_kind_of_answer_resets_every_stage_and_begins_anew() {
    // MSC.128(75) 4.1.3: one action resets all stages and begins the dormant period again.
    let order = Command::Steer(Referred { bearing: Bearing::from_deg(90), reference: Reference::Compass });
    type Answer<'a> = &'a dyn Fn(&mut Watch, u64);
    type Act = fn(&mut Monitor, Instant, &mut dyn FnMut(Event<'_>));
    let by = |act: Act| {
        move |watch: &mut Watch, s: u64| {
            let seen = &mut watch.seen;
            act(&mut watch.monitor, at(s), &mut |event| Watch::hear(seen, event));
        }
    };
    let acknowledge = by(|monitor, now, mut out| monitor.acknowledge(now, &mut out));
    let silence = by(|monitor, now, mut out| monitor.silence(now, &mut out));
    let answer = by(|monitor, now, mut out| monitor.answer(now, &mut out));
    let steer = |watch: &mut Watch, s: u64| {
        let seen = &mut watch.seen;
        assert!(watch.monitor.order(at(s), order, &mut |event| Watch::hear(seen, event)));
    };
    let wire = |watch: &mut Watch, s: u64| assert_eq!(watch.sentence(s, 1, "RAACN,,,10983,1,A,C"), Some(true));
    let older = |watch: &mut Watch, s: u64| assert_eq!(watch.sentence(s, 1, "VRACK,983"), Some(true));
    let answers: [(&str, Answer<'_>); 6] = [
        ("acknowledge", &acknowledge),
        ("silence", &silence),
        ("answer", &answer),
        ("steer", &steer),
        ("ACN", &wire),
        ("ACK", &older),
    ];
    for (name, act) in answers {
        for (answered, stage) in [(100, 0), (185, 1), (200, 2), (215, 3), (400, 4)] {
            let mut watch = Watch::new(3);
            watch.run(1, answered);
            assert_eq!((watch.stage(answered), watch.seen.len()), (stage, usize::from(stage)), "{name}");
            act(&mut watch, answered);
            assert_eq!(watch.stage(answered), 0, "{name}");
            if stage > 0 {
                let states: Vec<State> = watch.seen.iter().rev().take(2).map(|seen| seen.2).collect();
                assert_eq!(states, [State::Normal, State::ActiveAcknowledged], "{name}");
            }
            assert!(watch.monitor.status(at(answered)).alerts.is_empty(), "{name}");
            let so_far = watch.seen.len();
            watch.run(answered, answered + 179);
            assert_eq!(watch.seen.len(), so_far, "{name} at {answered}: nothing in the new dormant period");
            watch.run(answered + 180, answered + 180);
            assert_eq!(watch.seen.last().map(|seen| (seen.0, seen.1)), Some((answered + 180, 1)), "{name}");
        }
    }
}

#[test]
fn what_does_not_answer() {
    let mut watch = Watch::new(3);
    watch.run(1, 200);
    assert_eq!(watch.stage(200), 2);
    // A source that may not, a command that is none of these, and one that could not be obeyed.
    assert_eq!(watch.sentence(200, 0, "RAACN,,,10983,1,A,C"), Some(false));
    assert_eq!(watch.sentence(200, 1, "RAACN,,,10983,1,Q,C"), Some(false));
    assert_eq!(watch.sentence(200, 1, "HCHDG,,,,,"), None);
    assert!(!watch.monitor.order(at(200), Command::SteerHere, &mut |_| {}), "there is no heading");
    watch.monitor.status(at(200));
    assert_eq!(watch.stage(200), 2);
}

#[test]
fn off_unless_asked_for() {
    let mut settings = Settings::default();
    settings.limits[AlertKind::HeadingLost as usize].disabled = true;
    let mut monitor = Monitor::new(at(0), settings);
    for s in 1..4_000 {
        monitor.tick(at(s), &mut |event| panic!("{event:?}"));
    }
    let status = monitor.status(at(4_000));
    assert_eq!(status.judging[AlertKind::WatchkeeperSilent as usize], Err(Why::NotAskedFor));
    assert_eq!(status.watchkeeper, None);
}
