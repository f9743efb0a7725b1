//! The pages, one file a task.

pub mod about;
pub mod change;
pub mod die;
pub mod frame;
pub mod health;
pub mod journal;
pub mod presses;
pub mod report;
pub mod sign;
pub mod stroke;
pub mod strokes;
pub mod wear;

pub(crate) use crate::markup as words;
