//! Evenness of figures.
//!
//! With t₀ ... tₙ the contact times of a figure's strokes, the closing one
//! included when the next written note follows at once, the intervals are
//! dᵢ = tᵢ₊₁ - tᵢ, the shares dᵢ / Σd, and the unevenness the root mean square
//! of eᵢ = dᵢ - mean d, in milliseconds and in per cent of the mean.
//!
//! The times are uncertain, which alone makes any figure look uneven. Each eᵢ
//! is a fixed linear combination of the times, so the mean square it gains
//! from independent errors is known; that is taken out in quadrature.
//!
//! Noticeable is 6 ms below 240 ms between strokes and 2.5 % of the interval
//! above (Friberg & Sundberg 1995); a figure is clean when every interval lies
//! within `clean_factor` times that.

use super::grouping::{self, Written};
use super::scene::Scene;
use super::{AGAINST_SDS, FOR_SDS};
use crate::align::{Outcome, Passage};
use crate::part::Hand;
use crate::review::{Figure, FigureKind};
use crate::settings::Settings;
use crate::stats::{self, Estimate};
use std::collections::BTreeMap;

/// Below this interval the noticeable difference is a time, above it a share
/// (Friberg & Sundberg 1995), ms.
const NOTICEABLE_TURN_MS: f64 = 240.0;

/// The just noticeable displacement of one stroke among equal ones, ms.
pub fn noticeable_ms(interval_ms: f64, settings: &Settings) -> f64 {
    if interval_ms < NOTICEABLE_TURN_MS {
        settings.noticeable_ms
    } else {
        interval_ms * settings.noticeable_pct / 100.0
    }
}

/// What a row of contact times says about evenness.
#[derive(Clone, Debug, PartialEq)]
pub struct Evenness {
    pub shares: Vec<f64>,
    pub interval_ms: f64,
    /// Timing uncertainty taken out.
    pub unevenness_ms: f64,
    pub unevenness_sd_ms: f64,
    pub unevenness_pct: f64,
    /// `None`: the uncertainty straddles the limit.
    pub clean: Option<bool>,
}

/// Evenness of contact times (seconds, rising) with standard uncertainties in
/// seconds. `None` with fewer than three times or where they do not rise.
pub fn evenness(times_s: &[f64], sds_s: &[f64], settings: &Settings) -> Option<Evenness> {
    let n = times_s.len().checked_sub(1)?;
    if n < 2 || times_s.windows(2).any(|w| w[1] <= w[0]) {
        return None;
    }
    let intervals: Vec<f64> = times_s.windows(2).map(|w| (w[1] - w[0]) * 1000.0).collect();
    let total: f64 = intervals.iter().sum();
    let mean = total / n as f64;
    let off: Vec<f64> = intervals.iter().map(|d| d - mean).collect();
    let raw = off.iter().map(|e| e * e).sum::<f64>() / n as f64;

    // e_i = sum over j of weight(i, j) t_j.
    let weight = |i: usize, j: usize| {
        let mut w = f64::from(u8::from(j == i + 1)) - f64::from(u8::from(j == i));
        if j == 0 {
            w += 1.0 / n as f64;
        }
        if j == n {
            w -= 1.0 / n as f64;
        }
        w
    };
    let var: Vec<f64> = sds_s.iter().map(|s| (s * 1000.0).powi(2)).collect();
    let mut noise = 0.0;
    let mut off_sd = Vec::with_capacity(n);
    for i in 0..n {
        let e: f64 = (0..=n).map(|j| weight(i, j).powi(2) * var[j]).sum();
        noise += e / n as f64;
        off_sd.push(e.sqrt());
    }
    // Spread of the raw mean square about its expectation, first order.
    let slope_var: f64 = (0..=n)
        .map(|j| {
            let slope: f64 = (0..n).map(|i| off[i] * weight(i, j)).sum();
            (2.0 / n as f64 * slope).powi(2) * var[j]
        })
        .sum();
    let square = (raw - noise).max(0.0);
    let unevenness = square.sqrt();
    // Far from zero the sd of the root follows from that of the square; near
    // zero the root cannot be known better than the noise itself.
    let floor = noise.sqrt();
    let sd = if unevenness > floor {
        (slope_var.sqrt() / (2.0 * unevenness)).max(0.5 * floor)
    } else {
        floor
    };

    let limit = settings.clean_factor * noticeable_ms(mean, settings);
    let beyond = off
        .iter()
        .zip(&off_sd)
        .any(|(e, sd)| e.abs() - AGAINST_SDS * sd > limit);
    let within = off
        .iter()
        .zip(&off_sd)
        .all(|(e, sd)| e.abs() + FOR_SDS * sd <= limit);
    Some(Evenness {
        shares: intervals.iter().map(|d| d / total).collect(),
        interval_ms: mean,
        unevenness_ms: unevenness,
        unevenness_sd_ms: sd,
        unevenness_pct: 100.0 * unevenness / mean,
        clean: if beyond {
            Some(false)
        } else if within {
            Some(true)
        } else {
            None
        },
    })
}

/// Every figure of the counted passage that was reached, in order.
pub fn figures(scene: &Scene) -> Vec<Figure> {
    scene
        .counted()
        .map(|passage| in_passage(scene, passage))
        .unwrap_or_default()
}

/// Every figure of a passage that was reached, in order.
pub fn in_passage(scene: &Scene, passage: &Passage) -> Vec<Figure> {
    grouping::figures(scene.part)
        .iter()
        .filter(|w| reached(passage, w))
        .map(|written| figure(scene, passage, written))
        .collect()
}

/// At least one of its notes lies in the passage and was reached.
fn reached(passage: &Passage, written: &Written) -> bool {
    written.strokes.iter().flatten().any(|&note| {
        note.checked_sub(passage.notes.0)
            .and_then(|i| passage.matches.get(i))
            .is_some_and(|m| m.outcome != Outcome::NotReached)
    })
}

fn figure(scene: &Scene, passage: &Passage, written: &Written) -> Figure {
    let mut figure = Figure {
        bar: scene.bar_number(written.bar),
        beat: scene.note_beat(&scene.part.notes[written.strokes[0][0]]),
        kind: written.kind.clone(),
        notes: written.strokes.iter().flatten().copied().collect(),
        shares: Vec::new(),
        interval_ms: None,
        unevenness_ms: None,
        unevenness_sd_ms: None,
        unevenness_pct: None,
        clean: None,
    };
    let Some((times, sds)) = contact_times(scene, passage, written) else {
        return figure;
    };
    let Some(even) = evenness(&times, &sds, scene.settings) else {
        return figure;
    };
    figure.shares = even.shares;
    figure.interval_ms = Some(even.interval_ms);
    // Where the tempo is free or changes by the writing, unequal is right.
    if free_tempo(scene, written) || scene.gap_within(times[0], times[times.len() - 1]) {
        return figure;
    }
    figure.unevenness_ms = Some(even.unevenness_ms);
    figure.unevenness_sd_ms = Some(even.unevenness_sd_ms);
    figure.unevenness_pct = Some(even.unevenness_pct);
    figure.clean = even.clean;
    figure
}

fn free_tempo(scene: &Scene, written: &Written) -> bool {
    let end = written.end();
    scene.fermata_within(written.at, end) || scene.gradual_within(written.at, end)
}

/// Contact times and their uncertainties of all strokes of a figure, seconds;
/// `None` where one is missing. A closing stroke that is missing leaves its
/// interval out.
fn contact_times(
    scene: &Scene,
    passage: &Passage,
    written: &Written,
) -> Option<(Vec<f64>, Vec<f64>)> {
    let mut times = Vec::new();
    let mut sds = Vec::new();
    for notes in &written.strokes {
        let (time, sd) = together(scene, passage, notes)?;
        times.push(time);
        sds.push(sd);
    }
    if let Some((time, sd)) = written
        .closing
        .as_ref()
        .and_then(|notes| together(scene, passage, notes))
    {
        times.push(time);
        sds.push(sd);
    }
    (times.len() > 2).then_some((times, sds))
}

/// The contact time of notes struck together: the mean of those heard apart.
fn together(scene: &Scene, passage: &Passage, notes: &[usize]) -> Option<(f64, f64)> {
    let mut heard: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for &note in notes {
        if let Some(stroke) = scene.sure_stroke(passage, note) {
            heard.insert(stroke.candidate, (stroke.time_s, stroke.time_sd_s));
        }
    }
    if heard.is_empty() {
        return None;
    }
    let n = heard.len() as f64;
    let time = heard.values().map(|h| h.0).sum::<f64>() / n;
    let sd = heard.values().map(|h| h.1 * h.1).sum::<f64>().sqrt() / n;
    Some((time, sd))
}

/// Figures of one kind taken together, in the order in which the kinds first
/// come in the part.
pub fn kinds(scene: &Scene, figures: &[Figure]) -> Vec<FigureKind> {
    let mut order: Vec<&str> = Vec::new();
    for figure in figures {
        if !order.contains(&figure.kind.as_str()) {
            order.push(&figure.kind);
        }
    }
    order
        .iter()
        .map(|kind| {
            let members: Vec<&Figure> = figures
                .iter()
                .filter(|f| f.kind == **kind && f.unevenness_ms.is_some())
                .collect();
            summary(scene, kind, &members)
        })
        .filter(|k| k.count > 0)
        .collect()
}

fn summary(scene: &Scene, kind: &str, members: &[&Figure]) -> FigureKind {
    let median_of = |pick: fn(&Figure) -> Option<f64>| {
        let values: Vec<f64> = members.iter().filter_map(|f| pick(f)).collect();
        stats::median(&values)
    };
    let known = |f: &&Figure| Some((f.unevenness_ms?, f.unevenness_sd_ms?));
    let (ms, sds): (Vec<f64>, Vec<f64>) = members.iter().filter_map(known).unzip();
    let uneven = stats::median_with_sd(&ms, &sds);
    let verdicts = |verdict| members.iter().filter(|f| f.clean == Some(verdict)).count();
    let shape = usual_shape(scene, members);
    let right = hand(scene, members, Hand::Right);
    let left = hand(scene, members, Hand::Left);
    FigureKind {
        kind: kind.to_owned(),
        count: members.len(),
        median_unevenness_ms: median_of(|f| f.unevenness_ms),
        median_unevenness_sd_ms: uneven.map(|u| u.sd),
        median_unevenness_pct: median_of(|f| f.unevenness_pct),
        median_interval_ms: median_of(|f| f.interval_ms),
        clean: verdicts(true),
        not_clean: verdicts(false),
        usual_shape_ms: shape.iter().map(|s| s.ms).collect(),
        usual_shape_sd_ms: shape.iter().map(|s| s.sd_ms).collect(),
        usual_shape_count: shape.iter().map(|s| s.same_side).collect(),
        usual_shape_figures: shape.first().map(|s| s.count),
        right_ms: right.map(|h| h.value),
        right_sd_ms: right.map(|h| h.sd),
        left_ms: left.map(|h| h.value),
        left_sd_ms: left.map(|h| h.sd),
    }
}

/// Where one stroke of a kind of figure usually falls.
pub struct Place {
    /// Against equal parts, early negative.
    pub ms: f64,
    pub sd_ms: f64,
    /// In how many figures it is to the same side.
    pub same_side: usize,
    /// In how many figures it was looked at.
    pub count: usize,
    /// How many strokes those figures have.
    pub strokes: usize,
}

/// Those figures that have the commonest number of strokes and intervals.
pub fn alike<'a>(scene: &Scene, members: &[&'a Figure]) -> Vec<&'a Figure> {
    let mut by_size: BTreeMap<(usize, usize), Vec<&Figure>> = BTreeMap::new();
    for figure in members {
        by_size
            .entry((figure.shares.len(), onsets_of(scene, figure)))
            .or_default()
            .push(figure);
    }
    by_size
        .into_values()
        .max_by_key(Vec::len)
        .unwrap_or_default()
}

/// How each stroke after the first lies against equal parts of the whole
/// figure, ms, early negative. Taken over those figures that are [`alike`];
/// empty with fewer than three of them.
pub fn usual_shape(scene: &Scene, members: &[&Figure]) -> Vec<Place> {
    let same = alike(scene, members);
    if same.len() < 3 {
        return Vec::new();
    }
    let (intervals, onsets) = (same[0].shares.len(), onsets_of(scene, same[0]));
    // Without a closing interval the last stroke defines the parts.
    let inner = onsets.min(intervals).saturating_sub(1);
    (1..=inner)
        .filter_map(|k| {
            let places: Vec<f64> = same.iter().map(|f| displacement(f, k)).collect();
            let noise: Vec<f64> = same.iter().filter_map(|f| f.unevenness_sd_ms).collect();
            let Estimate {
                value: ms,
                sd: sd_ms,
            } = stats::median_with_sd(&places, &noise)?;
            Some(Place {
                ms,
                sd_ms,
                same_side: places.iter().filter(|p| **p * ms > 0.0).count(),
                count: places.len(),
                strokes: onsets,
            })
        })
        .collect()
}

/// Place of stroke `k` of a figure (0 = first) against equal parts, ms.
pub fn displacement(figure: &Figure, k: usize) -> f64 {
    let n = figure.shares.len() as f64;
    let total = figure.interval_ms.unwrap_or(0.0) * n;
    let reached: f64 = figure.shares[..k].iter().sum();
    total * (reached - k as f64 / n)
}

/// Strokes of a figure, chords counted once.
fn onsets_of(scene: &Scene, figure: &Figure) -> usize {
    let mut at: Vec<_> = figure
        .notes
        .iter()
        .map(|&n| scene.part.notes[n].at)
        .collect();
    at.dedup();
    at.len()
}

/// Median deviation from the pulse of the strokes by one hand, ms; `None`
/// with fewer than four.
pub fn hand(scene: &Scene, members: &[&Figure], hand: Hand) -> Option<Estimate> {
    let passage = scene.counted()?;
    let (off, noise): (Vec<f64>, Vec<f64>) = members
        .iter()
        .flat_map(|f| &f.notes)
        .filter(|&&n| scene.part.notes[n].hand == Some(hand))
        .filter_map(|&n| super::deviation::deviation(scene, passage, n))
        .map(|d| (d.ms, d.sd_ms))
        .unzip();
    if off.len() < 4 {
        return None;
    }
    stats::median_with_sd(&off, &noise)
}
