//! A controller that only pretends to be one, a line to it, and strokes for it to tell: for the station's own tests, and
//! for those of a host's end of the line.

use bolster_core::verdict::FINDINGS;
use bolster_link::message::{
    Cause, FindingLine, Hello, JournalEntry, JournalLine, JudgedStroke, Place, Refusal, Status, StrokeSummary,
};
use bolster_link::station::Controller;
use core::convert::Infallible;
use std::collections::VecDeque;
use std::vec::Vec;

/// A line whose other end is the test; it takes `room` bytes until more room is given.
pub(crate) struct Line {
    pub(crate) to_station: VecDeque<u8>,
    pub(crate) from_station: Vec<u8>,
    pub(crate) room: usize,
}

impl Default for Line {
    fn default() -> Self {
        Self { to_station: VecDeque::new(), from_station: Vec::new(), room: usize::MAX }
    }
}

impl embedded_io::ErrorType for Line {
    type Error = Infallible;
}

impl embedded_io::ReadReady for Line {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(!self.to_station.is_empty())
    }
}

impl embedded_io::Read for Line {
    fn read(&mut self, out: &mut [u8]) -> Result<usize, Infallible> {
        let byte = self.to_station.pop_front().expect("read although nothing is there: it would wait");
        out[0] = byte;
        Ok(1)
    }
}

impl embedded_io::WriteReady for Line {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.room > 0)
    }
}

impl embedded_io::Write for Line {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        assert!(self.room > 0, "written although there is no room: it would wait");
        let taken = bytes.len().min(self.room).min(7);
        self.room -= taken;
        self.from_station.extend_from_slice(&bytes[..taken]);
        Ok(taken)
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        panic!("a flush waits")
    }
}

/// The controller.
pub(crate) struct Press {
    pub(crate) aside: Vec<u8>,
    pub(crate) settings: Vec<u8>,
    pub(crate) acknowledged: u32,
    pub(crate) kept: Option<u32>,
    /// The time it was told; none where it cannot write it down.
    pub(crate) time: Option<u64>,
    pub(crate) boots: u32,
    /// Lines of its journal, from 0.
    pub(crate) lines: u32,
    pub(crate) frames: u32,
}

impl Default for Press {
    fn default() -> Self {
        Self {
            aside: Vec::new(),
            settings: Vec::new(),
            acknowledged: 0,
            kept: None,
            time: Some(0),
            boots: 1,
            lines: 50,
            frames: 7,
        }
    }
}

impl Controller for Press {
    fn hello(&self) -> Hello {
        Hello {
            build: *b"invented",
            columns: 4,
            bins: 128,
            boots: self.boots,
            cause: Cause::Power,
            settings: 0,
            next_stroke: 0,
            next_event: 0,
        }
    }

    fn put_settings(&mut self, from: u32, bytes: &[u8]) -> Result<(), Refusal> {
        let end = from as usize + bytes.len();
        if end > 1024 {
            return Err(Refusal::Place);
        }
        self.aside.resize(self.aside.len().max(end), 0);
        self.aside[from as usize..end].copy_from_slice(bytes);
        Ok(())
    }

    fn get_settings(&mut self, from: u32, out: &mut [u8]) -> Result<(), Refusal> {
        let from = from as usize;
        let part = self.aside.get(from..from.saturating_add(out.len())).ok_or(Refusal::Place)?;
        out.copy_from_slice(part);
        Ok(())
    }

    fn commit_settings(&mut self, len: u32, check: u32) -> Result<(), Refusal> {
        let whole = self.aside.get(..len as usize).ok_or(Refusal::NotWhole)?;
        if crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(whole) != check {
            return Err(Refusal::NotWhole);
        }
        self.settings = whole.to_vec();
        Ok(())
    }

    fn kept_frames(&self) -> Option<u32> {
        self.kept
    }

    fn kept_record(&self, number: u32, out: &mut [u8]) -> Option<usize> {
        (number < self.kept?).then(|| {
            out[..28].fill(number as u8);
            28
        })
    }

    fn release_kept(&mut self) {
        self.kept = None;
    }

    fn acknowledge(&mut self) -> Result<(), Refusal> {
        self.acknowledged += 1;
        if self.acknowledged > 1 { Err(Refusal::StillWrong(4)) } else { Ok(()) }
    }

    fn set_time(&mut self, unix_ms: u64) -> Result<(), Refusal> {
        *self.time.as_mut().ok_or(Refusal::Store)? = unix_ms;
        Ok(())
    }

    fn journal(&mut self, from: u32, out: &mut [u8]) -> Result<(usize, u32), Refusal> {
        let (mut len, mut next) = (0, from);
        while next < self.lines {
            let line = JournalLine { number: next, entry: JournalEntry::Settings(next) };
            let Ok(bytes) = postcard::to_slice(&line, &mut out[len..]) else { break };
            (len, next) = (len + bytes.len(), next + 1);
        }
        Ok((len, next))
    }

    fn status(&self) -> Status {
        Status {
            frames: self.frames,
            missed: 0,
            latest: 3,
            refused: 0,
            stack: 900,
            permit: 1,
            reasons: 0,
            ended: false,
        }
    }
}

/// A stroke with as many findings as its number modulo 13.
pub(crate) fn stroke(number: u32) -> JudgedStroke {
    let count = number as usize % 13;
    let line = |n: usize| FindingLine {
        reason: n as u8,
        verdict: 2,
        column: None,
        from: Place::Angle(number),
        to: Place::Unknown,
        value: n as f32,
        limit: 0.0,
    };
    let summary = StrokeSummary {
        number,
        verdict: 0,
        reasons: 0,
        peak_kn: number as f32,
        peak_at: Place::Unknown,
        peak_height_mm: None,
        reverse_kn: 0.0,
        reverse_at: Place::Unknown,
        contact_at: None,
        work_kj: None,
        speed_spm: None,
        centre_mm: None,
        columns_kn: [[0.0; 2]; 4],
        findings: count as u8,
    };
    let findings: [Option<FindingLine>; FINDINGS] = core::array::from_fn(|n| (n < count).then(|| line(n)));
    JudgedStroke { summary, findings }
}
