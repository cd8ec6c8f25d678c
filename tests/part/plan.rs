//! The tuning plan: as good as trying everything, explained where something is
//! impossible, and the player's own plan before any other.

use kettlemark::part::tuning::{Problem, Span, plan_of, range_of, solve, write_tones};
use kettlemark::part::{self, Part, ReadOptions, quarters_f64};
use kettlemark::pitch::Pitch;
use kettlemark_test_support::draw::Draw;
use std::path::Path;

fn sheet(text: &str, options: &ReadOptions) -> Part {
    part::read_bytes(text.as_bytes(), Path::new("plan"), options).unwrap_or_else(|e| panic!("{e}"))
}

fn on(sizes: &[f64]) -> ReadOptions {
    ReadOptions {
        drums: Some(sizes.to_vec()),
        ..ReadOptions::default()
    }
}

/// Strokes lost, retunings, semitones, drums lower than a smaller number, and
/// distance from the middle of the drums: less is better, in this order.
type Worth = [u64; 5];

fn worth_of_span(tuning: &[i32], span: &Span, ranges: &[(i32, i32)]) -> Worth {
    let mut worth = [0; 5];
    for &(key, strokes) in &span.keys {
        match tuning.iter().position(|&k| k == key) {
            Some(drum) => {
                let (low, high) = ranges[drum];
                worth[4] += u64::from((2 * key - low - high).unsigned_abs());
            }
            None => worth[0] += u64::from(strokes),
        }
    }
    for (i, low) in tuning.iter().enumerate() {
        worth[3] += tuning[i + 1..].iter().filter(|&high| high <= low).count() as u64;
    }
    worth
}

/// What the way from one tuning to the next costs; `None` without time for it.
fn worth_of_change(from: &[i32], to: &[i32], span: &Span) -> Option<Worth> {
    let mut worth = [0; 5];
    let mut changed = 0;
    for (&a, &b) in from.iter().zip(to).filter(|(a, b)| a != b) {
        changed += 1;
        if !span.written.contains(&(a.rem_euclid(12), b.rem_euclid(12))) {
            worth[1] += 1;
            worth[2] += u64::from((a - b).unsigned_abs());
        }
    }
    (changed <= span.changes_before).then_some(worth)
}

fn sum(a: Worth, b: Worth) -> Worth {
    std::array::from_fn(|i| a[i] + b[i])
}

/// Every tuning of all drums to pitches that the part ever needs.
fn all_tunings(problem: &Problem) -> Vec<Vec<i32>> {
    let mut needed: Vec<i32> = problem
        .spans
        .iter()
        .flat_map(|s| &s.keys)
        .map(|k| k.0)
        .collect();
    needed.sort_unstable();
    needed.dedup();
    let mut tunings = vec![vec![]];
    for &(low, high) in &problem.ranges {
        let fitting: Vec<i32> = needed
            .iter()
            .copied()
            .filter(|k| (low..=high).contains(k))
            .collect();
        let fitting = if fitting.is_empty() {
            vec![i32::midpoint(low, high)]
        } else {
            fitting
        };
        tunings = tunings
            .iter()
            .flat_map(|t: &Vec<i32>| {
                fitting.iter().map(move |&k| {
                    let mut more = t.clone();
                    more.push(k);
                    more
                })
            })
            .collect();
    }
    tunings
}

/// Tries every sequence of tunings, one after the other.
fn brute_force(problem: &Problem) -> Worth {
    fn go(
        problem: &Problem,
        tunings: &[Vec<i32>],
        so_far: Worth,
        last: Option<usize>,
        at: usize,
        best: &mut Worth,
    ) {
        if so_far >= *best {
            return;
        }
        let Some(span) = problem.spans.get(at) else {
            *best = so_far;
            return;
        };
        for (index, tuning) in tunings.iter().enumerate() {
            let change = match last {
                None => Some([0; 5]),
                Some(before) => worth_of_change(&tunings[before], tuning, span),
            };
            let Some(change) = change else { continue };
            let here = worth_of_span(tuning, span, &problem.ranges);
            go(
                problem,
                tunings,
                sum(so_far, sum(change, here)),
                Some(index),
                at + 1,
                best,
            );
        }
    }
    let mut best = [u64::MAX; 5];
    go(problem, &all_tunings(problem), [0; 5], None, 0, &mut best);
    best
}

/// Even from `low` to `high`, both included.
fn whole(draw: &mut Draw, low: usize, high: usize) -> usize {
    low + draw.below(high - low + 1)
}

fn any_problem(draw: &mut Draw) -> Problem {
    let drums = whole(draw, 1, 3);
    let compass = whole(draw, 3, 5) as i32;
    let ranges = (0..drums)
        .map(|_| {
            let low = 40 + whole(draw, 0, 2) as i32;
            (low, low + whole(draw, 1, 4) as i32)
        })
        .collect();
    let spans = (0..whole(draw, 1, 4))
        .map(|_| {
            let mut keys: Vec<(i32, u32)> = Vec::new();
            for key in 40..40 + compass {
                if draw.chance(0.4) {
                    keys.push((key, whole(draw, 1, 3) as u32));
                }
            }
            if keys.is_empty() {
                keys.push((41, 1));
            }
            let written = (0..whole(draw, 0, 2))
                .map(|_| (4 + whole(draw, 0, 4) as i32, 4 + whole(draw, 0, 4) as i32))
                .collect();
            Span {
                keys,
                changes_before: whole(draw, 0, 3),
                written,
            }
        })
        .collect();
    Problem { ranges, spans }
}

#[test]
fn a_plan_is_as_good_as_trying_everything() {
    let mut changed = 0;
    for seed in 0..1000 {
        let problem = any_problem(&mut Draw::new(seed, 41));
        let found = solve(&problem);
        assert!(found.exact);
        let mut worth = [0; 5];
        for (i, (tuning, span)) in found.tunings.iter().zip(&problem.spans).enumerate() {
            if i > 0 {
                let change = worth_of_change(&found.tunings[i - 1], tuning, span);
                worth = sum(
                    worth,
                    change.expect("no more changes than the rest has time for"),
                );
            }
            worth = sum(worth, worth_of_span(tuning, span, &problem.ranges));
        }
        assert_eq!(worth, brute_force(&problem), "seed {seed}: {problem:?}");
        assert_eq!(u64::from(found.unplayable), worth[0]);
        changed += usize::from(worth[1] > 0);
    }
    assert!(changed > 100, "only {changed} problems need a retuning");
}

/// A part of a few bars with strokes, each followed by bars of rest, at 60
/// quarter notes a minute: (pitches in the bar, bars of rest after it).
type Groups = Vec<(Vec<i32>, usize)>;

fn any_groups(draw: &mut Draw) -> Groups {
    (0..whole(draw, 2, 5))
        .map(|_| {
            let pitches = (0..whole(draw, 1, 3))
                .map(|_| 41 + whole(draw, 0, 4) as i32 * 2)
                .collect();
            (pitches, whole(draw, 0, 2))
        })
        .collect()
}

fn as_sheet(groups: &Groups) -> String {
    let mut text = "tempo 60\n".to_owned();
    let mut bar = 1;
    for (pitches, rest) in groups {
        let mut words: Vec<String> = pitches
            .iter()
            .map(|&k| Pitch::from_key(k).to_string())
            .collect();
        words.resize(4, ".".to_owned());
        text.push_str(&format!("{bar}: {}\n", words.join(" ")));
        for _ in 0..*rest {
            bar += 1;
            text.push_str(&format!("{bar}: .\n"));
        }
        bar += 1;
    }
    text
}

/// The same as a problem, straight from the groups: a change takes 2 s, and a
/// quarter note at the end of a group lasts one.
fn as_problem(groups: &Groups, sizes: &[f64]) -> Problem {
    let mut spans: Vec<Span> = Vec::new();
    let mut rest_s = 0;
    for (pitches, rest) in groups {
        let mut keys: Vec<(i32, u32)> = Vec::new();
        for &key in pitches {
            match keys.iter_mut().find(|k| k.0 == key) {
                Some(found) => found.1 += 1,
                None => keys.push((key, 1)),
            }
        }
        spans.push(Span {
            keys,
            changes_before: rest_s / 2,
            written: Vec::new(),
        });
        rest_s = 4 - pitches.len() + 4 * rest;
    }
    Problem {
        ranges: sizes.iter().map(|&s| range_of(s)).collect(),
        spans,
    }
}

#[test]
fn the_plan_of_a_part_is_as_good_as_trying_everything() {
    let (mut changed, mut lost) = (0, 0);
    for seed in 0..1000 {
        let draw = &mut Draw::new(seed, 43);
        let sizes: &[f64] = if draw.chance(0.5) {
            &[32.0, 29.0]
        } else {
            &[29.0, 26.0]
        };
        let groups = any_groups(draw);
        let text = as_sheet(&groups);
        let part = sheet(&text, &on(sizes));
        let semitones = part
            .retunings
            .iter()
            .map(|r| u64::from((r.from.key() - r.to.key()).unsigned_abs()))
            .sum();
        let silent = part.notes.iter().filter(|n| n.drum == 0).count() as u64;
        let found = [silent, part.retunings.len() as u64, semitones];
        let best = brute_force(&as_problem(&groups, sizes));
        assert_eq!(found, best[..3], "seed {seed}, drums {sizes:?}\n{text}");
        changed += usize::from(best[1] > 0);
        lost += usize::from(best[0] > 0);
    }
    assert!(
        changed > 100 && lost > 50,
        "{changed} with changes, {lost} impossible"
    );
}

/// A drum plays only what it is tuned to, in any part.
#[test]
fn every_note_is_played_by_a_drum_that_is_tuned_to_it() {
    for seed in 0..300 {
        let text = as_sheet(&any_groups(&mut Draw::new(seed, 47)));
        let part = sheet(&text, &on(&[32.0, 29.0, 26.0]));
        let settings = part.settings();
        for (note, setting) in part.notes.iter().zip(part.note_settings()) {
            let tuned = setting.map(|s| settings[s].pitch.key());
            assert_eq!(tuned, (note.drum > 0).then_some(note.pitch.key()), "{text}");
        }
    }
}

#[test]
fn what_is_impossible_is_explained() {
    let told = |text: &str, options: &ReadOptions| {
        let part = sheet(text, options);
        plan_of(
            &part,
            "A3".parse().unwrap(),
            options.retune_s,
            options.default_bpm,
        )
        .impossible
    };
    // Out of every range.
    assert_eq!(
        told("1: F2 C4 C4 .\n", &on(&[32.0])),
        ["C4 from bar 1 on, 2 notes: it lies outside the range of every drum in use"]
    );
    // One drum, two pitches, no rest.
    assert_eq!(
        told("1: F2 F2 G2 .\n", &on(&[32.0])),
        [
            "G2 from bar 1 on, 1 note: every drum that reaches it is needed for another pitch, and \
          no rest is long enough to retune one"
        ]
    );
    // Enough time: nothing is impossible.
    assert!(told("tempo 60\n1: F2 . . .\n2: G2 . . .\n", &on(&[32.0])).is_empty());
    // The player's own plan is kept, and what is hard about it is said.
    let own = "tempo 120\ndrum 1 F2 32\n1: F . F F\ntune 1 F2 to C3\n2: C . . .\n3: .\ntune 1 C3 to E3\n4: E*4\n";
    assert_eq!(
        told(own, &ReadOptions::default()),
        [
            "drum 1 from F2 to C3 for bar 2: the rest lasts 0.0 s, 2.0 s are needed",
            "drum 1 (32 in) at E3: its usual range is C2 to C3"
        ]
    );
}

#[test]
fn the_players_own_plan_wins() {
    let text = "tempo 60\ndrum 1 F2 32\ndrum 2 A2 29\n1: F A F A\ntune 2 A2 to Bb2\n2: .\n3: F Bb F Bb\n\
                tune 2 Bb2 to A2\n4: .\n5: F A F A\n";
    let own = sheet(text, &ReadOptions::default());
    assert_eq!(own.retunings.len(), 2);
    assert_eq!(own.drums.len(), 2);
    // The change holds from the bar it stands before.
    assert_eq!(own.retunings[0].bar, 1);
    // With drums named on the command line the plan is found anew: three drums
    // need no change.
    let three = sheet(text, &on(&[32.0, 29.0, 26.0]));
    assert_eq!(three.retunings.len(), 0);
    assert_eq!(three.drums.len(), 3);
    assert!(three.notes.iter().all(|n| n.drum > 0));
}

/// Thirty pitches on four drums.
#[test]
fn more_pitches_than_drums_can_take_are_told() {
    let mut text = "tempo 60\n".to_owned();
    for i in 0..30 {
        text.push_str(&format!("{}: {}*4\n", i + 1, Pitch::from_key(36 + i)));
    }
    let part = sheet(&text, &ReadOptions::default());
    assert_eq!(part.notes.len(), 30);
    assert!(part.notes.iter().any(|n| n.drum == 0));
    let plan = plan_of(&part, "A3".parse().unwrap(), 2.0, 100.0);
    assert!(!plan.impossible.is_empty());
}

/// The order of tuning: every step starts from something that sounds already,
/// and its interval leads to the pitch.
#[test]
fn the_order_of_tuning_leads_to_every_drum() {
    let part = sheet("1: F2 Bb2 D3 F3\n", &ReadOptions::default());
    let plan = plan_of(&part, "A3".parse().unwrap(), 2.0, 100.0);
    let steps: Vec<String> = plan
        .order
        .iter()
        .map(|s| format!("{} {} {} {}", s.drum, s.pitch, s.interval, s.from))
        .collect();
    assert_eq!(
        steps,
        [
            "3 D3 perfect fifth down A3",
            "4 F3 major third down A3",
            "2 Bb2 perfect fifth down drum 4",
            "1 F2 octave down drum 4"
        ]
    );
}

/// The strongest frequency of a stretch of sound near a pitch, by the phase that
/// a tone gains over one second (no bins, so it is exact for a steady tone).
fn frequency(samples: &[f64], rate: f64, near_hz: f64) -> f64 {
    let phase = |from: usize| {
        let (mut re, mut im) = (0.0, 0.0);
        for (i, x) in samples[from..from + rate as usize].iter().enumerate() {
            let angle = std::f64::consts::TAU * near_hz * (from + i) as f64 / rate;
            re += x * angle.cos();
            im -= x * angle.sin();
        }
        im.atan2(re)
    };
    let half = rate as usize / 2;
    let turned = phase(half) - phase(0);
    let tau = std::f64::consts::TAU;
    near_hz + (turned - tau * (turned / tau).round()) / tau * rate / half as f64
}

#[test]
fn the_tones_have_the_frequencies_of_the_plan() {
    let part = sheet("1: F2 Bb2 D3 F3\n", &ReadOptions::default());
    let reference: Pitch = "A3".parse().unwrap();
    let plan = plan_of(&part, reference, 2.0, 100.0);
    let dir = tempfile::tempdir().unwrap();
    for a4_hz in [440.0, 443.0] {
        let path = dir.path().join("tones.wav");
        write_tones(&plan, reference, a4_hz, &path).unwrap();
        let mut wav = hound::WavReader::open(&path).unwrap();
        let rate = f64::from(wav.spec().sample_rate);
        let samples: Vec<f64> = wav
            .samples::<i16>()
            .map(|s| f64::from(s.unwrap()))
            .collect();
        let pitches: Vec<Pitch> = std::iter::once(reference)
            .chain(plan.order.iter().map(|s| s.pitch))
            .collect();
        let each = samples.len() / pitches.len();
        assert!((each as f64 / rate - 3.7).abs() < 0.01);
        for (i, pitch) in pitches.iter().enumerate() {
            let tone = &samples[i * each + (0.5 * rate) as usize..(i + 1) * each];
            let hz = pitch.hz(a4_hz);
            let found = frequency(tone, rate, hz + 0.2);
            assert!(
                (found - hz).abs() < 0.01,
                "{pitch} at A4 = {a4_hz}: {found} Hz, not {hz}"
            );
            // Silence between the tones.
            assert_eq!(samples[(i + 1) * each - 100], 0.0);
        }
    }
}

/// Rests are timed by the tempo that is marked, gradual changes included.
#[test]
fn rests_are_timed_at_the_tempo_marked() {
    let rest = |head: &str| {
        let text = format!("{head}drum 1 F2 32\n1: F . . .\ntune 1 F2 to G2\n2: G . . .\n");
        let part = sheet(&text, &ReadOptions::default());
        plan_of(&part, "A3".parse().unwrap(), 2.0, 100.0).changes[0]
            .rest_s
            .unwrap()
    };
    assert_eq!(rest("tempo 60\n"), 3.0);
    assert_eq!(rest("tempo 120\n"), 1.5);
    // 60 to 120 over four quarters, of which the last three: the mean of the
    // tempo in the middle is taken.
    let slowing = rest("tempo 60 gradual\ntempo 120 at 5\n");
    assert!((slowing - 3.0 * 60.0 / 97.5).abs() < 0.006, "{slowing}");
    assert_eq!(quarters_f64(kettlemark::part::Quarters::new(3, 2)), 1.5);
}
