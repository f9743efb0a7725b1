//! What runs below the sample loop and may take its time: settings and journal in flash, and what the line asks for.
//!
//! [`Reach`] is how it gets at the monitor; a program's own, for it knows what must not be delayed.

use bolster_core::shape::FillError;
use bolster_link::message::{Cause, EventLine, Hello, JournalEntry, JournalLine, PART_MAX, Refusal, Status};
use bolster_link::settings::{FIXED_MAX, Fixed, Head, WordCheck};
use bolster_link::station::Controller;
use bolster_link::trial::BINS;
use bolster_store::counters::Counters;
use bolster_store::settings::PART;

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
    /// Whether what was taken still waits for the stroke under way to end.
    fn waits(&self) -> bool;
    /// Begins a new shape; false while a stroke is still being judged by the old one: to be asked again.
    ///
    /// # Errors
    /// [`Refusal`] if the monitor refuses it.
    fn begin_shape(&mut self) -> Result<bool, Refusal>;
    /// Fills in words of the shape from the n-th on.
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

/// [`Reach::begin_shape`] from what the monitor answers.
///
/// # Errors
/// [`Refusal::Impossible`] if it is refused for good.
pub fn begun(answer: Result<(), FillError>) -> Result<bool, Refusal> {
    match answer {
        Ok(()) => Ok(true),
        Err(FillError::Busy) => Ok(false),
        Err(_) => Err(Refusal::Impossible),
    }
}

/// What is kept through a loss of power. Its failures are told as [`Refusal::Store`].
pub trait Keep {
    /// Puts one part of new settings aside.
    ///
    /// # Errors
    /// [`Refusal`] if it does not fit or cannot be stored.
    fn put(&mut self, part: u16, bytes: &[u8]) -> Result<(), Refusal>;
    /// One part of what has been put aside, or of what is current: gives its length.
    ///
    /// # Errors
    /// [`Refusal::NotWhole`] if there is no such part.
    fn part(&mut self, of: Which, part: u16, out: &mut [u8]) -> Result<usize, Refusal>;
    /// Makes what has been put aside current, if it has this length and checksum.
    ///
    /// # Errors
    /// [`Refusal`] if it has not, or cannot be stored.
    fn commit(&mut self, len: u32, check: u32) -> Result<Current, Refusal>;
    /// What is current.
    fn current(&mut self) -> Option<Current>;
    /// Counters as last saved.
    fn counters(&mut self) -> Counters;
    /// Saves them; what cannot be saved now is saved with the next ones.
    fn save(&mut self, counters: &Counters);
    /// Number of the next line of the journal.
    fn next_line(&mut self) -> u32;
    /// Appends a line; true if it is kept.
    fn append(&mut self, number: u32, body: &[u8]) -> bool;
    /// Shows every line held, oldest first.
    ///
    /// # Errors
    /// [`Refusal`] if they cannot be read.
    fn lines(&mut self, see: impl FnMut(u32, &[u8])) -> Result<(), Refusal>;
}

/// Which settings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// Those that were put aside.
    Aside,
    /// Those that are current.
    Current,
}

/// Current settings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Current {
    /// One more with each commit.
    pub generation: u32,
    /// Bytes.
    pub len: u32,
}

/// Nothing is kept: a controller without a flash.
#[derive(Debug)]
pub struct Nothing;

impl Keep for Nothing {
    fn put(&mut self, _: u16, _: &[u8]) -> Result<(), Refusal> {
        Err(Refusal::Store)
    }

    fn part(&mut self, _: Which, _: u16, _: &mut [u8]) -> Result<usize, Refusal> {
        Err(Refusal::Store)
    }

    fn commit(&mut self, _: u32, _: u32) -> Result<Current, Refusal> {
        Err(Refusal::Store)
    }

    fn current(&mut self) -> Option<Current> {
        None
    }

    fn counters(&mut self) -> Counters {
        Counters::default()
    }

    fn save(&mut self, _: &Counters) {}

    fn next_line(&mut self) -> u32 {
        0
    }

    fn append(&mut self, _: u32, _: &[u8]) -> bool {
        false
    }

    fn lines(&mut self, _: impl FnMut(u32, &[u8])) -> Result<(), Refusal> {
        Err(Refusal::Store)
    }
}

/// Settings on their way to the monitor.
#[derive(Debug, Clone, Copy)]
struct Pending {
    settings: Current,
    /// The fixed part is taken: its length and what it says of itself.
    taken: Option<(u32, Head)>,
}

impl Pending {
    fn new(settings: Current) -> Self {
        Self { settings, taken: None }
    }
}

/// The lower level.
#[derive(Debug)]
pub struct Below<R, K> {
    /// The monitor.
    pub reach: R,
    keep: K,
    start: Counters,
    cause: Cause,
    generation: u32,
    next_line: u32,
    /// Settings were committed and are to be taken.
    pending: Option<Pending>,
    /// The monitor must start anew for them.
    restart: bool,
}

impl<R: Reach, K: Keep> Below<R, K> {
    /// Counts and writes down this start, and takes the settings there are.
    pub fn start(reach: R, mut keep: K, cause: Cause) -> Self {
        let mut start = keep.counters();
        start.boots = start.boots.saturating_add(1);
        keep.save(&start);
        let (next_line, pending) = (keep.next_line(), keep.current().map(Pending::new));
        let mut below = Self { reach, keep, start, cause, generation: 0, next_line, pending, restart: false };
        below.write(&JournalEntry::Started { boots: start.boots, cause });
        below.take_settings();
        below
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

    /// Writes a line of the journal. What is not kept is missing from its numbers.
    pub fn write(&mut self, entry: &JournalEntry) {
        let mut body = [0; 64];
        let Ok(body) = postcard::to_slice(entry, &mut body) else { return };
        if self.keep.append(self.next_line, body) {
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
        self.keep.save(&counters);
    }

    /// Whether settings were committed and are not taken yet.
    #[must_use]
    pub fn has_pending(&self) -> bool {
        self.pending.is_some()
    }

    /// Goes on with settings that have been committed. It waits for nothing: while a stroke is under way, which the old
    /// die judges to its end, it is to be called again.
    pub fn take_settings(&mut self) {
        let Some(pending) = self.pending.take() else { return };
        match self.go_on_with(pending) {
            Ok(None) => self.generation = pending.settings.generation,
            Ok(waiting) => self.pending = waiting,
            Err(_) => self.restart = true,
        }
    }

    /// Gives back what is still to be done.
    fn go_on_with(&mut self, pending: Pending) -> Result<Option<Pending>, Refusal> {
        let Self { reach, keep, .. } = self;
        let mut part = |part, out: &mut [u8]| keep.part(Which::Current, part, out);
        let len = pending.settings.len;
        let (begin, head) = match pending.taken {
            Some(taken) => taken,
            None => {
                let mut head = Err(Refusal::Impossible);
                let begin = fixed_part(&mut part, len, |fixed| {
                    head = Head::read(fixed).map_err(|_| Refusal::Impossible);
                    let length = reach.check(fixed)?;
                    reach.take(fixed).map(|()| length)
                })?;
                (begin, head?)
            }
        };
        if reach.waits() || (head.has_shape && !reach.begin_shape()?) {
            return Ok(Some(Pending { taken: Some((begin, head)), ..pending }));
        }
        if head.has_shape {
            let mut done = 0;
            words(&mut part, len, begin, |some| {
                reach.words(done, some)?;
                reach.alive();
                done += some.len();
                Ok(())
            })?;
            reach.commit_shape(head.marked)?;
        }
        Ok(None)
    }
}

/// Reads one part of settings.
trait Parts: FnMut(u16, &mut [u8]) -> Result<usize, Refusal> {}
impl<F: FnMut(u16, &mut [u8]) -> Result<usize, Refusal>> Parts for F {}

/// Shows the fixed part of settings to `fixed`, which gives its length; gives that back, if settings are so long.
fn fixed_part(
    part: &mut impl Parts,
    len: u32,
    fixed: impl FnOnce(&[u8]) -> Result<usize, Refusal>,
) -> Result<u32, Refusal> {
    // Whole parts: a part does not go into less room than it has bytes.
    let mut room = [0; FIXED_MAX.div_ceil(PART) * PART];
    let parts = len.div_ceil(PART as u32) as u16;
    for (number, room) in (0..parts).zip(room.chunks_mut(PART)) {
        part(number, room)?;
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
        let got = part((at / PART as u32) as u16, &mut room)?;
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

impl<R: Reach, K: Keep> Controller for Below<R, K> {
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
        // Parts are the store's own.
        if !from.is_multiple_of(PART as u32) || bytes.len() > PART {
            return Err(Refusal::Place);
        }
        let part = u16::try_from(from / PART as u32).map_err(|_| Refusal::Place)?;
        self.keep.put(part, bytes)
    }

    fn get_settings(&mut self, from: u32, out: &mut [u8]) -> Result<(), Refusal> {
        let mut cells = out.iter_mut();
        let mut at = from;
        while cells.len() > 0 {
            let (mut room, number) = ([0; PART], at / PART as u32);
            let number = u16::try_from(number).map_err(|_| Refusal::Place)?;
            let got = self.keep.part(Which::Aside, number, &mut room).map_err(|_| Refusal::Place)?;
            let bytes = room.get(at as usize % PART..got).unwrap_or(&[]);
            if bytes.is_empty() {
                return Err(Refusal::Place);
            }
            for (byte, cell) in bytes.iter().zip(&mut cells) {
                *cell = *byte;
                at += 1;
            }
        }
        Ok(())
    }

    fn commit_settings(&mut self, len: u32, check: u32) -> Result<(), Refusal> {
        let Self { reach, keep, .. } = self;
        // Everything is looked at before anything is taken.
        let mut part = |part, out: &mut [u8]| keep.part(Which::Aside, part, out);
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
        let current = keep.commit(len, check)?;
        self.pending = Some(Pending::new(current));
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
        self.keep.lines(seen)?;
        Ok((len, next))
    }

    fn status(&self) -> Status {
        self.reach.status()
    }
}
