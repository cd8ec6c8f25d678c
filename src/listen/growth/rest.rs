//! What was there before a contact, and would have gone on without it.

use super::LOUD;
use crate::listen::opening::{BINS, COARSE, Opening};
use crate::listen::residual::PARTS;

/// Bins at the beginning that tell what was there before.
pub const QUIET: usize = 10;
/// What is new is at least this share of what was there before.
const LEAST_FRESH: f32 = 0.02;

/// What was there before a contact, and would have gone on without it.
pub struct Rest<'a> {
    pub before: [f32; PARTS],
    fading: &'a [[f32; BINS]; PARTS],
}

impl<'a> Rest<'a> {
    /// What was there before an opening, which fades like this.
    pub fn of(opening: &Opening<'_>, fading: &'a [[f32; BINS]; PARTS]) -> Self {
        Self {
            before: std::array::from_fn(|part| opening.mean(part, 0..QUIET)),
            fading,
        }
    }

    /// Power expected in a bin.
    pub fn at(&self, part: usize, bin: usize) -> f32 {
        self.before[part] * self.fading[part][bin]
    }

    /// Power that is new, in each part, if the contact of a stroke is at
    /// `delay`.
    pub fn fresh(&self, opening: &Opening<'_>, delay: i32) -> [f32; PARTS] {
        let contact = (COARSE + delay) as usize;
        let from = contact + LOUD.start;
        let to = (contact + LOUD.end).min(BINS);
        let mean = |sum: f32| sum / (to - from) as f32;
        std::array::from_fn(|part| {
            let power = mean((from..to).map(|bin| opening.power(part, bin)).sum());
            let rest = mean((from..to).map(|bin| self.at(part, bin)).sum());
            (power - rest).max(LEAST_FRESH * rest)
        })
    }
}
