//! How fit a recording is for judging: measured while it streams by.

use super::bass::bass_cut_hz;
use super::drops::Drops;
use super::spectra::Spectra;
use super::steering::Steering;
use super::{ANALYSIS_RATE_HZ, Fitness};

/// 128 ms: tells frequencies 7.8 Hz apart.
const FRAME: usize = 2048;
/// Samples this close to the running peak count as at the peak.
const FLAT: f32 = 0.999;
/// A flat top has at least this many samples.
const FLAT_RUN: u32 = 3;
/// The quietest frames: those within so many classes of the quietest, if they
/// are so many.
const QUIET_CLASSES: usize = 5;
const QUIET_FRAMES: u64 = 8;
/// Flat tops below this are not clipping but chance.
const CLIP_LEVEL: f32 = 0.5;
/// Samples that are looked at together.
const TOGETHER: usize = 64;
/// Frames whose spectrum is kept for the noise floor are summed in this many
/// classes of level, 1 dB each from -120 dB.
const CLASSES: usize = 121;

/// Gathers what [`Fitness`] says.
pub(super) struct Meter {
    peak: f32,
    bad_samples: u64,
    samples: u64,
    runs: Vec<Run>,
    /// Samples in flat tops, with the level of the tops.
    clipped: u64,
    clip_level: f32,
    drops: Drops,
    /// The largest sample of all channels of each frame in hand.
    sizes: Vec<f32>,
    steering: Steering,
    spectra: Spectra,
    /// Frames and summed power spectrum of each class of level.
    classes: Vec<(u64, Vec<f64>)>,
    sum: f64,
    analysed: u64,
}

#[derive(Clone, Copy, Default)]
struct Run {
    value: f32,
    length: u32,
}

impl Meter {
    /// A meter for frames at `rate_hz`.
    pub(super) fn new(rate_hz: u32) -> Self {
        Self {
            peak: 0.0,
            bad_samples: 0,
            samples: 0,
            runs: Vec::new(),
            clipped: 0,
            clip_level: 0.0,
            drops: Drops::new(f64::from(rate_hz)),
            sizes: Vec::new(),
            steering: Steering::default(),
            spectra: Spectra::new(FRAME),
            classes: vec![(0, Vec::new()); CLASSES],
            sum: 0.0,
            analysed: 0,
        }
    }

    /// Looks at decoded frames, and makes samples harmless that are no
    /// numbers.
    pub(super) fn decoded(&mut self, planar: &mut [Vec<f32>]) {
        self.runs.resize(planar.len(), Run::default());
        self.sizes.clear();
        self.sizes.resize(planar.first().map_or(0, Vec::len), 0.0);
        for channel in planar.iter() {
            for (size, sample) in self.sizes.iter_mut().zip(channel) {
                *size = size.max(sample.abs());
            }
        }
        for size in &mut self.sizes {
            *size = if size.is_finite() { *size } else { 1.0 };
        }
        self.drops.push(&self.sizes);
        for (channel, place) in planar.iter_mut().zip(0..) {
            self.samples += channel.len() as u64;
            for some in channel.chunks_mut(TOGETHER) {
                let largest = largest(some);
                if largest < CLIP_LEVEL {
                    self.peak = self.peak.max(largest);
                    self.runs[place].length = 0;
                } else {
                    self.loud(some, place);
                }
            }
        }
    }

    /// Looks at samples of a channel that may be flat tops or no numbers.
    fn loud(&mut self, samples: &mut [f32], channel: usize) {
        let run = &mut self.runs[channel];
        for sample in samples {
            if sample.is_nan() || sample.abs() > 1e3 {
                self.bad_samples += 1;
                *sample = 0.0;
            }
            let size = sample.abs();
            self.peak = self.peak.max(size);
            if size < CLIP_LEVEL {
                run.length = 0;
                continue;
            }
            if sample.to_bits() == run.value.to_bits() && run.length > 0 {
                run.length += 1;
                if run.length >= FLAT_RUN && size >= self.clip_level * FLAT {
                    if size * FLAT > self.clip_level {
                        // Lower flat tops before were no clipping.
                        self.clipped = 0;
                        self.clip_level = size;
                    }
                    self.clipped += if run.length == FLAT_RUN {
                        u64::from(FLAT_RUN)
                    } else {
                        1
                    };
                }
            } else {
                *run = Run {
                    value: *sample,
                    length: 1,
                };
            }
        }
    }

    /// Looks at samples at the analysis rate.
    pub(super) fn analysed(&mut self, samples: &[f32]) {
        self.analysed += samples.len() as u64;
        self.steering.push(samples);
        for &sample in samples {
            self.sum += f64::from(sample);
        }
        let classes = &mut self.classes;
        self.spectra.push(samples, |power| {
            let level = 10.0 * power[4..].iter().sum::<f64>().max(1e-30).log10();
            let class = (level + 120.0).clamp(0.0, (CLASSES - 1) as f64) as usize;
            let (frames, sums) = &mut classes[class];
            *frames += 1;
            sums.resize(power.len(), 0.0);
            for (sum, power) in sums.iter_mut().zip(power) {
                *sum += power;
            }
        });
    }

    /// Writes down what was found.
    pub(super) fn finish(self, fitness: &mut Fitness) {
        fitness.peak_db = (self.peak > 0.0).then(|| 20.0 * f64::from(self.peak).log10());
        // The tops of a clipped recording are its peak.
        if self.samples > 0 && self.clip_level >= self.peak * 0.98 {
            fitness.clipped_share = self.clipped as f64 / self.samples as f64;
        }
        if self.bad_samples > 0 {
            fitness.remarks.push(format!(
                "{} samples are not numbers or far beyond full scale and were taken as silence",
                self.bad_samples
            ));
        }
        let mean = self.sum / self.analysed.max(1) as f64;
        if mean.abs() > 0.02 {
            fitness.remarks.push(format!(
                "the recording is off centre by {:.0} % of full scale",
                mean.abs() * 100.0
            ));
        }
        fitness.gain_control = self.steering.finish();
        fitness.bass_cut_hz = self
            .quiet_spectrum()
            .and_then(|power| bass_cut_hz(&power, f64::from(ANALYSIS_RATE_HZ) / FRAME as f64));
        let rate_hz = self.drops.rate_hz;
        let dropped = self.drops.found.iter();
        fitness
            .gaps
            .extend(dropped.map(|&(from, to)| (from as f64 / rate_hz, to as f64 / rate_hz)));
        fitness.noise_floor_db = self.noise_floor_db();
        let total = self.mean_spectrum();
        fitness.bandwidth_hz = bandwidth_hz(&total);
    }

    /// Level of the quietest twentieth of the frames that hold anything.
    fn noise_floor_db(&self) -> Option<f64> {
        let all: u64 = self.classes.iter().map(|c| c.0).sum();
        let mut seen = 0;
        for (class, (frames, _)) in self.classes.iter().enumerate() {
            seen += frames;
            if *frames > 0 && seen * 20 >= all {
                return (class > 0).then_some(class as f64 - 119.5);
            }
        }
        None
    }

    /// Mean power spectrum of the quietest frames. `None` where they are too
    /// few to say anything.
    fn quiet_spectrum(&self) -> Option<Vec<f64>> {
        let first = self.classes.iter().position(|c| c.0 > 0)?;
        // Class 0 is digital silence.
        let quiet = self.classes.get(first.max(1)..)?.iter().take(QUIET_CLASSES);
        let mut frames = 0;
        let mut mean = vec![0.0; FRAME / 2 + 1];
        for (count, sums) in quiet {
            frames += count;
            for (m, s) in mean.iter_mut().zip(sums) {
                *m += s;
            }
        }
        (frames >= QUIET_FRAMES).then_some(mean)
    }

    fn mean_spectrum(&self) -> Vec<f64> {
        let mut total = vec![0.0; FRAME / 2 + 1];
        for (_, sums) in &self.classes {
            for (t, s) in total.iter_mut().zip(sums) {
                *t += s;
            }
        }
        total
    }
}

/// The largest size of some samples; no number where one of them is none.
fn largest(samples: &[f32]) -> f32 {
    // Sizes rise as their bits do, and those of no number are the largest.
    let bits = samples.iter().map(|sample| sample.abs().to_bits() as i32);
    f32::from_bits(bits.fold(0, i32::max) as u32)
}

/// Above this there is nothing: a fall of 30 dB within 300 Hz onto a level
/// that stays down. `None` where the sound reaches up to 7 kHz.
fn bandwidth_hz(power: &[f64]) -> Option<f64> {
    let bin = f64::from(ANALYSIS_RATE_HZ) / FRAME as f64;
    let band = |from_hz: f64, to_hz: f64| {
        let (a, b) = ((from_hz / bin) as usize, (to_hz / bin) as usize);
        let slice = &power[a..b.min(power.len())];
        slice.iter().sum::<f64>() / slice.len().max(1) as f64
    };
    let mut above: f64 = 0.0;
    for step in (10..70).rev() {
        let hz = f64::from(step) * 100.0;
        above = above.max(band(hz + 300.0, hz + 400.0));
        let here = band(hz - 100.0, hz);
        if here > 0.0 && here > above * 1e3 {
            return Some(hz);
        }
        // What is up there is sound of its own.
        if above > band(100.0, 1000.0) * 1e-5 {
            return None;
        }
    }
    None
}
