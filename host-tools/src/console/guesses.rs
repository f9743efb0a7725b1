//! Wrong passwords: how long a guess is listened to, and why a stranger's guesses lock nobody else out.
//!
//! From one address ten wrong passwords for a name are the last for a quarter of an hour. Over all addresses together a name
//! is guessed at no faster than once a minute, after twenty at once. That pace does not bind an address from which this
//! person has signed in since the console was started, nor the machine that the console runs on: whoever guesses from many
//! addresses makes an engineer at a new place wait, and locks nobody out of the places that are known.

use std::collections::{HashMap, VecDeque};
use std::time::{Duration, Instant};

use super::peer::Peer;
use super::room::make_room;

/// Wrong passwords for one name from one address within [`WATCHED`] after which no more are tried.
pub const MOST_WRONG: usize = 10;
/// How long they are remembered.
pub const WATCHED: Duration = Duration::from_secs(900);
/// Wrong passwords for one name from all addresses together that are tried at once, and how soon another one is.
const AT_ONCE: f64 = 20.0;
const ANOTHER: Duration = Duration::from_secs(60);
/// Addresses of one name that are counted, and that are known.
const MOST_PEERS: usize = 512;
const MOST_KNOWN: usize = 64;
/// Names that nobody has and that are counted.
const MOST_NOBODIES: usize = 1024;

/// Why a password is not tried now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wait {
    /// Too many wrong ones from this address.
    Here,
    /// Too many from all addresses together.
    Everywhere,
}

/// What is known of the guesses at one name.
#[derive(Debug)]
struct Tried {
    /// When wrong passwords came, by address.
    wrong: HashMap<Peer, VecDeque<Instant>>,
    /// Addresses from which the person has signed in, oldest first.
    known: VecDeque<Peer>,
    /// Guesses that all addresses together have left, and when that was counted.
    left: (f64, Instant),
    /// When it was last told that guesses were stopped.
    told: Option<Instant>,
}

impl Tried {
    fn new(now: Instant) -> Self {
        Self { wrong: HashMap::new(), known: VecDeque::new(), left: (AT_ONCE, now), told: None }
    }

    fn forget(&mut self, now: Instant) {
        self.wrong.retain(|_, times| {
            times.retain(|time| now.saturating_duration_since(*time) < WATCHED);
            !times.is_empty()
        });
        let gained = now.saturating_duration_since(self.left.1).as_secs_f64() / ANOTHER.as_secs_f64();
        self.left = ((self.left.0 + gained).min(AT_ONCE), now);
    }

    /// Whether nothing is left that would have to be remembered.
    fn is_idle(&self) -> bool {
        self.wrong.is_empty() && self.known.is_empty() && self.left.0 >= AT_ONCE
    }

    fn wait(&self, from: Peer) -> Option<Wait> {
        if self.wrong.get(&from).is_some_and(|times| times.len() >= MOST_WRONG) {
            return Some(Wait::Here);
        }
        let is_free = from.is_here() || self.known.contains(&from);
        (!is_free && self.left.0 < 1.0).then_some(Wait::Everywhere)
    }

    /// Counts a wrong password; true for the last that is tried from this address.
    fn wrong(&mut self, from: Peer, now: Instant) -> bool {
        self.left.0 = (self.left.0 - 1.0).max(0.0);
        // The pace of all together holds on.
        make_room(&mut self.wrong, MOST_PEERS, &from, |times| times.back().copied());
        let times = self.wrong.entry(from).or_default();
        times.push_back(now);
        times.len() >= MOST_WRONG
    }
}

/// Wrong passwords of people, of whom every one is counted, and of names nobody has, as many as fit: they could not be
/// guessed anyway, but must look the same from outside.
#[derive(Debug, Default)]
pub struct Guesses {
    of_people: HashMap<String, Tried>,
    of_nobody: HashMap<String, Tried>,
}

impl Guesses {
    /// Why no password is tried for this name from there now; none where one is.
    pub fn wait(&mut self, name: &str, from: Peer, now: Instant) -> Option<Wait> {
        for names in [&mut self.of_people, &mut self.of_nobody] {
            names.retain(|_, tried| {
                tried.forget(now);
                !tried.is_idle()
            });
        }
        [&self.of_people, &self.of_nobody].iter().find_map(|names| names.get(name)?.wait(from))
    }

    /// Counts a wrong password; true for the last that is tried from there.
    pub fn wrong(&mut self, name: &str, is_known: bool, from: Peer, now: Instant) -> bool {
        let names = if is_known { &mut self.of_people } else { &mut self.of_nobody };
        let name = name.to_owned();
        if !is_known {
            make_room(names, MOST_NOBODIES, &name, |tried| tried.left.1);
        }
        names.entry(name).or_insert_with(|| Tried::new(now)).wrong(from, now)
    }

    /// Remembers where a person has signed in, and forgets what was wrong there before.
    pub fn right(&mut self, name: &str, from: Peer, now: Instant) {
        let tried = self.of_people.entry(name.to_owned()).or_insert_with(|| Tried::new(now));
        tried.wrong.remove(&from);
        tried.known.retain(|known| *known != from);
        if tried.known.len() >= MOST_KNOWN {
            tried.known.pop_front();
        }
        tried.known.push_back(from);
    }

    /// Whether it is to be journalled now that guesses at this person were stopped: once a while, so that guesses cannot fill
    /// the journal.
    pub fn is_to_be_told(&mut self, name: &str, now: Instant) -> bool {
        let Some(tried) = self.of_people.get_mut(name) else { return false };
        let is_new = tried.told.is_none_or(|told| now.saturating_duration_since(told) >= WATCHED);
        if is_new {
            tried.told = Some(now);
        }
        is_new
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn peer(n: u16) -> Peer {
        Peer::of(format!("10.0.{}.{}", n / 256, n % 256).parse().unwrap())
    }

    #[test]
    fn ten_wrong_from_one_address_stop_that_address_only_and_time_forgives() {
        let (mut guesses, now) = (Guesses::default(), Instant::now());
        for n in 1..=MOST_WRONG {
            assert_eq!(guesses.wait("A", peer(1), now), None);
            assert_eq!(guesses.wrong("A", true, peer(1), now), n == MOST_WRONG);
        }
        assert_eq!(guesses.wait("A", peer(1), now), Some(Wait::Here));
        assert_eq!(guesses.wait("A", peer(2), now), None, "the engineer elsewhere");
        assert_eq!(guesses.wait("B", peer(1), now), None);
        assert_eq!(guesses.wait("A", peer(1), now + WATCHED), None);
        // A name nobody has looks the same.
        for _ in 0..MOST_WRONG {
            guesses.wrong("nobody", false, peer(1), now);
        }
        assert_eq!(guesses.wait("nobody", peer(1), now), Some(Wait::Here));
    }

    #[test]
    fn guesses_from_many_addresses_are_slow_and_lock_no_known_place_out() {
        let (mut guesses, now) = (Guesses::default(), Instant::now());
        guesses.right("A", peer(0), now);
        let mut tried = 0;
        // One stranger's address after another, ten a second, for an hour.
        for n in 0..36_000_u64 {
            let (from, at) = (peer(1 + (n % 60_000) as u16), now + Duration::from_millis(100 * n));
            if guesses.wait("A", from, at).is_none() {
                guesses.wrong("A", true, from, at);
                tried += 1;
            }
        }
        assert!(tried <= 20 + 60, "{tried} guesses in an hour");
        let at = now + Duration::from_secs(3600) + ANOTHER;
        assert_eq!(guesses.wait("A", peer(50_000), at), None, "one a minute is tried");
        // What was left, less than one, and what a minute brought.
        for n in [50_000, 50_001] {
            guesses.wrong("A", true, peer(n), at);
        }
        assert_eq!(guesses.wait("A", peer(50_002), at), Some(Wait::Everywhere));
        assert_eq!(guesses.wait("A", peer(0), at), None, "where the engineer has signed in");
        assert_eq!(
            guesses.wait("A", Peer::of("127.0.0.1".parse().unwrap()), at),
            None,
            "at the machine itself"
        );
        // A known place is no way around: its own wrong ones count.
        for _ in 0..MOST_WRONG {
            guesses.wrong("A", true, peer(0), at);
        }
        assert_eq!(guesses.wait("A", peer(0), at), Some(Wait::Here));
    }

    #[test]
    fn what_is_remembered_is_bounded_and_names_nobody_has_hide_none_that_somebody_has() {
        let (mut guesses, now) = (Guesses::default(), Instant::now());
        for _ in 0..MOST_WRONG {
            guesses.wrong("A", true, peer(1), now);
        }
        for n in 0..3 * MOST_NOBODIES {
            guesses.wrong(&format!("nobody {n}"), false, peer(2), now + Duration::from_millis(n as u64));
        }
        assert_eq!(guesses.of_nobody.len(), MOST_NOBODIES);
        for n in 0..3 * MOST_PEERS {
            guesses.wrong("B", true, peer(n as u16), now + Duration::from_millis(n as u64));
            guesses.right("C", peer(n as u16), now);
        }
        assert_eq!(guesses.of_people["B"].wrong.len(), MOST_PEERS);
        assert_eq!(guesses.of_people["C"].known.len(), MOST_KNOWN);
        assert_eq!(guesses.wait("A", peer(1), now + Duration::from_secs(10)), Some(Wait::Here));
    }

    #[test]
    fn that_guesses_were_stopped_is_told_once_a_while() {
        let (mut guesses, now) = (Guesses::default(), Instant::now());
        assert!(!guesses.is_to_be_told("A", now), "nobody guessed");
        guesses.wrong("A", true, peer(1), now);
        assert!(guesses.is_to_be_told("A", now) && !guesses.is_to_be_told("A", now));
        assert!(guesses.is_to_be_told("A", now + WATCHED));
    }
}
