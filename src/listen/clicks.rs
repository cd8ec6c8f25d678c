//! What the clicks of a metronome add to the residual.
//!
//! A click that falls together with a soft stroke covers its beginning, and
//! would be taken for it. But all clicks of a metronome sound alike and stand
//! on a grid: what one adds is learned from those that are heard by themselves,
//! and is then expected of all.

use super::Bands;
use super::metronome::{self, Metronome};
use super::residual::{BIN_S, PARTS, POWERS, Residual};
use crate::stats;

/// Bins of a click, from so many before the place of the grid: 40 ms.
const LASTS: usize = 80;
const EARLY: usize = 10;
/// Bins before these, in which the power without a click is told.
const BEFORE: usize = 20;
/// A click begins in the first bin with this share of the power of its loudest,
/// told to half a bin.
const BEGUN: f32 = 0.1;
const BEGUN_SD: f64 = 0.5;
/// A click begins anywhere in its bin, so its power may lie one bin beside and,
/// of two that share it, in one of them.
const MORE: f32 = 2.0;

/// What a click adds, by part and bin: power.
type Added = [[f32; LASTS]; PARTS];

/// The clicks of a take.
#[derive(Clone, Debug, PartialEq)]
pub struct Clicks {
    pub metronome: Metronome,
    /// The first bin of each, in order.
    starts: Vec<i64>,
    /// The most that each may add.
    added: Added,
}

impl Clicks {
    /// The clicks of the metronome of a take; `None` where none was found.
    pub fn find(bands: &Bands, residual: &Residual) -> Option<Self> {
        let grid = metronome::grid(&metronome::events(bands))?;
        Some(Self::of(grid, residual))
    }

    /// Those of a metronome whose grid lies a few milliseconds behind where
    /// they begin.
    pub fn of(grid: Metronome, residual: &Residual) -> Self {
        let start = |number: usize| (grid.click_s(number) / BIN_S).round() as i64 - EARLY as i64;
        let starts: Vec<i64> = (0..=grid.last()).map(start).collect();
        let alone: Vec<i64> = grid.heard.iter().map(|&number| starts[number]).collect();
        let added = learn(residual, &alone);
        let begins = (begins(&added) as f64 + 0.5 - EARLY as f64) * BIN_S;
        Self {
            metronome: Metronome {
                zero_s: grid.zero_s + begins,
                zero_sd_s: grid.zero_sd_s.hypot(BEGUN_SD * BIN_S),
                ..grid
            },
            starts,
            added: at_most(&added),
        }
    }

    /// What clicks add in `N` bins from the take's bin `first` on; `None` where
    /// none sounds.
    pub fn within<const N: usize>(&self, first: i64) -> Option<[[f32; N]; PARTS]> {
        let next = self
            .starts
            .partition_point(|&start| start + LASTS as i64 <= first);
        let mut sounding = self.starts[next..]
            .iter()
            .map(|start| start - first)
            .take_while(|&start| start < N as i64)
            .peekable();
        sounding.peek()?;
        let mut powers = [[0.0; N]; PARTS];
        for start in sounding {
            for (powers, added) in powers.iter_mut().zip(&self.added) {
                for (bin, added) in (start..).zip(added) {
                    if let Some(power) = usize::try_from(bin).ok().and_then(|b| powers.get_mut(b)) {
                        *power += added;
                    }
                }
            }
        }
        Some(powers)
    }
}

/// What a click adds: the median over those that begin in these bins.
fn learn(residual: &Residual, alone: &[i64]) -> Added {
    let power = |code: &u8| f64::from(POWERS[usize::from(*code)]);
    let mut added: Added = std::array::from_fn(|part| {
        let clicks: Vec<Vec<f64>> = alone
            .iter()
            .filter_map(|&first| {
                let codes = residual.codes(part, first - BEFORE as i64, BEFORE + LASTS);
                let (before, click) = codes.split_at_checked(BEFORE)?;
                let rest = before.iter().map(power).sum::<f64>() / BEFORE as f64;
                Some(click.iter().map(|code| power(code) - rest).collect())
            })
            .collect();
        std::array::from_fn(|bin| {
            let here: Vec<f64> = clicks.iter().map(|click| click[bin]).collect();
            stats::median(&here).unwrap_or(0.0).max(0.0) as f32
        })
    });
    // It dies away; what is louder later comes from strokes beside it.
    let loudest = loudest(&added);
    for part in &mut added {
        for bin in loudest + 1..LASTS {
            part[bin] = part[bin].min(part[bin - 1]);
        }
    }
    added
}

fn of_all(added: &Added, bin: usize) -> f32 {
    added.iter().map(|part| part[bin]).sum()
}

fn loudest(added: &Added) -> usize {
    (0..LASTS)
        .max_by(|&a, &b| of_all(added, a).total_cmp(&of_all(added, b)))
        .unwrap_or(0)
}

/// The bin in which a click begins.
fn begins(added: &Added) -> usize {
    let loudest = loudest(added);
    let least = BEGUN * of_all(added, loudest);
    (0..loudest)
        .find(|&bin| of_all(added, bin) >= least)
        .unwrap_or(loudest)
}

/// The most that a click may add in each bin.
fn at_most(added: &Added) -> Added {
    added.map(|part| {
        std::array::from_fn(|bin| {
            let beside = &part[bin.saturating_sub(1)..(bin + 2).min(LASTS)];
            MORE * beside.iter().copied().fold(0.0, f32::max)
        })
    })
}
