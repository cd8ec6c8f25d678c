//! The tempo kept: its curve, its median, and whether it rushes or drags.

use super::scene::Scene;
use crate::align::Passage;
use crate::part::{Quarters, quarters_f64};
use crate::review::{TempoFacts, TempoPoint};
use crate::stats;
use num_rational::Ratio;

/// Fewest bars for a rush or drag figure.
const LEAST_BARS: usize = 4;

/// Tempo facts of the counted passage.
pub fn tempo(scene: &Scene) -> TempoFacts {
    let Some(passage) = scene.counted() else {
        return TempoFacts::default();
    };
    let curve = curve(scene, passage);
    let drift = drift(scene, passage);
    TempoFacts {
        median_bpm: stats::median(&curve.iter().map(|p| p.bpm).collect::<Vec<_>>()),
        marked_bpm: commonest_mark(&curve),
        drift_pct_per_min: drift.map(|l| l.slope),
        drift_sd_pct_per_min: drift.map(|l| l.slope_sd),
        curve,
    }
}

/// Median tempo of a passage, quarter notes a minute.
pub fn median_bpm(scene: &Scene, passage: &Passage) -> Option<f64> {
    let bpm: Vec<f64> = curve(scene, passage).iter().map(|p| p.bpm).collect();
    stats::median(&bpm)
}

/// The mark in force over most of the curve.
fn commonest_mark(curve: &[TempoPoint]) -> Option<f64> {
    let marks: Vec<f64> = curve.iter().filter_map(|p| p.marked_bpm).collect();
    stats::quantile(&marks, 0.5).map(|middle| {
        // A median of an even count may fall between two marks.
        marks.iter().copied().fold(marks[0], |best, m| {
            if (m - middle).abs() < (best - middle).abs() {
                m
            } else {
                best
            }
        })
    })
}

/// First and last moment of a passage, quarter notes from the start.
fn span(scene: &Scene, passage: &Passage) -> Option<(Quarters, Quarters)> {
    let first = scene.part.notes.get(passage.notes.0)?;
    let last = scene.part.notes.get(passage.notes.1)?;
    Some((first.at, last.at))
}

/// The tempo on every quarter of every bar within the passage: that of the
/// pulse from half a quarter before to half a quarter after.
fn curve(scene: &Scene, passage: &Passage) -> Vec<TempoPoint> {
    let Some((from, to)) = span(scene, passage) else {
        return Vec::new();
    };
    let (start, end) = (quarters_f64(from), quarters_f64(to));
    let mut points = Vec::new();
    for bar in &scene.part.bars {
        let mut at = bar.at;
        while at < bar.at + bar.length && at <= to {
            let here = quarters_f64(at);
            if at >= from && !scene.fermata_within(at, at + Ratio::from_integer(1)) {
                let (a, b) = ((here - 0.5).max(start), (here + 0.5).min(end));
                let times = passage.pulse.time_s(a).zip(passage.pulse.time_s(b));
                if let (Some((ta, tb)), Some(time_s)) = (times, passage.pulse.time_s(here))
                    && tb > ta
                {
                    points.push(TempoPoint {
                        bar: bar.number,
                        beat: quarters_f64(at - bar.at) + 1.0,
                        time_s,
                        bpm: 60.0 * (b - a) / (tb - ta),
                        marked_bpm: scene.part.marked_bpm(at),
                    });
                }
            }
            at += Ratio::from_integer(1);
        }
    }
    points
}

/// Slope of the tempo against the written one over the passage, per cent a
/// minute: the Theil-Sen line through the tempo of every bar. Bars with a free
/// or gradually changing tempo are left out.
fn drift(scene: &Scene, passage: &Passage) -> Option<stats::Line> {
    let (from, to) = span(scene, passage)?;
    let mut points = Vec::new();
    for bar in &scene.part.bars {
        let end = bar.at + bar.length;
        if bar.at < from || end > to {
            continue;
        }
        if scene.fermata_within(bar.at, end) || scene.gradual_within(bar.at, end) {
            continue;
        }
        let start_s = passage.pulse.time_s(quarters_f64(bar.at))?;
        let end_s = passage.pulse.time_s(quarters_f64(end))?;
        if end_s <= start_s {
            continue;
        }
        let bpm = 60.0 * quarters_f64(bar.length) / (end_s - start_s);
        let marked = scene
            .part
            .marked_bpm(bar.at)
            .unwrap_or(bpm_reference(scene));
        points.push((0.5 * (start_s + end_s) / 60.0, 100.0 * (bpm / marked).ln()));
    }
    if points.len() < LEAST_BARS {
        return None;
    }
    stats::theil_sen(&points)
}

/// Any constant will do where nothing is marked: only changes are looked at.
fn bpm_reference(scene: &Scene) -> f64 {
    scene
        .part
        .tempi
        .iter()
        .find_map(|m| m.quarter_bpm)
        .unwrap_or(100.0)
}
