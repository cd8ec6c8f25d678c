//! Sittings without sound, and how many of their runs are found.

use crate::simulated::{self, Hearing};
use kettlemark::align::{Match, Outcome, align};
use kettlemark::part::{Note, Part};
use kettlemark::settings::Settings;
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::parts::{self, Wish};
use kettlemark_test_support::player::Player;
use kettlemark_test_support::sitting::{self, Plan};
use kettlemark_test_support::truth::{Fate, TruePassage};

/// So few strokes may have been anything.
pub const SHORT: usize = 8;

/// Takes of one kind, counted.
#[derive(Debug, Default)]
pub struct Tally {
    pub takes: usize,
    /// Every run with the right bars, and no other.
    pub all_right: usize,
    /// The counted one has the right bars.
    pub counted_right: usize,
    pub runs: usize,
    pub runs_right: usize,
    /// Runs of fewer than `SHORT` strokes, and those with the right bars:
    /// they are in none of the other counts, and `all_right` does not ask for
    /// them.
    pub short: usize,
    pub short_right: usize,
    /// Passages that are no run.
    pub more: usize,
    /// Played notes of the counted passage, and those called missed or
    /// other-drum.
    pub played: usize,
    pub accused: usize,
}

impl Tally {
    pub fn merge(&mut self, other: &Self) {
        self.takes += other.takes;
        self.all_right += other.all_right;
        self.counted_right += other.counted_right;
        self.runs += other.runs;
        self.runs_right += other.runs_right;
        self.short += other.short;
        self.short_right += other.short_right;
        self.more += other.more;
        self.played += other.played;
        self.accused += other.accused;
    }
}

/// Whether two stretches of a part cannot be told apart by ear: the same bars,
/// or the same strokes at the same distances.
pub fn alike(part: &Part, a: (usize, usize), b: (usize, usize)) -> bool {
    let bars = |n: (usize, usize)| (part.notes[n.0].bar, part.notes[n.1].bar);
    if bars(a) == bars(b) {
        return true;
    }
    let sound = |from: &Note, n: &Note| (n.at - from.at, n.pitch, n.roll.then_some(n.length));
    let strokes = |n: (usize, usize)| {
        let notes = &part.notes[n.0..=n.1];
        notes
            .iter()
            .map(|n| sound(&notes[0], n))
            .collect::<Vec<_>>()
    };
    strokes(a) == strokes(b)
}

/// A part for a seed: every other one has phrases that come back.
pub fn part(seed: u64) -> Part {
    let draw = &mut Draw::new(seed, 1);
    if seed.is_multiple_of(2) {
        parts::generate(draw, Wish::default())
    } else {
        parts::generate_repeating(draw, Wish::default())
    }
}

/// A run through some of the part as a listener has it.
pub struct Told {
    pub from_s: f64,
    pub to_s: f64,
    /// First and last note.
    pub notes: (usize, usize),
    /// Notes with the times of their strokes.
    pub strokes: Vec<(usize, f64)>,
}

/// Times this close are the same, seconds.
const NEAR_S: f64 = 0.05;

/// Whether a run is told with the right bars. Where bars sound alike, playing
/// them twice cannot be told from playing on: what counts is that the run's own
/// strokes are given to such notes, and that nothing but runs is in the
/// passage.
fn right(part: &Part, told: &Told, run: &TruePassage, runs: &[TruePassage]) -> bool {
    let within = |s: f64, r: &TruePassage| (r.from_s - NEAR_S..=r.to_s + NEAR_S).contains(&s);
    if told.to_s < run.from_s || told.from_s > run.to_s {
        return false;
    }
    if alike(part, told.notes, run.notes) {
        return true;
    }
    let own = || {
        told.strokes
            .iter()
            .filter(|s| within(s.1, run))
            .map(|s| s.0)
    };
    let (Some(first), Some(last)) = (own().min(), own().max()) else {
        return false;
    };
    let runs_only = told
        .strokes
        .iter()
        .all(|s| runs.iter().any(|r| within(s.1, r)));
    let part_of = own().count() < told.strokes.len();
    runs_only && part_of && alike(part, (first, last), run.notes)
}

/// Counts what was told of a sitting. `hits`: the note and the time of
/// everything that was struck.
pub fn count(
    part: &Part,
    truth: &[TruePassage],
    hits: &[(Option<usize>, f64)],
    told: &[Told],
) -> Tally {
    let mut tally = Tally {
        takes: 1,
        ..Tally::default()
    };
    let found = |run: &TruePassage| told.iter().any(|t| right(part, t, run, truth));
    for run in truth {
        let mut notes: Vec<usize> = hits
            .iter()
            .filter(|h| (run.from_s..=run.to_s).contains(&h.1))
            .filter_map(|h| h.0)
            .collect();
        notes.dedup();
        if notes.len() < SHORT {
            tally.short += 1;
            tally.short_right += usize::from(found(run));
        } else {
            tally.runs += 1;
            tally.runs_right += usize::from(found(run));
        }
    }
    // A passage is of a run when it lies in it; one for each, so that a run
    // torn in two counts as one passage too many.
    let overlap = |t: &Told, r: &TruePassage| t.to_s.min(r.to_s) - t.from_s.max(r.from_s);
    let of_run = |t: &&Told| {
        let inside: f64 = truth.iter().map(|r| overlap(t, r).max(0.0)).sum();
        inside > 0.5 * (t.to_s - t.from_s)
    };
    let of_runs = told.iter().filter(of_run).count().min(truth.len());
    tally.more = told.len() - of_runs;
    tally.all_right = usize::from(tally.runs_right == tally.runs && tally.more == 0);
    tally
}

/// Prints what went wrong, for whoever tunes the matching.
#[allow(clippy::print_stdout)]
pub fn tell(name: &str, part: &Part, truth: &[TruePassage], told: &[Told]) {
    let bars = |n: (usize, usize)| (part.notes[n.0].bar, part.notes[n.1].bar);
    print!("{name}:");
    for r in truth {
        if !told.iter().any(|t| right(part, t, r, truth)) {
            print!(" [{:.1}-{:.1}] {:?}", r.from_s, r.to_s, bars(r.notes));
        }
    }
    print!("; found");
    for t in told {
        if !truth.iter().any(|r| right(part, t, r, truth)) {
            print!(" [{:.1}-{:.1}] {:?}", t.from_s, t.to_s, bars(t.notes));
        }
    }
    println!();
}

/// Whether whoever runs this wants that.
pub fn telling() -> bool {
    std::env::var_os("KETTLEMARK_TELL").is_some()
}

/// One sitting without sound, matched and counted.
pub fn sit(plan: Plan, how: Hearing, seed: u64, evidence: bool) -> Tally {
    let part = part(seed);
    let player = Player::draw(&mut Draw::new(seed, 2));
    let (performance, truth, aside) =
        sitting::planned(&part, &player, plan, &mut Draw::new(seed, 3));
    let take = simulated::hear(&part, &performance, &aside, how, &mut Draw::new(seed, 4));
    let evidence = evidence.then_some(&take.evidence);
    let found = align(&part, &take.candidates, evidence, &Settings::default());
    let stroke = |(i, m): (usize, &Match)| m.stroke.map(|s| (i, take.candidates[s].time_s));
    let told: Vec<Told> = found
        .passages
        .iter()
        .map(|p| Told {
            from_s: p.from_s,
            to_s: p.to_s,
            notes: p.notes,
            strokes: (p.notes.0..).zip(&p.matches).filter_map(stroke).collect(),
        })
        .collect();
    let hits: Vec<_> = performance
        .hits
        .iter()
        .map(|h| (h.note, h.time_s))
        .collect();
    let mut tally = count(&part, &truth, &hits, &told);
    let counted = found.counted.map(|c| &found.passages[c]);
    if let (Some(c), Some(t)) = (counted, truth.iter().find(|t| t.counted)) {
        tally.counted_right = usize::from(alike(&part, c.notes, t.notes));
        let own = c.from_s < t.to_s && t.from_s < c.to_s;
        for (i, m) in c.matches.iter().enumerate().filter(|_| own) {
            if performance.fates[c.notes.0 + i] == Fate::Played {
                tally.played += 1;
                let accused = matches!(m.outcome, Outcome::Missed | Outcome::OtherDrum);
                tally.accused += usize::from(accused);
            }
        }
    }
    if telling() && tally.all_right == 0 {
        tell(
            &format!("{plan:?} {seed}, {} notes", part.notes.len()),
            &part,
            &truth,
            &told,
        );
    }
    tally
}
