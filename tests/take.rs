//! Recordings: every format in its place, damaged files, forged headers.

// A failed unwrap is a failed test.
#![allow(clippy::unwrap_used)]

#[path = "take/common.rs"]
mod common;
#[path = "take/damaged.rs"]
mod damaged;
#[path = "take/formats.rs"]
mod formats;
#[path = "take/lossless.rs"]
mod lossless;
#[path = "take/refused.rs"]
mod refused;
