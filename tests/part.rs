//! Written parts: what every reader reads, the sheet, the tuning plan, and
//! what damaged files are answered.

// A failed unwrap is a failed test; what is printed is for reading.
#![allow(clippy::float_cmp, clippy::print_stdout, clippy::unwrap_used)]

#[path = "part/command.rs"]
mod command;
#[path = "part/common.rs"]
mod common;
#[path = "part/malformed.rs"]
mod malformed;
#[path = "part/midi.rs"]
mod midi;
#[path = "part/mutated.rs"]
mod mutated;
#[path = "part/plan.rs"]
mod plan;
#[path = "part/scores.rs"]
mod scores;
#[path = "part/sheets.rs"]
mod sheets;
#[path = "part/signs.rs"]
mod signs;
