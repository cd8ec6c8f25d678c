//! What makes a review less sure, and which measures it touches.

use super::scene::Scene;
use crate::align::Outcome;
use crate::listen::Heard;
use crate::part::Part;
use crate::pitch::Pitch;
use crate::review::{Doubt, Review, StopState};
use crate::words::remarks as words;
use std::collections::BTreeSet;

/// Share of samples in flat tops from which on levels are spoilt: below it
/// only single peaks of the loudest strokes are touched.
pub const CLIPPED: f64 = 2e-4;
/// A background nearer than this to the loudest moment is a doubt, dB.
const NOISY_DB: f64 = 35.0;
/// Contact is heard above this; a recording that ends below it is blunt, Hz.
const NARROW_HZ: f64 = 4000.0;
/// Below this the match is named as a doubt.
const SURE_PIECE: f64 = 0.9;
/// Share of notes that cannot be told before that is a doubt of its own.
const MANY_UNSURE: f64 = 0.08;
/// Extra strokes per note before they are a doubt.
const MANY_EXTRAS: f64 = 0.15;

fn doubt(kind: &str, text: String, limits: &[&str]) -> Doubt {
    Doubt {
        kind: kind.to_owned(),
        text,
        limits: limits.iter().map(|l| (*l).to_owned()).collect(),
    }
}

/// Doubts of the recording alone.
pub fn of_take(heard: &Heard) -> Vec<Doubt> {
    let take = &heard.take;
    let fitness = &take.fitness;
    let mut doubts = Vec::new();
    if fitness.gain_control == Some(true) {
        let limits = ["dynamics", "rolls", "stops"];
        doubts.push(doubt("gain-control", words::gain_control(), &limits));
    }
    if fitness.clipped_share >= CLIPPED {
        let text = words::clipping(fitness.clipped_share);
        doubts.push(doubt("clipping", text, &["dynamics"]));
    }
    if let Some(hz) = fitness.bass_cut_hz {
        doubts.push(doubt("bass-cut", words::bass_cut(hz), &["tuning", "stops"]));
    }
    if let (Some(peak), Some(floor)) = (fitness.peak_db, fitness.noise_floor_db)
        && peak - floor < NOISY_DB
    {
        let limits = ["outcomes", "stops"];
        doubts.push(doubt("noise", words::noise(peak - floor), &limits));
    }
    if let Some(hz) = fitness.bandwidth_hz
        && hz < NARROW_HZ
    {
        doubts.push(doubt("narrow", words::narrow(hz), &["evenness"]));
    }
    if !fitness.gaps.is_empty() {
        let limits = ["outcomes", "evenness", "stops"];
        doubts.push(doubt("gap", words::gaps(&fitness.gaps), &limits));
    }
    if !take.start_offset_known && take.duration_s > 0.0 {
        doubts.push(doubt("start-offset", words::start_offset(), &[]));
    }
    for remark in &fitness.remarks {
        doubts.push(doubt("recording", remark.clone(), &[]));
    }
    doubts
}

/// All doubts of a take that was measured.
pub fn doubts(scene: &Scene, review: &Review) -> Vec<Doubt> {
    let mut doubts = of_take(scene.heard);
    matching(scene, review, &mut doubts);
    measures(review, &mut doubts);
    doubts
}

/// Numbers of other bars than a passage's own in which its notes stand again, at
/// the same distances.
fn alike(part: &Part, (first, last): (usize, usize)) -> Vec<i32> {
    let sound = |from: usize, note: usize| {
        let n = &part.notes[note];
        let roll = n.roll.then_some(n.length);
        (n.at - part.notes[from].at, n.pitch, n.drum, roll)
    };
    let way = last - first;
    let bars = |from: usize| (from..=from + way).map(|note| part.notes[note].bar);
    let own: BTreeSet<usize> = bars(first).collect();
    let others: BTreeSet<usize> = (0..part.notes.len().saturating_sub(way))
        .filter(|&from| (0..=way).all(|i| sound(from, from + i) == sound(first, first + i)))
        .flat_map(bars)
        .collect();
    let number = |&bar: &usize| part.bars.get(bar).map(|b| b.number);
    others.difference(&own).filter_map(number).collect()
}

fn matching(scene: &Scene, review: &Review, doubts: &mut Vec<Doubt>) {
    let alignment = scene.alignment;
    if alignment.same_piece < SURE_PIECE {
        let text = words::uncertain_piece(alignment.same_piece);
        doubts.push(doubt("match", text, &["outcomes"]));
    }
    let Some(passage) = scene.counted() else {
        return;
    };
    let count = |outcome| {
        passage
            .matches
            .iter()
            .filter(|m| m.outcome == outcome)
            .count()
    };
    let reached = passage.matches.len() - count(Outcome::NotReached);
    let unsure = count(Outcome::Unsure);
    if unsure > 2 && unsure as f64 > MANY_UNSURE * reached as f64 {
        let text = words::many_unsure(unsure, reached);
        doubts.push(doubt("unsure", text, &["outcomes", "evenness"]));
    }
    for &drum in &alignment.unheard_drums {
        let matches = (passage.notes.0..).zip(&passage.matches);
        let unsure = matches.filter(|(_, m)| m.outcome == Outcome::Unsure);
        let notes = unsure.map(|(note, _)| &scene.part.notes[note]);
        let pitches: BTreeSet<Pitch> = notes.filter(|n| n.drum == drum).map(|n| n.pitch).collect();
        if !pitches.is_empty() {
            let pitches: Vec<Pitch> = pitches.into_iter().collect();
            let text = words::drum_unheard(drum, &pitches);
            doubts.push(doubt("drum-unheard", text, &["outcomes"]));
        }
    }
    let notes = scene.part.notes.len();
    if (passage.notes.0 > 0 || passage.notes.1 + 1 < notes)
        && let Some(last) = scene.part.notes.get(passage.notes.1)
    {
        let text = words::part_only(scene.note_bar(passage.notes.0), scene.bar_number(last.bar));
        doubts.push(doubt("part-only", text, &[]));
    }
    let alike = alike(scene.part, passage.notes);
    if !alike.is_empty() {
        doubts.push(doubt("place", words::sounds_alike(&alike), &[]));
    }
    let extras: Vec<f64> = alignment
        .extras
        .iter()
        .filter_map(|e| scene.heard.candidates.get(e.candidate))
        .map(|c| c.time_s)
        .filter(|t| (passage.from_s..=passage.to_s).contains(t))
        .collect();
    if let Some(metronome) = &review.metronome {
        let text = words::click_track(metronome, &review.tempo);
        doubts.push(doubt("click-track", text, &["outcomes"]));
    } else if extras.len() > 3 && extras.len() as f64 > MANY_EXTRAS * reached as f64 {
        let text = words::many_extras(extras.len());
        doubts.push(doubt("extra-strokes", text, &["outcomes"]));
    }
}

/// What was not measured for want of strokes.
fn measures(review: &Review, doubts: &mut Vec<Doubt>) {
    let mut tell = |what: &str, missing: usize, of: usize, limit: &str| {
        if missing > 0 {
            let text = words::too_few(what, missing, of);
            doubts.push(doubt("too-few", text, &[limit]));
        }
    };
    let hairpins = &review.dynamics.hairpins;
    let flat = hairpins.iter().filter(|h| h.change_db.is_none()).count();
    tell("hairpins", flat, hairpins.len(), "dynamics");
    let levels = &review.dynamics.levels;
    let bare = levels.iter().filter(|l| l.level_db.is_none()).count();
    tell("levels under a mark", bare, levels.len(), "dynamics");
    let accents = &review.dynamics.accents;
    let lone = accents.iter().filter(|a| a.contrast_db.is_none()).count();
    tell("accents", lone, accents.len(), "dynamics");
    let reached = |drum: u8, bars: (i32, i32)| {
        review.notes.iter().any(|n| {
            let within = n.drum == drum && (bars.0..=bars.1).contains(&n.bar);
            within && n.outcome != Outcome::NotReached
        })
    };
    let drums = review.drums.iter();
    let settings: Vec<_> = drums
        .flat_map(|d| d.settings.iter().map(|s| (d.drum, s)))
        .filter(|(drum, s)| reached(*drum, (s.from_bar, s.to_bar)))
        .collect();
    let unknown = settings.iter().filter(|(_, s)| s.cents.is_none()).count();
    tell("tunings", unknown, settings.len(), "tuning");
    let rates = review
        .rolls
        .iter()
        .filter(|r| r.strokes_per_s.is_none())
        .count();
    if rates > 0 {
        let text = words::rolls_unsure(rates, review.rolls.len());
        doubts.push(doubt("rolls-unsure", text, &["rolls"]));
    }
    let open = review
        .stops
        .iter()
        .filter(|s| s.state == StopState::Unsure)
        .count();
    if open > 0 {
        doubts.push(doubt(
            "stops-unsure",
            words::stops_unsure(open, review.stops.len()),
            &["stops"],
        ));
    }
}
