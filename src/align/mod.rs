//! Matching: which stroke is which note, and the tempo the player keeps.
//!
//! The part becomes a row of onsets (`score`), the candidates a row of
//! likelihoods (`sounds`). `runs` finds the stretches of the take that
//! follow the part by dynamic programming (`follow`) over onsets and
//! candidates, each branch with a Kalman state of its own for the tempo, and
//! `choose` picks those that together explain the take best.
//! `pulse` draws the tempo kept through what was matched, with the sudden
//! changes that `turns` finds, and `judge` asks of every note how likely it
//! is that it was played, given the pulse of all the others; `caught` spares
//! drums that the recording may not catch. `piece` says whether the take is of
//! the part at all.

mod caught;
mod choose;
mod follow;
mod judge;
mod piece;
mod places;
mod pulse;
mod runs;
mod score;
mod sounds;
mod state;
mod turns;

use crate::listen::Candidate;
use crate::part::Part;
use crate::settings::Settings;
use choose::Run;
use follow::Follower;
use judge::{Bench, clear_drum};
pub use piece::{TERMS as PIECE_TERMS, WEIGHTS as PIECE_WEIGHTS, few as piece_of_few};
use runs::Search;
use score::Score;
use sounds::Sounds;

/// What a listening that knows the part has to say of the drums.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Evidence {
    /// [candidate][place in `Part::settings`]: natural log of the likelihood
    /// of the sound at this candidate if that drum was struck there, relative
    /// to the best explanation (best = 0, others negative). A drum that is not
    /// in use there is still listed. Empty: nothing is learned yet.
    pub per: Vec<Vec<f32>>,
    /// The same by the written pitches alone, and worth only as much as such a
    /// guess: it guides the following of the part while nothing is learned, and
    /// judges no note.
    pub by_pitch: Vec<Vec<f32>>,
    /// For every note at which no sure stroke was found: how much likelier what
    /// sounds there is if it was played than if it was left out (1: nobody can
    /// tell). `None`, or a list that is too short: not examined.
    pub unheard: Vec<Option<f32>>,
}

/// Matches a take with a part: which candidate is which note's stroke, in
/// which passages, at what tempo. Never fails: a take that follows nothing of
/// the part has no passages.
pub fn align(
    part: &Part,
    candidates: &[Candidate],
    evidence: Option<&Evidence>,
    settings: &Settings,
) -> Alignment {
    let score = Score::new(part);
    let sounds = Sounds::new(candidates, evidence);
    let mut search = Search::new(&score, &sounds);
    let runs = search.runs();
    let terms = piece::terms(&score, &sounds, &runs);
    let same_piece = terms.map_or(0.0, |t| piece::probability(&t));
    let mut used = vec![false; sounds.len()];
    let mut passages: Vec<Passage> = runs
        .iter()
        .map(|run| passage(part, &score, &sounds, run, (evidence, settings), &mut used))
        .collect();
    let unheard_drums = caught::spare_unheard(part, &score, &mut passages, sure(settings));
    let counted = counted(&passages, settings.passage);
    Alignment {
        elsewhere: counted.map_or(0.0, |c| search.elsewhere(&runs[c])),
        extras: extras(&score, &sounds, &runs, &used),
        passages,
        counted,
        same_piece,
        few: terms.is_some_and(|t| piece::few(&t)),
        unheard_drums,
    }
}

/// How much likelier one outcome must be than every other before it is told,
/// natural log.
fn sure(settings: &Settings) -> f64 {
    settings.accuse_ratio.max(1.0).ln()
}

/// The terms that `same_piece` rests on, for the program that fits it. `None`
/// where nothing of the part is followed.
pub fn piece_terms(
    part: &Part,
    candidates: &[Candidate],
    evidence: Option<&Evidence>,
) -> Option<[f64; PIECE_TERMS]> {
    let score = Score::new(part);
    let sounds = Sounds::new(candidates, evidence);
    let runs = Search::new(&score, &sounds).runs();
    piece::terms(&score, &sounds, &runs)
}

/// The passage asked for, or the longest by notes, the later of equals.
fn counted(passages: &[Passage], asked: Option<usize>) -> Option<usize> {
    let asked = asked
        .and_then(|n| n.checked_sub(1))
        .filter(|&n| n < passages.len());
    asked.or_else(|| (0..passages.len()).max_by_key(|&i| passages[i].matches.len()))
}

/// Onsets of a run. Where it starts within the first bar of the part, or ends
/// within its last, the few onsets beyond belong to it; and where it holds
/// most of the part, one or two onsets more: they are likelier to be missing
/// than the player to have left off just there.
fn extent(score: &Score, run: &Run) -> (usize, usize) {
    const FEW: usize = 4;
    const MOST: f64 = 0.7;
    let last = score.onsets.len() - 1;
    let from = run.steps.first().map_or(0, |s| s.onset);
    let to = run.steps.last().map_or(last, |s| s.onset);
    let bar = |onset: usize| score.onsets[onset].bar;
    let few = FEW.min(run.steps.len() / 4);
    let most = (to - from) as f64 >= MOST * last as f64;
    let opens = most && from <= 2 || from <= few && bar(from) == bar(0);
    let closes = most && last - to <= 2 || last - to <= few && bar(to) == bar(last);
    (if opens { 0 } else { from }, if closes { last } else { to })
}

fn passage(
    part: &Part,
    score: &Score,
    sounds: &Sounds,
    run: &Run,
    (evidence, settings): (Option<&Evidence>, &Settings),
    used: &mut [bool],
) -> Passage {
    let onsets = extent(score, run);
    let fit = pulse::fit(part, score, sounds, &run.steps, onsets);
    let verdicts = Bench {
        follower: Follower { score, sounds },
        evidence,
        settings,
        fit: &fit,
        steps: &run.steps,
        onsets,
    }
    .judge();
    for &candidate in &verdicts.used {
        used[candidate] = true;
    }
    let mut times: Vec<f64> = verdicts.used.iter().map(|&c| sounds.times[c]).collect();
    times.sort_by(f64::total_cmp);
    Passage {
        from_s: times.first().copied().unwrap_or_default(),
        to_s: times.last().copied().unwrap_or_default(),
        notes: (
            score.onsets[onsets.0].notes.0,
            score.onsets[onsets.1].notes.1 - 1,
        ),
        matches: verdicts.matches,
        pulse: fit.pulse,
    }
}

/// Strokes that are no note's: likelier a stroke than not, where strokes that
/// nobody wrote are rare.
fn extras(score: &Score, sounds: &Sounds, runs: &[Run], used: &[bool]) -> Vec<Extra> {
    /// Log odds from which a candidate is a stroke: inside a run, outside.
    const STROKE: (f64, f64) = (3.0, 1.2);
    let mut extras = Vec::new();
    for candidate in (0..sounds.len()).filter(|&c| !used[c]) {
        // The settings in force where the next note of the run stands.
        let in_force = runs.iter().find_map(|run| {
            let next = run.steps.partition_point(|s| s.candidate < candidate);
            let inside = next > 0 && next < run.steps.len();
            inside.then(|| score.onsets[run.steps[next].onset].in_force)
        });
        let least = if in_force.is_some() {
            STROKE.0
        } else {
            STROKE.1
        };
        if sounds.log_odds[candidate] >= least {
            extras.push(Extra {
                candidate: sounds.given[candidate],
                setting: clear_drum(sounds.drums(candidate), |place| {
                    in_force.is_none_or(|f| place < 128 && f >> place & 1 == 1)
                }),
            });
        }
    }
    extras
}

/// What the matching found.
#[derive(Clone, Debug, Default)]
pub struct Alignment {
    /// Every stretch of the take that follows the part, in order of time.
    pub passages: Vec<Passage>,
    /// Place in `passages` of the one that counts.
    pub counted: Option<usize>,
    /// Probability that this take is of this part, 0 to 1, calibrated.
    pub same_piece: f64,
    /// That rests on few strokes.
    pub few: bool,
    /// Probability that the counted passage stands at another place of the
    /// part, where it would sound differently: a few strokes fit many.
    pub elsewhere: f64,
    /// Places in `Heard::candidates` that are strokes of the drums but no
    /// note's, with the setting if it can be told, in order of time.
    pub extras: Vec<Extra>,
    /// Drums of which no stroke was surely heard anywhere in the take, though
    /// notes of theirs were reached: they are unsure. Lowest first.
    pub unheard_drums: Vec<u8>,
}

/// One run through some of the part.
#[derive(Clone, Debug)]
pub struct Passage {
    pub from_s: f64,
    pub to_s: f64,
    /// First and last place in `Part::notes`, both included.
    pub notes: (usize, usize),
    /// One for every note from `notes.0` to `notes.1`.
    pub matches: Vec<Match>,
    pub pulse: Pulse,
}

/// What became of one note.
#[derive(Clone, Debug, PartialEq)]
pub struct Match {
    pub outcome: Outcome,
    /// Place in `Heard::candidates`; the first of a roll.
    pub stroke: Option<usize>,
    /// The further strokes of a roll or flam, in order of time.
    pub further: Vec<usize>,
    /// Place in `Part::settings` of the drum that was struck.
    pub setting: Option<usize>,
    /// Natural log of how much likelier "as written" is than the best of
    /// "missed" and "other drum".
    pub log_ratio: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    Played,
    Missed,
    OtherDrum,
    Unsure,
    NotReached,
}

/// A stroke that is no note's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extra {
    /// Place in `Heard::candidates`.
    pub candidate: usize,
    /// Place in `Part::settings`.
    pub setting: Option<usize>,
}

/// The tempo the player keeps: a smooth curve from musical to real time.
#[derive(Clone, Debug, Default)]
pub struct Pulse {
    /// (quarter notes from the start of the part, seconds), both rising;
    /// straight lines between, the outermost slope beyond.
    pub knots: Vec<(f64, f64)>,
    /// Standard uncertainty of the seconds.
    pub sd_s: f64,
}

impl Pulse {
    /// The time at which a place in the part falls, seconds. `None` without
    /// two knots.
    pub fn time_s(&self, quarters: f64) -> Option<f64> {
        let (a, b) = self.span(quarters)?;
        Some(a.1 + (quarters - a.0) * (b.1 - a.1) / (b.0 - a.0))
    }

    /// The tempo there, quarter notes a minute.
    pub fn bpm(&self, quarters: f64) -> Option<f64> {
        let (a, b) = self.span(quarters)?;
        Some(60.0 * (b.0 - a.0) / (b.1 - a.1))
    }

    fn span(&self, quarters: f64) -> Option<((f64, f64), (f64, f64))> {
        let last = self.knots.len().checked_sub(2)?;
        let i = self
            .knots
            .partition_point(|k| k.0 <= quarters)
            .saturating_sub(1)
            .min(last);
        Some((self.knots[i], self.knots[i + 1]))
    }
}
