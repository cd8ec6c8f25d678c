//! Measuring: exact on strokes laid down by hand, true on made sound.

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
#[path = "measure/sound.rs"]
mod sound;
