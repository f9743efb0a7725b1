//! What host and controller say to each other.
//!
//! The order of variants and fields is the format: new ones go to the end and raise the version.

use bolster_core::journal::{Event, EventKind};
use bolster_core::monitor::StrokeReport;
use bolster_core::permit::PermitRefusal;
use bolster_core::stroke::Position;
use serde::{Deserialize, Serialize};

/// Bytes of settings in one message at most.
pub const PART_MAX: usize = 192;

/// From host to controller. Each is answered by [`Notice::Done`], [`Notice::Refused`] or what it asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Request<'a> {
    /// Who is there?
    Hello,
    /// A part of new settings, kept aside until they are committed.
    PutSettings {
        /// Where in the settings this part begins, bytes.
        from: u32,
        /// The part, [`PART_MAX`] bytes at most.
        bytes: &'a [u8],
    },
    /// Read back what has been put aside.
    GetSettings {
        /// First byte.
        from: u32,
        /// How many bytes, [`PART_MAX`] at most.
        count: u8,
    },
    /// Take what has been put aside as the new settings.
    CommitSettings {
        /// Bytes in all.
        len: u32,
        /// CRC-32/ISO-HDLC over all of them.
        check: u32,
    },
    /// Send strokes again from this number on, as far back as they are held.
    StrokesFrom(u32),
    /// Send events again from this number on, as far back as they are held.
    EventsFrom(u32),
    /// Send the kept stroke's frames from this one on.
    KeptFrom(u32),
    /// The kept stroke has been read; let the ring run again.
    ReleaseKept,
    /// Send every so many frames' loads; 0 stops it.
    Live(u16),
    /// A person acknowledges.
    Acknowledge,
    /// The time now, milliseconds since 1970-01-01 UTC.
    SetTime(u64),
}

/// From controller to host.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Notice<'a> {
    /// Who is here.
    Hello(Hello),
    /// The request with this number was done.
    Done(u16),
    /// The request with this number was refused.
    Refused(u16, Refusal),
    /// Settings as they were put aside.
    Settings {
        /// First byte.
        from: u32,
        /// The bytes.
        bytes: &'a [u8],
    },
    /// A judged stroke.
    Stroke(StrokeSummary),
    /// Strokes from the first to before the second number are no longer held.
    StrokesLost(u32, u32),
    /// A line of the journal.
    Event(EventLine),
    /// Events from the first to before the second number are no longer held.
    EventsLost(u32, u32),
    /// Frames of the kept stroke, in the form of a feed's records.
    Kept {
        /// Number of the first of these frames, counted from the oldest kept.
        from: u32,
        /// Frames kept in all.
        total: u32,
        /// The records.
        records: &'a [u8],
    },
    /// One frame's loads.
    Live {
        /// Its tick.
        tick: u32,
        /// Sum of the columns' counts.
        counts: i64,
    },
}

/// Who is here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hello {
    /// Of the controller's program: the first eight bytes of what identifies its build.
    pub build: [u8; 8],
    /// Columns.
    pub columns: u8,
    /// Signature bins.
    pub bins: u16,
    /// Starts so far.
    pub boots: u32,
    /// Number of the next stroke.
    pub next_stroke: u32,
    /// Number of the next event.
    pub next_event: u32,
}

/// Why a request was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Refusal {
    /// No request this version knows.
    Unknown,
    /// A part lies outside what settings may have.
    Place,
    /// Settings are not whole, or their checksum does not fit.
    NotWhole,
    /// Settings are whole but cannot be.
    Impossible,
    /// They could not be stored.
    Store,
    /// Self-test has not passed.
    SelfTest,
    /// Something is still wrong; the set of reasons as bits.
    StillWrong(u64),
    /// There is no kept stroke.
    NothingKept,
}

impl From<PermitRefusal> for Refusal {
    fn from(why: PermitRefusal) -> Self {
        match why {
            PermitRefusal::SelfTest => Self::SelfTest,
            PermitRefusal::StillWrong(reasons) => Self::StillWrong(reasons.bits()),
            PermitRefusal::Time => Self::Impossible,
        }
    }
}

/// One judged stroke in short.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StrokeSummary {
    /// Strokes before it since power-up.
    pub number: u32,
    /// 0 pass, 1 note, 2 hold, 3 trip.
    pub verdict: u8,
    /// Reasons as bits, bit n for reason number n.
    pub reasons: u64,
    /// Peak of the total, kN.
    pub peak_kn: f32,
    /// Where, as a fraction of the turn in units of 2⁻³²; none without an angle.
    pub peak_at: Option<u32>,
    /// Greatest reverse load, kN, a magnitude.
    pub reverse_kn: f32,
    /// Work, kJ, where it can be told.
    pub work_kj: Option<f32>,
    /// Strokes a minute, where they can be told.
    pub speed_spm: Option<f32>,
    /// `[column]`: peaks, kN; columns the press has not got are 0.
    pub columns_kn: [f32; 4],
}

impl StrokeSummary {
    /// A report in short.
    #[must_use]
    pub fn of<const N: usize>(report: &StrokeReport<N>) -> Self {
        let mut columns_kn = [0.0; 4];
        for (cell, column) in columns_kn.iter_mut().zip(&report.features.columns) {
            *cell = column.peak.value;
        }
        let peak = &report.features.total.peak;
        Self {
            number: report.number,
            verdict: report.findings.verdict() as u8,
            reasons: report.findings.reasons().bits(),
            peak_kn: peak.value,
            peak_at: match peak.position {
                Position::Angle(angle) => Some(angle.0),
                _ => None,
            },
            reverse_kn: report.features.total.reverse.value,
            work_kj: report.features.work_kj,
            speed_spm: report.speed_spm,
            columns_kn,
        }
    }
}

/// One line of the journal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct EventLine {
    /// Its number.
    pub number: u32,
    /// When, tick.
    pub tick: u32,
    /// In which stroke.
    pub stroke: u32,
    /// What; see `FORMAT.md`.
    pub kind: u8,
    /// What the kind needs to be told with it.
    pub value: u32,
    /// Why: number of the reason.
    pub reason: Option<u8>,
    /// Which column.
    pub column: Option<u8>,
}

impl From<&Event> for EventLine {
    fn from(event: &Event) -> Self {
        let (kind, value) = match event.kind {
            EventKind::PowerUp => (0, 0),
            EventKind::SelfTest(passed) => (1, u32::from(passed)),
            EventKind::Judged(verdict) => (2, verdict as u32),
            EventKind::PermitWithdrawn => (3, 0),
            EventKind::Acknowledged => (4, 0),
            EventKind::AcknowledgeRefused => (5, 0),
            EventKind::BypassBegan(ticks) => (6, ticks),
            EventKind::SettingsChanged => (7, 0),
            EventKind::GaugeHealth => (8, 0),
            EventKind::StrokeGivenUp => (9, 0),
            // A kind this version has no number for still keeps its place in the count.
            _ => (u8::MAX, 0),
        };
        Self {
            number: event.number,
            tick: event.tick.0,
            stroke: event.stroke,
            kind,
            value,
            reason: event.reason.map(|reason| reason as u8),
            column: event.column,
        }
    }
}
