//! Contacts of strokes inside rolls, placed by one another.
//!
//! What the strokes before it left ringing covers how a stroke inside a roll
//! begins: its sound leaves open when that was. But strokes of a roll follow one
//! another at nearly the same distance. Of the moments that the sound leaves to
//! each, those that agree with one another are the likeliest (forward and backward
//! sums, as in [`super::rolling`]).

use super::contacts;
use super::growth::{Placed, Ways};
use super::opening::{DELAYS, Opening};
use super::residual::{BIN, BIN_S};
use super::rolling::{LEAST_STROKES, MOST_HOLES, SPREAD};
use super::{Candidate, Heard};
use crate::align::{Alignment, Outcome};
use crate::part::Part;
use crate::stats::median;

/// The chance that a stroke keeps no distance.
const ASTRAY: f64 = 0.05;
/// A stroke that its own sound places as surely as this share of a distance stays
/// there. Others are never told as that sure: what is measured of evenness must
/// not come from what was expected of it.
pub const PLACED_ALONE: f64 = 0.06;
/// Where others had a say, a contact is at least so unsure, as a share of a
/// distance.
const LEAST_SD: f64 = 0.08;

/// Places the strokes inside the rolls of a take that their own sound places
/// poorly. The first of a roll is a note, whose moment no distance tells: it
/// stays, as do strokes that only the roll as a whole shows, which it has placed.
/// `candidates` are those of `heard`.
pub fn place(candidates: &mut [Candidate], heard: &Heard, part: &Part, alignment: &Alignment) {
    let note_settings = part.note_settings();
    for passage in &alignment.passages {
        for (note, found) in (passage.notes.0..).zip(&passage.matches) {
            let sounds = part.notes[note].roll && found.outcome != Outcome::Missed;
            let ways = note_settings[note].and_then(|setting| heard.ways_of_settings.get(setting));
            if let (true, Some(ways)) = (sounds, ways) {
                let heard_alone = |stroke: &usize| *stroke < heard.places.len();
                let all = found.stroke.iter().chain(&found.further).copied();
                let mut strokes: Vec<usize> = all.filter(heard_alone).collect();
                strokes.sort_by(|&a, &b| candidates[a].time_s.total_cmp(&candidates[b].time_s));
                place_roll(candidates, heard, ways, &strokes, found.stroke);
            }
        }
    }
}

/// Places the strokes of one roll, in order of time.
fn place_roll(
    candidates: &mut [Candidate],
    heard: &Heard,
    ways: &Ways,
    strokes: &[usize],
    first: Option<usize>,
) {
    let times_s: Vec<f64> = strokes.iter().map(|&s| candidates[s].time_s).collect();
    let Some(distances) = Distances::of(&times_s) else {
        return;
    };
    let openings: Vec<Opening<'_>> = (strokes.iter())
        .map(|&stroke| Opening::new(&heard.residual, heard.places[stroke]))
        .collect();
    let bins: Vec<usize> = openings.iter().map(|o| o.coarse() / BIN).collect();
    let (alone, weakly): (Vec<Delays>, Vec<f64>) = openings.iter().map(|o| ways.chances(o)).unzip();
    let together = distances.agree(&bins, &alone);
    for (i, &stroke) in strokes.iter().enumerate() {
        let candidate = &mut candidates[stroke];
        if Some(stroke) == first || candidate.time_sd_s < PLACED_ALONE * distances.period_s {
            continue;
        }
        let placed = Placed::of(&openings[i], &together[i], weakly[i]);
        contacts::move_to(candidate, placed);
        candidate.time_sd_s = candidate.time_sd_s.max(LEAST_SD * distances.period_s);
    }
}

/// The chance of each delay.
type Delays = [f64; DELAYS];

/// How strokes follow one another.
struct Distances {
    period_s: f64,
    /// Periods from each stroke to the next.
    steps: Vec<f64>,
}

impl Distances {
    /// `None` where too few strokes tell them.
    fn of(times_s: &[f64]) -> Option<Self> {
        if times_s.len() < LEAST_STROKES {
            return None;
        }
        let gaps_s: Vec<f64> = times_s.windows(2).map(|w| w[1] - w[0]).collect();
        let about_s = median(&gaps_s).filter(|gap_s| *gap_s > 0.0)?;
        let steps: Vec<f64> = (gaps_s.iter())
            .map(|gap_s| (gap_s / about_s).round().max(1.0))
            .collect();
        let sum: f64 = steps.iter().sum();
        (sum <= MOST_HOLES * gaps_s.len() as f64).then(|| Self {
            period_s: gaps_s.iter().sum::<f64>() / sum,
            steps,
        })
    }

    /// The chance of each delay of strokes at these bins once all of them keep
    /// their distances, from that of each alone.
    fn agree(&self, bins: &[usize], alone: &[Delays]) -> Vec<Delays> {
        let links: Vec<Vec<f64>> = (self.steps.iter().zip(bins.windows(2)))
            .map(|(&steps, pair)| self.link(steps, pair[1] as f64 - pair[0] as f64))
            .collect();
        // What the strokes before each say, and those behind it.
        let mut forward = vec![[1.0; DELAYS]];
        for (i, link) in links.iter().enumerate() {
            forward.push(shares(along(&both(&forward[i], &alone[i]), link)));
        }
        let mut backward = vec![[1.0; DELAYS]];
        for (link, alone) in links.iter().zip(&alone[1..]).rev() {
            let back: Vec<f64> = link.iter().rev().copied().collect();
            let last = &backward[backward.len() - 1];
            backward.push(shares(along(&both(last, alone), &back)));
        }
        let others = forward.iter().zip(backward.iter().rev());
        (alone.iter().zip(others))
            .map(|(own, (forward, backward))| shares(both(&both(own, forward), backward)))
            .collect()
    }

    /// The chance that the delay of a stroke is so much more than that of the one
    /// before it, for every difference of two delays.
    fn link(&self, steps: f64, apart: f64) -> Vec<f64> {
        let period = self.period_s / BIN_S;
        let spread = SPREAD * period * steps.sqrt();
        let most = DELAYS as i32 - 1;
        (-most..=most)
            .map(|more| {
                let off = (apart + f64::from(more) - steps * period) / spread;
                let kept = (-0.5 * off * off).exp() / (spread * std::f64::consts::TAU.sqrt());
                (1.0 - ASTRAY) * kept + ASTRAY / DELAYS as f64
            })
            .collect()
    }
}

/// What the chances of one stroke say of the next, by the chance of each
/// difference.
fn along(chances: &Delays, link: &[f64]) -> Delays {
    let of = |to: usize| {
        let from = (0..DELAYS).map(|from| chances[from] * link[DELAYS - 1 + to - from]);
        from.sum()
    };
    std::array::from_fn(of)
}

fn both(a: &Delays, b: &Delays) -> Delays {
    std::array::from_fn(|i| a[i] * b[i])
}

fn shares(mut chances: Delays) -> Delays {
    let sum: f64 = chances.iter().sum();
    chances.iter_mut().for_each(|c| *c /= sum);
    chances
}

#[cfg(test)]
mod tests {
    use super::super::opening::{EARLIEST, Place};
    use super::super::residual::{PARTS, Residual};
    use super::*;
    use std::sync::Arc;

    const RATE: f64 = 11.0;

    /// Strokes that follow one another at [`RATE`], in bins, each off by so many.
    fn bins(off: &[i32]) -> Vec<usize> {
        (off.iter().enumerate())
            .map(|(i, off)| (1000.0 + i as f64 / RATE / BIN_S).round() as usize + *off as usize)
            .collect()
    }

    /// Chances of delays about some moments, each with its share.
    fn chances(moments: &[(i32, f64)], sd: f64) -> Delays {
        let bell = |i: usize, at: i32| {
            let off = f64::from(EARLIEST + i as i32 - at) / sd;
            (-0.5 * off * off).exp()
        };
        shares(std::array::from_fn(|i| {
            let sum: f64 = moments.iter().map(|&(at, share)| share * bell(i, at)).sum();
            sum + 1e-9
        }))
    }

    fn mean(chances: &Delays) -> f64 {
        let delay = |i: usize| f64::from(EARLIEST + i as i32);
        (0..DELAYS).map(|i| chances[i] * delay(i)).sum()
    }

    fn agreed(alone: &[Delays]) -> Vec<f64> {
        let bins = bins(&vec![0; alone.len()]);
        let times_s: Vec<f64> = bins.iter().map(|&b| b as f64 * BIN_S).collect();
        let distances = Distances::of(&times_s).map(|d| d.agree(&bins, alone));
        distances.unwrap_or_default().iter().map(mean).collect()
    }

    #[test]
    fn what_the_sound_leaves_open_the_others_say() {
        // Every third stroke might as well begin 12 ms later.
        let alone: Vec<Delays> = (0..12)
            .map(|i| match i % 3 {
                1 => chances(&[(0, 0.4), (24, 0.6)], 2.0),
                _ => chances(&[(0, 1.0)], 2.0),
            })
            .collect();
        let found = agreed(&alone);
        assert!(mean(&alone[1]) > 12.0);
        assert_eq!(found.len(), 12);
        assert!(found.iter().all(|delay| delay.abs() < 3.0), "{found:?}");
    }

    #[test]
    fn what_the_sound_says_plainly_stays() {
        // Two uneven hands, 6 ms apart from where they should be.
        let alone: Vec<Delays> = (0..12)
            .map(|i| chances(&[(if i % 2 == 0 { 6 } else { -6 }, 1.0)], 1.0))
            .collect();
        for (i, delay) in agreed(&alone).into_iter().enumerate() {
            let own = if i % 2 == 0 { 6.0 } else { -6.0 };
            assert!((delay - own).abs() < 0.7, "{i}: {delay}");
        }
    }

    #[test]
    fn a_stroke_out_of_place_draws_none_with_it() {
        let alone: Vec<Delays> = (0..12)
            .map(|i| chances(&[(if i == 5 { 36 } else { 0 }, 1.0)], 3.0))
            .collect();
        let found = agreed(&alone);
        for (i, delay) in found.iter().enumerate().filter(|(i, _)| *i != 5) {
            assert!(delay.abs() < 2.0, "{i}: {found:?}");
        }
        assert!(found[5] > 25.0, "{found:?}");
    }

    #[test]
    fn the_first_of_a_roll_and_those_placed_surely_stay() {
        let bins = bins(&[0; 8]);
        let sounds = |bin: usize| bins.iter().any(|&b| (b..b + 60).contains(&bin));
        let powers: Vec<[f32; PARTS]> = (0..bins[7] + 500)
            .map(|bin| [if sounds(bin) { 1e-3 } else { 1e-8 }; PARTS])
            .collect();
        let place = |&bin: &usize| Place {
            bin,
            pick: 0.0,
            own: (-20, 20),
        };
        let heard = Heard {
            residual: Arc::new(Residual::of_powers(&powers)),
            places: Arc::new(bins.iter().map(place).collect()),
            ..Heard::default()
        };
        let late = |(i, &bin): (usize, &usize)| Candidate {
            time_s: bin as f64 * BIN_S + 0.008,
            time_sd_s: if i == 3 { 0.001 } else { 0.02 },
            log_odds: 3.0,
            level_db: -10.0,
        };
        let before: Vec<Candidate> = bins.iter().enumerate().map(late).collect();
        let mut after = before.clone();
        let mut strokes: Vec<usize> = (0..8).collect();
        place_roll(&mut after, &heard, &Ways::default(), &strokes, Some(0));
        strokes.retain(|&i| after[i] == before[i]);
        assert_eq!(strokes, [0, 3]);
        let off_s = |i: usize| after[i].time_s - bins[i] as f64 * BIN_S;
        assert!(off_s(5).abs() < 0.002, "{}", off_s(5));
    }

    #[test]
    fn strokes_passed_over_leave_whole_distances_and_few_strokes_none() {
        let at =
            |places: &[f64]| Distances::of(&places.iter().map(|p| p / RATE).collect::<Vec<_>>());
        let found = at(&[0.0, 1.0, 2.1, 4.0, 5.0, 6.1, 7.0]);
        assert_eq!(
            found.as_ref().map(|d| d.steps.clone()),
            Some(vec![1.0, 1.0, 2.0, 1.0, 1.0, 1.0])
        );
        assert!(found.is_some_and(|d| (d.period_s * RATE - 1.0).abs() < 1e-9));
        assert!(at(&[0.0, 1.0, 2.0, 3.0]).is_none());
        assert!(at(&[0.0, 1.0, 2.0, 3.0, 4.0, 6.0, 9.0, 13.0]).is_none());
    }
}
