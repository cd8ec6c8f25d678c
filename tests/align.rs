//! The matching, tested without sound: made candidates of made performances.

// The tallies are printed for whoever tunes the matching.
#![allow(clippy::print_stdout)]

#[path = "align/outcomes.rs"]
mod outcomes;
#[path = "align/pairs.rs"]
mod pairs;
#[path = "align/passages.rs"]
mod passages;
#[path = "align/piece.rs"]
mod piece;
#[path = "align/properties.rs"]
mod properties;
#[path = "align/short.rs"]
mod short;
#[path = "align/simulated.rs"]
mod simulated;
#[path = "align/sittings.rs"]
mod sittings;
#[path = "align/tempo.rs"]
mod tempo;
