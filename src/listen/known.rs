//! Whether a candidate is a stroke, now that the drums of the take are known.
//!
//! A logistic model of what was said knowing nothing of the part, how strong
//! the strokes around are, and how well the drums explain the sound.

use super::logistic::Logistic;
use super::nearby::Nearby;
use super::rises::Scale;
use super::usual::Profile;
use super::voices::Voices;
use super::{Candidate, Heard};
use crate::align::Alignment;
use crate::part::Part;
use std::collections::BTreeSet;
use std::sync::LazyLock;

/// How many signs there are, the constant included.
const SIGNS: usize = SIGN_NAMES.len();

/// What each sign says; the order of the weights file.
pub const SIGN_NAMES: [&str; 14] = [
    "constant",
    "odds",
    "struck",
    "like_a_drum",
    "strange",
    "residual",
    "residual_before",
    "followed",
    "followed_odds",
    "followed_struck",
    "followed_strange",
    "click",
    "click_odds",
    "click_strange",
];

/// The signs of one candidate.
pub type Signs = [f32; SIGNS];

/// Log odds and nepers beyond which a sign says no more.
const ODDS: (f64, f64) = (-6.0, 7.0);
const STRUCK: (f64, f64) = (-10.0, 12.0);
const LIKE_A_DRUM: f64 = 30.0;
const RESIDUAL: (f64, f64) = (-12.0, 12.0);
/// Bins of the residual compared, after and before.
const SIDES: [(usize, usize); 2] = [(60, 40), (60, 100)];
/// A stroke that follows within this speaks for itself, seconds.
const FOLLOWED_S: f64 = 0.06;
/// A click of a metronome covers what lies this near, seconds.
const CLICK_S: f64 = 0.015;

static MODEL: LazyLock<Logistic<SIGNS>> =
    LazyLock::new(|| Logistic::read(&SIGN_NAMES, include_str!("known.csv")));

/// Weighs all candidates anew but those inside rolls and the grace strokes.
/// `candidates` are those of `heard`.
pub fn weigh(
    candidates: &mut [Candidate],
    heard: &Heard,
    part: &Part,
    alignment: &Alignment,
    voices: &Voices,
) {
    let signs = signs(heard, part, alignment, voices);
    for (candidate, signs) in candidates.iter_mut().zip(signs) {
        if let Some(signs) = signs {
            candidate.log_odds = MODEL.log_odds(&signs);
        }
    }
}

/// The signs of every candidate; `None` inside rolls and for grace strokes,
/// which are softer than notes and follow too closely.
pub fn signs(
    heard: &Heard,
    part: &Part,
    alignment: &Alignment,
    voices: &Voices,
) -> Vec<Option<Signs>> {
    let nearby = Nearby::new(heard, alignment);
    let matches = alignment.passages.iter().flat_map(|p| &p.matches);
    let softer: BTreeSet<usize> = matches.flat_map(|m| m.further.iter().copied()).collect();
    let usual: Vec<Profile> = Profile::usual(heard, part, alignment)
        .into_iter()
        .flatten()
        .collect();
    let scale = Scale::of(&heard.residual);
    let next_s = next_strokes(&heard.candidates);
    let sign = |(i, candidate): (usize, &Candidate)| {
        if softer.contains(&i) {
            return None;
        }
        let place = heard.places.get(i)?;
        let time_s = candidate.time_s;
        let stronger_db = nearby.stronger_db(time_s, Some(i));
        let sounds = voices.sounds(i, stronger_db);
        let [residual, residual_before] = SIDES.map(|sides| {
            let agrees = usual.iter().map(|profile| {
                let expected = profile.stronger(stronger_db);
                scale.agrees(place.bin, &expected.parts, sides)
            });
            let most = agrees.fold(RESIDUAL.0, f64::max);
            most.min(RESIDUAL.1) as f32
        });
        let odds = candidate.log_odds.clamp(ODDS.0, ODDS.1) as f32;
        let struck = sounds.struck.clamp(STRUCK.0, STRUCK.1) as f32;
        let strange = sounds.strange as f32;
        let followed = next_s[i] - time_s < FOLLOWED_S || sounds.covered;
        let click = heard
            .clicks
            .as_ref()
            .is_some_and(|c| c.metronome.off_s(time_s).abs() < CLICK_S);
        let when = |so: bool, sign: f32| if so { sign } else { 0.0 };
        Some([
            1.0,
            odds,
            struck,
            sounds.like_a_drum.clamp(0.0, LIKE_A_DRUM).ln_1p() as f32,
            strange,
            residual,
            residual_before,
            when(followed, 1.0),
            when(followed, odds),
            when(followed, struck),
            when(followed, strange),
            when(click, 1.0),
            when(click, odds),
            when(click, strange),
        ])
    };
    heard.candidates.iter().enumerate().map(sign).collect()
}

/// The time of the next candidate that is likelier a stroke than not, for each.
fn next_strokes(candidates: &[Candidate]) -> Vec<f64> {
    let mut likely: Vec<f64> = candidates
        .iter()
        .filter(|c| c.log_odds > 0.0)
        .map(|c| c.time_s)
        .collect();
    likely.sort_by(f64::total_cmp);
    candidates
        .iter()
        .map(|c| {
            let next = likely.partition_point(|&t| t <= c.time_s);
            likely.get(next).copied().unwrap_or(f64::INFINITY)
        })
        .collect()
}
