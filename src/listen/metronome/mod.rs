//! A metronome that sounds along: found, and taken out of the sound.

mod begin;
mod grid;
mod spectrum;
mod wave;

use super::Bands;
use super::residual::Residual;

/// A metronome in a take.
#[derive(Clone, Debug, PartialEq)]
pub struct Metronome {
    /// Where click number 0 begins, the first that was heard by itself.
    pub zero_s: f64,
    /// Standard uncertainty of where all clicks begin.
    pub zero_sd_s: f64,
    pub period_s: f64,
    pub period_sd_s: f64,
    /// The numbers of those that were heard by themselves, in order.
    pub heard: Vec<usize>,
}

impl Metronome {
    /// That of a take; `None` where none is found.
    pub fn find(bands: &Bands, residual: &Residual) -> Option<Self> {
        let grid = grid::grid(&grid::events(bands))?;
        Some(begin::begun(grid, residual))
    }

    /// Takes its clicks from the samples of the take; false where they do not
    /// sound alike, and nothing is changed.
    pub fn take_out(&self, samples: &mut [f32]) -> bool {
        wave::take_out(samples, self)
    }

    /// Where a click begins, or a part of the time from one to the next ends.
    pub fn click_s(&self, number: f64) -> f64 {
        self.zero_s + number * self.period_s
    }

    /// The number of the last click that was heard by itself.
    pub fn last(&self) -> usize {
        self.heard.last().copied().unwrap_or(0)
    }
}
