//! Packets over any stream of bytes: a serial port, a socket, a pipe.

use std::io::{ErrorKind, Read, Write};

use bolster_link::message::{Notice, Request};
use bolster_link::packet::{Decoder, PacketError, WIRE_MAX, encode};

/// The line is broken, or was used wrongly.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LineError {
    /// Reading or writing failed.
    #[error("the line to the controller failed: {0}")]
    Broken(#[from] std::io::Error),
    /// The other side closed it.
    #[error("the controller closed the line")]
    Closed,
    /// A request that does not fit a packet.
    #[error("a request does not fit a packet: {0}")]
    Request(PacketError),
}

/// The host's end of a line.
#[derive(Debug)]
pub struct Line<S> {
    stream: S,
    decoder: Decoder,
    number: u16,
    bytes: Vec<u8>,
    at: usize,
    refused: u64,
    other_version: Option<u8>,
}

impl<S: Read + Write> Line<S> {
    /// A line over this stream. Its reads should time out, or nobody can ask for what does not come.
    pub fn new(stream: S) -> Self {
        Self {
            stream,
            decoder: Decoder::default(),
            number: 0,
            bytes: Vec::new(),
            at: 0,
            refused: 0,
            other_version: None,
        }
    }

    /// Packets that were none.
    #[must_use]
    pub fn refused(&self) -> u64 {
        self.refused
    }

    /// The version that the other side speaks, if it is another one than this side's.
    #[must_use]
    pub fn other_version(&self) -> Option<u8> {
        self.other_version
    }

    /// The next request's number.
    pub fn number(&mut self) -> u16 {
        self.number = self.number.wrapping_add(1);
        self.number
    }

    /// Sends a request under a number; the same one again is answered again, but not done again.
    ///
    /// # Errors
    /// [`LineError`] if it cannot be sent.
    pub fn send(&mut self, number: u16, request: &Request<'_>) -> Result<(), LineError> {
        let mut wire = [0; WIRE_MAX];
        let len = encode(number, request, &mut wire).map_err(LineError::Request)?;
        // A zero before it ends whatever noise came before.
        self.stream.write_all(&[0])?;
        self.stream.write_all(wire.get(..len).unwrap_or(&wire))?;
        Ok(self.stream.flush()?)
    }

    /// Shows the next notice; none if nothing has come within the stream's own time.
    ///
    /// # Errors
    /// [`LineError`] if the line is broken.
    pub fn next<T>(&mut self, see: impl FnOnce(&Notice<'_>) -> T) -> Result<Option<T>, LineError> {
        loop {
            while let Some(byte) = self.bytes.get(self.at).copied() {
                self.at += 1;
                let Some(packet) = self.decoder.push(byte) else { continue };
                match packet.and_then(|packet| packet.message::<Notice<'_>>()) {
                    Ok(notice) => return Ok(Some(see(&notice))),
                    Err(why) => {
                        self.refused += 1;
                        if let PacketError::Version(version) = why {
                            self.other_version = Some(version);
                        }
                    }
                }
            }
            (self.bytes, self.at) = (vec![0; 4096], 0);
            let got = match self.stream.read(&mut self.bytes) {
                Ok(0) => return Err(LineError::Closed),
                Ok(got) => got,
                Err(why) if why.kind() == ErrorKind::Interrupted => 0,
                Err(why) if matches!(why.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => {
                    self.bytes.clear();
                    return Ok(None);
                }
                Err(why) => return Err(why.into()),
            };
            self.bytes.truncate(got);
        }
    }
}
