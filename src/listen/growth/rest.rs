//! What was there before a contact, and would have gone on without it.

use super::LOUD;
use crate::listen::opening::{BINS, COARSE, Opening};
use crate::listen::residual::PARTS;

/// Bins at the beginning that tell what was there before.
pub const QUIET: usize = 10;
/// Fewest bins that clicks leave to tell how loud a stroke is.
const FEWEST: usize = 20;
/// What is new is at least this share of what was there before.
const LEAST_FRESH: f32 = 0.02;
/// What was there before besides clicks is at least this share of all.
const LEAST_BEFORE: f32 = 0.1;

/// What was there before a contact, and would have gone on without it.
pub struct Rest<'a> {
    pub before: [f32; PARTS],
    fading: &'a [[f32; BINS]; PARTS],
    /// What the clicks of a metronome add.
    pub clicked: Option<[[f32; BINS]; PARTS]>,
}

impl<'a> Rest<'a> {
    /// What was there before an opening, which fades like this.
    pub fn of(opening: &Opening<'_>, fading: &'a [[f32; BINS]; PARTS]) -> Self {
        let clicked = opening.clicked();
        let of_clicks = |part: usize| {
            let clicked = clicked.as_ref();
            clicked.map_or(0.0, |c| c[part][..QUIET].iter().sum::<f32>() / QUIET as f32)
        };
        let before = |part: usize| {
            let power = opening.mean(part, 0..QUIET);
            (power - of_clicks(part)).max(LEAST_BEFORE * power)
        };
        Self {
            before: std::array::from_fn(before),
            fading,
            clicked,
        }
    }

    /// Power expected in a bin.
    pub fn at(&self, part: usize, bin: usize) -> f32 {
        let clicked = self.clicked.as_ref().map_or(0.0, |c| c[part][bin]);
        self.before[part] * self.fading[part][bin] + clicked
    }

    /// Power that is new, in each part, if the contact of a stroke is at
    /// `delay`.
    pub fn fresh(&self, opening: &Opening<'_>, delay: i32) -> [f32; PARTS] {
        let contact = (COARSE + delay) as usize;
        let from = contact + LOUD.start;
        let to = (contact + LOUD.end).min(BINS);
        std::array::from_fn(|part| {
            let heard = |&bin: &usize| !self.covers(part, bin);
            let count = (from..to).filter(heard).count();
            if count < FEWEST {
                return LEAST_FRESH * self.before[part];
            }
            let mean = |sum: f32| sum / count as f32;
            let all = (from..to).filter(heard);
            let power = mean(all.clone().map(|bin| opening.power(part, bin)).sum());
            let rest = mean(all.map(|bin| self.at(part, bin)).sum());
            (power - rest).max(LEAST_FRESH * rest)
        })
    }

    /// Whether a click is louder than all else that is expected in a bin.
    pub fn covers(&self, part: usize, bin: usize) -> bool {
        let clicked = self.clicked.as_ref();
        clicked.is_some_and(|c| c[part][bin] > self.before[part])
    }
}
