//! The controller's program: the lower level's loop, with the sample loop above it.

use crate::below::{Below, Keep, Reach as _};
use crate::mmio::Device;
use crate::sampler::{Queues, Shared, WANTS_LIVE};
use crate::source::Source;
use crate::uart::Uart;
use crate::{restart, stack};
use bolster_link::message::Cause;
use bolster_link::station::Station;
use core::sync::atomic::Ordering::Relaxed;

/// Strokes after which the counters are saved.
const SAVE_STROKES: u32 = 256;
/// Strokes and events held for the line.
type Line = Station<8, 64>;

/// Runs the controller with what `open` makes to keep things in.
pub fn run<K: Keep>(open: impl FnOnce() -> K) -> ! {
    stack::paint();
    let cause = restart::take();
    let mut uart = Uart::new(Device::Uart1);
    let mut below = Below::start(Shared::new(cause), open(), cause);
    if let Some((_, header)) = Source::open() {
        below.reach.take_from(&header);
    }
    let mut queues = None;
    let mut station = Line::default();
    loop {
        match &mut queues {
            Some(queues) => carry(queues, &mut station, &mut below),
            // Settings may have come meanwhile.
            None => queues = below.reach.start(),
        }
        WANTS_LIVE.store(station.wants_live(), Relaxed);
        // The line cannot fail.
        let _ = station.step(&mut uart, &mut below);
        if station.is_quiet() {
            below.take_settings();
            if below.wants_restart() {
                restart::note(restart::code(Cause::Settings));
                cortex_m::peripheral::SCB::sys_reset();
            }
        }
    }
}

/// Carries what the sample loop has handed down to the line and into the flash.
fn carry<K: Keep>(queues: &mut Queues, station: &mut Line, below: &mut Below<Shared, K>) {
    below.reach.alive();
    while let Some(stroke) = queues.strokes.dequeue() {
        let number = stroke.summary.number;
        station.strokes.put_as(number, stroke);
        if number % SAVE_STROKES == SAVE_STROKES - 1 {
            below.save_counters();
        }
        // What the watchdog is there for: a task that never comes round, after the first start.
        #[cfg(feature = "endless")]
        while below.boots() == 1 {
            core::hint::spin_loop();
        }
    }
    while let Some(event) = queues.events.dequeue() {
        station.events.put_as(event.number, event);
        below.event(&event);
    }
    while let Some((record, len)) = queues.live.dequeue() {
        station.offer_live(&record, len);
    }
}
