//! The part as the matching sees it: one onset for every moment at which
//! something is to be struck, on a time axis that runs at the marked tempo.

use crate::part::{Dynamic, Part, TempoMark, quarters_f64};

/// Tempo taken where the part names none, quarter notes a minute.
const UNMARKED_BPM: f64 = 100.0;
/// Spread of one stroke about the pulse at the fastest, seconds. Trained
/// players keep below 10 ms (facts on production: E. L. Sterling thesis,
/// "many subjects ... SD under 10 ms").
const JITTER_S: f64 = 0.009;
/// The same as a share of the time to the nearest neighbour: untrained
/// tappers spread about 4 % (Repp 2005, from memory).
const JITTER_SHARE: f64 = 0.03;
/// A neighbour farther off than this makes a stroke no vaguer, seconds.
const NEIGHBOUR_S: f64 = 0.6;

/// Natural log of the share of notes with no stroke among the candidates,
/// missed by the player or masked; and of those that a much louder mark, so many
/// steps above and at most so long before, may cover.
const MISSED: f64 = -3.0;
const COVERED: f64 = -1.2;
const MUCH_LOUDER: i32 = 3;
const COVERS_S: f64 = 1.5;

/// How many runs start at the beginning of the part, at bar lines and within
/// bars, and how many stop at its end, at those of bars and within bars.
const STARTS: [f64; 3] = [0.3, 0.5, 0.06];
const STOPS: [f64; 3] = [0.3, 0.5, 0.4];

/// Everything that is to be struck at one moment.
#[derive(Clone, Debug)]
pub(super) struct Onset {
    /// First place in `Part::notes`, and the place after the last.
    pub notes: (usize, usize),
    /// Quarter notes from the start of the part.
    pub quarters: f64,
    /// Seconds from the start of the part at the marked tempo.
    pub marked_s: f64,
    /// Until the end of a roll that starts here, marked seconds.
    pub roll_s: Option<f64>,
    /// The same place in quarter notes; the onset's own without a roll.
    pub roll_end: f64,
    pub flam: bool,
    /// Standard deviation of a stroke about the pulse, seconds.
    pub jitter_s: f64,
    /// Natural log of the share of such notes with no stroke among the
    /// candidates.
    pub missed: f64,
    /// How much the way from the onset before loosens the grid time, seconds
    /// squared, and the stretch.
    pub loose_time: f64,
    pub loose_stretch: f64,
    /// Place in `Part::bars`.
    pub bar: usize,
    /// It is the first of its bar.
    pub opens_bar: bool,
    /// Bit n: a note is for place n in `Part::settings`.
    pub own: u128,
    /// Bit n: place n in `Part::settings` is in force.
    pub in_force: u128,
}

impl Onset {
    pub fn is_chord(&self) -> bool {
        self.notes.1 - self.notes.0 > 1
    }
}

/// The onsets of a part.
#[derive(Clone, Debug, Default)]
pub(super) struct Score {
    pub onsets: Vec<Onset>,
    pub clock: Clock,
    /// Natural logs of the chances that a run starts, and stops, at each onset.
    pub ends: Vec<[f64; 2]>,
}

/// From quarter notes to seconds at the marked tempo.
#[derive(Clone, Debug, Default)]
pub(super) struct Clock {
    /// Quarter notes, seconds, tempo there, tempo just before the next.
    spans: Vec<(f64, f64, f64, f64)>,
    /// Whether the part names a tempo at all.
    pub marked: bool,
}

impl Clock {
    fn new(part: &Part) -> Self {
        let usable = |m: &&TempoMark| m.quarter_bpm.is_none_or(|b| b.is_finite() && b > 0.0);
        let mut spans = Vec::new();
        let mut bpm = part
            .tempi
            .iter()
            .filter(usable)
            .find_map(|m| m.quarter_bpm)
            .unwrap_or(UNMARKED_BPM);
        let (mut at, mut seconds) = (0.0, 0.0);
        let marks: Vec<&TempoMark> = part.tempi.iter().filter(usable).collect();
        let mut gradual = false;
        for mark in &marks {
            let here = quarters_f64(mark.at);
            let to = if gradual {
                mark.quarter_bpm.unwrap_or(bpm)
            } else {
                bpm
            };
            if here > at {
                spans.push((at, seconds, bpm, to));
                seconds += span_s(here - at, bpm, to);
                at = here;
            }
            bpm = mark.quarter_bpm.unwrap_or(bpm);
            gradual = mark.gradual;
        }
        spans.push((at, seconds, bpm, bpm));
        // The last mark of each place has the word on the tempo from there.
        Self {
            spans,
            marked: marks.iter().any(|m| m.quarter_bpm.is_some()),
        }
    }

    /// Seconds at the marked tempo.
    pub fn seconds(&self, quarters: f64) -> f64 {
        let i = self
            .spans
            .partition_point(|s| s.0 <= quarters)
            .saturating_sub(1);
        let Some(&(at, seconds, from, to)) = self.spans.get(i) else {
            return quarters * 60.0 / UNMARKED_BPM;
        };
        let way = quarters - at;
        match self.spans.get(i + 1) {
            Some(next) => {
                let there = from + (to - from) * way / (next.0 - at);
                seconds + span_s(way, from, there)
            }
            None => seconds + span_s(way, from, to),
        }
    }
}

/// Seconds over `quarters` while the tempo moves in a straight line.
fn span_s(quarters: f64, from_bpm: f64, to_bpm: f64) -> f64 {
    let turn = to_bpm - from_bpm;
    if turn.abs() < 1e-6 * from_bpm {
        60.0 * quarters / from_bpm
    } else {
        60.0 * quarters * (to_bpm / from_bpm).ln() / turn
    }
}

impl Score {
    pub fn new(part: &Part) -> Self {
        let clock = Clock::new(part);
        let places = part.note_settings();
        let force = in_force(part);
        let mut onsets: Vec<Onset> = Vec::with_capacity(part.notes.len());
        let mut last_at = None;
        for (index, note) in part.notes.iter().enumerate() {
            let own = places[index].filter(|&p| p < 128).map_or(0, |p| 1 << p);
            let quarters = quarters_f64(note.at);
            let marked_s = clock.seconds(quarters);
            let roll_s = note
                .roll
                .then(|| clock.seconds(quarters_f64(note.at + note.length)) - marked_s);
            let roll_end = if note.roll {
                quarters_f64(note.at + note.length)
            } else {
                quarters
            };
            if last_at == Some(note.at)
                && let Some(onset) = onsets.last_mut()
            {
                onset.notes.1 = index + 1;
                onset.flam |= note.flam;
                onset.own |= own;
                onset.roll_end = onset.roll_end.max(roll_end);
                onset.roll_s = match (onset.roll_s, roll_s) {
                    (Some(a), Some(b)) => Some(a.max(b)),
                    (a, b) => a.or(b),
                };
                continue;
            }
            last_at = Some(note.at);
            onsets.push(Onset {
                notes: (index, index + 1),
                quarters,
                marked_s,
                roll_s,
                roll_end,
                flam: note.flam,
                jitter_s: 0.0,
                missed: MISSED,
                loose_time: 0.0,
                loose_stretch: 0.0,
                bar: note.bar,
                opens_bar: onsets.last().is_none_or(|o| o.bar != note.bar),
                own,
                in_force: force.get(note.bar).copied().unwrap_or(0),
            });
        }
        let ends = ends(&onsets);
        let mut score = Self {
            onsets,
            clock,
            ends,
        };
        score.jitter();
        score.cover(part);
        score.loosen(part);
        score
    }

    fn jitter(&mut self) {
        let times: Vec<f64> = self.onsets.iter().map(|o| o.marked_s).collect();
        for (i, onset) in self.onsets.iter_mut().enumerate() {
            let before = i
                .checked_sub(1)
                .map_or(NEIGHBOUR_S, |j| times[i] - times[j]);
            let after = times.get(i + 1).map_or(NEIGHBOUR_S, |t| t - times[i]);
            let near = before.min(after).min(NEIGHBOUR_S);
            onset.jitter_s = JITTER_S.hypot(JITTER_SHARE * near);
        }
    }

    /// Where what rings from a much louder mark may cover softer strokes.
    fn cover(&mut self, part: &Part) {
        let marks: Vec<Option<Dynamic>> = self
            .onsets
            .iter()
            .map(|o| part.notes[o.notes.0].dynamic)
            .collect();
        for (i, mark) in marks.iter().enumerate() {
            let now_s = self.onsets[i].marked_s;
            let before = (0..i)
                .rev()
                .take_while(|&j| now_s - self.onsets[j].marked_s <= COVERS_S);
            let louder =
                |other: Dynamic| mark.is_some_and(|m| other as i32 - m as i32 >= MUCH_LOUDER);
            if before.filter_map(|j| marks[j]).any(louder) {
                self.onsets[i].missed = COVERED;
            }
        }
    }

    /// Where the part itself lets the tempo go: fermatas, changes, gradual
    /// changes.
    fn loosen(&mut self, part: &Part) {
        for at in &part.fermatas {
            let at = quarters_f64(*at);
            // The hold lengthens the way to the first onset after it.
            let next = self.onsets.partition_point(|o| o.quarters <= at + 1e-9);
            if let Some(onset) = self.onsets.get_mut(next) {
                onset.loose_time += 1.0;
            }
        }
        for (i, mark) in part.tempi.iter().enumerate() {
            let at = quarters_f64(mark.at);
            let first = self.onsets.partition_point(|o| o.quarters < at - 1e-9);
            if at > 0.0
                && let Some(onset) = self.onsets.get_mut(first + 1)
            {
                let spread: f64 = if mark.quarter_bpm.is_some() {
                    0.06
                } else {
                    0.12
                };
                onset.loose_stretch += spread.powi(2);
            }
            if mark.gradual {
                let end = part
                    .tempi
                    .get(i + 1)
                    .map_or(at + 8.0, |n| quarters_f64(n.at));
                let last = self.onsets.partition_point(|o| o.quarters <= end);
                for j in (first + 1)..last.max(first + 1) {
                    let span = self.onsets[j].marked_s - self.onsets[j - 1].marked_s;
                    self.onsets[j].loose_stretch += 0.08f64.powi(2) * span.min(2.0);
                }
            }
        }
    }
}

/// Natural logs of the chances that a run starts, and stops, at each onset.
/// Players start at the beginning, or at a bar line, and hardly ever elsewhere;
/// they stop at the end, at the end of a bar, or where something goes wrong.
fn ends(onsets: &[Onset]) -> Vec<[f64; 2]> {
    let count = onsets.len() as f64;
    let bars = onsets.iter().filter(|o| o.opens_bar).count().max(1) as f64;
    let chance = |shares: [f64; 3], whole: bool, of_bar: bool| {
        let chance = match (whole, of_bar) {
            (true, _) => shares[0],
            (false, true) => shares[1] / bars,
            (false, false) => shares[2] / count,
        };
        chance.ln()
    };
    let opens = |onset: usize| onsets.get(onset).is_none_or(|o| o.opens_bar);
    (0..onsets.len())
        .map(|o| {
            [
                chance(STARTS, o == 0, opens(o)),
                chance(STOPS, o + 1 == onsets.len(), opens(o + 1)),
            ]
        })
        .collect()
}

/// For every bar the settings in force, bit n for place n.
fn in_force(part: &Part) -> Vec<u128> {
    let mut bars = vec![0u128; part.bars.len()];
    for (place, setting) in part.settings().iter().enumerate().take(128) {
        let to = setting.to_bar.min(part.bars.len().saturating_sub(1));
        for bar in bars.iter_mut().take(to + 1).skip(setting.from_bar) {
            *bar |= 1 << place;
        }
    }
    bars
}
