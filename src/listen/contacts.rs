//! The moments of contact of a whole take: first all strokes taken together,
//! then, once the matching has said who is who, drum by drum.

use super::growth::{Growth, Placed};
use super::novelty::Novelty;
use super::opening::Opening;
use super::{Candidate, Heard, Rise, attack};
use crate::align::{Alignment, Outcome};
use crate::part::Part;

/// A sum of rises above this is a stroke in all likelihood.
const CLEAR: f32 = 6.0;
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

/// How the sound of a take grows, from its clearest strokes. Bounds every
/// opening by its neighbours.
pub(super) fn of_take(rises: &mut [Rise], novelty: &Novelty) -> Growth {
    let strength: Vec<f32> = rises.iter().map(|r| novelty.sum[r.frame]).collect();
    let coarse: Vec<Option<usize>> = rises
        .iter()
        .map(|r| r.opening.as_ref().map(|o| o.coarse))
        .collect();
    for (i, rise) in rises.iter_mut().enumerate() {
        let bounds = |j: usize| (strength[j] > WEAKER * strength[i]).then(|| coarse[j])?;
        let previous = i.checked_sub(1).and_then(bounds);
        let next = (i + 1 < coarse.len()).then(|| bounds(i + 1)).flatten();
        if let Some(opening) = &mut rise.opening {
            opening.bound(previous, next);
        }
    }
    let mut clear: Vec<&Rise> = rises
        .iter()
        .filter(|r| novelty.sum[r.frame] > CLEAR && r.opening.is_some())
        .collect();
    clear.sort_by(|a, b| b.contact.gain.total_cmp(&a.contact.gain));
    clear.truncate(ENOUGH);
    let openings: Vec<&Opening> = clear.iter().filter_map(|r| r.opening.as_ref()).collect();
    Growth::expected(&openings).learn(&openings)
}

/// Seconds of a placed contact, and its standard uncertainty. How late it is
/// and how unsure was fitted by eye on made takes of tuning seeds; the table of
/// `cargo bench --bench train -- --check` shows how well it holds.
pub(super) fn time(placed: Placed) -> (f64, f64) {
    let open_s = attack::sample_s(placed.sd);
    let late_s = (LATE * open_s).min(LATEST_S);
    let sd_s = (MORE_OPEN * open_s).min(OPEN_S + open_s);
    (
        attack::sample_s(placed.at) - late_s,
        sd_s.hypot(STROKES_DIFFER_S),
    )
}

/// Places the contacts of matched strokes anew, each by how the strokes on its
/// own drum grow. `candidates` are those of `heard`.
pub(super) fn place_again(
    candidates: &mut [Candidate],
    heard: &Heard,
    part: &Part,
    alignment: &Alignment,
) {
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
    let opening = |candidate: usize| heard.openings.get(candidate).and_then(Option::as_ref);
    let mut everything: Vec<&Opening> = of_setting
        .iter()
        .flatten()
        .filter_map(|&c| opening(c))
        .collect();
    // As many of every drum as its share of the strokes.
    let step = everything.len().div_ceil(ENOUGH).max(1);
    everything = everything.into_iter().step_by(step).collect();
    let of_take = Growth::expected(&everything).learn(&everything);
    for strokes in &of_setting {
        let openings: Vec<&Opening> = strokes.iter().filter_map(|&c| opening(c)).collect();
        let growth = of_take.learn(&openings);
        for &candidate in strokes {
            if let Some(opening) = opening(candidate) {
                let (time_s, time_sd_s) = time(growth.place(opening));
                candidates[candidate].time_s = time_s;
                candidates[candidate].time_sd_s = time_sd_s;
            }
        }
    }
}
