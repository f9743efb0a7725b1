//! One message as bytes on the line and back: version, number, body, checksum, and a zero byte that ends it.
//!
//! See `FORMAT.md` for the same in prose, with pinned bytes.

use serde::{Deserialize, Serialize};

/// Version of the packets and of the messages in them.
pub const VERSION: u8 = 2;
/// Longest packet before it is stuffed, bytes: one block of the stuffing, so that it costs two bytes always.
pub const PACKET_MAX: usize = 250;
/// Longest packet on the line, bytes, with its ending zero.
pub const WIRE_MAX: usize = PACKET_MAX + 2;

/// Bytes before the body: version and number.
const HEAD: usize = 3;
/// Bytes after the body: checksum.
const TAIL: usize = 4;
const CRC_32: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);

/// Why bytes are no packet, or a message does not become one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum PacketError {
    /// More bytes than a packet may have.
    TooLong,
    /// Fewer bytes than any packet has.
    TooShort,
    /// The stuffing contradicts itself.
    Stuffing,
    /// The checksum does not fit the bytes.
    Checksum,
    /// A version that is not spoken here.
    Version(u8),
    /// The body is no message of the kind expected, or is followed by something.
    Body,
}

impl core::fmt::Display for PacketError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::TooLong => write!(f, "packet longer than {PACKET_MAX} bytes"),
            Self::TooShort => f.write_str("packet too short"),
            Self::Stuffing => f.write_str("byte stuffing contradicts itself"),
            Self::Checksum => f.write_str("checksum does not fit"),
            Self::Version(version) => {
                write!(f, "protocol version {version}, but this side speaks {VERSION}")
            }
            Self::Body => f.write_str("no message this version knows"),
        }
    }
}

impl core::error::Error for PacketError {}

/// Encodes a message for the line; gives the number of bytes written, the ending zero included.
///
/// # Errors
/// [`PacketError::TooLong`] if the message does not fit a packet.
pub fn encode(number: u16, message: &impl Serialize, out: &mut [u8; WIRE_MAX]) -> Result<usize, PacketError> {
    let mut packet = [0; PACKET_MAX];
    let [low, high] = number.to_le_bytes();
    let (head, rest) = packet.split_first_chunk_mut::<HEAD>().ok_or(PacketError::TooLong)?;
    *head = [VERSION, low, high];
    let room = rest.len() - TAIL;
    let body = rest.get_mut(..room).ok_or(PacketError::TooLong)?;
    let body = postcard::to_slice(message, body).map_err(|_| PacketError::TooLong)?.len();
    let check = CRC_32.checksum(packet.get(..HEAD + body).unwrap_or(&[]));
    let end = HEAD + body + TAIL;
    if let Some(tail) = packet.get_mut(HEAD + body..end) {
        tail.copy_from_slice(&check.to_le_bytes());
    }
    let stuffed =
        cobs::try_encode(packet.get(..end).unwrap_or(&[]), out).map_err(|_| PacketError::TooLong)?;
    *out.get_mut(stuffed).ok_or(PacketError::TooLong)? = 0;
    Ok(stuffed + 1)
}

/// A packet whose checksum fits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Packet<'a> {
    /// The sender's running number.
    pub number: u16,
    body: &'a [u8],
}

impl<'a> Packet<'a> {
    /// The message in it.
    ///
    /// # Errors
    /// [`PacketError::Body`] if it is no message of this kind.
    pub fn message<T: Deserialize<'a>>(&self) -> Result<T, PacketError> {
        match postcard::take_from_bytes(self.body) {
            Ok((message, [])) => Ok(message),
            _ => Err(PacketError::Body),
        }
    }
}

/// Finds packets in a stream of bytes that may hold anything.
#[derive(Debug, Clone)]
pub struct Decoder {
    bytes: [u8; WIRE_MAX],
    len: usize,
    /// The last packet, without its stuffing.
    packet: [u8; WIRE_MAX],
    /// More bytes came than a packet has: all up to the next zero are skipped.
    overrun: bool,
    /// The packet in `bytes` has been handed out; the next byte begins another.
    done: bool,
}

impl Default for Decoder {
    fn default() -> Self {
        Self { bytes: [0; WIRE_MAX], len: 0, packet: [0; WIRE_MAX], overrun: false, done: false }
    }
}

impl Decoder {
    /// Takes in one byte; gives what a zero byte ended. Zeros on their own end nothing.
    pub fn push(&mut self, byte: u8) -> Option<Result<Packet<'_>, PacketError>> {
        if self.done {
            self.len = 0;
            self.done = false;
        }
        if byte != 0 {
            match self.bytes.get_mut(self.len) {
                Some(cell) => {
                    *cell = byte;
                    self.len += 1;
                }
                None => self.overrun = true,
            }
            return None;
        }
        self.done = true;
        if core::mem::take(&mut self.overrun) {
            return Some(Err(PacketError::TooLong));
        }
        if self.len == 0 {
            return None;
        }
        Some(self.unpack())
    }

    fn unpack(&mut self) -> Result<Packet<'_>, PacketError> {
        let stuffed = self.bytes.get(..self.len).ok_or(PacketError::TooLong)?;
        // Not the form that decodes in place: that one cannot be compiled without a reachable panic.
        let report = cobs::decode(stuffed, &mut self.packet).map_err(|_| PacketError::Stuffing)?;
        let packet = self.packet.get(..report.frame_size()).ok_or(PacketError::Stuffing)?;
        let (checked, check) = packet.split_last_chunk::<TAIL>().ok_or(PacketError::TooShort)?;
        if CRC_32.checksum(checked) != u32::from_le_bytes(*check) {
            return Err(PacketError::Checksum);
        }
        let ([version, low, high], body) =
            checked.split_first_chunk::<HEAD>().ok_or(PacketError::TooShort)?;
        if *version != VERSION {
            return Err(PacketError::Version(*version));
        }
        Ok(Packet { number: u16::from_le_bytes([*low, *high]), body })
    }
}

#[cfg(test)]
mod tests;
