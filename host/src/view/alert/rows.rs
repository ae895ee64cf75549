//! One change of one alert as lines of text, with the tone of each part.

use lubber_core::alert::Evidence;
use lubber_core::alert::Instance;
use lubber_core::alert::Priority;
use lubber_core::arbiter::AlertChange;
use lubber_core::arbiter::State;
use lubber_core::picture::OrderedBy;

use crate::view::Sources;
use crate::view::Stamp;
use crate::view::alert::instance;
use crate::view::alert::words;
use crate::view::text::Row;
use crate::view::text::Tone;
use crate::view::text::wrap;

/// Below so many columns the time is left out before an alert.
const NARROW: usize = 50;

/// The tone of an alert of this priority in this state.
pub const fn tone(priority: Priority, state: State) -> Tone {
    match (priority, state) {
        (_, State::Normal) => Tone::Plain,
        (Priority::Alarm, State::ActiveUnacknowledged) => Tone::AlarmUnanswered,
        (Priority::Alarm, _) => Tone::Alarm,
        (Priority::Warning, _) => Tone::Warning,
        (Priority::Caution, _) => Tone::Caution,
    }
}

/// A change as a display shows it: what, and under it what was seen.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Entry {
    /// Which alert of what, and its state.
    pub head: Vec<Row>,
    /// What was seen.
    pub text: Vec<Row>,
}

/// The change for a person: a line that says what, and under it what was seen.
pub fn rows(stamp: Stamp, change: &AlertChange, sources: &Sources, width: usize) -> Vec<Row> {
    let Entry { head, text } = entry(stamp, change, sources, width);
    let mut rows: Vec<Row> = head.into_iter().chain(text).collect();
    if let Some(remedy) = remedy(change) {
        rows.extend(wrap(remedy, width, stamp.clock().len() + 1).into_iter().map(Row::plain));
    }
    rows
}

/// What to do about an alert that only the owner's word can settle, said where it is raised first.
fn remedy(change: &AlertChange) -> Option<&'static str> {
    let raised = change.state == State::ActiveUnacknowledged && change.occurrence <= 1 && !change.repeated;
    match change.evidence {
        Evidence::OffHeading { by: OrderedBy::FirstSteadyMinute, .. } if raised => {
            Some("where she is meant to go is told by: lubber steer here, or steer hand")
        }
        _ => None,
    }
}

/// As [`rows`], apart: where there is no room for both the head is what is shown.
pub fn entry(stamp: Stamp, change: &AlertChange, sources: &Sources, width: usize) -> Entry {
    let clock = stamp.clock();
    let word = match change.priority {
        // Something that is over must not look like something that stands.
        priority if change.state == State::Normal => format!("over ({priority})"),
        Priority::Alarm => "ALARM".into(),
        Priority::Warning => "WARNING".into(),
        Priority::Caution => "caution".into(),
    };
    let mut remarks = if change.escalated {
        ", was a warning that nobody answered".into()
    } else if change.repeated {
        ", not answered".into()
    } else if change.occurrence > 1 {
        format!(", number {}", change.occurrence)
    } else {
        String::new()
    };
    if let Some(cause) = change.follows {
        remarks = format!("{remarks}, follows from {cause}");
    }
    let about = match change.instance {
        Instance::Sensor(origin) if sources.several() => format!("{origin} on {}", sources.name(origin.source)),
        other => instance(other, sources),
    };
    // On a narrow screen every column is for what is wrong, and when it began stands in the log. Whether it is
    // over stands first there: the state comes last, and may find no room.
    let (clock, indent) = match change.state {
        State::RectifiedUnacknowledged if width < NARROW => ("over: ".into(), 1),
        _ if width < NARROW => (String::new(), 1),
        _ => (format!("{clock} "), clock.len() + 1),
    };
    let what = format!("{} {about}: {}{remarks}", change.kind, change.state.word());
    let before = word.len() + 1 + if indent == 1 { clock.len() } else { 0 };
    let mut lines = wrap(&what, width.saturating_sub(before), indent).into_iter();
    let first = lines.next().unwrap_or_default();
    let head = Row::plain(clock).and(tone(change.priority, change.state), word);
    let head = head.and(Tone::Plain, format!(" {}", first.trim_start()));
    let text = wrap(&words(change, sources), width, indent).into_iter().map(Row::plain).collect();
    Entry { head: std::iter::once(head).chain(lines.map(Row::plain)).collect(), text }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::alert::json;
    use crate::view::sample::STAMP;
    use crate::view::sample::off_heading;
    use crate::view::sample::sources;

    #[test]
    fn an_order_that_nobody_gave_is_not_said_to_be_one() {
        let mut change = off_heading();
        if let Evidence::OffHeading { by, .. } = &mut change.evidence {
            *by = OrderedBy::FirstSteadyMinute;
        }
        let said = |change: &AlertChange| -> Vec<String> {
            rows(STAMP, change, &sources(&["night.nmea"]), 80).iter().map(Row::words).collect()
        };
        assert_eq!(
            said(&change),
            [
                "02:11:09 ALARM off-heading HCHDG: active-unacknowledged",
                "         heading 152 C: 17 to starboard of the first steady minute (135 C),",
                "         which nobody ordered, for 10 s",
                "         where she is meant to go is told by: lubber steer here, or steer hand",
            ]
        );
        let mut line = String::new();
        json(&mut line, STAMP, &change, &sources(&["night.nmea"]));
        assert!(line.contains(r#""ordered_by":"first-steady-minute""#), "{line}");
        // The remedy is said once.
        let again = AlertChange { occurrence: 2, ..change };
        assert!(said(&again).iter().all(|row| !row.contains("steer hand")), "{:?}", said(&again));
        let over = AlertChange { state: State::RectifiedUnacknowledged, ..change };
        assert_eq!(said(&over)[1], "         over: heading 152 C, first steady minute 135 C: 17 to starboard");
    }

    #[test]
    fn the_text_fits_80_columns_and_says_state_and_priority_in_words() {
        let said = |change: &AlertChange, width| -> Vec<String> {
            rows(STAMP, change, &sources(&["night.nmea"]), width).iter().map(Row::words).collect()
        };
        assert_eq!(
            said(&off_heading(), 80),
            [
                "02:11:09 ALARM off-heading HCHDG: active-unacknowledged",
                "         heading 152 C, ordered 135 C: 17 to starboard for 10 s",
            ]
        );
        let over = AlertChange { state: State::Normal, occurrence: 2, ..off_heading() };
        assert_eq!(
            said(&over, 60),
            [
                "02:11:09 over (alarm) off-heading HCHDG: normal, number 2",
                "         over: heading 152 C, ordered 135 C: 17 to starboard",
            ]
        );
    }

    #[test]
    fn on_a_narrow_screen_what_is_over_says_so_first() {
        let first = |state| {
            let change = AlertChange { state, ..off_heading() };
            let entry = entry(STAMP, &change, &sources(&["night.nmea"]), 20);
            entry.head[0].words()
        };
        assert_eq!(first(State::ActiveUnacknowledged), "ALARM off-heading");
        assert_eq!(first(State::RectifiedUnacknowledged), "over: ALARM off-heading");
    }
}
