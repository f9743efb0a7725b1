//! The controller: frames judged in the sample clock's interrupt, line and storage below it.
//!
//! Two levels are all there is, so there is no operating system: the interrupt owns the monitor and hands strokes and
//! events down through queues; the program below it owns the line and the flash and whatever may take its time. What it
//! needs of the monitor it takes in short pieces, the only moments in which the interrupt is masked.
//!
//! Everything but the storage crate is shown to be without a reachable panic by `sealed`, which is this program without a
//! flash. Should the storage panic all the same, the permit falls and the watchdog restarts the controller.
#![no_std]
#![no_main]

use bolster_link::message::Cause;
use bolster_mps2::flash::Stored;
use bolster_mps2::outputs::Coil;
use bolster_mps2::{program, restart, sampler};
use embedded_hal::digital::OutputPin as _;

#[cortex_m_rt::entry]
fn main() -> ! {
    program::run(Stored::open)
}

#[cortex_m_rt::exception]
#[allow(unsafe_code)]
unsafe fn DefaultHandler(number: i16) {
    sampler::interrupt(number);
}

#[cortex_m_rt::exception]
#[allow(unsafe_code)]
unsafe fn NonMaskableInt() {
    sampler::expiry()
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    cortex_m::interrupt::disable();
    let _ = Coil.set_low();
    restart::note(restart::code(Cause::TaskStuck));
    // With the sample loop masked nothing feeds the watchdog.
    loop {
        core::hint::spin_loop();
    }
}
