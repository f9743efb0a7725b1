use super::*;
use core::convert::Infallible;
use embedded_hal::digital::ErrorType as PinErrorType;
use embedded_hal::spi::{ErrorType, Operation};
use embedded_hal_mock::eh1::digital::{Mock as PinMock, State, Transaction as PinTransaction};
use embedded_hal_mock::eh1::spi::{Mock as SpiMock, Transaction as SpiTransaction};
use std::vec::Vec;

const SETUP: Setup = Setup { oversampling: Oversampling::By256, gain: Gain(5) };

/// The part as its registers and frames show it, written apart from the driver.
struct Part {
    registers: [u16; 8],
    /// What the next frame answers; none for the status.
    response: Option<u16>,
    channels: [i32; 4],
    new: bool,
    status: u16,
    /// Bit of the next frame in to be flipped.
    flip: Option<usize>,
    /// The register that will not take what is written.
    stuck: Option<usize>,
    /// Frames exchanged.
    frames: u32,
}

impl Part {
    fn new() -> Self {
        let mut part = Self {
            registers: [0; 8],
            response: None,
            channels: [0; 4],
            new: true,
            status: 0,
            flip: None,
            stuck: None,
            frames: 0,
        };
        part.reset();
        part
    }

    fn reset(&mut self) {
        self.registers = [0x2403, 0x0500, 0x0510, 0x0F0E, 0, 0, 0x0600, 0];
        self.status = 0x0500;
    }

    fn exchange(&mut self, bytes: &[u8]) -> Vec<u8> {
        assert_eq!(bytes.len(), FRAME, "a frame has six words of three bytes");
        self.frames += 1;
        let word = |n: usize| u16::from_be_bytes([bytes[3 * n], bytes[3 * n + 1]]);
        let ready = if self.new { 0xF } else { 0 };
        let mut answer: Vec<u8> = Vec::new();
        answer.extend(self.response.take().unwrap_or(self.status | ready).to_be_bytes());
        answer.push(0);
        for channel in self.channels {
            answer.extend(&channel.to_be_bytes()[1..]);
        }
        answer.extend(CRC_16.checksum(&answer).to_be_bytes());
        answer.push(0);
        if let Some(bit) = self.flip.take() {
            answer[bit / 8] ^= 1 << (bit % 8);
        }
        let command = word(0);
        let writes = command & 0xE000 == 0x6000;
        let last = if writes { 2 } else { 1 };
        if self.registers[2] & 0x1000 != 0 && CRC_16.checksum(&bytes[..3 * last]) != word(last) {
            self.status |= 1 << 12;
            return answer;
        }
        let register = usize::from(command >> 7 & 0x3F);
        match command {
            0x0011 => {
                self.reset();
                self.response = Some(0xFF24);
            }
            _ if command & 0xE000 == 0xA000 => self.response = Some(self.registers[register]),
            _ if writes => {
                if self.stuck != Some(register) {
                    self.registers[register] = word(1);
                }
                if register == 2 {
                    self.status = word(1) & 0x0400 | self.status & !0x0400;
                }
                self.response = Some(0x4000 | command & 0x1FFF);
            }
            _ => {}
        }
        answer
    }
}

impl ErrorType for Part {
    type Error = Infallible;
}

impl SpiDevice for Part {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Infallible> {
        for operation in operations {
            match operation {
                Operation::Transfer(read, write) => read.copy_from_slice(&self.exchange(write)),
                other => panic!("the part does frames only: {other:?}"),
            }
        }
        Ok(())
    }
}

/// A data-ready pin that is always, or never, ready.
struct Ready(bool);

impl PinErrorType for Ready {
    type Error = Infallible;
}

impl InputPin for Ready {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(self.0)
    }
}

fn running() -> Converter<Part, Ready> {
    let mut converter = Converter::new(Part::new(), Ready(true), 10);
    converter.set_up(SETUP).expect("the part is sound");
    converter
}

#[test]
fn set_up_leaves_every_register_as_asked() {
    let (part, _) = running().release();
    assert_eq!(part.registers[2], 0x1110, "24 bits, checksums on, reset flag cleared");
    assert_eq!(part.registers[3], 0x0F06, "four channels, by 256, high resolution");
    assert_eq!(part.registers[4], 0x5555, "gain 32");
}

#[test]
fn a_register_that_does_not_take_its_value_is_named() {
    for (number, register, holds) in
        [(2, Register::Mode, 0x0510), (3, Register::Clock, 0x0F0E), (4, Register::Gain, 0)]
    {
        let part = Part { stuck: Some(number), ..Part::new() };
        let error = Converter::new(part, Ready(true), 10).set_up(SETUP);
        assert_eq!(error, Err(ConverterError::Register(register, holds)));
    }
}

#[test]
fn another_part_is_refused() {
    // The part of eight channels answers resets with its own count; a bus without a part reads as zeros.
    let mut part = Part::new();
    let frame = part.exchange(&[0; FRAME]);
    assert_eq!(frame.len(), FRAME);
    let zeros = [
        SpiTransaction::transaction_start(),
        SpiTransaction::transfer(reset_frame(), std::vec![0; FRAME]),
        SpiTransaction::transaction_end(),
    ];
    let mut converter = Converter::new(SpiMock::new(&zeros), Ready(true), 10);
    assert_eq!(converter.set_up(SETUP), Err(ConverterError::Checksum));
    converter.release().0.done();
}

fn reset_frame() -> Vec<u8> {
    let mut frame = std::vec![0x00, 0x11, 0x00];
    frame.extend(CRC_16.checksum(&frame).to_be_bytes());
    frame.resize(FRAME, 0);
    frame
}

#[test]
fn readings_keep_sign_and_full_range() {
    let mut converter = running();
    for channels in [[0, 1, -1, 8_388_607], [-8_388_608, 4_000_000, -4_000_000, 7]] {
        converter.bus.channels = channels;
        assert_eq!(converter.poll(), Ok(Some(channels)));
    }
}

#[test]
fn every_flipped_bit_of_a_frame_loses_the_reading_and_the_next_one_is_good() {
    let mut converter = running();
    converter.bus.channels = [11, -22, 33, -44];
    // The lower byte of the checksum word carries nothing.
    for bit in 0..8 * (FRAME - 1) {
        converter.bus.flip = Some(bit);
        assert_eq!(converter.poll(), Err(ConverterError::Checksum), "bit {bit}");
        assert_eq!(converter.poll(), Ok(Some([11, -22, 33, -44])));
    }
}

#[test]
fn a_reset_in_mid_stroke_is_seen_in_the_next_frame_and_needs_set_up() {
    let mut converter = running();
    converter.bus.reset();
    assert_eq!(converter.poll(), Err(ConverterError::WasReset));
    assert_eq!(converter.poll(), Err(ConverterError::WasReset));
    assert_eq!(converter.set_up(SETUP), Ok(()));
    assert!(converter.poll().is_ok_and(|reading| reading.is_some()));
}

#[test]
fn a_reading_given_twice_is_stale() {
    let mut converter = running();
    converter.bus.new = false;
    assert_eq!(converter.poll(), Err(ConverterError::Stale));
}

#[test]
fn a_damaged_command_or_register_map_is_told() {
    for bit in [12, 13] {
        let mut converter = running();
        converter.bus.status |= 1 << bit;
        assert_eq!(converter.poll(), Err(ConverterError::Upset));
    }
}

#[test]
fn data_ready_that_does_not_come_is_an_error_after_its_patience() {
    let pins: Vec<_> = core::iter::repeat_n(PinTransaction::get(State::High), 4).collect();
    let mut converter = Converter::new(Part::new(), PinMock::new(&pins), 3);
    let outcomes: Vec<_> = (0..4).map(|_| converter.poll()).collect();
    assert_eq!(outcomes, [Ok(None), Ok(None), Ok(None), Err(ConverterError::NotReady)]);
    let (part, mut pin) = converter.release();
    pin.done();
    assert_eq!(part.frames, 0, "nothing is read before it is ready");
}

#[test]
fn the_checksum_is_the_catalogues() {
    // Source: check value of CRC-16/IBM-3740 in the catalogue of parametrised CRC algorithms (read, and computed).
    assert_eq!(CRC_16.checksum(b"123456789"), 0x29B1);
}

#[test]
fn only_powers_of_two_are_gains() {
    assert_eq!(Gain::times(32), Some(Gain(5)));
    assert_eq!((Gain::times(0), Gain::times(3)), (None, None));
}
