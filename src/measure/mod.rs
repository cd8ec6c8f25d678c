//! Measuring: from strokes and the notes they play to the numbers of a
//! [`Review`].
//!
//! One measure a file. Every measure reads the same [`Scene`] and answers
//! plain values in the units of the review; [`round`] rounds them all, in one
//! place, at the very end.
//!
//! Conventions: early is negative, sharp is positive, louder is positive. A
//! verdict *against* the player needs the value to lie beyond its limit by
//! [`AGAINST_SDS`] standard uncertainties; a verdict *for* him needs
//! [`FOR_SDS`]; between the two there is none.

pub mod decay;
pub mod deviation;
pub mod doubts;
pub mod dynamics;
pub mod figures;
pub mod grouping;
pub mod intonation;
pub mod metronome;
pub mod partials;
pub mod passages;
pub mod refusal;
pub mod remarks;
pub mod rolls;
pub mod round;
mod scene;
pub mod stops;
pub mod tempo;
pub mod written;

pub use scene::Scene;

use crate::align::Alignment;
use crate::listen::{Heard, Stroke};
use crate::part::Part;
use crate::review::{FORMAT, Review, VERSION};
use crate::settings::Settings;

/// Standard uncertainties by which a value must lie beyond a limit before
/// anything is said against the player: wrong once in about forty times.
pub const AGAINST_SDS: f64 = 2.0;
/// Standard uncertainties by which a value must lie within a limit before it
/// is called in order.
pub const FOR_SDS: f64 = 1.0;
/// A stroke whose level is less sure than this is not compared with others, dB:
/// it adds next to nothing to what rings.
pub const VAGUE_DB: f64 = 6.0;

/// Fills a whole review. Pure: the same input gives the same review.
///
/// `strokes` are in order of time, as `listen::describe` gives them. Where
/// the take cannot be judged against the part, `judged` is false, `reason`
/// says why and nothing is measured.
pub fn assemble(
    heard: &Heard,
    part: &Part,
    alignment: &Alignment,
    strokes: &[Stroke],
    settings: &Settings,
) -> Review {
    let scene = Scene::new(heard, part, alignment, strokes, settings);
    let mut review = match refusal::reason(&scene) {
        Some(reason) => refused(&scene, reason),
        None => measured(&scene),
    };
    round::review(&mut review);
    review
}

/// What is left of a take that is not of the part: strokes that play no note of
/// it, on drums that nobody can name.
fn refused(scene: &Scene, reason: String) -> Review {
    let alignment = Alignment {
        same_piece: scene.alignment.same_piece,
        ..Alignment::default()
    };
    let unmatched = |stroke: &Stroke| Stroke {
        setting: None,
        tone: None,
        in_roll: false,
        note: None,
        ..stroke.clone()
    };
    let strokes: Vec<Stroke> = scene.strokes.iter().map(unmatched).collect();
    let scene = Scene::new(
        scene.heard,
        scene.part,
        &alignment,
        &strokes,
        scene.settings,
    );
    Review {
        reason: Some(reason),
        notes: deviation::unreached(scene.part),
        doubts: doubts::of_take(scene.heard),
        ..outline(&scene)
    }
}

/// What is known before anything is measured.
fn outline(scene: &Scene) -> Review {
    Review {
        format: FORMAT.to_owned(),
        version: VERSION,
        program: env!("CARGO_PKG_VERSION").to_owned(),
        settings: scene.settings.clone(),
        take: written::take(scene.heard),
        part: written::part(scene.part),
        judged: false,
        reason: None,
        same_piece: (!scene.strokes.is_empty()).then_some(scene.alignment.same_piece),
        passages: Vec::new(),
        tempo: crate::review::TempoFacts::default(),
        metronome: None,
        strokes: deviation::strokes(scene),
        notes: Vec::new(),
        figures: Vec::new(),
        figure_kinds: Vec::new(),
        rolls: Vec::new(),
        drums: Vec::new(),
        intervals: Vec::new(),
        dynamics: crate::review::Dynamics::default(),
        stops: Vec::new(),
        doubts: Vec::new(),
        remarks: Vec::new(),
        written: written::written(scene),
    }
}

fn measured(scene: &Scene) -> Review {
    let mut review = outline(scene);
    review.judged = true;
    review.passages = passages::passages(scene);
    review.tempo = tempo::tempo(scene);
    review.notes = deviation::notes(scene);
    review.metronome = metronome::metronome(scene, &mut review.notes);
    review.figures = figures::figures(scene);
    review.figure_kinds = figures::kinds(scene, &review.figures);
    let tuning = intonation::intonation(scene);
    review.drums = tuning.drums;
    review.intervals = tuning.intervals;
    review.dynamics = dynamics::dynamics(scene);
    review.rolls = rolls::rolls(scene);
    review.stops = stops::stops(scene, &tuning.tones_hz);
    review.doubts = doubts::doubts(scene, &review);
    review.remarks = remarks::remarks(scene, &review);
    review
}
