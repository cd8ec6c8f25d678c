//! Outcomes of whole takes: right ones, accusations, faults found.

use crate::simulated::{self, CLEAN, Hearing, ROOM};
use kettlemark::align::{Alignment, Evidence, Outcome, align};
use kettlemark::settings::Settings;
use kettlemark_test_support::parts::Wish;
use kettlemark_test_support::player::Performance;
use kettlemark_test_support::truth::Fate;

#[derive(Debug, Default)]
struct Tally {
    notes: usize,
    /// Played, heard at all, and taken for the right candidate.
    played: usize,
    right: usize,
    accused: usize,
    unsure: usize,
    missed: (usize, usize),
    other: (usize, usize),
    not_reached: usize,
    whole: (usize, usize),
    strokes: (usize, usize, usize),
    same: f64,
}

fn add(tally: &mut Tally, performance: &Performance, take: &simulated::Take, found: &Alignment) {
    tally.whole.1 += 1;
    tally.same += found.same_piece;
    let notes = performance.fates.len();
    tally.notes += notes;
    let passage = found.counted.map(|c| &found.passages[c]);
    tally.whole.0 += usize::from(passage.is_some_and(|p| p.notes == (0, notes - 1)));
    for (note, fate) in performance.fates.iter().enumerate() {
        let told = passage.and_then(|p| p.matches.get(note.checked_sub(p.notes.0)?));
        let outcome = told.map_or(Outcome::NotReached, |m| m.outcome);
        tally.not_reached += usize::from(outcome == Outcome::NotReached);
        match fate {
            Fate::Played => {
                tally.played += 1;
                tally.accused +=
                    usize::from(matches!(outcome, Outcome::Missed | Outcome::OtherDrum));
                tally.unsure += usize::from(outcome == Outcome::Unsure);
                let stroke = told.and_then(|m| m.stroke);
                let right = stroke.is_some_and(|s| take.is_of(performance, s, note));
                tally.right += usize::from(right);
            }
            Fate::Missed => {
                tally.missed.1 += 1;
                tally.missed.0 += usize::from(outcome == Outcome::Missed);
            }
            Fate::NotReached => {}
            Fate::OtherDrum => {
                tally.other.1 += 1;
                tally.other.0 += usize::from(outcome == Outcome::OtherDrum);
            }
        }
    }
    let mut told = vec![false; take.candidates.len()];
    for m in found.passages.iter().flat_map(|p| &p.matches) {
        for s in m.stroke.iter().chain(&m.further) {
            told[*s] = true;
        }
    }
    for e in &found.extras {
        told[e.candidate] = true;
    }
    for (t, hit) in told.iter().zip(&take.hits) {
        tally.strokes.0 += usize::from(*t && hit.is_some());
        tally.strokes.1 += usize::from(*t && hit.is_none());
        tally.strokes.2 += usize::from(!*t && hit.is_some());
    }
}

fn run(how: Hearing, seeds: std::ops::Range<u64>, seconds: f64, evidence: bool) -> Tally {
    let mut tally = Tally::default();
    for seed in seeds {
        let wish = Wish {
            seconds,
            soft_after_loud: false,
        };
        let (part, performance, take) = simulated::drawn(seed, wish, how);
        let evidence = evidence.then_some(&take.evidence);
        let found = align(&part, &take.candidates, evidence, &Settings::default());
        let before = (tally.accused, tally.whole.0);
        add(&mut tally, &performance, &take, &found);
        if std::env::var_os("KETTLEMARK_TELL").is_some()
            && (tally.accused > before.0 + 2 || tally.whole.0 == before.1)
        {
            let p = found.counted.map(|c| &found.passages[c]);
            println!(
                "seed {seed}: accused {} of {} passages {} counted {:?} pulse sd {:?}",
                tally.accused - before.0,
                part.notes.len(),
                found.passages.len(),
                p.map(|p| p.notes),
                p.map(|p| p.pulse.sd_s),
            );
        }
    }
    tally
}

/// A share of at most or at least so many in a thousand.
fn per_mille(part: usize, of: usize) -> f64 {
    1000.0 * part as f64 / of.max(1) as f64
}

#[test]
fn notes_are_matched_without_drums() {
    for (how, seeds, accused, right) in [(CLEAN, 0..60, 4.0, 992.0), (ROOM, 100..160, 8.0, 975.0)] {
        let tally = run(how, seeds, 40.0, false);
        println!("without drums: {tally:?}");
        assert!(
            per_mille(tally.accused, tally.played) <= accused,
            "{tally:?}"
        );
        assert!(per_mille(tally.right, tally.played) >= right, "{tally:?}");
        assert!(
            per_mille(tally.whole.0, tally.whole.1) >= 960.0,
            "{tally:?}"
        );
    }
}

#[test]
fn drums_tell_which_notes_were_struck_elsewhere() {
    for (how, seeds, accused, found) in [(CLEAN, 0..60, 4.0, 900.0), (ROOM, 100..160, 8.0, 700.0)] {
        let tally = run(how, seeds, 40.0, true);
        println!("with drums: {tally:?}");
        assert!(
            per_mille(tally.accused, tally.played) <= accused,
            "{tally:?}"
        );
        assert!(
            per_mille(tally.other.0, tally.other.1) >= found,
            "{tally:?}"
        );
    }
}

#[test]
fn a_roll_whose_beginning_was_not_heard_is_not_called_missed() {
    let (mut rolls, mut told, mut kept) = (0, 0, 0);
    let (mut after, mut slipped) = (0, 0);
    for seed in 0..30 {
        let (part, performance, take) = simulated::drawn(seed, Wish::default(), CLEAN);
        // Everything in the first 250 ms of every roll is taken away.
        let begun: Vec<(usize, f64)> = (0..part.notes.len())
            .filter(|&n| part.notes[n].roll && performance.fates[n] == Fate::Played)
            .filter_map(|n| {
                let first = performance.hits.iter().find(|h| h.note == Some(n))?;
                Some((n, first.time_s))
            })
            .collect();
        let hidden = |s: f64| begun.iter().any(|b| (b.1 - 0.03..b.1 + 0.25).contains(&s));
        let left: Vec<_> = take
            .candidates
            .iter()
            .copied()
            .filter(|c| !hidden(c.time_s))
            .collect();
        let found = align(&part, &left, None, &Settings::default());
        let Some(passage) = found.counted.map(|c| &found.passages[c]) else {
            continue;
        };
        // Where the beginning may well have been hidden, the roll is open, but
        // keeps the strokes that were heard.
        let evidence = Evidence {
            per: vec![Vec::new(); left.len()],
            unheard: vec![Some(0.3); part.notes.len()],
            ..Evidence::default()
        };
        let open = align(&part, &left, Some(&evidence), &Settings::default());
        for (note, from_s) in begun {
            let strokes = performance
                .hits
                .iter()
                .filter(|h| h.note == Some(note) && h.time_s > from_s + 0.25)
                .count();
            let place = note.checked_sub(passage.notes.0);
            let (Some(told_as), 6..) = (place.and_then(|p| passage.matches.get(p)), strokes) else {
                continue;
            };
            rolls += 1;
            told += usize::from(told_as.outcome == Outcome::Missed);
            let doubted = open.counted.map(|c| &open.passages[c]);
            let of_roll = doubted
                .and_then(|p| p.matches.get(note.checked_sub(p.notes.0)?))
                .is_some_and(|m| m.stroke.is_some());
            kept += usize::from(of_roll);
            // The notes after it keep their strokes: no stroke of the roll is
            // taken for them, nor they for its strokes.
            for next in (note + 1..part.notes.len()).take(2) {
                let hit = performance.hits.iter().find(|h| h.note == Some(next));
                let plain = !part.notes[next].roll && performance.fates[next] == Fate::Played;
                if let Some(hit) = hit.filter(|h| plain && !h.grace) {
                    let own = passage.matches.get(next - passage.notes.0);
                    let stroke = own.and_then(|m| m.stroke).map(|c| left[c].time_s);
                    after += 1;
                    slipped += usize::from(stroke.is_none_or(|s| (s - hit.time_s).abs() > 0.03));
                }
            }
        }
    }
    assert!(rolls > 20, "{rolls} rolls");
    assert!(told * 50 <= rolls, "{told} of {rolls} called missed");
    assert!(kept * 50 >= rolls * 49, "{kept} of {rolls} keep strokes");
    assert!(after > 20, "{after} notes after rolls");
    assert!(slipped * 50 <= after, "{slipped} of {after} notes slipped");
}

/// Without one stroke of a drum nothing says that the recording catches it; with
/// one, what is missing was left out.
#[test]
fn a_drum_is_held_for_missed_once_a_stroke_of_it_was_heard() {
    let (mut spared, mut missed) = (0, 0);
    for seed in 0..12 {
        let (part, performance, take) = simulated::drawn(seed, Wish::default(), CLEAN);
        let settings = part.settings();
        let alone = |note: usize| {
            let at = part.notes[note].at;
            part.notes.iter().filter(|n| n.at == at).count() == 1
        };
        for drum in 1..=settings.iter().map(|s| s.drum).max().unwrap() {
            let of_drum = |candidate: &usize| {
                let hit = take.hits[*candidate].map(|h| &performance.hits[h]);
                hit.is_some_and(|h| settings[h.setting].drum == drum)
            };
            let sure = |candidate: &usize| {
                let hit = take.hits[*candidate].map(|h| &performance.hits[h]);
                let plain = hit.filter(|h| !h.grace && !h.in_roll).and_then(|h| h.note);
                plain.is_some_and(alone) && take.candidates[*candidate].log_odds > 4.0
            };
            let strokes = || (0..take.hits.len()).filter(of_drum);
            let middle = strokes()
                .filter(sure)
                .nth(strokes().filter(sure).count() / 2);
            let found = |kept: Option<usize>| {
                let left = (0..take.hits.len()).filter(|c| !of_drum(c) || kept == Some(*c));
                let left: Vec<usize> = left.collect();
                let evidence = Evidence {
                    per: left.iter().map(|&c| take.evidence.per[c].clone()).collect(),
                    unheard: vec![Some(1e-4); part.notes.len()],
                    ..Evidence::default()
                };
                let candidates: Vec<_> = left.iter().map(|&c| take.candidates[c]).collect();
                align(&part, &candidates, Some(&evidence), &Settings::default())
            };
            let told = |found: &Alignment, outcome| {
                let passages = found.passages.iter();
                let matches = passages.flat_map(|p| (p.notes.0..).zip(&p.matches));
                let mut of_drum = matches.filter(|(n, _)| part.notes[*n].drum == drum);
                of_drum
                    .by_ref()
                    .filter(|(_, m)| m.outcome == outcome)
                    .count()
            };
            let none = found(None);
            assert_eq!(told(&none, Outcome::Missed), 0, "seed {seed}, drum {drum}");
            let unsure = told(&none, Outcome::Unsure);
            assert_eq!(none.unheard_drums.contains(&drum), unsure > 0);
            let one = found(middle);
            if unsure > 3 && told(&one, Outcome::Played) > 0 {
                spared += unsure;
                missed += told(&one, Outcome::Missed);
            }
        }
    }
    assert!(spared > 100, "{spared} notes spared");
    assert!(missed * 3 > spared * 2, "{missed} missed, {spared} spared");
}

#[test]
fn a_doubtful_stroke_is_called_what_the_second_listening_says() {
    let (part, performance, take) = simulated::drawn(3, Wish::default(), CLEAN);
    let hit_of = |stroke: usize| {
        let hit = take.hits[stroke].map(|h| &performance.hits[h]);
        hit.filter(|h| !h.grace).and_then(|h| h.note)
    };
    let alone = |note: usize| {
        let at = |n: usize| part.notes.get(n).map(|n| n.at);
        !part.notes[note].roll && at(note) != at(note + 1) && at(note) != at(note - 1)
    };
    let cases = [
        (-1.0, 0.5, Outcome::Played),
        (-3.0, 0.05, Outcome::Unsure),
        (-6.0, 0.001, Outcome::Missed),
        // What is likelier a stroke than not is no longer in doubt.
        (3.0, 0.001, Outcome::Played),
    ];
    let (mut notes, mut as_said) = (0, [0; 4]);
    for stroke in 10..take.candidates.len() - 10 {
        let Some(note) = hit_of(stroke).filter(|&n| n > 0 && alone(n)) else {
            continue;
        };
        notes += 1;
        for (case, (log_odds, ratio, outcome)) in cases.into_iter().enumerate() {
            let mut candidates = take.candidates.clone();
            candidates[stroke].log_odds = log_odds;
            let mut unheard = vec![None; part.notes.len()];
            unheard[note] = Some(ratio);
            let evidence = Evidence {
                per: vec![Vec::new(); candidates.len()],
                unheard,
                ..Evidence::default()
            };
            let found = align(&part, &candidates, Some(&evidence), &Settings::default());
            let passage = found.counted.map(|c| &found.passages[c]);
            let told = passage.and_then(|p| p.matches.get(note.checked_sub(p.notes.0)?));
            as_said[case] += usize::from(told.is_some_and(|m| m.outcome == outcome));
        }
    }
    // Other candidates lie near some of the notes.
    assert!(notes >= 20, "{notes} notes");
    assert!(
        as_said.iter().all(|n| n * 10 >= notes * 8),
        "{as_said:?} of {notes}"
    );
}
