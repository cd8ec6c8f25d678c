//! Logistic regression.

/// Natural log odds of features under weights.
pub fn log_odds(features: &[f32], weights: &[f64]) -> f64 {
    let pairs = features.iter().zip(weights);
    pairs.map(|(&f, w)| f64::from(f) * w).sum()
}

/// Weights of a logistic model with a ridge penalty of 1, by Newton's method.
pub fn fit<const N: usize>(rows: &[(&[f32; N], bool)]) -> Vec<f64> {
    let mut weights = vec![0.0; N];
    for _ in 0..25 {
        let mut gradient = vec![0.0; N];
        let mut hessian = vec![vec![0.0; N]; N];
        for (f, label) in rows {
            let p = 1.0 / (1.0 + (-log_odds(*f, &weights)).exp());
            let y = f64::from(u8::from(*label));
            for a in 0..N {
                gradient[a] += (y - p) * f64::from(f[a]);
                for b in 0..=a {
                    hessian[a][b] += p * (1.0 - p) * f64::from(f[a]) * f64::from(f[b]);
                }
            }
        }
        for a in 0..N {
            gradient[a] -= weights[a];
            hessian[a][a] += 1.0;
            for b in 0..a {
                hessian[b][a] = hessian[a][b];
            }
        }
        let step = solve(hessian, gradient);
        for (w, s) in weights.iter_mut().zip(&step) {
            *w += s;
        }
    }
    weights
}

/// Solves a symmetric positive system by elimination.
fn solve(mut m: Vec<Vec<f64>>, mut v: Vec<f64>) -> Vec<f64> {
    let n = v.len();
    for i in 0..n {
        for j in i + 1..n {
            let ratio = m[j][i] / m[i][i];
            let row = m[i].clone();
            for (x, y) in m[j][i..].iter_mut().zip(&row[i..]) {
                *x -= ratio * y;
            }
            v[j] -= ratio * v[i];
        }
    }
    for i in (0..n).rev() {
        for j in i + 1..n {
            v[i] -= m[i][j] * v[j];
        }
        v[i] /= m[i][i];
    }
    v
}
