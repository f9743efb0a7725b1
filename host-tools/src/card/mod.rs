//! Cards: what a press is and may carry, as people write it down in TOML.

pub mod die;
pub mod press;
