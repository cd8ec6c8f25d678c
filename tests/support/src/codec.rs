//! Takes through a lossy codec and back, with the program `ffmpeg`.
//!
//! `ffmpeg` takes the encoder's delay out again where the file tells it (the
//! edit list of MP4, the gapless header of MP3, the pre-skip of Opus), so a
//! take keeps its times.

use crate::takes;
use std::path::Path;
use std::process::{Command, Stdio};

/// What a phone or an upload does to a take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Codec {
    /// AAC at 64 kbit/s in MP4.
    Aac64,
    /// MP3 at 96 kbit/s.
    Mp3At96,
    /// Opus at 32 kbit/s in Ogg.
    Opus32,
}

impl Codec {
    /// Every codec.
    pub const ALL: [Self; 3] = [Self::Aac64, Self::Mp3At96, Self::Opus32];

    /// The codec that takes of a seed go through.
    pub fn of_seed(seed: u64) -> Self {
        Self::ALL[(seed % 3) as usize]
    }

    /// Its short name in [`kettlemark::take::TakeInfo`].
    pub fn name(self) -> &'static str {
        match self {
            Self::Aac64 => "aac",
            Self::Mp3At96 => "mp3",
            Self::Opus32 => "opus",
        }
    }

    fn arguments(self) -> (&'static str, &'static [&'static str]) {
        match self {
            Self::Aac64 => ("take.m4a", &["-c:a", "aac", "-b:a", "64k"]),
            Self::Mp3At96 => ("take.mp3", &["-c:a", "libmp3lame", "-b:a", "96k"]),
            Self::Opus32 => ("take.opus", &["-c:a", "libopus", "-b:a", "32k"]),
        }
    }
}

fn ffmpeg(arguments: &[&str]) -> Option<()> {
    let status = Command::new("ffmpeg")
        .args(["-nostdin", "-v", "error", "-y"])
        .args(arguments)
        .stdin(Stdio::null())
        .status()
        .ok()?;
    status.success().then_some(())
}

/// Encodes samples into a file of the kind its name says, with further
/// arguments for `ffmpeg`. `None`: no `ffmpeg`, or it failed.
pub fn encode(path: &Path, samples: &[f32], rate_hz: u32, arguments: &[&str]) -> Option<()> {
    let folder = tempfile::tempdir().ok()?;
    let wav = folder.path().join("take.wav");
    takes::write_wav(&wav, samples, rate_hz).ok()?;
    let mut all = vec!["-i", wav.to_str()?];
    all.extend(arguments);
    all.push(path.to_str()?);
    ffmpeg(&all)
}

/// Samples through a codec and back, as many and at the same times. `None`: no
/// `ffmpeg`, or it failed.
pub fn through(codec: Codec, samples: &[f32], rate_hz: u32) -> Option<Vec<f32>> {
    let folder = tempfile::tempdir().ok()?;
    let (name, arguments) = codec.arguments();
    let coded = folder.path().join(name);
    encode(&coded, samples, rate_hz, arguments)?;
    let raw = folder.path().join("take.raw");
    let rate = rate_hz.to_string();
    ffmpeg(&[
        "-i",
        coded.to_str()?,
        "-ac",
        "1",
        "-ar",
        &rate,
        "-f",
        "f32le",
        raw.to_str()?,
    ])?;
    let bytes = std::fs::read(&raw).ok()?;
    let mut decoded: Vec<f32> = bytes
        .chunks_exact(4)
        .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
        .collect();
    decoded.resize(samples.len(), 0.0);
    Some(decoded)
}
