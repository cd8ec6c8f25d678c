//! The matching, tested without sound: made candidates of made performances.

#[path = "align/outcomes.rs"]
mod outcomes;
#[path = "align/simulated.rs"]
mod simulated;
