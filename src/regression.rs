//! Logistic regression, knowing nothing of music: how likely something is, by
//! a weighted sum of what is known of it.

/// No more steps than this; few need ten.
const STEPS: usize = 50;
/// No weight moves further in one step: long steps overshoot where almost
/// everything has one label.
const LONGEST: f64 = 2.0;
/// A step in which no weight moves further than this is the last.
const NOTHING: f64 = 1e-10;

/// The probability that natural log odds stand for.
pub fn probability(log_odds: f64) -> f64 {
    1.0 / (1.0 + (-log_odds).exp())
}

/// The weights under which the labels of rows are likeliest: natural log odds
/// of `true` are the sum of weights times features. A constant is a feature
/// that is 1 in every row.
///
/// Each weight is drawn towards 0 by its own penalty, half of which times the
/// square of the weight is taken off the log likelihood (ridge; le Cessie &
/// van Houwelingen 1992, Applied Statistics 41:191). Newton's method, with
/// its steps held. `None` where the rows do not settle a weight that has no
/// penalty.
pub fn fit<T, const N: usize>(rows: &[(&[T; N], bool)], penalties: &[f64; N]) -> Option<[f64; N]>
where
    T: Copy + Into<f64>,
{
    let mut weights = [0.0; N];
    for _ in 0..STEPS {
        let step = newton_step(rows, &weights, penalties)?;
        let size = step.iter().map(|s| s.abs()).fold(0.0, f64::max);
        let share = if size > LONGEST { LONGEST / size } else { 1.0 };
        for (weight, s) in weights.iter_mut().zip(step) {
            *weight += share * s;
        }
        if size < NOTHING {
            break;
        }
    }
    Some(weights)
}

fn newton_step<T, const N: usize>(
    rows: &[(&[T; N], bool)],
    weights: &[f64; N],
    penalties: &[f64; N],
) -> Option<[f64; N]>
where
    T: Copy + Into<f64>,
{
    let mut gradient = [0.0; N];
    let mut hessian = [[0.0; N]; N];
    for &(features, label) in rows {
        let x = features.map(Into::into);
        let log_odds: f64 = x.iter().zip(weights).map(|(x, w)| x * w).sum();
        let p = probability(log_odds);
        let y = f64::from(u8::from(label));
        for i in 0..N {
            gradient[i] += x[i] * (y - p);
            for j in 0..=i {
                hessian[i][j] += x[i] * x[j] * p * (1.0 - p);
            }
        }
    }
    for i in 0..N {
        gradient[i] -= penalties[i] * weights[i];
        hessian[i][i] += penalties[i];
        for j in 0..i {
            hessian[j][i] = hessian[i][j];
        }
    }
    solve(hessian, gradient)
}

/// Solves a symmetric positive system by elimination; `None` where it is
/// singular.
fn solve<const N: usize>(mut a: [[f64; N]; N], mut y: [f64; N]) -> Option<[f64; N]> {
    for i in 0..N {
        if a[i][i].abs() < 1e-300 {
            return None;
        }
        for k in i + 1..N {
            let factor = a[k][i] / a[i][i];
            for j in i..N {
                a[k][j] -= factor * a[i][j];
            }
            y[k] -= factor * y[i];
        }
    }
    let mut x = [0.0; N];
    for i in (0..N).rev() {
        let known: f64 = (i + 1..N).map(|j| a[i][j] * x[j]).sum();
        x[i] = (y[i] - known) / a[i][i];
    }
    Some(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Three of four under one feature, one of four without it: the odds are
    /// 3 and 1/3, so the weights are -ln 3 and 2 ln 3.
    #[test]
    fn the_weights_of_a_table_of_two_by_two() {
        let (with, without) = ([1.0_f32, 1.0], [1.0, 0.0]);
        let rows = [
            (&with, true),
            (&with, true),
            (&with, true),
            (&with, false),
            (&without, true),
            (&without, false),
            (&without, false),
            (&without, false),
        ];
        let [constant, slope] = fit(&rows, &[0.0, 0.0]).unwrap();
        assert!((constant + 3f64.ln()).abs() < 1e-9, "{constant}");
        assert!((slope - 2.0 * 3f64.ln()).abs() < 1e-9, "{slope}");
        // At the best weights the penalty balances the slope of the likelihood.
        let [constant, slope] = fit(&rows, &[0.0, 0.5]).unwrap();
        let pull: f64 = rows
            .iter()
            .map(|(x, y)| {
                let p = probability(constant + slope * f64::from(x[1]));
                f64::from(x[1]) * (f64::from(u8::from(*y)) - p)
            })
            .sum();
        assert!((pull - 0.5 * slope).abs() < 1e-9, "{pull} {slope}");
    }

    #[test]
    fn what_rows_do_not_settle_needs_a_penalty() {
        let rows = [(&[1.0, 0.0], true), (&[1.0, 0.0], false)];
        assert_eq!(fit(&rows, &[0.0, 0.0]), None);
        assert_eq!(fit(&rows, &[0.0, 1.0]), Some([0.0, 0.0]));
    }
}
