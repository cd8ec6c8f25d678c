//! The moments of contact of a whole take: first all strokes taken together,
//! then, once the matching has said who is who, drum by drum.

use super::growth::{Grown, Placed, Ways};
use super::opening::{Opening, Place, some};
use super::residual::Residual;
use super::rises::Rise;
use super::{Candidate, Heard};
use crate::align::{Alignment, Outcome, Passage};
use crate::part::{Part, quarters_f64};
use crate::regression::probability;
use crate::take::ANALYSIS_RATE_HZ;

/// A rise that gains so much, nepers, is a stroke in all likelihood.
const CLEAR: f32 = 12.0;
/// As many clear strokes say how the sound of a take grows.
const ENOUGH: usize = 150;
/// A rise this much weaker than another does not bound where the other's
/// contact may be.
const WEAKER: f32 = 0.5;
/// Strokes differ in how they grow: by this much their contacts are unsure at
/// least, seconds.
const STROKES_DIFFER_S: f64 = 0.001;
/// Where the beginning of a stroke is hidden, its contact is placed late, by
/// this much for every second that the sound leaves open, and at most by so
/// many seconds; on average, which is taken out.
const LATE: f64 = 0.9;
const LATEST_S: f64 = 0.004;
/// The sound leaves more open than it says.
const MORE_OPEN: f64 = 2.6;
const OPEN_S: f64 = 0.004;
/// How long a weak beginning is, is unsure by this much, seconds.
const WEAKLY_S: f64 = 0.0035;

/// A stroke farther from where its neighbours would have it is off for another
/// reason than its contact, seconds.
const FAR_S: f64 = 0.03;

/// What hides whether there is a stroke hides when it begins. Where there is
/// hardly one, a contact is unsurer by this factor beyond one, and by half of it
/// at so many log odds. Without it 77 % of the strokes below log odds of 3 of
/// tuning takes in rooms, through phones and beside clicks lie within two
/// uncertainties, with it 92 %.
const DOUBTED: f64 = 2.5;
const DOUBTED_LOG_ODDS: f64 = 2.5;

/// Where the contact of every rise may be: each is bounded by its neighbours.
pub(super) fn places(rises: &[Rise]) -> Vec<Place> {
    let gains: Vec<f32> = rises.iter().map(Rise::gain).collect();
    let bounds = |i: usize, j: usize| (gains[j] > WEAKER * gains[i]).then(|| rises[j].bin);
    (0..rises.len())
        .map(|i| {
            let previous = i.checked_sub(1).and_then(|j| bounds(i, j));
            let next = (i + 1 < rises.len()).then(|| bounds(i, i + 1)).flatten();
            Place::new(&rises[i], previous, next)
        })
        .collect()
}

/// How the sound of a take may grow, from its clearest strokes; `coded` says
/// that its codec lets strokes echo.
pub(super) fn of_take(residual: &Residual, rises: &[Rise], places: &[Place], coded: bool) -> Grown {
    let mut clear: Vec<usize> = (0..rises.len())
        .filter(|&i| rises[i].gain() > CLEAR)
        .collect();
    clear.sort_by(|&a, &b| rises[b].gain().total_cmp(&rises[a].gain()).then(a.cmp(&b)));
    clear.truncate(ENOUGH);
    let openings: Vec<Opening<'_>> = clear
        .iter()
        .map(|&i| Opening::new(residual, places[i]))
        .collect();
    Grown::of_take(&openings, coded)
}

/// Seconds of a placed contact, and its standard uncertainty. How late it is
/// and how unsure was fitted by eye on made takes of tuning seeds; the table of
/// `cargo bench --bench train -- --check` shows how well it holds.
pub(super) fn time(placed: Placed) -> (f64, f64) {
    let open_s = sample_s(placed.sd);
    let late_s = (LATE * open_s).min(LATEST_S);
    let sd_s = (MORE_OPEN * open_s).min(OPEN_S + open_s);
    let differ_s = STROKES_DIFFER_S.hypot(WEAKLY_S * placed.weakly);
    (sample_s(placed.at) - late_s, sd_s.hypot(differ_s))
}

/// Moves a candidate to a placed contact.
pub(super) fn move_to(candidate: &mut Candidate, placed: Placed) {
    let (time_s, time_sd_s) = time(placed);
    candidate.time_s = time_s;
    candidate.time_sd_s = time_sd_s * doubted(candidate.log_odds);
}

/// Places the contacts of matched strokes anew, each by how the strokes on its
/// own drum grow. `candidates` are those of `heard`, with the log odds that are
/// known by now. Gives how strokes grow on the drum of every setting.
pub(super) fn place_again(
    candidates: &mut [Candidate],
    heard: &Heard,
    part: &Part,
    alignment: &Alignment,
) -> Vec<Ways> {
    let note_settings = part.note_settings();
    let mut of_setting: Vec<Vec<usize>> = vec![Vec::new(); part.settings().len()];
    for passage in &alignment.passages {
        for (offset, found) in passage.matches.iter().enumerate() {
            if let (Outcome::Played, Some(setting)) =
                (found.outcome, note_settings[passage.notes.0 + offset])
            {
                of_setting[setting].extend(found.stroke.iter().chain(&found.further));
            }
        }
    }
    let opening = |candidate: usize| {
        let place = *heard.places.get(candidate)?;
        Some(Opening::new(&heard.residual, place))
    };
    let everything: Vec<Opening<'_>> = of_setting
        .concat()
        .into_iter()
        .filter_map(opening)
        .collect();
    let everything = some(&everything, ENOUGH);
    let off_s = |ways: &Ways| {
        let time_s = |stroke: usize| Some(time(ways.place(&opening(stroke)?)).0);
        unsteady_s(part, alignment, time_s)
    };
    let grown = &heard.ways;
    let learned = |echoes| {
        let ways = if echoes { &grown.echoing } else { &grown.plain };
        ways.again(&everything)
    };
    let mut of_take = learned(false);
    if grown.may_echo() {
        let echoing = learned(true);
        // Not a number where too few strokes follow one another.
        let steadier = (off_s(&of_take) / off_s(&echoing)).ln();
        if grown.echoes(steadier) {
            of_take = echoing;
        }
    }
    let place = |strokes: &Vec<usize>| {
        let (strokes, openings): (Vec<usize>, Vec<Opening<'_>>) = strokes
            .iter()
            .filter_map(|&stroke| Some((stroke, opening(stroke)?)))
            .unzip();
        let ways = of_take.learn(&some(&openings, ENOUGH));
        for (&stroke, opening) in strokes.iter().zip(&openings) {
            move_to(&mut candidates[stroke], ways.place(opening));
        }
        ways
    };
    of_setting.iter().map(place).collect()
}

/// How far strokes lie on average from where the strokes before and behind them
/// would have them, seconds. Contacts that are wrong for some strokes of a take
/// and right for others make every player unsteady.
fn unsteady_s(part: &Part, alignment: &Alignment, time_s: impl Fn(usize) -> Option<f64>) -> f64 {
    let of_passage = |passage: &Passage| {
        let mut struck: Vec<(f64, f64)> = Vec::new();
        let notes = part.notes[passage.notes.0..].iter();
        for (note, found) in notes.zip(&passage.matches) {
            let single = found.outcome == Outcome::Played && found.further.is_empty();
            let at = quarters_f64(note.at);
            let later = struck.last().is_none_or(|&(last, _)| at > last);
            if single
                && later
                && let Some(time_s) = found.stroke.and_then(&time_s)
            {
                struck.push((at, time_s));
            }
        }
        off_s(&struck)
    };
    let off_s: Vec<f64> = alignment.passages.iter().flat_map(of_passage).collect();
    off_s.iter().sum::<f64>() / off_s.len().max(1) as f64
}

/// How far each stroke but the first and last lies from where its neighbours
/// would have it, seconds, from where strokes are written and when they come.
fn off_s(struck: &[(f64, f64)]) -> Vec<f64> {
    let off_s = |three: &[(f64, f64)]| {
        let [(before, before_s), (at, at_s), (after, after_s)] = [three[0], three[1], three[2]];
        let way = (at - before) / (after - before);
        (at_s - before_s - way * (after_s - before_s))
            .abs()
            .min(FAR_S)
    };
    struck.windows(3).map(off_s).collect()
}

/// How much unsurer a contact is where it is doubtful whether there is one.
fn doubted(log_odds: f64) -> f64 {
    1.0 + DOUBTED * probability(DOUBTED_LOG_ODDS - log_odds)
}

/// Seconds of a sample.
fn sample_s(sample: f64) -> f64 {
    sample / f64::from(ANALYSIS_RATE_HZ)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_more_doubtful_a_stroke_the_unsurer_its_contact() {
        let factors = [-6.0, 0.0, 2.5, 7.0].map(doubted);
        assert!(factors.is_sorted_by(|a, b| a > b), "{factors:?}");
        assert!(factors[0] < 3.5 && factors[3] < 1.03, "{factors:?}");
    }

    #[test]
    fn contacts_late_for_some_strokes_are_unsteadier_than_for_all() {
        // Quarters and eighths at 120, with what is late in milliseconds.
        let played = |late: [f64; 5]| {
            let at = [0.0, 1.0, 1.5, 2.0, 3.0];
            let struck: Vec<(f64, f64)> = (at.into_iter().zip(late))
                .map(|(at, late)| (at, at * 0.5 + late / 1000.0))
                .collect();
            off_s(&struck)
        };
        assert!(played([12.0; 5]).iter().all(|&off| off < 1e-9));
        let some = played([0.0, 12.0, 0.0, 12.0, 0.0]);
        assert_eq!(some.len(), 3);
        assert!(some.iter().all(|&off| off > 0.007), "{some:?}");
        let break_off = played([0.0, 0.0, 0.0, 900.0, 0.0]);
        assert!(break_off.iter().all(|&off| off <= FAR_S));
    }
}
