//! The strokes against a metronome that sounds along.
//!
//! Which note value a click stands for follows from the playing. Where the
//! strokes do not keep to it, nothing is measured against it.

use super::scene::Scene;
use crate::listen::Metronome;
use crate::part::quarters_f64;
use crate::review::{MetronomeFacts, NoteFacts};
use crate::stats;

/// Note values that a click may stand for, quarter notes.
const VALUES: [f64; 9] = [0.25, 1.0 / 3.0, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0];
/// A tempo is that of a click within this share.
const SAME_TEMPO: f64 = 0.03;
/// Strokes keep to a metronome when they scatter about it no wider than this,
/// and all together lie no farther from it, s.
const KEPT_S: f64 = 0.06;
/// Fewest strokes for that.
const LEAST_STROKES: usize = 8;

/// How the clicks stand to the part: click number = quarters / `value` +
/// `offset`.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Kept {
    /// Quarter notes from click to click.
    value: f64,
    offset: f64,
}

/// What the playing makes of the clicks; `None` where it does not keep to
/// them.
fn kept(scene: &Scene, metronome: &Metronome) -> Option<Kept> {
    let passage = scene.counted()?;
    let strokes: Vec<(f64, f64)> = (passage.notes.0..=passage.notes.1)
        .filter_map(|note| {
            let stroke = scene.sure_stroke(passage, note)?;
            let number = (stroke.time_s - metronome.zero_s) / metronome.period_s;
            Some((quarters_f64(scene.part.notes[note].at), number))
        })
        .collect();
    let slope = stats::theil_sen(&strokes).filter(|_| strokes.len() >= LEAST_STROKES)?;
    let value = VALUES
        .into_iter()
        .find(|value| (value * slope.slope - 1.0).abs() <= SAME_TEMPO)?;
    let off: Vec<f64> = strokes.iter().map(|s| s.1 - s.0 / value).collect();
    let (middle, scatter) = stats::median(&off).zip(stats::mad_sd(&off))?;
    // Clicks may fall on any quarter note of theirs.
    let step = (1.0 / value).min(1.0);
    let offset = (middle / step).round() * step;
    let lag_s = (middle - offset).abs() * metronome.period_s;
    let keeps = scatter * metronome.period_s <= KEPT_S && lag_s <= KEPT_S;
    keeps.then_some(Kept { value, offset })
}

/// What is said of the metronome of a take; with that, every note of `notes`
/// is given its time against it, where the playing keeps to it.
pub fn metronome(scene: &Scene, notes: &mut [NoteFacts]) -> Option<MetronomeFacts> {
    let found = scene.heard.metronome.as_ref()?;
    let kept = kept(scene, found);
    if let (Some(kept), Some(passage)) = (kept, scene.counted()) {
        for note in notes.iter_mut() {
            let Some(stroke) = scene.sure_stroke(passage, note.index) else {
                continue;
            };
            let number = note.at / kept.value + kept.offset;
            let click_s = found.click_s(number);
            note.click_deviation_ms = Some(1000.0 * (stroke.time_s - click_s));
            note.click_deviation_sd_ms = Some(1000.0 * stroke.time_sd_s.hypot(found.zero_sd_s));
        }
    }
    let off: Vec<f64> = notes.iter().filter_map(|n| n.click_deviation_ms).collect();
    let scatter = stats::mad_sd(&off);
    let per_min = 60.0 / found.period_s;
    Some(MetronomeFacts {
        clicks_per_min: per_min,
        clicks_per_min_sd: per_min * found.period_sd_s / found.period_s,
        clicks: found.heard.len(),
        from_s: found.zero_s,
        to_s: found.click_s(found.last() as f64),
        time_sd_ms: 1000.0 * found.zero_sd_s,
        quarters: kept.map(|k| k.value),
        deviation_ms: stats::median(&off),
        deviation_sd_ms: scatter.map(|sd| {
            let spread = stats::MEDIAN_TO_MEAN_SE * sd / (off.len() as f64).sqrt();
            spread.hypot(1000.0 * found.zero_sd_s)
        }),
        scatter_ms: scatter,
    })
}
