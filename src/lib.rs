//! kettlemark hears recorded timpani practice takes, matches them with the
//! written part and measures what was played.
//!
//! Data runs one way: [`take`] turns a file into samples, [`listen`] turns
//! samples into strokes, [`align`] says which stroke is which note of the
//! [`part`], [`measure`] turns both into numbers, [`mod@review`] holds the
//! result and [`report`] writes it down. Nothing after `measure` sees samples;
//! nothing before `report` knows how things look.

pub mod align;
pub mod error;
pub mod journal;
pub mod listen;
pub mod measure;
pub mod number;
pub mod part;
pub mod pipeline;
pub mod pitch;
pub mod regression;
pub mod report;
pub mod review;
pub mod settings;
pub mod stats;
pub mod take;
pub mod words;
