//! Hearing: from samples to candidate strokes, and, once the matching has
//! said who is who, to strokes with their drum, level and pitch.

mod contacts;
mod describe;
mod frames;
mod growth;
mod in_rolls;
mod judge;
pub mod known;
mod logistic;
mod low;
mod metronome;
mod nearby;
mod novelty;
mod opening;
mod residual;
mod rises;
pub mod rolling;
mod silence;
mod spaced;
mod tone;
mod usual;
mod views;
mod voices;

pub use describe::describe;
pub use growth::{Grown, Ways};
pub use in_rolls::FIRST_SD_S;
pub use judge::{FEATURE_NAMES, Features};
pub use logistic::Logistic;
pub use metronome::Metronome;
pub use opening::Place;
pub use residual::Residual;
pub use silence::{SIGN_NAMES, Signs, signs, unheard};
pub use spaced::PLACED_ALONE;
pub use voices::{Voices, foretold};

use crate::align::Alignment;
use crate::error::Error;
use crate::part::Part;
use crate::take::{ANALYSIS_RATE_HZ, Recording, TakeInfo};
use novelty::Novelty;
use opening::Opening;
use std::sync::Arc;

/// A sum of rises below this is not even looked at.
const FAINT: f32 = 1.0;
/// Candidates less likely than this are dropped: 2 %.
const LEAST_LOG_ODDS: f64 = -3.9;

/// Samples kept at most, for taking clicks out of them: a quarter of an hour.
const MOST_KEPT: usize = 900 * ANALYSIS_RATE_HZ as usize;
/// Samples that are framed at once.
const AT_ONCE: usize = 4096;

/// Listens to a recording, knowing nothing of the part.
pub fn listen(mut recording: Recording) -> Result<Heard, Error> {
    let mut listener = Listener::default();
    while let Some(block) = recording.next_block()? {
        listener.push(block);
    }
    Ok(listener.finish(recording.finish()))
}

/// Hears the candidates of a take anew, now that the matching has said which
/// stroke is which note: when each began, and how likely it is one. Strokes
/// inside rolls may be added behind the others.
#[must_use]
pub fn again(heard: &Heard, part: &Part, alignment: &Alignment, a4_hz: f64) -> Heard {
    let mut candidates = heard.candidates.clone();
    let voices = Voices::learn(heard, part, alignment, a4_hz);
    known::weigh(&mut candidates, heard, part, alignment, &voices);
    let ways_of_settings = contacts::place_again(&mut candidates, heard, part, alignment);
    in_rolls::weigh(&mut candidates, heard, part, alignment);
    Heard {
        candidates,
        ways_of_settings: Arc::new(ways_of_settings),
        ..heard.clone()
    }
}

/// Places the strokes inside rolls by one another, now that the matching has said
/// which they are.
#[must_use]
pub fn in_step(heard: &Heard, part: &Part, alignment: &Alignment) -> Heard {
    let mut candidates = heard.candidates.clone();
    spaced::place(&mut candidates, heard, part, alignment);
    Heard {
        candidates,
        ..heard.clone()
    }
}

/// Listens to samples as they come, at [`crate::take::ANALYSIS_RATE_HZ`].
pub struct Listener {
    framing: Framing,
    /// The samples themselves, while they are few enough to be kept.
    kept: Option<Vec<f32>>,
}

impl Default for Listener {
    fn default() -> Self {
        Self {
            framing: Framing::new(),
            kept: Some(Vec::new()),
        }
    }
}

impl Listener {
    /// Takes in further samples.
    pub fn push(&mut self, samples: &[f32]) {
        self.framing.push(samples);
        if let Some(kept) = &mut self.kept {
            kept.extend_from_slice(samples);
        }
        self.kept.take_if(|kept| kept.len() > MOST_KEPT);
    }

    /// Ends the take.
    pub fn finish(self, take: TakeInfo) -> Heard {
        let (frames, metronome) = self.frames();
        let (judged, ways) = judge_rises(
            &frames.bands,
            &frames.residual,
            take.echoes(),
            LEAST_LOG_ODDS,
        );
        let (candidates, places) = judged
            .into_iter()
            .map(|(candidate, place, _)| (candidate, place))
            .unzip();
        Heard {
            take,
            candidates,
            places: Arc::new(places),
            residual: Arc::new(frames.residual),
            metronome,
            low: Arc::new(frames.low),
            bands: Arc::new(frames.bands),
            ways: Arc::new(ways),
            ways_of_settings: Arc::default(),
        }
    }

    /// The frames of the take, without the clicks of its metronome where it has
    /// one and these can be taken out.
    fn frames(self) -> (Frames, Option<Metronome>) {
        let frames = self.framing.finish();
        let metronome = Metronome::find(&frames.bands, &frames.residual);
        if let (Some(metronome), Some(mut samples)) = (&metronome, self.kept)
            && metronome.take_out(&mut samples)
        {
            let mut framing = Framing::new();
            samples.chunks(AT_ONCE).for_each(|few| framing.push(few));
            return (framing.finish(), Some(metronome.clone()));
        }
        (frames, metronome)
    }

    /// Ends the take and gives every rise with its features, for fitting the
    /// weights.
    pub fn finish_for_fitting(self) -> Vec<(Candidate, Features)> {
        let (frames, _) = self.frames();
        judge_rises(&frames.bands, &frames.residual, false, f64::NEG_INFINITY)
            .0
            .into_iter()
            .map(|(candidate, _, features)| (candidate, features))
            .collect()
    }
}

/// What every later stage looks at.
struct Frames {
    bands: Bands,
    residual: Residual,
    low: LowBand,
}

/// Turns samples into frames as they come.
struct Framing {
    framer: frames::Framer,
    decimator: low::Decimator,
    whitener: residual::Whitener,
    samples: usize,
}

impl Framing {
    fn new() -> Self {
        Self {
            framer: frames::Framer::new(),
            decimator: low::Decimator::new(),
            whitener: residual::Whitener::new(),
            samples: 0,
        }
    }

    fn push(&mut self, samples: &[f32]) {
        self.framer.push(samples);
        self.decimator.push(samples);
        self.whitener.push(samples);
        self.samples += samples.len();
    }

    fn finish(self) -> Frames {
        Frames {
            bands: self.framer.finish(),
            residual: self.whitener.finish(self.samples),
            low: self.decimator.finish(),
        }
    }
}

/// Weighs every rise, now that the whole take is known, and gives those with
/// better log odds than `least`, and how strokes grow.
fn judge_rises(
    bands: &Bands,
    residual: &Residual,
    coded: bool,
    least: f64,
) -> (Vec<(Candidate, Place, Features)>, Grown) {
    let levels_db = &bands.level_db;
    let floor_db = novelty::floors(levels_db, 0.1);
    let novelty = Novelty::of(levels_db, &floor_db);
    let rises = rises::find(residual, &novelty.peaks(FAINT));
    let places = contacts::places(&rises);
    let ways = contacts::of_take(residual, &rises, &places, coded);
    let frames: Vec<usize> = rises.iter().map(|r| novelty.frame_of(r)).collect();
    let fresh_db: Vec<f64> = frames
        .iter()
        .map(|&frame| fresh_level_db(levels_db, frame))
        .collect();
    let mut loud: Vec<f64> = fresh_db
        .iter()
        .zip(&frames)
        .filter(|&(_, &frame)| novelty.sum[frame] > 8.0)
        .map(|(&level_db, _)| level_db)
        .collect();
    loud.sort_by(f64::total_cmp);
    let loud_db = loud.get(loud.len() * 8 / 10).copied().unwrap_or(-20.0);
    let scene = judge::Scene {
        levels_db,
        floor_db,
        novelty: &novelty,
        rises: &rises,
        loud_db,
    };
    let mut judged = Vec::new();
    for (i, (&frame, &level_db)) in frames.iter().zip(&fresh_db).enumerate() {
        let features = scene.features(i, frame, level_db);
        let log_odds = judge::log_odds(&features);
        if log_odds > least {
            let placed = ways.likelier().place(&Opening::new(residual, places[i]));
            let (time_s, time_sd_s) = contacts::time(placed);
            let candidate = Candidate {
                time_s,
                time_sd_s,
                log_odds,
                level_db,
            };
            judged.push((candidate, places[i], features));
        }
    }
    (judged, ways)
}

/// Whether a value is the highest of those up to `apart` places around it, and
/// the first where several are.
fn is_peak<T: PartialOrd>(values: &[T], place: usize, apart: usize) -> bool {
    let from = place.saturating_sub(apart);
    let to = (place + apart + 1).min(values.len());
    let highest = &values[place];
    values[from..place].iter().all(|v| v < highest)
        && values[place..to].iter().all(|v| v <= highest)
}

/// Energy of the first 80 ms above what was ringing, 47-4200 Hz, dB re full
/// scale.
fn fresh_level_db(levels_db: &[[f32; BANDS]], frame: usize) -> f64 {
    let total = |i: usize| -> f64 {
        levels_db.get(i).map_or(0.0, |l| {
            l[..BANDS - 1]
                .iter()
                .map(|&x| 10f64.powf(f64::from(x) * 0.1))
                .sum()
        })
    };
    let after = (2..15).map(|k| total(frame + k)).sum::<f64>() / 13.0;
    let before = (3..9)
        .filter_map(|k| frame.checked_sub(k))
        .map(total)
        .sum::<f64>()
        / 6.0;
    // What rang goes on ringing, a little softer.
    10.0 * (after - 0.85 * before).max(0.02 * after).max(1e-13).log10()
}

/// A take that has been listened to: all that later stages need of the sound.
#[derive(Clone, Debug, Default)]
pub struct Heard {
    pub take: TakeInfo,
    /// Everything that may be a stroke, in order of time, down to a
    /// probability of a few per cent; behind these the strokes that only a
    /// roll as a whole shows.
    pub candidates: Vec<Candidate>,
    /// Where the contact of each candidate may be; none where candidates did
    /// not come from a sound.
    pub places: Arc<Vec<Place>>,
    pub residual: Arc<Residual>,
    /// The metronome that sounds along; `None` where none was found. Its clicks
    /// are taken out of all that is heard, where they can be.
    pub metronome: Option<Metronome>,
    pub low: Arc<LowBand>,
    pub bands: Arc<Bands>,
    /// How its strokes may grow.
    pub ways: Arc<Grown>,
    /// How they grow on the drum of every setting, once the part is known.
    pub ways_of_settings: Arc<Vec<Ways>>,
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
