//! The test instrument and the take maker.

pub mod onsets;
pub mod outside;
