//! What is fuzzed: bytes of a hostile peer, or of a damaged file, must be understood or refused, never more.
//!
//! Shared by the fuzz targets and by the test that runs the committed corpus with any compiler.

use bolster_link::feed::{HEADER_LEN, Header, decode_record};
use bolster_link::message::{Notice, Request, journal_line};
use bolster_link::packet::{Decoder, Packet};
use bolster_link::settings::{Fixed, Head, WordCheck};
use bolster_link::station::Station;
use bolster_link::trial::press;
use pretend::{Line, Press, stroke};

#[path = "../../src/station/pretend.rs"]
mod pretend;

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
    let mut line = Line { to_station: bytes.iter().copied().collect(), ..Line::default() };
    let mut station = Station::<4, 4>::default();
    // The start that the pinned requests are meant for.
    let mut controller = Press { boots: 3, kept: Some(20), ..Press::default() };
    for number in 0..6 {
        station.strokes.put(stroke(number));
        let before = line.to_station.len();
        station.step(&mut line, &mut controller).expect("the line cannot fail");
        assert!(before - line.to_station.len() <= 32, "a step is bounded");
    }
    for _ in 0..bytes.len() + 200 {
        station.step(&mut line, &mut controller).expect("the line cannot fail");
    }
    assert!(line.to_station.is_empty(), "everything was read");
    let mut decoder = Decoder::default();
    let mut expected: Option<u32> = None;
    for byte in &line.from_station {
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
