//! Rows into a session, whole strokes with their readings out.

use crate::card::die::DieCard;
use crate::cmd::diagnosed;
use crate::diagnose::Diagnoser;
use crate::judge::put_in;
use crate::recording::{Header, Row};
use crate::session::{Session, SessionError};

use super::{Basis, JudgedStroke};

/// Readings of one stroke that are held; more are judged but not kept, so that memory is bounded.
const MOST_ROWS: usize = 200_000;

/// A session and the readings of the stroke it is in.
pub(super) struct Judging {
    session: Session,
    rows: Vec<Row>,
    basis: Option<Basis>,
    diagnoser: Option<Diagnoser>,
}

impl Judging {
    pub(super) fn new(session: Session, basis: Option<Basis>) -> Self {
        Self { session, rows: Vec::new(), basis, diagnoser: None }
    }

    /// What diagnoses rest on from the next die on.
    pub(super) fn diagnose_by(&mut self, basis: Basis) {
        self.basis = Some(basis);
    }

    /// Judges and diagnoses by this die from the next stroke on.
    pub(super) fn set_die(&mut self, die: &DieCard, header: &Header) -> Result<(), SessionError> {
        put_in(Some(die), &mut self.session, header)?;
        let found = self.basis.as_ref().map(|basis| basis.diagnoser(die)).transpose();
        self.diagnoser = found.map_err(|why| SessionError::Settings(why.to_string()))?.flatten();
        Ok(())
    }

    /// One row, loads in kN or counts as the session wants them; `shown` is the row with loads in kN.
    pub(super) fn row(&mut self, row: &Row, shown: Row) -> Option<JudgedStroke> {
        let begins = self.rows.first().is_some_and(|first| first.stroke != row.stroke);
        let outcome = self.session.row(row);
        let judged = outcome.map(|outcome| self.take(outcome));
        if begins && judged.is_none() {
            // A stroke without an outcome: its readings belong to nothing.
            self.rows.clear();
        }
        if self.rows.len() < MOST_ROWS {
            self.rows.push(shown);
        }
        judged
    }

    pub(super) fn close(&mut self) -> Option<JudgedStroke> {
        let outcome = self.session.close();
        outcome.map(|outcome| self.take(outcome))
    }

    fn take(&mut self, outcome: crate::session::Outcome) -> JudgedStroke {
        let mut rows = std::mem::take(&mut self.rows);
        rows.retain(|row| row.stroke == outcome.stroke);
        let session = &self.session;
        let diagnosis = self.diagnoser.as_mut().and_then(|by| diagnosed(by, &outcome, session));
        JudgedStroke { rows, band: session.baseline(), diagnosis, outcome }
    }
}
