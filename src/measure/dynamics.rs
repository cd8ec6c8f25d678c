//! Dynamics: levels against marks, accents, hairpins.
//!
//! Microphone and room tilt the drums against each other, so levels are first
//! explained as stretch + drum (median polish, Tukey 1977), and the drum's
//! share is taken out before stretches are compared. Stretches that no common
//! drum links are not compared at all.

use super::scene::Scene;
use super::{AGAINST_SDS, VAGUE_DB};
use crate::part::{Dynamic, HairpinKind, Note, Quarters, quarters_f64};
use crate::review::{Accent, Dynamics, HairpinFacts, LevelFacts, OrderBreak};
use crate::stats::{self, Estimate, MEDIAN_TO_MEAN_SE};
use num_rational::Ratio;
use std::collections::{BTreeMap, BTreeSet};

/// Fewest strokes behind the level of a stretch.
const LEAST_STROKES: usize = 3;
/// Fewest unaccented neighbours of an accent, how many are used at most, and
/// how far away they may be, quarter notes.
const LEAST_NEIGHBOURS: usize = 2;
const MOST_NEIGHBOURS: usize = 6;
const NEIGHBOUR_QUARTERS: i64 = 8;
/// Fewest levels along a hairpin.
const LEAST_HAIRPIN: usize = 4;
/// Share of a hairpin that rolls must fill for its level to be read from
/// their sound alone.
const ROLL_SHARE: f64 = 0.6;
/// What no level is surer than, dB.
const FLOOR_DB: f64 = 0.5;
/// Smallest difference of level that is heard, dB (Weber; `OpenLearn`
/// "Hearing", 10.3: 0.5 to 1 dB).
pub const NOTICEABLE_DB: f64 = 1.0;

/// All dynamics of the counted passage. Empty where the recording steers its
/// own level: what it shows is not what was played.
pub fn dynamics(scene: &Scene) -> Dynamics {
    if scene.levels_spoilt() {
        return Dynamics::default();
    }
    let levels = plain_levels(scene);
    let stretches = stretches(scene);
    let fit = Fit::new(&stretches, &levels);
    let mut facts: Vec<(usize, LevelFacts)> = stretches
        .iter()
        .enumerate()
        .filter(|(_, s)| reached(scene, s))
        .filter_map(|(k, stretch)| level_facts(scene, k, stretch, &fit).map(|f| (k, f)))
        .collect();
    fit_marks(&stretches, &mut facts);
    Dynamics {
        order_breaks: order_breaks(&stretches, &facts, &fit),
        levels: facts.into_iter().map(|(_, f)| f).collect(),
        accents: accents(scene, &levels),
        hairpins: hairpins(scene, &fit),
    }
}

/// The level of one played note.
#[derive(Clone, Copy)]
struct Level {
    note: usize,
    drum: u8,
    at: Quarters,
    db: f64,
    sd: f64,
}

/// Levels of all single notes that were played on their drum: no rolls, no
/// chords, whose strokes share one sound.
fn plain_levels(scene: &Scene) -> Vec<Level> {
    let notes = &scene.part.notes;
    let alone = |i: usize| {
        let before = i.checked_sub(1).is_none_or(|j| notes[j].at != notes[i].at);
        let after = notes.get(i + 1).is_none_or(|n| n.at != notes[i].at);
        before && after
    };
    (0..notes.len())
        .filter(|&i| !notes[i].roll && alone(i))
        .filter_map(|i| {
            let stroke = scene.played(i)?;
            Some(Level {
                note: i,
                drum: notes[i].drum,
                at: notes[i].at,
                db: stroke.level_db,
                sd: stroke.level_sd_db,
            })
        })
        .collect()
}

/// A stretch of the part under one dynamic mark, up to the next mark or
/// hairpin.
struct Stretch {
    /// `None` before the first mark of a part.
    mark: Option<Dynamic>,
    from: Quarters,
    to: Quarters,
}

fn stretches(scene: &Scene) -> Vec<Stretch> {
    let part = scene.part;
    let end = part
        .bars
        .last()
        .map_or(Ratio::from_integer(0), |b| b.at + b.length);
    let start = Ratio::from_integer(0);
    let mut begins: Vec<(Option<Dynamic>, Quarters)> = vec![(None, start)];
    begins.extend(part.marks.iter().map(|m| (Some(m.mark), m.at)));
    begins
        .iter()
        .enumerate()
        .map(|(i, &(mark, from))| {
            let next = begins.get(i + 1).map_or(end, |n| n.1);
            let hairpin = part.hairpins.iter().map(|h| h.from);
            let to = hairpin.filter(|&f| f >= from).min();
            Stretch {
                mark,
                from,
                to: to.map_or(next, |h| h.min(next)),
            }
        })
        .filter(|s| s.to > s.from)
        .collect()
}

fn reached(scene: &Scene, stretch: &Stretch) -> bool {
    scene.counted().is_some_and(|p| {
        let notes = scene.part.notes.get(p.notes.0..=p.notes.1).unwrap_or(&[]);
        notes
            .iter()
            .any(|n| n.at >= stretch.from && n.at < stretch.to)
    })
}

fn within_hairpin(scene: &Scene, at: Quarters) -> bool {
    scene.part.hairpins.iter().any(|h| at > h.from && at < h.to)
}

/// Levels explained as stretch + drum.
struct Fit {
    /// Median over its strokes, drum taken out; `None` with too few.
    stretch: Vec<Option<Estimate>>,
    counts: Vec<usize>,
    /// What each drum adds.
    drum: BTreeMap<u8, f64>,
    /// Stretches with the same number are linked by common drums.
    island: Vec<usize>,
    /// The number of the stretches in which each drum is struck.
    drum_island: BTreeMap<u8, usize>,
}

impl Fit {
    fn new(stretches: &[Stretch], levels: &[Level]) -> Self {
        let place = |at: Quarters| stretches.iter().position(|s| at >= s.from && at < s.to);
        let cells: Vec<(usize, Level)> = levels
            .iter()
            .filter_map(|l| place(l.at).map(|k| (k, *l)))
            .collect();
        let mut stretch_db = vec![0.0; stretches.len()];
        let mut drum: BTreeMap<u8, f64> = cells.iter().map(|c| (c.1.drum, 0.0)).collect();
        for _ in 0..40 {
            for (k, value) in stretch_db.iter_mut().enumerate() {
                let own: Vec<f64> = cells
                    .iter()
                    .filter(|c| c.0 == k)
                    .map(|c| c.1.db - drum[&c.1.drum])
                    .collect();
                *value = stats::median(&own).unwrap_or(0.0);
            }
            for (number, value) in &mut drum {
                let own: Vec<f64> = cells
                    .iter()
                    .filter(|c| c.1.drum == *number)
                    .map(|c| c.1.db - stretch_db[c.0])
                    .collect();
                *value = stats::median(&own).unwrap_or(0.0);
            }
        }
        // Only differences between drums are known: the middle one is zero.
        let middle = stats::median(&drum.values().copied().collect::<Vec<_>>()).unwrap_or(0.0);
        for value in drum.values_mut() {
            *value -= middle;
        }
        let residual_of = |number: u8| -> Vec<f64> {
            cells
                .iter()
                .filter(|c| c.1.drum == number)
                .map(|c| c.1.db - stretch_db[c.0] - drum[&number] - middle)
                .collect()
        };
        let drum_sd: BTreeMap<u8, f64> = drum
            .keys()
            .map(|&number| {
                let residuals = residual_of(number);
                let scatter = stats::mad_sd(&residuals).unwrap_or(0.0).max(FLOOR_DB);
                (number, scatter / (residuals.len() as f64).sqrt())
            })
            .collect();
        let (island, drum_island) = islands(stretches.len(), &cells);
        let mut fit = Self {
            stretch: Vec::new(),
            counts: Vec::new(),
            island,
            drum,
            drum_island,
        };
        for k in 0..stretches.len() {
            let own: Vec<&Level> = cells.iter().filter(|c| c.0 == k).map(|c| &c.1).collect();
            fit.counts.push(own.len());
            fit.stretch.push(fit.level(&own, &drum_sd));
        }
        fit
    }

    fn level(&self, own: &[&Level], drum_sd: &BTreeMap<u8, f64>) -> Option<Estimate> {
        if own.len() < LEAST_STROKES {
            return None;
        }
        let values: Vec<f64> = own.iter().map(|l| l.db - self.drum[&l.drum]).collect();
        let n = own.len() as f64;
        let noise = stats::mean(&own.iter().map(|l| l.sd).collect::<Vec<_>>())?;
        let scatter = stats::mad_sd(&values)?.max(noise);
        let tilt = stats::mean(&own.iter().map(|l| drum_sd[&l.drum]).collect::<Vec<_>>())?;
        let spread = MEDIAN_TO_MEAN_SE * scatter / n.sqrt();
        Some(Estimate {
            value: stats::median(&values)?,
            sd: spread.hypot(tilt).max(FLOOR_DB),
        })
    }
}

/// Numbers the groups of stretches that common drums link, and says in which
/// group each drum is.
fn islands(count: usize, cells: &[(usize, Level)]) -> (Vec<usize>, BTreeMap<u8, usize>) {
    let mut island: Vec<usize> = (0..count).collect();
    let mut by_drum: BTreeMap<u8, usize> = BTreeMap::new();
    for (k, level) in cells {
        let here = island[*k];
        let there = *by_drum.entry(level.drum).or_insert(here);
        if here != there {
            for value in &mut island {
                if *value == here {
                    *value = there;
                }
            }
            for value in by_drum.values_mut() {
                if *value == here {
                    *value = there;
                }
            }
        }
    }
    (island, by_drum)
}

/// `None` before the first mark.
fn level_facts(scene: &Scene, k: usize, stretch: &Stretch, fit: &Fit) -> Option<LevelFacts> {
    let mark = stretch.mark?;
    let bar = scene.bar_at(stretch.from);
    // A stretch that ends on a bar line ends in the bar before it.
    let last = scene
        .part
        .bars
        .iter()
        .rposition(|b| b.at < stretch.to)
        .unwrap_or(bar);
    Some(LevelFacts {
        bar: scene.bar_number(bar),
        beat: quarters_f64(scene.part.beat(bar, stretch.from)),
        to_bar: scene.bar_number(last),
        mark: mark_name(mark).to_owned(),
        level_db: fit.stretch[k].map(|e| e.value),
        level_sd_db: fit.stretch[k].map(|e| e.sd),
        strokes: fit.counts[k],
        fitted_db: None,
    })
}

/// The monotone fit: the rising sequence of levels over the marks used that is
/// nearest to what was played. Only over the largest group of linked
/// stretches would it mean anything, so it is left out where there are two.
fn fit_marks(stretches: &[Stretch], facts: &mut [(usize, LevelFacts)]) {
    let mut by_mark: BTreeMap<Dynamic, (f64, f64)> = BTreeMap::new();
    for (k, fact) in facts.iter() {
        if let (Some(mark), Some(db), Some(sd)) =
            (stretches[*k].mark, fact.level_db, fact.level_sd_db)
        {
            let sum = by_mark.entry(mark).or_insert((0.0, 0.0));
            sum.0 += db / (sd * sd);
            sum.1 += 1.0 / (sd * sd);
        }
    }
    let values: Vec<f64> = by_mark.values().map(|s| s.0 / s.1).collect();
    let weights: Vec<f64> = by_mark.values().map(|s| s.1).collect();
    let fitted: BTreeMap<Dynamic, f64> = by_mark
        .keys()
        .copied()
        .zip(stats::isotonic(&values, &weights))
        .collect();
    for (k, fact) in facts {
        if fact.level_db.is_some() {
            fact.fitted_db = stretches[*k].mark.and_then(|m| fitted.get(&m).copied());
        }
    }
}

/// Neighbouring stretches under different marks whose levels come out in the
/// wrong order by more than the uncertainty and more than an ear notices.
fn order_breaks(
    stretches: &[Stretch],
    facts: &[(usize, LevelFacts)],
    fit: &Fit,
) -> Vec<OrderBreak> {
    let measured: Vec<&(usize, LevelFacts)> =
        facts.iter().filter(|f| f.1.level_db.is_some()).collect();
    let mut breaks = Vec::new();
    for pair in measured.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let (softer, louder) = match stretches[a.0].mark.cmp(&stretches[b.0].mark) {
            std::cmp::Ordering::Less => (a, b),
            std::cmp::Ordering::Greater => (b, a),
            std::cmp::Ordering::Equal => continue,
        };
        let estimates = fit.stretch[softer.0].zip(fit.stretch[louder.0]);
        let Some((low, high)) = estimates else {
            continue;
        };
        if fit.island[softer.0] != fit.island[louder.0] {
            continue;
        }
        let excess = low.value - high.value;
        let sd = low.sd.hypot(high.sd);
        if excess >= NOTICEABLE_DB && excess > AGAINST_SDS * sd {
            breaks.push(OrderBreak {
                softer_mark: softer.1.mark.clone(),
                softer_bar: softer.1.bar,
                louder_mark: louder.1.mark.clone(),
                louder_bar: louder.1.bar,
                excess_db: excess,
                excess_sd_db: sd,
            });
        }
    }
    breaks
}

/// Every written accent that was played, against its unaccented neighbours on
/// the same drum under the same mark.
fn accents(scene: &Scene, levels: &[Level]) -> Vec<Accent> {
    let notes = &scene.part.notes;
    levels
        .iter()
        .filter(|l| notes[l.note].accent)
        .map(|level| {
            let contrast = contrast(scene, level, levels);
            Accent {
                note: level.note,
                bar: scene.note_bar(level.note),
                contrast_db: contrast.map(|c| c.value),
                contrast_sd_db: contrast.map(|c| c.sd),
            }
        })
        .collect()
}

fn contrast(scene: &Scene, accent: &Level, levels: &[Level]) -> Option<Estimate> {
    if within_hairpin(scene, accent.at) || accent.sd > VAGUE_DB {
        return None;
    }
    let notes = &scene.part.notes;
    let own: &Note = &notes[accent.note];
    let near = Ratio::from_integer(NEIGHBOUR_QUARTERS);
    let distance = |l: &Level| (l.at - accent.at).max(accent.at - l.at);
    let mut neighbours: Vec<&Level> = levels
        .iter()
        .filter(|l| {
            let note = &notes[l.note];
            note.drum == own.drum
                && note.pitch == own.pitch
                && note.dynamic == own.dynamic
                && !note.accent
                && l.sd <= VAGUE_DB
                && distance(l) <= near
                && !within_hairpin(scene, l.at)
        })
        .collect();
    neighbours.sort_by_key(|l| (distance(l), l.note));
    neighbours.truncate(MOST_NEIGHBOURS);
    if neighbours.len() < LEAST_NEIGHBOURS {
        return None;
    }
    let level = |l: &Level| Estimate {
        value: l.db,
        sd: l.sd,
    };
    let others: Vec<Estimate> = neighbours.iter().map(|l| level(l)).collect();
    stands_out_db(level(accent), &others)
}

/// A level against the median of others, dB.
pub fn stands_out_db(own: Estimate, others: &[Estimate]) -> Option<Estimate> {
    let values: Vec<f64> = others.iter().map(|l| l.value).collect();
    let noise = stats::mean(&others.iter().map(|l| l.sd).collect::<Vec<_>>())?;
    let scatter = stats::mad_sd(&values)?.max(noise);
    let spread = MEDIAN_TO_MEAN_SE * scatter / (values.len() as f64).sqrt();
    Some(Estimate {
        value: own.value - stats::median(&values)?,
        sd: own.sd.hypot(spread).max(FLOOR_DB),
    })
}

/// Every hairpin that the counted passage reached.
fn hairpins(scene: &Scene, fit: &Fit) -> Vec<HairpinFacts> {
    let Some(passage) = scene.counted() else {
        return Vec::new();
    };
    let reached = |at: Quarters| {
        let notes = &scene.part.notes;
        let first = notes.get(passage.notes.0).map(|n| n.at);
        let last = notes.get(passage.notes.1).map(|n| n.at + n.length);
        first.is_some_and(|f| at >= f) && last.is_some_and(|l| at <= l)
    };
    scene
        .part
        .hairpins
        .iter()
        .filter(|h| reached(h.from) && reached(h.to) && h.to > h.from)
        .map(|hairpin| {
            let points = hairpin_points(scene, fit, hairpin.from, hairpin.to);
            let length = quarters_f64(hairpin.to - hairpin.from);
            let line = enough(&points, length)
                .then(|| stats::theil_sen(&points))
                .flatten();
            let last = scene.part.bars.iter().rposition(|b| b.at < hairpin.to);
            HairpinFacts {
                from_bar: scene.bar_number(scene.bar_at(hairpin.from)),
                to_bar: scene.bar_number(last.unwrap_or(0)),
                written: match hairpin.kind {
                    HairpinKind::Crescendo => "crescendo".to_owned(),
                    HairpinKind::Diminuendo => "diminuendo".to_owned(),
                },
                change_db: line.map(|l| l.slope * length),
                change_sd_db: line.map(|l| (l.slope_sd * length).max(FLOOR_DB)),
                steadiness: line.and_then(|_| stats::straightness(&points)),
            }
        })
        .collect()
}

/// Enough levels, spread over more than half of the hairpin.
fn enough(points: &[(f64, f64)], length: f64) -> bool {
    let first = points.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    let last = points.iter().map(|p| p.0).fold(f64::NEG_INFINITY, f64::max);
    points.len() >= LEAST_HAIRPIN && last - first > 0.5 * length
}

/// (quarter notes, dB) along a hairpin: from its single strokes, or from the
/// sound of its rolls where those fill most of it.
fn hairpin_points(scene: &Scene, fit: &Fit, from: Quarters, to: Quarters) -> Vec<(f64, f64)> {
    let notes = &scene.part.notes;
    let overlap: f64 = notes
        .iter()
        .filter(|n| n.roll && n.at < to && n.at + n.length > from)
        .map(|n| quarters_f64((n.at + n.length).min(to) - n.at.max(from)))
        .sum();
    if overlap >= ROLL_SHARE * quarters_f64(to - from) {
        return super::rolls::level_over(scene, from, to);
    }
    let own: Vec<Level> = plain_levels(scene)
        .into_iter()
        .filter(|l| l.at >= from && l.at <= to && !notes[l.note].accent)
        .collect();
    // Levels on drums whose difference is unknown cannot make one line: the
    // drum struck most then speaks for all.
    let drums: BTreeSet<u8> = own.iter().map(|l| l.drum).collect();
    let linked: BTreeSet<Option<usize>> = drums
        .iter()
        .map(|d| fit.drum_island.get(d).copied())
        .collect();
    let only = (drums.len() > 1 && (linked.len() > 1 || linked.contains(&None)))
        .then(|| {
            let count = |d: u8| own.iter().filter(|l| l.drum == d).count();
            drums.iter().copied().max_by_key(|&d| count(d))
        })
        .flatten();
    own.iter()
        .filter(|l| only.is_none_or(|d| l.drum == d))
        .map(|l| {
            let tilt = fit.drum.get(&l.drum).copied().unwrap_or(0.0);
            (quarters_f64(l.at), l.db - tilt)
        })
        .collect()
}

/// A dynamic mark as it is written.
pub fn mark_name(mark: Dynamic) -> &'static str {
    match mark {
        Dynamic::Pppp => "pppp",
        Dynamic::Ppp => "ppp",
        Dynamic::Pp => "pp",
        Dynamic::P => "p",
        Dynamic::Mp => "mp",
        Dynamic::Mf => "mf",
        Dynamic::F => "f",
        Dynamic::Ff => "ff",
        Dynamic::Fff => "fff",
        Dynamic::Ffff => "ffff",
    }
}
