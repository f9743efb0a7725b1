//! The converter's stand-in: a feed that the emulator has put into the board's second RAM.

use crate::mmio::{Device, Register};
use bolster_core::frame::Frame;
use bolster_core::units::Tick;
use bolster_link::feed::{Before, HEADER_LEN, Header, RECORD_LEN_MAX, decode_record, record_len};

/// Frames of a four-column feed, one after the other.
#[derive(Debug)]
pub struct Source {
    left: u32,
    at: usize,
    /// Records to begin again with; none in a feed that ends.
    again: u32,
    /// The first record's tick, and what is added to it and those after it.
    first: Option<u32>,
    added: u32,
    latest: u32,
}

fn copy(mut at: usize, out: &mut [u8]) {
    for word in out.chunks_mut(4) {
        for (cell, byte) in word.iter_mut().zip(Register::of(Device::Feed, at).read().to_le_bytes()) {
            *cell = byte;
        }
        at += 4;
    }
}

impl Source {
    /// The feed and what its header says; none if there is no feed for four columns.
    #[must_use]
    pub fn open() -> Option<(Self, Header)> {
        let mut header = [0; HEADER_LEN];
        copy(0, &mut header);
        let header = Header::decode(&header).ok().filter(|header| header.press.columns.count() == 4)?;
        let again = if header.repeats { header.records } else { 0 };
        let source = Self { left: header.records, at: HEADER_LEN, again, first: None, added: 0, latest: 0 };
        Some((source, header))
    }
}

impl Iterator for Source {
    type Item = (Before, Frame<4>);

    fn next(&mut self) -> Option<Self::Item> {
        if self.left == 0 {
            // The tick after the latest, for the first record.
            self.added = self.latest.wrapping_add(1).wrapping_sub(self.first.unwrap_or(0));
            (self.left, self.at) = (self.again, HEADER_LEN);
        }
        self.left = self.left.checked_sub(1)?;
        let mut record = [0; RECORD_LEN_MAX];
        copy(self.at, &mut record);
        self.at += record_len(4);
        let (before, frame) = decode_record(&record).ok()?;
        self.first.get_or_insert(frame.tick.0);
        self.latest = frame.tick.0.wrapping_add(self.added);
        Some((before, Frame { tick: Tick(self.latest), ..frame }))
    }
}
