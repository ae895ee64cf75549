//! Sails the invented boat under a watch and keeps what was raised, with the truth beside it.

use lubber::simulate::Event as Scripted;
use lubber::simulate::Happening;
use lubber::simulate::Heard;
use lubber::simulate::Second;
use lubber::simulate::Settings as Boat;
use lubber::simulate::Truth;
use lubber::simulate::Voyage;
use lubber_core::alert::AlertKind;
use lubber_core::arbiter::AlertChange;
use lubber_core::arbiter::State;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Settings;
use lubber_core::picture::Command;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

/// What a passage left in the log.
pub(crate) struct Passage {
    /// Every alert that was raised: when, which, and what it said.
    pub(crate) raised: Vec<(u64, AlertKind, String)>,
    /// The last of the changes of every kind.
    pub(crate) changes: Vec<AlertChange>,
    /// The truth, once a second.
    pub(crate) truth: Vec<Truth>,
    /// How many seconds each alert was judged, by its place in `AlertKind::ALL`.
    pub(crate) judged_s: [u64; AlertKind::ALL.len()],
}

/// Sails to the end under a watch on defaults, or until `stop` says that enough was seen.
pub(crate) fn sail(boat: Boat, command: Option<Command>, stop: impl Fn(&AlertChange) -> bool) -> Passage {
    sail_under(boat, Settings { source_count: 1, ..Settings::default() }, command, stop)
}

/// Sails under a watch that is set as the owner wants it.
pub(crate) fn sail_under(
    boat: Boat,
    settings: Settings,
    command: Option<Command>,
    stop: impl Fn(&AlertChange) -> bool,
) -> Passage {
    let mut monitor = Monitor::new(Instant::from_ms(0), settings);
    let start = boat.start_unix_ms;
    let mut voyage = Voyage::new(boat).unwrap();
    let mut passage =
        Passage { raised: Vec::new(), changes: Vec::new(), truth: Vec::new(), judged_s: [0; AlertKind::ALL.len()] };
    if let Some(command) = command {
        monitor.order(Instant::from_ms(0), command, &mut |_| {});
    }
    let mut done = false;
    loop {
        let Passage { raised, changes, .. } = &mut passage;
        let mut hear = |event: Event<'_>| {
            if let Event::Alert(change) = event {
                changes.push(change);
                done |= stop(&change);
                if matches!(change.state, State::ActiveUnacknowledged | State::Active) && !change.repeated {
                    raised.push((change.at.as_ms(), change.kind, change.evidence.to_string()));
                }
            }
        };
        let step = voyage.step(&mut |heard| {
            if let Heard::Line { unix_ms, bytes } = heard {
                let now = Instant::from_ms(u64::try_from(unix_ms - start).unwrap());
                while monitor.wake_at() <= now {
                    let wake = monitor.wake_at();
                    monitor.tick(wake, &mut hear);
                }
                monitor.bytes(now, SourceId(0), bytes, &mut hear);
            }
        });
        let Some(truth) = step else { break };
        // Silence on the line is time too.
        let now = Instant::from_ms(truth.since_start_ms);
        while monitor.wake_at() < now {
            let wake = monitor.wake_at();
            monitor.tick(wake, &mut hear);
        }
        if truth.since_start_ms % 1000 == 0 {
            for (slot, judging) in passage.judged_s.iter_mut().zip(monitor.status(now).judging) {
                *slot += u64::from(judging.is_ok());
            }
            passage.truth.push(truth);
        }
        if done {
            break;
        }
    }
    passage
}

impl Passage {
    /// When the alert was first raised at or after `from_ms`.
    pub(crate) fn first(&self, kind: AlertKind, from_ms: u64) -> Option<u64> {
        self.raised.iter().find(|(at, k, _)| *k == kind && *at >= from_ms).map(|(at, ..)| *at)
    }

    /// When the true heading, averaged over 11 s, had first turned by `deg` from what it was at `from_ms`.
    pub(crate) fn turned_at(&self, from_ms: u64, deg: f64) -> Option<u64> {
        let mean = |at: usize| {
            let window = &self.truth[at.saturating_sub(5)..(at + 6).min(self.truth.len())];
            let (s, c) = window.iter().fold((0.0, 0.0), |(s, c), t| {
                let r = t.heading_true_deg.to_radians();
                (s + r.sin(), c + r.cos())
            });
            f64::atan2(s, c).to_degrees()
        };
        let begin = self.truth.iter().position(|t| t.since_start_ms >= from_ms)?;
        let before = mean(begin.saturating_sub(10));
        let turned = |at: usize| ((mean(at) - before + 180.0).rem_euclid(360.0) - 180.0).abs() >= deg;
        (begin..self.truth.len()).find(|&at| turned(at)).map(|at| self.truth[at].since_start_ms)
    }
}

/// A boat of the seed: sea from 1 to 3.5 degrees rms of yaw, a current up to 1.5 kn from any side.
pub(crate) fn boat(seed: u64, second: Second) -> Boat {
    let mut boat = Boat { seed, ..Boat::default() };
    let part = |k: u64| (seed.wrapping_mul(0x9e37_79b9_7f4a_7c15).rotate_left(k as u32 * 13) % 1000) as f64 / 1000.0;
    boat.waters.yaw_rms_deg = 1.0 + 2.5 * part(1);
    boat.waters.set_deg = 360.0 * part(2);
    boat.waters.drift_kn = 1.5 * part(3);
    boat.boat.speed_kn = 4.5 + 2.5 * part(4);
    boat.gear.second = second;
    boat
}

/// Something that happens in a moment.
pub(crate) fn at(at_ms: u64, happening: Happening) -> Scripted {
    Scripted { at_ms, happening, lasts_ms: None }
}
