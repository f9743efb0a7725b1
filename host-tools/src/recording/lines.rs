//! Cuts a stream of bytes into lines, in one buffer that never grows.

use std::io::{self, Read};

use super::MAX_LINE;

/// Bytes read at a time; a multiple of [`MAX_LINE`], so that a whole line always fits.
const BUFFER: usize = 4 * MAX_LINE;

/// Zero bytes behind the data, so that a word can be loaded at any place of a line.
pub(super) const PAD: usize = 8;

/// One line of text with some bytes behind it.
#[derive(Clone, Copy)]
pub(crate) struct Line<'a> {
    /// The line and at least [`PAD`] bytes after it, which belong to no field.
    pub(super) window: &'a [u8],
    /// Length of the line without its end.
    pub(super) len: usize,
}

impl<'a> Line<'a> {
    /// The line alone.
    pub(crate) fn text(&self) -> &'a [u8] {
        self.window.get(..self.len).unwrap_or_default()
    }
}

/// Why no line came.
pub(crate) enum LineFault {
    TooLong,
    Read(io::Error),
}

/// Reads lines; `\n` and `\r\n` end one, and so does the end of the file.
pub(crate) struct Lines<R> {
    pub(crate) source: R,
    buffer: Vec<u8>,
    start: usize,
    end: usize,
    at_end: bool,
    number: u64,
}

impl<R: Read> Lines<R> {
    pub(crate) fn new(source: R) -> Self {
        Self { source, buffer: vec![0; BUFFER + PAD], start: 0, end: 0, at_end: false, number: 0 }
    }

    /// Number of the line given last, from 1.
    pub(crate) fn number(&self) -> u64 {
        self.number
    }

    /// Whether nothing but line ends is left; reads ahead as far as it must.
    pub(super) fn is_exhausted(&mut self) -> Result<bool, LineFault> {
        loop {
            let ahead = self.buffer.get(self.start..self.end).unwrap_or_default();
            if let Some(blank) = ahead.iter().position(|byte| !matches!(byte, b'\n' | b'\r')) {
                // Line ends only: counting them keeps the numbers right.
                let skipped = ahead.get(..blank).unwrap_or_default();
                self.number += memchr::memchr_iter(b'\n', skipped).count() as u64;
                self.start += blank;
                return Ok(false);
            }
            if self.at_end {
                return Ok(true);
            }
            self.number += memchr::memchr_iter(b'\n', ahead).count() as u64;
            self.start = self.end;
            self.refill().map_err(LineFault::Read)?;
        }
    }

    /// Passes over a number of lines, empty ones counted.
    pub(crate) fn skip(&mut self, lines: u64) -> Result<(), LineFault> {
        let target = self.number + lines;
        while self.number < target {
            let ahead = self.buffer.get(self.start..self.end).unwrap_or_default();
            match memchr::memchr(b'\n', ahead) {
                Some(len) => {
                    self.start += len + 1;
                    self.number += 1;
                }
                None if self.at_end => {
                    self.start = self.end;
                    return Ok(());
                }
                None if ahead.len() > MAX_LINE => return Err(LineFault::TooLong),
                None => self.refill().map_err(LineFault::Read)?,
            }
        }
        Ok(())
    }

    /// The next line that has a character in it; none at the end.
    #[inline]
    pub(crate) fn next(&mut self) -> Result<Option<Line<'_>>, LineFault> {
        let (from, len) = loop {
            let ahead = self.buffer.get(self.start..self.end).unwrap_or_default();
            let (len, taken) = match memchr::memchr(b'\n', ahead) {
                Some(len) => (len, len + 1),
                None if ahead.len() > MAX_LINE => return Err(LineFault::TooLong),
                None if !self.at_end => {
                    self.refill().map_err(LineFault::Read)?;
                    continue;
                }
                None if ahead.is_empty() => return Ok(None),
                None => (ahead.len(), ahead.len()),
            };
            if len > MAX_LINE {
                return Err(LineFault::TooLong);
            }
            self.number += 1;
            let line = ahead.get(..len).unwrap_or_default();
            let len = line.strip_suffix(b"\r").unwrap_or(line).len();
            if len > 0 {
                let from = self.start;
                self.start += taken;
                break (from, len);
            }
            self.start += taken;
        };
        let window = self.buffer.get(from..).unwrap_or_default();
        Ok(Some(Line { window, len }))
    }

    #[cold]
    fn refill(&mut self) -> io::Result<()> {
        self.buffer.copy_within(self.start..self.end, 0);
        self.end -= self.start;
        self.start = 0;
        let limit = self.buffer.len() - PAD;
        let room = self.buffer.get_mut(self.end..limit).unwrap_or_default();
        match self.source.read(room) {
            Ok(0) => self.at_end = true,
            Ok(count) => self.end += count,
            Err(why) if why.kind() == io::ErrorKind::Interrupted => {}
            Err(why) => return Err(why),
        }
        Ok(())
    }
}
