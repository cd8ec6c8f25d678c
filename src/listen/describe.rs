//! From matched candidates to strokes with their drum, level and tone.

use super::tone::principal;
use super::{Heard, Stroke};
use crate::align::{Alignment, Evidence};
use crate::part::{Part, quarters_f64};
use crate::settings::Settings;

/// A stroke is told from another drum's by at least this, nepers; below,
/// which drum it was is left open.
const PLAIN: f32 = 3.0;
/// Standard uncertainty of a stroke's level in silence, dB.
const OWN_SD_DB: f64 = 0.5;
/// What rings adds to the stroke or takes from it as their phases fall: dB,
/// times the root of the ring's power over the stroke's. One partial alone
/// would have 6.1 (20 lg e / √2); several even one another out.
const PHASE_SD_DB: f64 = 2.5;
/// A fifth of the ring's own power is its possible change: dB, times the ring's
/// power over the stroke's.
const RING_SD_DB: f64 = 4.34 * 0.2;
/// A drum's ring is measured for at most this long after its stroke, seconds.
const RING_S: f64 = 1.2;

/// Every stroke the matching took for one, in order of time.
pub fn describe(
    heard: &Heard,
    part: &Part,
    alignment: &Alignment,
    evidence: Option<&Evidence>,
    settings: &Settings,
) -> Vec<Stroke> {
    let mut taken: Vec<(usize, Option<usize>, Option<usize>)> = Vec::new();
    for (index, passage) in alignment.passages.iter().enumerate() {
        let counted = alignment.counted == Some(index);
        for (offset, found) in passage.matches.iter().enumerate() {
            let note = counted.then_some(passage.notes.0 + offset);
            let all = found.stroke.iter().chain(&found.further);
            taken.extend(all.map(|&candidate| (candidate, note, found.setting)));
        }
    }
    taken.extend(
        alignment
            .extras
            .iter()
            .map(|e| (e.candidate, None, e.setting)),
    );
    let time_s = |t: &(usize, Option<usize>, Option<usize>)| heard.candidates[t.0].time_s;
    taken.sort_by(|a, b| time_s(a).total_cmp(&time_s(b)).then(a.cmp(b)));
    let tuned = part.settings();
    let loudest = taken
        .iter()
        .map(|t| heard.candidates[t.0].level_db)
        .fold(f64::NEG_INFINITY, f64::max);
    let mut strokes: Vec<Stroke> = taken
        .iter()
        .map(|&(candidate, note, setting)| {
            let c = &heard.candidates[candidate];
            let roll = note.is_some_and(|n| part.notes[n].roll);
            let doubtful = evidence.is_some_and(|e| second_best(&e.per[candidate]) < PLAIN);
            Stroke {
                candidate,
                time_s: c.time_s,
                time_sd_s: c.time_sd_s,
                level_db: c.level_db - loudest,
                level_sd_db: level_sd_db(heard, c.time_s),
                // A drum that the part names needs no further proof.
                setting: setting.filter(|_| note.is_some() || !doubtful),
                tone: None,
                in_roll: roll,
                note,
            }
        })
        .collect();
    add_tones(heard, part, &tuned, alignment, settings, &mut strokes);
    strokes
}

/// How far the best explanation lies before the second best, nepers.
fn second_best(log_likelihoods: &[f32]) -> f32 {
    let mut sorted = log_likelihoods.to_vec();
    sorted.sort_by(|a, b| b.total_cmp(a));
    match sorted[..] {
        [best, second, ..] => best - second,
        _ => f32::INFINITY,
    }
}

/// The more rings, the less sure the level that a stroke adds.
fn level_sd_db(heard: &Heard, time_s: f64) -> f64 {
    let frame = (time_s / heard.bands.hop_s).round() as usize;
    let total = |f: Option<usize>| -> f64 {
        f.and_then(|f| heard.bands.level_db.get(f))
            .map_or(0.0, |l| {
                l.iter().map(|&x| 10f64.powf(f64::from(x) * 0.1)).sum()
            })
    };
    let before = total(frame.checked_sub(4));
    let after = total(Some(frame + 4)).max(1e-13);
    let ring = (before / after).min(0.98);
    let over_new = ring / (1.0 - ring);
    OWN_SD_DB
        .hypot(PHASE_SD_DB * over_new.sqrt())
        .hypot(RING_SD_DB * over_new)
}

/// Measures the tone of every stroke that rings undisturbed long enough.
fn add_tones(
    heard: &Heard,
    part: &Part,
    tuned: &[crate::part::Setting],
    alignment: &Alignment,
    settings: &Settings,
    strokes: &mut [Stroke],
) {
    let pulse = alignment.counted.map(|c| &alignment.passages[c].pulse);
    for i in 0..strokes.len() {
        let stroke = &strokes[i];
        let Some(setting) = stroke.setting.filter(|_| !stroke.in_roll) else {
            continue;
        };
        let drum = tuned[setting].drum;
        let next = strokes[i + 1..]
            .iter()
            .find(|s| s.setting.is_none_or(|other| tuned[other].drum == drum))
            .map_or(f64::INFINITY, |s| s.time_s - 0.01);
        // Once the drum is retuned its ring slides.
        let retuned = part
            .retunings
            .iter()
            .filter(|r| r.drum == drum && r.to != tuned[setting].pitch)
            .filter_map(|r| pulse.and_then(|p| p.time_s(quarters_f64(part.bars[r.bar].at))))
            .find(|&t| t > stroke.time_s)
            .unwrap_or(f64::INFINITY);
        let until = next.min(retuned).min(stroke.time_s + RING_S);
        let written = tuned[setting].pitch.hz(settings.a4_hz);
        strokes[i].tone = principal(&heard.low, stroke.time_s, until, written);
    }
}
