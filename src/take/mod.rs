//! A take: one recording, turned into mono samples at [`ANALYSIS_RATE_HZ`].
//!
//! Samples are handed on in blocks, so that a three-hour recording needs no
//! more memory than a short one.

/// The rate at which everything is heard, in hertz. Timpani strokes show
/// themselves below 8 kHz.
pub const ANALYSIS_RATE_HZ: u32 = 16_000;

/// What is known of a recording once it has been read to its end.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TakeInfo {
    /// The file's name as given, without its folders.
    pub file: String,
    /// BLAKE3 of the file's bytes, hexadecimal.
    pub hash: String,
    pub duration_s: f64,
    /// Of the decoded samples.
    pub sample_rate_hz: u32,
    pub channels: u16,
    /// Short name of the codec: "aac", "flac", "pcm-s16" ...
    pub codec: String,
    /// False where the file does not say how much encoder delay it starts
    /// with: times may be late by a constant of up to some 50 ms.
    pub start_offset_known: bool,
    pub fitness: Fitness,
}

/// How fit a recording is for judging.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Fitness {
    /// Highest absolute sample, 0 dB = full scale. `None` for silence.
    pub peak_db: Option<f64>,
    /// Share of samples in flat-topped runs at the peak, 0 to 1.
    pub clipped_share: f64,
    /// Level of the quietest moments, dB re full scale. `None` where there is
    /// digital silence.
    pub noise_floor_db: Option<f64>,
    /// Below this the recording chain takes bass away, hertz. `None` where
    /// nothing points to it.
    pub bass_cut_hz: Option<f64>,
    /// Above this there is nothing, hertz.
    pub bandwidth_hz: Option<f64>,
    /// The level is steered automatically. `None`: cannot tell.
    pub gain_control: Option<bool>,
    /// Spans of time that were lost in the file, seconds.
    pub gaps: Vec<(f64, f64)>,
    /// Anything else worth a word, in plain English.
    pub remarks: Vec<String>,
}
