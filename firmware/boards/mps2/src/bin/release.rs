//! The monitor without the emulator's help: a feed arrives by the serial port, the permit leaves by it.
//!
//! Links only if no panic is reachable: the panic handler calls what nothing defines.
#![no_std]
#![no_main]

use bolster_link::feed::{HEADER_LEN, Header, RECORD_LEN_MAX, decode_record, record_len};
use bolster_link::trial::{Trial, TrialMonitor, press};
use bolster_mps2::mmio::Device;
use bolster_mps2::uart::Uart;
use bolster_mps2::{place, stack};
use static_cell::StaticCell;

static MONITOR: StaticCell<TrialMonitor<4>> = StaticCell::new();

#[cortex_m_rt::entry]
fn main() -> ! {
    stack::paint();
    let mut uart = Uart::new(Device::Uart1);
    loop {
        let mut header = [0; HEADER_LEN];
        header.iter_mut().for_each(|byte| *byte = uart.read());
        let header = Header::decode(&header).ok();
        let press = header.and_then(|header| press::<4>(&header).ok());
        // A second feed is refused: the cell is taken.
        if let (Some(header), Some(press), Some(cell)) = (header, press, MONITOR.try_uninit()) {
            let mut trial = Trial::new(place::monitor(cell, &press), &header);
            run(&mut uart, &mut trial);
        }
        uart.write(b'!');
    }
}

fn run(uart: &mut Uart, trial: &mut Trial<'_, 4>) {
    let mut record = [0; RECORD_LEN_MAX];
    loop {
        record.iter_mut().take(record_len(4)).for_each(|byte| *byte = uart.read());
        let Ok((before, frame)) = decode_record(&record) else {
            // What is no record asks for the figures: four bytes each, stack at most used and static RAM.
            for figure in [stack::peak(), stack::static_bytes()] {
                (figure as u32).to_le_bytes().into_iter().for_each(|byte| uart.write(byte));
            }
            return;
        };
        let mut permit = false;
        trial.step(before, &frame, |monitor, frame| {
            let step = monitor.step(frame);
            permit = step.permit;
            step
        });
        uart.write(b'0' + u8::from(permit));
    }
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
