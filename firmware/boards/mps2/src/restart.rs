//! Why the controller starts: a note that outlives a reset, in RAM that the start-up leaves alone.
#![allow(unsafe_code)]

use bolster_link::message::Cause;
use core::cell::UnsafeCell;
use core::mem::MaybeUninit;

/// Says that what follows was written by [`note`] and not by chance.
const MARK: u32 = 0xB015_7E12;

struct Cell(UnsafeCell<MaybeUninit<[u32; 2]>>);

// SAFETY: one processor; written only on the way to a reset, when nothing else runs, and read before anything else does.
unsafe impl Sync for Cell {}

#[unsafe(link_section = ".uninit.RESTART")]
static NOTE: Cell = Cell(UnsafeCell::new(MaybeUninit::uninit()));

/// A cause as a number.
#[must_use]
pub fn code(cause: Cause) -> u32 {
    match cause {
        Cause::Power => 0,
        Cause::FramesStopped => 1,
        Cause::FramesUnsound => 2,
        Cause::TaskStuck => 3,
        Cause::Settings => 4,
        Cause::ChannelFrozen(channel) => 0x100 | u32::from(channel),
    }
}

/// Writes the note for the next start: the number of the cause.
pub fn note(code: u32) {
    // SAFETY: see `Cell`.
    unsafe { NOTE.0.get().cast::<[u32; 2]>().write_volatile([MARK ^ code, code]) };
}

/// The note that was written before this start, if there was one; it is gone then.
#[must_use]
pub fn take() -> Cause {
    // SAFETY: see `Cell`; any bits are numbers, and what is read is RAM.
    let [check, code] = unsafe { NOTE.0.get().cast::<[u32; 2]>().read_volatile() };
    // SAFETY: as above.
    unsafe { NOTE.0.get().cast::<[u32; 2]>().write_volatile([0, 0]) };
    match (check ^ code == MARK, code) {
        (true, 1) => Cause::FramesStopped,
        (true, 2) => Cause::FramesUnsound,
        (true, 3) => Cause::TaskStuck,
        (true, 4) => Cause::Settings,
        (true, 0x100..0x200) => Cause::ChannelFrozen(code as u8),
        _ => Cause::Power,
    }
}
