//! The grid of a metronome, found by its regularity and its colour.
//!
//! Its clicks have their energy above the drums' principal tones, and they
//! come at equal distances and equally loud, far more so than anybody strikes:
//! hands that keep a metronome's time stray by some milliseconds, its clicks
//! not by one. So every rise of the upper bands that is not outweighed below is
//! an *event*, and from every two events as loud as one another a straight
//! grid is followed both ways. Sticks struck to count in are too few and too
//! uneven, and clicks that strokes cover are not needed.
//!
//! The grid lies where the bands are loudest, some milliseconds behind the
//! beginning of each click; [`super::begin`] tells how far.

use super::Metronome;
use crate::listen::{BANDS, Bands, is_peak};

/// The first band of a click, and the first that is not asked for a drum.
const CLICK_BANDS: usize = 4;
const DRUM_BANDS: usize = 3;
/// Least rise of the click's bands, dB, and most power of the drum's bands
/// that may come with it, as a share of the click's.
const RISE_DB: f64 = 6.0;
const BELOW_SHARE: f64 = 0.5;
/// What a rise is held against: frames before it, past the analysis window.
const BEFORE: std::ops::Range<usize> = 5..10;
/// Frames on each side than which an event is louder.
const APART: usize = 4;

/// Time from click to click, s: 30 to 300 a minute.
const PERIODS_S: std::ops::RangeInclusive<f64> = 0.2..=2.0;
/// How far a click may lie from the grid, s, and how much more for every
/// place without one while the grid is young, up to so many.
const NEAR_S: f64 = 0.0015;
const NEAR_MORE_S: f64 = 0.0006;
const NEAR_MOST: usize = 6;
const YOUNG: usize = 4;
/// How far the level of a click may lie from the others, dB.
const LEVEL_DB: f64 = 3.0;
/// Events looked ahead for a second click, and places in a row that may be
/// without one.
const AHEAD: usize = 12;
const MOST_MISSES: usize = 16;
/// Fewest clicks, and the least share on the grid of all events about as loud that
/// lie near it: of strokes by hand, half would lie farther off.
const LEAST_CLICKS: usize = 8;
const LEAST_SHARE: f64 = 0.7;
const ABOUT_S: f64 = 0.012;
const ABOUT_DB: f64 = 6.0;

/// A rise that may be a click.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// Where the click's bands are loudest.
    pub time_s: f64,
    pub level_db: f64,
}

fn power(frame: &[f32; BANDS], bands: std::ops::Range<usize>) -> f64 {
    frame[bands]
        .iter()
        .map(|&db| 10f64.powf(f64::from(db) * 0.1))
        .sum()
}

/// Every rise of the colour of a click, in order of time.
pub fn events(bands: &Bands) -> Vec<Event> {
    let of = |range: std::ops::Range<usize>| -> Vec<f64> {
        let frames = bands.level_db.iter();
        frames.map(|f| power(f, range.clone())).collect()
    };
    let (click, drum) = (of(CLICK_BANDS..BANDS), of(0..DRUM_BANDS));
    let before = |powers: &[f64], frame: usize| -> f64 {
        BEFORE.map(|k| powers[frame - k]).sum::<f64>() / BEFORE.len() as f64
    };
    let least_ratio = 10f64.powf(RISE_DB / 10.0);
    let last = click.len().saturating_sub(APART);
    (BEFORE.end..last)
        .filter(|&f| is_peak(&click, f, APART))
        .filter_map(|f| {
            let was = before(&click, f);
            let added = click[f] - was;
            let below = drum[f..f + 3].iter().fold(0.0f64, |a, &p| a.max(p)) - before(&drum, f);
            if click[f] < least_ratio * was || below > BELOW_SHARE * added {
                return None;
            }
            Some(Event {
                time_s: bands.hop_s * (f as f64 + summit(&click[f - 1..=f + 1])),
                level_db: 10.0 * added.log10(),
            })
        })
        .collect()
}

/// Where three powers, the middle one highest, are highest between frames: a
/// parabola through their levels.
fn summit(powers: &[f64]) -> f64 {
    let [a, b, c] = [powers[0].ln(), powers[1].ln(), powers[2].ln()];
    let bend = a - 2.0 * b + c;
    if bend < 0.0 {
        0.5 * (a - c) / bend
    } else {
        0.0
    }
}

/// Events on one grid: (number, place in the events), in no order, with the
/// running sums of a straight line through them.
struct Chain {
    members: Vec<(i64, usize)>,
    first: i64,
    last: i64,
    k: f64,
    kk: f64,
    t: f64,
    kt: f64,
    level_db: f64,
}

impl Chain {
    fn of(events: &[Event], first: usize, second: usize) -> Self {
        let mut chain = Self {
            members: Vec::new(),
            first: 0,
            last: 0,
            k: 0.0,
            kk: 0.0,
            t: 0.0,
            kt: 0.0,
            level_db: 0.0,
        };
        chain.add(events, 0, first);
        chain.add(events, 1, second);
        chain
    }

    fn add(&mut self, events: &[Event], number: i64, place: usize) {
        let (k, event) = (number as f64, events[place]);
        self.members.push((number, place));
        self.first = self.first.min(number);
        self.last = self.last.max(number);
        self.k += k;
        self.kk += k * k;
        self.t += event.time_s;
        self.kt += k * event.time_s;
        self.level_db += (event.level_db - self.level_db) / self.members.len() as f64;
    }

    /// (time of number 0, period), s.
    fn line(&self) -> (f64, f64) {
        let n = self.members.len() as f64;
        let period = (n * self.kt - self.k * self.t) / (n * self.kk - self.k * self.k);
        ((self.t - period * self.k) / n, period)
    }

    /// Goes on from one end, a number at a time.
    fn follow(&mut self, events: &[Event], step: i64) {
        let mut number = if step > 0 { self.last } else { self.first };
        let mut misses = 0;
        while misses <= MOST_MISSES {
            number += step;
            let (zero, period) = self.line();
            let at = zero + number as f64 * period;
            let more = if self.members.len() < YOUNG {
                NEAR_MORE_S * (misses + 1).min(NEAR_MOST) as f64
            } else {
                0.0
            };
            let near = |e: &Event| (e.time_s - at).abs();
            let from = events.partition_point(|e| e.time_s < at - NEAR_S - more);
            if step > 0 && from == events.len() || step < 0 && at < events[0].time_s - NEAR_S {
                return;
            }
            let found = (from..events.len())
                .take_while(|&i| events[i].time_s <= at + NEAR_S + more)
                .filter(|&i| (events[i].level_db - self.level_db).abs() <= LEVEL_DB)
                .min_by(|&a, &b| near(&events[a]).total_cmp(&near(&events[b])));
            match found {
                Some(place) => {
                    self.add(events, number, place);
                    misses = 0;
                }
                None => misses += 1,
            }
        }
    }
}

/// The grid on which most events lie, as a metronome whose clicks begin where
/// they are loudest. `None` where too few do, or where what lies near it is
/// no nearer than strokes by hand would be.
pub fn grid(events: &[Event]) -> Option<Metronome> {
    let mut best: Option<Chain> = None;
    let mut taken = vec![false; events.len()];
    for i in 0..events.len() {
        for j in i + 1..events.len().min(i + 1 + AHEAD) {
            let apart = events[j].time_s - events[i].time_s;
            let alike = (events[j].level_db - events[i].level_db).abs() <= LEVEL_DB;
            if !PERIODS_S.contains(&apart) || !alike || taken[i] && taken[j] {
                continue;
            }
            let mut chain = Chain::of(events, i, j);
            chain.follow(events, 1);
            chain.follow(events, -1);
            let most = best.as_ref().map_or(LEAST_CLICKS - 1, |b| b.members.len());
            if chain.members.len() > most {
                for member in &chain.members {
                    taken[member.1] = true;
                }
                best = Some(chain);
            }
        }
    }
    let chain = best?;
    let (zero_s, period_s) = chain.line();
    let off = |e: &Event| {
        let number = (e.time_s - zero_s) / period_s;
        let within = (chain.first as f64 - 0.5..chain.last as f64 + 0.5).contains(&number);
        within.then_some((number - number.round()) * period_s)
    };
    let near = events.iter().filter_map(|e| {
        let alike = (e.level_db - chain.level_db).abs() <= ABOUT_DB;
        off(e).map(f64::abs).filter(|s| alike && *s <= ABOUT_S)
    });
    let near: Vec<f64> = near.collect();
    let on = near.iter().filter(|s| **s <= NEAR_S).count();
    if (on as f64) < LEAST_SHARE * near.len() as f64 {
        return None;
    }
    let n = chain.members.len() as f64;
    let square: f64 = chain
        .members
        .iter()
        .map(|&(k, i)| (events[i].time_s - zero_s - k as f64 * period_s).powi(2))
        .sum();
    let scatter = (square / (n - 2.0)).sqrt();
    let spread = (chain.kk - chain.k * chain.k / n).sqrt();
    let mut heard: Vec<usize> = chain
        .members
        .iter()
        .map(|&(number, _)| (number - chain.first) as usize)
        .collect();
    heard.sort_unstable();
    Some(Metronome {
        zero_s: zero_s + chain.first as f64 * period_s,
        zero_sd_s: scatter / n.sqrt(),
        period_s,
        period_sd_s: scatter / spread,
        heard,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(time_s: f64, level_db: f64) -> Event {
        Event { time_s, level_db }
    }

    /// Deterministic, between -1 and 1.
    fn wobble(k: usize) -> f64 {
        (k as f64 * 12.9898).sin() * 0.8 + (k as f64 * 78.233).sin() * 0.2
    }

    #[test]
    fn clicks_on_a_grid_are_found_though_many_are_covered() {
        let mut events: Vec<Event> = (0..80)
            .filter(|k| k % 5 < 2)
            .map(|k| event(1.0 + 0.5625 * k as f64 + 0.0002 * wobble(k), -40.0))
            .collect();
        events.extend((0..30).map(|k| event(1.3 + 1.37 * k as f64 + 0.2 * wobble(k), -38.0)));
        events.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        let found = grid(&events).unwrap();
        assert!((found.period_s - 0.5625).abs() < 1e-4, "{found:?}");
        assert!((found.zero_s - 1.0).abs() < 1e-3);
        assert!((32..=34).contains(&found.heard.len()), "{found:?}");
    }

    /// The first of three beats sounds louder.
    #[test]
    fn clicks_of_which_some_are_louder_are_found() {
        let events: Vec<Event> = (0..60)
            .map(|k| {
                let louder = if k % 3 == 0 { 4.5 } else { 0.0 };
                event(1.0 + 0.5 * f64::from(k), -40.0 + louder)
            })
            .collect();
        let found = grid(&events).unwrap();
        assert!((found.period_s - 0.5).abs() < 1e-9, "{found:?}");
    }

    /// A player who keeps the time of a metronome in the ear.
    #[test]
    fn strokes_by_hand_are_no_metronome() {
        let events: Vec<Event> = (0..80)
            .map(|k| {
                event(
                    1.0 + 0.5625 * k as f64 + 0.005 * wobble(k),
                    -40.0 + wobble(3 * k),
                )
            })
            .collect();
        assert_eq!(grid(&events), None);
    }

    #[test]
    fn a_count_in_is_no_metronome() {
        let events: Vec<Event> = (0..4)
            .map(|k| event(1.0 + 0.5 * f64::from(k), -40.0))
            .collect();
        assert_eq!(grid(&events), None);
        assert_eq!(grid(&[]), None);
    }
}
