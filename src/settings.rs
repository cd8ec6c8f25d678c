//! Everything a user can set that changes a number.

use serde::{Deserialize, Serialize};

/// The settings of one review. They are written into every review.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Frequency of A4, hertz.
    pub a4_hz: f64,
    /// Which passage counts, 1 = first; `None`: the longest, the later of
    /// equals.
    pub passage: Option<usize>,
    /// Bands of intonation, cents: up to the first a drum is in tune, beyond
    /// the second it is off.
    pub tune_bands_cents: [f64; 2],
    /// Just noticeable unevenness below 240 ms between strokes, ms
    /// (Friberg & Sundberg 1995).
    pub noticeable_ms: f64,
    /// The same from 240 ms upwards, per cent of the interval.
    pub noticeable_pct: f64,
    /// A figure is clean when every interval lies within this many times the
    /// noticeable difference.
    pub clean_factor: f64,
    /// How many times likelier "not played as written" must be than "played"
    /// before a note is called missed or other-drum.
    pub accuse_ratio: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            a4_hz: 440.0,
            passage: None,
            tune_bands_cents: [10.0, 25.0],
            noticeable_ms: 6.0,
            noticeable_pct: 2.5,
            clean_factor: 2.0,
            accuse_ratio: 100.0,
        }
    }
}
