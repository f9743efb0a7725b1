//! A whole recording through a session, streaming, whatever its size.

use std::path::Path;

use crate::card::die::{Axis, DieCard};
use crate::card::press::PressCard;
use crate::recording::{Header, Reader, RecordingError, Row, Unit};
use crate::session::{Outcome, ROWS_AHEAD, SampleRate, Session, SessionError};

/// A recording could not be judged.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum JudgeError {
    /// The recording.
    #[error(transparent)]
    Recording(#[from] RecordingError),
    /// Recording and cards do not go together.
    #[error("{}: {why}", path.display())]
    Session {
        /// The recording.
        path: std::path::PathBuf,
        /// Why.
        why: SessionError,
    },
}

/// How far a recording has been read: bytes done, bytes in all, strokes judged.
pub type Shown<'a> = &'a mut dyn FnMut(u64, u64, u64);

/// Reads `recording` and gives each outcome as it comes; `set` prepares the session.
///
/// # Errors
/// [`JudgeError`] for a bad recording, or whatever `take` returns.
pub fn judge<E: From<JudgeError>>(
    recording: &Path,
    card: &PressCard,
    set: impl FnOnce(&mut Session, &Header) -> Result<(), SessionError>,
    shown: Shown<'_>,
    mut take: impl FnMut(&Outcome, &Session) -> Result<(), E>,
) -> Result<SampleRate, E> {
    let begin = |header: &Header, rate| {
        let mut session = Session::new(card, header, rate)?;
        set(&mut session, header)?;
        Ok(session)
    };
    stream(recording, card, begin, shown, |session, row| {
        let Some(outcome) = fed(session, row) else { return Ok(false) };
        take(&outcome, session).map(|()| true)
    })
}

/// One pass over `recording` with two sessions; `take` gets the two outcomes of each stroke, each with its session.
///
/// # Errors
/// As [`judge`].
pub fn judge_pair<E: From<JudgeError>>(
    recording: &Path,
    card: &PressCard,
    dies: [Option<&DieCard>; 2],
    shown: Shown<'_>,
    mut take: impl FnMut([(&Outcome, &Session); 2]) -> Result<(), E>,
) -> Result<SampleRate, E> {
    let begin = |header: &Header, rate| {
        let one = |die| {
            let mut session = Session::new(card, header, rate)?;
            put_in(die, &mut session, header)?;
            Ok::<_, SessionError>((session, None))
        };
        let [first, second] = dies;
        Ok([one(first)?, one(second)?])
    };
    stream(recording, card, begin, shown, |pair: &mut [(Session, Option<Outcome>); 2], row| {
        for (session, outcome) in pair.iter_mut() {
            *outcome = fed(session, row).or(outcome.take());
        }
        // The two may need a different number of frames for the same stroke.
        let [(first, one), (second, other)] = pair;
        let (Some(a), Some(b)) = (one.as_ref(), other.as_ref()) else { return Ok(false) };
        take([(a, first), (b, second)])?;
        (*one, *other) = (None, None);
        Ok(true)
    })
}

/// The outcome that a row, or with none the recording's end, shows to be complete.
fn fed(session: &mut Session, row: Option<&Row>) -> Option<Outcome> {
    match row {
        Some(row) => session.row(row),
        None => session.close(),
    }
}

/// Reads `recording` and steps what `begin` made from its header through its rows and, with none, its end; a step
/// says whether it completed a stroke.
pub(crate) fn stream<S, E: From<JudgeError>>(
    recording: &Path,
    card: &PressCard,
    begin: impl FnOnce(&Header, SampleRate) -> Result<S, SessionError>,
    shown: Shown<'_>,
    mut step: impl FnMut(&mut S, Option<&Row>) -> Result<bool, E>,
) -> Result<SampleRate, E> {
    let failed = |why| JudgeError::Session { path: recording.to_owned(), why };
    let mut reader = Reader::open(recording).map_err(JudgeError::from)?;
    reader.expect_columns(card.spec.columns).map_err(JudgeError::from)?;
    let mut row = Row::default();
    let mut ahead = Vec::new();
    while ahead.len() < ROWS_AHEAD && reader.next(&mut row).map_err(JudgeError::from)? {
        ahead.push(row);
    }
    let rate = SampleRate::of(card, reader.header(), &ahead);
    let mut state = begin(reader.header(), rate).map_err(failed)?;
    let mut strokes = 0;
    for row in &ahead {
        strokes += u64::from(step(&mut state, Some(row))?);
    }
    drop(ahead);
    while reader.next(&mut row).map_err(JudgeError::from)? {
        if step(&mut state, Some(&row))? {
            strokes += 1;
            if let Some((done, total)) = reader.progress() {
                shown(done, total, strokes);
            }
        }
    }
    step(&mut state, None)?;
    Ok(rate)
}

/// The rows of one stroke, loads in kN.
///
/// # Errors
/// [`RecordingError`] for a bad recording.
pub fn rows_of(recording: &Path, card: &PressCard, stroke: u64) -> Result<Vec<Row>, RecordingError> {
    let mut reader = Reader::open(recording)?;
    let calibration = card.calibration.as_ref().filter(|_| reader.header().unit == Unit::Counts);
    let mut row = Row::default();
    let mut rows = Vec::new();
    while reader.next(&mut row)? {
        if row.stroke == stroke {
            let loads = calibration.map_or(row.loads, |calibration| calibration.loads(&row.loads));
            rows.push(Row { loads, ..row });
        } else if row.stroke > stroke {
            break;
        }
    }
    Ok(rows)
}

/// Puts a die, if there is one, into a session for a recording with this header.
///
/// # Errors
/// [`SessionError`] if the card does not fit the recording.
pub fn put_in(die: Option<&DieCard>, session: &mut Session, header: &Header) -> Result<(), SessionError> {
    match die {
        Some(die)
            if die.shape.as_ref().is_some_and(|shape| shape.axis == Axis::CrankDegrees)
                && !header.has_angle =>
        {
            Err(SessionError::Settings(
                "the die was learnt by crank angle and the recording has none".to_owned(),
            ))
        }
        Some(die) => {
            die.limits.fits(header.has_angle, header.sensors).map_err(SessionError::Settings)?;
            session.set_die(die, header.has_coil)
        }
        None => Ok(()),
    }
}
