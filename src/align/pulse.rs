//! The pulse: the tempo the player keeps, as a smooth curve.
//!
//! The curve is a cubic smoothing spline from marked seconds to real time,
//! computed as a Kalman smoother of an integrated random walk (Wahba 1978, J.
//! R. Stat. Soc. B 40:364: the two are the same). Its kernel is about one bar
//! wide at half height. The fit is robust: strokes are weighted anew by
//! Student's t, so that an uneven triplet or a wrong match does not bend it.
//! Because it is drawn over marked seconds, written changes of tempo are kinks
//! in it over quarter notes; it may turn freely at tempo marks and may wait at
//! fermatas, and it does either where `turns` finds that the player did.

use super::Pulse;
use super::follow::Step;
use super::score::Score;
use super::sounds::Sounds;
use super::turns::{self, Turn};
use crate::part::{Part, quarters_f64};
use crate::stats::MAD_TO_SD;

/// Width at half height of the equivalent kernel of a smoothing spline in
/// units of its bandwidth: B. W. Silverman, Ann. Stat. 12 (1984) 898, gives
/// the kernel exp(-|x|/√2) sin(|x|/√2 + π/4) / 2; it is half as high as at 0
/// where |x| is 1.42.
const KERNEL_WIDTH: f64 = 2.84;
/// Degrees of freedom of the weights.
const FREEDOM: f64 = 3.0;
const ROUNDS: usize = 6;
/// No passage is taken for steadier than this, seconds.
const LEAST_SCALE_S: f64 = 0.003;
/// Variance of the stretch where the tempo turned.
const FREE: f64 = 0.04;

/// A place on the curve.
#[derive(Clone, Copy, Debug, Default)]
struct Point {
    marked_s: f64,
    quarters: f64,
    /// Place in the onsets from the first of the passage.
    onset: Option<usize>,
    /// Time, variance of the time mark itself.
    stroke: Option<(f64, f64)>,
    loose_time: f64,
    loose_stretch: f64,
    weight: f64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Estimate {
    x: [f64; 2],
    p: [f64; 3],
}

/// The pulse of a passage and what it expects of each onset.
#[derive(Clone, Debug, Default)]
pub(super) struct Fit {
    pub pulse: Pulse,
    /// For every onset of the passage its time and variance as the other
    /// onsets have it.
    pub expected: Vec<(f64, f64)>,
    /// Robust spread of the strokes about the curve, seconds.
    pub scale_s: f64,
}

/// Fits the pulse to the steps of a run over the onsets `from..=to`.
pub(super) fn fit(
    part: &Part,
    score: &Score,
    sounds: &Sounds,
    steps: &[Step],
    (from, to): (usize, usize),
) -> Fit {
    let mut points = points(part, score, sounds, steps, (from, to));
    let strokes = steps.len();
    let span =
        points.last().map_or(0.0, |p| p.marked_s) - points.first().map_or(0.0, |p| p.marked_s);
    let density = (strokes as f64 / span.max(0.2)).max(0.2);
    let width = bar_s(part, score, from, to) / KERNEL_WIDTH;
    let stretch = overall_stretch(score, sounds, steps);
    let width = (width * stretch).clamp(0.15, 3.0) / stretch;
    let mut scale = 0.012;
    let mut smooth = Vec::new();
    for round in 0..ROUNDS {
        let walk = scale * scale / (density * width.powi(4));
        smooth = smoothed(&points, walk, scale, stretch);
        let mut off: Vec<f64> = Vec::with_capacity(strokes);
        for (point, estimate) in points.iter_mut().zip(&smooth) {
            if let Some((time_s, variance)) = point.stroke {
                let r = time_s - estimate.x[0];
                let z2 = r * r / (scale * scale + variance);
                point.weight = (FREEDOM + 1.0) / (FREEDOM + z2) * FREEDOM / (FREEDOM + 1.0);
                off.push(r.abs());
            }
        }
        if round + 2 < ROUNDS && !off.is_empty() {
            off.sort_by(f64::total_cmp);
            scale = (MAD_TO_SD * off[off.len() / 2]).clamp(LEAST_SCALE_S, 0.05);
        }
    }
    finish(&points, &smooth, scale, to - from + 1)
}

/// Length of a bar in marked seconds, the median over the passage.
fn bar_s(part: &Part, score: &Score, from: usize, to: usize) -> f64 {
    let (first, last) = (score.onsets[from].bar, score.onsets[to].bar);
    let mut lengths: Vec<f64> = part.bars
        [first.min(part.bars.len())..part.bars.len().min(last + 1)]
        .iter()
        .map(|b| {
            score.clock.seconds(quarters_f64(b.at + b.length))
                - score.clock.seconds(quarters_f64(b.at))
        })
        .filter(|l| *l > 0.0)
        .collect();
    lengths.sort_by(f64::total_cmp);
    lengths.get(lengths.len() / 2).copied().unwrap_or(2.0)
}

fn overall_stretch(score: &Score, sounds: &Sounds, steps: &[Step]) -> f64 {
    match (steps.first(), steps.last()) {
        (Some(a), Some(b)) if b.onset > a.onset => {
            let way = score.onsets[b.onset].marked_s - score.onsets[a.onset].marked_s;
            ((sounds.times[b.candidate] - sounds.times[a.candidate]) / way.max(1e-6))
                .clamp(0.2, 5.0)
        }
        _ => 1.0,
    }
}

/// Onsets, and between them a place every half quarter note and at every
/// tempo mark.
fn points(
    part: &Part,
    score: &Score,
    sounds: &Sounds,
    steps: &[Step],
    (from, to): (usize, usize),
) -> Vec<Point> {
    let mut points: Vec<Point> = score.onsets[from..=to]
        .iter()
        .enumerate()
        .map(|(i, o)| Point {
            marked_s: o.marked_s,
            quarters: o.quarters,
            onset: Some(i),
            loose_time: o.loose_time,
            loose_stretch: o.loose_stretch,
            weight: 1.0,
            ..Point::default()
        })
        .collect();
    for step in steps {
        let time_s = sounds.times[step.candidate];
        points[step.onset - from].stroke = Some((time_s, sounds.variance[step.candidate]));
    }
    let stretch = overall_stretch(score, sounds, steps);
    let turned = turns::turns(score, sounds, steps, stretch);
    for (pair, turn) in steps.windows(2).zip(&turned[1..]) {
        match turn {
            Some(Turn::Time) => points[pair[1].onset - from].loose_time += 1.0,
            Some(Turn::Tempo) => {
                points[pair[0].onset - from].loose_stretch += FREE;
            }
            None => {}
        }
    }
    let last = points[to - from].quarters;
    let end = part
        .notes
        .get(score.onsets[to].notes.0)
        .map_or(last, |n| quarters_f64(n.at + n.length));
    let add = |points: &mut Vec<Point>, quarters: f64| {
        points.push(Point {
            marked_s: score.clock.seconds(quarters),
            quarters,
            weight: 1.0,
            ..Point::default()
        });
    };
    let mut half = (points[0].quarters * 2.0).floor() as i64;
    while half as f64 / 2.0 <= end + 0.5 {
        add(&mut points, half as f64 / 2.0);
        half += 1;
    }
    let first = points[0].quarters;
    for mark in &part.tempi {
        let at = quarters_f64(mark.at);
        if at > first && at < last {
            add(&mut points, at);
        }
    }
    points.sort_by(|a, b| {
        a.quarters
            .total_cmp(&b.quarters)
            .then(b.onset.is_some().cmp(&a.onset.is_some()))
    });
    points.dedup_by(|later, earlier| {
        later.onset.is_none() && later.quarters - earlier.quarters < 1e-6
    });
    points
}

/// Kalman filter and Rauch-Tung-Striebel smoother of (time, stretch).
fn smoothed(points: &[Point], walk: f64, scale: f64, stretch: f64) -> Vec<Estimate> {
    let mut filtered: Vec<Estimate> = Vec::with_capacity(points.len());
    let mut predicted: Vec<Estimate> = Vec::with_capacity(points.len());
    let anchor = points
        .iter()
        .find_map(|p| {
            p.stroke
                .map(|s| s.0 - (p.marked_s - points[0].marked_s) * stretch)
        })
        .unwrap_or(0.0);
    let mut now = Estimate {
        x: [anchor, stretch],
        p: [1.0, 0.0, 0.25],
    };
    let mut before_s = points.first().map_or(0.0, |p| p.marked_s);
    for point in points {
        let d = point.marked_s - before_s;
        before_s = point.marked_s;
        let [p, c, v] = now.p;
        let mut next = Estimate {
            x: [now.x[0] + d * now.x[1], now.x[1]],
            p: [
                p + 2.0 * d * c + d * d * v + walk * d * d * d / 3.0 + point.loose_time,
                c + d * v + walk * d * d / 2.0,
                v + walk * d + point.loose_stretch,
            ],
        };
        predicted.push(next);
        if let Some((time_s, variance)) = point.stroke {
            let noise = (scale * scale + variance) / point.weight.max(1e-6);
            let [p, c, v] = next.p;
            let total = p + noise;
            let (gain_t, gain_r) = (p / total, c / total);
            let off = time_s - next.x[0];
            next = Estimate {
                x: [next.x[0] + gain_t * off, next.x[1] + gain_r * off],
                p: [p - gain_t * p, c - gain_t * c, v - gain_r * c],
            };
        }
        filtered.push(next);
        now = next;
    }
    for i in (0..points.len().saturating_sub(1)).rev() {
        let d = points[i + 1].marked_s - points[i].marked_s;
        let (here, ahead, later) = (filtered[i], predicted[i + 1], filtered[i + 1]);
        // Gain C = P F' P_ahead^-1 with F = [1 d; 0 1].
        let [p, c, v] = here.p;
        let (a, b, e, f) = (p + d * c, c, c + d * v, v);
        let [q, r, s] = ahead.p;
        let det = (q * s - r * r).max(1e-30);
        let (g00, g01) = ((a * s - b * r) / det, (b * q - a * r) / det);
        let (g10, g11) = ((e * s - f * r) / det, (f * q - e * r) / det);
        let (dx, dr) = (later.x[0] - ahead.x[0], later.x[1] - ahead.x[1]);
        let (dp, dc, dv) = (later.p[0] - q, later.p[1] - r, later.p[2] - s);
        filtered[i] = Estimate {
            x: [
                here.x[0] + g00 * dx + g01 * dr,
                here.x[1] + g10 * dx + g11 * dr,
            ],
            p: [
                (p + g00 * g00 * dp + 2.0 * g00 * g01 * dc + g01 * g01 * dv).max(1e-12),
                c + g00 * g10 * dp + (g00 * g11 + g01 * g10) * dc + g01 * g11 * dv,
                (v + g10 * g10 * dp + 2.0 * g10 * g11 * dc + g11 * g11 * dv).max(1e-12),
            ],
        };
    }
    filtered
}

fn finish(points: &[Point], smooth: &[Estimate], scale: f64, onsets: usize) -> Fit {
    let mut fit = Fit {
        expected: vec![(0.0, 1.0); onsets],
        scale_s: scale,
        ..Fit::default()
    };
    let mut variances = Vec::new();
    let mut last_s = f64::NEG_INFINITY;
    for (point, estimate) in points.iter().zip(smooth) {
        let (time_s, variance) = (estimate.x[0], estimate.p[0]);
        // Rising, whatever a fit to very few strokes makes of it.
        last_s = time_s.max(last_s + 1e-4);
        fit.pulse.knots.push((point.quarters, last_s));
        let Some(onset) = point.onset else {
            continue;
        };
        fit.expected[onset] = (time_s, variance);
        if let Some((stroke_s, mark)) = point.stroke {
            let noise = (scale * scale + mark) / point.weight.max(1e-6);
            let left = (noise - variance).max(0.02 * noise);
            fit.expected[onset] = (
                time_s - variance / left * (stroke_s - time_s),
                variance * noise / left,
            );
            variances.push(variance);
        }
    }
    variances.sort_by(f64::total_cmp);
    fit.pulse.sd_s = variances
        .get(variances.len() / 2)
        .map_or(scale, |v| v.sqrt());
    fit
}
