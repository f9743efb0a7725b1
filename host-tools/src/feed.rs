//! Feeds: frames in bulk as the controller's program takes them, written record by record.
//!
//! [`FeedWriter`] writes any frames; [`SimulatedFeed`] those of a simulated press, as its converter and encoder would
//! give them over whole turns. The bytes are [`bolster_link::feed`]'s.

use std::io::{self, BufWriter, Seek as _, Write};

use bolster_core::frame::Frame;
use bolster_core::press::Columns;
use bolster_core::stroke::StrokeSource;
use bolster_link::feed::{Before, Header, TrialDie, encode_record};
use bolster_sim::frames::{CrankInput, frame};
use bolster_sim::front_end::ChannelScale;
use bolster_sim::scenario::Scenario;
use bolster_sim::simulator::{SimSample, SimStroke, Simulator};

/// Writes records; how many there are is told at the end, so they wait in a file of their own.
#[derive(Debug)]
pub struct FeedWriter {
    records: BufWriter<std::fs::File>,
    count: u32,
}

impl FeedWriter {
    /// A feed without records.
    ///
    /// # Errors
    /// If no temporary file can be made.
    pub fn new() -> io::Result<Self> {
        Ok(Self { records: BufWriter::new(tempfile::tempfile()?), count: 0 })
    }

    /// Adds a frame and what happens before it.
    ///
    /// # Errors
    /// If it cannot be stored, or would be the 2³²th.
    pub fn push<const N: usize>(&mut self, before: Before, frame: &Frame<N>) -> io::Result<()> {
        let (bytes, len) = encode_record(before, frame);
        self.count = self.count.checked_add(1).ok_or_else(|| {
            io::Error::other("a feed holds 4,294,967,295 frames at most; simulate fewer strokes")
        })?;
        self.records.write_all(bytes.get(..len).unwrap_or(&bytes))
    }

    /// Writes the whole feed to `out`; the header's number of records is set here.
    ///
    /// # Errors
    /// What reading back or writing gives.
    pub fn finish(self, header: &Header, out: &mut impl Write) -> io::Result<()> {
        let mut records = self.records.into_inner().map_err(io::IntoInnerError::into_error)?;
        records.rewind()?;
        out.write_all(&Header { records: self.count, ..*header }.encode())?;
        io::copy(&mut records, out)?;
        out.flush()
    }
}

/// The feed of a simulated press, stroke after stroke. The first problem is kept and told at the end.
#[derive(Debug)]
pub struct SimulatedFeed {
    writer: io::Result<FeedWriter>,
    header: Header,
    zero_counts: [i32; 4],
    coil: Option<u32>,
}

impl SimulatedFeed {
    /// What makes a scenario's run a feed: the controller sees the whole turn.
    pub fn widen(scenario: &mut Scenario) {
        (scenario.angle_from_deg, scenario.angle_to_deg) = (0.0, 360.0);
    }

    /// The feed of this run, over an encoder, judged by the machine's limits.
    #[must_use]
    pub fn new(simulator: &Simulator) -> Self {
        let scale = simulator.calibration();
        let [first, ..] = scale;
        let header = Header {
            press: *simulator.press(),
            source: StrokeSource::Encoder,
            timed: true,
            repeats: false,
            die: TrialDie::None,
            records: 0,
            sample_hz: simulator.scenario().sample_hz,
            kn_per_count: first.kn_per_count as f32,
        };
        let zero = |scale: &ChannelScale| scale.zero_counts.round() as i32;
        Self { writer: FeedWriter::new(), header, zero_counts: scale.each_ref().map(zero), coil: None }
    }

    /// Adds a stroke.
    pub fn take(&mut self, stroke: &SimStroke) {
        let changed = self.coil.is_some_and(|coil| coil != stroke.coil);
        self.coil = Some(stroke.coil);
        for (n, sample) in stroke.samples.iter().enumerate() {
            let before = Before { new_coil: changed && n == 0, ..Before::default() };
            let Ok(writer) = &mut self.writer else { return };
            let done = match self.header.press.columns {
                Columns::Total => writer.push(before, &zeroed::<1>(sample, &self.zero_counts)),
                Columns::LeftRight => writer.push(before, &zeroed::<2>(sample, &self.zero_counts)),
                Columns::Corners => writer.push(before, &zeroed::<4>(sample, &self.zero_counts)),
            };
            if let Err(why) = done {
                self.writer = Err(why);
            }
        }
    }

    /// Writes the feed.
    ///
    /// # Errors
    /// The first problem there was.
    pub fn finish(self, out: &mut impl Write) -> io::Result<()> {
        self.writer?.finish(&self.header, out)
    }
}

/// The frame of a sample, each gauge's own zero taken off: a feed's header has no place for zeros.
fn zeroed<const N: usize>(sample: &SimSample, zero_counts: &[i32; 4]) -> Frame<N> {
    let mut frame = frame(sample, CrankInput::Encoder);
    for (count, zero) in frame.counts.iter_mut().zip(zero_counts) {
        // What lies at an end of the converter's range stays there: it is how a broken gauge shows.
        if *count > -(1 << 23) && *count < (1 << 23) - 1 {
            *count -= zero;
        }
    }
    frame
}
