//! Strokes inside rolls: weighed by what the roll as a whole says, once the
//! matching has said where rolls are.

use super::rolling::{self, Rolled, Span};
use super::{Candidate, Heard, fresh_level_db};
use crate::align::{Alignment, Outcome};
use crate::part::{Part, quarters_f64};
use crate::stats::{mad_sd, median};

/// Standard uncertainty of where the pulse puts the first stroke of a roll,
/// seconds: trained players keep within 10 ms (E. L. Sterling, thesis), others
/// do not.
pub const FIRST_SD_S: f64 = 0.025;
/// A roll is this likely to be there at all, nats, before its strokes are
/// weighed by it.
const ROLLED: f64 = 0.0;
/// The chain places a stroke within this of its contact, seconds to either
/// side.
const PLACED_S: f64 = 0.0175;
/// The last strokes before the written end are left to the matching: they may
/// be the next note's, as a share of the distance of two strokes.
const LAST: f64 = 0.4;
/// No roll makes a stroke surer than this, natural log odds.
const MOST: f64 = 2.5;
/// A stroke that no candidate stands for is taken for one from this
/// probability on.
const UNHEARD: f64 = 0.9;

/// Candidates with better log odds than this say how late the chain is.
const HEARD: f64 = 0.5;
/// As many are needed.
const FEWEST: usize = 5;
/// Standard uncertainty of a stroke that the chain alone places, seconds, where
/// that cannot be measured.
const LOOSE_SD_S: f64 = 0.01;

/// Raises the odds of the candidates that a roll speaks for, and adds, behind
/// the others, the strokes that were too weak to be candidates; each of those
/// has its own rise. `candidates` are those of `heard`.
pub fn weigh(candidates: &mut Vec<Candidate>, heard: &Heard, part: &Part, alignment: &Alignment) {
    let mut rolls: Vec<(Rolled, f64)> = Vec::new();
    for passage in &alignment.passages {
        let spans: Vec<Span> = (passage.notes.0..)
            .zip(&passage.matches)
            .filter(|(note, found)| {
                part.notes[*note].roll && matches!(found.outcome, Outcome::Played | Outcome::Unsure)
            })
            .filter_map(|(note, _)| {
                let written = &part.notes[note];
                let at = |q| passage.pulse.time_s(quarters_f64(q));
                Some(Span {
                    from_s: at(written.at)?,
                    from_sd_s: FIRST_SD_S,
                    to_s: at(written.at + written.length)?,
                })
            })
            .collect();
        for (span, roll) in spans
            .iter()
            .zip(rolling::hear(&heard.bands, &heard.residual, &spans))
        {
            if let Some(roll) = roll.filter(|r| r.log_odds > ROLLED) {
                let until_s = span.to_s - LAST / roll.rate_hz;
                rolls.push((roll, until_s));
            }
        }
    }
    let known = candidates.len();
    let late = lateness(candidates, &rolls);
    for (roll, until_s) in &rolls {
        raise(&mut candidates[..known], roll, late.0, *until_s);
        add(candidates, heard, roll, late, *until_s);
    }
}

/// How much later than the contacts of clear candidates the rolls of this take
/// place them, and how unsure they are, seconds: dry strokes rise faster than
/// those in a room.
fn lateness(candidates: &[Candidate], rolls: &[(Rolled, f64)]) -> (f64, f64) {
    let mut late: Vec<f64> = Vec::new();
    for (roll, until_s) in rolls {
        for (time_s, ..) in roll.moments(UNHEARD, 2.0 * PLACED_S) {
            let near = candidates
                .iter()
                .filter(|c| c.log_odds > HEARD && c.time_s < *until_s)
                .map(|c| time_s - c.time_s)
                .min_by(|a, b| a.abs().total_cmp(&b.abs()));
            late.extend(near.filter(|off| off.abs() < 2.0 * PLACED_S));
        }
    }
    match (median(&late), mad_sd(&late)) {
        (Some(middle), Some(spread)) if late.len() >= FEWEST => (middle, spread),
        _ => (0.0, LOOSE_SD_S),
    }
}

fn raise(candidates: &mut [Candidate], roll: &Rolled, late_s: f64, until_s: f64) {
    for candidate in candidates {
        if candidate.time_s < until_s {
            let time_s = candidate.time_s + late_s;
            let strokes = roll.strokes(time_s - PLACED_S, time_s + PLACED_S);
            let odds = strokes / (1.0 - strokes).max(1e-3);
            candidate.log_odds = candidate.log_odds.max(odds.ln().min(MOST));
        }
    }
}

fn add(
    candidates: &mut Vec<Candidate>,
    heard: &Heard,
    roll: &Rolled,
    (late_s, late_sd_s): (f64, f64),
    until_s: f64,
) {
    for (moment_s, moment_sd_s, probability) in roll.moments(UNHEARD, 2.0 * PLACED_S) {
        let time_s = moment_s - late_s;
        let stands = |c: &Candidate| (c.time_s - time_s).abs() < 2.0 * PLACED_S;
        if time_s >= until_s || candidates.iter().any(stands) {
            continue;
        }
        let frame = (time_s / heard.bands.hop_s).round().max(0.0) as usize;
        candidates.push(Candidate {
            time_s,
            time_sd_s: moment_sd_s.hypot(late_sd_s),
            log_odds: (probability / (1.0 - probability).max(1e-3)).ln().min(MOST),
            level_db: fresh_level_db(&heard.bands.level_db, frame),
        });
    }
}
