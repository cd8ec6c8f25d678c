//! A roll, heard as a whole: how fast its strokes follow one another, and
//! where they are.
//!
//! A stroke inside a roll hardly rises above the ring of those before it, and
//! in a room many do not rise enough to be heard alone. All of them together
//! tell their rate: they follow one another at nearly the same distance. For
//! every rate a semi-Markov chain of strokes is laid through the roll, from its
//! expected first stroke to its written end, with the sound of each frame as
//! evidence, and the rates share one likelihood (forward and backward sums: L.
//! R. Rabiner, Proc. IEEE 77 (1989) 257; from memory).
//!
//! A player rolls at much the same rate throughout a take, so the rolls of a
//! take inform each other; none is told by the others alone.

mod chain;
mod evidence;

pub use chain::SPREAD;
pub use evidence::{SIGN_NAMES, Signs, signs};

use super::{Bands, Residual, is_peak};
use chain::{Chain, Stretch};

/// Rates that are weighed, strokes a second: the slowest, the fastest, and how
/// many, in equal steps of the logarithm. The fastest is a sixth beyond what two
/// hands reach, and no farther: beats of what rings between slow strokes pass
/// for strokes at twice their rate.
const RATES: (f64, f64, usize) = (5.5, 16.5, 100);
/// Usual rates: their middle, strokes a second, and the spread of their
/// logarithm. Two alternating hands reach 10 to 14 (one hand 5 to 7: Fujii et
/// al. 2009, Neurosci. Lett. 459:69), large drums are rolled more slowly
/// (common practice, no source).
const USUAL: (f64, f64) = (10.5, 0.25);
/// Spread of the logarithm of the rates within a take: drums of different
/// size, loud and soft (common practice, no source).
const WITHIN: f64 = 0.08;
/// A rate is near another within this share.
const NEAR: f64 = 0.05;

/// Fewest strokes that tell by themselves how far apart they are, and how evenly.
pub const LEAST_STROKES: usize = 5;
/// Most distances to the next for each that is heard: where more strokes are
/// passed over, their number would be a guess.
pub const MOST_HOLES: f64 = 1.35;

/// Where a roll is expected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// Its first stroke, seconds, and the standard uncertainty of that.
    pub from_s: f64,
    pub from_sd_s: f64,
    /// Its written end: where a note after it would be struck.
    pub to_s: f64,
}

/// What the sound says of a roll.
#[derive(Clone, Debug, PartialEq)]
pub struct Rolled {
    /// Mean strokes a second, and its standard uncertainty, provided that the
    /// rate is near this one.
    pub rate_hz: f64,
    pub rate_sd_hz: f64,
    /// Probability that the rate is within 5 % of that, 0 to 1.
    pub sure: f64,
    /// Natural log of how much likelier the sound is with a roll than with
    /// none.
    pub log_odds: f64,
    hop_s: f64,
    /// The frame that `presence` begins with.
    first: usize,
    /// Expected number of strokes in each frame.
    presence: Vec<f64>,
    /// How each frame sounds like a stroke, nats.
    evidence: Vec<f64>,
}

impl Rolled {
    /// Expected number of strokes between two times.
    pub fn strokes(&self, from_s: f64, to_s: f64) -> f64 {
        let (from, to) = (self.place(from_s), self.place(to_s));
        self.presence[from.min(to)..to].iter().sum()
    }

    /// The most that any frame between two times sounds like a stroke, nats.
    fn loudest(&self, from_s: f64, to_s: f64) -> f64 {
        let (from, to) = (self.place(from_s), self.place(to_s));
        self.evidence[from.min(to)..to]
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max)
    }

    /// Place of the first frame not before a time.
    fn place(&self, time_s: f64) -> usize {
        let place = (time_s / self.hop_s).ceil() - self.first as f64;
        (place.max(0.0) as usize).min(self.presence.len())
    }

    /// Times at which a stroke likelier than `least` is, at most one within
    /// `apart_s` to either side: (time, its standard uncertainty, probability),
    /// seconds.
    pub fn moments(&self, least: f64, apart_s: f64) -> Vec<(f64, f64, f64)> {
        let half = (apart_s / self.hop_s / 2.0).round().max(1.0) as usize;
        let sums: Vec<f64> = (0..self.presence.len())
            .map(|i| {
                let to = (i + half + 1).min(self.presence.len());
                self.presence[i.saturating_sub(half)..to].iter().sum()
            })
            .collect();
        let mut moments = Vec::new();
        for (i, &sum) in sums.iter().enumerate() {
            if sum < least || !is_peak(&sums, i, 2 * half) {
                continue;
            }
            let near = i.saturating_sub(half)..(i + half + 1).min(sums.len());
            let time = |k: usize| (self.first + k) as f64 * self.hop_s;
            let mean = near
                .clone()
                .map(|k| self.presence[k] * time(k))
                .sum::<f64>()
                / sum;
            let square = near
                .map(|k| self.presence[k] * (time(k) - mean).powi(2))
                .sum::<f64>()
                / sum;
            let heard = self.loudest(mean - apart_s / 2.0, mean + apart_s / 2.0) > 0.0;
            if heard {
                moments.push((mean, square.sqrt().hypot(self.hop_s), sum.min(1.0)));
            }
        }
        moments
    }
}

/// Hears the rolls of a passage. `None` for a span too short to hold one,
/// outside the take, or at the ends of the rates that are weighed.
pub fn hear(bands: &Bands, residual: &Residual, spans: &[Span]) -> Vec<Option<Rolled>> {
    let rates = rates();
    // At the ends of what is weighed, the true rate may lie beyond: the sound
    // of a room passes for strokes between the strokes.
    let (slowest, fastest) = (RATES.0 * (1.0 + NEAR), RATES.1 / (1.0 + NEAR));
    let stretches: Vec<Vec<Stretch>> = spans
        .iter()
        .map(|span| Stretch::of(bands, residual, span, &rates))
        .collect();
    let flat: Vec<&Stretch> = stretches.iter().flatten().collect();
    let mut beliefs = beliefs(&flat, &rates).into_iter();
    spans
        .iter()
        .zip(&stretches)
        .map(|(span, own)| {
            let shares: Vec<Belief> = beliefs.by_ref().take(own.len()).collect();
            rolled(bands.hop_s, span, own, &shares, &rates)
                .filter(|roll| (slowest..=fastest).contains(&roll.rate_hz))
        })
        .collect()
}

fn rates() -> Vec<f64> {
    let (slowest, fastest, count) = RATES;
    let step = (fastest / slowest).ln() / (count - 1) as f64;
    (0..count)
        .map(|k| slowest * (step * k as f64).exp())
        .collect()
}

/// Shares of belief in each rate.
struct Belief {
    /// By what the other stretches say of the player's usual rate.
    before: Vec<f64>,
    /// Together with what its own sound says.
    after: Vec<f64>,
}

/// The beliefs in the rates of every stretch.
fn beliefs(stretches: &[&Stretch], rates: &[f64]) -> Vec<Belief> {
    let bell = |off: f64, spread: f64| (-0.5 * (off / spread).powi(2)).exp();
    let usual: Vec<f64> = rates
        .iter()
        .map(|r| bell((r / USUAL.0).ln(), USUAL.1))
        .collect();
    let near: Vec<Vec<f64>> = rates
        .iter()
        .map(|c| shares(rates.iter().map(|r| bell((r / c).ln(), WITHIN)).collect()))
        .collect();
    // What each stretch says of the player's usual rate.
    let says: Vec<Vec<f64>> = stretches
        .iter()
        .map(|s| {
            let best = s.likelihood.iter().copied().fold(f64::MIN, f64::max);
            let of_usual = |row: &Vec<f64>| -> f64 {
                let sum: f64 = row
                    .iter()
                    .zip(&s.likelihood)
                    .map(|(share, log)| share * (log - best).exp())
                    .sum();
                sum.max(f64::MIN_POSITIVE).ln()
            };
            near.iter().map(of_usual).collect()
        })
        .collect();
    (0..stretches.len())
        .map(|own| {
            let usual = from_logs(&|k: usize| {
                let others = says.iter().enumerate().filter(|(i, _)| *i != own);
                usual[k].ln() + others.map(|(_, s)| s[k]).sum::<f64>()
            });
            let before: Vec<f64> = (0..rates.len())
                .map(|k| usual.iter().zip(&near).map(|(u, row)| u * row[k]).sum())
                .collect();
            let after = from_logs(&|k: usize| {
                before[k].max(f64::MIN_POSITIVE).ln() + stretches[own].likelihood[k]
            });
            Belief { before, after }
        })
        .collect()
}

fn shares(mut values: Vec<f64>) -> Vec<f64> {
    let sum: f64 = values.iter().sum();
    values.iter_mut().for_each(|v| *v /= sum);
    values
}

fn from_logs(log: &dyn Fn(usize) -> f64) -> Vec<f64> {
    let logs: Vec<f64> = (0..RATES.2).map(log).collect();
    let best = logs.iter().copied().fold(f64::MIN, f64::max);
    shares(logs.iter().map(|l| (l - best).exp()).collect())
}

/// What the stretches of a roll say together.
fn rolled(
    hop_s: f64,
    span: &Span,
    stretches: &[Stretch],
    beliefs: &[Belief],
    rates: &[f64],
) -> Option<Rolled> {
    let head = stretches.first()?;
    let tail = stretches.last()?;
    let end = tail.first + tail.evidence.len();
    let mut all = Rolled {
        rate_hz: 0.0,
        rate_sd_hz: 0.0,
        sure: 1.0,
        log_odds: 0.0,
        hop_s,
        first: head.first,
        presence: vec![0.0; end - head.first],
        evidence: vec![0.0; end - head.first],
    };
    for (stretch, belief) in stretches.iter().zip(beliefs) {
        let share = (stretch.to_s - stretch.from_s) / (span.to_s - span.from_s);
        let Belief { before, after } = belief;
        let most = (0..rates.len()).max_by(|&a, &b| after[a].total_cmp(&after[b]))?;
        let near = |rate: f64| (rate / rates[most] - 1.0).abs() <= NEAR;
        let own = rates.iter().zip(after).filter(|(r, _)| near(**r));
        let sure: f64 = own.clone().map(|(_, b)| b).sum();
        let mean = own.clone().map(|(r, b)| r * b).sum::<f64>() / sure;
        let square = own.map(|(r, b)| b * (r - mean).powi(2)).sum::<f64>() / sure;
        all.rate_hz += share * mean;
        all.rate_sd_hz = all.rate_sd_hz.hypot(share * square.sqrt());
        all.sure = all.sure.min(sure);
        let best = stretch.likelihood.iter().copied().fold(f64::MIN, f64::max);
        let mean: f64 = before
            .iter()
            .zip(&stretch.likelihood)
            .map(|(b, l)| b * (l - best).exp())
            .sum();
        all.log_odds += best + mean.ln();
        for (&rate, &weight) in rates.iter().zip(after) {
            if weight < 1e-3 {
                continue;
            }
            let presence = Chain::new(stretch, rate).presence(stretch);
            for (place, p) in (stretch.first - head.first..).zip(presence) {
                all.presence[place] += weight * p;
            }
        }
        let from = stretch.first - head.first;
        all.evidence[from..from + stretch.evidence.len()].copy_from_slice(&stretch.evidence);
    }
    Some(all)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::listen::BANDS;
    use crate::listen::residual::{BIN_S, PARTS};

    const HOP_S: f64 = 0.005;

    /// A number between -0.5 and 0.5 for every place, the same every time.
    fn noise(place: usize) -> f32 {
        let turned = (place as u32).wrapping_mul(2_654_435_761) ^ 0x9e37;
        (turned.wrapping_mul(2_246_822_519) >> 8) as f32 / 16_777_216.0 - 0.5
    }

    /// `seconds` with strokes at the given times, each `rise_db` above the ring,
    /// over noise that scatters by a decibel or so in the levels, and by more in
    /// the residual.
    struct Sound {
        bands: Bands,
        residual: Residual,
    }

    impl Sound {
        fn new(seconds: f64, strokes: &[f64], rise_db: f64) -> Self {
            let ring_db = |time: f64, early_s: f64| {
                strokes
                    .iter()
                    .filter(|&&s| s <= time + early_s)
                    .map(|s| rise_db * (-(time - s).max(0.0) / 0.04).exp())
                    .fold(0.0, f64::max)
            };
            let level_db = (0..(seconds / HOP_S) as usize)
                .map(|frame| {
                    let ring = ring_db(frame as f64 * HOP_S, 0.008) as f32;
                    std::array::from_fn(|band| -50.0 + ring + 4.0 * noise(frame * BANDS + band))
                })
                .collect();
            let powers: Vec<[f32; PARTS]> = (0..(seconds / BIN_S) as usize)
                .map(|bin| {
                    let power = 10f64.powf(ring_db(bin as f64 * BIN_S, 0.0) / 10.0) as f32;
                    // The mean power of four independent samples.
                    let noise = |k: usize| -(noise(1_000_000 + k) + 0.5).max(1e-6).ln() / 2.0;
                    std::array::from_fn(|part| {
                        let k = 2 * (bin * PARTS + part);
                        1e-6 * power * (noise(k) + noise(k + 1))
                    })
                })
                .collect();
            Self {
                bands: Bands {
                    hop_s: HOP_S,
                    level_db,
                },
                residual: Residual::of_powers(&powers),
            }
        }

        fn hear(&self, spans: &[Span]) -> Vec<Option<Rolled>> {
            hear(&self.bands, &self.residual, spans)
        }
    }

    fn strokes(from_s: f64, rate: f64, count: usize) -> Vec<f64> {
        // Two uneven hands.
        (0..count)
            .map(|k| from_s + (k as f64 + if k % 2 == 1 { 0.04 } else { 0.0 }) / rate)
            .collect()
    }

    fn span(from_s: f64, to_s: f64) -> Span {
        Span {
            from_s,
            from_sd_s: 0.025,
            to_s,
        }
    }

    #[test]
    fn the_rate_of_a_roll_is_told_and_its_strokes_are_found() {
        for rate in [9.0, 10.3, 11.7, 14.2] {
            let times = strokes(1.0, rate, 16);
            let to_s = 1.0 + 16.0 / rate;
            let heard = Sound::new(5.0, &times, 6.0).hear(&[span(1.01, to_s)]);
            let roll = heard[0].as_ref().unwrap();
            let told = (roll.rate_hz, roll.sure, roll.log_odds);
            assert!((roll.rate_hz / rate - 1.0).abs() < 0.02, "{told:?}");
            assert!(roll.sure > 0.9 && roll.log_odds > 3.0, "{told:?}");
            assert!((roll.strokes(0.9, to_s) - 16.0).abs() < 0.6, "{rate}");
            let moments = roll.moments(0.8, 0.03);
            assert_eq!(moments.len(), 16, "{rate}: {moments:?}");
            // Where the sound rises most is early or late by as much every time.
            let off: Vec<f64> = moments.iter().zip(&times).map(|(m, t)| m.0 - t).collect();
            let (first, last) = off
                .iter()
                .fold((f64::MAX, f64::MIN), |r, &o| (r.0.min(o), r.1.max(o)));
            assert!(first > -0.02 && last < 0.02, "{rate}: {off:?}");
            assert!(last - first < 0.012, "{rate}: {off:?}");
        }
    }

    /// A slow roll may be every other stroke of one twice as fast, whose second
    /// hand is not heard: it is told with less certainty, and not as the fast.
    #[test]
    fn a_slow_roll_is_not_taken_for_a_fast_one() {
        let heard = Sound::new(5.0, &strokes(1.0, 7.3, 16), 6.0).hear(&[span(1.0, 3.19)]);
        let roll = heard[0].as_ref().unwrap();
        assert!((roll.rate_hz / 7.3 - 1.0).abs() < 0.02, "{}", roll.rate_hz);
        assert!(roll.sure > 0.5, "{}", roll.sure);
    }

    #[test]
    fn where_no_roll_sounds_no_rate_is_sure_and_no_stroke_is_found() {
        let heard = Sound::new(5.0, &[1.0], 20.0).hear(&[span(1.0, 2.5)]);
        let roll = heard[0].as_ref().unwrap();
        assert!(roll.log_odds < 0.0, "{}", roll.log_odds);
        assert!(roll.sure < 0.75, "{}", roll.sure);
        let later = roll.moments(0.8, 0.03);
        assert!(later.iter().all(|m| m.0 < 1.1), "{later:?}");
    }

    #[test]
    fn a_long_roll_is_told_in_stretches_and_a_tiny_one_not_at_all() {
        let times = strokes(1.0, 12.0, 132);
        let whole = Sound::new(14.0, &times, 6.0);
        let heard = whole.hear(&[span(1.0, 12.0), span(1.0, 1.1), span(20.0, 22.0)]);
        let roll = heard[0].as_ref().unwrap();
        assert!((roll.rate_hz / 12.0 - 1.0).abs() < 0.01, "{}", roll.rate_hz);
        assert!((roll.strokes(0.9, 12.0) - 132.0).abs() < 3.0);
        assert_eq!(heard[1..], [None, None]);
    }

    /// The other rolls of a take may decide between two rates, but do not tell
    /// one by themselves.
    #[test]
    fn other_rolls_tell_no_rate_alone() {
        let mut times = strokes(1.0, 11.0, 16);
        times.extend(strokes(4.0, 11.0, 16));
        times.push(7.0);
        let spans = [span(1.0, 2.45), span(4.0, 5.45), span(7.0, 8.45)];
        let heard = Sound::new(10.0, &times, 8.0).hear(&spans);
        assert!(heard[0].as_ref().unwrap().sure > 0.9);
        assert!(heard[2].as_ref().unwrap().sure < 0.75);
    }
}
