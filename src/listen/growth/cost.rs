//! What every delay of a stroke costs, and so how likely it is.

#![allow(
    clippy::inline_always,
    reason = "what is not inlined is not compiled for the machine's vectors"
)]

use super::rest::Rest;
use super::{Chances, FOLLOWED, Growth};
use crate::listen::opening::{BINS, COARSE, DELAYS, EARLIEST, Opening};
use crate::listen::residual::{PARTS, POWERS};
use crate::listen::rises::WEIGHT;
use pulp::{Arch, Simd, WithSimd};

/// Standard deviation of the coarse time, bins.
const COARSE_SD: f64 = 24.0;
/// From this ratio of a power to the expected one its cost grows slowly: it
/// comes from something else.
const STRAY: f32 = 6.0;
/// Delays over which what was there before is taken for equally faded.
const TOGETHER: usize = 13;
/// Bins whose costs are summed side by side.
const LANES: usize = 8;
const _: () = assert!(BINS.is_multiple_of(LANES));
/// How far apart delays are looked at, bins: the last steps only beside those that
/// matter.
const STEPS: [usize; 3] = [4, 2, 1];
/// A delay that costs so much more than another needs no close look, nepers for
/// each bin that the look would be away from it.
const NEGLIGIBLE: f64 = 8.0;
/// Parts in which a codec lets a stroke sound before its contact: below them it
/// is left hardly any room to.
const ECHOING: [bool; PARTS] = [false, true, true, true];
/// There a power above the expected one costs no more than this, and a neper
/// for each of its own, as of a power that nothing is known about.
const ECHO: f32 = 2.5;

/// The chance of each delay of a stroke of this loudness, and what the stroke
/// costs wherever it is, nepers.
pub fn chances(
    growth: &Growth,
    opening: &Opening<'_>,
    rest: &Rest<'_>,
    fresh: &[f32; PARTS],
) -> (Chances, f64) {
    let costs = Arch::new().dispatch(Given {
        growth,
        opening,
        rest,
        fresh,
    });
    of_costs(&costs)
}

/// A stroke and how it is expected to grow.
struct Given<'a> {
    growth: &'a Growth,
    opening: &'a Opening<'a>,
    rest: &'a Rest<'a>,
    fresh: &'a [f32; PARTS],
}

impl WithSimd for Given<'_> {
    type Output = [f64; DELAYS];

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> [f64; DELAYS] {
        self.costs()
    }
}

impl Given<'_> {
    /// What each delay of the stroke costs, nepers; infinitely much where that is
    /// not looked at.
    #[inline(always)]
    fn costs(&self) -> [f64; DELAYS] {
        let opening = self.opening;
        let own: [bool; DELAYS] = std::array::from_fn(|i| {
            (opening.place.own.0..=opening.place.own.1).contains(&(EARLIEST + i as i32))
        });
        let is = Powers::of(opening);
        let mut expected = vec![Expected::default(); DELAYS.div_ceil(TOGETHER)];
        for (group, (own, expected)) in own.chunks(TOGETHER).zip(&mut expected).enumerate() {
            if own.contains(&true) {
                self.expect(group, expected);
            }
        }
        let mut costs = [f64::INFINITY; DELAYS];
        for apart in STEPS {
            let least = costs.iter().copied().fold(f64::INFINITY, f64::min);
            let matters = |i: usize| {
                let near = [i.checked_sub(apart), Some(i + apart)]
                    .into_iter()
                    .flatten();
                let near = near.filter_map(|near| costs.get(near).copied());
                near.fold(f64::INFINITY, f64::min) < least + NEGLIGIBLE * apart as f64
            };
            let chosen: [bool; DELAYS] = std::array::from_fn(|i| {
                let delay = EARLIEST + i as i32;
                let due = own[i] && delay % apart as i32 == 0 && costs[i].is_infinite();
                due && (apart == STEPS[0] || matters(i))
            });
            for i in (0..DELAYS).filter(|&i| chosen[i]) {
                let off = f64::from(EARLIEST + i as i32) / COARSE_SD;
                let from = TOGETHER - 1 - i % TOGETHER;
                costs[i] =
                    0.5 * off * off + expected[i / TOGETHER].cost(&is, from, self.growth.echoes);
            }
        }
        costs
    }

    /// What is expected of a stroke whose delay is one of a group.
    #[inline(always)]
    fn expect(&self, group: usize, expected: &mut Expected) {
        let contact = latest(group);
        let least = POWERS[0];
        for part in 0..PARTS {
            let power = &mut expected.level[part];
            let (early, rest_of) = power.split_at_mut(TOGETHER / 2);
            let (bins, late) = rest_of.split_at_mut(BINS);
            early.fill(self.rest.at(part, 0));
            for (bin, power) in bins.iter_mut().enumerate() {
                *power = self.rest.at(part, bin);
            }
            late.fill(self.rest.at(part, BINS - 1));
            let (fresh, shares) = (self.fresh[part], &self.growth.share[part]);
            let grown = &mut power[contact..];
            for (power, share) in grown.iter_mut().zip(shares) {
                *power += fresh * share;
            }
            for power in grown.iter_mut().skip(FOLLOWED) {
                *power += fresh * shares[FOLLOWED - 1];
            }
            // As of a power that is told: none is below the least.
            for (per, power) in expected.per[part].iter_mut().zip(power) {
                let told = power.max(least);
                *per = 1.0 / told;
                *power = level(told);
            }
        }
        if self.growth.echoes {
            expected.echo[..contact].fill(ECHO);
        }
    }
}

/// The powers of an opening, by part and bin, and their levels, nepers.
struct Powers {
    power: [[f32; BINS]; PARTS],
    level: [[f32; BINS]; PARTS],
}

impl Powers {
    #[inline(always)]
    fn of(opening: &Opening<'_>) -> Self {
        let power = std::array::from_fn(|part| std::array::from_fn(|bin| opening.power(part, bin)));
        Self {
            level: power.map(|part: [f32; BINS]| part.map(level)),
            power,
        }
    }
}

/// What is expected of a stroke, by part and bin. The first bin stands for the
/// earliest one of the latest delay of a group.
#[derive(Clone, Copy)]
struct Expected {
    /// One over the power.
    per: [[f32; SPAN]; PARTS],
    /// Its level, nepers.
    level: [[f32; SPAN]; PARTS],
    /// What a power above the expected one costs at most, where there may be an
    /// echo.
    echo: [f32; SPAN],
}

impl Default for Expected {
    fn default() -> Self {
        Self {
            per: [[0.0; SPAN]; PARTS],
            level: [[0.0; SPAN]; PARTS],
            echo: [f32::INFINITY; SPAN],
        }
    }
}

/// Bins that a group of delays looks at.
const SPAN: usize = BINS + TOGETHER - 1;

/// The bin of the contact at the latest delay of a group.
fn latest(group: usize) -> usize {
    (COARSE + EARLIEST) as usize + (group + 1) * TOGETHER - 1
}

impl Expected {
    /// What powers cost that begin at a bin of what is expected, nepers.
    #[inline(always)]
    fn cost(&self, is: &Powers, from: usize, echoes: bool) -> f64 {
        let mut sum = 0.0;
        for (part, weight) in WEIGHT.iter().enumerate() {
            let cost = if echoes && ECHOING[part] {
                self.of_part::<true>(is, part, from)
            } else {
                self.of_part::<false>(is, part, from)
            };
            sum += weight * f64::from(cost);
        }
        sum
    }

    #[inline(always)]
    fn of_part<const ECHOES: bool>(&self, is: &Powers, part: usize, from: usize) -> f32 {
        let per: &[f32; BINS] = within(&self.per[part], from);
        let level: &[f32; BINS] = within(&self.level[part], from);
        let echo: &[f32; BINS] = within(&self.echo, from);
        let (power, powers_level) = (&is.power[part], &is.level[part]);
        let mut sums = [0.0f32; LANES];
        for first in (0..BINS).step_by(LANES) {
            for lane in 0..LANES {
                let bin = first + lane;
                let above = powers_level[bin] - level[bin];
                let mut cost = usual(power[bin] * per[bin], above);
                if ECHOES {
                    cost = cost.min(echo[bin] + above.max(0.0));
                }
                sums[lane] += cost + level[bin];
            }
        }
        sums.iter().sum()
    }
}

/// The bins of a row from one on.
#[inline(always)]
fn within(row: &[f32; SPAN], from: usize) -> &[f32; BINS] {
    row[from..].first_chunk().expect("a row reaches as far")
}

/// What a power costs that is `ratio` times the expected one, `above` nepers
/// above it.
#[inline(always)]
fn usual(ratio: f32, above: f32) -> f32 {
    let stray = STRAY + 0.5 * STRAY * (above - STRAY.ln());
    if ratio < STRAY { ratio } else { stray }
}

/// The level of a power, to a hundredth of a neper: the logarithm within an
/// octave is near enough to a parabola.
#[inline(always)]
fn level(power: f32) -> f32 {
    const MANTISSA: u32 = f32::MANTISSA_DIGITS - 1;
    const CURVED: f32 = 0.344;
    let bits = power.to_bits();
    let octave = (bits >> MANTISSA) as f32 - 127.0;
    let within = f32::from_bits((bits & ((1 << MANTISSA) - 1)) | 1.0f32.to_bits()) - 1.0;
    (octave + within + CURVED * within * (1.0 - within)) * std::f32::consts::LN_2
}

/// The chance of each delay from what it costs, nepers, and what all of them
/// cost together.
fn of_costs(costs: &[f64; DELAYS]) -> (Chances, f64) {
    let least = costs.iter().copied().fold(f64::INFINITY, f64::min);
    let chances = costs.map(|cost| (least - cost).exp());
    let sum: f64 = chances.iter().sum();
    (chances.map(|c| (c / sum) as f32), least - sum.ln())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_are_told_to_a_hundredth_of_a_neper() {
        let powers = (0..2000u16).map(|i| 1e-12 * 1.014f32.powi(i32::from(i)));
        let off = powers.map(|power| (level(power) - power.ln()).abs());
        let most = off.fold(0.0, f32::max);
        assert!(most < 0.01, "{most}");
    }

    #[test]
    fn a_power_far_above_the_expected_one_costs_ever_less_more() {
        let cost = |ratio: f32| usual(ratio, ratio.ln());
        assert!((cost(0.5) - 0.5).abs() < 1e-6 && (cost(5.0) - 5.0).abs() < 1e-6);
        assert!((cost(STRAY * 1.001) - STRAY).abs() < 0.01);
        assert!(cost(100.0) < 15.0);
    }
}
