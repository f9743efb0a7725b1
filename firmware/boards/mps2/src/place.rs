//! Builds a monitor where it will stay.
#![allow(unsafe_code)]

use bolster_core::settings::Press;
use bolster_link::trial::TrialMonitor;
use core::mem::MaybeUninit;

/// Builds a four-column monitor of this press in its place, without a copy of it on the stack.
///
/// A monitor takes most of the RAM, and the compiler does not promise to build a value where it goes. The
/// procedure call standard does: what a C function returns by value, if larger than a register, it writes through
/// the pointer its caller passes in r0.
pub fn monitor<'a>(place: &'a mut MaybeUninit<TrialMonitor<4>>, press: &Press<4>) -> &'a mut TrialMonitor<4> {
    // SAFETY: `made` follows the procedure call standard (AAPCS, section 6.5, result return): r0 points to room
    // for the result, aligned as its type needs, r1 to the first argument. It returns having written all of it.
    unsafe {
        core::arch::asm!(
            "bl {made}",
            made = sym made,
            inout("r0") place.as_mut_ptr() => _,
            inout("r1") press => _,
            // What a call may change; `clobber_abi` would name registers that this processor has not got.
            out("r2") _, out("r3") _, out("r12") _, out("lr") _,
            out("d0") _, out("d1") _, out("d2") _, out("d3") _,
            out("d4") _, out("d5") _, out("d6") _, out("d7") _,
        );
        place.assume_init_mut()
    }
}

// Never called from anything but the line above, so that its types need not mean anything in C.
#[allow(improper_ctypes_definitions)]
extern "C" fn made(press: &Press<4>) -> TrialMonitor<4> {
    TrialMonitor::new(press.clone())
}
