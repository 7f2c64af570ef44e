//! When each of many things is next to be looked at.

use crate::Moment;
use rustc_hash::FxHashMap;
use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::hash::Hash;

/// At most one moment for each key, the soonest of them always at hand; or, in place of moments, the least of any values that
/// mostly grow.
///
/// What is put off again and again, as silence is by each line, costs a look into a hash table: its place in the heap stays
/// until it surfaces. Keys of one moment come out in their own order, so that the same calls give the same answers.
///
/// Holds at most twice as many places as there are keys, and 64.
#[derive(Debug, Clone)]
pub struct Wakes<K, V = Moment> {
    by_key: FxHashMap<K, Wake<V>>,
    /// Each key's `queued`, and older places of it, which mean nothing. The first is a key's true moment.
    places: BinaryHeap<Reverse<(V, K)>>,
}

#[derive(Debug, Clone, Copy)]
struct Wake<V> {
    due: V,
    /// Its earliest place; `due` or before.
    queued: V,
}

/// Places that mean nothing and are left where they are, besides one for each key.
const SPARE: usize = 64;

impl<K: Ord, V: Ord> Default for Wakes<K, V> {
    fn default() -> Self {
        Self { by_key: FxHashMap::default(), places: BinaryHeap::new() }
    }
}

impl<K: Copy + Eq + Hash + Ord, V: Copy + Ord> Wakes<K, V> {
    /// Sets, moves or removes a key's moment.
    pub fn set(&mut self, key: K, due: Option<V>) {
        match (due, self.by_key.get_mut(&key)) {
            (Some(due), Some(wake)) => {
                wake.due = due;
                if due < wake.queued {
                    wake.queued = due;
                    self.places.push(Reverse((due, key)));
                }
            }
            (Some(due), None) => {
                self.by_key.insert(key, Wake { due, queued: due });
                self.places.push(Reverse((due, key)));
            }
            (None, Some(_)) => drop(self.by_key.remove(&key)),
            (None, None) => return,
        }
        self.surface();
    }

    /// The soonest moment.
    pub fn next(&self) -> Option<V> {
        self.first().map(|(due, _)| due)
    }

    /// The soonest moment and its key, the least of them where several have it.
    pub fn first(&self) -> Option<(V, K)> {
        self.places.peek().map(|Reverse(first)| *first)
    }

    /// How many keys have a moment.
    pub fn len(&self) -> usize {
        self.by_key.len()
    }

    /// Whether none has.
    pub fn is_empty(&self) -> bool {
        self.by_key.is_empty()
    }

    /// Removes and returns the first key that is due by a moment.
    pub fn pop(&mut self, at: V) -> Option<K> {
        let (due, key) = self.first()?;
        if due > at {
            return None;
        }
        self.set(key, None);
        Some(key)
    }

    /// Removes all.
    pub fn clear(&mut self) {
        self.by_key.clear();
        self.places.clear();
    }

    /// Makes the first place a true one.
    fn surface(&mut self) {
        if self.places.len() > 2 * self.by_key.len() + SPARE {
            self.by_key.values_mut().for_each(|w| w.queued = w.due);
            self.places = self.by_key.iter().map(|(key, w)| Reverse((w.due, *key))).collect();
        }
        while let Some(mut first) = self.places.peek_mut() {
            let Reverse((place, key)) = *first;
            match self.by_key.get_mut(&key).filter(|w| w.queued == place) {
                Some(wake) if wake.due == place => return,
                Some(wake) => {
                    wake.queued = wake.due;
                    first.0.0 = wake.due;
                }
                None => drop(std::collections::binary_heap::PeekMut::pop(first)),
            }
        }
    }
}

/// The soonest of several sources' wakes, each with the source's name.
#[inline]
pub fn soonest<const N: usize>(wakes: [(&'static str, Option<Moment>); N]) -> Option<Moment> {
    let first = wakes.iter().map(|(_, due)| due.map_or(i64::MAX, |due| due.0)).fold(i64::MAX, i64::min);
    // Nothing is due at the end of time.
    (first < i64::MAX).then_some(Moment(first))
}

/// Stops a debug build where a source wants to be advanced again at a moment to which it just was: it would be woken without
/// end and change nothing. At the end of time nothing lies ahead.
#[inline]
pub fn assert_ahead<const N: usize>(at: Moment, wakes: [(&'static str, Option<Moment>); N]) {
    for (source, due) in wakes {
        debug_assert!(
            due.is_none_or(|due| due > at || due == Moment(i64::MAX)),
            "{source} wants to be woken at {due:?}, and it is {at:?}"
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeMap;

    proptest! {
        /// Beside a table that is searched each time.
        #[test]
        fn the_soonest_is_that_of_a_plain_table(
            acts in proptest::collection::vec((0u8..12, proptest::option::of(0i64..50), any::<bool>()), 0..400)
        ) {
            let mut wakes = Wakes::default();
            let mut table: BTreeMap<u8, Moment> = BTreeMap::new();
            for (key, due, pops) in acts {
                let first = table.iter().map(|(k, m)| (*m, *k)).min();
                if pops {
                    let at = Moment(due.unwrap_or(0));
                    let popped = first.filter(|(m, _)| *m <= at).map(|(_, k)| k);
                    prop_assert_eq!(wakes.pop(at), popped);
                    popped.map(|k| table.remove(&k));
                } else {
                    let due = due.map(Moment);
                    wakes.set(key, due);
                    match due {
                        Some(due) => drop(table.insert(key, due)),
                        None => drop(table.remove(&key)),
                    }
                }
                prop_assert_eq!(wakes.next(), table.values().min().copied());
            }
        }
    }

    #[test]
    fn what_is_set_and_removed_without_end_takes_no_room() {
        let mut wakes = Wakes::default();
        wakes.set(0, Some(Moment(1)));
        for n in 0..100_000 {
            let key = 1 + n % 7;
            wakes.set(key, None);
            wakes.set(key, Some(Moment(1_000_000 - n)));
            assert!(wakes.places.len() <= 2 * 8 + SPARE, "{}", wakes.places.len());
        }
        assert_eq!(wakes.next(), Some(Moment(1)));
    }
}
