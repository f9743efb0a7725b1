//! What is fuzzed: bytes of a hostile peer, or of a damaged file, must be understood or refused, never more.
//!
//! Shared by the fuzz targets and by the test that runs the committed corpus with any compiler.

use std::collections::VecDeque;
use std::convert::Infallible;

use bolster_link::feed::{HEADER_LEN, Header, decode_record};
use bolster_link::message::{
    Cause, Hello, JudgedStroke, Notice, Refusal, Request, Status, StrokeSummary, journal_line,
};
use bolster_link::packet::{Decoder, Packet};
use bolster_link::settings::{Fixed, Head, WordCheck};
use bolster_link::station::{Controller, Station};
use bolster_link::trial::press;
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};

/// Bytes into a decoder, either side's messages out of it.
pub fn packets(bytes: &[u8]) {
    let mut decoder = Decoder::default();
    for byte in bytes {
        if let Some(Ok(packet)) = decoder.push(*byte) {
            let packet: Packet<'_> = packet;
            let _ = packet.message::<Request<'_>>();
            if let Ok(Notice::Journal { lines, .. }) = packet.message::<Notice<'_>>() {
                let mut rest = lines;
                while let Some((_, after)) = journal_line(rest) {
                    assert!(after.len() < rest.len(), "a line takes bytes");
                    rest = after;
                }
            }
        }
    }
}

/// Bytes as the settings of a press of any number of columns.
pub fn settings(bytes: &[u8]) {
    fn one<const N: usize>(bytes: &[u8]) {
        let Ok((fixed, length)) = Fixed::<N>::decode(bytes) else { return };
        assert!(length <= bytes.len());
        let mut out = [0; bolster_link::settings::FIXED_MAX];
        let again = fixed.encode(&mut out).expect("what was read can be written");
        assert_eq!(again, length, "written as it was read");
        let _ = fixed.press.build();
        let _ = fixed.die.map(|die| die.check(N));
        let mut check = WordCheck::new(N as u8);
        for word in bytes[length..].as_chunks::<4>().0 {
            check.take(u32::from_le_bytes(*word));
        }
        let _ = check.is_whole();
    }
    let _ = Head::read(bytes);
    one::<1>(bytes);
    one::<2>(bytes);
    one::<4>(bytes);
}

/// Bytes as a feed: its header, its press, its records.
pub fn feed(bytes: &[u8]) {
    let Some((header, records)) = bytes.split_first_chunk::<HEADER_LEN>() else { return };
    if let Ok(header) = Header::decode(header) {
        let _ = press::<4>(&header).is_ok();
    }
    for record in records.chunks(28) {
        let _ = decode_record::<4>(record);
    }
}

/// Bytes on a controller's line, while it has strokes to tell: it never waits, never reads more than a step may, sends
/// whole packets only, and no stroke goes missing without being told.
pub fn station(bytes: &[u8]) {
    let mut line = Line { to: bytes.iter().copied().collect(), ..Line::default() };
    let mut station = Station::<4, 4>::default();
    let mut controller = Bench::default();
    for number in 0..6 {
        station.strokes.put(stroke(number));
        let before = line.to.len();
        station.step(&mut line, &mut controller).expect("the line cannot fail");
        assert!(before - line.to.len() <= 32, "a step is bounded");
    }
    for _ in 0..bytes.len() + 200 {
        station.step(&mut line, &mut controller).expect("the line cannot fail");
    }
    assert!(line.to.is_empty(), "everything was read");
    let mut decoder = Decoder::default();
    let mut expected: Option<u32> = None;
    for byte in &line.from {
        let Some(packet) = decoder.push(*byte) else { continue };
        match packet.expect("only whole packets").message().expect("only notices") {
            // A request may have asked for earlier ones again.
            Notice::Stroke(summary) => {
                assert!(expected.is_none_or(|expected| summary.number <= expected), "a stroke is missing");
                expected = Some(summary.number + 1);
            }
            Notice::StrokesLost(from, to) => {
                assert!(from < to || from > u32::MAX / 2, "nothing was lost");
                expected = Some(to);
            }
            _ => {}
        }
    }
}

fn stroke(number: u32) -> JudgedStroke {
    let summary = StrokeSummary {
        number,
        verdict: 0,
        reasons: 0,
        peak_kn: 1.0,
        peak_at: bolster_link::message::Place::Unknown,
        peak_height_mm: None,
        reverse_kn: 0.0,
        reverse_at: bolster_link::message::Place::Unknown,
        contact_at: None,
        work_kj: None,
        speed_spm: None,
        centre_mm: None,
        columns_kn: [[0.0; 2]; 4],
        findings: 0,
    };
    JudgedStroke { summary, findings: [None; bolster_core::verdict::FINDINGS] }
}

#[derive(Default)]
struct Line {
    to: VecDeque<u8>,
    from: Vec<u8>,
}

impl ErrorType for Line {
    type Error = Infallible;
}

impl ReadReady for Line {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(!self.to.is_empty())
    }
}

impl Read for Line {
    fn read(&mut self, out: &mut [u8]) -> Result<usize, Infallible> {
        out[0] = self.to.pop_front().expect("read although nothing is there: it would wait");
        Ok(1)
    }
}

impl WriteReady for Line {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }
}

impl Write for Line {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        self.from.extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        panic!("a flush waits")
    }
}

/// A controller that takes whatever fits.
#[derive(Default)]
struct Bench {
    aside: Vec<u8>,
}

impl Controller for Bench {
    fn hello(&self) -> Hello {
        Hello {
            build: [0; 8],
            columns: 4,
            bins: 64,
            boots: 1,
            cause: Cause::Power,
            settings: 0,
            next_stroke: 0,
            next_event: 0,
        }
    }

    fn put_settings(&mut self, from: u32, bytes: &[u8]) -> Result<(), Refusal> {
        let end = from as usize + bytes.len();
        if end > 4096 {
            return Err(Refusal::Place);
        }
        self.aside.resize(self.aside.len().max(end), 0);
        self.aside[from as usize..end].copy_from_slice(bytes);
        Ok(())
    }

    fn get_settings(&mut self, from: u32, out: &mut [u8]) -> Result<(), Refusal> {
        let from = from as usize;
        out.copy_from_slice(self.aside.get(from..from + out.len()).ok_or(Refusal::Place)?);
        Ok(())
    }

    fn commit_settings(&mut self, len: u32, _: u32) -> Result<(), Refusal> {
        settings(self.aside.get(..len as usize).ok_or(Refusal::NotWhole)?);
        Ok(())
    }

    fn kept_frames(&self) -> Option<u32> {
        Some(20)
    }

    fn kept_record(&self, number: u32, out: &mut [u8]) -> Option<usize> {
        (number < 20).then(|| {
            out[..28].fill(number as u8);
            28
        })
    }

    fn release_kept(&mut self) {}

    fn acknowledge(&mut self) -> Result<(), Refusal> {
        Err(Refusal::StillWrong(u64::MAX))
    }

    fn set_time(&mut self, _: u64) -> Result<(), Refusal> {
        Ok(())
    }

    fn journal(&mut self, from: u32, out: &mut [u8]) -> Result<(usize, u32), Refusal> {
        out.fill(from as u8);
        Ok((out.len(), from.wrapping_add(1)))
    }

    fn status(&self) -> Status {
        Status { frames: 0, missed: 0, latest: 0, refused: 0, stack: 0, permit: 0, reasons: 0, ended: false }
    }
}
