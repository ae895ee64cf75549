//! How it stands, in full, for a person who asks: the status line, who ordered the heading, every alert
//! that is not normal, and what is not watched just now.

use lubber_core::monitor::Status;
use lubber_core::time::Instant;

use crate::view::Sources;
use crate::view::Stamp;
use crate::view::alert;
use crate::view::notice;
use crate::view::notice::steering_words;
use crate::view::status::unjudged_rows;
use crate::view::status_line;
use crate::view::text::Row;

/// The whole of a status line: it is broken here, nothing is left out.
const WHOLE: usize = 1000;

/// The report at `stamp`, in rows of at most `width` characters; `ordered` is when it was ordered how the boat
/// is steered, where it ever was.
pub fn rows(stamp: Stamp, status: &Status, ordered: Option<Instant>, sources: &Sources, width: usize) -> Vec<Row> {
    let line = status_line::row(stamp, status, sources, None, WHOLE).words();
    let line = line.strip_prefix(&stamp.clock()).unwrap_or(&line);
    let mut rows = notice::rows(stamp, line, width);
    let ordered = ordered.map_or(stamp, |at| stamp.back_to(at));
    rows.extend(notice::rows(ordered, &steering_words(status.steering), width));
    for change in &status.alerts {
        rows.extend(alert::rows(stamp.back_to(change.at), change, sources, width));
    }
    rows.extend(unjudged_rows(stamp, status, width));
    rows
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::sample::nothing_known;
    use lubber_core::alert::Why;

    #[test]
    fn nothing_is_left_out() {
        let mut status = nothing_known();
        status.judging[0] = Err(Why::NoOrder);
        let stamp = Stamp { utc_ms: Some(1_783_995_069_300), since_start_ms: 812_300 };
        let text: Vec<String> = rows(stamp, &status, None, &Sources::default(), 80).iter().map(Row::words).collect();
        assert_eq!(
            text,
            [
                "02:11:09 no alert NO HEADING no order yet 1 not watched no witness",
                "02:11:09 no heading is ordered yet",
                "02:11:09 NOT WATCHED just now, and why:",
                "           off-heading  no heading is ordered yet",
            ]
        );
        let minute_ago = Some(Instant::from_ms(752_300));
        let text: Vec<String> =
            rows(stamp, &status, minute_ago, &Sources::default(), 80).iter().map(Row::words).collect();
        assert_eq!(text[1], "02:10:09 no heading is ordered yet", "an order has the time it was given");
    }
}
