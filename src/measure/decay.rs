//! How partials die away: a straight line in dB, or two with a knee.
//!
//! A drum that rings freely falls by some 15 to 20 dB a second (T60 of the
//! principal tone 3.9 s, median of 24 recorded strokes; its other partials
//! somewhat faster). A stopped drum falls as fast as the hand and the room let
//! it: by hundreds of dB a second in a dry room, by 60 dB / T60 in a live one
//! (46 dB/s for T60 = 1.3 s). So a stop is told by a change of slope that does
//! not come back, never by a steep fall as such.
//!
//! All partials of a drum share one knee; each has its own level and slopes.
//! The sum of squared residuals as a function of the knee's place, taken as a
//! log likelihood, gives the place, its uncertainty and how much likelier the
//! knee is than none.

use crate::stats::Estimate;

/// One partial after a stroke.
#[derive(Clone, Debug)]
pub struct Trace {
    /// Frame of its first level, counted from the contact.
    pub from: usize,
    /// Level, dB, one value a frame, up to where it sinks into the noise.
    pub db: Vec<f64>,
}

impl Trace {
    /// The frame after its last.
    pub fn until(&self) -> usize {
        self.from + self.db.len()
    }
}

/// What is known of the slopes beforehand, dB per frame, downwards positive.
#[derive(Clone, Copy, Debug)]
pub struct Slopes {
    /// Free decay.
    pub free: Estimate,
    /// Decay after a stop, where other stops of the take have shown it.
    pub after: Option<Estimate>,
}

/// A common knee of several partials. Slopes in dB per frame, downwards
/// positive, means over the partials weighted by their lengths.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Knee {
    /// Frame from the contact, and its standard uncertainty.
    pub at: Estimate,
    pub before: f64,
    pub after: f64,
    /// Of one line through everything.
    pub slope: f64,
    /// How far below the free decay the partials end, dB.
    pub drop_db: f64,
    /// How much likelier the knee is than a straight line, natural logarithm.
    pub log_ratio: f64,
    /// The frame after the last that was looked at.
    pub until: usize,
}

/// Sums over a row of frames, so that a line through any part of it costs
/// nothing.
struct Sums {
    /// Running sums of y, k y, y².
    y: Vec<f64>,
    ky: Vec<f64>,
    yy: Vec<f64>,
}

impl Sums {
    fn new(db: &[f64]) -> Self {
        let mut sums = Self {
            y: vec![0.0],
            ky: vec![0.0],
            yy: vec![0.0],
        };
        for (k, &v) in db.iter().enumerate() {
            sums.y.push(sums.y[k] + v);
            sums.ky.push(sums.ky[k] + k as f64 * v);
            sums.yy.push(sums.yy[k] + v * v);
        }
        sums
    }
}

/// Sum of k and of k² for k = 0 .. n - 1.
fn powers(n: f64) -> (f64, f64) {
    (n * (n - 1.0) / 2.0, (n - 1.0) * n * (2.0 * n - 1.0) / 6.0)
}

/// Scatter of a decaying partial about its line, dB: what prior knowledge of a
/// slope is weighed against. Beating of split modes and the room make it.
const SCATTER_DB: f64 = 3.0;
/// Frames that move together: residuals of neighbouring frames share the
/// window of the envelope and the beating, so that six of them count for one.
pub const TOGETHER: f64 = 6.0;
/// Shortest trace that is looked at, frames.
pub const SHORTEST: usize = 8;
/// Frames that must follow a knee.
const AFTER_KNEE: usize = 3;

/// Parameters (level, slope before, slope added by the knee) and the sum of
/// squares of y = a - b k - c max(0, k - knee), c ≥ 0, slopes drawn to what is
/// known of them.
fn fit_at(sums: &Sums, n: usize, knee: usize, slopes: &Slopes) -> ([f64; 3], f64) {
    let nf = n as f64;
    let (s1, s2) = powers(nf);
    let knee = knee.min(n);
    let tail = (n - knee) as f64;
    let kf = knee as f64;
    // Sums over the tail of (k - knee), of its square and of its product
    // with k.
    let (t1, t2) = powers(tail);
    let tk = t2 + kf * t1;
    let (y, ky, yy) = (sums.y[n], sums.ky[n], sums.yy[n]);
    let ty = (ky - sums.ky[knee]) - kf * (y - sums.y[knee]);
    let known = |e: &Estimate| (SCATTER_DB / e.sd).powi(2);
    let free = known(&slopes.free);
    let end = slopes.after.as_ref().map_or(0.0, known);
    let target = slopes.after.map_or(0.0, |e| e.value);
    // Normal equations in (a, -b, -c).
    let matrix = [
        [nf, s1, t1],
        [s1, s2 + free + end, tk + end],
        [t1, tk + end, t2 + end + 1e-9],
    ];
    let right = [
        y,
        ky - free * slopes.free.value - end * target,
        ty - end * target,
    ];
    let mut solution = solve3(matrix, right);
    let mut end = end;
    if solution[2] > 0.0 || tail < 2.0 {
        let two = solve2(
            [[nf, s1], [s1, s2 + free]],
            [y, ky - free * slopes.free.value],
        );
        solution = [two[0], two[1], 0.0];
        end = 0.0;
    }
    let [a, b, c] = solution;
    let sse =
        yy + a * a * nf + b * b * s2 + c * c * t2 + 2.0 * (a * b * s1 + a * c * t1 + b * c * tk)
            - 2.0 * (a * y + b * ky + c * ty)
            + free * (b + slopes.free.value).powi(2)
            + end * (b + c + target).powi(2);
    ([a, -b, -c], sse.max(0.0))
}

fn solve2(m: [[f64; 2]; 2], r: [f64; 2]) -> [f64; 2] {
    let det = m[0][0] * m[1][1] - m[0][1] * m[1][0];
    [
        (r[0] * m[1][1] - r[1] * m[0][1]) / det,
        (m[0][0] * r[1] - m[1][0] * r[0]) / det,
    ]
}

/// Cramer's rule: three unknowns, well scaled.
fn solve3(m: [[f64; 3]; 3], r: [f64; 3]) -> [f64; 3] {
    let det = |m: [[f64; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
            - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let whole = det(m);
    let mut solution = [0.0; 3];
    for (column, value) in solution.iter_mut().enumerate() {
        let mut replaced = m;
        for (row, right) in replaced.iter_mut().zip(r) {
            row[column] = right;
        }
        *value = det(replaced) / whole;
    }
    solution
}

/// The knee that best explains all traces together. `None` where no trace is
/// long enough.
pub fn knee(traces: &[Trace], slopes: &Slopes) -> Option<Knee> {
    let used: Vec<(&Trace, Sums)> = traces
        .iter()
        .filter(|t| t.db.len() >= SHORTEST)
        .map(|t| (t, Sums::new(&t.db)))
        .collect();
    let until = used.iter().map(|(t, _)| t.until()).max()?;
    let from = used.iter().map(|(t, _)| t.from).min()?;
    let fit = |t: &Trace, sums: &Sums, knee: usize| {
        fit_at(sums, t.db.len(), knee.saturating_sub(t.from), slopes)
    };
    let total = |knee: usize| used.iter().map(|(t, s)| fit(t, s, knee).1).sum::<f64>();
    let curve: Vec<f64> = (from..until.saturating_sub(AFTER_KNEE))
        .map(total)
        .collect();
    let best = curve
        .iter()
        .enumerate()
        .min_by(|a, b| a.1.total_cmp(b.1))
        .map(|(i, _)| i)?;
    let line = total(usize::MAX);
    let frames: f64 = used.iter().map(|(t, _)| t.db.len() as f64).sum();
    let scale = 2.0 * TOGETHER * (curve[best] / frames).max(1.0);
    let place = from + best;
    let mut knee = Knee {
        at: centre(&curve, best, from, scale),
        before: 0.0,
        after: 0.0,
        slope: 0.0,
        drop_db: 0.0,
        log_ratio: (line - curve[best]) / scale,
        until,
    };
    for (trace, sums) in &used {
        let ([_, b, c], _) = fit(trace, sums, place);
        let share = trace.db.len() as f64 / frames;
        knee.before += share * b;
        knee.after += share * (b + c);
        let equal = 1.0 / used.len() as f64;
        knee.slope += equal * fit(trace, sums, usize::MAX).0[1];
        knee.drop_db += equal * c * trace.until().saturating_sub(place) as f64;
    }
    Some(knee)
}

/// Mean and standard deviation of the knee's place under the likelihood
/// exp(-squares / scale).
fn centre(curve: &[f64], best: usize, from: usize, scale: f64) -> Estimate {
    let (mut sum, mut first, mut second) = (0.0, 0.0, 0.0);
    for (i, squares) in curve.iter().enumerate() {
        let weight = (-(squares - curve[best]) / scale).exp();
        let away = i as f64 - best as f64;
        sum += weight;
        first += weight * away;
        second += weight * away * away;
    }
    let mean = first / sum;
    Estimate {
        value: (from + best) as f64 + mean,
        sd: (second / sum - mean * mean).max(0.0).sqrt(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn slopes() -> Slopes {
        Slopes {
            free: Estimate {
                value: 0.18,
                sd: 0.05,
            },
            after: None,
        }
    }

    fn decays(bend: f64) -> Vec<Trace> {
        (0..4u32)
            .map(|p| Trace {
                from: 5,
                db: (5..120)
                    .map(|k| {
                        let k = f64::from(k);
                        let ripple = (k * (0.7 + 0.1 * f64::from(p))).sin();
                        -20.0 - 0.18 * k - bend * (k - 60.0).max(0.0) + ripple
                    })
                    .collect(),
            })
            .collect()
    }

    #[test]
    fn a_change_of_slope_is_found_where_it_is() {
        let knee = knee(&decays(0.4), &slopes()).unwrap();
        assert!((knee.at.value - 60.0).abs() < 2.0, "{knee:?}");
        assert!((knee.after - 0.58).abs() < 0.03, "{knee:?}");
        assert!((knee.before - 0.18).abs() < 0.03, "{knee:?}");
        assert!(knee.log_ratio > 10.0, "{knee:?}");
    }

    #[test]
    fn a_straight_decay_has_no_knee_to_speak_of() {
        let knee = knee(&decays(0.0), &slopes()).unwrap();
        assert!(knee.log_ratio < 1.0, "{knee:?}");
        assert!(knee.drop_db < 2.0, "{knee:?}");
        assert!((knee.slope - 0.18).abs() < 0.02, "{knee:?}");
    }
}
