//! Recordings to samples: every container, damage, forgery, fitness.

// A failed unwrap is a failed test; the rows that are printed are for reading.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::float_cmp)]

#[path = "take/damage.rs"]
mod damage;
#[path = "take/fitness.rs"]
mod fitness;
#[path = "take/formats.rs"]
mod formats;
#[path = "take/mutation.rs"]
mod mutation;
#[path = "take/tools.rs"]
mod tools;
