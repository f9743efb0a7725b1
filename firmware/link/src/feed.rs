//! Frames in bulk: one header that says what press they come from, then records of one length.
//!
//! All numbers little-endian. Header, [`HEADER_LEN`] bytes:
//!
//! | at | bytes | what |
//! |---:|---:|---|
//! | 0 | 8 | `BOLFEED3` |
//! | 8 | 1 | columns: 1, 2 or 4 |
//! | 9 | 1 | what tells strokes apart: 0 encoder, 1 index, 2 load, 3 marks |
//! | 10 | 1 | bit 0: ticks are true time; bit 1: records begin again after the last, ticks go on |
//! | 11 | 1 | die: 0 none, 1 the trial's limits and windows, 2 these and its learned shape |
//! | 12 | 4 | number of records |
//! | 16 | 104 | the press, f64 each: rated kN, rated height, stroke and rod mm, slowest and fastest strokes a minute, bolster left-right and front-rear mm, usable energy kJ (NaN: none given), reverse, column and imbalance percent, off-centre percent (NaN: none given) |
//! | 120 | 8 | sample rate, Hz, f64 |
//! | 128 | 4 | kN per count, f32 |
//! | 132 | 4 | CRC-32/ISO-HDLC of the 132 bytes before |
//!
//! Record, 12 + 4 · columns bytes: tick (u32), counts (i32 a column), crank value (u32), a byte of crank kind
//! (low three bits: 0 angle, 1 index off, 2 index on, 3 absent, 4 fault) and of what happens before the frame
//! (bit 3 acknowledge, bit 4 bypass, bit 6 new coil, bit 7 mark; bit 5: after it, see [`Before::finish`]), sensors (u8), mode that is
//! asked for before the frame (u8: 0 none, 1 inch, 2 single, 3 continuous), a byte of zero.

use bolster_core::frame::{CrankReading, Frame};
use bolster_core::mode::Mode;
use bolster_core::press::{Columns, PressSpec};
use bolster_core::stroke::StrokeSource;
use bolster_core::units::{CrankAngle, Tick};

/// Bytes of the header.
pub const HEADER_LEN: usize = 136;
/// Bytes of the longest record.
pub const RECORD_LEN_MAX: usize = record_len(4);

const MAGIC: [u8; 8] = *b"BOLFEED3";
const CRC_32: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);

/// Bytes of one record of a press with this many columns.
#[must_use]
pub const fn record_len(columns: usize) -> usize {
    12 + 4 * columns
}

/// What the frames come from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Header {
    /// The press.
    pub press: PressSpec,
    /// What tells strokes apart.
    pub source: StrokeSource,
    /// Whether ticks are true time.
    pub timed: bool,
    /// Whether a controller begins the records again after the last one, ticks going on; a host ends there.
    pub repeats: bool,
    /// Which of the trial's dies is judged.
    pub die: TrialDie,
    /// Records that follow.
    pub records: u32,
    /// Frames a second, Hz.
    pub sample_hz: f64,
    /// Load of one count, kN.
    pub kn_per_count: f32,
}

/// Which die a trial judges.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TrialDie {
    /// None: the machine's limits only.
    None,
    /// Limits and windows of every kind.
    Limits,
    /// These and a learned shape.
    Shape,
}

/// What happens before a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Before {
    /// A person acknowledges.
    pub acknowledge: bool,
    /// A person bypasses holds for the trial's time.
    pub bypass: bool,
    /// The stock changes.
    pub new_coil: bool,
    /// The source begins another stroke.
    pub mark: bool,
    /// The press is switched to this mode: the monitor takes it between strokes.
    pub mode: Option<Mode>,
    /// After the frame, rather than before it, the stroke that ended is judged to the end: a recording need not wait
    /// for frames to judge in.
    pub finish: bool,
}

/// Bytes are not what they should be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum FeedError {
    /// Not a feed, or of another version.
    Magic,
    /// The header's checksum does not fit its bytes.
    Checksum,
    /// A field holds what it cannot; names the field.
    Field(&'static str),
    /// Fewer bytes than a header or a record has.
    Short,
}

impl core::fmt::Display for FeedError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Magic => f.write_str("does not begin with BOLFEED3: no feed, or one of another version"),
            Self::Checksum => f.write_str("the feed's header is damaged: its checksum does not fit"),
            Self::Field(field) => write!(f, "the feed holds an impossible value: {field}"),
            Self::Short => f.write_str("the feed ends within a header or a record"),
        }
    }
}

impl core::error::Error for FeedError {}

impl Header {
    /// The header as bytes.
    #[must_use]
    pub fn encode(&self) -> [u8; HEADER_LEN] {
        let mut out = [0; HEADER_LEN];
        let source = match self.source {
            StrokeSource::Encoder => 0,
            StrokeSource::Index => 1,
            StrokeSource::Load => 2,
            StrokeSource::Marked => 3,
        };
        let mut rest = out.as_mut_slice();
        put(&mut rest, &MAGIC);
        let columns = self.press.columns.count() as u8;
        put(
            &mut rest,
            &[columns, source, u8::from(self.timed) | u8::from(self.repeats) << 1, self.die as u8],
        );
        put(&mut rest, &self.records.to_le_bytes());
        let press = &self.press;
        let numbers = [
            press.rated_kn,
            press.rated_height_mm,
            press.stroke_mm,
            press.rod_mm,
            press.speed_spm[0],
            press.speed_spm[1],
            press.bolster_mm[0],
            press.bolster_mm[1],
            press.usable_energy_kj.unwrap_or(f64::NAN),
            press.reverse_percent,
            press.column_percent,
            press.imbalance_percent,
            press.off_centre_percent.unwrap_or(f64::NAN),
            self.sample_hz,
        ];
        numbers.iter().for_each(|number| put(&mut rest, &number.to_le_bytes()));
        put(&mut rest, &self.kn_per_count.to_le_bytes());
        let [body @ .., _, _, _, _] = &out;
        let check = CRC_32.checksum(body).to_le_bytes();
        let [.., a, b, c, d] = &mut out;
        [*a, *b, *c, *d] = check;
        out
    }

    /// The header from bytes. Values are taken as they are, unchecked but for what a field can hold at all.
    ///
    /// # Errors
    /// [`FeedError`] if the bytes are no header.
    pub fn decode(bytes: &[u8; HEADER_LEN]) -> Result<Self, FeedError> {
        let [body @ .., a, b, c, d] = bytes;
        let mut rest = body.as_slice();
        if take::<8>(&mut rest)? != MAGIC {
            return Err(FeedError::Magic);
        }
        if CRC_32.checksum(body).to_le_bytes() != [*a, *b, *c, *d] {
            return Err(FeedError::Checksum);
        }
        let [columns, source, time, die] = take::<4>(&mut rest)?;
        let columns = Columns::from_count(usize::from(columns)).ok_or(FeedError::Field("columns"))?;
        let source = match source {
            0 => StrokeSource::Encoder,
            1 => StrokeSource::Index,
            2 => StrokeSource::Load,
            3 => StrokeSource::Marked,
            _ => return Err(FeedError::Field("source")),
        };
        let die = match die {
            0 => TrialDie::None,
            1 => TrialDie::Limits,
            2 => TrialDie::Shape,
            _ => return Err(FeedError::Field("die")),
        };
        if time > 3 {
            return Err(FeedError::Field("time"));
        }
        let records = u32::from_le_bytes(take(&mut rest)?);
        let mut number = || Ok::<f64, FeedError>(f64::from_le_bytes(take(&mut rest)?));
        let press = PressSpec {
            columns,
            rated_kn: number()?,
            rated_height_mm: number()?,
            stroke_mm: number()?,
            rod_mm: number()?,
            speed_spm: [number()?, number()?],
            bolster_mm: [number()?, number()?],
            usable_energy_kj: Some(number()?).filter(|kj| !kj.is_nan()),
            reverse_percent: number()?,
            column_percent: number()?,
            imbalance_percent: number()?,
            off_centre_percent: Some(number()?).filter(|percent| !percent.is_nan()),
        };
        let sample_hz = number()?;
        let kn_per_count = f32::from_le_bytes(take(&mut rest)?);
        Ok(Self {
            press,
            source,
            timed: time & 1 == 1,
            repeats: time & 2 == 2,
            die,
            records,
            sample_hz,
            kn_per_count,
        })
    }
}

/// One record as bytes, with its length.
#[must_use]
pub fn encode_record<const N: usize>(before: Before, frame: &Frame<N>) -> ([u8; RECORD_LEN_MAX], usize) {
    let mut out = [0; RECORD_LEN_MAX];
    let (kind, value) = match frame.crank {
        CrankReading::Angle(angle) => (0, angle.0),
        CrankReading::Index(on) => (1 + u8::from(on), 0),
        CrankReading::Absent => (3, 0),
        CrankReading::Fault => (4, 0),
    };
    let happens = u8::from(before.acknowledge) << 3
        | u8::from(before.bypass) << 4
        | u8::from(before.finish) << 5
        | u8::from(before.new_coil) << 6
        | u8::from(before.mark) << 7;
    let mut rest = out.as_mut_slice();
    put(&mut rest, &frame.tick.0.to_le_bytes());
    frame.counts.iter().for_each(|count| put(&mut rest, &count.to_le_bytes()));
    put(&mut rest, &u32::to_le_bytes(value));
    let mode = before.mode.map_or(0, |mode| 1 + mode as u8);
    put(&mut rest, &[kind | happens, frame.sensors, mode]);
    (out, record_len(N))
}

/// One record from its bytes; further bytes are not looked at.
///
/// # Errors
/// [`FeedError`] if the bytes are too few, the crank kind or the mode is unknown, or the last byte is not zero.
#[inline]
pub fn decode_record<const N: usize>(bytes: &[u8]) -> Result<(Before, Frame<N>), FeedError> {
    let mut rest = bytes;
    let tick = Tick(u32::from_le_bytes(take(&mut rest)?));
    let mut counts = [0; N];
    for count in &mut counts {
        *count = i32::from_le_bytes(take(&mut rest)?);
    }
    let value = u32::from_le_bytes(take(&mut rest)?);
    let [kind, sensors, mode, zero] = take(&mut rest)?;
    let crank = match kind & 7 {
        0 => CrankReading::Angle(CrankAngle(value)),
        1 => CrankReading::Index(false),
        2 => CrankReading::Index(true),
        3 => CrankReading::Absent,
        4 => CrankReading::Fault,
        _ => return Err(FeedError::Field("crank kind")),
    };
    let mode = match mode {
        0 => None,
        1 => Some(Mode::Inch),
        2 => Some(Mode::Single),
        3 => Some(Mode::Continuous),
        _ => return Err(FeedError::Field("mode")),
    };
    if zero != 0 {
        return Err(FeedError::Field("last byte of a record"));
    }
    let happens = |bit: u8| kind & 1 << bit != 0;
    let before = Before {
        acknowledge: happens(3),
        bypass: happens(4),
        finish: happens(5),
        new_coil: happens(6),
        mark: happens(7),
        mode,
    };
    Ok((before, Frame { tick, counts, crank, sensors }))
}

fn put(rest: &mut &mut [u8], bytes: &[u8]) {
    if let Some((room, after)) = core::mem::take(rest).split_at_mut_checked(bytes.len()) {
        room.copy_from_slice(bytes);
        *rest = after;
    }
}

fn take<const LEN: usize>(rest: &mut &[u8]) -> Result<[u8; LEN], FeedError> {
    let (bytes, after) = rest.split_first_chunk::<LEN>().ok_or(FeedError::Short)?;
    *rest = after;
    Ok(*bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trial::invented_press;
    use proptest::prelude::*;

    fn header() -> Header {
        Header {
            press: invented_press(Columns::Corners),
            source: StrokeSource::Marked,
            timed: true,
            repeats: false,
            die: TrialDie::Limits,
            records: 7,
            sample_hz: 10_000.0,
            kn_per_count: 1e-3,
        }
    }

    #[test]
    fn a_header_comes_back_as_it_was() {
        assert_eq!(Header::decode(&header().encode()), Ok(header()));
        let mut without = header();
        without.press.usable_energy_kj = None;
        without.press.off_centre_percent = None;
        assert_eq!(Header::decode(&without.encode()), Ok(without));
        let again = Header { repeats: true, ..header() };
        assert_eq!(Header::decode(&again.encode()), Ok(again));
    }

    #[test]
    fn every_flipped_bit_of_a_header_is_refused() {
        let bytes = header().encode();
        for bit in 0..8 * HEADER_LEN {
            let mut damaged = bytes;
            damaged[bit / 8] ^= 1 << (bit % 8);
            assert!(Header::decode(&damaged).is_err(), "bit {bit}");
        }
    }

    #[test]
    fn every_truncated_record_is_short() {
        let frame = Frame { tick: Tick(1), counts: [2; 4], crank: CrankReading::Absent, sensors: 0 };
        let (bytes, len) = encode_record(Before::default(), &frame);
        assert!(decode_record::<4>(&bytes[..len]).is_ok());
        for short in 0..len {
            assert_eq!(decode_record::<4>(&bytes[..short]), Err(FeedError::Short), "{short} bytes");
        }
    }

    #[test]
    fn the_bytes_of_a_record_are_as_described() {
        let frame = Frame {
            tick: Tick(0x0102_0304),
            counts: [-2, 5],
            crank: CrankReading::Angle(CrankAngle(0x4000_0000)),
            sensors: 0xA5,
        };
        let all = Before {
            acknowledge: true,
            bypass: true,
            new_coil: true,
            mark: true,
            mode: Some(Mode::Continuous),
            finish: true,
        };
        let pinned = |before: Before, crank: CrankReading, end: [u8; 8]| {
            let mut wanted = [4, 3, 2, 1, 0xFE, 0xFF, 0xFF, 0xFF, 5, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0];
            wanted[12..].copy_from_slice(&end);
            let (bytes, len) = encode_record(before, &Frame { crank, ..frame });
            assert_eq!(bytes[..len], wanted, "{before:?}");
        };
        let none = Before::default();
        pinned(none, frame.crank, [0, 0, 0, 0x40, 0, 0xA5, 0, 0]);
        pinned(all, frame.crank, [0, 0, 0, 0x40, 0xF8, 0xA5, 3, 0]);
        let others = [
            CrankReading::Index(false),
            CrankReading::Index(true),
            CrankReading::Absent,
            CrankReading::Fault,
        ];
        for (kind, crank) in (1..).zip(others) {
            pinned(none, crank, [0, 0, 0, 0, kind, 0xA5, 0, 0]);
        }
        for (mode, number) in [(Mode::Inch, 1), (Mode::Single, 2), (Mode::Continuous, 3)] {
            let before = Before { mode: Some(mode), ..none };
            pinned(before, frame.crank, [0, 0, 0, 0x40, 0, 0xA5, number, 0]);
        }
    }

    #[test]
    fn a_record_with_a_mode_that_is_none_or_a_last_byte_that_is_not_zero_is_refused() {
        let frame = Frame { tick: Tick(1), counts: [2; 2], crank: CrankReading::Absent, sensors: 0 };
        let (bytes, len) = encode_record(Before::default(), &frame);
        for (at, what) in [(len - 2, "mode"), (len - 1, "last byte of a record")] {
            let mut wrong = bytes;
            wrong[at] = 4;
            assert_eq!(decode_record::<2>(&wrong[..len]), Err(FeedError::Field(what)));
        }
    }

    proptest! {
        #[test]
        fn records_come_back_as_they_were(
            tick: u32, counts: [i32; 2], value: u32, kind in 0..5u8, sensors: u8, happens in 0..32u8, mode in 0..4usize
        ) {
            let crank = [
                CrankReading::Angle(CrankAngle(value)),
                CrankReading::Index(false),
                CrankReading::Index(true),
                CrankReading::Absent,
                CrankReading::Fault,
            ][usize::from(kind)];
            let before = Before {
                acknowledge: happens & 1 != 0,
                bypass: happens & 2 != 0,
                new_coil: happens & 4 != 0,
                mark: happens & 8 != 0,
                finish: happens & 16 != 0,
                mode: mode.checked_sub(1).map(|number| Mode::ALL[number]),
            };
            let frame = Frame { tick: Tick(tick), counts, crank, sensors };
            let (bytes, len) = encode_record(before, &frame);
            prop_assert_eq!(decode_record::<2>(&bytes[..len]), Ok((before, frame)));
        }

        #[test]
        fn any_bytes_are_a_record_or_refused(bytes: [u8; 40]) {
            let _ = decode_record::<4>(&bytes);
            let _ = decode_record::<1>(&bytes);
        }
    }
}
