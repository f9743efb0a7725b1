//! Fixtures shared by the claims in `tests/claims`.
