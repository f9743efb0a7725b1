//! Every figure with invented data, ordinary and extreme, for the example and the tests.

use bolster::figure::{Figure, Size};

#[path = "cards.rs"]
mod cards;
#[path = "runs.rs"]
mod runs;
#[path = "signatures.rs"]
mod signatures;
#[path = "studies.rs"]
mod studies;

/// Name, figure and size of every picture.
pub(crate) fn all() -> Vec<(String, Box<dyn Figure>, Size)> {
    let mut out = signatures::all();
    out.extend(runs::all());
    out.extend(studies::all());
    out.extend(cards::all());
    out.sort_by(|a, b| a.0.cmp(&b.0));
    out
}

/// Numbers that look random and are the same each time: a multiplicative generator.
pub(crate) struct Scatter(u64);

impl Scatter {
    /// A sequence of its own for each seed.
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed * 7919 + 1)
    }

    /// Evenly spread between −1 and 1.
    pub(crate) fn even(&mut self) -> f64 {
        self.0 = self.0 * 48_271 % 2_147_483_647;
        self.0 as f64 / 1_073_741_823.5 - 1.0
    }

    /// About normal, standard deviation 1: the sum of three even ones.
    pub(crate) fn normal(&mut self) -> f64 {
        self.even() + self.even() + self.even()
    }
}

/// One picture of the list.
pub(crate) fn entry(name: &str, figure: impl Figure + 'static) -> (String, Box<dyn Figure>, Size) {
    (name.to_owned(), Box::new(figure), Size::NORMAL)
}
