//! How many may be connected, from where, and who has shown the key.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::MutexGuard;
use std::sync::PoisonError;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::AtomicU64;
use std::sync::atomic::Ordering;

use crate::page::Bounds;

/// The seats of the house. Strangers have few, those who have shown the key have their own, so that
/// no crowd of strangers keeps the owner out.
pub(super) struct Seats {
    bounds: Bounds,
    taken: Mutex<Taken>,
}

#[derive(Default)]
struct Taken {
    strangers: HashMap<IpAddr, usize>,
    all_strangers: usize,
    known: usize,
}

/// One connection's seat, given back when it is dropped.
pub(super) struct Guest {
    seats: Arc<Seats>,
    address: IpAddr,
    known: AtomicBool,
    /// Pieces of the stream that it has taken.
    pub(super) taken: AtomicU64,
    /// Whether it reads the stream.
    pub(super) reads: AtomicBool,
}

impl Seats {
    pub(super) fn new(bounds: Bounds) -> Arc<Self> {
        Arc::new(Self { bounds, taken: Mutex::default() })
    }

    /// A stranger's seat, if there is one left for that address.
    pub(super) fn take(self: &Arc<Self>, address: IpAddr) -> Option<Guest> {
        let address = address.to_canonical();
        let mut taken = self.taken();
        let here = taken.strangers.get(&address).copied().unwrap_or(0);
        if here >= self.bounds.strangers_each || taken.all_strangers >= self.bounds.strangers {
            return None;
        }
        taken.all_strangers += 1;
        taken.strangers.insert(address, here + 1);
        let (known, reads) = (AtomicBool::new(false), AtomicBool::new(false));
        Some(Guest { seats: Arc::clone(self), address, known, taken: AtomicU64::new(0), reads })
    }

    /// How many are connected.
    pub(super) fn count(&self) -> usize {
        let taken = self.taken();
        taken.all_strangers + taken.known
    }

    fn taken(&self) -> MutexGuard<'_, Taken> {
        // Nothing panics with the lock held, and counts are whole at any moment.
        self.taken.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Taken {
    fn stranger_leaves(&mut self, address: IpAddr) {
        self.all_strangers -= 1;
        if let Some(here) = self.strangers.get_mut(&address) {
            *here -= 1;
            if *here == 0 {
                self.strangers.remove(&address);
            }
        }
    }
}

impl Guest {
    /// It has shown the key: it takes one of the other seats. False where none of them is left.
    pub(super) fn known(&self) -> bool {
        let mut taken = self.seats.taken();
        if self.known.load(Ordering::Relaxed) {
            return true;
        }
        if taken.known >= self.seats.bounds.known {
            return false;
        }
        taken.known += 1;
        taken.stranger_leaves(self.address);
        self.known.store(true, Ordering::Relaxed);
        true
    }
}

impl Drop for Guest {
    fn drop(&mut self) {
        let mut taken = self.seats.taken();
        if self.known.load(Ordering::Relaxed) {
            taken.known -= 1;
        } else {
            taken.stranger_leaves(self.address);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strangers_neither_keep_out_each_other_nor_the_owner() {
        let bounds = Bounds { strangers_each: 2, strangers: 3, known: 2, ..Bounds::default() };
        let seats = Seats::new(bounds);
        let (one, two, three): (IpAddr, IpAddr, IpAddr) =
            ("10.0.0.1".parse().unwrap(), "10.0.0.2".parse().unwrap(), "::ffff:10.0.0.1".parse().unwrap());
        let first = seats.take(one).unwrap();
        let second = seats.take(one).unwrap();
        assert!(seats.take(one).is_none() && seats.take(three).is_none(), "the same address, however it is written");
        let third = seats.take(two).unwrap();
        assert!(seats.take("10.0.0.9".parse().unwrap()).is_none(), "no more strangers at all");
        assert!(first.known() && first.known() && second.known());
        assert_eq!(seats.count(), 3);
        let fourth = seats.take(one).unwrap();
        assert!(!fourth.known(), "the seats of those who are known are full too");
        drop(first);
        assert!(fourth.known());
        drop((second, third, fourth));
        assert_eq!(seats.count(), 0);
        assert!(seats.taken().strangers.is_empty());
    }
}
