//! Recorded strokes: the three stereo timpani samples of the General MIDI
//! sound set in Debian's package `fluid-soundfont-gm` (`FluidR3`, MIT licence),
//! and single strokes of other sets (`other_strokes`).
//!
//! The file is read where the package puts it and is never copied. A SoundFont
//! 2 file is a RIFF file; its sample headers (`shdr`, 46 bytes each) name
//! places in `smpl` (SoundFont Technical Specification 2.04, section 7.10).

use crate::draw::Draw;
use crate::dsp::{Biquad, gain, peak_hz, resample};
use crate::modal::Later;
use crate::other_strokes;
use kettlemark::pitch::cents;
use std::path::Path;
use std::sync::OnceLock;

/// Where Debian puts it.
pub const PATH: &str = "/usr/share/sounds/sf2/FluidR3_GM.sf2";

/// One recorded stroke, left and right.
pub(crate) struct Sample {
    pub left: Vec<f32>,
    pub right: Vec<f32>,
    pub rate_hz: f64,
    /// The sample of the stick's contact.
    pub contact: f64,
    /// About where its principal tone lies.
    pub near_hz: f64,
}

/// Where recorded strokes come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Set {
    /// `fluid-soundfont-gm`: what is tuned on, and most takes are made of.
    Usual,
    /// Sets that nothing is tuned on.
    Other,
}

/// (name without side, about the principal tone, hertz: C2, D2, G2).
const NAMES: [(&str, f64); 3] = [
    ("Timpani 1", 64.2),
    ("Timpani 2", 73.2),
    ("Timpani 3", 99.5),
];

/// The second recording has the clearest tone of the three: it is drawn more
/// often, so that more settings have a pitch to be told.
const CLEARER: [f64; 3] = [1.0, 2.5, 1.0];

static USUAL: OnceLock<Option<Vec<Sample>>> = OnceLock::new();
static OTHER: OnceLock<Option<Vec<Sample>>> = OnceLock::new();

/// Whether the usual recorded strokes are on this machine.
pub fn available() -> bool {
    Set::Usual.available()
}

impl Set {
    /// Whether its strokes are on this machine.
    pub fn available(self) -> bool {
        self.samples().is_some()
    }

    fn samples(self) -> Option<&'static Vec<Sample>> {
        match self {
            Self::Usual => USUAL.get_or_init(|| read(Path::new(PATH))).as_ref(),
            Self::Other => OTHER.get_or_init(other_strokes::read).as_ref(),
        }
    }

    /// How willingly each of its recordings is taken for a drum of `hz`.
    fn weights(self, samples: &[Sample], hz: f64) -> Vec<(usize, f64)> {
        let octaves = |s: &Sample| (hz / s.near_hz).log2();
        let weight = |(i, s): (usize, &Sample)| match self {
            // No other recording is as low as a drum may be.
            Self::Other => (i, 1.0),
            Self::Usual if octaves(s) > -0.3 => (i, (-octaves(s).abs() / 0.5).exp() * CLEARER[i]),
            Self::Usual => (i, 0.0),
        };
        samples.iter().enumerate().map(weight).collect()
    }
}

/// The place and length of a chunk's data; lists are looked into.
pub(crate) fn chunk(data: &[u8], from: usize, to: usize, name: [u8; 4]) -> Option<(usize, usize)> {
    let mut at = from;
    while at + 8 <= to {
        let length = u32::from_le_bytes(data[at + 4..at + 8].try_into().ok()?) as usize;
        let id = &data[at..at + 4];
        if *id == name {
            return Some((at + 8, length));
        }
        if id == b"LIST" {
            let found = chunk(data, at + 12, (at + 8 + length).min(to), name);
            if found.is_some() {
                return found;
            }
        }
        at += 8 + length + (length & 1);
    }
    None
}

/// Samples of 16 bits.
pub(crate) fn pcm(bytes: &[u8]) -> Vec<f32> {
    let values = bytes.chunks_exact(2);
    values
        .map(|b| f32::from(i16::from_le_bytes([b[0], b[1]])) / 32768.0)
        .collect()
}

/// Four bytes as a number.
pub(crate) fn word(data: &[u8], at: usize) -> Option<usize> {
    let bytes = data.get(at..at + 4)?.try_into().ok()?;
    usize::try_from(u32::from_le_bytes(bytes)).ok()
}

fn read(path: &Path) -> Option<Vec<Sample>> {
    let data = std::fs::read(path).ok()?;
    let (sound, _) = chunk(&data, 12, data.len(), *b"smpl")?;
    let (headers, size) = chunk(&data, 12, data.len(), *b"shdr")?;
    let side = |name: &str| {
        data[headers..headers + size]
            .chunks_exact(46)
            .find_map(|h| {
                let end = h[..20].iter().position(|&b| b == 0).unwrap_or(20);
                if h[..end] != *name.as_bytes() {
                    return None;
                }
                let (start, stop) = (word(h, 20)?, word(h, 24)?);
                let bytes = data.get(sound + 2 * start..sound + 2 * stop)?;
                Some((pcm(bytes), word(h, 36)? as f64))
            })
    };
    NAMES
        .iter()
        .map(|&(name, near_hz)| {
            let (left, rate_hz) = side(&format!("{name}(L)"))?;
            let (right, _) = side(&format!("{name}(R)"))?;
            let contact = contact(&left).min(contact(&right)) as f64;
            Some(Sample {
                left,
                right,
                rate_hz,
                contact,
                near_hz,
            })
        })
        .collect()
}

/// Where the stroke begins: the first sample that reaches a twelfth of the
/// peak, and back from there while an eighth of a millisecond holds more than
/// a thirtieth. What comes before is a stick's swish and the recording's own
/// noise, 27-50 dB down (read off all six waveforms by eye).
pub(crate) fn contact(samples: &[f32]) -> usize {
    let peak = samples.iter().fold(0.0f32, |a, &s| a.max(s.abs()));
    let reach = |share: f32| move |s: &f32| s.abs() >= peak / share;
    let mut at = samples.iter().position(reach(12.0)).unwrap_or(0);
    while at >= 4 && samples[at - 4..at].iter().any(reach(30.0)) {
        at -= 1;
    }
    at
}

/// Contact times of the three samples after their start, milliseconds.
pub fn contacts_ms() -> Option<Vec<f64>> {
    let all = Set::Usual.samples()?;
    Some(all.iter().map(|s| 1000.0 * s.contact / s.rate_hz).collect())
}

/// A drum tuned to one pitch, from one of the recordings.
#[derive(Clone, Debug)]
pub struct RecordedDrum {
    left: Vec<f32>,
    right: Vec<f32>,
    share: f64,
    /// Sample of the contact.
    contact: usize,
    /// Principal tone as it settles, pooled over 0.12-0.65 s.
    pub hz: f64,
    /// How far it wanders there from one window to the next, standard
    /// deviation, cents: a real drum's modes are pairs, and its neighbours lie
    /// near.
    pub blur_cents: f64,
    /// Cutoff of a full stroke, and how fast it falls with the level.
    bright_hz: f64,
    dulls: f64,
    passes: f64,
    damped: f64,
}

impl RecordedDrum {
    /// A drum whose principal tone is `hz`, at `rate_hz`. `wide`: mixed and
    /// darkened from the wider ranges that only judging takes use.
    ///
    /// # Panics
    /// Without the sound set; ask [`Set::available`] first.
    pub fn draw(set: Set, draw: &mut Draw, hz: f64, rate_hz: f64, wide: bool) -> Self {
        let all = set.samples().expect("the recorded strokes are installed");
        let sample = &all[draw.weighted(&set.weights(all, hz))];
        let aside = if wide { 0.35 } else { 0.15 };
        let share = draw.between(0.5 - aside, 0.5 + aside);
        let mix: Vec<f32> = mix(&sample.left, &sample.right, share);
        let (own, blur_cents) = tone(&mix[sample.contact as usize..], sample, hz / sample.near_hz);
        let step = hz / own * sample.rate_hz / rate_hz;
        let loud = 0.55 / mix.iter().fold(0.0f32, |a, &s| a.max(s.abs()));
        let scaled =
            |side: &[f32]| -> Vec<f32> { resample(side, step).iter().map(|s| s * loud).collect() };
        Self {
            left: scaled(&sample.left),
            right: scaled(&sample.right),
            share,
            contact: (sample.contact / step).round() as usize,
            hz,
            blur_cents,
            bright_hz: draw.ratio(if wide { 3000.0 } else { 5000.0 }, 12_000.0),
            dulls: draw.between(0.6, 1.0),
            passes: draw.between(0.55, 0.9),
            damped: 6.908 / draw.between(0.09, 0.22),
        }
    }

    /// Samples before the contact in what [`RecordedDrum::stroke`] gives.
    pub fn lead(&self) -> usize {
        self.contact
    }

    /// A stroke of `level_db` (0 = full), from [`RecordedDrum::lead`] samples
    /// before the contact.
    pub fn stroke(
        &self,
        draw: &mut Draw,
        level_db: f64,
        later: &[(usize, Later)],
        rate_hz: f64,
        longest: usize,
    ) -> Vec<f32> {
        let share = (self.share + 0.03 * draw.normal()).clamp(0.0, 1.0);
        let mut out = mix(&self.left, &self.right, share);
        out.truncate(longest);
        let strength = gain(level_db);
        let cutoff = self.bright_hz * strength.powf(self.dulls) * draw.ratio(0.85, 1.18);
        Biquad::low_pass(cutoff.max(250.0), 0.6, rate_hz).run(&mut out);
        let mut level = strength;
        let mut fall = 1.0;
        let (mut easing, mut ease) = (0usize, 1.0);
        let mut events = later.iter().peekable();
        for (i, o) in out.iter_mut().enumerate() {
            while let Some((_, what)) = events.next_if(|e| e.0 + self.contact <= i) {
                match what {
                    Later::Struck(force) => {
                        let kept = 1.0 - (1.0 - self.passes) * force.powf(0.3);
                        easing = (0.004 * rate_hz) as usize;
                        ease = kept.powf(1.0 / easing as f64);
                    }
                    Later::Stopped => fall = (-self.damped / rate_hz).exp(),
                }
            }
            level *= fall;
            if easing > 0 {
                level *= ease;
                easing -= 1;
            }
            *o *= level as f32;
        }
        out
    }
}

/// The principal tone of a recording that will be played `faster` times as
/// fast, in its own hertz, and how far it wanders, cents: peaks in windows that
/// will last 200 ms, weighted by their power.
fn tone(from_contact: &[f32], sample: &Sample, faster: f64) -> (f64, f64) {
    let span = |s: f64| ((s * faster * sample.rate_hz) as usize).min(from_contact.len());
    let peaks: Vec<(f64, f64)> = (0..8)
        .map(|i| {
            let from = 0.12 + 0.05 * f64::from(i);
            let window = &from_contact[span(from)..span(from + 0.2)];
            let hz = peak_hz(window, sample.rate_hz, sample.near_hz, 60.0);
            let power: f32 = window.iter().map(|v| v * v).sum();
            (cents(hz, sample.near_hz), f64::from(power))
        })
        .collect();
    let weight: f64 = peaks.iter().map(|p| p.1).sum();
    let mean = peaks.iter().map(|p| p.0 * p.1).sum::<f64>() / weight;
    let square = peaks
        .iter()
        .map(|p| (p.0 - mean).powi(2) * p.1)
        .sum::<f64>()
        / weight;
    (sample.near_hz * 2f64.powf(mean / 1200.0), square.sqrt())
}

fn mix(left: &[f32], right: &[f32], share: f64) -> Vec<f32> {
    let (l, r) = (share as f32, 1.0 - share as f32);
    left.iter().zip(right).map(|(a, b)| l * a + r * b).collect()
}
