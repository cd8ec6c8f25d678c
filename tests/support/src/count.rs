//! Shares, windows and quantiles that the scoring counts in.

use crate::onsets;
use crate::score::{AUDIBLE_DB, MERGE_S};
use crate::truth::TrueStroke;

/// Hits and tries.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Share {
    pub hits: usize,
    pub of: usize,
}

impl Share {
    /// One try.
    pub fn add(&mut self, hit: bool) {
        self.hits += usize::from(hit);
        self.of += 1;
    }

    /// Adds another.
    pub fn merge(&mut self, other: Self) {
        self.hits += other.hits;
        self.of += other.of;
    }

    /// Per cent; `None` when nothing was tried.
    pub fn pct(self) -> Option<f64> {
        (self.of > 0).then(|| 100.0 * self.hits as f64 / self.of as f64)
    }
}

/// Strokes found, asked for and heard within one window.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Found {
    /// Audible true strokes that were heard.
    pub audible_hits: usize,
    pub audible: usize,
    /// Heard strokes that are true.
    pub heard_hits: usize,
    pub heard: usize,
}

impl Found {
    /// Counts pairs of true and heard strokes within a window.
    pub fn count(truth: &[&TrueStroke], heard: &[f64], window_s: f64) -> Self {
        let times: Vec<f64> = truth.iter().map(|s| s.time_s).collect();
        let pairs = onsets::pairs(&times, heard, window_s);
        let audible = |s: &TrueStroke| s.stand_out_db >= AUDIBLE_DB;
        Self {
            audible_hits: pairs.iter().filter(|p| audible(truth[p.0])).count(),
            audible: truth.iter().filter(|s| audible(s)).count(),
            heard_hits: pairs.len(),
            heard: heard.len(),
        }
    }

    /// Adds another.
    pub fn merge(&mut self, other: Self) {
        self.audible_hits += other.audible_hits;
        self.audible += other.audible;
        self.heard_hits += other.heard_hits;
        self.heard += other.heard;
    }

    /// Harmonic mean of precision and of recall of what is audible.
    pub fn f(self) -> Option<f64> {
        if self.audible == 0 || self.heard == 0 {
            return None;
        }
        let precision = self.heard_hits as f64 / self.heard as f64;
        let recall = self.audible_hits as f64 / self.audible as f64;
        (precision + recall > 0.0).then(|| 2.0 * precision * recall / (precision + recall))
    }
}

/// Of times that are nearly the same, the loudest stands for all.
pub fn merged(strokes: &[TrueStroke]) -> Vec<&TrueStroke> {
    let mut out: Vec<&TrueStroke> = Vec::new();
    for stroke in strokes {
        match out.last_mut() {
            Some(last) if stroke.time_s - last.time_s < MERGE_S => {
                if stroke.stand_out_db > last.stand_out_db {
                    *last = stroke;
                }
            }
            _ => out.push(stroke),
        }
    }
    out
}

/// Times that are nearly the same count once.
pub fn merged_times(times: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut out: Vec<f64> = Vec::new();
    for time in times {
        if out.last().is_none_or(|last| time - last >= MERGE_S) {
            out.push(time);
        }
    }
    out
}

/// The constant lag of (error, uncertainty) pairs, seconds.
pub fn lag_s(times: &[(f64, f64)]) -> Option<f64> {
    quantile(times.iter().map(|t| t.0), 0.5)
}

/// A quantile of the errors without their lag, seconds.
pub fn error_without_lag_s(times: &[(f64, f64)], q: f64) -> Option<f64> {
    let lag = lag_s(times)?;
    quantile(times.iter().map(|t| (t.0 - lag).abs()), q)
}

/// Share of errors within two told standard uncertainties.
pub fn within(errors: impl Iterator<Item = (f64, f64)>) -> Share {
    let mut share = Share::default();
    for (error, sd) in errors {
        share.add(error.abs() <= 2.0 * sd);
    }
    share
}

/// A quantile by linear interpolation, `None` for no values.
pub fn quantile(values: impl Iterator<Item = f64>, q: f64) -> Option<f64> {
    let mut sorted: Vec<f64> = values.filter(|v| v.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)?;
    let at = q * last as f64;
    let below = at.floor() as usize;
    let above = (below + 1).min(last);
    Some(sorted[below] + (at - below as f64) * (sorted[above] - sorted[below]))
}
