//! Recordings: every format in its place, damaged files, forged headers.

// A failed unwrap is a failed test; what is printed is for reading.
#![allow(clippy::print_stdout, clippy::unwrap_used)]

#[path = "take/common.rs"]
mod common;
#[path = "take/damaged.rs"]
mod damaged;
#[path = "take/formats.rs"]
mod formats;
#[path = "take/long.rs"]
mod long;
#[path = "take/lossless.rs"]
mod lossless;
#[path = "take/mutated.rs"]
mod mutated;
#[path = "take/properties.rs"]
mod properties;
#[path = "take/recorder.rs"]
mod recorder;
#[path = "take/refused.rs"]
mod refused;
