//! Takes without sound: performances turned into candidate strokes as a
//! listener would hand them on, with its errors and doubts.

use kettlemark::align::Evidence;
use kettlemark::listen::Candidate;
use kettlemark::part::Part;
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::parts::{self, Wish};
use kettlemark_test_support::player::{self, Performance, Player};
use kettlemark_test_support::sitting::Aside;

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
    /// Mean log likelihood of the struck drum against another. A normal one
    /// is calibrated when its variance is twice its mean.
    pub drums: f64,
}

/// A clean take.
pub const CLEAN: Hearing = Hearing {
    time_s: 0.002,
    masked: 0.002,
    odds: (5.5, 1.5),
    noise_hz: 5.0,
    knocks_hz: 0.01,
    drums: 25.0,
};

/// A take in a live room.
pub const ROOM: Hearing = Hearing {
    time_s: 0.004,
    masked: 0.01,
    odds: (4.0, 2.0),
    noise_hz: 12.0,
    knocks_hz: 0.05,
    drums: 14.0,
};

/// Candidates with what was true of each.
#[derive(Clone, Debug, Default)]
pub struct Take {
    pub candidates: Vec<Candidate>,
    pub evidence: Evidence,
    /// The hit a candidate is.
    pub hits: Vec<Option<usize>>,
}

impl Take {
    /// Whether a candidate is a stroke of a note; a chord's strokes may be one.
    pub fn is_of(&self, performance: &Performance, candidate: usize, note: usize) -> bool {
        let hits = &performance.hits;
        self.hits[candidate].is_some_and(|hit| {
            let near = |time_s: f64| (time_s - hits[hit].time_s).abs() < 0.012;
            hits.iter().any(|h| h.note == Some(note) && near(h.time_s))
        })
    }
}

/// Log odds of what is no stroke: mostly at the bottom of the list.
fn noise_odds(draw: &mut Draw) -> f64 {
    // An exponential tail from p = 0.02 upwards.
    -3.9 - 0.9 * (1.0 - draw.between(0.0, 1.0)).ln()
}

/// A candidate that is no stroke; what it says of the drums means nothing.
fn nothing(
    time_s: f64,
    odds: f64,
    settings: usize,
    draw: &mut Draw,
) -> (Candidate, Option<usize>, Vec<f32>) {
    let mut row: Vec<f32> = (0..settings)
        .map(|_| -(8.0 * draw.between(0.0, 1.0)) as f32)
        .collect();
    level(&mut row);
    let candidate = Candidate {
        time_s,
        time_sd_s: 0.006,
        log_odds: odds.clamp(-3.9, 6.0),
        level_db: -45.0 + 4.0 * draw.normal(),
    };
    (candidate, None, row)
}

/// Hears a performance and what goes on beside it.
pub fn hear(
    part: &Part,
    performance: &Performance,
    aside: &Aside,
    how: Hearing,
    draw: &mut Draw,
) -> Take {
    let (hits, length_s) = (&performance.hits, performance.length_s);
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
                    -(how.drums + (2.0 * how.drums).sqrt() * draw.normal()) as f32
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
        for _ in 0..(rate_hz * length_s) as usize {
            let odds = if strong {
                2.0 + 1.5 * draw.normal()
            } else {
                noise_odds(draw)
            };
            let time_s = draw.between(0.0, length_s);
            found.push(nothing(time_s, odds, settings, draw));
        }
    }
    for &time_s in &aside.sticks_s {
        let odds = 1.0 + 1.5 * draw.normal();
        found.push(nothing(time_s, odds, settings, draw));
    }
    for &(from_s, to_s) in &aside.talk_s {
        for _ in 0..(6.0 * (to_s - from_s)) as usize {
            let odds = -1.0 + 2.0 * draw.normal();
            let time_s = draw.between(from_s, to_s);
            found.push(nothing(time_s, odds, settings, draw));
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
    hear(part, performance, &Aside::default(), how, draw)
}

/// A drawn player plays a drawn part, and is heard.
pub fn drawn(seed: u64, wish: Wish, how: Hearing) -> (Part, Performance, Take) {
    let part = parts::generate(&mut Draw::new(seed, 1), wish);
    let player = Player::draw(&mut Draw::new(seed, 2));
    let performance = player::play(&part, &player, &mut Draw::new(seed, 3), false);
    let take = hear_all(&part, &performance, how, &mut Draw::new(seed, 4));
    (part, performance, take)
}
