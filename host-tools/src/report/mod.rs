//! Reports that are handed over: a shift, a die, a stop, a calibration, each one HTML file that needs nothing beside it.
//!
//! A report is made for paper (A4 or Letter) and reads on a screen: pictures are inside it as SVG, figures stand in
//! tables, no script runs, and it says what it rests on (files with their hashes, cards, versions, times) and what a
//! load monitor is not. There is no PDF writer of our own: the libraries at hand draw PDF pages but lay no text and
//! tables out, so a browser's print-to-PDF makes it, of which the checks look at every page.

mod calibration;
mod die;
pub mod gather;
mod page;
mod provenance;
mod shift;
mod stop;
#[cfg(feature = "console")]
pub mod stored;
mod strokes;

pub use calibration::{Calibration, Evidence};
pub use die::{Die, Version};
pub use page::STYLE;
pub use provenance::Provenance;
pub use shift::{Happening, Shift};
pub use stop::{BESIDE, Stop};
pub use strokes::Judged;
