//! Our figures against other people's: programs in Python and published tables.
//! The source stands beside each check.

// A failed unwrap is a failed test.
#![allow(clippy::unwrap_used)]

#[path = "reference/onsets.rs"]
mod onsets;

#[path = "reference/modes.rs"]
mod modes;

#[path = "reference/numbers.rs"]
mod numbers;

#[path = "reference/listeners.rs"]
mod listeners;
