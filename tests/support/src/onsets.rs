//! How well a list of heard onsets agrees with the true ones.
//!
//! A true and a heard onset agree when they lie within a window of each other,
//! both ends included, and each may be used once. As many pairs as possible are
//! made, as in `mir_eval.onset.f_measure` (Raffel and others, "`mir_eval`: a
//! transparent implementation of common MIR metrics", ISMIR 2014), whose scores
//! are reproduced exactly (`tests/reference/onsets.rs`). A window of 0.025 means
//! 25 ms to either side. Unlike there, the pairs made are those with the least
//! total distance, so that the errors between them can be looked at.

/// Share of onsets that agree; each 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Score {
    /// The harmonic mean of the other two; 0 when either list is empty.
    pub f: f64,
    /// Agreeing pairs among the heard onsets.
    pub precision: f64,
    /// Agreeing pairs among the true onsets.
    pub recall: f64,
}

/// Scores heard onsets against true ones; both in seconds and rising.
pub fn score(truth: &[f64], heard: &[f64], window_s: f64) -> Score {
    if truth.is_empty() || heard.is_empty() {
        return Score {
            f: 0.0,
            precision: 0.0,
            recall: 0.0,
        };
    }
    let pairs = pairs(truth, heard, window_s).len() as f64;
    let precision = pairs / heard.len() as f64;
    let recall = pairs / truth.len() as f64;
    let f = if pairs == 0.0 {
        0.0
    } else {
        2.0 * precision * recall / (precision + recall)
    };
    Score {
        f,
        precision,
        recall,
    }
}

/// Pairs (place in `truth`, place in `heard`) within `window_s` seconds of each
/// other: as many as possible, and among those the nearest. Both lists rising.
pub fn pairs(truth: &[f64], heard: &[f64], window_s: f64) -> Vec<(usize, usize)> {
    let near =
        |i: usize, j: usize| truth[i] >= heard[j] - window_s && truth[i] <= heard[j] + window_s;
    let mut found = Vec::new();
    let (mut i, mut j) = (0, 0);
    while i < truth.len() && j < heard.len() {
        // A cluster ends where the next onset of one list is out of reach of
        // everything so far in the other: clusters are independent.
        if !near(i, j) {
            if truth[i] < heard[j] {
                i += 1;
            } else {
                j += 1;
            }
            continue;
        }
        let (mut end_i, mut end_j) = (i + 1, j + 1);
        loop {
            let before = (end_i, end_j);
            while end_i < truth.len() && near(end_i, end_j - 1) {
                end_i += 1;
            }
            while end_j < heard.len() && near(end_i - 1, end_j) {
                end_j += 1;
            }
            if (end_i, end_j) == before {
                break;
            }
        }
        let cluster = cluster_pairs(&truth[i..end_i], &heard[j..end_j], |a, b| {
            near(i + a, j + b)
        });
        found.extend(cluster.into_iter().map(|(a, b)| (i + a, j + b)));
        (i, j) = (end_i, end_j);
    }
    found
}

/// The best pairs of one cluster. On a line some best set of pairs never
/// crosses, so a table over both lists finds it.
fn cluster_pairs(
    truth: &[f64],
    heard: &[f64],
    near: impl Fn(usize, usize) -> bool,
) -> Vec<(usize, usize)> {
    // best[i][j]: (pairs, total distance) among truth[i..] and heard[j..].
    let better = |a: (usize, f64), b: (usize, f64)| a.0 > b.0 || (a.0 == b.0 && a.1 < b.1);
    let mut best = vec![vec![(0usize, 0.0f64); heard.len() + 1]; truth.len() + 1];
    for i in (0..truth.len()).rev() {
        for j in (0..heard.len()).rev() {
            let mut here = best[i + 1][j];
            if better(best[i][j + 1], here) {
                here = best[i][j + 1];
            }
            if near(i, j) {
                let (count, distance) = best[i + 1][j + 1];
                let paired = (count + 1, distance + (truth[i] - heard[j]).abs());
                if better(paired, here) {
                    here = paired;
                }
            }
            best[i][j] = here;
        }
    }
    let mut pairs = Vec::new();
    let (mut i, mut j) = (0, 0);
    while i < truth.len() && j < heard.len() {
        if best[i][j] == best[i + 1][j] {
            i += 1;
        } else if best[i][j] == best[i][j + 1] {
            j += 1;
        } else {
            pairs.push((i, j));
            i += 1;
            j += 1;
        }
    }
    pairs
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand: of four true and five heard onsets 4, 3 and 2 pairs lie
    /// within 50, 25 and 10 ms.
    #[test]
    fn a_list_worked_by_hand() {
        let truth = [0.5, 1.0, 1.5, 2.0];
        let heard = [0.508, 1.04, 1.5, 1.7, 2.024];
        for (window_s, precision, recall, f) in [
            (0.050, 0.8, 1.0, 8.0 / 9.0),
            (0.025, 0.6, 0.75, 2.0 / 3.0),
            (0.010, 0.4, 0.5, 4.0 / 9.0),
        ] {
            let found = score(&truth, &heard, window_s);
            assert!((found.precision - precision).abs() < 1e-12);
            assert!((found.recall - recall).abs() < 1e-12);
            assert!((found.f - f).abs() < 1e-12);
        }
    }

    #[test]
    fn more_pairs_come_before_nearer_pairs() {
        // 1.02 is nearest to 1.03, but taking 1.03 for 1.06 gives two pairs.
        assert_eq!(
            pairs(&[1.02, 1.06], &[0.99, 1.03], 0.03),
            vec![(0, 0), (1, 1)]
        );
        assert_eq!(pairs(&[1.0], &[0.98, 1.01], 0.03), vec![(0, 1)]);
        assert!(pairs(&[], &[1.0], 0.03).is_empty());
    }
}
