//! The controller without a flash, which links only if no panic is reachable: the panic handler calls what nothing
//! defines.
//!
//! Sample loop, drivers, line, settings and what lies between are those of `controller`; only the storage crate is left
//! out, whose panics no compiler sees to be out of reach.
#![no_std]
#![no_main]

use bolster_mps2::below::Nothing;
use bolster_mps2::{program, sampler};

#[cortex_m_rt::entry]
fn main() -> ! {
    program::run(|| Nothing)
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

#[allow(unsafe_code)]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    unsafe extern "C" {
        fn a_panic_is_reachable() -> !;
    }
    // SAFETY: never linked, so never called.
    unsafe { a_panic_is_reachable() }
}
