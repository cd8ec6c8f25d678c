//! How partials die away: a straight line in dB, or two with a knee.
//!
//! A drum that rings freely falls by some 15 dB a second (T60 of the principal
//! tone 3.9 s, median of 24 recorded strokes). A stopped drum falls as fast as
//! the hand and the room let it: steeply in a dry room, at 60 dB / T60 in a
//! live one (46 dB/s for T60 = 1.3 s). So a stop is told by a change of slope
//! that does not come back, never by a steep fall as such.

/// One partial after a stroke.
#[derive(Clone, Debug)]
pub struct Trace {
    /// Level, dB, one value a frame.
    pub db: Vec<f64>,
    /// Frames that count: up to the first that sinks into the noise.
    pub usable: usize,
    /// Slope of its free decay known from elsewhere, dB per frame, positive
    /// downwards, with its standard uncertainty.
    pub free: (f64, f64),
    pub weight: f64,
}

/// A common knee of several partials.
#[derive(Clone, Debug, PartialEq)]
pub struct Knee {
    /// Frame, fractional.
    pub at: f64,
    /// Free decay before it, dB per frame, positive downwards, weighted mean.
    pub before: f64,
    /// Decay after it.
    pub after: f64,
    /// Sum of squared residuals with and without the knee.
    pub sse: f64,
    pub sse_line: f64,
    /// How far below the free decay the partials end, dB, weighted mean.
    pub drop_db: f64,
    /// Share of the weight whose partials bend down here.
    pub bending: f64,
    /// Half width of the region whose fit is within a tenth of the gain, in
    /// frames: how sharply the knee is defined.
    pub half_width: f64,
    /// Frames behind it, weighted.
    pub frames: f64,
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

/// Scatter of a decaying partial about its line, dB: what the prior on the
/// free slope is weighed against.
const SCATTER_DB: f64 = 1.5;

/// Parameters (level, free slope, extra slope after the knee) and the sum of
/// squares of y = a - b k - c max(0, k - knee), c ≥ 0, b drawn to its prior.
fn fit_at(sums: &Sums, n: usize, knee: usize, free: (f64, f64)) -> ([f64; 3], f64) {
    let nf = n as f64;
    let (s1, s2) = powers(nf);
    let m = n.saturating_sub(knee) as f64;
    let kf = knee as f64;
    // Sums over the tail of (k - knee) and its products.
    let (t1, t2) = powers(m);
    let tk = t2 + kf * t1;
    let (y, ky, yy) = (sums.y[n], sums.ky[n], sums.yy[n]);
    let tail_y = sums.y[n] - sums.y[knee.min(n)];
    let tail_ky = sums.ky[n] - sums.ky[knee.min(n)];
    let ty = tail_ky - kf * tail_y;
    let prior = (SCATTER_DB / free.1).powi(2);
    // Normal equations in (a, -b, -c).
    let matrix = [[nf, s1, t1], [s1, s2 + prior, tk], [t1, tk, t2 + 1e-9]];
    let right = [y, ky - prior * free.0, ty];
    let mut solution = solve3(matrix, right);
    if solution[2] > 0.0 || m < 2.0 {
        let two = solve2([[nf, s1], [s1, s2 + prior]], [y, ky - prior * free.0]);
        solution = [two[0], two[1], 0.0];
    }
    let [a, b, c] = solution;
    let sse =
        yy + a * a * nf + b * b * s2 + c * c * t2 + 2.0 * (a * b * s1 + a * c * t1 + b * c * tk)
            - 2.0 * (a * y + b * ky + c * ty)
            + prior * (b + free.0).powi(2);
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
        for row in 0..3 {
            replaced[row][column] = r[row];
        }
        *value = det(replaced) / whole;
    }
    solution
}

/// The knee that best explains all traces together, with its time between the
/// frames `from` and `to`. `None` where no trace is long enough.
pub fn knee(traces: &[Trace], from: usize, to: usize) -> Option<Knee> {
    let used: Vec<(&Trace, Sums)> = traces
        .iter()
        .filter(|t| t.usable >= 8)
        .map(|t| (t, Sums::new(&t.db[..t.usable])))
        .collect();
    if used.is_empty() || to < from {
        return None;
    }
    let total = |knee: usize| -> f64 {
        used.iter()
            .map(|(t, s)| t.weight * fit_at(s, t.usable, knee.min(t.usable), t.free).1)
            .sum()
    };
    let curve: Vec<f64> = (from..=to).map(total).collect();
    let (best, &sse) = curve.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1))?;
    let line = total(usize::MAX);
    let near = sse + 0.1 * (line - sse);
    let left = curve[..best]
        .iter()
        .rev()
        .take_while(|v| **v <= near)
        .count();
    let right = curve[best + 1..].iter().take_while(|v| **v <= near).count();
    let shift = if best > 0 && best + 1 < curve.len() {
        let (a, b, c) = (curve[best - 1], curve[best], curve[best + 1]);
        let bend = a - 2.0 * b + c;
        if bend > 0.0 {
            0.5 * (a - c) / bend
        } else {
            0.0
        }
    } else {
        0.0
    };
    let place = from + best;
    let weights: f64 = used.iter().map(|(t, _)| t.weight).sum();
    let mut knee = Knee {
        at: place as f64 + shift.clamp(-0.5, 0.5),
        before: 0.0,
        after: 0.0,
        sse,
        sse_line: line,
        drop_db: 0.0,
        bending: 0.0,
        half_width: 0.5 * (left + right + 1) as f64,
        frames: used.iter().map(|(t, _)| t.weight * t.usable as f64).sum(),
    };
    for (trace, sums) in &used {
        let ([_, b, c], _) = fit_at(sums, trace.usable, place.min(trace.usable), trace.free);
        let share = trace.weight / weights;
        knee.before += share * b;
        knee.after += share * (b + c);
        knee.drop_db += share * c * trace.usable.saturating_sub(place) as f64;
        if c > 0.0 {
            knee.bending += share;
        }
    }
    Some(knee)
}
