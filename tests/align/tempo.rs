//! Tempi that change from one note to the next, and notes that are held.

use crate::simulated::{self, CLEAN, Hearing, ROOM};
use kettlemark::align::{Outcome, align};
use kettlemark::part::{Part, quarters_f64};
use kettlemark::settings::Settings;
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::parts::{self, Wish};
use kettlemark_test_support::player::{self, Player};

/// What a player does in the middle of a part that nobody wrote.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Turn {
    None,
    /// Goes on so much faster from a bar line on.
    AtBar(f64),
    /// The same from the middle of a bar on.
    InBar(f64),
    /// Holds a note for so long, seconds.
    Waits(f64),
}

#[derive(Debug, Default)]
struct Tally {
    played: usize,
    accused: usize,
    unsure: usize,
    /// Taken for another candidate, or for none.
    astray: usize,
    /// Takes that are one passage from end to end, takes.
    whole: (usize, usize),
}

/// Whether whoever runs this wants to know what went wrong.
fn telling() -> bool {
    std::env::var_os("KETTLEMARK_TELL").is_some()
}

fn player(part: &Part, turn: Turn, seed: u64) -> Player {
    let draw = &mut Draw::new(seed, 2);
    let mut player = Player::draw(draw);
    (player.missed, player.other_drum, player.extra) = (0.0, 0.0, 0.0);
    let bar = &part.bars[part.bars.len() / 2];
    let (at, half) = (quarters_f64(bar.at), quarters_f64(bar.length / 2));
    let mut goes_on = |at: f64, factor: f64| {
        player.script.tempo = vec![(at - 1e-6, 1.0), (at, factor)];
    };
    match turn {
        Turn::None => {}
        Turn::AtBar(factor) => goes_on(at, factor),
        Turn::InBar(factor) => goes_on(at + half, factor),
        Turn::Waits(wait_s) => {
            let held = part
                .notes
                .partition_point(|n| quarters_f64(n.at) < at + half);
            let held = held.min(part.notes.len() - 2);
            let held = quarters_f64(part.notes[held].at);
            player.script.waits.push((held, wait_s));
        }
    }
    player
}

fn run(turn: Turn, how: Hearing, seeds: std::ops::Range<u64>, evidence: bool) -> Tally {
    let mut tally = Tally::default();
    for seed in seeds {
        let part = parts::generate(&mut Draw::new(seed, 1), Wish::default());
        let player = player(&part, turn, seed);
        let performance = player::play(&part, &player, &mut Draw::new(seed, 3), false);
        let take = simulated::hear_all(&part, &performance, how, &mut Draw::new(seed, 4));
        let evidence = evidence.then_some(&take.evidence);
        let found = align(&part, &take.candidates, evidence, &Settings::default());
        let passage = found.counted.map(|c| &found.passages[c]);
        tally.whole.1 += 1;
        let all = |p: &kettlemark::align::Passage| p.notes == (0, part.notes.len() - 1);
        tally.whole.0 += usize::from(found.passages.len() == 1 && passage.is_some_and(all));
        if telling()
            && found
                .passages
                .iter()
                .map(|p| p.notes)
                .ne([(0, part.notes.len() - 1)])
        {
            let told: Vec<_> = found.passages.iter().map(|p| p.notes).collect();
            let bar = &part.bars[part.bars.len() / 2];
            let turns = part
                .notes
                .partition_point(|n| n.at < bar.at + bar.length / 2);
            let near: Vec<_> = part.notes[turns.saturating_sub(3)..]
                .iter()
                .take(8)
                .map(|n| (quarters_f64(n.at), n.roll))
                .collect();
            println!(
                "{turn:?} {seed}: {told:?}, notes {}, middle {turns} {near:?} at {:?}",
                part.notes.len(),
                part.marked_bpm(0.into())
            );
        }
        for note in 0..part.notes.len() {
            let told = passage.and_then(|p| p.matches.get(note.checked_sub(p.notes.0)?));
            let outcome = told.map_or(Outcome::NotReached, |m| m.outcome);
            tally.played += 1;
            let accused = matches!(outcome, Outcome::Missed | Outcome::OtherDrum);
            tally.accused += usize::from(accused);
            tally.unsure += usize::from(outcome == Outcome::Unsure);
            let stroke = told.and_then(|m| m.stroke);
            let right = stroke.is_some_and(|s| take.is_of(&performance, s, note));
            tally.astray += usize::from(!right);
            if accused && telling() {
                let n = &part.notes[note];
                let struck = performance.hits.iter().find(|h| h.note == Some(note));
                println!(
                    "{turn:?} {seed}: note {note} bar {} at {:.2} of {} roll {}, {outcome:?}, struck {:?}, pulse {:?}",
                    n.bar,
                    quarters_f64(n.at),
                    part.bars.len(),
                    n.roll,
                    struck.map(|h| h.time_s),
                    passage.and_then(|p| p.pulse.time_s(quarters_f64(n.at)))
                );
            }
        }
    }
    tally
}

#[test]
fn a_sudden_change_of_tempo_makes_no_note_missed() {
    let turns = [
        Turn::None,
        Turn::AtBar(1.08),
        Turn::AtBar(0.92),
        Turn::AtBar(1.15),
        Turn::AtBar(0.85),
        Turn::AtBar(1.25),
        Turn::AtBar(0.75),
        Turn::InBar(1.08),
        Turn::InBar(0.92),
        Turn::InBar(1.15),
        Turn::InBar(0.85),
        Turn::InBar(1.25),
        Turn::InBar(0.75),
        Turn::Waits(0.3),
        Turn::Waits(0.6),
        Turn::Waits(1.0),
    ];
    for (name, how, seeds) in [("clean", CLEAN, 0..16), ("room", ROOM, 100..116)] {
        let steady = run(Turn::None, how, seeds.clone(), true).accused;
        for turn in turns {
            let tally = run(turn, how, seeds.clone(), true);
            println!("{name}, {turn:?}: {tally:?}");
            // Strokes that leave no candidate are accused in steady takes too.
            let more = tally.accused.saturating_sub(steady);
            let wide = matches!(turn, Turn::AtBar(f) | Turn::InBar(f) if (f - 1.0).abs() > 0.2);
            let most = if wide { 6 } else { 3 };
            assert!(
                1000 * more <= most * tally.played,
                "{name}, {turn:?}: {tally:?}"
            );
            let (whole, takes) = tally.whole;
            assert!(5 * whole >= 4 * takes, "{name}, {turn:?}: {tally:?}");
        }
    }
}
