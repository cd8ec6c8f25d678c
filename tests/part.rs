//! Written parts: what every reader reads, the sheet, the tuning plan, and
//! what damaged files are answered.

// A failed unwrap is a failed test; what is printed is for reading.
#![allow(clippy::float_cmp, clippy::print_stdout, clippy::unwrap_used)]

#[path = "part/common.rs"]
mod common;
#[path = "part/scores.rs"]
mod scores;
#[path = "part/signs.rs"]
mod signs;
