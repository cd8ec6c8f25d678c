//! A player: turns a part into strokes, with human faults.

use crate::draw::Draw;
use crate::truth::Fate;
use kettlemark::part::{Damp, Dynamic, HairpinKind, Part, Quarters, quarters_f64};

/// How well somebody plays.
#[derive(Clone, Debug)]
pub struct Player {
    /// Tempo kept against the mark.
    pub tempo: f64,
    /// Standard deviation of the slow wander of the tempo.
    pub wander: f64,
    /// Standard deviation of each stroke's time, seconds.
    pub jitter_s: f64,
    /// Where the second and third stroke of a triplet lie against equal
    /// parts, in thirds of a beat.
    pub triplet: [f64; 2],
    /// Shares of notes.
    pub missed: f64,
    pub other_drum: f64,
    pub extra: f64,
    /// Each written pitch is this far off at most, cents.
    pub detune_cents: f64,
    /// Standard deviation of each stroke's level, dB.
    pub level_sd_db: f64,
    /// Share of stops that come late, and that never come.
    pub late_stops: f64,
    pub no_stops: f64,
    /// Roll strokes a second on a drum of middle pitch.
    pub roll_rate: f64,
    /// Faults that are laid down rather than drawn.
    pub script: Script,
}

/// Faults laid down beforehand, each beside what is drawn.
#[derive(Clone, Debug, Default)]
pub struct Script {
    /// Places in `Part::notes` that are left out.
    pub missed: Vec<usize>,
    /// (place in `Part::notes`, place in `Part::settings` struck instead).
    pub other_drum: Vec<(usize, usize)>,
    /// How far each setting is off, cents; empty: drawn.
    pub detune_cents: Vec<f64>,
    /// (quarter notes from the start, factor of the tempo from there on, moving
    /// in straight lines).
    pub tempo: Vec<(f64, f64)>,
    /// (quarter notes from the start, seconds by which the note there is held
    /// beyond its value).
    pub waits: Vec<(f64, f64)>,
    /// How late the last stop comes, seconds; `Some(None)`: it never comes.
    pub last_stop: Option<Option<f64>>,
}

impl Script {
    /// The factor of the tempo at a place.
    fn tempo(&self, quarters: f64) -> f64 {
        let next = self.tempo.partition_point(|t| t.0 <= quarters);
        match (
            next.checked_sub(1).map(|i| self.tempo[i]),
            self.tempo.get(next),
        ) {
            (Some(a), Some(b)) => a.1 + (quarters - a.0) / (b.0 - a.0) * (b.1 - a.1),
            (Some(only), None) => only.1,
            (None, Some(only)) => only.1,
            (None, None) => 1.0,
        }
    }
}

impl Player {
    /// A player drawn at random; the share of faulty notes lies between 0 and
    /// 20 %.
    pub fn draw(draw: &mut Draw) -> Self {
        let faults = draw.one(&[0.0, 0.02, 0.05, 0.1, 0.2]);
        let part = draw.between(0.3, 0.7);
        Self {
            tempo: draw.between(0.85, 1.15),
            wander: draw.between(0.005, 0.03),
            jitter_s: draw.between(0.002, 0.010),
            triplet: [draw.normal() * 0.05, draw.normal() * 0.05],
            missed: faults * 0.8 * part,
            other_drum: faults * 0.8 * (1.0 - part),
            extra: faults * 0.2,
            detune_cents: 35.0,
            level_sd_db: draw.between(0.5, 2.0),
            late_stops: 0.35,
            no_stops: 0.25,
            roll_rate: draw.between(8.5, 13.0),
            script: Script::default(),
        }
    }
}

/// One stroke to be sounded.
#[derive(Clone, Debug, PartialEq)]
pub struct Hit {
    pub time_s: f64,
    pub note: Option<usize>,
    pub setting: usize,
    pub level_db: f64,
    pub grace: bool,
    pub in_roll: bool,
    /// It belongs to the run that counts.
    pub counted: bool,
}

/// A hand laid on a drum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Touch {
    pub time_s: f64,
    pub drum: u8,
}

/// What was decided at the end of a note where a stop is due.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ending {
    pub note: usize,
    pub at_s: Option<f64>,
    pub due_s: f64,
}

/// A whole performance, before it sounds.
#[derive(Clone, Debug, Default)]
pub struct Performance {
    /// In order of time.
    pub hits: Vec<Hit>,
    pub touches: Vec<Touch>,
    pub endings: Vec<Ending>,
    pub fates: Vec<Fate>,
    /// (quarter notes, seconds), every eighth of a quarter.
    pub tempo: Vec<(f64, f64)>,
    pub length_s: f64,
}

impl Performance {
    /// Moves everything later.
    pub fn shift(&mut self, by_s: f64) {
        for hit in &mut self.hits {
            hit.time_s += by_s;
        }
        for touch in &mut self.touches {
            touch.time_s += by_s;
        }
        for ending in &mut self.endings {
            ending.at_s = ending.at_s.map(|t| t + by_s);
            ending.due_s += by_s;
        }
        for knot in &mut self.tempo {
            knot.1 += by_s;
        }
        self.length_s += by_s;
    }
}

/// Steps of the tempo curve in a quarter note.
const GRID: i64 = 8;

struct Playing<'a> {
    part: &'a Part,
    player: &'a Player,
    draw: &'a mut Draw,
    settings: Vec<Option<usize>>,
    out: Performance,
}

/// Plays a part. `steady`: to a metronome, without wander.
pub fn play(part: &Part, player: &Player, draw: &mut Draw, steady: bool) -> Performance {
    let mut playing = Playing {
        part,
        player,
        settings: part.note_settings(),
        draw,
        out: Performance::default(),
    };
    playing.tempo(steady);
    let mut lag = 0.0;
    let mut last_at = None;
    for index in 0..part.notes.len() {
        // The notes of a chord share most of their fault in time.
        if last_at != Some(part.notes[index].at) {
            lag = playing.draw.normal() * player.jitter_s;
            last_at = Some(part.notes[index].at);
        }
        playing.note(index, lag);
    }
    playing.extras();
    playing.stops();
    let mut out = playing.out;
    out.hits.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    out.touches.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    settle_endings(part, &mut out);
    let last = out.hits.last().map_or(0.0, |h| h.time_s);
    out.length_s = last + 3.0;
    out
}

/// What was really done at each ending: the first touch on its drum counts,
/// and where the drum was struck again meanwhile there is nothing to judge.
fn settle_endings(part: &Part, out: &mut Performance) {
    let settings = part.settings();
    let (hits, touches) = (&out.hits, &out.touches);
    out.endings.retain_mut(|ending| {
        let drum = part.notes[ending.note].drum;
        let Some(own) = hits.iter().rev().find(|h| h.note == Some(ending.note)) else {
            return false;
        };
        let first = touches
            .iter()
            .find(|t| t.drum == drum && t.time_s > own.time_s)
            .map(|t| t.time_s);
        let until = first.map_or(ending.due_s + 0.6, |t| t.max(ending.due_s) + 0.1);
        ending.at_s = first.filter(|&t| t < ending.due_s + 1.5);
        hits.iter()
            .all(|h| settings[h.setting].drum != drum || h.time_s <= own.time_s || h.time_s > until)
    });
}

/// Level of a mark, dB re the loudest possible.
fn mark_db(mark: Dynamic) -> f64 {
    -2.0 - 3.4 * f64::from(Dynamic::Fff as u8 as i8 - mark as u8 as i8)
}

impl Playing<'_> {
    fn tempo(&mut self, steady: bool) {
        let end = self
            .part
            .bars
            .last()
            .map_or(0, |b| quarters_f64(b.at + b.length).ceil() as i64);
        let mut time = 1.0 + self.draw.between(0.0, 0.5);
        let mut wander = 0.0;
        let hold = 0.97f64;
        for i in 0..=(end * GRID) {
            let at = Quarters::new(i, GRID);
            self.out.tempo.push((quarters_f64(at), time));
            let marked = self.part.marked_bpm(at).unwrap_or(100.0);
            wander = hold * wander + (1.0 - hold * hold).sqrt() * self.draw.normal();
            let off = if steady {
                0.0
            } else {
                self.player.wander * wander
            };
            let planned = self.player.script.tempo(quarters_f64(at));
            let bpm = marked * self.player.tempo * planned * (1.0 + off);
            time += 60.0 / bpm / GRID as f64;
            let step = quarters_f64(at)..quarters_f64(at) + 1.0 / GRID as f64;
            let waits = &self.player.script.waits;
            time += waits
                .iter()
                .filter(|w| step.contains(&w.0))
                .map(|w| w.1)
                .sum::<f64>();
        }
    }

    fn time(&self, quarters: f64) -> f64 {
        let knots = &self.out.tempo;
        let i = ((quarters * GRID as f64) as usize).min(knots.len() - 2);
        let (a, b) = (knots[i], knots[i + 1]);
        a.1 + (quarters - a.0) * (b.1 - a.1) / (b.0 - a.0)
    }

    /// Level asked for at a place, hairpins included.
    fn level(&self, at: Quarters) -> f64 {
        let mark = |p: Quarters| {
            let found = self.part.marks.iter().rev().find(|m| m.at <= p);
            mark_db(found.map_or(Dynamic::Mf, |m| m.mark))
        };
        let Some(pin) = self
            .part
            .hairpins
            .iter()
            .find(|h| h.from <= at && at < h.to)
        else {
            return mark(at);
        };
        let (from, mut to) = (mark(pin.from), mark(pin.to));
        let rising = pin.kind == HairpinKind::Crescendo;
        if rising != (to > from) {
            to = from + if rising { 6.0 } else { -6.0 };
        }
        let way = quarters_f64(at - pin.from) / quarters_f64(pin.to - pin.from);
        from + way * (to - from)
    }

    fn note(&mut self, index: usize, lag: f64) {
        let note = &self.part.notes[index];
        let Some(setting) = self.settings[index] else {
            self.out.fates.push(Fate::Missed);
            return;
        };
        let beat = note.at - note.at.trunc();
        let mut quarters = quarters_f64(note.at);
        if *beat.denom() == 3 && !note.roll {
            quarters += self.player.triplet[*beat.numer() as usize - 1] / 3.0;
        }
        let time_s = self.time(quarters) + lag + 0.0015 * self.draw.normal();
        let accent = if note.accent { 4.0 } else { 0.0 };
        let level_db =
            (self.level(note.at) + accent + self.player.level_sd_db * self.draw.normal()).min(0.0);
        if note.roll {
            self.roll(index, setting, time_s);
            self.out.fates.push(Fate::Played);
            return;
        }
        let script = &self.player.script;
        if self.draw.chance(self.player.missed) || script.missed.contains(&index) {
            self.out.fates.push(Fate::Missed);
            return;
        }
        let mut struck = setting;
        if self.draw.chance(self.player.other_drum)
            && let Some(other) = self.other_setting(index)
        {
            struck = other;
        }
        if let Some(&(_, other)) = script.other_drum.iter().find(|o| o.0 == index) {
            struck = other;
        }
        let hit = Hit {
            time_s,
            note: Some(index),
            setting: struck,
            level_db,
            grace: false,
            in_roll: false,
            counted: true,
        };
        if note.flam {
            let before = self.draw.between(0.022, 0.05);
            let softer = self.draw.between(4.0, 9.0);
            self.out.hits.push(Hit {
                time_s: time_s - before,
                level_db: level_db - softer,
                grace: true,
                ..hit.clone()
            });
        }
        self.out.hits.push(hit);
        self.out.fates.push(if struck == setting {
            Fate::Played
        } else {
            Fate::OtherDrum
        });
    }

    /// Another drum than the written one that nobody asks for at the time.
    fn other_setting(&mut self, index: usize) -> Option<usize> {
        let note = &self.part.notes[index];
        let taken: Vec<u8> = self
            .part
            .notes
            .iter()
            .filter(|n| n.at == note.at)
            .map(|n| n.drum)
            .collect();
        let free: Vec<usize> = self
            .part
            .settings()
            .iter()
            .enumerate()
            .filter(|(_, s)| {
                (s.from_bar..=s.to_bar).contains(&note.bar)
                    && !taken.contains(&s.drum)
                    && s.drum.abs_diff(note.drum) <= 2
            })
            .map(|(i, _)| i)
            .collect();
        (!free.is_empty()).then(|| self.draw.one(&free))
    }

    /// Alternating strokes until just before the next note, swelling with the
    /// dynamics.
    fn roll(&mut self, index: usize, setting: usize, from_s: f64) {
        let note = &self.part.notes[index];
        let end = self.time(quarters_f64(note.at + note.length));
        let key = f64::from(note.pitch.key());
        let rate =
            self.player.roll_rate * (1.0 + 0.012 * (key - 47.0)) * self.draw.ratio(0.95, 1.05);
        let hand = self.draw.normal() * 0.04;
        let swell = self.draw.one(&[0.0, 0.0, 5.0, -4.0]);
        let mut time_s = from_s;
        let mut count = 0;
        while time_s < end - 0.6 / rate {
            let way = (time_s - from_s) / (end - from_s);
            let at = note.at + note.length * Quarters::new((way * 64.0) as i64, 64);
            let attack = if count == 0 && note.accent { 4.0 } else { 0.0 };
            let level_db = self.level(at) - 4.0 + swell * way + attack + 0.7 * self.draw.normal();
            self.out.hits.push(Hit {
                time_s,
                note: Some(index),
                setting,
                level_db: level_db.min(0.0),
                grace: false,
                in_roll: true,
                counted: true,
            });
            let uneven = if count % 2 == 0 { hand } else { -hand };
            time_s += (1.0 + uneven + 0.03 * self.draw.normal()) / rate;
            count += 1;
        }
    }

    /// Strokes that nobody wrote, clear of those that were.
    fn extras(&mut self) {
        let written: Vec<(f64, usize, f64)> = self
            .out
            .hits
            .iter()
            .filter(|h| !h.in_roll)
            .map(|h| (h.time_s, h.setting, h.level_db))
            .collect();
        for (time_s, setting, level_db) in written {
            if !self.draw.chance(self.player.extra) {
                continue;
            }
            let at = time_s + self.draw.between(0.08, 0.4);
            if self.out.hits.iter().all(|h| (h.time_s - at).abs() > 0.07) {
                let level_db = level_db - self.draw.between(0.0, 8.0);
                self.out.hits.push(Hit {
                    time_s: at,
                    note: None,
                    setting,
                    level_db,
                    grace: false,
                    in_roll: false,
                    counted: true,
                });
            }
        }
    }

    /// Decides every stop: at the end, before rests, after staccato.
    fn stops(&mut self) {
        let notes = &self.part.notes;
        // The notes of a chord are stopped together.
        let mut decided: Option<(Quarters, Option<f64>)> = None;
        for (index, note) in notes.iter().enumerate() {
            if self.out.fates[index] != Fate::Played || note.damp == Some(Damp::LetRing) {
                continue;
            }
            let written_end = note.at
                + if note.staccato {
                    note.length / 2
                } else {
                    note.length
                };
            let next = notes.iter().map(|n| n.at).filter(|&at| at > note.at).min();
            let room = next.map_or(Quarters::from(4), |n| n - written_end);
            if room < Quarters::new(1, 2) || room < Quarters::from(1) && !note.staccato {
                continue;
            }
            let due_s = self.time(quarters_f64(written_end));
            let free_s = next.map_or(due_s + 3.0, |n| self.time(quarters_f64(n)));
            let way = self.draw.between(0.0, 1.0);
            let at_s = if way < self.player.no_stops {
                None
            } else if way < self.player.no_stops + self.player.late_stops {
                Some(due_s + self.draw.between(0.08, 0.5).min(0.6 * (free_s - due_s)))
            } else {
                Some(due_s + 0.02 * self.draw.normal())
            };
            let struck = self.out.hits.iter().rev().find(|h| h.note == Some(index));
            let at_s = at_s.map(|t| t.max(struck.map_or(t, |h| h.time_s + 0.1)));
            let at_s = match self.player.script.last_stop {
                Some(last) if next.is_none() => last.map(|late| due_s + late),
                _ => at_s,
            };
            let again = decided.filter(|d| d.0 == note.at).map(|d| d.1);
            let first = again.is_none();
            let at_s = again.unwrap_or(at_s);
            decided = Some((note.at, at_s));
            self.out.endings.push(Ending {
                note: index,
                at_s,
                due_s,
            });
            if first && let Some(at_s) = at_s {
                for drum in 1..=self.part.drums.len() as u8 {
                    // The other hand sees to what else rings.
                    let own = drum == note.drum;
                    if own || self.draw.chance(0.85) {
                        let apart = if own { 0.0 } else { 0.03 * self.draw.normal() };
                        self.out.touches.push(Touch {
                            time_s: at_s + apart,
                            drum,
                        });
                    }
                }
            }
        }
    }
}
