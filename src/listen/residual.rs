//! What of the sound could not be foretold: contacts, and noise.
//!
//! What rings is predictable, a new contact is not: linear prediction fitted
//! again and again to the sound just before leaves a residual in which even a
//! soft stroke on a drum that rings loudly stands out. Its power is kept in a
//! few parts of the spectrum, bin by bin, for the whole take.

#![allow(
    clippy::inline_always,
    reason = "what is not inlined is not compiled for the machine's vectors"
)]

use crate::take::ANALYSIS_RATE_HZ;
use pulp::{Arch, Simd, WithSimd};
use std::sync::LazyLock;

/// Samples of a bin: 0.5 ms.
pub const BIN: usize = 8;
/// Seconds of a bin.
pub const BIN_S: f64 = BIN as f64 / ANALYSIS_RATE_HZ as f64;
/// Parts of the spectrum, and the frequencies between them, hertz.
pub const PARTS: usize = SPLITS_HZ.len() + 1;
const SPLITS_HZ: [f64; 3] = [500.0, 1500.0, 4000.0];
/// Coefficients of the prediction.
const ORDER: usize = 24;
/// Samples it is fitted to, and samples that it then foretells: 64 and 16 ms.
const FIT: usize = 1024;
const BLOCK: usize = 256;
/// Taps of the filters that split the residual, and samples they need beyond
/// either end.
const TAPS: usize = 2 * MARGIN + 1;
const MARGIN: usize = 16;
/// Products that are summed side by side.
const LANES: usize = 16;
/// Bins below this share of all count as quiet, above that one as loud.
const QUIET: f64 = 0.1;
const LOUD: f64 = 0.999;
/// What lies so far below the loud bins of its part, half decibels, is told no
/// further: how quiet silence is says more of a recorder's gain than of strokes.
const TOLD: u8 = 120;
/// Silent bins kept before the take and after it.
const BEFORE: usize = 128;
const AFTER: usize = 256;

/// What tells half decibels of powers, from -120 dB re full scale.
pub fn coder() -> impl Fn(f32) -> u8 {
    let codes: &[u8] = &CODES;
    |power| codes[(power.max(0.0).to_bits() >> CODE_BITS) as usize]
}

/// Bits of a power that do not matter for its code: it is told to 1 %.
const CODE_BITS: u32 = 16;

/// The code of every power, by its upper bits.
static CODES: LazyLock<Vec<u8>> = LazyLock::new(|| {
    (0..=u32::from(u16::MAX >> 1))
        .map(|upper| {
            let middle = upper << CODE_BITS | 1 << (CODE_BITS - 1);
            let half_db = 20.0 * f32::from_bits(middle).max(1e-12).log10() + 240.0;
            half_db.round().clamp(0.0, 255.0) as u8
        })
        .collect()
});

/// The power of every code.
pub static POWERS: LazyLock<[f32; 256]> =
    LazyLock::new(|| std::array::from_fn(|c| 10f32.powf((c as f32 - 240.0) / 20.0)));

/// The power of the residual of a take, bin by bin, in each part of the
/// spectrum.
#[derive(Clone, Debug, Default)]
pub struct Residual {
    codes: [Vec<u8>; PARTS],
    /// A quiet power of each part: one bin in ten lies below it.
    quiet: [f32; PARTS],
}

impl Residual {
    /// From the power of every bin.
    #[cfg(test)]
    pub fn of_powers(powers: &[[f32; PARTS]]) -> Self {
        let codes = |part: usize| {
            let mut codes = vec![0; BEFORE];
            let code = coder();
            codes.extend(powers.iter().map(|p| code(p[part])));
            codes.resize(codes.len() + AFTER, 0);
            codes
        };
        Self::new(std::array::from_fn(codes))
    }

    fn new(codes: [Vec<u8>; PARTS]) -> Self {
        let mut residual = Self {
            codes,
            quiet: [0.0; PARTS],
        };
        for part in 0..PARTS {
            let least = residual.code_above(part, LOUD).saturating_sub(TOLD);
            for code in &mut residual.codes[part] {
                *code = (*code).max(least);
            }
            residual.quiet[part] = POWERS[usize::from(residual.code_above(part, QUIET))];
        }
        residual
    }

    /// A quiet power of each part.
    pub fn quiet(&self) -> [f32; PARTS] {
        self.quiet
    }

    /// Bins of the take.
    pub fn bins(&self) -> usize {
        self.codes[0].len().saturating_sub(BEFORE + AFTER)
    }

    /// The codes of a part in `count` bins from `first` on: up to 128
    /// bins before the take or 256 behind it. A residual of nothing has
    /// none.
    pub fn codes(&self, part: usize, first: i64, count: usize) -> &[u8] {
        let from = (first + BEFORE as i64) as usize;
        self.codes[part].get(from..from + count).unwrap_or(&[])
    }

    /// The code below which such a share of the bins of a part lie.
    fn code_above(&self, part: usize, share: f64) -> u8 {
        let mut counts = [0usize; 256];
        for &code in self.codes(part, 0, self.bins()) {
            counts[usize::from(code)] += 1;
        }
        let mut left = (share * self.bins() as f64) as usize;
        for (code, &count) in (0u8..=255).zip(&counts) {
            if count > left {
                return code;
            }
            left -= count;
        }
        0
    }
}

/// Turns samples into their residual as they come.
pub struct Whitener {
    window: Vec<f32>,
    fit: Vec<f32>,
    /// Samples from [`FIT`] before the next one to be foretold.
    samples: Vec<f32>,
    /// The residual from [`MARGIN`] before the next one to be split.
    residual: Vec<f32>,
    /// The residual below two of the frequencies that split it.
    through: Vec<f32>,
    below: Vec<f32>,
    codes: [Vec<u8>; PARTS],
}

impl Whitener {
    pub fn new() -> Self {
        let window = (0..FIT)
            .map(|i| {
                let phase = std::f64::consts::PI * (i as f64 + 0.5) / FIT as f64;
                phase.sin() as f32
            })
            .collect();
        Self {
            window,
            fit: vec![0.0; FIT],
            samples: vec![0.0; FIT],
            residual: vec![0.0; MARGIN],
            through: vec![0.0; BLOCK],
            below: vec![0.0; BLOCK],
            codes: std::array::from_fn(|_| vec![0; BEFORE]),
        }
    }

    /// Takes in further samples.
    pub fn push(&mut self, samples: &[f32]) {
        self.samples.extend_from_slice(samples);
        let arch = Arch::new();
        let mut start = 0;
        while start + FIT + BLOCK <= self.samples.len() {
            arch.dispatch(Foretell(self, start));
            start += BLOCK;
            while self.residual.len() >= BLOCK + 2 * MARGIN {
                arch.dispatch(Split(self));
                self.residual.drain(..BLOCK);
            }
        }
        self.samples.drain(..start);
    }

    /// Ends the stream; `samples` is how many came.
    pub fn finish(mut self, samples: usize) -> Residual {
        self.push(&[0.0; BLOCK + 2 * MARGIN]);
        let bins = samples.div_ceil(BIN);
        for codes in &mut self.codes {
            codes.resize(BEFORE + bins, 0);
            codes.resize(BEFORE + bins + AFTER, 0);
        }
        Residual::new(self.codes)
    }

    /// Adds the residual of the block that begins [`FIT`] after `start`.
    #[inline(always)]
    fn foretell(&mut self, start: usize) {
        let past = &self.samples[start..start + FIT];
        for ((out, x), w) in self.fit.iter_mut().zip(past).zip(&self.window) {
            *out = x * w;
        }
        let mut auto = [0.0; ORDER + 1];
        for (lag, auto) in auto.iter_mut().enumerate() {
            *auto = dot(&self.fit[lag..], &self.fit[..FIT - lag]);
        }
        let prediction = levinson(&auto);
        let from = start + FIT;
        let first = self.residual.len();
        self.residual
            .extend_from_slice(&self.samples[from..from + BLOCK]);
        let out = &mut self.residual[first..];
        for (k, &a) in prediction.iter().enumerate() {
            let past = &self.samples[from - 1 - k..][..BLOCK];
            for (r, &x) in out.iter_mut().zip(past) {
                *r -= a as f32 * x;
            }
        }
    }

    /// Adds the bins of the first block of the residual.
    #[inline(always)]
    fn split(&mut self) {
        // Each low-pass takes what lies below it; the next part is what the
        // next one lets through besides.
        self.below.fill(0.0);
        for (part, codes) in self.codes.iter_mut().enumerate() {
            if let Some(taps) = LOW_PASS.get(part) {
                self.through.fill(0.0);
                for (k, &tap) in taps.iter().enumerate() {
                    let shifted = &self.residual[k..k + BLOCK];
                    for (out, &r) in self.through.iter_mut().zip(shifted) {
                        *out += tap * r;
                    }
                }
            } else {
                self.through
                    .copy_from_slice(&self.residual[MARGIN..MARGIN + BLOCK]);
            }
            let code = coder();
            let bins = self.through.chunks(BIN).zip(self.below.chunks(BIN));
            codes.extend(bins.map(|(through, below)| {
                let squares = through.iter().zip(below).map(|(t, b)| (t - b) * (t - b));
                code(squares.sum::<f32>() / BIN as f32)
            }));
            std::mem::swap(&mut self.through, &mut self.below);
        }
    }
}

/// [`Whitener::foretell`], in the widest vectors of the machine.
struct Foretell<'a>(&'a mut Whitener, usize);

impl WithSimd for Foretell<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        self.0.foretell(self.1);
    }
}

/// [`Whitener::split`], in the widest vectors of the machine.
struct Split<'a>(&'a mut Whitener);

impl WithSimd for Split<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        self.0.split();
    }
}

/// Sum of products, in many short sums so that little is lost.
#[inline(always)]
fn dot(a: &[f32], b: &[f32]) -> f64 {
    let mut sums = [0.0f64; LANES];
    let mut beyond = 0.0;
    for (a, b) in a.chunks(8 * LANES).zip(b.chunks(8 * LANES)) {
        let mut lanes = [0.0f32; LANES];
        let (a, b) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
        let rest = a.remainder().iter().zip(b.remainder());
        beyond += rest
            .map(|(x, y)| f64::from(*x) * f64::from(*y))
            .sum::<f64>();
        for (a, b) in a.zip(b) {
            for ((lane, x), y) in lanes.iter_mut().zip(a).zip(b) {
                *lane += x * y;
            }
        }
        for (sum, lane) in sums.iter_mut().zip(lanes) {
            *sum += f64::from(lane);
        }
    }
    sums.iter().sum::<f64>() + beyond
}

/// Low-passes of linear phase, each a sinc under a Hamming window.
static LOW_PASS: LazyLock<[[f32; TAPS]; SPLITS_HZ.len()]> = LazyLock::new(|| {
    SPLITS_HZ.map(|split_hz| {
        let corner = 2.0 * split_hz / f64::from(ANALYSIS_RATE_HZ);
        let taps: [f64; TAPS] = std::array::from_fn(|i| {
            let x = std::f64::consts::PI * (i as f64 - MARGIN as f64) * corner;
            let sinc = if x == 0.0 { 1.0 } else { x.sin() / x };
            let phase = std::f64::consts::TAU * i as f64 / (TAPS - 1) as f64;
            sinc * (0.54 - 0.46 * phase.cos())
        });
        let sum: f64 = taps.iter().sum();
        taps.map(|tap| (tap / sum) as f32)
    })
});

/// Solves the normal equations of linear prediction (Levinson-Durbin).
fn levinson(auto: &[f64; ORDER + 1]) -> [f64; ORDER] {
    let mut a = [0.0; ORDER];
    // A noise floor 70 dB down keeps a pure tone from being predicted too
    // well to be true.
    let mut error = auto[0] * (1.0 + 1e-7) + 1e-15;
    for m in 0..ORDER {
        let reached: f64 = (0..m).map(|i| a[i] * auto[m - i]).sum();
        let k = (auto[m + 1] - reached) / error;
        let previous = a;
        a[m] = k;
        for i in 0..m {
            a[i] = previous[i] - k * previous[m - 1 - i];
        }
        error *= 1.0 - k * k;
        if error <= 0.0 {
            break;
        }
    }
    a
}

#[cfg(test)]
mod tests {
    use super::*;

    fn residual(samples: &[f32], piece: usize) -> Residual {
        let mut whitener = Whitener::new();
        for piece in samples.chunks(piece) {
            whitener.push(piece);
        }
        whitener.finish(samples.len())
    }

    fn ring(sample: usize) -> f32 {
        let t = sample as f32 / ANALYSIS_RATE_HZ as f32;
        let partial = |hz: f32, level: f32| level * (std::f32::consts::TAU * hz * t).sin();
        (partial(123.0, 0.3) + partial(187.0, 0.2) + partial(246.0, 0.1)) * (-t).exp()
    }

    #[test]
    fn what_rings_is_foretold_and_a_soft_contact_is_not() {
        let click = 12_000;
        let samples: Vec<f32> = (0..16_000)
            .map(|i| ring(i) + if i == click { 0.01 } else { 0.0 })
            .collect();
        let residual = residual(&samples, 1000);
        assert_eq!(residual.bins(), 2000);
        let bin = click / BIN;
        for part in 1..PARTS {
            // Half decibels: 20 dB above all of the last 20 ms.
            let at = residual.codes(part, bin as i64, 1)[0];
            let before = residual.codes(part, bin as i64 - 44, 40);
            let loudest = before.iter().max().copied().unwrap_or(0);
            assert!(at > loudest + 40, "part {part}: {at} after {loudest}");
        }
    }

    #[test]
    fn pieces_of_any_length_give_the_same() {
        let samples: Vec<f32> = (0..5003).map(ring).collect();
        let (whole, pieces) = (residual(&samples, 5003), residual(&samples, 77));
        assert_eq!(whole.codes, pieces.codes);
    }

    #[test]
    fn silence_lies_as_far_below_strokes_at_any_gain() {
        let codes_at = |gain: f32| {
            let power = |bin: usize| gain * if bin < 10 { 1e-2 } else { 1e-13 };
            let powers: Vec<[f32; PARTS]> = (0..1000).map(|bin| [power(bin); PARTS]).collect();
            let residual = Residual::of_powers(&powers);
            [5, 500].map(|bin| residual.codes(0, bin, 1)[0])
        };
        for gain in [1.0, 1e-2, 1e-4] {
            let [stroke, silence] = codes_at(gain);
            assert_eq!(stroke - silence, TOLD);
        }
    }

    #[test]
    fn silence_leaves_nothing() {
        let residual = residual(&[0.0; 4000], 4000);
        assert!((0..PARTS).all(|p| residual.codes(p, -128, 756).iter().all(|&c| c == 0)));
    }
}
