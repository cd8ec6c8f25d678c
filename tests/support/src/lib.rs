//! The test instrument and the take maker.
//!
//! [`takes::make`] builds a whole take with everything a test wants to know
//! of it: a generated march ([`parts`]) is played with human faults
//! ([`player`]) on a modal kettledrum ([`modal`]) or on recorded strokes
//! ([`recorded`]), set in a room or heard through a phone ([`conditions`]),
//! and comes with the [`truth`].
//!
//! Everything is drawn from a seed. Seeds below [`takes::FIRST_JUDGING_SEED`]
//! are for tuning, those from there on for judging only.

pub mod bars;
pub mod codec;
pub mod conditions;
pub mod count;
pub mod draw;
pub mod dsp;
pub mod kit;
pub mod lantern;
pub mod modal;
pub mod onsets;
mod other_strokes;
pub mod outside;
pub mod parts;
pub mod player;
pub mod recorded;
pub mod recorders;
pub mod render;
pub mod score;
pub mod sitting;
pub mod takes;
pub mod truth;
