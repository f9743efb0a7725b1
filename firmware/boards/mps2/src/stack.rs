//! Painted stack: how deep it ever went.
#![allow(unsafe_code)]

const PAINT: u32 = 0x5AFE_C0DE;
/// Bytes below the stack pointer that painting leaves alone: its own frame.
const MARGIN: usize = 128;

unsafe extern "C" {
    static mut __sheap: u32;
    static _stack_start: u32;
}

fn bottom() -> usize {
    (&raw mut __sheap).expose_provenance()
}

fn top() -> usize {
    (&raw const _stack_start).expose_provenance()
}

/// Paints all that is free between static data and the stack pointer. To be called early.
#[inline(never)]
pub fn paint() {
    let end = (cortex_m::register::msp::read() as usize).saturating_sub(MARGIN);
    let mut at = bottom();
    while at + 4 <= end {
        // SAFETY: between the end of static data and the stack, used by nothing else: there is no heap.
        unsafe { core::ptr::with_exposed_provenance_mut::<u32>(at).write_volatile(PAINT) };
        at += 4;
    }
}

/// Bytes of stack used at most since [`paint`], interrupts included.
#[inline(never)]
#[must_use]
pub fn peak() -> usize {
    let mut at = bottom();
    while at + 4 <= top() {
        // SAFETY: within RAM.
        if unsafe { core::ptr::with_exposed_provenance::<u32>(at).read_volatile() } != PAINT {
            break;
        }
        at += 4;
    }
    top() - at
}

/// Bytes of RAM that hold static data.
#[must_use]
pub fn static_bytes() -> usize {
    bottom() - 0x2000_0000
}
