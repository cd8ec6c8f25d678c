//! Rises: places from which on the residual is louder than before. Every
//! stroke is one, and much else.

use super::is_peak;
use super::opening::{EARLIEST, LATEST};
use super::residual::{PARTS, POWERS, Residual};

/// Half the degrees of freedom of a bin in each part: fewer than its width
/// would have, since strokes differ.
pub const WEIGHT: [f64; PARTS] = [0.25, 0.35, 0.5, 0.75];
/// Bins compared, after and before a place: 30 and 20 ms.
const MIDDLE: (usize, usize) = (60, 40);
/// The same for a quick look, and for a long one.
const QUICK: (usize, usize) = (16, 16);
const LONG: (usize, usize) = (160, 60);
/// Two rises are at least so many bins apart: 20 ms.
const APART: usize = 40;
/// Bins between the places looked at.
const STEP: usize = 2;
/// A rise that gains less is not even looked at, nepers.
const FAINT: f32 = 4.0;
/// A rise that gains more, nepers, also explains what else rises in these bins
/// after it and before it.
const PLAIN: f32 = 20.0;
const BLURRED: (usize, usize) = (40, 90);
/// Bins around a rise in which its contact is picked.
const AROUND: std::ops::Range<i64> = -40..40;
/// Fewest bins on each side of a pick.
const EDGE: usize = 4;

/// A place where the residual rises.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rise {
    /// Bin from which on it is louder.
    pub bin: usize,
    /// How much better two powers describe the sound around it than one, in
    /// each part, nepers.
    pub gains: [f32; PARTS],
    /// The same in all parts, for a quick and for a long look.
    pub quick: f32,
    pub long: f32,
    /// Where the sound around it is best split into two, bins from `bin`, and
    /// the standard deviation that is left open.
    pub pick: f32,
    pub loose: f32,
}

impl Rise {
    /// Gain of all parts, nepers.
    pub fn gain(&self) -> f32 {
        self.gains.iter().sum()
    }
}

/// The rises of a take, in order. `further` are bins, in order, at which
/// something else rises: where noise covers the residual, what rings may show
/// all the same.
pub fn find(residual: &Residual, further: &[usize]) -> Vec<Rise> {
    let scale = Scale::of(residual);
    let gains = scale.every(MIDDLE);
    let own = (0..gains.len())
        .filter(|&i| gains[i] > FAINT && is_peak(&gains, i, APART / STEP))
        .map(|i| i * STEP);
    let mut bins: Vec<usize> = own.collect();
    let known = bins.clone();
    bins.extend(further.iter().filter(|&&bin| {
        let from = known.partition_point(|&k| k + BLURRED.0 <= bin);
        let same = |k: usize| k.abs_diff(bin) < APART || gains[k / STEP] > PLAIN;
        !known[from..]
            .iter()
            .take_while(|&&k| k < bin + BLURRED.1)
            .any(|&k| same(k))
    }));
    bins.sort_unstable();
    bins.into_iter().map(|bin| scale.rise(bin)).collect()
}

/// A residual with its quiet powers.
pub struct Scale<'a> {
    residual: &'a Residual,
    floors: [f32; PARTS],
}

impl<'a> Scale<'a> {
    pub fn of(residual: &'a Residual) -> Self {
        Self {
            residual,
            floors: residual.quiet().map(|quiet| 4.0 * quiet + 1e-12),
        }
    }

    /// The gain at every [`STEP`]th bin of the take.
    fn every(&self, (after, before): (usize, usize)) -> Vec<f32> {
        let count = self.residual.bins();
        let mut gains = vec![0.0; count.div_ceil(STEP)];
        for part in 0..PARTS {
            let codes = self
                .residual
                .codes(part, -(before as i64), count + before + after);
            let power = |i: usize| f64::from(POWERS[usize::from(codes[i])]);
            let mut quiet: f64 = (0..before).map(power).sum();
            let mut loud: f64 = (before..before + after).map(power).sum();
            for bin in 0..count {
                if bin % STEP == 0 {
                    gains[bin / STEP] += self.gain(part, (loud, after), (quiet, before));
                }
                let now = power(bin + before);
                quiet += now - power(bin);
                loud += power(bin + before + after) - now;
            }
        }
        gains
    }

    /// Gain of two powers over one, from sums of so many bins.
    fn gain(&self, part: usize, loud: (f64, usize), quiet: (f64, usize)) -> f32 {
        let floor = self.floors[part];
        let mean = |(sum, count): (f64, usize)| (sum.max(0.0) / count as f64) as f32 + floor;
        let (a, b) = (mean(loud), mean(quiet));
        if a <= b {
            return 0.0;
        }
        let (n, m) = (loud.1 as f32, quiet.1 as f32);
        let all = (a * n + b * m) / (n + m);
        WEIGHT[part] as f32 * ((n + m) * all.ln() - n * a.ln() - m * b.ln())
    }

    /// Gain of all parts at one bin, in a quick look and in a usual one.
    pub fn looks(&self, bin: usize) -> [f32; 2] {
        [QUICK, MIDDLE].map(|sides| self.of_all(bin, sides))
    }

    fn of_all(&self, bin: usize, sides: (usize, usize)) -> f32 {
        self.gains(bin, sides).iter().sum()
    }

    /// Gain in each part at one bin.
    fn gains(&self, bin: usize, (after, before): (usize, usize)) -> [f32; PARTS] {
        std::array::from_fn(|part| {
            let (loud, quiet) = self.sums(part, bin, (after, before));
            self.gain(part, (loud, after), (quiet, before))
        })
    }

    /// Sums of the powers after a bin and before it.
    fn sums(&self, part: usize, bin: usize, (after, before): (usize, usize)) -> (f64, f64) {
        let first = bin as i64 - before as i64;
        let codes = self.residual.codes(part, first, before + after);
        let power = |&code: &u8| f64::from(POWERS[usize::from(code)]);
        let (quiet, loud) = codes.split_at(before.min(codes.len()));
        (loud.iter().map(power).sum(), quiet.iter().map(power).sum())
    }

    /// Mean power that is added after a bin, in each part.
    pub fn fresh(&self, bin: usize) -> [f32; PARTS] {
        let (after, before) = MIDDLE;
        std::array::from_fn(|part| {
            let (loud, quiet) = self.sums(part, bin, MIDDLE);
            (loud / after as f64 - quiet / before as f64).max(0.0) as f32
        })
    }

    /// How well the sound around a bin agrees with so much added there in each
    /// part for 30 ms, against nothing added: log likelihood ratio, nepers.
    /// What sounds besides is fitted to either.
    pub fn agrees(&self, bin: usize, fresh: &[f32; PARTS], (after, before): (usize, usize)) -> f64 {
        let (n, m) = (after as f64, before as f64);
        let lasts = (MIDDLE.0 as f64 / n).min(1.0);
        let of_part = |(part, &fresh): (usize, &f32)| {
            let (loud, quiet) = self.sums(part, bin, (after, before));
            let floor = f64::from(self.floors[part]);
            let (a, b) = (loud / n + floor, quiet / m + floor);
            let added = f64::from(fresh) * lasts;
            let likelihood = |ring: f64| {
                let both = ring + added;
                -n * (both.ln() + a / both) - m * (ring.ln() + b / ring)
            };
            let all = (n * a + m * b) / (n + m);
            let none = -(n + m) * (all.ln() + 1.0);
            let slope = |ring: f64| {
                let both = ring + added;
                n * (a - both) * ring * ring + m * (b - ring) * both * both
            };
            let ring = zero(0.5 * floor, 2.0 * all, slope);
            WEIGHT[part] * (likelihood(ring) - none)
        };
        fresh.iter().enumerate().map(of_part).sum()
    }

    fn rise(&self, bin: usize) -> Rise {
        let (pick, loose) = self.pick(bin);
        Rise {
            bin,
            gains: self.gains(bin, MIDDLE),
            quick: self.of_all(bin, QUICK),
            long: self.of_all(bin, LONG),
            pick,
            loose,
        }
    }

    /// The best split of the sound around a bin into a quiet and a loud part,
    /// as a mean over all splits, and its standard deviation; bins.
    fn pick(&self, bin: usize) -> (f32, f32) {
        const COUNT: usize = (AROUND.end - AROUND.start) as usize;
        let mut costs = [0.0f64; COUNT];
        for part in 0..PARTS {
            let first = bin as i64 + AROUND.start;
            let codes = self.residual.codes(part, first, COUNT);
            let powers = codes.iter().map(|&c| f64::from(POWERS[usize::from(c)]));
            let total: f64 = powers.clone().sum();
            let floor = f64::from(self.floors[part]) * 0.05;
            let mut quiet = 0.0;
            for (k, power) in powers.enumerate() {
                if (EDGE..COUNT - EDGE).contains(&k) {
                    let rest = (COUNT - k) as f64;
                    let (a, b) = (
                        (total - quiet).max(0.0) / rest + floor,
                        quiet / k as f64 + floor,
                    );
                    costs[k] += WEIGHT[part] * (k as f64 * b.ln() + rest * a.ln());
                }
                quiet += power;
            }
        }
        let inner = &costs[EDGE..COUNT - EDGE];
        let least = inner.iter().copied().fold(f64::INFINITY, f64::min);
        let (mut sum, mut mean, mut square) = (0.0, 0.0, 0.0);
        for (k, cost) in inner.iter().enumerate() {
            let weight = (least - cost).exp();
            let x = (k + EDGE) as f64 + AROUND.start as f64;
            sum += weight;
            mean += weight * x;
            square += weight * x * x;
        }
        mean /= sum;
        let sd = (square / sum - mean * mean).max(0.0).sqrt();
        (
            mean.clamp(f64::from(EARLIEST), f64::from(LATEST)) as f32,
            sd as f32,
        )
    }
}

/// Where a function falls through 0 between two positive places, to a
/// ten-thousandth of them; the nearer of the two where it does not.
fn zero(mut low: f64, mut high: f64, of: impl Fn(f64) -> f64) -> f64 {
    while high > 1.0001 * low {
        let middle = (low * high).sqrt();
        if of(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Noise whose power is raised by a factor from some bins on, each time for
    /// 40 ms.
    fn noise(raised: &[(usize, f32)], bins: usize) -> Residual {
        let mut state = 5u64;
        let mut next = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005) + 1;
            ((state >> 40) as f32 / (1u64 << 24) as f32).max(1e-6)
        };
        let powers: Vec<[f32; PARTS]> = (0..bins)
            .map(|bin| {
                let here = |r: &&(usize, f32)| (r.0..r.0 + 80).contains(&bin);
                let factor = raised.iter().find(here).map_or(1.0, |r| r.1);
                // The mean power of four independent samples.
                let mut power = || (0..2).map(|_| -next().ln()).sum::<f32>() / 2.0;
                std::array::from_fn(|_| 1e-6 * factor * power())
            })
            .collect();
        Residual::of_powers(&powers)
    }

    #[test]
    fn rises_are_found_where_they_are() {
        let raised = [(500, 30.0), (900, 8.0), (1300, 100.0)];
        let found = find(&noise(&raised, 2000), &[]);
        for (bin, _) in raised {
            let near = found.iter().filter(|r| r.bin.abs_diff(bin) <= 4);
            let gains: Vec<f32> = near.map(Rise::gain).collect();
            assert_eq!(gains.len(), 1, "at {bin}");
            let others = found
                .iter()
                .filter(|r| raised.iter().all(|&(bin, _)| r.bin.abs_diff(bin) > 4));
            let loudest = others.map(Rise::gain).fold(0.0, f32::max);
            assert!(gains[0] > 3.0 * loudest, "{} and {loudest}", gains[0]);
        }
    }

    #[test]
    fn what_rises_elsewhere_is_added_once() {
        let residual = noise(&[(500, 100.0)], 2000);
        let alone: Vec<usize> = find(&residual, &[]).iter().map(|r| r.bin).collect();
        let both = find(&residual, &[480, 530, 1000]);
        let added: Vec<usize> = both
            .iter()
            .map(|r| r.bin)
            .filter(|b| !alone.contains(b))
            .collect();
        assert!(added.iter().all(|&b| b == 1000), "{added:?}");
    }

    #[test]
    fn a_rise_agrees_with_what_was_added_and_silence_does_not() {
        let (quiet, loud) = (noise(&[], 1000), noise(&[(500, 3.0)], 1000));
        let fresh = Scale::of(&loud).fresh(500);
        let with = Scale::of(&loud).agrees(500, &fresh, MIDDLE);
        let without = Scale::of(&quiet).agrees(500, &fresh, MIDDLE);
        assert!(with > 5.0 && without < -5.0, "{with} and {without}");
        // Far below the noise nothing can be told.
        let faint = fresh.map(|f| 0.01 * f);
        let neither = Scale::of(&quiet).agrees(500, &faint, MIDDLE);
        assert!(neither.abs() < 0.5, "{neither}");
    }
}
