//! Where the clicks of a metronome begin.

use super::Metronome;
use crate::listen::residual::{BIN_S, PARTS, POWERS, Residual};
use crate::stats;

/// Bins of a click, from so many before the place of the grid: 40 ms.
const LASTS: usize = 80;
const EARLY: usize = 10;
/// Bins before these, in which the power without a click is told.
const BEFORE: usize = 20;
/// A click begins in the first bin with this share of the power of its loudest,
/// told to half a bin.
const BEGUN: f64 = 0.1;
const BEGUN_SD: f64 = 0.5;

/// A metronome of which the clicks are known to begin some milliseconds before
/// the places of its grid.
pub fn begun(grid: Metronome, residual: &Residual) -> Metronome {
    let begins = (begins(&added(&grid, residual)) as f64 + 0.5 - EARLY as f64) * BIN_S;
    Metronome {
        zero_s: grid.zero_s + begins,
        zero_sd_s: grid.zero_sd_s.hypot(BEGUN_SD * BIN_S),
        ..grid
    }
}

/// What a click adds to the power of the residual in every bin: the median over
/// those that are heard by themselves.
fn added(grid: &Metronome, residual: &Residual) -> [f64; LASTS] {
    let power = |code: &u8| f64::from(POWERS[usize::from(*code)]);
    let mut sum = [0.0; LASTS];
    for part in 0..PARTS {
        let of_click = |&number: &usize| -> Option<Vec<f64>> {
            let click = (grid.click_s(number as f64) / BIN_S).round() as i64;
            let first = click - (EARLY + BEFORE) as i64;
            let codes = residual.codes(part, first, BEFORE + LASTS);
            let (before, click) = codes.split_at_checked(BEFORE)?;
            let rest = before.iter().map(power).sum::<f64>() / BEFORE as f64;
            Some(click.iter().map(|code| power(code) - rest).collect())
        };
        let clicks: Vec<Vec<f64>> = grid.heard.iter().filter_map(of_click).collect();
        for (bin, sum) in sum.iter_mut().enumerate() {
            let here: Vec<f64> = clicks.iter().map(|click| click[bin]).collect();
            *sum += stats::median(&here).unwrap_or(0.0).max(0.0);
        }
    }
    sum
}

/// The bin in which a click begins.
fn begins(added: &[f64; LASTS]) -> usize {
    let loudest = (0..LASTS)
        .max_by(|&a, &b| added[a].total_cmp(&added[b]))
        .unwrap_or(0);
    (0..loudest)
        .find(|&bin| added[bin] >= BEGUN * added[loudest])
        .unwrap_or(loudest)
}
