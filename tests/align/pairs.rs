//! Takes beside parts, their own and others', without sound.

use crate::simulated::{self, CLEAN, ROOM, Take};
use kettlemark::part::Part;
use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::parts::{self, Wish};
use kettlemark_test_support::player::{self, Performance, Player};
use kettlemark_test_support::sitting::{self, Aside, Plan};

/// How a take stands to the part it is held against.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pair {
    /// Of this part, up to a fifth of the notes faulty.
    Right,
    /// A sitting with this part.
    Sitting,
    /// Of another part of the same style.
    Another,
    /// The same rhythm, each note on any drum.
    OtherDrums,
    /// The same drums and tempo, another rhythm.
    OtherRhythm,
    /// A metronome, talk or knocks.
    NoDrums,
}

impl Pair {
    pub const ALL: [Self; 6] = [
        Self::Right,
        Self::Sitting,
        Self::Another,
        Self::OtherDrums,
        Self::OtherRhythm,
        Self::NoDrums,
    ];

    pub fn is_right(self) -> bool {
        matches!(self, Self::Right | Self::Sitting)
    }
}

/// The part of a seed; one of three is for one drum, unless the drums are what
/// makes the difference.
pub fn part(pair: Pair, seed: u64) -> Part {
    let seconds = [15.0, 25.0, 40.0, 90.0][(seed % 4) as usize];
    let wish = Wish {
        seconds,
        soft_after_loud: false,
    };
    let part = parts::generate(&mut Draw::new(seed, 1), wish);
    if seed.is_multiple_of(3) && pair != Pair::OtherDrums {
        on_one_drum(part)
    } else {
        part
    }
}

/// All notes on the lowest drum.
fn on_one_drum(mut part: Part) -> Part {
    part.retunings.clear();
    part.drums.truncate(1);
    for note in &mut part.notes {
        note.drum = 1;
        note.pitch = part.drums[0].pitch;
    }
    part.notes.dedup_by_key(|n| n.at);
    part
}

/// What is really played where the part of a seed is expected.
pub fn played(pair: Pair, seed: u64) -> Part {
    let own = part(pair, seed);
    let other = part(pair, seed + 700_001);
    match pair {
        Pair::Another => other,
        Pair::OtherDrums => on_other_drums(own, &mut Draw::new(seed, 7)),
        Pair::OtherRhythm => on_drums_of(other, &own),
        _ => own,
    }
}

/// Every note on any drum.
fn on_other_drums(mut part: Part, draw: &mut Draw) -> Part {
    part.retunings.clear();
    let notes = part.notes.len();
    for i in 0..notes {
        // The notes of a chord keep apart.
        let chord = i > 0 && part.notes[i - 1].at == part.notes[i].at;
        let drum = if chord {
            usize::from(part.notes[i - 1].drum) % part.drums.len()
        } else {
            draw.below(part.drums.len())
        };
        part.notes[i].drum = drum as u8 + 1;
        part.notes[i].pitch = part.drums[drum].pitch;
    }
    part
}

/// The drums and the tempo of another part.
fn on_drums_of(mut part: Part, of: &Part) -> Part {
    part.retunings.clear();
    part.drums.clone_from(&of.drums);
    part.tempi.clone_from(&of.tempi);
    for note in &mut part.notes {
        let drum = usize::from(note.drum - 1) % of.drums.len();
        note.drum = drum as u8 + 1;
        note.pitch = of.drums[drum].pitch;
    }
    part
}

/// Who plays: a fifth of the notes faulty in every other right take, triplets far
/// from even in every fifth take.
pub fn player(pair: Pair, seed: u64) -> Player {
    let mut player = Player::draw(&mut Draw::new(seed, 2));
    if pair == Pair::Right && seed.is_multiple_of(2) {
        player.missed = 0.08;
        player.other_drum = 0.06;
        player.extra = 0.06;
    }
    if seed.is_multiple_of(5) {
        player.triplet = [0.12, 0.1];
    }
    player
}

/// A performance of a part, and what else is heard.
pub fn perform(pair: Pair, played: &Part, seed: u64) -> (Performance, Aside) {
    let player = player(pair, seed);
    let draw = &mut Draw::new(seed, 3);
    match pair {
        Pair::NoDrums => no_drums(draw),
        Pair::Sitting => {
            let plan = draw.one(&Plan::ALL);
            let (performance, _, aside) = sitting::planned(played, &player, plan, draw);
            (performance, aside)
        }
        _ => (player::play(played, &player, draw, false), Aside::default()),
    }
}

/// A metronome, talk, or next to nothing.
fn no_drums(draw: &mut Draw) -> (Performance, Aside) {
    let mut aside = Aside::default();
    let length_s = draw.between(10.0, 60.0);
    match draw.below(3) {
        0 => {
            let beat_s = 60.0 / draw.between(60.0, 160.0);
            let beats = (length_s / beat_s) as usize;
            aside.sticks_s = (0..beats).map(|i| i as f64 * beat_s).collect();
        }
        1 => aside.talk_s.push((0.5, length_s)),
        _ => {}
    }
    let performance = Performance {
        length_s,
        ..Performance::default()
    };
    (performance, aside)
}

/// A take without sound beside the part of a seed: that part, and the take as
/// it is heard by who expects it.
pub fn pair(pair: Pair, seed: u64) -> (Part, Take) {
    let own = part(pair, seed);
    let played = played(pair, seed);
    let (mut performance, aside) = perform(pair, &played, seed);
    // A drum is heard as the one of the expected part that is nearest in pitch.
    let expected = own.settings();
    let near = |place: usize| {
        let key = played.settings()[place].pitch.key();
        let off = |i: &usize| (expected[*i].pitch.key() - key).abs();
        (0..expected.len()).min_by_key(off).unwrap_or(0)
    };
    if !pair.is_right() {
        for hit in &mut performance.hits {
            hit.setting = near(hit.setting);
        }
    }
    let mut how = if seed.is_multiple_of(2) { CLEAN } else { ROOM };
    if pair == Pair::NoDrums {
        how.knocks_hz = 0.5;
    }
    let take = simulated::hear(&own, &performance, &aside, how, &mut Draw::new(seed, 4));
    (own, take)
}
