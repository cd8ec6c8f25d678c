//! Hearing: from samples to candidate strokes, and, once the matching has
//! said who is who, to strokes with their drum, level and pitch.

use crate::take::TakeInfo;

/// A take that has been listened to: all that later stages need of the sound.
#[derive(Clone, Debug, Default)]
pub struct Heard {
    pub take: TakeInfo,
    /// Everything that may be a stroke, in order of time, down to a
    /// probability of a few per cent.
    pub candidates: Vec<Candidate>,
    pub low: LowBand,
    pub bands: Bands,
}

/// Something that may be a stroke.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Candidate {
    /// Time of the stick's contact, seconds from the first sample.
    pub time_s: f64,
    /// Standard uncertainty of that.
    pub time_sd_s: f64,
    /// Calibrated log odds (natural) that a stroke of any drum is here.
    pub log_odds: f64,
    /// Energy of the first 80 ms above what was already ringing, 50-4000 Hz,
    /// dB re full scale.
    pub level_db: f64,
}

/// The take below 1 kHz.
#[derive(Clone, Debug, Default)]
pub struct LowBand {
    /// 2000 Hz; sample 0 is the take's first.
    pub rate_hz: f64,
    pub samples: Vec<f32>,
}

/// Number of bands in [`Bands`].
pub const BANDS: usize = 8;

/// Short-time level in a few bands.
#[derive(Clone, Debug, Default)]
pub struct Bands {
    /// Seconds between frames; frame 0 is centred on time 0.
    pub hop_s: f64,
    /// Power in each band of each frame, dB re full scale.
    pub level_db: Vec<[f32; BANDS]>,
}

/// A stroke: a candidate that was taken for one.
#[derive(Clone, Debug, PartialEq)]
pub struct Stroke {
    /// Place in [`Heard::candidates`].
    pub candidate: usize,
    pub time_s: f64,
    pub time_sd_s: f64,
    /// dB re the loudest stroke of the take.
    pub level_db: f64,
    /// Standard uncertainty of the level.
    pub level_sd_db: f64,
    /// Place in `Part::settings` of the drum that was struck; `None`: cannot
    /// tell.
    pub setting: Option<usize>,
    /// The principal tone.
    pub tone: Option<Tone>,
    /// It lies inside a roll.
    pub in_roll: bool,
    /// Place in `Part::notes` of the note it plays. Inside a roll, every
    /// stroke names the roll.
    pub note: Option<usize>,
}

/// A principal tone measured on one stroke.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tone {
    pub hz: f64,
    /// Against the written pitch of the setting, cents, sharp positive.
    pub cents: f64,
    pub cents_sd: f64,
    /// How much sharper it begins than it settles, cents. `None` where one
    /// stroke cannot tell.
    pub glide_cents: Option<f64>,
}
