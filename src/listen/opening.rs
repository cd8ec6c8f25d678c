//! The residual around a rise, in which its contact is placed.

use super::residual::{BIN, PARTS, POWERS, Residual};
use super::rises::Rise;

/// The sound that is looked at begins and ends this far from a rise: 30 ms
/// before, 62 ms after.
const BACK: usize = 60;
const AHEAD: usize = 124;
/// Bins that are looked at around every rise.
pub const BINS: usize = BACK + AHEAD;
/// The bin of the rise itself.
pub const COARSE: i32 = BACK as i32;
/// Delays that are tried, bins from the rise: -25 to 20 ms.
pub const EARLIEST: i32 = -50;
pub const LATEST: i32 = 40;
pub const DELAYS: usize = (LATEST - EARLIEST + 1) as usize;

/// Where the contact of a rise may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Bin of the rise.
    pub(super) bin: usize,
    /// Delay of the first pick, bins.
    pub(super) pick: f32,
    /// Delays that are this rise's own: none beyond its neighbours.
    pub(super) own: (i32, i32),
}

impl Place {
    /// Of a rise between neighbours that bound it.
    pub fn new(rise: &Rise, previous: Option<usize>, next: Option<usize>) -> Self {
        let delay = |other: usize| other as i64 - rise.bin as i64;
        let from = previous.map_or(EARLIEST, |p| delay(p).max(i64::from(EARLIEST)) as i32);
        let to = next.map_or(LATEST, |n| delay(n).min(i64::from(LATEST)) as i32);
        Self {
            bin: rise.bin,
            pick: rise.pick,
            own: (from.min(0), to.max(0)),
        }
    }
}

/// The residual around a place.
#[derive(Clone, Copy, Debug)]
pub struct Opening<'a> {
    pub(super) place: Place,
    pub(super) codes: [&'a [u8]; PARTS],
}

impl<'a> Opening<'a> {
    pub fn new(residual: &'a Residual, place: Place) -> Self {
        let first = first(place);
        Self {
            place,
            codes: std::array::from_fn(|part| residual.codes(part, first, BINS)),
        }
    }

    /// Sample of the rise.
    pub fn coarse(&self) -> usize {
        self.place.bin * BIN
    }

    /// Power of a bin of a part.
    pub fn power(&self, part: usize, bin: usize) -> f32 {
        POWERS[usize::from(self.codes[part][bin])]
    }

    /// Mean power of some bins of a part.
    pub fn mean(&self, part: usize, bins: std::ops::Range<usize>) -> f32 {
        let count = bins.len() as f32;
        bins.map(|bin| self.power(part, bin)).sum::<f32>() / count
    }
}

/// At most so many openings, spread evenly over those that there are.
pub fn some<'a>(openings: &[Opening<'a>], most: usize) -> Vec<Opening<'a>> {
    let count = openings.len().min(most);
    let place = |i: usize| openings[i * openings.len() / count];
    (0..count).map(place).collect()
}

/// The take's bin at which the opening of a place begins.
fn first(place: Place) -> i64 {
    place.bin as i64 - BACK as i64
}
