//! What host and controller say to each other.
//!
//! The order of variants and fields is the format: new ones go to the end and raise the version.

use bolster_core::journal::{Event, EventKind};
use bolster_core::monitor::StrokeReport;
use bolster_core::permit::PermitRefusal;
use bolster_core::stroke::Position;
use bolster_core::units::CrankAngle;
use bolster_core::verdict::{FINDINGS, Finding};
use serde::{Deserialize, Serialize};

/// Bytes of settings, kept frames or journal in one message at most.
pub const PART_MAX: usize = 192;
/// Findings in one message at most.
pub const FINDINGS_PART: usize = 6;

/// From host to controller. Each is answered by [`Notice::Done`], [`Notice::Refused`] or what it asks for.
///
/// Those that change something name the start they are meant for ([`Hello::boots`]): bytes that were under way when the
/// controller started anew must not acknowledge what nobody has seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Request<'a> {
    /// Who is there?
    Hello,
    /// A part of new settings, kept aside until they are committed.
    PutSettings {
        /// The start that the host knows.
        start: u32,
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
        /// The start that the host knows.
        start: u32,
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
    /// The kept stroke has been read in this start; let the ring run again.
    ReleaseKept(u32),
    /// Send every so many frames' loads; 0 stops it.
    Live(u16),
    /// A person acknowledges what this start shows.
    Acknowledge(u32),
    /// The time now.
    SetTime {
        /// The start that the host knows.
        start: u32,
        /// Milliseconds since 1970-01-01 UTC.
        unix_ms: u64,
    },
    /// One page of what the journal holds in flash, from this number on.
    JournalFrom(u32),
    /// How the controller is doing.
    Status,
}

impl Request<'_> {
    /// The start for which a request is meant that changes something; none for one that only reads.
    #[must_use]
    pub fn changes(&self) -> Option<u32> {
        match *self {
            Self::PutSettings { start, .. } | Self::CommitSettings { start, .. } => Some(start),
            Self::SetTime { start, .. } | Self::ReleaseKept(start) | Self::Acknowledge(start) => Some(start),
            Self::Hello | Self::Status | Self::GetSettings { .. } | Self::Live(_) => None,
            Self::StrokesFrom(_) | Self::EventsFrom(_) | Self::KeptFrom(_) | Self::JournalFrom(_) => None,
        }
    }
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
    /// One frame, in the form of a feed's record.
    Live {
        /// The record.
        record: &'a [u8],
    },
    /// Findings of the judged stroke that was sent last.
    Findings {
        /// Its number.
        stroke: u32,
        /// Place of the first of these among the stroke's findings.
        from: u8,
        /// Findings; none after the stroke's last.
        list: [Option<FindingLine>; FINDINGS_PART],
    },
    /// A page of the journal in flash.
    Journal {
        /// Ask from here for the next page; what was asked for if there are no more.
        next: u32,
        /// [`JournalLine`]s, one after the other.
        lines: &'a [u8],
    },
    /// How the controller is doing.
    Status(Status),
}

/// Who is here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hello {
    /// Of the controller's program: the first eight bytes of what identifies its build.
    pub build: [u8; 8],
    /// Columns; 0 before it has settings.
    pub columns: u8,
    /// Signature bins.
    pub bins: u16,
    /// Starts so far.
    pub boots: u32,
    /// Why it started the last time.
    pub cause: Cause,
    /// Generation of the settings in effect, 0 for none.
    pub settings: u32,
    /// Number of the next stroke.
    pub next_stroke: u32,
    /// Number of the next event.
    pub next_event: u32,
}

/// Why a controller started.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Cause {
    /// Power came, or someone reset it.
    Power,
    /// The watchdog: frames stopped coming.
    FramesStopped,
    /// The watchdog: frames came, but not one after the other, or the permit's output did not follow.
    FramesUnsound,
    /// The watchdog: one channel gave the same reading for too long.
    ChannelFrozen(u8),
    /// The watchdog: what runs below the sample loop did not come round.
    TaskStuck,
    /// New settings of the press.
    Settings,
}

/// How a controller is doing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Status {
    /// Frames judged since it started.
    pub frames: u32,
    /// Frames whose successor was due before they were done.
    pub missed: u32,
    /// Latest start of a frame after its time, timer ticks.
    pub latest: u32,
    /// Packets that were none.
    pub refused: u32,
    /// Stack used at most since the start, bytes.
    pub stack: u32,
    /// 0 self-test has not passed, 1 granted, 2 latched off.
    pub permit: u8,
    /// Why it is latched off; bit n for reason number n.
    pub reasons: u64,
    /// The source of frames has come to its end (a feed has one, a converter has not).
    pub ended: bool,
}

/// One line of the journal in flash.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct JournalLine {
    /// Its number, one more with each line over all starts.
    pub number: u32,
    /// What.
    pub entry: JournalEntry,
}

/// What the journal in flash holds, as it is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum JournalEntry {
    /// The controller started.
    Started {
        /// How many times so far.
        boots: u32,
        /// Why.
        cause: Cause,
    },
    /// An event of the monitor, with its number since that start.
    Event(EventLine),
    /// The time was told.
    Time {
        /// Tick at which it was.
        tick: u32,
        /// Milliseconds since 1970-01-01 UTC.
        unix_ms: u64,
    },
    /// Settings of this generation were taken.
    Settings(u32),
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
    /// The controller has started anew since the host greeted it, or was never greeted.
    OtherStart,
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

/// Where in the stroke.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Place {
    /// Not known.
    Unknown,
    /// Crank angle, a fraction of the turn in units of 2⁻³².
    Angle(u32),
    /// Ticks since the load rose over the onset.
    SinceOnset(u32),
}

impl From<Position> for Place {
    fn from(position: Position) -> Self {
        match position {
            Position::Angle(angle) => Self::Angle(angle.0),
            Position::SinceOnset(ticks) => Self::SinceOnset(ticks),
            Position::Unknown => Self::Unknown,
        }
    }
}

impl From<Place> for Position {
    fn from(place: Place) -> Self {
        match place {
            Place::Angle(angle) => Self::Angle(CrankAngle(angle)),
            Place::SinceOnset(ticks) => Self::SinceOnset(ticks),
            Place::Unknown => Self::Unknown,
        }
    }
}

/// One judged stroke.
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
    /// Where.
    pub peak_at: Place,
    /// Slide height there, mm above the bottom, where it is known.
    pub peak_height_mm: Option<f32>,
    /// Greatest reverse load, kN, a magnitude.
    pub reverse_kn: f32,
    /// Where.
    pub reverse_at: Place,
    /// Where the total first rose over the onset, if it did.
    pub contact_at: Option<Place>,
    /// Work, kJ, where it can be told.
    pub work_kj: Option<f32>,
    /// Strokes a minute, where they can be told.
    pub speed_spm: Option<f32>,
    /// Load centre in the frame of the peak, mm right and front of the middle, where it means something.
    pub centre_mm: Option<[f32; 2]>,
    /// `[column]`: peak and reverse load, kN; columns the press has not got are 0.
    pub columns_kn: [[f32; 2]; 4],
    /// How many findings are listed.
    pub findings: u8,
}

/// One finding of a stroke.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FindingLine {
    /// Number of the reason.
    pub reason: u8,
    /// What it means: 0 pass, 1 note, 2 hold, 3 trip.
    pub verdict: u8,
    /// Which column.
    pub column: Option<u8>,
    /// Where it began.
    pub from: Place,
    /// Where it ended.
    pub to: Place,
    /// The value that broke the limit.
    pub value: f32,
    /// The limit.
    pub limit: f32,
}

impl From<&Finding> for FindingLine {
    fn from(finding: &Finding) -> Self {
        Self {
            reason: finding.reason as u8,
            verdict: finding.verdict as u8,
            column: finding.column,
            from: finding.from.into(),
            to: finding.to.into(),
            value: finding.value,
            limit: finding.limit,
        }
    }
}

/// A judged stroke with its findings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JudgedStroke {
    /// In figures.
    pub summary: StrokeSummary,
    /// What was found, first things first; none after the last.
    pub findings: [Option<FindingLine>; FINDINGS],
}

impl JudgedStroke {
    /// A report as it is sent.
    #[must_use]
    pub fn of<const N: usize>(report: &StrokeReport<N>) -> Self {
        let mut columns_kn = [[0.0; 2]; 4];
        for (cell, column) in columns_kn.iter_mut().zip(&report.features.columns) {
            *cell = [column.peak.value, column.reverse.value];
        }
        let mut findings = [None; FINDINGS];
        for (cell, finding) in findings.iter_mut().zip(report.findings.list()) {
            *cell = Some(finding.into());
        }
        let total = &report.features.total;
        let summary = StrokeSummary {
            number: report.number,
            verdict: report.findings.verdict() as u8,
            reasons: report.findings.reasons().bits(),
            peak_kn: total.peak.value,
            peak_at: total.peak.position.into(),
            peak_height_mm: total.peak.height_mm,
            reverse_kn: total.reverse.value,
            reverse_at: total.reverse.position.into(),
            contact_at: report.features.contact.map(Place::from),
            work_kj: report.features.work_kj,
            speed_spm: report.speed_spm,
            centre_mm: report.load_centre_mm,
            columns_kn,
            findings: report.findings.list().len() as u8,
        };
        Self { summary, findings }
    }

    /// The part of the findings that one message takes, from a place on; none beyond the last finding.
    #[must_use]
    pub fn part(&self, from: u8) -> Option<[Option<FindingLine>; FINDINGS_PART]> {
        if from >= self.summary.findings {
            return None;
        }
        let mut part = [None; FINDINGS_PART];
        for (cell, finding) in part.iter_mut().zip(self.findings.iter().skip(usize::from(from))) {
            *cell = *finding;
        }
        Some(part)
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
            EventKind::ModeChanged(mode) => (10, mode as u32),
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

/// The first of the lines in a page of the journal, and what follows it; none if it is none.
#[must_use]
pub fn journal_line(lines: &[u8]) -> Option<(JournalLine, &[u8])> {
    postcard::take_from_bytes(lines).ok()
}
