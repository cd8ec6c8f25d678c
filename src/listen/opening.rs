//! The sound around a rise, kept small: the power of the prediction residual in
//! a few parts of the spectrum, bin by bin, before and after the contact.

use std::sync::LazyLock;

/// Samples of a bin: 0.5 ms.
pub const BIN: usize = 8;
/// The sound that is kept begins and ends this far from the coarse time:
/// 30 ms before, 60 ms after.
pub const BACK: usize = 480;
pub const AHEAD: usize = 960;
/// Bins that are kept of every rise.
pub const BINS: usize = (BACK + AHEAD) / BIN;
/// Parts of the spectrum, and the frequencies between them, hertz.
pub const PARTS: usize = SPLITS_HZ.len() + 1;
pub const SPLITS_HZ: [f64; 3] = [500.0, 1500.0, 4000.0];

/// The bin of the coarse time.
pub const COARSE: i32 = (BACK / BIN) as i32;
/// Delays that are tried, bins from the coarse time: -25 to 20 ms.
pub const EARLIEST: i32 = -50;
pub const LATEST: i32 = 40;
pub const DELAYS: usize = (LATEST - EARLIEST + 1) as usize;

/// Half decibels of power, from -120 dB re full scale.
pub fn coded(power: f32) -> u8 {
    CODES[(power.max(0.0).to_bits() >> CODE_BITS) as usize]
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
static POWERS: LazyLock<[f32; 256]> =
    LazyLock::new(|| std::array::from_fn(|c| 10f32.powf((c as f32 - 240.0) / 20.0)));

/// The residual around a rise, and where its contact was first picked.
#[derive(Clone, Debug)]
pub struct Opening {
    pub(super) codes: [[u8; BINS]; PARTS],
    /// Sample of the coarse time.
    pub(super) coarse: usize,
    /// Delay of the first pick, bins.
    pub(super) pick: f32,
    /// Delays that are this rise's own: none beyond its neighbours.
    pub(super) own: (i32, i32),
}

impl Opening {
    /// From the power of each bin.
    pub fn new(powers: &[[f32; BINS]; PARTS], coarse: usize, pick_sample: f64) -> Self {
        Self {
            codes: powers.map(|p| p.map(coded)),
            coarse,
            pick: ((pick_sample - coarse as f64) / BIN as f64) as f32,
            own: (EARLIEST, LATEST),
        }
    }

    /// The same, of samples that begin `samples` later.
    #[must_use]
    pub fn after(mut self, samples: usize) -> Self {
        self.coarse += samples;
        self
    }

    /// Bounds the contact by the coarse times of the neighbours, samples.
    pub fn bound(&mut self, previous: Option<usize>, next: Option<usize>) {
        let delay = |other: usize| {
            let apart = other as f64 - self.coarse as f64;
            (apart / BIN as f64) as i32
        };
        let from = previous.map_or(EARLIEST, |p| delay(p).max(EARLIEST));
        let to = next.map_or(LATEST, |n| delay(n).min(LATEST));
        self.own = (from.min(0), to.max(0));
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
