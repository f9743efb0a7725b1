//! A recording fed to a controller, its verdicts collected.

use std::io::{BufWriter, Read, Write};
use std::path::Path;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;

use bolster_core::press::Columns;
use bolster_link::feed::encode_record;

use super::{Client, ClientError, EmulatorError, Heard, settings};
use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::judge::{JudgeError, put_in};
use crate::recording::{Reader, Row, Unit};
use crate::session::{Framer, Outcome, ROWS_AHEAD, SampleRate, Session, SessionError};

/// A recording could not be judged on a controller.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TargetError {
    /// Recording and cards.
    #[error(transparent)]
    Judge(#[from] JudgeError),
    /// The emulator.
    #[error(transparent)]
    Emulator(#[from] EmulatorError),
    /// The controller.
    #[error(transparent)]
    Client(#[from] ClientError),
    /// It lost strokes.
    #[error("the controller lost strokes {0} to {1} of the recording, counted from 0")]
    Lost(u32, u32),
    /// It gave another number of strokes.
    #[error("the controller judged {judged} strokes, the recording holds {held}")]
    Count {
        /// Strokes it gave.
        judged: u64,
        /// Strokes there are.
        held: u64,
    },
    /// Frames could not be handed over.
    #[error("the controller takes no more frames: {0}")]
    Frames(std::io::Error),
}

/// A stroke that has been handed over whole: its number and coil, and the host's own outcome if it was asked for.
#[derive(Debug)]
struct Handed {
    stroke: u64,
    coil: u64,
    host: Option<Outcome>,
}

/// What to judge.
#[derive(Debug, Clone, Copy)]
pub struct Job<'a> {
    /// The recording.
    pub recording: &'a Path,
    /// Its press.
    pub card: &'a PressCard,
    /// The die.
    pub die: Option<&'a DieCard>,
    /// Whether the host judges as well.
    pub compare: bool,
}

/// Feeds a recording to the controller on `line`, its frames through `frames`; gives each outcome as it comes, and the
/// host's own beside it if the job asks for that.
///
/// # Errors
/// [`TargetError`], or whatever `take` returns.
pub fn judge<E: From<TargetError>>(
    job: Job<'_>,
    line: impl Read + Write,
    frames: impl Write + Send,
    take: impl FnMut(&Outcome, Option<&Outcome>) -> Result<(), E>,
) -> Result<SampleRate, E> {
    match job.card.spec.columns {
        Columns::Total => of_columns::<1, E>(job, line, frames, take),
        Columns::LeftRight => of_columns::<2, E>(job, line, frames, take),
        Columns::Corners => of_columns::<4, E>(job, line, frames, take),
    }
}

fn of_columns<const N: usize, E: From<TargetError>>(
    job: Job<'_>,
    line: impl Read + Write,
    frames: impl Write + Send,
    mut take: impl FnMut(&Outcome, Option<&Outcome>) -> Result<(), E>,
) -> Result<SampleRate, E> {
    let rows = Rows::open(job).map_err(TargetError::from)?;
    let (framer, press) = rows.framer::<N>(job).map_err(TargetError::from)?;
    let marked = rows.reader.header().has_coil;
    let bytes = settings::bytes(press, job.die, marked, rows.rate.hz)
        .map_err(|why| TargetError::from(rows.failed(job, why)))?;
    let mut client = Client::connect(line).map_err(TargetError::from)?;
    client.put_settings(&bytes).map_err(TargetError::from)?;
    let rate = rows.rate;
    let columns = job.card.spec.columns;
    thread::scope(|scope| {
        let (sender, handed) = channel();
        let feeder = scope.spawn(move || rows.feed(job, framer, frames, &sender));
        let collected = collect(&mut client, &handed, |stroke, judged| {
            // A controller sends no signatures of strokes that pass: wear is read here, if the host judges as well.
            let wear = stroke.host.as_ref().and_then(|host| host.wear);
            let outcome = Outcome { wear, ..Outcome::new(stroke.stroke, stroke.coil, columns, judged) };
            take(&outcome, stroke.host.as_ref())
        });
        // Before the feeder is waited for: it gives up when nobody takes what it hands over.
        drop(handed);
        let fed = feeder.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        // A recording that breaks off is why strokes are missing, not the other way round.
        fed.map_err(E::from)?;
        collected.map(|()| rate)
    })
}

/// Takes in strokes until the recording is at its end and all of its strokes have come.
fn collect<E: From<TargetError>>(
    client: &mut Client<impl Read + Write>,
    handed: &Receiver<Handed>,
    mut take: impl FnMut(&Handed, &bolster_link::message::JudgedStroke) -> Result<(), E>,
) -> Result<(), E> {
    let mut judged = 0;
    // The next stroke handed over whose verdict is due; the sender's end says that there will be no more.
    while let Ok(stroke) = handed.recv() {
        loop {
            match client.hear().map_err(TargetError::from)? {
                Some(Heard::Stroke(verdict)) => {
                    take(&stroke, &verdict)?;
                    judged += 1;
                    break;
                }
                Some(Heard::StrokesLost(from, to)) => return Err(TargetError::Lost(from, to).into()),
                Some(_) => {}
                None => {
                    // Silence: it may still be busy, or have taken all frames and have no more to say.
                    let status = client.status().map_err(TargetError::from)?;
                    client.greet().map_err(TargetError::from)?;
                    if status.ended && u64::from(client.hello().next_stroke) <= judged {
                        let held = judged + 1 + handed.iter().count() as u64;
                        return Err(TargetError::Count { judged, held }.into());
                    }
                }
            }
        }
    }
    Ok(())
}

/// A recording with its first rows read ahead.
struct Rows {
    reader: Reader,
    ahead: Vec<Row>,
    rate: SampleRate,
}

impl Rows {
    fn open(job: Job<'_>) -> Result<Self, JudgeError> {
        let mut reader = Reader::open(job.recording)?;
        reader.expect_columns(job.card.spec.columns)?;
        let mut row = Row::default();
        let mut ahead = Vec::new();
        while ahead.len() < ROWS_AHEAD && reader.next(&mut row)? {
            ahead.push(row);
        }
        let rate = SampleRate::of(job.card, reader.header(), &ahead);
        Ok(Self { reader, ahead, rate })
    }

    fn failed(&self, job: Job<'_>, why: SessionError) -> JudgeError {
        JudgeError::Session { path: job.recording.to_owned(), why }
    }

    fn framer<const N: usize>(
        &self,
        job: Job<'_>,
    ) -> Result<(Framer<N>, bolster_core::settings::PressSettings<N>), JudgeError> {
        let counts = self.reader.header().unit == Unit::Counts;
        // What a session would refuse is refused here as well.
        self.session(job)?;
        Framer::new(job.card, counts, self.rate).map_err(|why| self.failed(job, why))
    }

    fn session(&self, job: Job<'_>) -> Result<Session, JudgeError> {
        let header = self.reader.header();
        let mut session = Session::new(job.card, header, self.rate).map_err(|why| self.failed(job, why))?;
        put_in(job.die, &mut session, header).map_err(|why| self.failed(job, why))?;
        Ok(session)
    }

    /// Hands over every row as a frame, and each stroke's number once it is whole.
    fn feed<const N: usize>(
        mut self,
        job: Job<'_>,
        mut framer: Framer<N>,
        frames: impl Write,
        handed: &Sender<Handed>,
    ) -> Result<(), TargetError> {
        let mut session = job.compare.then(|| self.session(job)).transpose()?;
        let mut frames = BufWriter::new(frames);
        let ahead = std::mem::take(&mut self.ahead);
        let mut ahead = ahead.iter();
        let mut row = Row::default();
        loop {
            match ahead.next() {
                Some(first) => row = *first,
                None if self.reader.next(&mut row).map_err(JudgeError::from)? => {}
                None => break,
            }
            let whole = framer.under_way();
            let (before, frame) = framer.next(&row);
            let host = session.as_mut().and_then(|session| session.row(&row));
            if let Some((stroke, coil)) = whole.filter(|_| before.mark)
                && handed.send(Handed { stroke, coil, host }).is_err()
            {
                // Whoever collects has given up and says why.
                return Ok(());
            }
            let (bytes, len) = encode_record(before, &frame);
            frames.write_all(bytes.get(..len).unwrap_or(&bytes)).map_err(TargetError::Frames)?;
        }
        let host = session.as_mut().and_then(Session::close);
        if let Some((stroke, coil)) = framer.end() {
            let _ = handed.send(Handed { stroke, coil, host });
        }
        frames.flush().map_err(TargetError::Frames)
    }
}
