//! The measured call: one frame of a four-column monitor, between two labels that the counter looks for.
//!
//! Where the counting plugin cannot be had, the emulator can be told to let each instruction take the same time
//! (`-icount`); a timer then counts instructions, up to its resolution and the reading of it.
#![allow(unsafe_code)]
// Named on purpose: the counter finds them by name. The function is never inlined, so they stand once.
#![allow(named_asm_labels)]

use crate::mmio::{Device, Register};
use bolster_core::frame::Frame;
use bolster_core::monitor::Step;
use bolster_link::trial::TrialMonitor;

/// [`TrialMonitor::step`] between the labels `count_begin` and `count_end`.
#[inline(never)]
pub fn step(monitor: &mut TrialMonitor<4>, frame: &Frame<4>) -> Step {
    // SAFETY: labels only, no instruction.
    unsafe { core::arch::asm!(".global count_begin", ".thumb_func", "count_begin:") };
    let step = core::hint::black_box(step_whole(monitor, frame));
    // SAFETY: as above.
    unsafe { core::arch::asm!(".global count_end", ".thumb_func", "count_end:") };
    step
}

/// The whole of a frame's work, kept in one piece so that the labels enclose it.
#[inline(never)]
fn step_whole(monitor: &mut TrialMonitor<4>, frame: &Frame<4>) -> Step {
    monitor.step(frame)
}

/// Timer ticks that measured calls took.
#[derive(Debug)]
pub struct Stopwatch {
    now: Register,
    calls: u32,
    sum: u64,
    /// Least and greatest.
    extremes: [u32; 2],
}

impl Stopwatch {
    /// Starts the timer, 25 MHz, counting down from 2³² − 1 for ever.
    #[must_use]
    pub fn start() -> Self {
        Register::of(Device::Timer0, 0x8).write(u32::MAX);
        Register::of(Device::Timer0, 0x4).write(u32::MAX);
        Register::of(Device::Timer0, 0x0).write(1);
        Self { now: Register::of(Device::Timer0, 0x4), calls: 0, sum: 0, extremes: [u32::MAX, 0] }
    }

    /// Runs and times one call.
    pub fn time<T>(&mut self, call: impl FnOnce() -> T) -> T {
        let before = self.now.read();
        let done = call();
        let ticks = before.wrapping_sub(self.now.read());
        let [least, greatest] = self.extremes;
        self.calls = self.calls.wrapping_add(1);
        self.sum += u64::from(ticks);
        self.extremes = [least.min(ticks), greatest.max(ticks)];
        done
    }

    /// Calls, all ticks, and the least and greatest of one call.
    #[must_use]
    pub fn read(&self) -> (u32, u64, [u32; 2]) {
        (self.calls, self.sum, self.extremes)
    }
}
