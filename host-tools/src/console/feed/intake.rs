//! One thread that stores what all feeds bring, as many strokes to a transaction as are waiting.

use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::JoinHandle;

use crate::console::store::{Event, NewStroke, Store, StoreError};

/// Strokes that may wait; a feed that brings more waits itself, so memory is bounded and nothing is dropped.
const WAITING: usize = 1024;
/// Strokes stored in one transaction at most.
const AT_ONCE: usize = 256;

/// The intake has ended: the database failed or the console is closing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("strokes are no longer stored")]
pub struct IntakeClosed;

/// Takes strokes in.
#[derive(Debug, Clone)]
pub struct Intake {
    sender: SyncSender<NewStroke>,
}

impl Intake {
    /// Starts the thread; it ends, everything stored, when the last clone of the intake is gone.
    ///
    /// # Errors
    /// What the operating system says of a thread it cannot make.
    pub fn start(
        store: Arc<Store>,
        keep_bytes: u64,
        failed: impl FnOnce(StoreError) + Send + 'static,
    ) -> std::io::Result<(Self, JoinHandle<()>)> {
        let (sender, receiver) = sync_channel(WAITING);
        let thread = std::thread::Builder::new().name("intake".into()).spawn(move || {
            if let Err(why) = run(&store, &receiver, keep_bytes) {
                failed(why);
            }
        })?;
        Ok((Self { sender }, thread))
    }

    /// Hands a stroke over, waiting where many are waiting already.
    ///
    /// # Errors
    /// [`IntakeClosed`].
    pub fn put(&self, stroke: NewStroke) -> Result<(), IntakeClosed> {
        self.sender.send(stroke).map_err(|_| IntakeClosed)
    }
}

fn run(store: &Store, receiver: &Receiver<NewStroke>, keep_bytes: u64) -> Result<(), StoreError> {
    let mut batch = Vec::with_capacity(AT_ONCE);
    while let Ok(first) = receiver.recv() {
        batch.push(first);
        while batch.len() < AT_ONCE
            && let Ok(more) = receiver.try_recv()
        {
            batch.push(more);
        }
        store.add_strokes(&batch)?;
        batch.clear();
        let pruned = store.prune(keep_bytes)?;
        if pruned.strokes > 0 {
            store.journal(&Event {
                kind: "strokes-removed",
                says: format!("the {} oldest strokes made room for new ones", pruned.strokes),
                ..Event::default()
            })?;
        }
    }
    Ok(())
}
