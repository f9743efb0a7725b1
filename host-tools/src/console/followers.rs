//! Pages that follow strokes: so many at a time, and none of them can keep others out.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::oneshot;

use super::peer::{Peer, greediest};

/// Pages that may follow at a time.
pub const MOST: usize = 256;

/// Who follows now.
#[derive(Debug, Default)]
pub struct Followers(Mutex<Places>);

#[derive(Debug, Default)]
struct Places {
    /// Number of the next page.
    next: u64,
    /// Oldest first.
    taken: Vec<Place>,
}

#[derive(Debug)]
struct Place {
    number: u64,
    peer: Peer,
    /// Dropped to end the page's stream.
    _leave: oneshot::Sender<()>,
}

/// A page's place; given back when it is dropped.
#[derive(Debug)]
pub struct Follower {
    followers: Arc<Followers>,
    number: u64,
    /// Ends when the page has to leave.
    told: oneshot::Receiver<()>,
}

impl Followers {
    fn places(&self) -> MutexGuard<'_, Places> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Pages that follow.
    #[must_use]
    pub fn count(&self) -> usize {
        self.places().taken.len()
    }

    /// A place for a page of this visitor. Where all are taken, the oldest page of whoever has most of them leaves; none for
    /// the visitor who has as many.
    #[must_use]
    pub fn enter(self: &Arc<Self>, peer: Peer) -> Option<Follower> {
        let mut places = self.places();
        if places.taken.len() >= MOST {
            let own = places.taken.iter().filter(|place| place.peer == peer).count();
            let (greedy, count) = greediest(places.taken.iter().map(|place| place.peer))?;
            // Else two who share all places would push each other out for ever.
            if own + 1 >= count {
                return None;
            }
            let oldest = places.taken.iter().position(|place| place.peer == greedy)?;
            places.taken.remove(oldest);
        }
        let (leave, told) = oneshot::channel();
        let number = places.next;
        places.next += 1;
        places.taken.push(Place { number, peer, _leave: leave });
        Some(Follower { followers: Arc::clone(self), number, told })
    }
}

impl Follower {
    /// Waits until the page has to leave for another visitor's.
    pub async fn has_to_leave(&mut self) {
        // The other end is never used, only dropped.
        let _ = (&mut self.told).await;
    }
}

impl Drop for Follower {
    fn drop(&mut self) {
        self.followers.places().taken.retain(|place| place.number != self.number);
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn peer(n: u8) -> Peer {
        Peer::of([192, 0, 2, n].into())
    }

    #[test]
    fn who_takes_all_places_gives_up_the_oldest_to_others_and_gets_no_more() {
        let followers = Arc::<Followers>::default();
        let mut greedy: Vec<Follower> = (0..MOST).map(|_| followers.enter(peer(1)).unwrap()).collect();
        assert!(followers.enter(peer(1)).is_none());
        let others: Vec<Follower> = (2..12).map(|n| followers.enter(peer(n)).unwrap()).collect();
        assert_eq!(followers.count(), MOST);
        for (n, one) in greedy.iter_mut().enumerate() {
            let has_to_leave = one.told.try_recv() == Err(oneshot::error::TryRecvError::Closed);
            assert_eq!(has_to_leave, n < 10, "{n}");
        }
        // Pages that had to leave give no place back a second time.
        drop(greedy);
        assert_eq!(followers.count(), 10);
        drop(others);
        assert_eq!(followers.count(), 0);
    }

    #[test]
    fn two_who_share_all_places_do_not_push_each_other_out() {
        let followers = Arc::<Followers>::default();
        let _held: Vec<Follower> = (0..MOST).map(|n| followers.enter(peer((n % 2) as u8)).unwrap()).collect();
        assert!(followers.enter(peer(0)).is_none() && followers.enter(peer(1)).is_none());
        assert!(followers.enter(peer(2)).is_some());
    }
}
