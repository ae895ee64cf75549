//! Talkers of one thing side by side: how far two positions, or two headings, are apart.

use lubber_core::angle::Bearing;
use lubber_core::frame::Formatter;
use lubber_core::frame::Talker;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;
use lubber_core::time::Span;
use lubber_core::unit::Position;

use super::At;
use super::value::metres;

/// A talker of positions on one source, whichever sentences it says them in.
pub(super) type Receiver = (SourceId, Talker);
/// A talker of headings of one formatter.
pub(super) type Sensor = (SourceId, Talker, Formatter);

/// Two talkers compared whenever both have just spoken.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pair<N> {
    /// The one heard first.
    pub(super) one: N,
    /// The other.
    pub(super) other: N,
    /// How often they were compared.
    pub(super) count: u64,
    /// The sum of the differences: metres, or degrees from one to the other, starboard plus.
    sum: f64,
    /// The greatest difference, without its sign, and when.
    pub(super) most: (f64, At),
}

/// The latest word of each talker, and each pair of them.
#[derive(Clone, Debug)]
pub(super) struct Beside<N, V> {
    latest: Vec<(N, Instant, V)>,
    /// The pairs.
    pub(super) pairs: Vec<Pair<N>>,
}

/// Two words this near in time are of one moment.
const SAME_MOMENT: Span = Span::from_ms(1200);
/// Most talkers that are compared.
const TALKERS: usize = 6;

impl<N> Default for Beside<N, Position>
where
    N: Copy + PartialEq,
{
    fn default() -> Self {
        Self { latest: Vec::new(), pairs: Vec::new() }
    }
}

impl<N> Default for Beside<N, Bearing>
where
    N: Copy + PartialEq,
{
    fn default() -> Self {
        Self { latest: Vec::new(), pairs: Vec::new() }
    }
}

impl<N: Copy + PartialEq, V: Copy> Beside<N, V> {
    /// `name` says `value`; it is compared with every other talker that `fits`.
    #[inline]
    fn take(&mut self, at: At, name: N, value: V, fits: impl Fn(N) -> bool, apart: impl Fn(V, V) -> f64) {
        let mine = match self.latest.iter().position(|(other, ..)| *other == name) {
            Some(place) => place,
            None if self.latest.len() < TALKERS => {
                self.latest.push((name, at.now, value));
                self.latest.len() - 1
            }
            None => return,
        };
        self.latest[mine] = (name, at.now, value);
        for (place, &(other, when, theirs)) in self.latest.iter().enumerate() {
            if place == mine || !fits(other) || at.now.since(when) > SAME_MOMENT {
                continue;
            }
            // The one heard first is always the first of its pair, so that the sign is fixed.
            let (one, two, difference) =
                if place < mine { (other, name, apart(theirs, value)) } else { (name, other, apart(value, theirs)) };
            let pair = match self.pairs.iter_mut().find(|pair| pair.one == one && pair.other == two) {
                Some(pair) => pair,
                None => {
                    self.pairs.push(Pair { one, other: two, count: 0, sum: 0.0, most: (0.0, at) });
                    let last = self.pairs.len() - 1;
                    &mut self.pairs[last]
                }
            };
            pair.count += 1;
            pair.sum += difference;
            if difference.abs() > pair.most.0 {
                pair.most = (difference.abs(), at);
            }
        }
    }
}

impl Beside<Receiver, Position> {
    /// A receiver's position.
    #[inline]
    pub(super) fn position(&mut self, at: At, name: Receiver, position: Position) {
        self.take(at, name, position, |_| true, metres);
    }
}

impl Beside<Sensor, Bearing> {
    /// A sensor's heading; headings of different formatters may have different references.
    #[inline]
    pub(super) fn heading(&mut self, at: At, name: Sensor, heading: Bearing) {
        let apart = |a: Bearing, b: Bearing| f64::from(a.turn_to(b).as_mdeg()) / 1000.0;
        self.take(at, name, heading, |other| other.2 == name.2, apart);
    }
}

impl<N> Pair<N> {
    /// The mean difference.
    pub(super) fn mean(&self) -> f64 {
        self.sum / self.count.max(1) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(ms: u64) -> At {
        At { now: Instant::from_ms(ms), utc_ms: None }
    }

    #[test]
    fn two_receivers_are_compared_where_both_have_just_spoken() {
        let mut beside = Beside::default();
        let (one, two) = ((SourceId(0), Talker(*b"GP")), (SourceId(0), Talker(*b"II")));
        let here = Position { lat_e7: 540_000_000, lon_e7: 0 };
        for s in 0..20 {
            beside.position(at(s * 1000), one, here);
            if s < 10 {
                beside.position(at(s * 1000 + 400), two, Position { lat_e7: here.lat_e7 + 1000, ..here });
            }
        }
        let [pair] = &beside.pairs[..] else { panic!("{:?}", beside.pairs) };
        // The second is compared with the first ten times, the first with the second as often.
        assert_eq!((pair.one, pair.other, pair.count), (one, two, 20));
        // 1e-4 degree of latitude is 0.006 mile: 11.1 m.
        assert!((pair.mean() - 11.112).abs() < 0.01, "{}", pair.mean());
    }

    #[test]
    fn headings_are_compared_by_formatter_and_keep_their_sign() {
        let mut beside = Beside::default();
        let sensor = |talker: &[u8; 2], formatter: &[u8; 3]| (SourceId(0), Talker(*talker), Formatter(*formatter));
        for s in 0..10 {
            beside.heading(at(s * 1000), sensor(b"HC", b"HDG"), Bearing::from_deg(358));
            beside.heading(at(s * 1000 + 100), sensor(b"HE", b"HDT"), Bearing::from_deg(100));
            beside.heading(at(s * 1000 + 200), sensor(b"II", b"HDG"), Bearing::from_deg(2));
        }
        let [pair] = &beside.pairs[..] else { panic!("{:?}", beside.pairs) };
        assert_eq!((pair.mean(), pair.most.0), (4.0, 4.0));
    }
}
