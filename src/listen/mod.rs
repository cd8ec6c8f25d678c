//! Hearing: from samples to candidate strokes, and, once the matching has
//! said who is who, to strokes with their drum, level and pitch.

mod attack;
mod contacts;
mod describe;
mod frames;
mod growth;
mod in_rolls;
mod judge;
mod low;
mod masked;
mod nearby;
mod novelty;
mod opening;
pub mod rolling;
mod tone;
mod voices;

pub use describe::describe;
pub use in_rolls::FIRST_SD_S;
pub use judge::{FEATURE_NAMES, Features};
pub use masked::masked;
pub use opening::Opening;
pub use voices::evidence;

use crate::align::Alignment;
use crate::error::Error;
use crate::part::Part;
use crate::take::{ANALYSIS_RATE_HZ, Recording, TakeInfo};
use novelty::Novelty;
use std::sync::Arc;

/// Samples after which what has come is searched for strokes: 20 s.
const STRETCH: usize = 20 * ANALYSIS_RATE_HZ as usize;
/// Samples kept from one stretch to the next: 0.5 s.
const OVERLAP: usize = ANALYSIS_RATE_HZ as usize / 2;
/// A sum of rises below this is not even looked at.
const FAINT: f32 = 1.0;
/// Uncertainty of the coarse time: 5 ms.
const UNPLACED_SD: f64 = 80.0;
/// Candidates less likely than this are dropped: 2 %.
const LEAST_LOG_ODDS: f64 = -3.9;

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
pub fn again(heard: &Heard, part: &Part, alignment: &Alignment) -> Heard {
    let mut candidates = heard.candidates.clone();
    nearby::doubt_soft(&mut candidates, heard, alignment);
    contacts::place_again(&mut candidates, heard, part, alignment);
    in_rolls::weigh(&mut candidates, heard, part, alignment);
    Heard {
        take: heard.take.clone(),
        candidates,
        openings: Arc::clone(&heard.openings),
        low: Arc::clone(&heard.low),
        bands: Arc::clone(&heard.bands),
    }
}

/// A place where energy rises.
struct Rise {
    frame: usize,
    contact: attack::Contact,
    /// `None` at the ends of the take.
    opening: Option<Opening>,
}

/// Listens to samples as they come, at [`ANALYSIS_RATE_HZ`].
pub struct Listener {
    framer: frames::Framer,
    decimator: low::Decimator,
    picker: attack::Picker,
    /// The last samples, from sample `kept_from` on.
    kept: Vec<f32>,
    kept_from: usize,
    /// The first sample not yet searched.
    searched: usize,
    rises: Vec<Rise>,
}

impl Default for Listener {
    fn default() -> Self {
        Self {
            framer: frames::Framer::new(),
            decimator: low::Decimator::new(),
            picker: attack::Picker::new(),
            kept: Vec::new(),
            kept_from: 0,
            searched: 0,
            rises: Vec::new(),
        }
    }
}

impl Listener {
    /// Takes in further samples.
    pub fn push(&mut self, samples: &[f32]) {
        self.framer.push(samples);
        self.decimator.push(samples);
        self.kept.extend_from_slice(samples);
        let end = self.kept_from + self.kept.len();
        if end - self.searched >= STRETCH + OVERLAP {
            self.search(end - OVERLAP);
            let drop = (self.searched - OVERLAP).saturating_sub(self.kept_from);
            self.kept.drain(..drop);
            self.kept_from += drop;
        }
    }

    /// Looks for rises between the last sample searched and `to`.
    fn search(&mut self, to: usize) {
        let levels = &self.framer.bands().level_db;
        let first = (self.searched.saturating_sub(OVERLAP)) / frames::HOP;
        let novelty = Novelty::of(&levels[first..], &novelty::floors(&levels[first..], 0.1));
        for frame in novelty.peaks(FAINT) {
            let sample = (first + frame) * frames::HOP;
            if (self.searched..to).contains(&sample) {
                // A stroke in the first instants has nothing before it; the
                // coarse time is then all there is.
                let picked = sample
                    .checked_sub(self.kept_from)
                    .and_then(|coarse| self.picker.pick(&self.kept, coarse));
                let (contact, opening) = if let Some((contact, opening)) = picked {
                    let at = contact.at + self.kept_from as f64;
                    let moved = opening.after(self.kept_from);
                    (attack::Contact { at, ..contact }, Some(moved))
                } else {
                    let at = sample as f64;
                    let (sd, gain) = (UNPLACED_SD, 0.0);
                    (attack::Contact { at, sd, gain }, None)
                };
                self.rises.push(Rise {
                    frame: first + frame,
                    contact,
                    opening,
                });
            }
        }
        self.searched = to;
    }

    /// Ends the take.
    pub fn finish(mut self, take: TakeInfo) -> Heard {
        self.search(self.kept_from + self.kept.len());
        let bands = self.framer.finish();
        let judged = judge_rises(&bands, &mut self.rises, LEAST_LOG_ODDS);
        let mut openings = Vec::with_capacity(judged.len());
        let mut candidates = Vec::with_capacity(judged.len());
        for (rise, candidate, _) in judged {
            openings.push(self.rises[rise].opening.take());
            candidates.push(candidate);
        }
        Heard {
            take,
            candidates,
            openings: Arc::new(openings),
            low: Arc::new(self.decimator.finish()),
            bands: Arc::new(bands),
        }
    }

    /// Ends the take and gives every rise with its features, for fitting the
    /// weights.
    pub fn finish_for_fitting(mut self) -> Vec<(Candidate, Features)> {
        self.search(self.kept_from + self.kept.len());
        judge_rises(&self.framer.finish(), &mut self.rises, f64::NEG_INFINITY)
            .into_iter()
            .map(|(_, candidate, features)| (candidate, features))
            .collect()
    }
}

/// Weighs every rise, now that the whole take is known. Those with better log
/// odds than `least`, with their place in `rises`.
fn judge_rises(bands: &Bands, rises: &mut [Rise], least: f64) -> Vec<(usize, Candidate, Features)> {
    let levels_db = &bands.level_db;
    let floor_db = novelty::floors(levels_db, 0.1);
    let novelty = Novelty::of(levels_db, &floor_db);
    let growth = contacts::of_take(rises, &novelty);
    let fresh_db: Vec<f64> = rises
        .iter()
        .map(|rise| fresh_level_db(levels_db, rise.frame))
        .collect();
    let mut loud: Vec<f64> = fresh_db
        .iter()
        .zip(rises.iter())
        .filter(|(_, r)| novelty.sum[r.frame] > 8.0)
        .map(|(&level_db, _)| level_db)
        .collect();
    loud.sort_by(f64::total_cmp);
    let loud_db = loud.get(loud.len() * 8 / 10).copied().unwrap_or(-20.0);
    let scene = judge::Scene {
        levels_db,
        floor_db,
        novelty: &novelty,
        loud_db,
    };
    let mut judged = Vec::new();
    for (i, (rise, &level_db)) in rises.iter().zip(&fresh_db).enumerate() {
        let contact = rise.contact;
        let features = scene.features(rise.frame, level_db, contact.gain, contact.sd);
        let log_odds = judge::log_odds(&features);
        if log_odds > least {
            let (time_s, time_sd_s) = match &rise.opening {
                Some(opening) => contacts::time(growth.place(opening)),
                None => (attack::sample_s(contact.at), attack::sample_s(contact.sd)),
            };
            let candidate = Candidate {
                time_s,
                time_sd_s,
                log_odds,
                level_db,
            };
            judged.push((i, candidate, features));
        }
    }
    judged
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
    /// What is needed to place the contact of each candidate anew; `None`, or
    /// nothing at all, where it cannot be.
    pub openings: Arc<Vec<Option<Opening>>>,
    pub low: Arc<LowBand>,
    pub bands: Arc<Bands>,
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
