//! Rows into a session, whole strokes with their readings out.

use crate::recording::Row;
use crate::session::Session;

use super::JudgedStroke;

/// Readings of one stroke that are held; more are judged but not kept, so that memory is bounded.
const MOST_ROWS: usize = 200_000;

/// A session and the readings of the stroke it is in.
pub(super) struct Judging {
    pub(super) session: Session,
    rows: Vec<Row>,
}

impl Judging {
    pub(super) fn new(session: Session) -> Self {
        Self { session, rows: Vec::new() }
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
        JudgedStroke { rows, band: self.session.baseline(), outcome }
    }
}
