//! Rolls: their rate, evenness, level and joints.
//!
//! The span of a roll comes from the part and the pulse, its strokes from the
//! hearing. Two ways to the rate check each other: the mean period of the
//! strokes heard, and the autocorrelation of the rises in loudness. Where
//! they disagree the rate is unknown.

use super::scene::Scene;
use super::stats::{self, Estimate};
use crate::align::Outcome;
use crate::part::{Quarters, quarters_f64};
use crate::review::Roll;

/// Slowest and fastest roll looked for, strokes a second. Two alternating
/// hands reach 10 to 14 (a single hand 5 to 7: Fujii et al. 2009); a slow roll
/// on a large drum is about 7.
const RATES: (f64, f64) = (4.0, 24.0);
/// Fewest strokes for a rate and for evenness.
const LEAST_STROKES: usize = 5;
/// Most periods per distance heard.
const MOST_HOLES: f64 = 1.35;
/// Two rates agree within this share.
const AGREE: f64 = 0.06;
/// Strokes on each side that a joint is compared with.
const JOINT_STROKES: usize = 4;
/// A gap is told when it is longer than this, ms: below it two sounds are
/// still heard as following at once (Hirsh 1959: about 20 ms for order).
const LEAST_GAP_MS: f64 = 20.0;

/// Every roll of the counted passage that was begun.
pub fn rolls(scene: &Scene) -> Vec<Roll> {
    let Some(passage) = scene.counted() else {
        return Vec::new();
    };
    (passage.notes.0..=passage.notes.1)
        .filter(|&note| scene.part.notes.get(note).is_some_and(|n| n.roll))
        .filter(|&note| {
            scene
                .matched(note)
                .is_some_and(|m| matches!(m.outcome, Outcome::Played | Outcome::OtherDrum))
        })
        .filter_map(|note| roll(scene, note))
        .collect()
}

fn roll(scene: &Scene, note: usize) -> Option<Roll> {
    let written = &scene.part.notes[note];
    let places = scene.roll_strokes(note);
    let first = scene.strokes.get(*places.first()?)?;
    let written_end = scene
        .pulse()
        .and_then(|p| p.time_s(quarters_f64(written.at + written.length)));
    let last = scene.strokes.get(*places.last()?)?;
    let to_s = written_end.unwrap_or(last.time_s).max(first.time_s);
    let times: Vec<f64> = places.iter().map(|&i| scene.strokes[i].time_s).collect();
    let noise = stats::median(
        &places
            .iter()
            .map(|&i| scene.strokes[i].time_sd_s)
            .collect::<Vec<_>>(),
    )?;
    let sounded_to = last.time_s.min(to_s);
    let by_sound = period_from_sound(scene, first.time_s, sounded_to);
    let period = period(&times, noise, by_sound);
    let steered = scene.levels_spoilt();
    let following = following(scene, note);
    let mut facts = Roll {
        note,
        bar: scene.note_bar(note),
        from_s: first.time_s,
        to_s,
        strokes_per_s: period.map(|p| 1.0 / p.value),
        strokes_per_s_sd: period.map(|p| p.sd / (p.value * p.value)),
        unevenness_pct: period.and_then(|p| unevenness_pct(&times, p.value, noise)),
        level_curve_db: Vec::new(),
        start_accent_db: None,
        end_accent_db: None,
        gap_ms: None,
    };
    if !steered {
        let levels: Vec<f64> = places.iter().map(|&i| scene.strokes[i].level_db).collect();
        facts.level_curve_db = level_curve(&times, &levels);
        facts.start_accent_db = start_accent(&levels);
        facts.end_accent_db = following
            .filter(|_| levels.len() > JOINT_STROKES)
            .and_then(|i| {
                let ending = stats::median(&levels[levels.len() - JOINT_STROKES..])?;
                Some(scene.strokes[i].level_db - ending)
            });
    }
    facts.gap_ms = following.zip(period).map(|(i, period)| {
        let gap = scene.strokes[i].time_s - last.time_s - period.value;
        if gap * 1000.0 > LEAST_GAP_MS {
            gap * 1000.0
        } else {
            0.0
        }
    });
    Some(facts)
}

/// The stroke of the note that follows a roll at once.
fn following(scene: &Scene, note: usize) -> Option<usize> {
    let written = &scene.part.notes[note];
    let end = written.at + written.length;
    let next = scene.part.notes.iter().position(|n| n.at == end)?;
    let found = scene.matched(next)?;
    (found.outcome == Outcome::Played)
        .then_some(found.stroke)
        .flatten()
        .and_then(|c| scene.stroke_place(c))
}

/// The stroke period from the stroke times, checked by the sound.
fn period(times: &[f64], noise_s: f64, by_sound: Option<f64>) -> Option<Estimate> {
    match (period_from_times(times, noise_s), by_sound) {
        (Some(strokes), Some(sound)) => {
            if (strokes.value / sound - 1.0).abs() < AGREE {
                Some(strokes)
            } else {
                None
            }
        }
        (Some(strokes), None) => Some(strokes),
        (None, Some(sound)) => Some(Estimate {
            value: sound,
            sd: 0.04 * sound,
        }),
        (None, None) => None,
    }
}

/// The mean stroke period: the time from the first stroke to the last over the
/// number of periods in it. Strokes are numbered by their distances in whole
/// periods, so that a missed stroke, which leaves a distance of two, does not
/// slow the roll.
pub fn period_from_times(times: &[f64], noise_s: f64) -> Option<Estimate> {
    if times.len() < LEAST_STROKES {
        return None;
    }
    let gaps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).collect();
    let span = times[times.len() - 1] - times[0];
    let mut period = stats::median(&gaps)?;
    let mut steps = 0.0;
    for _ in 0..4 {
        steps = gaps.iter().map(|g| (g / period).round().max(1.0)).sum();
        period = span / steps;
    }
    if !(1.0 / RATES.1..=1.0 / RATES.0).contains(&period) {
        return None;
    }
    // Too many holes: the numbering itself is in doubt.
    if steps > MOST_HOLES * gaps.len() as f64 {
        return None;
    }
    let scatter = stats::mad_sd(&gaps)?.max(noise_s);
    Some(Estimate {
        value: period,
        sd: scatter / steps.sqrt(),
    })
}

/// Scatter of the distances between strokes, per cent of the period, timing
/// uncertainty taken out. `None` with too few single distances.
fn unevenness_pct(times: &[f64], period: f64, noise_s: f64) -> Option<f64> {
    let single: Vec<f64> = times
        .windows(2)
        .map(|w| w[1] - w[0])
        .filter(|g| *g > 0.5 * period && *g < 1.5 * period)
        .collect();
    if single.len() < LEAST_STROKES {
        return None;
    }
    let raw = stats::sd(&single)?;
    let square = raw * raw - 2.0 * noise_s * noise_s;
    Some(100.0 * square.max(0.0).sqrt() / period)
}

/// Levels in equal steps of time, about two strokes a step; empty steps take
/// the straight line between their neighbours.
fn level_curve(times: &[f64], levels: &[f64]) -> Vec<f64> {
    let steps = (times.len() / 2).min(16);
    if steps < 3 {
        return Vec::new();
    }
    let (first, last) = (times[0], times[times.len() - 1]);
    let width = (last - first) / steps as f64;
    if width <= 0.0 {
        return Vec::new();
    }
    let binned: Vec<Option<f64>> = (0..steps)
        .map(|k| {
            let own: Vec<f64> = times
                .iter()
                .zip(levels)
                .filter(|(t, _)| (((**t - first) / width) as usize).min(steps - 1) == k)
                .map(|(_, l)| *l)
                .collect();
            stats::median(&own)
        })
        .collect();
    fill(&binned)
}

fn fill(binned: &[Option<f64>]) -> Vec<f64> {
    let known: Vec<(usize, f64)> = binned
        .iter()
        .enumerate()
        .filter_map(|(i, v)| v.map(|v| (i, v)))
        .collect();
    (0..binned.len())
        .filter_map(|k| {
            let after = known.partition_point(|p| p.0 < k);
            match (after.checked_sub(1).map(|i| known[i]), known.get(after)) {
                (_, Some(&(i, v))) if i == k => Some(v),
                (Some(a), Some(&b)) => {
                    Some(a.1 + (k - a.0) as f64 * (b.1 - a.1) / (b.0 - a.0) as f64)
                }
                (Some(a), None) => Some(a.1),
                (None, Some(&b)) => Some(b.1),
                (None, None) => None,
            }
        })
        .collect()
}

/// The first stroke against the next ones, dB.
fn start_accent(levels: &[f64]) -> Option<f64> {
    let next = levels.get(1..=JOINT_STROKES)?;
    Some(levels[0] - stats::median(next)?)
}

/// Rises of loudness, summed over the bands, from frame to frame.
fn rises(scene: &Scene, from_s: f64, to_s: f64) -> Vec<f64> {
    let bands = &scene.heard.bands;
    let hop = bands.hop_s;
    if hop <= 0.0 {
        return Vec::new();
    }
    let first = ((from_s / hop).round().max(1.0)) as usize;
    let last = ((to_s / hop).round().max(0.0) as usize).min(bands.level_db.len());
    (first..last)
        .map(|i| {
            let (now, then) = (&bands.level_db[i], &bands.level_db[i - 1]);
            now.iter()
                .zip(then)
                .map(|(a, b)| f64::from((a - b).clamp(0.0, 12.0)))
                .filter(|v| v.is_finite())
                .sum()
        })
        .collect()
}

/// The stroke period from the autocorrelation of the rises in loudness.
fn period_from_sound(scene: &Scene, from_s: f64, to_s: f64) -> Option<f64> {
    let hop = scene.heard.bands.hop_s;
    period_from_rises(&rises(scene, from_s, to_s), hop)
}

/// The lag at which a row of rises, one every `hop_s`, best repeats, seconds.
/// `None` where nothing repeats clearly.
pub fn period_from_rises(rises: &[f64], hop_s: f64) -> Option<f64> {
    let centre = stats::mean(rises)?;
    let row: Vec<f64> = rises.iter().map(|v| v - centre).collect();
    let longest = ((1.0 / RATES.0) / hop_s).ceil() as usize;
    let shortest = ((1.0 / RATES.1) / hop_s).floor().max(1.0) as usize;
    if row.len() < 3 * longest {
        return None;
    }
    let correlation = |lag: usize| -> f64 {
        let n = row.len() - lag;
        let sum: f64 = row[..n].iter().zip(&row[lag..]).map(|(a, b)| a * b).sum();
        sum / n as f64
    };
    let power = correlation(0);
    if power <= 0.0 {
        return None;
    }
    let table: Vec<f64> = (0..=longest + 1)
        .map(|lag| correlation(lag) / power)
        .collect();
    let peaks: Vec<usize> = (shortest.max(1)..=longest)
        .filter(|&l| table[l] >= table[l - 1] && table[l] > table[l + 1])
        .collect();
    let best = peaks.iter().map(|&l| table[l]).fold(0.0, f64::max);
    if best < 0.12 {
        return None;
    }
    // The shortest lag that repeats nearly as well: its multiples do too.
    let lag = *peaks.iter().find(|&&l| table[l] >= 0.8 * best)?;
    let (a, b, c) = (table[lag - 1], table[lag], table[lag + 1]);
    let bend = a - 2.0 * b + c;
    let shift = if bend < 0.0 {
        0.5 * (a - c) / bend
    } else {
        0.0
    };
    Some((lag as f64 + shift) * hop_s)
}

/// (quarter notes, dB) of the loudness of rolls between two moments, for
/// swells: power over all bands, one value a tenth of a second.
pub fn level_over(scene: &Scene, from: Quarters, to: Quarters) -> Vec<(f64, f64)> {
    const STEP_S: f64 = 0.1;
    // The first stroke's own attack is no part of the swell.
    const ATTACK_S: f64 = 0.15;
    let (Some(pulse), bands) = (scene.pulse(), &scene.heard.bands) else {
        return Vec::new();
    };
    let mut points = Vec::new();
    for note in scene.part.notes.iter().filter(|n| n.roll) {
        let (start, end) = (note.at.max(from), (note.at + note.length).min(to));
        if start >= end || bands.hop_s <= 0.0 {
            continue;
        }
        let (a, b) = (quarters_f64(start), quarters_f64(end));
        let Some((ta, tb)) = pulse.time_s(a).zip(pulse.time_s(b)) else {
            continue;
        };
        let mut t = ta + ATTACK_S;
        while t + STEP_S <= tb {
            let first = (t / bands.hop_s) as usize;
            let last = ((t + STEP_S) / bands.hop_s) as usize;
            let frames = bands
                .level_db
                .get(first..last.max(first + 1))
                .unwrap_or(&[]);
            let power: f64 = frames
                .iter()
                .flatten()
                .map(|db| 10f64.powf(f64::from(*db) / 10.0))
                .filter(|p| p.is_finite())
                .sum();
            if power > 0.0 {
                let way = (t + 0.5 * STEP_S - ta) / (tb - ta);
                let db = 10.0 * (power / frames.len() as f64).log10();
                points.push((a + way * (b - a), db));
            }
            t += STEP_S;
        }
    }
    points
}
