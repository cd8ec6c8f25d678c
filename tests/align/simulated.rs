//! Takes without sound: performances turned into candidate strokes as a
//! listener would hand them on, with its errors and doubts.

use kettlemark::align::Evidence;
use kettlemark::listen::Candidate;
use kettlemark::part::Part;
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::player::{Hit, Performance};

/// How well a take is heard.
#[derive(Clone, Copy, Debug)]
pub struct Hearing {
    /// Standard deviation of contact times, seconds.
    pub time_s: f64,
    /// Share of strokes that leave no candidate.
    pub masked: f64,
    /// Mean and standard deviation of the log odds of strokes.
    pub odds: (f64, f64),
    /// Weak candidates a second that are nothing.
    pub noise_hz: f64,
    /// Strong candidates a second that are nothing.
    pub knocks_hz: f64,
    /// Mean and standard deviation of the log likelihood of the struck drum
    /// against another.
    pub drums: (f64, f64),
}

/// A clean take.
pub const CLEAN: Hearing = Hearing {
    time_s: 0.002,
    masked: 0.002,
    odds: (5.5, 1.5),
    noise_hz: 5.0,
    knocks_hz: 0.01,
    drums: (25.0, 8.0),
};

/// A take in a live room.
pub const ROOM: Hearing = Hearing {
    time_s: 0.004,
    masked: 0.01,
    odds: (4.0, 2.0),
    noise_hz: 12.0,
    knocks_hz: 0.05,
    drums: (16.0, 8.0),
};

/// Candidates with what was true of each.
#[derive(Clone, Debug, Default)]
pub struct Take {
    pub candidates: Vec<Candidate>,
    pub evidence: Evidence,
    /// The hit a candidate is.
    pub hits: Vec<Option<usize>>,
}

/// Log odds of what is no stroke: mostly at the bottom of the list.
fn noise_odds(draw: &mut Draw) -> f64 {
    // An exponential tail from p = 0.02 upwards.
    -3.9 - 0.9 * (1.0 - draw.between(0.0, 1.0)).ln()
}

/// Hears some hits of a take `length_s` long.
pub fn hear(part: &Part, hits: &[Hit], length_s: f64, how: Hearing, draw: &mut Draw) -> Take {
    let settings = part.settings().len();
    let mut found: Vec<(Candidate, Option<usize>, Vec<f32>)> = Vec::new();
    let mut last: Option<usize> = None;
    for (index, hit) in hits.iter().enumerate() {
        let masked = draw.chance(how.masked);
        let near = last.is_some_and(|l: usize| hit.time_s - hits[l].time_s < 0.012);
        if masked || near {
            continue;
        }
        last = Some(index);
        let weaker = if hit.grace || hit.in_roll { 1.5 } else { 0.0 };
        let odds = (how.odds.0 - weaker + how.odds.1 * draw.normal()).clamp(-3.9, 9.0);
        let also = hits[index + 1..]
            .iter()
            .take_while(|h| h.time_s - hit.time_s < 0.012)
            .map(|h| h.setting)
            .collect::<Vec<_>>();
        let mut row: Vec<f32> = (0..settings)
            .map(|place| {
                if place == hit.setting || also.contains(&place) {
                    0.0
                } else {
                    -(how.drums.0 + how.drums.1 * draw.normal()) as f32
                }
            })
            .collect();
        level(&mut row);
        let candidate = Candidate {
            time_s: hit.time_s + how.time_s * draw.normal(),
            time_sd_s: how.time_s,
            log_odds: odds,
            level_db: -20.0 + hit.level_db,
        };
        found.push((candidate, Some(index), row));
    }
    for (rate_hz, strong) in [(how.noise_hz, false), (how.knocks_hz, true)] {
        let count = (rate_hz * length_s) as usize;
        for _ in 0..count {
            let mut row: Vec<f32> = (0..settings)
                .map(|_| -(8.0 * draw.between(0.0, 1.0)) as f32)
                .collect();
            level(&mut row);
            let odds = if strong {
                2.0 + 1.5 * draw.normal()
            } else {
                noise_odds(draw)
            };
            let candidate = Candidate {
                time_s: draw.between(0.0, length_s),
                time_sd_s: 2.0 * how.time_s,
                log_odds: odds.min(6.0),
                level_db: -45.0 + 4.0 * draw.normal(),
            };
            found.push((candidate, None, row));
        }
    }
    found.sort_by(|a, b| a.0.time_s.total_cmp(&b.0.time_s));
    let mut take = Take::default();
    for (candidate, hit, row) in found {
        take.candidates.push(candidate);
        take.hits.push(hit);
        take.evidence.per.push(row);
    }
    take
}

/// Makes the best of a row 0.
fn level(row: &mut [f32]) {
    let best = row.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    for value in row {
        *value -= best;
    }
}

/// Hears a whole performance.
pub fn hear_all(part: &Part, performance: &Performance, how: Hearing, draw: &mut Draw) -> Take {
    hear(part, &performance.hits, performance.length_s, how, draw)
}
