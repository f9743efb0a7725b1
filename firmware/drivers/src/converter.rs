//! The gauges' converter: four channels of 24 bits, simultaneous, delta-sigma, on SPI with a data-ready line.
//!
//! Follows the ADS131M04 (Texas Instruments). Commands, registers, reset values, frame and checksum below are from
//! memory of its data sheet and were not checked against a part: compare them before wiring one.
//!
//! A frame is six words of 24 bits each way: command, then its checksum out; response to the last frame's
//! command, four channels and a checksum in. The checksum is CRC-16/IBM-3740 over the words before it, in the word's
//! upper bits. Each reading is taken only if its checksum fits, the part has not been reset, and all four are new.

use embedded_hal::digital::InputPin;
use embedded_hal::spi::SpiDevice;

const CRC_16: crc::Crc<u16> = crc::Crc::<u16>::new(&crc::CRC_16_IBM_3740);

/// Channels.
pub const CHANNELS: usize = 4;
const WORDS: usize = CHANNELS + 2;
/// Bytes of a frame, each way.
pub const FRAME: usize = 3 * WORDS;

const NULL: u16 = 0x0000;
const RESET: u16 = 0x0011;
const READ: u16 = 0xA000;
const WRITE: u16 = 0x6000;
const WRITTEN: u16 = 0x4000;
/// Response to a reset, with the channel count in it.
const RESET_DONE: u16 = 0xFF24;

/// Registers that are used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u16)]
pub enum Register {
    /// Upper byte 0x24 for this part.
    Id = 0x00,
    /// What happened since it was last read.
    Status = 0x01,
    /// Word length, checksums, data-ready's form.
    Mode = 0x02,
    /// Channels on, oversampling, power.
    Clock = 0x03,
    /// Four gains of four bits.
    Gain = 0x04,
}

const ID: u16 = 0x2400;
/// 24-bit words, checksum of commands on, time-out on, reset flag cleared.
const MODE: u16 = 0x1110;
/// All channels on, high resolution.
const CLOCK: u16 = 0x0F02;

/// STATUS: the registers' own checksum no longer fits, a command's checksum did not fit, a reset happened.
const STATUS_REG_MAP: u16 = 1 << 13;
const STATUS_CRC: u16 = 1 << 12;
const STATUS_RESET: u16 = 1 << 10;
/// STATUS: channel n has new data.
const STATUS_READY: u16 = 0x000F;

/// Samples averaged into one reading; at the part's usual clock of 8.192 MHz.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Oversampling {
    /// 32,000 readings a second.
    By128 = 0,
    /// 16,000 readings a second.
    By256 = 1,
    /// 8,000 readings a second.
    By512 = 2,
    /// 4,000 readings a second.
    By1024 = 3,
}

/// Gain before the converter, one for all channels: 2 to this power.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gain(u8);

impl Gain {
    /// 1, 2, 4 … 128; none for anything else.
    #[must_use]
    pub const fn times(factor: u8) -> Option<Self> {
        if factor.is_power_of_two() { Some(Self(factor.trailing_zeros() as u8)) } else { None }
    }
}

/// How the converter is set up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Setup {
    /// Readings a second.
    pub oversampling: Oversampling,
    /// Gain.
    pub gain: Gain,
}

/// What went wrong with the converter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum ConverterError {
    /// The bus itself, or the data-ready pin.
    Bus,
    /// Another part, or none, answers: its identity.
    Other(u16),
    /// It did not answer to a reset or a register write as it should; the answer.
    Answer(u16),
    /// A register does not hold what was written: which, and what it holds.
    Register(Register, u16),
    /// A frame's checksum does not fit: the reading is lost.
    Checksum,
    /// It says that a command's checksum did not fit, or that its registers changed by themselves.
    Upset,
    /// It was reset since the last frame: it must be set up again.
    WasReset,
    /// Not all channels were newly converted.
    Stale,
    /// No data-ready for too long.
    NotReady,
}

impl core::fmt::Display for ConverterError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Bus => f.write_str("the converter's bus or data-ready pin failed"),
            Self::Other(id) => write!(f, "not the converter expected: identity {id:#06x}"),
            Self::Answer(word) => write!(f, "the converter answered {word:#06x}"),
            Self::Register(register, value) => {
                write!(f, "the converter's register {register:?} holds {value:#06x}")
            }
            Self::Checksum => f.write_str("a reading's checksum does not fit"),
            Self::Upset => f.write_str("the converter reports damaged commands or registers"),
            Self::WasReset => f.write_str("the converter was reset"),
            Self::Stale => f.write_str("the converter gave a reading twice"),
            Self::NotReady => f.write_str("the converter's data-ready did not come"),
        }
    }
}

impl core::error::Error for ConverterError {}

/// The converter on its bus, mode 1, with its data-ready pin (low when ready).
#[derive(Debug)]
pub struct Converter<S, R> {
    bus: S,
    ready: R,
    /// Polls without data-ready before that is an error.
    patience: u32,
    waited: u32,
}

/// Words of one frame in, without the checksum.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Answer {
    response: u16,
    channels: [i32; CHANNELS],
}

impl<S: SpiDevice, R: InputPin> Converter<S, R> {
    /// A converter not set up yet. `patience` is how many polls may go by without data-ready.
    pub fn new(bus: S, ready: R, patience: u32) -> Self {
        Self { bus, ready, patience, waited: 0 }
    }

    /// Resets the part, sets it up and reads every register back.
    ///
    /// # Errors
    /// [`ConverterError`] says what did not come back as it should.
    pub fn set_up(&mut self, setup: Setup) -> Result<(), ConverterError> {
        // A part in mid-frame takes the first reset for the rest of one: only what the second one says counts.
        self.exchange(RESET, 0)?;
        self.exchange(RESET, 0)?;
        let done = self.exchange(NULL, 0)?.response;
        if done != RESET_DONE {
            return Err(ConverterError::Answer(done));
        }
        let id = self.register(Register::Id)?;
        if id & 0xFF00 != ID {
            return Err(ConverterError::Other(id));
        }
        let gain = u16::from(setup.gain.0) * 0x1111;
        let wanted = [
            (Register::Mode, MODE),
            (Register::Clock, CLOCK | (setup.oversampling as u16) << 2),
            (Register::Gain, gain),
        ];
        for (register, value) in wanted {
            self.exchange(WRITE | (register as u16) << 7, value)?;
            let answer = self.exchange(NULL, 0)?.response;
            if answer != WRITTEN | (register as u16) << 7 {
                return Err(ConverterError::Answer(answer));
            }
        }
        for (register, value) in wanted {
            let holds = self.register(register)?;
            if holds != value {
                return Err(ConverterError::Register(register, holds));
            }
        }
        self.resynchronise()
    }

    /// A register's content.
    ///
    /// # Errors
    /// [`ConverterError::Bus`] or [`ConverterError::Checksum`].
    pub fn register(&mut self, register: Register) -> Result<u16, ConverterError> {
        self.exchange(READ | (register as u16) << 7, 0)?;
        Ok(self.exchange(NULL, 0)?.response)
    }

    /// Empties what the part holds from before a pause: it keeps two readings.
    ///
    /// # Errors
    /// [`ConverterError::Bus`] or [`ConverterError::Checksum`].
    pub fn resynchronise(&mut self) -> Result<(), ConverterError> {
        self.waited = 0;
        self.exchange(NULL, 0)?;
        self.exchange(NULL, 0)?;
        Ok(())
    }

    /// To be called often: a reading of all channels if there is a new one.
    ///
    /// # Errors
    /// [`ConverterError`]; the next call may well succeed, except after [`ConverterError::WasReset`], which needs
    /// [`Self::set_up`] again.
    pub fn poll(&mut self) -> Result<Option<[i32; CHANNELS]>, ConverterError> {
        if self.ready.is_high().map_err(|_| ConverterError::Bus)? {
            self.waited = self.waited.saturating_add(1);
            if self.waited > self.patience {
                return Err(ConverterError::NotReady);
            }
            return Ok(None);
        }
        self.waited = 0;
        self.read().map(Some)
    }

    /// A reading of all channels; to be called when data-ready has come.
    ///
    /// # Errors
    /// As [`Self::poll`].
    pub fn read(&mut self) -> Result<[i32; CHANNELS], ConverterError> {
        let answer = self.exchange(NULL, 0)?;
        let status = answer.response;
        if status & STATUS_RESET != 0 {
            Err(ConverterError::WasReset)
        } else if status & (STATUS_CRC | STATUS_REG_MAP) != 0 {
            Err(ConverterError::Upset)
        } else if status & STATUS_READY != STATUS_READY {
            Err(ConverterError::Stale)
        } else {
            Ok(answer.channels)
        }
    }

    /// Gives bus and pin back.
    pub fn release(self) -> (S, R) {
        (self.bus, self.ready)
    }

    /// One frame: a command with its argument out; the last command's response and the channels in.
    fn exchange(&mut self, command: u16, argument: u16) -> Result<Answer, ConverterError> {
        let mut out = [0; FRAME];
        let has_argument = command & 0xE000 == WRITE;
        let [[c0, c1], [a0, a1]] = [command.to_be_bytes(), argument.to_be_bytes()];
        // The command's checksum follows its last word.
        let words = if has_argument { [c0, c1, 0, a0, a1, 0] } else { [c0, c1, 0, 0, 0, 0] };
        let len = if has_argument { 6 } else { 3 };
        let check = CRC_16.checksum(words.get(..len).unwrap_or(&[])).to_be_bytes();
        for (cell, byte) in out.iter_mut().zip(words) {
            *cell = byte;
        }
        for (cell, byte) in out.iter_mut().skip(len).zip(check) {
            *cell = byte;
        }
        let mut bytes = [0; FRAME];
        self.bus.transfer(&mut bytes, &out).map_err(|_| ConverterError::Bus)?;
        let [body @ .., high, low, _] = &bytes;
        if CRC_16.checksum(body).to_be_bytes() != [*high, *low] {
            return Err(ConverterError::Checksum);
        }
        let mut words = body.as_chunks::<3>().0.iter();
        let response = words.next().map_or(0, |[high, low, _]| u16::from_be_bytes([*high, *low]));
        let mut channels = [0; CHANNELS];
        for (channel, [high, middle, low]) in channels.iter_mut().zip(words) {
            // 24 bits to the top, then down again with the sign.
            *channel = i32::from_be_bytes([*high, *middle, *low, 0]) >> 8;
        }
        Ok(Answer { response, channels })
    }
}

#[cfg(test)]
mod tests;
