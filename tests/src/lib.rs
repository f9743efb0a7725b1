//! Fixtures shared by the claims in `tests/tests`: each file there says which claim about the whole it proves.
//!
//! A fixture that cannot do its work panics: that is a failed test, and the panic says why.
#![allow(clippy::unwrap_used, clippy::expect_used)]

pub mod controller;
pub mod figures;
pub mod outside;
pub mod plain;
pub mod press;
pub mod program;
pub mod python;
pub mod samples;
pub mod served;
pub mod strokes;
