//! Would a stroke have shown? For notes at which nothing was found.

use super::nearby::Nearby;
use super::{BANDS, Heard};
use crate::align::{Alignment, Outcome};
use crate::part::{Part, quarters_f64};

/// How far the level of a stroke lies from what is expected beside the strokes
/// around it, standard deviation, dB.
const SPREAD_DB: f64 = 3.5;
/// Points at which that spread is looked at, in standard deviations, with the
/// normal share of each.
const SPREAD: [(f64, f32); 7] = [
    (-3.0, 0.0060),
    (-2.0, 0.0606),
    (-1.0, 0.2417),
    (0.0, 0.3834),
    (1.0, 0.2417),
    (2.0, 0.0606),
    (3.0, 0.0060),
];
/// The sum of rises (nepers of power) at which a stroke shows half the time,
/// and how quickly that changes.
const SHOWS_AT: f32 = 3.5;
const SHOWS_WIDTH: f32 = 0.6;
/// A second stroke this close to another candidate does not show, seconds.
const TOGETHER_S: f64 = 0.035;

/// For every note of the part: the chance that its stroke, played about as loud
/// as those around it, would leave no candidate. `None` where a stroke was found or no passage
/// leads there.
pub fn masked(heard: &Heard, part: &Part, alignment: &Alignment) -> Vec<Option<f32>> {
    let note_settings = part.note_settings();
    let settings = part.settings().len();
    let mut profiles: Vec<Vec<[f32; BANDS]>> = vec![Vec::new(); settings];
    let mut levels_db: Vec<f64> = Vec::new();
    for passage in &alignment.passages {
        for (offset, found) in passage.matches.iter().enumerate() {
            let setting = note_settings[passage.notes.0 + offset];
            if let (Outcome::Played, Some(c), Some(s)) = (found.outcome, found.stroke, setting) {
                profiles[s].push(fresh(heard, heard.candidates[c].time_s));
                levels_db.push(heard.candidates[c].level_db);
            }
        }
    }
    let everything: Vec<[f32; BANDS]> = profiles.iter().flatten().copied().collect();
    let usual: Vec<Option<[f32; BANDS]>> = profiles
        .iter()
        .map(|p| median(if p.len() < 3 { &everything } else { p }))
        .collect();
    levels_db.sort_by(f64::total_cmp);
    let usual_db = levels_db.get(levels_db.len() / 2).copied().unwrap_or(0.0);
    let nearby = Nearby::new(heard, alignment);
    let mut masked = vec![None; part.notes.len()];
    for passage in &alignment.passages {
        for (offset, found) in passage.matches.iter().enumerate() {
            let note = passage.notes.0 + offset;
            let at = passage.pulse.time_s(quarters_f64(part.notes[note].at));
            if found.stroke.is_none()
                && let (Some(at), Some(setting)) = (at, note_settings[note])
            {
                // The softer of the two sides: a mark may change here.
                let around = nearby.levels_db(at, None).into_iter().flatten();
                let around_db = around.fold(usual_db, f64::min);
                let chance = |p| hidden(heard, at, &p, around_db - usual_db);
                masked[note] = Some(usual[setting].map_or(1.0, chance));
            }
        }
    }
    masked
}

/// Power that a stroke adds in each band.
fn fresh(heard: &Heard, time_s: f64) -> [f32; BANDS] {
    let frame = (time_s / heard.bands.hop_s).round() as usize;
    let level = |f: Option<usize>, b: usize| {
        f.and_then(|f| heard.bands.level_db.get(f))
            .map_or(0.0, |l| 10f32.powf(l[b] * 0.1))
    };
    std::array::from_fn(|b| (level(Some(frame + 4), b) - level(frame.checked_sub(4), b)).max(0.0))
}

/// The median of each band.
fn median(profiles: &[[f32; BANDS]]) -> Option<[f32; BANDS]> {
    if profiles.is_empty() {
        return None;
    }
    Some(std::array::from_fn(|b| {
        let mut values: Vec<f32> = profiles.iter().map(|p| p[b]).collect();
        let middle = values.len() / 2;
        *values.select_nth_unstable_by(middle, f32::total_cmp).1
    }))
}

/// The chance that a stroke with this profile, so many dB louder, would not
/// show at a time.
fn hidden(heard: &Heard, at_s: f64, profile: &[f32; BANDS], louder_db: f64) -> f32 {
    if heard
        .candidates
        .iter()
        .any(|c| (c.time_s - at_s).abs() < TOGETHER_S)
    {
        return 1.0;
    }
    let frame = (at_s / heard.bands.hop_s).round().max(0.0) as usize;
    // The loudest of the frames around: the stroke may have come a little
    // earlier or later.
    let from = frame.saturating_sub(8);
    let to = (frame + 9).min(heard.bands.level_db.len());
    let Some(around) = heard.bands.level_db.get(from..to).filter(|a| !a.is_empty()) else {
        return 1.0;
    };
    let ring: [f32; BANDS] = std::array::from_fn(|b| {
        let loudest = around.iter().map(|l| l[b]).fold(-130.0, f32::max);
        10f32.powf(loudest * 0.1) + 1e-12
    });
    SPREAD
        .iter()
        .map(|&(off, share)| {
            let gain = 10f64.powf((louder_db + off * SPREAD_DB) * 0.1) as f32;
            let shows: f32 = (0..BANDS)
                .map(|b| ((ring[b] + gain * profile[b]) / ring[b]).ln().min(3.5))
                .sum();
            share / (1.0 + ((shows - SHOWS_AT) / SHOWS_WIDTH).exp())
        })
        .sum()
}
