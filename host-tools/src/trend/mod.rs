//! Wear and drift over many strokes: how fast, since what change, and how many strokes are left.

pub mod arl;
pub mod cells;
pub mod chart;
pub mod rank;
