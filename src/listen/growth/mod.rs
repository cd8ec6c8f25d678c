//! How the sound grows after a contact, learned from the take itself, and
//! contacts placed by it.
//!
//! In a room or through a phone the first milliseconds of a stroke are weak
//! and the sound grows over many more. A single stroke then tells poorly where
//! it began, but all strokes of a take grow alike: the average over them shows
//! the weak beginning, and each stroke is moved until it fits that average
//! best (expectation maximisation over the unknown delays). What is compared
//! is the power of the prediction residual in four parts of the spectrum, a
//! bin every half millisecond: nearly independent samples, whose likelihood
//! given their expected power is known. What rang before goes on fading at the
//! pace of the take.

mod cost;
mod rest;
mod ways;

pub use ways::{Grown, Ways};

use super::opening::{BINS, COARSE, DELAYS, EARLIEST, Opening};
use super::residual::{BIN, PARTS};
use rest::{QUIET, Rest};

/// Bins in which the growth is followed: 50 ms.
const FOLLOWED: usize = 100;
/// Bins that tell how loud a stroke is, from its contact.
const LOUD: std::ops::Range<usize> = 10..80;
/// Bins whose power is compared with that of as many next ones, to tell how
/// what was there before fades.
const FADING: usize = 15;
/// It fades by no more than this in a bin, nepers of power.
const MOST_FADING: f32 = 0.03;
/// A stroke is fully believed about the growth when it stands out by this
/// ratio of powers.
const PLAIN: f32 = 30.0;
/// How many strokes what is expected beforehand counts for.
const TRUST: f32 = 4.0;
/// Rounds of learning.
const ROUNDS: usize = 4;
/// Bins that a first pick is believed to.
const PICK_SD: f64 = 2.0;

/// The chance of each delay.
type Chances = [f32; DELAYS];

/// Shares of power, by part and bin from a contact.
type Shares = [[f32; FOLLOWED]; PARTS];

/// How the new power of a stroke is spread over the time after its contact:
/// in each part, against its mean over [`LOUD`].
#[derive(Clone, Debug)]
struct Growth {
    share: Shares,
    /// Whether a lossy codec lets something of a stroke sound before it.
    echoes: bool,
    /// Share of the power that is left of what was there before, bin by bin.
    fading: [[f32; BINS]; PARTS],
}

/// Where a contact is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed {
    /// Sample, fractional.
    pub at: f64,
    /// Standard deviation of what the sound leaves open, samples.
    pub sd: f64,
    /// The chance that the stroke begins weakly.
    pub weakly: f64,
}

impl Placed {
    /// From the chance of each delay.
    pub fn of(opening: &Opening<'_>, chances: &[f64; DELAYS], weakly: f64) -> Self {
        let (mut sum, mut mean, mut square) = (0.0, 0.0, 0.0);
        for (i, chance) in chances.iter().enumerate() {
            let delay = f64::from(EARLIEST + i as i32);
            sum += chance;
            mean += chance * delay;
            square += chance * delay * delay;
        }
        mean /= sum;
        Self {
            at: opening.coarse() as f64 + mean * BIN as f64,
            sd: (square / sum - mean * mean).max(0.0).sqrt() * BIN as f64,
            weakly,
        }
    }
}

impl Default for Growth {
    /// A stroke close by, as the test instruments have it: a rise within two
    /// milliseconds, and a short noise above.
    fn default() -> Self {
        let mut growth = Self {
            share: [[0.0; FOLLOWED]; PARTS],
            echoes: false,
            fading: [[1.0; BINS]; PARTS],
        };
        for (part, share) in growth.share.iter_mut().enumerate() {
            let bright = part as f32 / (PARTS - 1) as f32;
            for (bin, share) in share.iter_mut().enumerate() {
                let t = bin as f32;
                let rise = ((t + 0.5) / 3.0).min(1.0);
                let ring = (0.7 + 0.9 * (-t / 30.0).exp()) * (1.0 - bright);
                let noise = (0.5 + 4.0 * (-t / 25.0).exp()) * bright;
                *share = rise * (ring + noise);
            }
        }
        growth.level();
        growth
    }
}

impl Growth {
    /// What is expected of a take whose clear strokes are these: it fades as
    /// the sound before them does.
    fn expected(openings: &[Opening<'_>]) -> Self {
        let mut growth = Self::default();
        for (part, left) in growth.fading.iter_mut().enumerate() {
            let mut slopes: Vec<f32> = openings
                .iter()
                .map(|o| (o.mean(part, 0..FADING) / o.mean(part, FADING..2 * FADING)).ln())
                .collect();
            slopes.sort_by(f32::total_cmp);
            let slope = slopes.get(slopes.len() / 2).copied().unwrap_or(0.0);
            let slope = (slope / FADING as f32).clamp(0.0, MOST_FADING);
            for (bin, left) in left.iter_mut().enumerate() {
                *left = (-slope * (bin as f32 - QUIET as f32 / 2.0)).exp();
            }
        }
        growth
    }

    /// The same, where a codec lets something of a stroke sound before it.
    fn echoing(self) -> Self {
        Self {
            echoes: true,
            ..self
        }
    }

    /// Learns from strokes that grow alike, beginning with this growth and where
    /// each is picked first.
    fn learn(&self, openings: &[Opening<'_>]) -> Self {
        // An echo hides from a first pick where the contact is.
        if self.echoes {
            return self.learn_again(openings);
        }
        self.settle(openings, openings.iter().map(near_pick).collect())
    }

    /// Learns from strokes that grow alike, beginning with where this growth has
    /// each.
    fn learn_again(&self, openings: &[Opening<'_>]) -> Self {
        self.settle(openings, openings.iter().map(|o| self.find(o).0).collect())
    }

    fn settle(&self, openings: &[Opening<'_>], mut chances: Vec<Chances>) -> Self {
        for _ in 0..ROUNDS {
            let growth = self.with(openings, &chances);
            for (opening, chances) in openings.iter().zip(&mut chances) {
                (*chances, _) = growth.chances(opening, most(chances));
            }
        }
        self.with(openings, &chances)
    }

    /// [`Growth::chances`] of a stroke whose loudness is told from where it turns
    /// out to be.
    fn find(&self, opening: &Opening<'_>) -> (Chances, f64) {
        let pick = most(&near_pick(opening));
        let found = self.chances(opening, pick);
        let delay = most(&found.0);
        if delay == pick {
            found
        } else {
            self.chances(opening, delay)
        }
    }

    /// The mean growth of strokes whose delays have these chances (which sum up
    /// to what each is believed), with this growth as a few strokes more.
    fn with(&self, openings: &[Opening<'_>], chances: &[Chances]) -> Self {
        let mut sum = self.share.map(|part| part.map(|s| s * TRUST));
        let mut weight = [[TRUST; FOLLOWED]; PARTS];
        for (opening, chances) in openings.iter().zip(chances) {
            let rest = Rest::of(opening, &self.fading);
            let fresh = rest.fresh(opening, most(chances));
            for (i, &chance) in chances.iter().enumerate() {
                if chance < 0.01 {
                    continue;
                }
                let contact = (COARSE + EARLIEST + i as i32) as usize;
                for part in 0..PARTS {
                    // A stroke that hardly stands out says little.
                    let plain = fresh[part] / (PLAIN * rest.before[part]);
                    let worth = chance * plain.min(1.0);
                    for bin in 0..FOLLOWED.min(BINS - contact) {
                        let at = contact + bin;
                        let power = opening.power(part, at) - rest.at(part, at);
                        sum[part][bin] += worth * (power / fresh[part]).min(8.0);
                        weight[part][bin] += worth;
                    }
                }
            }
        }
        let mut growth = Self {
            share: sum,
            echoes: self.echoes,
            fading: self.fading,
        };
        for (share, weight) in growth.share.iter_mut().zip(&weight) {
            for (share, weight) in share.iter_mut().zip(weight) {
                *share = (*share / weight).max(1e-4);
            }
        }
        growth.level();
        growth
    }

    /// The chance of each delay of a stroke whose loudness is told with the
    /// contact at `delay`, and what the stroke costs if it grows like this,
    /// nepers.
    fn chances(&self, opening: &Opening<'_>, delay: i32) -> (Chances, f64) {
        let rest = Rest::of(opening, &self.fading);
        let fresh = rest.fresh(opening, delay);
        cost::chances(self, opening, &rest, &fresh)
    }

    fn level(&mut self) {
        for part in &mut self.share {
            let mean = part[LOUD].iter().sum::<f32>() / LOUD.len() as f32;
            for share in part {
                *share /= mean;
            }
        }
    }
}

/// Chances around the first pick of a stroke.
fn near_pick(opening: &Opening<'_>) -> Chances {
    let (from, to) = opening.place.own;
    let pick = f64::from(opening.place.pick).clamp(f64::from(from), f64::from(to));
    let density: [f64; DELAYS] = std::array::from_fn(|i| {
        let off = (f64::from(EARLIEST + i as i32) - pick) / PICK_SD;
        (-0.5 * off * off).exp()
    });
    let sum: f64 = density.iter().sum();
    density.map(|d| (d / sum) as f32)
}

/// The likeliest delay.
fn most(chances: &Chances) -> i32 {
    let place = (0..DELAYS)
        .max_by(|&a, &b| chances[a].total_cmp(&chances[b]))
        .unwrap_or(0);
    EARLIEST + place as i32
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]
mod tests {
    use super::super::opening::{LATEST, Place};
    use super::super::residual::{BIN, Residual};
    use super::*;

    /// Numbers between 0 and 1, always the same.
    pub(super) struct Draw(pub u64);

    impl Draw {
        pub fn next(&mut self) -> f32 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005) + 1;
            (self.0 >> 40) as f32 / (1u64 << 24) as f32
        }

        /// Mean power of eight independent samples of mean power 1.
        pub fn power(&mut self) -> f32 {
            (0..4).map(|_| -self.next().max(1e-6).ln()).sum::<f32>() / 4.0
        }
    }

    /// Strokes one after another in one residual: the powers of each in its
    /// own [`BINS`] bins, and where its contact was picked.
    #[derive(Default)]
    pub(super) struct Strokes {
        powers: Vec<[f32; PARTS]>,
        places: Vec<Place>,
    }

    impl Strokes {
        pub fn add(&mut self, pick: i32, powers: impl FnMut(usize) -> [f32; PARTS]) {
            let bin = self.powers.len() + COARSE as usize;
            self.powers.extend((0..BINS).map(powers));
            self.places.push(Place {
                bin,
                pick: pick as f32,
                own: (EARLIEST, LATEST),
            });
        }

        pub fn residual(&self) -> Residual {
            Residual::of_powers(&self.powers)
        }
    }

    pub(super) fn openings<'a>(residual: &'a Residual, strokes: &Strokes) -> Vec<Opening<'a>> {
        let opening = |&place| Opening::new(residual, place);
        strokes.places.iter().map(opening).collect()
    }

    /// Strokes that begin 10 dB below what they grow to 12 ms later, over a
    /// rest 6 dB below that; picked right or where they have grown. With the
    /// true delay of each.
    fn hidden(count: usize, seed: u64) -> (Strokes, Vec<i32>) {
        let mut draw = Draw(seed);
        let mut strokes = Strokes::default();
        let delays = (0..count)
            .map(|_| {
                let delay = (draw.next() * 40.0) as i32 - 20;
                let picked = delay + if draw.next() < 0.5 { 0 } else { 24 };
                strokes.add(picked, |bin| {
                    let fresh = match bin as i32 - COARSE - delay {
                        ..0 => 0.0,
                        0..24 => 0.1,
                        _ => 1.0,
                    };
                    std::array::from_fn(|_| 1e-4 * (0.25 * draw.power() + fresh * draw.power()))
                });
                delay
            })
            .collect();
        (strokes, delays)
    }

    #[test]
    fn hidden_beginnings_are_found_by_what_all_strokes_have_in_common() {
        let (strokes, delays) = hidden(60, 7);
        let residual = strokes.residual();
        let openings = openings(&residual, &strokes);
        let grown = Grown::of_take(&openings, false);
        let growth = grown.likelier();
        let mut errors: Vec<f64> = openings
            .iter()
            .zip(&delays)
            .map(|(opening, &delay)| {
                let true_at = opening.coarse() as f64 + f64::from(delay) * BIN as f64;
                (growth.place(opening).at - true_at) / 16.0
            })
            .collect();
        errors.sort_by(f64::total_cmp);
        let spread = errors[errors.len() * 9 / 10] - errors[errors.len() / 10];
        assert!(spread < 2.0, "{spread} ms");
    }

    #[test]
    fn a_contact_stays_between_its_neighbours() {
        let (mut strokes, _) = hidden(60, 9);
        for place in &mut strokes.places {
            place.own = (-5, 5);
        }
        let residual = strokes.residual();
        for opening in openings(&residual, &strokes) {
            let at = Ways::default().place(&opening).at;
            assert!((at - opening.coarse() as f64).abs() <= 5.0 * BIN as f64 + 1e-6);
        }
    }

    #[test]
    fn what_fades_before_a_stroke_is_not_taken_for_louder() {
        let mut draw = Draw(3);
        let mut strokes = Strokes::default();
        for _ in 0..400 {
            strokes.add(0, |bin| {
                std::array::from_fn(|_| 1e-4 * (-0.02 * bin as f32).exp() * draw.power())
            });
        }
        let residual = strokes.residual();
        let openings = openings(&residual, &strokes);
        let left = Growth::expected(&openings).fading[0][QUIET / 2 + 50];
        assert!((f64::from(left) - (-1.0f64).exp()).abs() < 0.05, "{left}");
    }
}
