//! Strokes at nearly equal distances, laid through a piece of a roll.

use super::evidence::evidence;
use super::{RATES, Span};
use crate::listen::{Bands, Residual};
use crate::regression::probability;

/// Spread of the distance between two strokes, as a share of it: two uneven
/// hands and their scatter.
pub const SPREAD: f64 = 0.045;
/// Distances up to this many times the mean are looked at: over four times the
/// spread.
const FARTHEST: f64 = 1.2;
/// The last stroke lies between these shares of a distance before the end that
/// is written, give or take the third.
const LAST: (f64, f64, f64) = (0.45, 1.65, 0.06);
/// Chance that a roll ends earlier than that.
const BROKEN_OFF: f64 = 0.03;
/// A long roll is taken in stretches of this length at most, seconds: nobody
/// keeps one rate for long.
const STRETCH_S: f64 = 4.0;
/// A piece of a roll, and how likely it is at each rate.
pub struct Stretch {
    pub first: usize,
    /// Nats a frame.
    pub evidence: Vec<f64>,
    /// The same as a ratio of likelihoods.
    ratio: Vec<f64>,
    /// Begins with the roll, ends with it.
    ends: (bool, bool),
    pub from_s: f64,
    from_sd_s: f64,
    pub to_s: f64,
    hop_s: f64,
    /// Natural log of the likelihood at each rate, against no stroke at all.
    pub likelihood: Vec<f64>,
}

impl Stretch {
    pub fn of(bands: &Bands, residual: &Residual, span: &Span, rates: &[f64]) -> Vec<Self> {
        let length = span.to_s - span.from_s;
        let hop_s = bands.hop_s;
        let usable = hop_s > 0.0 && length.is_finite() && span.from_sd_s > 0.0;
        if !usable || length < 2.0 / RATES.0 || span.from_s < 0.0 {
            return Vec::new();
        }
        let count = (length / STRETCH_S).ceil().max(1.0);
        (0..count as usize)
            .filter_map(|k| {
                let ends = (k == 0, k + 1 == count as usize);
                let from_s = span.from_s + length * k as f64 / count;
                let to_s = span.from_s + length * (k + 1) as f64 / count;
                let early = if ends.0 { 3.0 * span.from_sd_s } else { 0.0 };
                let first = ((from_s - early).max(0.0) / hop_s).round() as usize;
                let last = ((to_s / hop_s).round() as usize).min(bands.level_db.len());
                let evidence = evidence(bands, residual, first, last)?;
                let mut stretch = Self {
                    first,
                    ratio: evidence.iter().map(|e| e.exp()).collect(),
                    evidence,
                    ends,
                    from_s,
                    from_sd_s: span.from_sd_s,
                    to_s,
                    hop_s,
                    likelihood: Vec::new(),
                };
                let all = rates.iter().map(|&rate| Chain::new(&stretch, rate));
                stretch.likelihood = all.map(|chain| chain.likelihood.ln()).collect();
                Some(stretch)
            })
            .collect()
    }

    pub fn time(&self, place: usize) -> f64 {
        (self.first + place) as f64 * self.hop_s
    }
}

/// Strokes at one rate laid through a stretch.
pub struct Chain {
    /// Sum over all ways to a stroke in a frame, that frame included.
    forward: Vec<f64>,
    /// Chance of each frame to hold the last stroke.
    last: Vec<f64>,
    /// Chance of each distance, frames from the first element of the pair.
    steps: (usize, Vec<f64>),
    likelihood: f64,
}

impl Chain {
    /// No scaling is needed: a stretch holds at most 72 strokes, each worth at
    /// most e^6 (`evidence::MOST`).
    pub fn new(stretch: &Stretch, rate: f64) -> Self {
        let count = stretch.evidence.len();
        let distance = 1.0 / (rate * stretch.hop_s);
        let nearest = (distance * (2.0 - FARTHEST)).floor().max(1.0) as usize;
        let farthest = (distance * FARTHEST).ceil() as usize;
        let mut chances: Vec<f64> = (nearest..=farthest)
            .map(|d| (-0.5 * ((d as f64 / distance - 1.0) / SPREAD).powi(2)).exp())
            .collect();
        let whole: f64 = chances.iter().sum();
        chances.iter_mut().for_each(|c| *c /= whole);

        let (soonest, latest, soft) = LAST;
        let wanted = (latest - soonest) * distance;
        let mut first = vec![0.0; count];
        let mut last = vec![0.0; count];
        for place in 0..count {
            let since = (stretch.time(place) - stretch.from_s) * rate;
            let left = (stretch.to_s - stretch.time(place)) * rate;
            first[place] = if stretch.ends.0 {
                let off = since / (rate * stretch.from_sd_s);
                if off < 8.0 {
                    (-0.5 * off * off).exp()
                } else {
                    0.0
                }
            } else if since < 2.0 {
                probability((1.0 - since) / soft)
            } else {
                0.0
            };
            let near = left < latest + 1.0;
            last[place] = match (stretch.ends.1, near) {
                (true, true) => {
                    let in_time = probability((left - soonest) / soft)
                        * probability((latest - left) / soft)
                        / wanted;
                    (1.0 - BROKEN_OFF) * in_time + BROKEN_OFF / count as f64
                }
                (true, false) => BROKEN_OFF / count as f64,
                (false, true) => probability((1.0 - left) / soft),
                (false, false) => 0.0,
            };
        }
        let whole: f64 = first.iter().sum::<f64>().max(f64::MIN_POSITIVE);
        let mut forward: Vec<f64> = vec![0.0; count];
        for place in 0..count {
            let mut sum = first[place] / whole;
            for (step, chance) in (nearest..).zip(&chances) {
                let Some(before) = place.checked_sub(step) else {
                    break;
                };
                sum += chance * forward[before];
            }
            forward[place] = sum * stretch.ratio[place];
        }
        let likelihood: f64 = forward.iter().zip(&last).map(|(f, l)| f * l).sum();
        Self {
            forward,
            last,
            steps: (nearest, chances),
            likelihood: likelihood.max(f64::MIN_POSITIVE),
        }
    }

    /// Chance of a stroke in each frame.
    pub fn presence(&self, stretch: &Stretch) -> Vec<f64> {
        let count = self.forward.len();
        let mut backward = self.last.clone();
        for place in (0..count).rev() {
            for (step, chance) in (self.steps.0..).zip(&self.steps.1) {
                let Some(&after) = backward.get(place + step) else {
                    break;
                };
                backward[place] += chance * after * stretch.ratio[place + step];
            }
        }
        self.forward
            .iter()
            .zip(&backward)
            .map(|(f, b)| f * b / self.likelihood)
            .collect()
    }
}
