//! Strokes of a recording, judged as `replay` judges them.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};

use super::judging::Judging;
use super::{Basis, FeedError, JudgedStroke, StrokeFeed};
use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::recording::{Header, Reader, Row, Unit};
use crate::session::{ROWS_AHEAD, SampleRate, Session};

/// A recording as a feed.
pub struct Recorded {
    path: PathBuf,
    card: PressCard,
    reader: Reader,
    header: Header,
    judging: Judging,
    ahead: VecDeque<Row>,
    ended: bool,
}

impl Recorded {
    /// Opens a recording of this press.
    ///
    /// # Errors
    /// [`FeedError`] if it cannot be read or is not of this press.
    pub fn open(path: &Path, card: PressCard) -> Result<Self, FeedError> {
        let mut reader = Reader::open(path)?;
        reader.expect_columns(card.spec.columns)?;
        let mut row = Row::default();
        let mut ahead = Vec::new();
        while ahead.len() < ROWS_AHEAD && reader.next(&mut row)? {
            ahead.push(row);
        }
        let header = *reader.header();
        let rate = SampleRate::of(&card, &header, &ahead);
        let session = Session::new(&card, &header, rate)
            .map_err(|why| FeedError::Session { source_name: path.display().to_string(), why })?;
        let basis = Basis::of(&card);
        Ok(Self {
            path: path.to_owned(),
            card,
            reader,
            header,
            judging: Judging::new(session, basis),
            ahead: ahead.into(),
            ended: false,
        })
    }

    /// What diagnoses rest on, in place of the press card alone; before the die is set.
    #[must_use]
    pub fn diagnosed_by(mut self, basis: Basis) -> Self {
        self.judging.diagnose_by(basis);
        self
    }
}

impl StrokeFeed for Recorded {
    fn press(&self) -> &PressCard {
        &self.card
    }

    fn source(&self) -> String {
        let name = self.path.file_name().unwrap_or(self.path.as_os_str());
        format!("recording {}", name.to_string_lossy())
    }

    fn set_die(&mut self, die: &DieCard) -> Result<(), FeedError> {
        self.judging
            .set_die(die, &self.header)
            .map_err(|why| FeedError::Session { source_name: self.path.display().to_string(), why })
    }

    fn next(&mut self) -> Result<Option<JudgedStroke>, FeedError> {
        let mut row = Row::default();
        while !self.ended {
            match self.ahead.pop_front() {
                Some(first) => row = first,
                None if self.reader.next(&mut row)? => {}
                None => {
                    self.ended = true;
                    return Ok(self.judging.close());
                }
            }
            let calibration = self.card.calibration.as_ref().filter(|_| self.header.unit == Unit::Counts);
            let loads = calibration.map_or(row.loads, |calibration| calibration.loads(&row.loads));
            if let Some(judged) = self.judging.row(&row, Row { loads, ..row }) {
                return Ok(Some(judged));
            }
        }
        Ok(None)
    }
}
