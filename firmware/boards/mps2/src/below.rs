//! What runs below the sample loop and may take its time: settings and journal in flash, and what the line asks for.
//!
//! [`Reach`] is how it gets at the monitor; a program's own, for it knows what must not be delayed.

use crate::flash::{Flash, regions};
use bolster_core::shape::FillError;
use bolster_link::message::{Cause, EventLine, Hello, JournalEntry, JournalLine, PART_MAX, Refusal, Status};
use bolster_link::settings::{FIXED_MAX, Fixed, Head, WordCheck};
use bolster_link::station::Controller;
use bolster_link::trial::BINS;
use bolster_store::counters::Counters;
use bolster_store::settings::{Current, PART};
use bolster_store::{Store, StoreError};
use embassy_futures::block_on;

/// Words of a shape handed up at a time: less than a frame's work.
const WORDS_AT_ONCE: usize = 24;

/// The monitor and its surroundings, from below. Each call is short.
pub trait Reach {
    /// Whether settings with this fixed part can be taken: gives its length.
    ///
    /// # Errors
    /// [`Refusal::Impossible`] if they cannot be.
    fn check(&self, fixed: &[u8]) -> Result<usize, Refusal>;
    /// Takes the fixed part of settings that were checked: press and die limits. The shape's words may follow.
    ///
    /// # Errors
    /// [`Refusal::Store`] if the press is another one and the monitor has to start anew for it.
    fn take(&mut self, fixed: &[u8]) -> Result<(), Refusal>;
    /// Fills in words of the shape; from word 0 on a new one.
    ///
    /// # Errors
    /// [`Refusal`] if the monitor refuses them.
    fn words(&mut self, n: usize, words: &[u32]) -> Result<(), Refusal>;
    /// The shape is whole.
    ///
    /// # Errors
    /// [`Refusal`] if the monitor finds that it is not.
    fn commit_shape(&mut self, marked: bool) -> Result<(), Refusal>;
    /// Columns; 0 without settings.
    fn columns(&self) -> u8;
    /// Frames in the kept stroke, once it stands still.
    fn kept_frames(&self) -> Option<u32>;
    /// One of them as a feed's record; gives its length.
    fn kept_record(&self, number: u32, out: &mut [u8]) -> Option<usize>;
    /// Lets the kept ring run again.
    fn release_kept(&mut self);
    /// A person acknowledges.
    ///
    /// # Errors
    /// [`Refusal`] while something is wrong.
    fn acknowledge(&mut self) -> Result<(), Refusal>;
    /// Tick of the last frame.
    fn tick(&self) -> u32;
    /// Counters at the start with what the ledger has counted since.
    fn counters(&self, start: &Counters) -> Counters;
    /// How it is doing.
    fn status(&self) -> Status;
    /// What runs below is alive.
    fn alive(&self);
}

/// [`Reach::check`] for a press of `N` columns.
///
/// # Errors
/// [`Refusal::Impossible`] if the settings cannot be.
pub fn check<const N: usize>(fixed: &[u8]) -> Result<usize, Refusal> {
    let (fixed, length) = Fixed::<N>::decode(fixed).map_err(|_| Refusal::Impossible)?;
    fixed.press.build().map_err(|_| Refusal::Impossible)?;
    fixed.die.map_or(Ok(()), |die| die.check(N)).map_err(|_| Refusal::Impossible)?;
    Ok(length)
}

/// What the line is told where a shape is refused: not now, or never.
#[must_use]
pub fn fill_refused(why: FillError) -> Refusal {
    if why == FillError::Busy { Refusal::Store } else { Refusal::Impossible }
}

/// The lower level.
#[derive(Debug)]
pub struct Below<R> {
    /// The monitor.
    pub reach: R,
    store: Option<Store<Flash>>,
    start: Counters,
    cause: Cause,
    generation: u32,
    next_line: u32,
    /// Settings were committed and are to be taken: their place.
    pending: Option<Current>,
    /// The monitor must start anew for them.
    restart: bool,
}

impl From<StoreError> for StoreFailed {
    fn from(_: StoreError) -> Self {
        Self
    }
}

/// The store failed; which is all that anyone is told by the line.
#[derive(Debug, Clone, Copy)]
struct StoreFailed;

impl From<StoreFailed> for Refusal {
    fn from(_: StoreFailed) -> Self {
        Self::Store
    }
}

impl<R: Reach> Below<R> {
    /// Opens the store, counts and writes down this start, and takes the settings there are.
    pub fn start(reach: R, cause: Cause) -> Self {
        let mut below = Self {
            reach,
            store: block_on(Store::open(Flash, regions())).ok(),
            start: Counters::default(),
            cause,
            generation: 0,
            next_line: 0,
            pending: None,
            restart: false,
        };
        // A store that fails leaves the monitor without settings, and so the permit off.
        let _ = below.begin();
        below
    }

    fn begin(&mut self) -> Result<(), StoreFailed> {
        let store = self.store.as_mut().ok_or(StoreFailed)?;
        self.start = block_on(store.counters())?;
        self.start.boots = self.start.boots.saturating_add(1);
        block_on(store.save_counters(&self.start))?;
        self.next_line = block_on(store.next_entry())?;
        self.pending = block_on(store.current_settings())?;
        self.write(&JournalEntry::Started { boots: self.start.boots, cause: self.cause });
        self.take_settings();
        Ok(())
    }

    /// Starts so far.
    #[must_use]
    pub fn boots(&self) -> u32 {
        self.start.boots
    }

    /// Whether the monitor has to start anew for settings that were committed.
    #[must_use]
    pub fn wants_restart(&self) -> bool {
        self.restart
    }

    /// Writes a line of the journal. A store that fails keeps nothing, which its numbers will show.
    pub fn write(&mut self, entry: &JournalEntry) {
        let mut body = [0; 64];
        let Some(store) = &mut self.store else { return };
        let Ok(body) = postcard::to_slice(entry, &mut body) else { return };
        if block_on(store.append(self.next_line, body)).is_ok() {
            self.next_line = self.next_line.wrapping_add(1);
        }
        self.reach.alive();
    }

    /// Writes down an event of the monitor.
    pub fn event(&mut self, event: &EventLine) {
        self.write(&JournalEntry::Event(*event));
    }

    /// Saves the counters.
    pub fn save_counters(&mut self) {
        let counters = self.reach.counters(&self.start);
        if let Some(store) = &mut self.store {
            // Tried again the next time.
            let _ = block_on(store.save_counters(&counters));
        }
    }

    /// Whether settings were committed and are not taken yet.
    #[must_use]
    pub fn has_pending(&self) -> bool {
        self.pending.is_some()
    }

    /// Takes settings that have been committed since the last call.
    pub fn take_settings(&mut self) {
        let Some(current) = self.pending.take() else { return };
        let Self { reach, store, .. } = self;
        let Some(store) = store else { return };
        let mut part = |part, out: &mut [u8]| block_on(store.read_settings(&current, part, out));
        let mut head = None;
        let begin = fixed_part(&mut part, current.len, |fixed| {
            head = Head::read(fixed).ok();
            let length = reach.check(fixed)?;
            reach.take(fixed).map(|()| length)
        });
        let taken = begin.and_then(|begin| {
            let Some(head) = head.filter(|head| head.has_shape) else { return Ok(()) };
            let mut done = 0;
            words(&mut part, current.len, begin, |some| {
                reach.words(done, some)?;
                reach.alive();
                done += some.len();
                Ok(())
            })?;
            reach.commit_shape(head.marked)
        });
        match taken {
            Ok(()) => self.generation = current.generation,
            Err(_) => self.restart = true,
        }
    }
}

/// Reads one part of settings.
trait Parts: FnMut(u16, &mut [u8]) -> Result<usize, StoreError> {}
impl<F: FnMut(u16, &mut [u8]) -> Result<usize, StoreError>> Parts for F {}

/// Shows the fixed part of settings to `fixed`, which gives its length; gives that back, if settings are so long.
fn fixed_part(
    part: &mut impl Parts,
    len: u32,
    fixed: impl FnOnce(&[u8]) -> Result<usize, Refusal>,
) -> Result<u32, Refusal> {
    let mut room = [0; FIXED_MAX];
    let parts = len.div_ceil(PART as u32) as u16;
    for (number, room) in (0..parts).zip(room.chunks_mut(PART)) {
        part(number, room).map_err(|_| Refusal::NotWhole)?;
    }
    let length = fixed(room.get(..FIXED_MAX.min(len as usize)).unwrap_or(&room))? as u32;
    if length <= len { Ok(length) } else { Err(Refusal::Impossible) }
}

/// Shows the words after the fixed part, some at a time.
fn words(
    part: &mut impl Parts,
    len: u32,
    begin: u32,
    mut some: impl FnMut(&[u32]) -> Result<(), Refusal>,
) -> Result<(), Refusal> {
    let mut at = begin;
    while at < len {
        let mut room = [0; PART];
        let got = part((at / PART as u32) as u16, &mut room).map_err(|_| Refusal::NotWhole)?;
        let bytes = room.get((at % PART as u32) as usize..got.min(PART)).unwrap_or(&[]);
        // Words do not go over parts: both are of whole words.
        for bytes in bytes.as_chunks::<4>().0.chunks(WORDS_AT_ONCE) {
            let mut words = [0; WORDS_AT_ONCE];
            for (word, bytes) in words.iter_mut().zip(bytes) {
                *word = u32::from_le_bytes(*bytes);
            }
            some(words.get(..bytes.len()).unwrap_or(&[]))?;
        }
        at = (at / PART as u32 + 1) * PART as u32;
    }
    Ok(())
}

impl<R: Reach> Controller for Below<R> {
    fn hello(&self) -> Hello {
        Hello {
            build: *b"mps2-386",
            columns: self.reach.columns(),
            bins: BINS as u16,
            boots: self.start.boots,
            cause: self.cause,
            settings: self.generation,
            next_stroke: 0,
            next_event: 0,
        }
    }

    fn put_settings(&mut self, from: u32, bytes: &[u8]) -> Result<(), Refusal> {
        let store = self.store.as_mut().ok_or(Refusal::Store)?;
        // Parts are the store's own.
        if !from.is_multiple_of(PART as u32) || bytes.len() > PART {
            return Err(Refusal::Place);
        }
        let part = u16::try_from(from / PART as u32).map_err(|_| Refusal::Place)?;
        block_on(store.put_settings(part, bytes)).map_err(|why| match why {
            StoreError::TooLong => Refusal::Place,
            _ => Refusal::Store,
        })
    }

    fn get_settings(&mut self, from: u32, out: &mut [u8]) -> Result<(), Refusal> {
        let store = self.store.as_mut().ok_or(Refusal::Store)?;
        let mut left = out;
        let mut at = from;
        while !left.is_empty() {
            let (mut room, part) = ([0; PART], at / PART as u32);
            let part = u16::try_from(part).map_err(|_| Refusal::Place)?;
            let got = block_on(store.read_aside(part, &mut room)).map_err(|_| Refusal::Place)?;
            let bytes = room.get(at as usize % PART..got).unwrap_or(&[]);
            let (bytes, _) = bytes.split_at_checked(left.len()).unwrap_or((bytes, &[]));
            if bytes.is_empty() {
                return Err(Refusal::Place);
            }
            let (now, later) =
                core::mem::take(&mut left).split_at_mut_checked(bytes.len()).ok_or(Refusal::Place)?;
            now.copy_from_slice(bytes);
            at += bytes.len() as u32;
            left = later;
        }
        Ok(())
    }

    fn commit_settings(&mut self, len: u32, check: u32) -> Result<(), Refusal> {
        let Self { reach, store, .. } = self;
        let store = store.as_mut().ok_or(Refusal::Store)?;
        // Everything is looked at before anything is taken.
        let mut part = |part, out: &mut [u8]| block_on(store.read_aside(part, out));
        let mut shape = None;
        let begin = fixed_part(&mut part, len, |fixed| {
            let head = Head::read(fixed).map_err(|_| Refusal::Impossible)?;
            shape = head.has_shape.then(|| WordCheck::new(head.columns));
            reach.check(fixed)
        })?;
        let whole = match &mut shape {
            None => begin == len,
            Some(shape) => {
                words(&mut part, len, begin, |some| {
                    some.iter().for_each(|word| shape.take(*word));
                    reach.alive();
                    Ok(())
                })?;
                shape.is_whole()
            }
        };
        if !whole {
            return Err(Refusal::Impossible);
        }
        let current = block_on(store.commit_settings(len, check)).map_err(|why| match why {
            StoreError::NotWhole | StoreError::TooLong => Refusal::NotWhole,
            _ => Refusal::Store,
        })?;
        self.pending = Some(current);
        self.write(&JournalEntry::Settings(current.generation));
        Ok(())
    }

    fn kept_frames(&self) -> Option<u32> {
        self.reach.kept_frames()
    }

    fn kept_record(&self, number: u32, out: &mut [u8]) -> Option<usize> {
        self.reach.kept_record(number, out)
    }

    fn release_kept(&mut self) {
        self.reach.release_kept();
    }

    fn acknowledge(&mut self) -> Result<(), Refusal> {
        self.reach.acknowledge()
    }

    fn set_time(&mut self, unix_ms: u64) -> Result<(), Refusal> {
        let (tick, before) = (self.reach.tick(), self.next_line);
        self.write(&JournalEntry::Time { tick, unix_ms });
        if self.next_line == before { Err(Refusal::Store) } else { Ok(()) }
    }

    fn journal(&mut self, from: u32, out: &mut [u8]) -> Result<(usize, u32), Refusal> {
        let store = self.store.as_mut().ok_or(Refusal::Store)?;
        let out = out.get_mut(..PART_MAX).ok_or(Refusal::Store)?;
        let (mut len, mut next, mut full) = (0, from, false);
        let seen = |number: u32, body: &[u8]| {
            // Numbers go round.
            if full || number.wrapping_sub(from) > u32::MAX / 2 {
                return;
            }
            let Ok(entry) = postcard::from_bytes(body) else { return };
            let Some(room) = out.get_mut(len..) else { return };
            match postcard::to_slice(&JournalLine { number, entry }, room) {
                Ok(line) => {
                    len += line.len();
                    next = number.wrapping_add(1);
                }
                Err(_) => full = true,
            }
        };
        block_on(store.entries(seen)).map_err(|_| Refusal::Store)?;
        Ok((len, next))
    }

    fn status(&self) -> Status {
        self.reach.status()
    }
}
