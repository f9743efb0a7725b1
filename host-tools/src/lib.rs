//! The library behind the `bolster` program.
