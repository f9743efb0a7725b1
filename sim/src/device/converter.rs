//! The gauges' converter at the level of its registers and frames: four channels, 24 bits, delta-sigma, on SPI.
//!
//! The part that `bolster-drivers` drives (ADS131M04), written from memory of its data sheet as that driver is, and
//! like it not checked against a part: 24-bit words, checksums of commands and answers (CRC-16/IBM-3740), a reset flag
//! until MODE is written, the answer to a command in the next frame, and two readings kept. A third drops the oldest.
//! Its gain and rate registers are kept but change nothing: counts come converted from the front end.
//! Left out: standby, register lock, thresholds, words of other lengths, the registers' own checksum.

use core::cell::RefCell;
use core::convert::Infallible;
use embedded_hal::digital::{ErrorType as PinErrorType, InputPin};
use embedded_hal::spi::{ErrorType, Operation, SpiDevice};
use std::collections::VecDeque;
use std::rc::Rc;

const CRC_16: crc::Crc<u16> = crc::Crc::<u16>::new(&crc::CRC_16_IBM_3740);
const WORD: usize = 3;
const WORDS: usize = 6;
/// Readings kept until they are fetched.
const KEPT: usize = 2;
const REGISTERS: usize = 0x40;

const ID: usize = 0x00;
const STATUS: usize = 0x01;
const MODE: usize = 0x02;
const CLOCK: usize = 0x03;
/// MODE: the checksum of commands is looked at; the reset flag.
const MODE_CRC: u16 = 1 << 12;
const MODE_RESET: u16 = 1 << 10;
/// STATUS: a command's checksum did not fit; a reset happened.
const STATUS_CRC: u16 = 1 << 12;
const STATUS_RESET: u16 = 1 << 10;

/// What can go wrong with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Fault {
    /// So many of the next conversions raise no data-ready and are lost.
    ReadyLost(u32),
    /// This bit of the next frame to the controller arrives flipped, counted from its first.
    AnswerBit(usize),
    /// This bit of the next frame from the controller arrives flipped.
    CommandBit(usize),
    /// Its supply dips: registers fall back to their values at power-up.
    Reset,
    /// It does not answer any more: the line stays low. Ends with the next reset of its supply.
    Dead,
}

#[derive(Debug)]
struct Part {
    registers: [u16; REGISTERS],
    /// Answer of the next frame; none is the status.
    answer: Option<u16>,
    readings: VecDeque<[i32; 4]>,
    ready_lost: u32,
    answer_bit: Option<usize>,
    command_bit: Option<usize>,
    dead: bool,
}

impl Part {
    fn reset(&mut self) {
        self.registers = [0; REGISTERS];
        for (register, value) in
            [(ID, 0x2403), (STATUS, 0x0500), (MODE, 0x0510), (CLOCK, 0x0F0E), (0x06, 0x0600)]
        {
            self.set(register, value);
        }
        self.readings.clear();
        self.answer = None;
    }

    fn get(&self, register: usize) -> u16 {
        self.registers.get(register).copied().unwrap_or(0)
    }

    fn set(&mut self, register: usize, value: u16) {
        if let Some(place) = self.registers.get_mut(register) {
            *place = value;
        }
    }

    fn convert(&mut self, counts: [i32; 4]) {
        if self.dead {
            return;
        }
        if self.ready_lost > 0 {
            self.ready_lost -= 1;
            return;
        }
        let on = self.get(CLOCK) >> 8;
        let mut reading = [0; 4];
        for (n, (to, from)) in reading.iter_mut().zip(counts).enumerate() {
            // A channel that is off gives zero.
            *to = if on >> n & 1 == 1 { from } else { 0 };
        }
        if self.readings.len() == KEPT {
            self.readings.pop_front();
        }
        self.readings.push_back(reading);
    }

    /// One frame both ways; what is missing of the controller's words counts as zeros.
    fn exchange(&mut self, sent: &[u8]) -> [u8; WORD * WORDS] {
        let mut command = [0; WORD * WORDS];
        command.iter_mut().zip(sent).for_each(|(to, from)| *to = *from);
        flip(&mut command, self.command_bit.take());
        let mut answer = [0; WORD * WORDS];
        if self.dead {
            return answer;
        }
        let reading = self.readings.pop_front();
        let ready = if reading.is_some() { 0x000F } else { 0 };
        let first = self.answer.take().unwrap_or(self.get(STATUS) | ready);
        let [high, low] = first.to_be_bytes();
        let channels = reading.unwrap_or([0; 4]).map(i32::to_be_bytes);
        let words = channels.iter().map(|[_, high, middle, low]| [*high, *middle, *low]);
        let words: Vec<[u8; WORD]> = core::iter::once([high, low, 0]).chain(words).collect();
        let [high, low] = CRC_16.checksum(words.as_flattened()).to_be_bytes();
        let words = words.into_iter().chain([[high, low, 0]]);
        answer.iter_mut().zip(words.flatten()).for_each(|(to, from)| *to = from);
        flip(&mut answer, self.answer_bit.take());
        self.command(&command);
        answer
    }

    fn command(&mut self, sent: &[u8; WORD * WORDS]) {
        let word = |n: usize| {
            let byte = |at: usize| sent.get(at).copied().unwrap_or(0);
            u16::from_be_bytes([byte(WORD * n), byte(WORD * n + 1)])
        };
        let command = word(0);
        let writes = command & 0xE000 == 0x6000;
        let before_check = if writes { 2 } else { 1 };
        let body = sent.get(..WORD * before_check).unwrap_or(&[]);
        if self.get(MODE) & MODE_CRC != 0 && CRC_16.checksum(body) != word(before_check) {
            self.set(STATUS, self.get(STATUS) | STATUS_CRC);
            return;
        }
        self.set(STATUS, self.get(STATUS) & !STATUS_CRC);
        let register = usize::from(command >> 7 & 0x3F);
        if command == 0x0011 {
            self.reset();
            self.answer = Some(0xFF24);
        } else if command & 0xE000 == 0xA000 {
            self.answer = Some(self.get(register));
        } else if writes {
            // Identity and status are not to be written.
            if register > STATUS {
                self.set(register, word(1));
            }
            if register == MODE {
                let flag = if word(1) & MODE_RESET != 0 { self.get(STATUS) & STATUS_RESET } else { 0 };
                self.set(STATUS, self.get(STATUS) & !STATUS_RESET | flag);
            }
            self.answer = Some(0x4000 | command & 0x1FFF);
        }
    }
}

fn flip(bytes: &mut [u8], bit: Option<usize>) {
    if let Some(byte) = bit.and_then(|bit| bytes.get_mut(bit / 8)) {
        *byte ^= bit.map_or(0, |bit| 0x80 >> (bit % 8));
    }
}

/// The part as its surroundings see it: gauges on the one side, faults on the other.
#[derive(Debug, Clone)]
pub struct Converter {
    part: Rc<RefCell<Part>>,
}

impl Default for Converter {
    fn default() -> Self {
        Self::new()
    }
}

impl Converter {
    /// A part that was just powered up.
    #[must_use]
    pub fn new() -> Self {
        let mut part = Part {
            registers: [0; REGISTERS],
            answer: None,
            readings: VecDeque::new(),
            ready_lost: 0,
            answer_bit: None,
            command_bit: None,
            dead: false,
        };
        part.reset();
        Self { part: Rc::new(RefCell::new(part)) }
    }

    /// What the controller is wired to: the bus, and the data-ready line (low when ready).
    #[must_use]
    pub fn wires(&self) -> (Bus, Ready) {
        (Bus { part: Rc::clone(&self.part) }, Ready { part: Rc::clone(&self.part) })
    }

    /// One conversion of all channels.
    pub fn convert(&self, counts: [i32; 4]) {
        self.part.borrow_mut().convert(counts);
    }

    /// Lets something go wrong.
    pub fn fail(&self, fault: Fault) {
        let mut part = self.part.borrow_mut();
        match fault {
            Fault::ReadyLost(conversions) => part.ready_lost = conversions,
            Fault::AnswerBit(bit) => part.answer_bit = Some(bit),
            Fault::CommandBit(bit) => part.command_bit = Some(bit),
            Fault::Reset => {
                part.dead = false;
                part.reset();
            }
            Fault::Dead => part.dead = true,
        }
    }

    /// What a register holds.
    #[must_use]
    pub fn register(&self, number: u8) -> u16 {
        self.part.borrow().get(usize::from(number))
    }
}

/// The part's side of the SPI bus, chip select included.
#[derive(Debug)]
pub struct Bus {
    part: Rc<RefCell<Part>>,
}

impl ErrorType for Bus {
    type Error = Infallible;
}

impl SpiDevice for Bus {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Infallible> {
        let mut part = self.part.borrow_mut();
        for operation in operations {
            match operation {
                Operation::Transfer(read, write) => {
                    let answer = part.exchange(write);
                    read.iter_mut().zip(answer).for_each(|(to, from)| *to = from);
                }
                Operation::TransferInPlace(bytes) => {
                    let answer = part.exchange(bytes);
                    bytes.iter_mut().zip(answer).for_each(|(to, from)| *to = from);
                }
                Operation::Read(bytes) => {
                    let answer = part.exchange(&[]);
                    bytes.iter_mut().zip(answer).for_each(|(to, from)| *to = from);
                }
                Operation::Write(bytes) => {
                    part.exchange(bytes);
                }
                Operation::DelayNs(_) => {}
            }
        }
        Ok(())
    }
}

/// The data-ready line.
#[derive(Debug)]
pub struct Ready {
    part: Rc<RefCell<Part>>,
}

impl PinErrorType for Ready {
    type Error = Infallible;
}

impl InputPin for Ready {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        self.is_low().map(|low| !low)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        let part = self.part.borrow();
        Ok(!part.dead && !part.readings.is_empty())
    }
}
