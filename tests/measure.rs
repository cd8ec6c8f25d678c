//! Measuring: exact on strokes laid down by hand, true on made sound.

// A failed unwrap is a failed test.
#![allow(clippy::unwrap_used)]

#[path = "measure/evenness.rs"]
mod evenness;
#[path = "measure/fairness.rs"]
mod fairness;
#[path = "measure/known.rs"]
mod known;
#[path = "measure/laid.rs"]
mod laid;
#[path = "measure/levels.rs"]
mod levels;
#[path = "measure/metronome.rs"]
mod metronome;
#[path = "measure/sound.rs"]
mod sound;
#[path = "measure/unmatched.rs"]
mod unmatched;
