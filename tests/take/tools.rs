//! What the tests of recordings share.

use kettlemark::take::{Recording, TakeInfo};
use std::path::Path;
use std::process::Command;

/// Runs a tool; `false` where it is missing. In CI that is a failure.
pub fn run(tool: &str, args: &[&str]) -> bool {
    match Command::new(tool).args(args).output() {
        Ok(output) => {
            let said = String::from_utf8_lossy(&output.stderr);
            assert!(output.status.success(), "{tool} {args:?}: {said}");
            true
        }
        Err(_) => {
            assert!(std::env::var_os("CI").is_none(), "{tool} is missing");
            println!("SKIPPED: {tool} is not installed");
            false
        }
    }
}

/// ffmpeg's quiet run.
pub fn ffmpeg(args: &[&str]) -> bool {
    let mut all = vec!["-v", "error", "-y", "-bitexact"];
    all.extend_from_slice(args);
    run("ffmpeg", &all)
}

/// Reads a recording to its end.
pub fn read(path: &Path) -> Result<(Vec<f32>, TakeInfo), String> {
    drain(Recording::open(path).map_err(|e| e.to_string())?)
}

pub fn drain(mut recording: Recording) -> Result<(Vec<f32>, TakeInfo), String> {
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block().map_err(|e| e.to_string())? {
        samples.extend_from_slice(block);
    }
    Ok((samples, recording.finish()))
}

/// Writes 16-bit samples, the same in every channel.
pub fn write_wav(path: &Path, rate_hz: u32, channels: u16, samples: &[f32]) {
    let spec = hound::WavSpec {
        channels,
        sample_rate: rate_hz,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for sample in samples {
        for _ in 0..channels {
            writer
                .write_sample((sample * 32767.0).round() as i16)
                .unwrap();
        }
    }
    writer.finalize().unwrap();
}

/// Noise from a fixed seed, -1 to 1.
pub struct Noise(pub u64);

impl Noise {
    pub fn next_u64(&mut self) -> u64 {
        // Marsaglia, Xorshift RNGs, 2003.
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    pub fn next_f32(&mut self) -> f32 {
        (self.next_u64() >> 40) as f32 / (1u64 << 23) as f32 - 1.0
    }
}

/// A quiet hum with a burst like a stroke at `at_s`: it begins at once and
/// holds enough bass and edge that every codec keeps its place.
pub fn burst(rate_hz: u32, length_s: f64, at_s: f64) -> Vec<f32> {
    let rate = f64::from(rate_hz);
    let at = (at_s * rate).round();
    let mut noise = Noise(7);
    (0..(length_s * rate) as usize)
        .map(|i| {
            let t = (i as f64 - at) / rate;
            let mut v = f64::from(noise.next_f32()) * 0.001;
            if t >= 0.0 {
                let ring: f64 = [110.0, 165.0, 730.0, 1510.0, 2900.0]
                    .iter()
                    .map(|hz| (std::f64::consts::TAU * hz * t).sin())
                    .sum();
                v += 0.12 * ring * (-t / 0.15).exp();
            }
            v as f32
        })
        .collect()
}

/// How many samples `a` is later than `b`, by their cross-correlation, to a
/// fraction of a sample, within `most` samples.
pub fn late_by(a: &[f32], b: &[f32], most: i64) -> f64 {
    let product = |shift: i64| -> f64 {
        (0..b.len() as i64)
            .filter_map(|i| {
                Some(
                    f64::from(*a.get(usize::try_from(i + shift).ok()?)?) * f64::from(b[i as usize]),
                )
            })
            .sum()
    };
    let best = (-most..=most)
        .map(|shift| (shift, product(shift)))
        .max_by(|x, y| x.1.total_cmp(&y.1))
        .unwrap();
    let (before, after) = (product(best.0 - 1), product(best.0 + 1));
    let bend = before - 2.0 * best.1 + after;
    best.0 as f64
        + if bend == 0.0 {
            0.0
        } else {
            (before - after) / (2.0 * bend)
        }
}
