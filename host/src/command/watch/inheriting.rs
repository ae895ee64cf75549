//! What the last watch left to this one: what is presented again, what still stands in silence, and what is
//! only told.
//!
//! An alert that nobody had answered is presented again as an alarm, if the last watch ended less than six
//! hours ago and this one listens to what it is about. All else is told in words. What is told and was not
//! over is held in the memory until this watch or a later one has judged it anew.

use lubber_core::alert::AlertKind;
use lubber_core::alert::Instance;
use lubber_core::alert::Said;
use lubber_core::alert::Why;
use lubber_core::arbiter::AlertChange;
use lubber_core::arbiter::State;
use lubber_core::monitor::Monitor;
use lubber_core::picture::Command;
use lubber_core::picture::Freshness;
use lubber_core::picture::Name;
use lubber_core::picture::Origin;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use crate::command::order;
use crate::memory::Kept;
use crate::memory::Left;
use crate::session::Carried;
use crate::session::Legacy;
use crate::view::Sources;

/// An alert older than this is told and does not sound: whoever starts a watch in the morning is not to be
/// alarmed by the instruments that were switched off last night.
const RECENT: Span = Span::from_min(6 * 60);
/// What no watch has judged for so long is dropped, told a last time: by then the sensor it is about is no
/// longer fitted, and nothing would ever end it.
const DROPPED: Span = Span::from_min(7 * 24 * 60);
/// An order older than this is not carried over: she has been sailed on since without a watch.
const ORDER_HOLDS: Span = Span::from_min(30);

/// What there is.
#[derive(Default)]
pub(super) struct Inherited {
    pub(super) legacy: Legacy,
    /// What was seen when it was seen, of alerts that are only presented again.
    pub(super) seen: Vec<(AlertKind, Instance, String)>,
    pub(super) held: Held,
}

/// What is told and not presented, until it is judged anew.
#[derive(Default)]
pub(super) struct Held(Vec<(Kept, Option<(AlertKind, Instance)>)>);

impl Held {
    /// What is still held.
    pub(super) fn iter(&self) -> impl Iterator<Item = &Kept> {
        self.0.iter().map(|(kept, _)| kept)
    }

    /// An alert of this watch takes the place of what it was in the last one.
    pub(super) fn take(&mut self, change: &AlertChange) {
        self.0.retain(|(_, about)| *about != Some((change.kind, change.instance)));
    }

    /// Drops what is judged by now: it does not stand, or it would be an alert of this watch.
    pub(super) fn judge(&mut self, now: Instant, monitor: &Monitor) {
        self.0.retain(|(_, about)| !about.is_some_and(|about| is_judged(about, now, monitor)));
    }
}

fn is_judged((kind, instance): (AlertKind, Instance), now: Instant, monitor: &Monitor) -> bool {
    match monitor.judging().get(kind as usize) {
        Some(Ok(())) => {}
        Some(Err(Why::Disabled | Why::NotAskedFor)) => return true,
        _ => return false,
    }
    // The kind is judged; whether this one of it is, its own words say.
    match instance {
        Instance::Boat | Instance::Part(_) => true,
        Instance::Source(source) => monitor.counts(source).sentences > 0,
        Instance::Sensor(origin) => {
            let mut channels = monitor.picture().headings().iter();
            channels.any(|channel| channel.origin == origin && channel.raw.freshness(now) == Freshness::Fresh)
        }
    }
}

/// What `left` comes to for a watch of `sources` that begins at `utc_s`, seconds since 1970. `ordered`: this
/// watch is given an order, and needs no older one.
pub(super) fn inherit(left: &Left, sources: &Sources, ordered: bool, utc_s: i64) -> Inherited {
    let mut inherited = Inherited::default();
    let kin = Kin::of(left, sources);
    for kept in &left.standing.alerts {
        alert(kept, left.ago, sources, kin, utc_s, &mut inherited);
    }
    if !ordered {
        owners_order(left, kin, &mut inherited.legacy);
    }
    inherited
}

/// How the last watch's sources compare with this one's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kin {
    /// They are the same, or it is not known what they were.
    Same,
    /// There is one that both have.
    Shared,
    /// None.
    Strange,
}

impl Kin {
    fn of(left: &Left, sources: &Sources) -> Self {
        let before = &left.standing.sources;
        let now: Vec<&String> = sources.iter().map(|(_, source)| &source.name).collect();
        let common = before.iter().filter(|name| now.contains(name)).count();
        match common {
            _ if before.is_empty() => Self::Same,
            0 => Self::Strange,
            _ if common == before.len() && common == now.len() => Self::Same,
            _ => Self::Shared,
        }
    }
}

fn alert(kept: &Kept, ago: Span, sources: &Sources, kin: Kin, utc_s: i64, to: &mut Inherited) {
    // A clock that went back makes it fresh: too loud is better than silent.
    let since = |left: i64| Span::from_s(u64::try_from(utc_s.saturating_sub(left)).unwrap_or(0));
    let ago = kept.left_utc_s.map_or(ago, since);
    let state = kept.state.as_str();
    let about = kept.sensor.as_ref().or(kept.source.as_ref()).or(kept.part.as_ref());
    let about = about.map_or_else(String::new, |about| format!(" {about}"));
    let what = format!("{} {}{about}: {}", kept.priority, kept.alert, kept.text);
    let waits = [State::ActiveUnacknowledged, State::ActiveSilenced].map(State::word).contains(&state);
    let ours = instance(kept, sources, kin);
    let this = kept.kind().and_then(|kind| Some((kind, ours?)));
    let ended = format!("when the last watch ended {} ago", Said(ago));
    let remark = match this.filter(|_| waits && !kept.follows && ago <= RECENT) {
        Some((kind, instance)) => {
            to.seen.push((kind, instance, kept.text.clone()));
            to.legacy.alerts.push(Carried { kind, instance, ago });
            format!("PRESENTED AGAIN, unanswered {ended}: {what}")
        }
        None if state == State::RectifiedUnacknowledged.word() => format!("stood {ended}, {state}: {what}"),
        None => {
            let left_utc_s = utc_s.saturating_sub(i64::try_from(ago.as_s()).unwrap_or(0));
            if ago <= DROPPED {
                to.held.0.push((Kept { left_utc_s: Some(left_utc_s), ..kept.clone() }, this));
            }
            match ours {
                Some(_) if state == State::ActiveAcknowledged.word() => {
                    format!("STILL STANDS as far as is known, {state} {ended}; silent, until it is judged anew: {what}")
                }
                Some(_) => format!("stood {ended}, {state}: {what}"),
                None => {
                    let whose = kept.source.as_ref().map_or_else(String::new, |source| format!(" ({source})"));
                    format!("stood {ended}, {state}, and is about nothing that this watch listens to{whose}: {what}")
                }
            }
        }
    };
    to.legacy.remarks.push(remark);
}

/// What an alert of the last watch is about in this one; none where this one does not listen to it.
fn instance(kept: &Kept, sources: &Sources, kin: Kin) -> Option<Instance> {
    let Some(name) = &kept.source else {
        return (kin != Kin::Strange).then_some(Instance::Boat);
    };
    let (source, _) = sources.iter().find(|(_, source)| source.name == *name)?;
    let sensor = kept.sensor.as_deref().and_then(Name::parse);
    Some(match sensor {
        Some(Name { talker, formatter }) => Instance::Sensor(Origin { source, talker, formatter }),
        None => Instance::Source(source),
    })
}

fn owners_order(left: &Left, kin: Kin, legacy: &mut Legacy) {
    let order = left.standing.order.as_deref();
    let Some((typed, command)) = order.and_then(|order| Some((order, order::read(order)?))) else { return };
    let words = match command {
        Command::Steer(order) => order.to_string(),
        _ => typed.to_owned(),
    };
    let begin = format!("the owner's order of the last watch, which ended {} ago", Said(left.ago));
    let carried = kin == Kin::Same && left.ago <= ORDER_HOLDS;
    legacy.order = carried.then_some(command);
    legacy.remarks.push(match carried {
        true => format!("{begin}, is CARRIED OVER: steer {words}; lubber steer cancel ends it"),
        false if kin == Kin::Same => {
            format!("{begin}, is NOT carried over: order it anew with lubber steer {typed}")
        }
        false => format!(
            "{begin}, is NOT carried over, for that one listened to {}: order it anew with lubber steer {typed}",
            left.standing.sources.join(", ")
        ),
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::memory::Standing;
    use crate::view::Source;
    use lubber_core::frame::ChecksumPolicy;
    use lubber_core::monitor::Settings;
    use lubber_core::picture::SourceId;

    const NOW: i64 = 1_783_987_200; // 2026-07-14T00:00:00Z
    const MINUTE: Span = Span::from_min(1);

    fn sources(names: &[&str]) -> Sources {
        let source = |name: &&str| Source { name: (*name).into(), checksum: ChecksumPolicy::Required };
        Sources::new(names.iter().map(source).collect())
    }

    fn kept(state: State, source: &str, sensor: Option<&str>) -> Kept {
        Kept {
            alert: "heading-lost".into(),
            priority: "alarm".into(),
            state: state.word().into(),
            sensor: sensor.map(str::to_owned),
            source: Some(source.into()),
            part: None,
            follows: false,
            left_utc_s: None,
            text: "last heard 4 s ago".into(),
        }
    }

    fn of(alerts: Vec<Kept>, order: &str, ago: Span, now: &[&str]) -> Inherited {
        let before = ["nav", "gps"].map(str::to_owned).to_vec();
        let standing = Standing { order: Some(order.into()), sources: before, alerts };
        inherit(&Left { standing, ago }, &sources(now), false, NOW)
    }

    #[test]
    fn what_is_presented_again_and_what_is_only_told() {
        let unanswered = || kept(State::ActiveUnacknowledged, "gps", Some("GPHDT"));
        let first = of(vec![unanswered()], "150.000C", MINUTE, &["nav", "gps"]);
        let Instance::Sensor(origin) = first.legacy.alerts[0].instance else { panic!("{:?}", first.legacy) };
        assert_eq!((origin.source, origin.to_string().as_str()), (SourceId(1), "GPHDT"));
        assert_eq!((first.legacy.alerts[0].kind, first.legacy.alerts[0].ago), (AlertKind::HeadingLost, MINUTE));
        assert_eq!(first.legacy.order, order::read("150C"));
        assert_eq!(
            first.legacy.remarks,
            [
                "PRESENTED AGAIN, unanswered when the last watch ended 60 s ago: alarm heading-lost GPHDT: last heard 4 s ago",
                "the owner's order of the last watch, which ended 60 s ago, is CARRIED OVER: steer 150 C; lubber steer \
                 cancel ends it",
            ]
        );
        assert_eq!(first.held.iter().count(), 0);
        // Over: told and forgotten. Answered, following, or of last night: told, and held until it is judged.
        let over = of(vec![kept(State::RectifiedUnacknowledged, "nav", None)], "", MINUTE, &["nav", "gps"]);
        assert_eq!((over.legacy.remarks.len(), over.held.iter().count()), (1, 0));
        let follower = Kept { follows: true, ..unanswered() };
        for quiet in [kept(State::ActiveAcknowledged, "nav", None), follower] {
            let told = of(vec![quiet.clone()], "", MINUTE, &["nav", "gps"]);
            assert_eq!((told.legacy.alerts.len(), told.legacy.remarks.len()), (0, 1), "{quiet:?}");
            assert_eq!(told.held.iter().next().unwrap().left_utc_s, Some(NOW - 60));
        }
        let old = of(vec![unanswered()], "150.000C", RECENT + MINUTE, &["nav", "gps"]);
        assert_eq!((old.legacy.alerts.len(), old.legacy.remarks.len(), old.legacy.order), (0, 2, None));
        assert!(old.legacy.remarks[1].contains("NOT carried over: order"), "{:?}", old.legacy);
        let ancient = of(vec![unanswered()], "", DROPPED + MINUTE, &["nav", "gps"]);
        assert_eq!((ancient.legacy.remarks.len(), ancient.held.iter().count()), (1, 0));
    }

    #[test]
    fn what_this_watch_does_not_listen_to_is_told_and_waits_for_one_that_does() {
        let lost = || kept(State::ActiveUnacknowledged, "gps", None);
        let boat = || Kept { source: None, ..lost() };
        let told = of(vec![lost(), boat()], "150.000C", MINUTE, &["-"]);
        assert_eq!((told.legacy.alerts.len(), told.legacy.order, told.seen.len()), (0, None, 0));
        let [first, _, order] = &told.legacy.remarks[..] else { panic!("{:?}", told.legacy) };
        assert!(first.contains("about nothing that this watch listens to (gps)"), "{first}");
        assert!(order.contains("for that one listened to nav, gps"), "{order}");
        // A later watch of that source presents it, by the age it has then.
        let held: Vec<Kept> = told.held.iter().cloned().collect();
        let standing = Standing { order: None, sources: vec!["-".into()], alerts: held };
        let later = inherit(&Left { standing, ago: Span::from_s(1) }, &sources(&["gps"]), false, NOW + 540);
        assert_eq!(later.legacy.alerts.len(), 1, "the boat's is not known to be this one's: {:?}", later.legacy);
        assert_eq!(later.legacy.alerts[0].ago, Span::from_min(10));
        // With one source more or less it is the same boat, and another order.
        let fewer = of(vec![boat()], "150.000C", MINUTE, &["gps"]);
        assert_eq!((fewer.legacy.alerts[0].instance, fewer.legacy.order), (Instance::Boat, None));
    }

    #[test]
    fn what_was_acknowledged_stands_until_it_is_judged_anew() {
        let mut inherited =
            of(vec![kept(State::ActiveAcknowledged, "nav", Some("HCHDG"))], "", MINUTE, &["nav", "gps"]);
        let said = &inherited.legacy.remarks[0];
        assert!(said.starts_with("STILL STANDS as far as is known, active-acknowledged when the last watch"), "{said}");
        let settings = Settings { source_count: 2, ..Settings::default() };
        let mut monitor = Monitor::new(Instant::default(), settings);
        // Another heading is judged by now, and this one still is not there.
        let say = |monitor: &mut Monitor, s: u64, line: &[u8]| {
            monitor.bytes(Instant::from_ms(s * 1000), SourceId(0), line, &mut |_| {});
            monitor.tick(Instant::from_ms(s * 1000), &mut |_| {});
        };
        for s in 1..90 {
            say(&mut monitor, s, b"$GPHDT,151.2,T*32\r\n");
        }
        assert_eq!(monitor.judging()[AlertKind::HeadingLost as usize], Ok(()));
        inherited.held.judge(Instant::from_ms(89_000), &monitor);
        assert_eq!(inherited.held.iter().count(), 1);
        for s in 90..100 {
            say(&mut monitor, s, b"$HCHDG,150.2,,,4.1,W*38\r\n");
        }
        inherited.held.judge(Instant::from_ms(99_000), &monitor);
        assert_eq!(inherited.held.iter().count(), 0);
    }
}
