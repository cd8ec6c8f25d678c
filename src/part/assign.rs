//! Gives every note its drum, by the tuning plan.

use super::read::{Fault, ReadOptions};
use super::tuning::{DEFAULT_SIZES_IN, Problem, range_of, solve, spans_of};
use super::{Drum, Part, Retuning, Unread};
use crate::pitch::Pitch;
use std::collections::BTreeMap;

/// More drums than anybody plays at once.
const MOST_DRUMS: usize = 8;

/// Fills in drums, retunings and the drum of each note. Retunings that the part
/// writes in words (drum 0) are followed where a drum can follow them.
#[expect(
    clippy::too_many_lines,
    reason = "the steps of one assignment share what they found"
)]
pub(super) fn assign(part: &mut Part, options: &ReadOptions) -> Result<(), Fault> {
    let sizes = sizes(part, options)?;
    let mut spans = spans_of(part, sizes.len(), options.retune_s, options.default_bpm);
    let words = std::mem::take(&mut part.retunings);
    let mut wanted = Vec::new();
    for word in words.iter().filter(|r| r.drum == 0) {
        let span = spans
            .first_note
            .iter()
            .position(|&n| part.notes[n].bar >= word.bar)
            .filter(|&s| s > 0);
        if let Some(span) = span {
            let change = (word.from.key().rem_euclid(12), word.to.key().rem_euclid(12));
            spans.spans[span].written.push(change);
            wanted.push((span, change));
        } else {
            wanted.push((usize::MAX, (0, 0)));
        }
    }
    let problem = Problem {
        ranges: sizes.iter().map(|&s| range_of(s)).collect(),
        spans: spans.spans,
    };
    let solution = solve(&problem);
    let spelling: BTreeMap<i32, Pitch> = part
        .notes
        .iter()
        .rev()
        .map(|n| (n.pitch.key(), n.pitch))
        .collect();
    let pitch = |key: i32| {
        spelling
            .get(&key)
            .copied()
            .unwrap_or_else(|| Pitch::from_key(key))
    };

    let mut used = vec![false; sizes.len()];
    let mut note_drum: Vec<Option<usize>> = Vec::with_capacity(part.notes.len());
    for (span, tuning) in solution.tunings.iter().enumerate() {
        let from = spans.first_note[span];
        let to = spans
            .first_note
            .get(span + 1)
            .copied()
            .unwrap_or(part.notes.len());
        for note in &part.notes[from..to] {
            let drum = tuning.iter().position(|&k| k == note.pitch.key());
            if let Some(drum) = drum {
                used[drum] = true;
            }
            note_drum.push(drum);
        }
    }
    // Drums that are never struck are not in use and have no number.
    let mut number = vec![0_u8; sizes.len()];
    let mut next = 1;
    for (drum, number) in number.iter_mut().enumerate() {
        if used[drum] {
            *number = next;
            next += 1;
        }
    }
    for (note, drum) in part.notes.iter_mut().zip(&note_drum) {
        note.drum = drum.map_or(0, |d| number[d]);
    }
    let start = solution.tunings.first().cloned().unwrap_or_default();
    part.drums = start
        .iter()
        .enumerate()
        .filter(|(d, _)| used[*d])
        .map(|(d, &key)| Drum {
            number: number[d],
            size_in: Some(sizes[d]),
            pitch: pitch(key),
        })
        .collect();
    part.retunings = solution
        .changes
        .iter()
        .filter(|c| used[c.drum])
        .map(|c| Retuning {
            bar: part.notes[spans.first_note[c.span]].bar,
            drum: number[c.drum],
            from: pitch(c.from),
            to: pitch(c.to),
        })
        .collect();
    for (word, (span, change)) in words.iter().filter(|r| r.drum == 0).zip(wanted) {
        let followed = solution
            .changes
            .iter()
            .any(|c| c.span == span && (c.from.rem_euclid(12), c.to.rem_euclid(12)) == change);
        if !followed {
            part.unread.push(Unread {
                bar: part.bars.get(word.bar).map(|b| b.number),
                what: format!(
                    "the change of tuning from {} to {} in words: no drum of the plan makes it",
                    class_name(word.from),
                    class_name(word.to)
                ),
            });
        }
    }
    if !solution.exact {
        part.unread.push(Unread {
            bar: None,
            what: "too many pitches to weigh every tuning plan: the plan is a good one, perhaps \
                   not the best"
                .to_owned(),
        });
    }
    Ok(())
}

/// The name of a pitch without its octave, which words do not give.
fn class_name(pitch: Pitch) -> String {
    let name = pitch.to_string();
    name.trim_end_matches(|c: char| c.is_ascii_digit() || c == '-')
        .to_owned()
}

/// Diameters of the drums, largest first.
fn sizes(part: &Part, options: &ReadOptions) -> Result<Vec<f64>, Fault> {
    let named: Vec<f64> = part.drums.iter().filter_map(|d| d.size_in).collect();
    let mut sizes = match &options.drums {
        Some(sizes) => sizes.clone(),
        None if !named.is_empty() => named,
        None => DEFAULT_SIZES_IN.to_vec(),
    };
    if sizes.is_empty() || sizes.len() > MOST_DRUMS {
        return Err(Fault::new(
            "the drums",
            format!(
                "{} drums were named; expected 1 to {MOST_DRUMS}",
                sizes.len()
            ),
        ));
    }
    if let Some(wrong) = sizes.iter().find(|s| !(15.0..=40.0).contains(*s)) {
        return Err(Fault::new(
            "the drums",
            format!("a drum of {wrong} inches was named; expected 15 to 40, as in 32,29,26,23"),
        ));
    }
    sizes.sort_by(|a, b| b.total_cmp(a));
    Ok(sizes)
}
