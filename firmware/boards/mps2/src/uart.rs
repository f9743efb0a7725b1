//! The serial port, polled.

use crate::mmio::{Device, Register};

const RX_FULL: u32 = 1 << 1;
const TX_FULL: u32 = 1;

/// A serial port.
#[derive(Debug)]
pub struct Uart {
    data: Register,
    state: Register,
}

impl Uart {
    /// Switches a port on, both ways, at 1,562,500 baud of the 25 MHz clock.
    #[must_use]
    pub fn new(device: Device) -> Self {
        let uart = Self { data: Register::of(device, 0x0), state: Register::of(device, 0x4) };
        Register::of(device, 0x10).write(16);
        Register::of(device, 0x8).write(0b11);
        // The emulator does not wake its input until the port has been read once.
        let _ = uart.data.read();
        uart
    }

    /// A byte, if one has arrived.
    pub fn poll(&mut self) -> Option<u8> {
        (self.state.read() & RX_FULL != 0).then(|| self.data.read() as u8)
    }

    /// Waits for a byte.
    pub fn read(&mut self) -> u8 {
        loop {
            if let Some(byte) = self.poll() {
                return byte;
            }
        }
    }

    /// Waits until a byte can go and sends it.
    pub fn write(&mut self, byte: u8) {
        while self.state.read() & TX_FULL != 0 {}
        self.data.write(u32::from(byte));
    }
}

impl embedded_io::ErrorType for Uart {
    type Error = core::convert::Infallible;
}

impl embedded_io::ReadReady for Uart {
    fn read_ready(&mut self) -> Result<bool, Self::Error> {
        Ok(self.state.read() & RX_FULL != 0)
    }
}

impl embedded_io::Read for Uart {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Self::Error> {
        let Some(first) = bytes.first_mut() else { return Ok(0) };
        *first = Self::read(self);
        Ok(1)
    }
}

impl embedded_io::WriteReady for Uart {
    fn write_ready(&mut self) -> Result<bool, Self::Error> {
        Ok(self.state.read() & TX_FULL == 0)
    }
}

impl embedded_io::Write for Uart {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Self::Error> {
        let Some(first) = bytes.first() else { return Ok(0) };
        Self::write(self, *first);
        Ok(1)
    }

    fn flush(&mut self) -> Result<(), Self::Error> {
        while self.state.read() & TX_FULL != 0 {}
        Ok(())
    }
}
