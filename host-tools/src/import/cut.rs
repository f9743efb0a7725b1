//! Cuts a stream of readings into strokes.

use std::collections::VecDeque;

use super::plan::{Checked, Cut, ImportPlan};
use crate::recording::Row;

/// One reading in the recording's units, not yet in a stroke.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reading {
    /// The row; its stroke number is the one of the `stroke` column, or 0.
    pub(super) row: Row,
    /// Value of the `index` column.
    pub(super) pulse: f64,
}

/// A fall of the angle by this much is the next turn and no jitter, degrees: a recorded part of a
/// turn narrower than this shows no working stroke.
const TURN_FALL_DEG: f64 = 45.0;

/// Gives each reading its stroke number.
pub(super) struct Cutter {
    cut: Cut,
    level: f64,
    rearm: f64,
    index_level: f64,
    min_gap_s: f64,
    lead: usize,
    channels: usize,
    stroke: u64,
    armed: bool,
    started_s: f64,
    last_pulse: f64,
    highest_deg: f64,
    /// Rows held back, each with whether it came after the load of the stroke before had fallen.
    held: VecDeque<(Row, bool)>,
}

impl Cutter {
    pub(super) fn new(plan: &ImportPlan, checked: &Checked) -> Self {
        Self {
            cut: checked.cut,
            level: checked.level,
            rearm: checked.rearm,
            index_level: plan.index_level,
            min_gap_s: plan.min_gap_s,
            lead: if checked.cut == Cut::Level { plan.lead_rows as usize } else { 0 },
            channels: checked.header.columns.count(),
            stroke: 0,
            armed: false,
            started_s: f64::NEG_INFINITY,
            // A file may start within a pulse: that is no rise.
            last_pulse: f64::INFINITY,
            highest_deg: f64::NEG_INFINITY,
            held: VecDeque::new(),
        }
    }

    /// A new file begins.
    pub(super) fn start_file(&mut self) {
        if self.cut == Cut::File {
            self.stroke += 1;
        }
    }

    /// Takes a reading and gives back the one that leaves the hold, its stroke number set;
    /// 0 is before the first stroke.
    pub(super) fn push(&mut self, reading: Reading) -> Option<Row> {
        let Reading { mut row, pulse } = reading;
        let mut free = false;
        match self.cut {
            Cut::Column => return Some(row),
            Cut::File => {}
            Cut::Index => {
                if self.last_pulse < self.index_level && pulse >= self.index_level {
                    self.stroke += 1;
                }
                self.last_pulse = pulse;
            }
            Cut::Angle => {
                if self.stroke == 0 || row.angle_deg < self.highest_deg - TURN_FALL_DEG {
                    self.stroke += 1;
                    self.highest_deg = row.angle_deg;
                }
                // Jitter at the top shows the end of the turn before: it must not start another.
                if row.angle_deg - self.highest_deg < 180.0 {
                    self.highest_deg = self.highest_deg.max(row.angle_deg);
                }
            }
            Cut::Level => free = self.rise(&row),
        }
        row.stroke = self.stroke;
        if self.lead == 0 {
            return Some(row);
        }
        self.held.push_back((row, free));
        if self.held.len() > self.lead { self.held.pop_front().map(|(row, _)| row) } else { None }
    }

    /// Looks for the start of a stroke by level; says whether the row may still belong to the next one.
    fn rise(&mut self, row: &Row) -> bool {
        let total: f64 = row.loads.iter().take(self.channels).sum();
        self.armed |= total < self.rearm;
        // Without a time there is no gap to keep (the plan's check sees to that).
        let too_soon = row.time_s - self.started_s < self.min_gap_s;
        if self.armed && total >= self.level && !too_soon {
            self.stroke += 1;
            self.armed = false;
            self.started_s = row.time_s;
            for (held, _) in self.held.iter_mut().rev().take_while(|(_, free)| *free) {
                held.stroke = self.stroke;
            }
        }
        self.armed
    }

    /// The next row held back at the end of a file.
    pub(super) fn drain(&mut self) -> Option<Row> {
        self.held.pop_front().map(|(row, _)| row)
    }
}
