//! Memories of a bounded size: what is oldest makes room for what is new.

use std::collections::HashMap;
use std::hash::Hash;

/// Drops the oldest entry of a memory that holds `most`, unless it is another word of `key` that comes.
pub(super) fn make_room<K: Clone + Eq + Hash, V, A: Ord>(
    memory: &mut HashMap<K, V>,
    most: usize,
    key: &K,
    age: impl Fn(&V) -> A,
) {
    if memory.len() >= most && !memory.contains_key(key) {
        let oldest = memory.iter().min_by_key(|(_, value)| age(value)).map(|(key, _)| key.clone());
        oldest.and_then(|key| memory.remove(&key));
    }
}
