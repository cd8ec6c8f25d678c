//! Robust statistics, knowing nothing of music.
//!
//! Every function answers `None` where the figure is not defined (too few
//! values, no spread to work with) and expects finite values.

/// Turns a median absolute deviation into a standard deviation for normal
/// data: 1 / Φ⁻¹(3/4) (Hampel 1974, J. Am. Stat. Assoc. 69:383).
pub const MAD_TO_SD: f64 = 1.482_602_218_505_602;
/// Standard error of a median over that of a mean, normal data: √(π/2).
pub const MEDIAN_TO_MEAN_SE: f64 = 1.253_314_137_315_500_3;
/// Above this many points the slopes of [`theil_sen`] are taken over a
/// regular subset, so that its time stays bounded.
const MOST_POINTS: usize = 400;

/// The middle value; the mean of the two middle ones for an even count.
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    match sorted.len() {
        0 => None,
        n if n % 2 == 1 => Some(sorted[half]),
        _ => Some(0.5 * (sorted[half - 1] + sorted[half])),
    }
}

/// The value below which a share `p` (0 to 1) lies, with straight lines
/// between order statistics (definition 7 of Hyndman & Fan 1996, the default
/// of numpy).
pub fn quantile(values: &[f64], p: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)?;
    let place = p.clamp(0.0, 1.0) * last as f64;
    let low = place.floor() as usize;
    let high = (low + 1).min(last);
    Some(sorted[low] + (place - low as f64) * (sorted[high] - sorted[low]))
}

/// Arithmetic mean.
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Means over so many neighbours to either side, fewer at the ends.
pub fn moving_mean(values: &[f64], half: usize) -> Vec<f64> {
    let mut sums = vec![0.0; values.len() + 1];
    for (i, value) in values.iter().enumerate() {
        sums[i + 1] = sums[i] + value;
    }
    (0..values.len())
        .map(|i| {
            let from = i.saturating_sub(half);
            let to = (i + half + 1).min(values.len());
            (sums[to] - sums[from]) / (to - from) as f64
        })
        .collect()
}

/// Standard deviation with n - 1.
pub fn sd(values: &[f64]) -> Option<f64> {
    let centre = mean(values)?;
    let squares: f64 = values.iter().map(|v| (v - centre).powi(2)).sum();
    (values.len() > 1).then(|| (squares / (values.len() - 1) as f64).sqrt())
}

/// Median absolute deviation from the median, scaled to a standard deviation.
pub fn mad_sd(values: &[f64]) -> Option<f64> {
    let centre = median(values)?;
    let off: Vec<f64> = values.iter().map(|v| (v - centre).abs()).collect();
    median(&off).map(|m| m * MAD_TO_SD)
}

/// A figure with its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    pub value: f64,
    pub sd: f64,
}

/// The median of values that leave so much open each. `None` where there are
/// none.
pub fn median_with_sd(values: &[f64], sds: &[f64]) -> Option<Estimate> {
    // Scatter cannot be trusted below what the values leave open.
    let scatter = mad_sd(values)?.max(median(sds).unwrap_or(0.0));
    // The median of one or two is their mean.
    let dearer = if values.len() > 2 {
        MEDIAN_TO_MEAN_SE
    } else {
        1.0
    };
    Some(Estimate {
        value: median(values)?,
        sd: dearer * scatter / (values.len() as f64).sqrt(),
    })
}

/// Natural log of the sum of the exponentials of some logs; of none, minus
/// infinity.
pub fn log_sum_exp(logs: impl Iterator<Item = f64>) -> f64 {
    let logs: Vec<f64> = logs.collect();
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if most.is_infinite() {
        return most;
    }
    most + logs.iter().map(|l| (l - most).exp()).sum::<f64>().ln()
}

/// The mean of values with standard uncertainties `sds`, outliers held off
/// (Huber weights, k = 1.5, about the median at first).
///
/// `between` is the scatter from value to value that is expected besides the
/// `sds`, in the same unit. Values that scatter more than both together widen
/// the uncertainty; values that scatter less do not narrow it.
pub fn pooled(values: &[f64], sds: &[f64], between: f64) -> Option<Estimate> {
    const HUBER: f64 = 1.5;
    let mut centre = median(values)?;
    let base: Vec<f64> = sds
        .iter()
        .map(|sd| (sd * sd + between * between).max(1e-12))
        .collect();
    let mut estimate = None;
    for _ in 0..30 {
        let (mut sum_w, mut sum_wx, mut sum_w2r2) = (0.0, 0.0, 0.0);
        for (value, var) in values.iter().zip(&base) {
            let z = (value - centre).abs() / var.sqrt();
            let weight = if z > HUBER { HUBER / z } else { 1.0 } / var;
            sum_w += weight;
            sum_wx += weight * value;
            sum_w2r2 += (weight * (value - centre)).powi(2);
        }
        let next = sum_wx / sum_w;
        let n = values.len() as f64;
        let inner = 1.0 / sum_w;
        let outer = if values.len() > 1 {
            sum_w2r2 / (sum_w * sum_w) * n / (n - 1.0)
        } else {
            0.0
        };
        estimate = Some(Estimate {
            value: next,
            sd: inner.max(outer).sqrt(),
        });
        if (next - centre).abs() < 1e-9 {
            break;
        }
        centre = next;
    }
    estimate
}

/// A straight line through points, robust.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Median of the slopes between all pairs of points (Theil 1950, Sen
    /// 1968).
    pub slope: f64,
    /// Standard uncertainty of the slope, from how the points scatter about
    /// the line and from how they follow each other.
    pub slope_sd: f64,
    /// Value at x = 0: the median of y - slope x.
    pub intercept: f64,
}

/// Slopes between all pairs of points, y per x, rising; pairs at one x are
/// left out. Their median is the slope of Theil and Sen.
pub fn pairwise_slopes(points: &[(f64, f64)]) -> Vec<f64> {
    let mut slopes = Vec::with_capacity(points.len() * points.len() / 2);
    for (i, a) in points.iter().enumerate() {
        for b in &points[i + 1..] {
            if (b.0 - a.0).abs() > 1e-12 {
                slopes.push((b.1 - a.1) / (b.0 - a.0));
            }
        }
    }
    slopes.sort_by(f64::total_cmp);
    slopes
}

/// The Theil-Sen line. `None` with fewer than three points or without spread
/// in x.
///
/// The uncertainty is that of a least-squares slope with the robust scatter of
/// the residuals, widened by how much neighbours resemble each other (first
/// serial correlation r: (1 + r) / (1 - r) times the variance, as for a
/// first-order autoregressive series).
pub fn theil_sen(points: &[(f64, f64)]) -> Option<Line> {
    if points.len() < 3 {
        return None;
    }
    let step = points.len().div_ceil(MOST_POINTS);
    let few: Vec<(f64, f64)> = points.iter().copied().step_by(step).collect();
    let slope = median(&pairwise_slopes(&few))?;
    let offsets: Vec<f64> = points.iter().map(|p| p.1 - slope * p.0).collect();
    let intercept = median(&offsets)?;
    let residuals: Vec<f64> = offsets.iter().map(|o| o - intercept).collect();
    let n = points.len() as f64;
    let centre = points.iter().map(|p| p.0).sum::<f64>() / n;
    let spread: f64 = points.iter().map(|p| (p.0 - centre).powi(2)).sum();
    // A few points that happen to lie on a line say little about scatter.
    let scatter = mad_sd(&residuals)?.max(0.5 * sd(&residuals)?) * (n / (n - 2.0)).sqrt();
    let r = serial_correlation(&residuals).clamp(0.0, 0.8);
    let widened = ((1.0 + r) / (1.0 - r)).sqrt();
    // 1.05: efficiency of the slope against least squares, normal data.
    Some(Line {
        slope,
        slope_sd: 1.05 * widened * scatter / spread.sqrt(),
        intercept,
    })
}

/// First serial correlation about zero; 0 for a constant series.
fn serial_correlation(residuals: &[f64]) -> f64 {
    let squares: f64 = residuals.iter().map(|r| r * r).sum();
    let products: f64 = residuals.windows(2).map(|w| w[0] * w[1]).sum();
    if squares > 0.0 {
        products / squares
    } else {
        0.0
    }
}

/// The rising sequence nearest to `values` in weighted squares
/// (pool-adjacent-violators; Ayer et al. 1955, Ann. Math. Stat. 26:641).
pub fn isotonic(values: &[f64], weights: &[f64]) -> Vec<f64> {
    // Blocks of (weighted mean, weight, length).
    let mut blocks: Vec<(f64, f64, usize)> = Vec::new();
    for (&value, &weight) in values.iter().zip(weights) {
        let mut block = (value, weight, 1);
        while let Some(&last) = blocks.last() {
            if last.0 <= block.0 {
                break;
            }
            blocks.pop();
            let weight = last.1 + block.1;
            block = (
                (last.0 * last.1 + block.0 * block.1) / weight,
                weight,
                last.2 + block.2,
            );
        }
        blocks.push(block);
    }
    blocks
        .iter()
        .flat_map(|&(value, _, length)| std::iter::repeat_n(value, length))
        .collect()
}

/// Share of the variance of y that a straight line in x explains, 0 to 1.
/// `None` with fewer than three points or where either does not vary.
pub fn straightness(points: &[(f64, f64)]) -> Option<f64> {
    if points.len() < 3 {
        return None;
    }
    let n = points.len() as f64;
    let cx = points.iter().map(|p| p.0).sum::<f64>() / n;
    let cy = points.iter().map(|p| p.1).sum::<f64>() / n;
    let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
    for &(x, y) in points {
        xx += (x - cx).powi(2);
        yy += (y - cy).powi(2);
        xy += (x - cx) * (y - cy);
    }
    (xx > 0.0 && yy > 0.0).then(|| xy * xy / (xx * yy))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Arithmetic on a sample of five intervals and one more; the expected
    /// values are worked by hand from the definitions.
    #[test]
    fn moving_means_have_fewer_neighbours_at_the_ends() {
        let means = moving_mean(&[1.0, 2.0, 6.0, 3.0], 1);
        assert_eq!(means, [1.5, 3.0, 11.0 / 3.0, 4.5]);
        assert!(moving_mean(&[], 2).is_empty());
    }

    #[test]
    fn moments_and_quantiles() {
        let intervals = [167.0, 160.0, 173.0, 166.0, 171.0, 163.0];
        assert!((mean(&intervals).unwrap() - 166.666_67).abs() < 1e-5);
        assert!((sd(&intervals).unwrap() - 4.844_241).abs() < 1e-6);
        assert_eq!(median(&[3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(quantile(&[1.0, 2.0, 3.0, 4.0], 0.25), Some(1.75));
        assert_eq!(median(&[]), None);
        assert_eq!(sd(&[1.0]), None);
    }

    #[test]
    fn exponentials_add_up_however_far_from_one() {
        let sum = |logs: &[f64]| log_sum_exp(logs.iter().copied());
        assert!((sum(&[0.0, 0.0]) - 2f64.ln()).abs() < 1e-12);
        assert!((sum(&[-2000.0, -2000.0]) - (2f64.ln() - 2000.0)).abs() < 1e-9);
        assert!((sum(&[800.0, -800.0]) - 800.0).abs() < 1e-9);
        assert!(sum(&[]) < f64::MIN);
    }

    /// Arithmetic: |x - 2| of 1, 1, 2, 2, 4, 6, 9 is 1, 1, 0, 0, 2, 4, 7,
    /// whose median is 1.
    #[test]
    fn median_and_mad_of_a_known_set() {
        let data = [1.0, 1.0, 2.0, 2.0, 4.0, 6.0, 9.0];
        assert_eq!(median(&data), Some(2.0));
        assert!((mad_sd(&data).unwrap() - MAD_TO_SD).abs() < 1e-12);
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[3.0, 1.0]), Some(2.0));
    }

    /// pyMannKendall's convention and Sen 1968: the median of all pairwise
    /// slopes of 1, 2, 3, 4, 5, 16, 7 is exactly 1.
    #[test]
    fn one_outlier_leaves_the_theil_sen_slope_alone() {
        let points: Vec<(f64, f64)> = [1.0, 2.0, 3.0, 4.0, 5.0, 16.0, 7.0]
            .iter()
            .enumerate()
            .map(|(i, &y)| (i as f64, y))
            .collect();
        let line = theil_sen(&points).unwrap();
        assert!((line.slope - 1.0).abs() < 1e-12);
        assert!((line.intercept - 1.0).abs() < 1e-12);
        assert!(theil_sen(&points[..2]).is_none());
        assert!(theil_sen(&[(1.0, 1.0), (1.0, 2.0), (1.0, 3.0)]).is_none());
    }

    /// The worked example of pool-adjacent-violators: 1, 3, 2, 4 pools the
    /// middle two to their mean; weights move it.
    #[test]
    fn violators_are_pooled() {
        assert_eq!(
            isotonic(&[1.0, 3.0, 2.0, 4.0], &[1.0; 4]),
            vec![1.0, 2.5, 2.5, 4.0]
        );
        assert_eq!(
            isotonic(&[3.0, 2.0, 1.0], &[1.0, 1.0, 2.0]),
            vec![1.75, 1.75, 1.75]
        );
    }

    #[test]
    fn an_outlier_moves_a_pooled_mean_little_and_scatter_widens_it() {
        let sds = [1.0; 9];
        let mut values = [10.0, 10.5, 9.5, 10.2, 9.8, 10.1, 9.9, 10.0, 10.0];
        let tight = pooled(&values, &sds, 0.0).unwrap();
        assert!((tight.value - 10.0).abs() < 0.01);
        assert!((tight.sd - 1.0 / 3.0).abs() < 1e-6);
        values[0] = 100.0;
        let pulled = pooled(&values, &sds, 0.0).unwrap();
        assert!((pulled.value - 10.0).abs() < 0.3, "{pulled:?}");
        let wide = pooled(&[0.0, 20.0, 40.0, 60.0], &[1.0; 4], 0.0).unwrap();
        assert!(wide.sd > 5.0, "{wide:?}");
    }

    /// numpy.quantile([1, 2, 4, 8], 0.4) = 2.4 (linear, its documentation).
    #[test]
    fn quantiles_follow_the_linear_definition() {
        assert!((quantile(&[8.0, 1.0, 2.0, 4.0], 0.4).unwrap() - 2.4).abs() < 1e-12);
    }
}
