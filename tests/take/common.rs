//! Files with clicks at known samples, made by other programs, and how they
//! are read: by kettlemark and by `ffmpeg`.

use kettlemark::take::{ANALYSIS_RATE_HZ, Recording, TakeInfo};
use kettlemark_test_support::outside;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Everything compared is compared at this rate.
pub const RATE: usize = ANALYSIS_RATE_HZ as usize;
/// When the clicks sound, seconds; whole samples at every usual rate.
pub const CLICKS_S: [f64; 3] = [0.5, 1.25, 2.0];
/// How long a made take lasts, seconds.
pub const LENGTH_S: f64 = 2.5;

/// Short bursts at [`CLICKS_S`] that start at full height, with something to
/// hear between them. Fits into 8 kHz.
pub fn clicks(rate_hz: u32) -> Vec<f32> {
    let rate = f64::from(rate_hz);
    let mut samples: Vec<f32> = (0..(LENGTH_S * rate) as usize)
        .map(|i| (0.01 * (std::f64::consts::TAU * 220.0 * i as f64 / rate).sin()) as f32)
        .collect();
    for (k, at_s) in CLICKS_S.iter().enumerate() {
        let from = (at_s * rate).round() as usize;
        let hz = 500.0 + 400.0 * k as f64;
        for (i, s) in samples[from..]
            .iter_mut()
            .take(rate as usize / 4)
            .enumerate()
        {
            let t = i as f64 / rate;
            let tone = (std::f64::consts::TAU * hz * t).cos()
                + 0.7 * (std::f64::consts::TAU * 2.7 * hz * t).cos();
            *s += (0.35 * tone * (-t / 0.03).exp()) as f32;
        }
    }
    samples
}

/// Writes channels as WAV, 16 bits.
pub fn write_wav(path: &Path, channels: &[Vec<f32>], rate_hz: u32) {
    let format = (16, hound::SampleFormat::Int);
    write_samples(path, channels, rate_hz, format, |x| {
        (x.clamp(-1.0, 1.0) * 32767.0).round() as i16
    });
}

/// Writes channels as WAV of floating point numbers.
pub fn write_float_wav(path: &Path, channels: &[Vec<f32>], rate_hz: u32) {
    let format = (32, hound::SampleFormat::Float);
    write_samples(path, channels, rate_hz, format, |x| x);
}

fn write_samples<S: hound::Sample>(
    path: &Path,
    channels: &[Vec<f32>],
    rate_hz: u32,
    (bits_per_sample, sample_format): (u16, hound::SampleFormat),
    coded: impl Fn(f32) -> S,
) {
    let spec = hound::WavSpec {
        channels: channels.len() as u16,
        sample_rate: rate_hz,
        bits_per_sample,
        sample_format,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for i in 0..channels[0].len() {
        for channel in channels {
            writer.write_sample(coded(channel[i])).unwrap();
        }
    }
    writer.finalize().unwrap();
}

/// Runs a program in a folder; what it says is shown when it fails.
pub fn run(folder: &Path, program: &str, arguments: &[&str]) {
    let output = Command::new(program)
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .unwrap_or_else(|e| panic!("{program} does not start: {e}"));
    assert!(
        output.status.success(),
        "{program} {arguments:?}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
}

/// Runs `ffmpeg` in a folder.
pub fn ffmpeg(folder: &Path, arguments: &[&str]) {
    let mut all = vec!["-nostdin", "-v", "error", "-y", "-threads", "1"];
    all.extend(arguments);
    run(folder, "ffmpeg", &all);
}

/// True where every program is there; otherwise the test is skipped.
pub fn have(programs: &[&str]) -> bool {
    programs.iter().all(|p| outside::tool(p).is_some())
}

/// A folder with `clicks.wav` in it: `channels` times the same clicks.
pub fn folder_with_clicks(rate_hz: u32, channels: usize) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let samples = clicks(rate_hz);
    write_wav(
        &folder.path().join("clicks.wav"),
        &vec![samples; channels],
        rate_hz,
    );
    folder
}

/// All that a recording gives, at [`RATE`].
pub fn drain(mut recording: Recording) -> (Vec<f32>, TakeInfo) {
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block().unwrap() {
        samples.extend_from_slice(block);
    }
    (samples, recording.finish())
}

/// Reads a file as kettlemark does.
pub fn read(path: &Path) -> (Vec<f32>, TakeInfo) {
    drain(Recording::open(path).unwrap_or_else(|e| panic!("{e}")))
}

/// A file decoded by `ffmpeg` (edit lists and gapless headers obeyed), mixed
/// to one channel by it, then brought to [`RATE`] as kettlemark would.
pub fn read_by_ffmpeg(path: &Path, rate_hz: u32) -> Vec<f32> {
    let raw = path.with_extension("reference.raw");
    let rate = rate_hz.to_string();
    ffmpeg(
        path.parent().unwrap(),
        &[
            "-i",
            path.to_str().unwrap(),
            "-vn",
            "-ac",
            "1",
            "-ar",
            &rate,
            "-f",
            "f32le",
            raw.to_str().unwrap(),
        ],
    );
    let samples = read_raw(&raw);
    drain(Recording::from_samples(samples, rate_hz)).0
}

/// A file of bare 32-bit floats.
pub fn read_raw(path: &PathBuf) -> Vec<f32> {
    std::fs::read(path)
        .unwrap()
        .chunks_exact(4)
        .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
        .collect()
}

/// How many samples at [`RATE`] a click lies after its true place, looked for
/// within 200 ms, by cross-correlation with the click as it was made.
/// `shift_s`: where the clicks as a whole were put.
pub fn lag_of(samples: &[f32], click: usize, shift_s: f64) -> i64 {
    const REACH: i64 = 3200;
    let truth = clicks(ANALYSIS_RATE_HZ);
    let in_truth = (CLICKS_S[click] * RATE as f64) as usize - 160;
    let window = &truth[in_truth..in_truth + 2400];
    let from = in_truth as i64 + (shift_s * RATE as f64) as i64;
    let at = |shift: i64| -> f64 {
        window
            .iter()
            .enumerate()
            .map(|(i, v)| {
                let place = from + i as i64 + shift;
                let there = usize::try_from(place).ok().and_then(|p| samples.get(p));
                f64::from(*v) * f64::from(*there.unwrap_or(&0.0))
            })
            .sum()
    };
    (-REACH..=REACH)
        .max_by(|&a, &b| at(a).total_cmp(&at(b)))
        .unwrap()
}

/// The lag that all clicks share.
///
/// # Panics
/// When they do not: something moved in between.
pub fn lag(samples: &[f32], name: &str) -> i64 {
    lag_after(samples, name, 0.0)
}

/// As [`lag`], of clicks that were put at `shift_s`.
pub fn lag_after(samples: &[f32], name: &str, shift_s: f64) -> i64 {
    let lags: Vec<i64> = (0..CLICKS_S.len())
        .map(|k| lag_of(samples, k, shift_s))
        .collect();
    assert!(
        lags.iter().all(|l| (l - lags[0]).abs() <= 8),
        "{name}: clicks moved against one another: {lags:?}"
    );
    lags[1]
}

/// Numbers between -1 and 1 that look like chance.
pub fn white(seed: u64) -> impl Iterator<Item = f32> {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    std::iter::repeat_with(move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 40) as f32 / (1 << 23) as f32 - 1.0
    })
}
