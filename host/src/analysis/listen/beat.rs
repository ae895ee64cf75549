//! How often a sentence comes: its intervals in classes, in bounded memory.

use lubber_core::time::Span;

/// The intervals between one sentence and the next of its kind, sorted into classes a quarter of an
/// octave wide: the usual interval is then known to a tenth, and to the millisecond where it is kept.
#[derive(Clone, Debug)]
pub struct Beat {
    classes: Box<[Class; CLASSES]>,
    count: u64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Class {
    count: u32,
    sum_ms: u64,
}

/// Four to the octave, to 2^24 ms, which is over four hours; longer ones share the last class.
const CLASSES: usize = 96;

/// An interval this long, and longer than [`GAP_BEATS`] usual ones, is a gap and no interval: the rule
/// by which a value turns stale.
const GAP: Span = Span::from_s(3);
const GAP_BEATS: u64 = 4;

impl Default for Beat {
    fn default() -> Self {
        Self { classes: Box::new([Class::default(); CLASSES]), count: 0 }
    }
}

impl Beat {
    /// One more interval.
    #[inline]
    pub(super) fn take(&mut self, interval: Span) {
        let ms = interval.as_ms();
        let class = &mut self.classes[class(ms)];
        class.count = class.count.saturating_add(1);
        class.sum_ms = class.sum_ms.saturating_add(ms);
        self.count += 1;
    }

    /// The median: the mean of the class it lies in. `None` until there are two sentences.
    pub fn median(&self) -> Option<Span> {
        let mut seen = 0;
        let middle = self.classes.iter().find(|class| {
            seen += u64::from(class.count);
            seen * 2 > self.count
        });
        middle.filter(|_| self.count > 0).map(|class| Span::from_ms(class.sum_ms / u64::from(class.count.max(1))))
    }

    /// An interval of at least this is a gap.
    pub fn gap_from(&self) -> Span {
        self.median().map_or(GAP, |median| GAP.max(median.times(GAP_BEATS)))
    }

    /// The mean interval with the gaps left out, in milliseconds: also right for sentences that come
    /// several at a time.
    pub fn usual_ms(&self) -> Option<f64> {
        let gap = self.gap_from().as_ms();
        let within = self.classes.iter().filter(|class| class.count > 0 && class.sum_ms < gap * u64::from(class.count));
        let (count, sum) =
            within.fold((0, 0), |(count, sum), class| (count + u64::from(class.count), sum + class.sum_ms));
        (count > 0).then(|| sum as f64 / count as f64)
    }

    /// [`usual_ms`](Self::usual_ms), rounded to the millisecond.
    pub fn usual(&self) -> Option<Span> {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a mean of positive intervals")]
        self.usual_ms().map(|ms| Span::from_ms(ms.round() as u64))
    }
}

#[inline]
fn class(ms: u64) -> usize {
    let octave = match ms {
        0 => return 0,
        _ => ms.ilog2(),
    };
    let quarter = if octave >= 2 { (ms >> (octave - 2)) & 3 } else { (ms << (2 - octave)) & 3 };
    (octave as usize * 4 + quarter as usize).min(CLASSES - 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn beat(intervals: impl IntoIterator<Item = u64>) -> Beat {
        let mut beat = Beat::default();
        intervals.into_iter().for_each(|ms| beat.take(Span::from_ms(ms)));
        beat
    }

    #[test]
    fn a_steady_beat_is_known_to_the_millisecond_whatever_gaps_there_are() {
        let intervals = (0..100).map(|n| if n % 50 == 7 { 45_000 } else { 507 });
        let beat = beat(intervals);
        assert_eq!(beat.median(), Some(Span::from_ms(507)));
        assert_eq!(beat.usual(), Some(Span::from_ms(507)));
    }

    #[test]
    fn three_at_a_time_come_three_times_a_second() {
        let beat = beat((0..300).map(|n| if n % 3 == 2 { 900 } else { 50 }));
        assert_eq!(beat.usual().map(Span::as_ms), Some(333));
    }

    #[test]
    fn one_sentence_has_no_beat() {
        assert_eq!((beat([]).median(), beat([]).usual()), (None, None));
        assert_eq!(beat([u64::MAX]).median(), Some(Span::from_ms(u64::MAX)));
    }

    #[test]
    fn classes_rise_with_the_interval_and_are_a_quarter_of_an_octave_wide() {
        let mut last = 0;
        for ms in 1..70_000_u64 {
            let this = class(ms);
            assert!(this >= last, "{ms}");
            last = this;
        }
        assert_eq!(class(u64::MAX), CLASSES - 1);
        assert!(class(1250) > class(1000) && class(1150) == class(1030));
    }
}
