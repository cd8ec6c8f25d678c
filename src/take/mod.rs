//! A take: one recording, turned into mono samples at [`ANALYSIS_RATE_HZ`].
//!
//! Samples are handed on in blocks, so that a three-hour recording needs no
//! more memory than a short one.

mod bass;
mod codec;
mod decode;
mod drops;
mod fitness;
mod guard;
mod mended;
mod mix;
mod mp4;
mod open;
mod opus;
mod resample;
mod spectra;
mod steering;
mod trace;

use crate::error::Error;
use decode::{Decoding, Step};
use fitness::Meter;
use mix::Mixer;
use resample::Resampler;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

/// Blocks handed on have at least this many samples, but for the last.
const BLOCK: usize = 4096;

enum Source {
    File(Box<Decoding>),
    Samples { samples: Vec<f32>, at: usize },
}

/// A recording on its way to samples. Its first sample is the first that a
/// player of the file would sound.
pub struct Recording {
    path: PathBuf,
    source: Source,
    info: TakeInfo,
    rate_hz: u32,
    planar: Vec<Vec<f32>>,
    mono: Vec<f32>,
    out: Vec<f32>,
    meter: Meter,
    mixer: Option<Mixer>,
    /// `None` where the recording has the analysis rate already.
    resampler: Option<Resampler>,
    frames: u64,
    ended: bool,
}

impl Recording {
    /// Opens a recording. The error says what is wrong with the file and what
    /// can be done.
    pub fn open(path: &Path) -> Result<Self, Error> {
        let fault = |what: String| Error::Take {
            path: path.to_owned(),
            what,
        };
        let opened = catch_unwind(AssertUnwindSafe(|| open::open(path)))
            .unwrap_or_else(|_| Err("its header is damaged beyond reading".into()))
            .map_err(fault)?;
        let info = TakeInfo {
            file: path
                .file_name()
                .map_or_else(String::new, |n| n.to_string_lossy().into_owned()),
            hash: opened.hash,
            codec: opened.decoding.codec.clone(),
            fitness: Fitness {
                remarks: opened.remarks,
                ..Fitness::default()
            },
            ..TakeInfo::default()
        };
        let mut recording = Self::new(
            Source::File(Box::new(opened.decoding)),
            info,
            path.to_owned(),
        );
        // Whether anything can be decoded shows with the first packet.
        recording.fetch()?;
        if let Source::File(decoding) = &recording.source {
            recording.info.start_offset_known = decoding.offset_known;
        }
        if recording.rate_hz == 0 {
            return Err(Error::Take {
                path: path.to_owned(),
                what: "it holds no sound that can be decoded; if a player can play it, convert \
                       it with \"ffmpeg -i FILE take.wav\" and give that"
                    .into(),
            });
        }
        Ok(recording)
    }

    /// A recording out of memory: one channel of samples at `rate_hz`. A rate
    /// of 0 gives a recording of nothing.
    pub fn from_samples(samples: Vec<f32>, rate_hz: u32) -> Self {
        let info = TakeInfo {
            codec: "samples".into(),
            start_offset_known: true,
            ..TakeInfo::default()
        };
        let mut recording = Self::new(Source::Samples { samples, at: 0 }, info, PathBuf::new());
        if rate_hz == 0 {
            recording.ended = true;
        } else {
            recording.begin(rate_hz, 1);
        }
        recording
    }

    /// The same, where its samples were decoded elsewhere from a codec of this
    /// short name.
    #[must_use]
    pub fn decoded_from(mut self, codec: &str) -> Self {
        codec.clone_into(&mut self.info.codec);
        self
    }

    fn new(source: Source, info: TakeInfo, path: PathBuf) -> Self {
        Self {
            path,
            source,
            info,
            rate_hz: 0,
            planar: Vec::new(),
            mono: Vec::new(),
            out: Vec::new(),
            meter: Meter::new(0),
            mixer: None,
            resampler: None,
            frames: 0,
            ended: false,
        }
    }

    fn begin(&mut self, rate_hz: u32, channels: usize) {
        self.rate_hz = rate_hz;
        self.info.sample_rate_hz = rate_hz;
        self.info.channels = channels as u16;
        self.meter = Meter::new(rate_hz);
        self.mixer = Some(Mixer::new(channels, rate_hz));
        self.resampler = (rate_hz != ANALYSIS_RATE_HZ).then(|| Resampler::new(rate_hz));
    }

    /// The next samples: one channel at [`ANALYSIS_RATE_HZ`], full scale 1.
    /// `None` after the last.
    pub fn next_block(&mut self) -> Result<Option<&[f32]>, Error> {
        self.out.clear();
        while self.out.len() < BLOCK
            && !(self.ended && self.mono.is_empty() && self.mixer.is_none())
        {
            if self.planar.first().is_none_or(Vec::is_empty) && !self.ended {
                self.fetch()?;
            }
            self.process();
        }
        self.meter.analysed(&self.out);
        Ok((!self.out.is_empty()).then_some(self.out.as_slice()))
    }

    /// Gets the next frames of the source into `planar`.
    fn fetch(&mut self) -> Result<(), Error> {
        match &mut self.source {
            Source::Samples { samples, at } => {
                let to = (*at + BLOCK).min(samples.len());
                self.planar.resize_with(1, Vec::new);
                self.planar[0].clear();
                self.planar[0].extend_from_slice(&samples[*at..to]);
                self.ended = to == *at;
                *at = to;
            }
            Source::File(decoding) => {
                let planar = &mut self.planar;
                match catch_unwind(AssertUnwindSafe(|| decoding.next(planar))) {
                    Ok(Step::Frames) => {}
                    Ok(Step::End) => self.ended = true,
                    Err(_) => {
                        self.ended = true;
                        self.planar.clear();
                        self.info.fitness.remarks.push(
                            "the decoder gave up in the middle of the file; what came before was \
                             read"
                                .into(),
                        );
                    }
                }
                let (rate_hz, channels) = (decoding.rate_hz, decoding.channels);
                if self.rate_hz == 0 && rate_hz > 0 {
                    if !(8000..=384_000).contains(&rate_hz) || channels > 32 {
                        return Err(Error::Take {
                            path: self.path.clone(),
                            what: format!(
                                "it says {rate_hz} Hz and {channels} channels; takes of 8 to \
                                 384 kHz with up to 32 channels are read"
                            ),
                        });
                    }
                    self.begin(rate_hz, channels);
                }
            }
        }
        Ok(())
    }

    /// Mixes and resamples what was fetched; at the end, all that is left.
    fn process(&mut self) {
        let Some(mixer) = &mut self.mixer else {
            return;
        };
        if self.planar.first().is_some_and(|c| !c.is_empty()) {
            self.frames += self.planar[0].len() as u64;
            self.meter.decoded(&mut self.planar);
            mixer.push(&self.planar, &mut self.mono);
            self.planar.iter_mut().for_each(Vec::clear);
        } else if self.ended {
            mixer.finish(&mut self.mono);
            self.info.fitness.remarks.extend(mixer.remarks());
            self.mixer = None;
        }
        match &mut self.resampler {
            Some(resampler) => {
                resampler.push(&self.mono, &mut self.out);
                if self.mixer.is_none() {
                    resampler.finish(&mut self.out);
                }
            }
            None => self.out.extend_from_slice(&self.mono),
        }
        self.mono.clear();
    }

    /// What is known of the recording. Covers what was read so far, so read
    /// it to its end first.
    pub fn finish(mut self) -> TakeInfo {
        self.info.duration_s = self.frames as f64 / f64::from(self.rate_hz.max(1));
        let fitness = &mut self.info.fitness;
        if let Source::File(decoding) = &mut self.source {
            fitness.gaps = decoding.gaps();
            fitness.remarks.extend(decoding.last_remarks());
        }
        self.meter.finish(fitness);
        merge(&mut fitness.gaps);
        self.info
    }
}

/// Gaps in order of time, those that touch as one.
fn merge(gaps: &mut Vec<(f64, f64)>) {
    const TOUCHING_S: f64 = 0.03;
    gaps.sort_by(|a, b| a.0.total_cmp(&b.0));
    gaps.dedup_by(|next, kept| {
        let touching = next.0 <= kept.1 + TOUCHING_S;
        if touching {
            kept.1 = kept.1.max(next.1);
        }
        touching
    });
}

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

impl TakeInfo {
    /// Whether its codec lets something of a stroke sound before it.
    pub(crate) fn echoes(&self) -> bool {
        ["aac", "opus"].contains(&self.codec.as_str())
    }
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
