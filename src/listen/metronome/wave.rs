//! A take without the clicks of its metronome.
//!
//! Clicks sound alike, to the wave, and stand on a grid. Their sound is learned
//! from many of them, each counted the more the less else there is, and taken
//! from each at the moment and strength that suit it best. A metronome may have
//! several sounds, as for the first beat of a bar.

use super::Metronome;
use super::spectrum::{
    BINS, Bench, FFT, LEAST_POWER, SMOOTH, Spectrum, heard_bins, powers, shifted, smooth,
};
use crate::stats;
use realfft::num_complex::Complex;

/// Clicks that a sound is learned from, at least and at most, and how often.
const LEAST: usize = 4;
const MOST: usize = 200;
const ROUNDS: usize = 5;
/// Sounds that a metronome has at most.
const SOUNDS: usize = 3;
/// Bins to either side over which the power of a sound is smoothed before it is
/// asked what of it may be chance.
const NARROW: usize = 2;
/// Power against what chance leaves, below which it may be chance.
const BY_CHANCE: f32 = 3.0;
/// Samples to either side within which a click is looked for, steps by which its
/// moment is then found, and the longest of these, samples.
const OFF: i64 = 24;
const STEPS: usize = 5;
const LONGEST_STEP: f64 = 0.3;
/// How far moments and strengths scatter, standard deviations, samples and as a
/// share: before anything is known; while a sound is learned, from clicks that are
/// taken for equally strong, or one part of them would weaken what they alone tell
/// of the sound and be the stronger for it; when it is known; and at least (a
/// metronome that plays whole samples at 44.1 kHz strays by so much).
const UNKNOWN: Scatter = Scatter {
    off: 6.0,
    gain: 1e-3,
};
const LEARNING: Scatter = Scatter {
    off: 1.0,
    gain: 1e-3,
};
const LEARNED: Scatter = Scatter {
    off: 1.0,
    gain: 0.5,
};
const LEAST_SCATTER: Scatter = Scatter {
    off: 0.1,
    gain: 0.02,
};
/// Clicks sound alike where at most this share of the power of most of them is
/// left when their sound is taken from them.
const ALIKE: f64 = 0.5;
/// Nepers by which a click shows plainly, and the share by which its strength may
/// differ from usual, if it has the sound.
const PLAINLY: f64 = 5.0;
const STRONGER: f64 = 0.25;

/// Takes the clicks of a metronome from the samples of a take; false where they
/// do not sound alike, and nothing is changed.
pub fn take_out(samples: &mut [f32], metronome: &Metronome) -> bool {
    let bench = Bench::new(metronome);
    let sounds = Sound::learn_all(&bench, samples, metronome);
    for number in bench.numbers(samples) {
        let seen = bench.see(samples, number);
        let fits = sounds.iter().map(|sound| {
            let fit = sound.fit(&bench, &seen, number);
            (sound, fit, sound.gained(&bench, &seen, fit))
        });
        let best = fits.max_by(|a, b| a.2.total_cmp(&b.2));
        let known = (0..=metronome.last() as i64).contains(&number);
        let least = if known { 0.0 } else { PLAINLY };
        if let Some((sound, fit, gained)) = best
            && gained > least
        {
            bench.subtract(samples, number, &sound.spectrum, fit.late, fit.gain);
        }
    }
    !sounds.is_empty()
}

/// How far something scatters: standard deviations.
#[derive(Clone, Copy)]
struct Scatter {
    off: f64,
    gain: f64,
}

/// What some clicks share.
struct Sound {
    spectrum: Spectrum,
    /// Samples that the first comes later than on the grid, and every next one
    /// more.
    late: (f64, f64),
    scatter: Scatter,
}

/// How one click differs from all.
#[derive(Clone, Copy)]
struct Fit {
    /// Samples that it comes later than on the grid.
    late: f64,
    /// Its strength against the usual one.
    gain: f64,
    /// How plainly its strength and its moment show: one over the variances.
    plain: f64,
    sharp: f64,
}

impl Fit {
    fn usual(late: f64) -> Self {
        Self {
            late,
            gain: 1.0,
            plain: 0.0,
            sharp: 0.0,
        }
    }
}

impl Sound {
    /// The sounds of a metronome, the commonest first; none where its clicks do
    /// not sound alike.
    fn learn_all(bench: &Bench, samples: &[f32], metronome: &Metronome) -> Vec<Self> {
        let mut sounds: Vec<Self> = Vec::new();
        let heard = metronome.heard.iter().map(|&number| number as i64);
        let mut unlike: Vec<i64> = heard.collect();
        while sounds.len() < SOUNDS
            && let Some(sound) = Self::learn(bench, samples, &unlike)
        {
            sounds.push(sound);
            let like_none = |&number: &i64| {
                let seen = bench.see(samples, number);
                let has = |sound: &Self| sound.is_in(bench, &seen, sound.fit(bench, &seen, number));
                !sounds.iter().any(has)
            };
            unlike = (0..=metronome.last() as i64).filter(like_none).collect();
        }
        sounds
    }

    /// The sound of some clicks; `None` where there are too few or they are not
    /// alike.
    fn learn(bench: &Bench, samples: &[f32], numbers: &[i64]) -> Option<Self> {
        let step = numbers.len().div_ceil(MOST).max(1);
        let numbers: Vec<i64> = numbers.iter().copied().step_by(step).collect();
        if numbers.len() < LEAST {
            return None;
        }
        let look = |&number: &i64| bench.see(samples, number);
        let seen: Vec<Spectrum> = numbers.iter().map(look).collect();
        let mut sound = Self {
            spectrum: middle(&seen),
            late: (0.0, 0.0),
            scatter: UNKNOWN,
        };
        for _ in 0..ROUNDS {
            let fits = sound.fit_all(bench, &seen, &numbers);
            sound.late = straight(&numbers, &fits)?;
            sound.scatter = LEARNING;
            sound.spectrum = sound.common(&seen, &fits);
        }
        sound.scatter = LEARNED;
        let mut fits = sound.fit_all(bench, &seen, &numbers);
        let gain = usual_gain(&fits);
        sound.spectrum.iter_mut().for_each(|x| *x *= gain as f32);
        fits.iter_mut().for_each(|fit| fit.gain /= gain);
        sound.scatter = sound.scatter_of(&numbers, &fits)?;
        let left: Vec<f64> = seen
            .iter()
            .zip(&fits)
            .map(|(seen, &fit)| sound.left_share(seen, fit))
            .collect();
        (stats::median(&left)? <= ALIKE).then_some(sound)
    }

    /// What clicks share, each counted the more the less is left of it, without
    /// what may be chance.
    fn common(&self, seen: &[Spectrum], fits: &[Fit]) -> Spectrum {
        let mut sum = vec![Complex::<f32>::default(); BINS];
        let mut weight = vec![0.0f32; BINS];
        for (seen, &fit) in seen.iter().zip(fits) {
            let gain = fit.gain as f32;
            let aligned = shifted(seen, -fit.late);
            let left = self.left(seen, fit);
            for bin in heard_bins() {
                let left = left[bin].max(LEAST_POWER);
                sum[bin] += aligned[bin] * (gain / left);
                weight[bin] += gain * gain / left;
            }
        }
        for bin in heard_bins() {
            sum[bin] /= weight[bin].max(f32::MIN_POSITIVE);
        }
        let power = smooth(&powers(&sum), NARROW);
        for bin in heard_bins() {
            let chance = 1.0 / weight[bin].max(f32::MIN_POSITIVE);
            if power[bin] < BY_CHANCE * chance {
                sum[bin] = Complex::default();
            }
        }
        sum
    }

    /// How far the half of some clicks scatter whose moments are sharpest.
    fn scatter_of(&self, numbers: &[i64], fits: &[Fit]) -> Option<Scatter> {
        let sharp: Vec<f64> = fits.iter().map(|fit| fit.sharp).collect();
        let least = stats::median(&sharp)?;
        let sharp = || {
            fits.iter()
                .zip(numbers)
                .filter(|(fit, _)| fit.sharp >= least)
        };
        let off: Vec<f64> = sharp()
            .map(|(fit, &number)| fit.late - self.usual_late(number))
            .collect();
        let gains: Vec<f64> = sharp().map(|(fit, _)| fit.gain).collect();
        Some(Scatter {
            off: stats::mad_sd(&off)?.max(LEAST_SCATTER.off),
            gain: stats::mad_sd(&gains)?.max(LEAST_SCATTER.gain),
        })
    }

    /// Samples that a click should come later than on the grid.
    fn usual_late(&self, number: i64) -> f64 {
        self.late.0 + self.late.1 * number as f64
    }

    /// Power that a click leaves when the sound is taken from it, smoothed.
    fn left(&self, seen: &[Complex<f32>], fit: Fit) -> Vec<f32> {
        let gain = fit.gain as f32;
        let expected = shifted(&self.spectrum, fit.late);
        let left = seen.iter().zip(&expected).map(|(x, e)| x - e * gain);
        smooth(&powers(&left.collect::<Spectrum>()), SMOOTH)
    }

    /// The same as a share of the power of the click, where the sound stands out
    /// of that; all of it where there is no sound.
    fn left_share(&self, seen: &[Complex<f32>], fit: Fit) -> f64 {
        let left = self.left(seen, fit);
        let all = smooth(&powers(seen), SMOOTH);
        let (mut sum, mut weights) = (0.0, 0.0);
        for bin in heard_bins() {
            let all = all[bin].max(LEAST_POWER);
            let weight = f64::from(self.spectrum[bin].norm_sqr() / all);
            sum += weight * f64::from(left[bin] / all);
            weights += weight;
        }
        if weights > 0.0 { sum / weights } else { 1.0 }
    }

    /// The moment and strength that suit a click best: the likeliest if what is
    /// left is noise of the power that is left.
    fn fit(&self, bench: &Bench, seen: &[Complex<f32>], number: i64) -> Fit {
        let usual = self.usual_late(number);
        let mut fit = Fit::usual(usual + self.whole(bench, seen, usual));
        let prior = (self.scatter.gain.powi(-2), self.scatter.off.powi(-2));
        for _ in 0..STEPS {
            let left = self.left(seen, fit);
            let expected = shifted(&self.spectrum, fit.late);
            // What a greater strength and a later moment gain.
            let [mut alike, mut plain, mut steep, mut sharp] = [0.0; 4];
            for bin in heard_bins() {
                let weight = bench.freedom / f64::from(left[bin].max(LEAST_POWER));
                let turn = std::f64::consts::TAU * bin as f64 / FFT as f64;
                let product = expected[bin].conj() * seen[bin];
                let power = f64::from(expected[bin].norm_sqr());
                alike += weight * f64::from(product.re);
                plain += weight * power;
                steep -= weight * turn * f64::from(product.im);
                sharp += weight * turn * turn * power;
            }
            fit.gain = ((alike + prior.0) / (plain + prior.0)).max(0.0);
            fit.plain = plain;
            fit.sharp = sharp * fit.gain * fit.gain;
            let pull = prior.1 * (fit.late - usual);
            let step = (fit.gain * steep - pull) / (fit.sharp + prior.1);
            fit.late += step.clamp(-LONGEST_STEP, LONGEST_STEP);
        }
        fit
    }

    fn fit_all(&self, bench: &Bench, seen: &[Spectrum], numbers: &[i64]) -> Vec<Fit> {
        let clicks = numbers.iter().zip(seen);
        clicks
            .map(|(&number, seen)| self.fit(bench, seen, number))
            .collect()
    }

    /// How many whole samples later than usual a click sounds most alike.
    fn whole(&self, bench: &Bench, seen: &[Complex<f32>], usual: f64) -> f64 {
        let left = self.left(seen, Fit::usual(usual));
        let expected = shifted(&self.spectrum, usual);
        let mut product = vec![Complex::default(); BINS];
        for bin in heard_bins() {
            let weight = bench.freedom as f32 / left[bin].max(LEAST_POWER);
            product[bin] = seen[bin] * expected[bin].conj() * weight;
        }
        let alike = bench.wave(product);
        let of = |off: i64| {
            let away = off as f64 / self.scatter.off;
            // Both halves of the spectrum are in it.
            let alike = alike[off.rem_euclid(alike.len() as i64) as usize];
            0.5 * f64::from(alike) - 0.5 * away * away
        };
        let best = (-OFF..=OFF).max_by(|&a, &b| of(a).total_cmp(&of(b)));
        best.unwrap_or(0) as f64
    }

    /// How much likelier a click sounds with the sound in it than without,
    /// nepers.
    fn gained(&self, bench: &Bench, seen: &[Complex<f32>], fit: Fit) -> f64 {
        let left = self.left(seen, fit);
        let all = smooth(&powers(seen), SMOOTH);
        let ratio = |bin: usize| all[bin].max(LEAST_POWER) / left[bin].max(LEAST_POWER);
        let nepers: f32 = heard_bins().map(|bin| ratio(bin).ln()).sum();
        0.5 * bench.freedom * f64::from(nepers)
    }

    /// Whether a click plainly has the sound, as strong as usual.
    fn is_in(&self, bench: &Bench, seen: &[Complex<f32>], fit: Fit) -> bool {
        (fit.gain - 1.0).abs() <= STRONGER && self.gained(bench, seen, fit) > PLAINLY
    }
}

/// What is in the middle of some spectra, bin by bin.
fn middle(spectra: &[Spectrum]) -> Spectrum {
    let of = |bin: usize, part: fn(&Complex<f32>) -> f32| {
        let parts: Vec<f64> = spectra.iter().map(|s| f64::from(part(&s[bin]))).collect();
        stats::median(&parts).unwrap_or(0.0) as f32
    };
    let middle = (0..BINS).map(|bin| Complex::new(of(bin, |x| x.re), of(bin, |x| x.im)));
    middle.collect()
}

/// The mean strength of clicks, each counted as plainly as it shows.
fn usual_gain(fits: &[Fit]) -> f64 {
    let sum = |of: fn(&Fit) -> f64| fits.iter().map(of).sum::<f64>();
    sum(|fit| fit.plain * fit.gain) / sum(|fit| fit.plain).max(f64::MIN_POSITIVE)
}

/// The straight line through the moments of clicks, each counted the more the
/// sharper it shows and, once there is a line, the nearer it lies: value at
/// number 0 and slope. `None` where there is none.
fn straight(numbers: &[i64], fits: &[Fit]) -> Option<(f64, f64)> {
    let mut line = (0.0, 0.0);
    let mut scale = f64::INFINITY;
    let off = |line: (f64, f64), number: i64, fit: &Fit| fit.late - line.0 - line.1 * number as f64;
    for _ in 0..3 {
        let mut sums = [0.0; 5];
        for (&number, fit) in numbers.iter().zip(fits) {
            let k = number as f64;
            let variance = 1.0 / fit.sharp.max(1e-9) + LEAST_SCATTER.off.powi(2);
            let weight = 1.0 / variance / (1.0 + (off(line, number, fit) / scale).powi(2));
            let terms = [1.0, k, k * k, fit.late, k * fit.late];
            for (sum, term) in sums.iter_mut().zip(terms) {
                *sum += weight * term;
            }
        }
        let [n, k, kk, t, kt] = sums;
        let slope = (n * kt - k * t) / (n * kk - k * k);
        let fitted = ((t - slope * k) / n, slope);
        line = fitted.0.is_finite().then_some(fitted)?;
        let clicks = numbers.iter().zip(fits);
        let far: Vec<f64> = clicks
            .map(|(&number, fit)| off(line, number, fit))
            .collect();
        scale = 3.0 * stats::mad_sd(&far)?.max(LEAST_SCATTER.off);
    }
    Some(line)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::take::ANALYSIS_RATE_HZ;

    const PERIOD_S: f64 = 0.56;
    const CLICKS: usize = 40;
    const RATE: f64 = ANALYSIS_RATE_HZ as f64;

    fn metronome() -> Metronome {
        Metronome {
            // Somewhat beside where they are, as the bands tell it.
            zero_s: 0.3004,
            zero_sd_s: 1e-4,
            period_s: PERIOD_S + 2e-6,
            period_sd_s: 1e-6,
            heard: (0..CLICKS - 8).filter(|k| k % 5 != 3).collect(),
        }
    }

    /// Strokes on every fifth click and between the others, which ring on.
    fn drums() -> Vec<f32> {
        let mut drums = vec![0.0f32; ((CLICKS + 2) as f64 * PERIOD_S * RATE) as usize];
        let mut stroke = |at_s: f64| {
            let from = (at_s * RATE) as usize;
            for (i, sample) in drums.iter_mut().enumerate().skip(from) {
                let t = (i - from) as f64 / RATE;
                let partial = |hz: f64, decay: f64| {
                    (std::f64::consts::TAU * hz * t).sin() * (-t / decay).exp()
                };
                *sample += (0.2
                    * (partial(131.0, 0.6)
                        + 0.3 * partial(713.0, 0.1)
                        + 0.1 * partial(1907.0, 0.02))) as f32;
            }
        };
        for k in 0..CLICKS {
            let off = 0.03 * (k as f64 * 0.618).fract() - 0.015;
            let between = if k % 5 == 3 { 0.0 } else { 0.31 };
            stroke(0.3 + k as f64 * PERIOD_S + off + between);
        }
        drums
    }

    /// Adds a click of this tone from a whole sample at 44.1 kHz on.
    fn click(samples: &mut [f32], number: usize, hz: f64, level: f64) {
        let at_s = ((0.3 + number as f64 * PERIOD_S) * 44_100.0).round() / 44_100.0;
        for (i, sample) in samples.iter_mut().enumerate() {
            let t = i as f64 / RATE - at_s;
            if (0.0..0.2).contains(&t) {
                let rise = (t / 0.0004).min(1.0);
                *sample +=
                    (level * rise * (std::f64::consts::TAU * hz * t).sin() * (-t / 0.008).exp())
                        as f32;
            }
        }
    }

    /// Power that is left of what was added, dB.
    fn left_db(with: &[f32], without: &[f32], left: &[f32]) -> f64 {
        let power = |a: &[f32]| -> f64 {
            let both = a.iter().zip(without);
            both.map(|(a, b)| f64::from(a - b).powi(2)).sum()
        };
        10.0 * (power(left) / power(with)).log10()
    }

    #[test]
    fn clicks_are_taken_out_and_drums_stay() {
        let drums = drums();
        let mut samples = drums.clone();
        // The first beat of every bar sounds otherwise, and the last two bars
        // have none.
        for k in 0..CLICKS - 8 {
            let first = k % 4 == 0;
            click(
                &mut samples,
                k,
                if first { 2200.0 } else { 1500.0 },
                if first { 0.14 } else { 0.1 },
            );
        }
        let with = samples.clone();
        assert!(take_out(&mut samples, &metronome()));
        let db = left_db(&with, &drums, &samples);
        assert!(db < -25.0, "{db}");
        let silent = ((0.3 + (CLICKS as f64 - 8.2) * PERIOD_S) * RATE) as usize;
        assert!(samples[silent..] == with[silent..]);
    }

    #[test]
    fn sounds_that_are_not_alike_stay() {
        let mut samples = drums();
        let mut state = 1u32;
        for k in 0..CLICKS {
            let from = ((0.3 + k as f64 * PERIOD_S) * RATE) as usize;
            for (i, sample) in samples[from..from + 400].iter_mut().enumerate() {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise = (state >> 8) as f32 / (1 << 23) as f32 - 1.0;
                *sample += 0.1 * noise * (-(i as f32) / 100.0).exp();
            }
        }
        let with = samples.clone();
        assert!(!take_out(&mut samples, &metronome()));
        assert!(samples == with);
    }
}
