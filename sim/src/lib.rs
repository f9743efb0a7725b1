//! A machine that does not exist: press, die, strip and front end, seeded.
