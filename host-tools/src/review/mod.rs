//! A die's limits shown against recorded strokes: what each would have stopped, and how close the rest came.
//!
//! [`uses`] says how much of each limit one stroke used; [`Review`] gathers that over recordings, a die card's
//! limits at a time; [`WhatIf`] sets two cards over the same strokes beside one another.

mod gathered;
mod limit;
mod whatif;

pub use gathered::{Closest, LimitReview, Review, StoppedStroke, review};
pub use limit::{LimitUse, uses};
pub use whatif::{Changed, ReasonCounts, WhatIf, what_if};
