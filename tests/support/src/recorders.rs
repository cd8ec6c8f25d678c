//! One performance through three recorders, and whether what is said of it
//! agrees.
//!
//! Every judgement of a review becomes a [`Said`]: what it is about, and what
//! is answered. Where nothing is answered, there is none. Two reviews
//! *contradict* one another where both answer and the answers differ.

use crate::conditions::{self, Chain, Kind};
use crate::draw::Draw;
use crate::kit::Instrument;
use crate::parts::{self, Wish};
use crate::player::Player;
use crate::takes::{self, MadeTake, RATE_HZ, Seeds};
use kettlemark::align::Outcome;
use kettlemark::measure::dynamics::NOTICEABLE_DB;
use kettlemark::measure::{AGAINST_SDS, FOR_SDS};
use kettlemark::review::{LevelFacts, Review, StopState, TuneVerdict};
use std::collections::BTreeMap;

/// What stands between a performance and its file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Recorder {
    /// A close microphone in a dead room.
    File,
    /// A live room, the microphone four metres away.
    Room,
    /// A phone, and the codec it writes.
    Phone,
}

impl Recorder {
    pub const ALL: [Self; 3] = [Self::File, Self::Room, Self::Phone];

    /// The performance of a seed as this recorder takes it: part, player,
    /// faults and drums are the same for all of them.
    ///
    /// # Panics
    /// As [`takes::make`].
    pub fn take(self, instrument: Instrument, seed: u64) -> MadeTake {
        match self {
            Self::File => takes::make(Kind::Clean, instrument, seed),
            Self::Phone => takes::make_coded(Kind::Phone, instrument, seed),
            Self::Room => {
                let rate_hz = f64::from(RATE_HZ);
                let mut draw = Draw::new(seed, 3 + Kind::Room as u64);
                let drawn = Chain::draw(Kind::Room, &mut draw, rate_hz);
                let room = conditions::room(&mut draw, rate_hz, (0.5, 2.0), (4.0, 4.0));
                let chain = Chain {
                    room: Some(room),
                    ..drawn
                };
                let part = parts::generate(&mut Draw::new(seed, 1), Wish::default());
                let player = Player::draw(&mut Draw::new(seed, 2));
                let seeds = Seeds {
                    kit: seed,
                    playing: seed,
                };
                takes::make_of(part, &player, &chain, instrument, seeds, RATE_HZ)
            }
        }
    }
}

/// Every two recorders, by place in [`Recorder::ALL`].
pub const PAIRS: [(usize, usize); 3] = [(0, 1), (0, 2), (1, 2)];

/// What judgements are about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum About {
    Outcome,
    Tuning,
    Evenness,
    Order,
    Accent,
    Hairpin,
    Stop,
}

impl About {
    pub const ALL: [Self; 7] = [
        Self::Outcome,
        Self::Tuning,
        Self::Evenness,
        Self::Order,
        Self::Accent,
        Self::Hairpin,
        Self::Stop,
    ];
}

/// One answer of a review.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    pub answer: &'static str,
    /// The answer speaks against the player.
    pub against: bool,
    /// The figure behind it and its standard uncertainty, for reading.
    pub figure: Option<(f64, f64)>,
}

/// Every answer of a review, by what it is about and where.
pub fn said(review: &Review) -> BTreeMap<(About, String), Said> {
    let mut all = BTreeMap::new();
    let mut add = |about, place: String, answer, against, figure| {
        let said = Said {
            answer,
            against,
            figure,
        };
        all.insert((about, place), said);
    };
    for note in &review.notes {
        let answer = match note.outcome {
            Outcome::Played => ("played", false),
            Outcome::Missed => ("missed", true),
            Outcome::OtherDrum => ("on another drum", true),
            Outcome::Unsure | Outcome::NotReached => continue,
        };
        let place = format!("note {}", note.index);
        add(About::Outcome, place, answer.0, answer.1, None);
    }
    for drum in &review.drums {
        for s in &drum.settings {
            let answer = match s.verdict {
                Some(TuneVerdict::InTune) => ("in tune", false),
                Some(TuneVerdict::Noticeable | TuneVerdict::Off) => ("out of tune", true),
                None => continue,
            };
            let place = format!("{} from bar {}", s.pitch, s.from_bar);
            let figure = s.cents.zip(s.cents_sd);
            add(About::Tuning, place, answer.0, answer.1, figure);
        }
    }
    for f in &review.figures {
        let Some(clean) = f.clean else { continue };
        let answer = if clean { "clean" } else { "not clean" };
        let figure = f.unevenness_ms.zip(f.unevenness_sd_ms);
        let place = format!("bar {} notes {:?}", f.bar, f.notes);
        add(About::Evenness, place, answer, !clean, figure);
    }
    for pair in review.dynamics.levels.windows(2) {
        if let Some((place, broken, figure)) = order(review, &pair[0], &pair[1]) {
            let answer = if broken { "wrong order" } else { "right order" };
            add(About::Order, place, answer, broken, Some(figure));
        }
    }
    for accent in &review.dynamics.accents {
        let figure = accent.contrast_db.zip(accent.contrast_sd_db);
        if let Some((made, figure)) = figure.and_then(|f| Some((made(f)?, f))) {
            let answer = if made {
                "comes out"
            } else {
                "does not come out"
            };
            let place = format!("note {}", accent.note);
            add(About::Accent, place, answer, !made, Some(figure));
        }
    }
    for pin in &review.dynamics.hairpins {
        let Some((change, sd)) = pin.change_db.zip(pin.change_sd_db) else {
            continue;
        };
        let sign = if pin.written == "crescendo" {
            1.0
        } else {
            -1.0
        };
        let figure = (sign * change, sd);
        if let Some(made) = made(figure) {
            let answer = if made { "made" } else { "not made" };
            let place = format!("{} bars {}-{}", pin.written, pin.from_bar, pin.to_bar);
            add(About::Hairpin, place, answer, !made, Some(figure));
        }
    }
    for stop in &review.stops {
        let (answer, against) = match stop.state {
            StopState::Stopped => ("stopped", false),
            StopState::Ringing => ("ringing", true),
            StopState::Unsure => continue,
        };
        let figure = stop.stopped_after_ms.zip(stop.stopped_after_sd_ms);
        let place = format!("note {}", stop.note);
        add(About::Stop, place, answer, against, figure);
    }
    all
}

/// Whether a rise in level is there or not, by the measure of verdicts.
fn made((db, sd): (f64, f64)) -> Option<bool> {
    if db + AGAINST_SDS * sd < NOTICEABLE_DB {
        Some(false)
    } else {
        (db - FOR_SDS * sd >= NOTICEABLE_DB).then_some(true)
    }
}

/// Whether two neighbouring stretches under different marks came out in the
/// wrong order, with how far the softer one lies above the louder one, dB, and
/// its uncertainty.
fn order(review: &Review, a: &LevelFacts, b: &LevelFacts) -> Option<(String, bool, (f64, f64))> {
    const MARKS: [&str; 10] = [
        "pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff",
    ];
    let rank = |l: &LevelFacts| MARKS.iter().position(|m| *m == l.mark);
    let (soft, loud) = match rank(a)?.cmp(&rank(b)?) {
        std::cmp::Ordering::Less => (a, b),
        std::cmp::Ordering::Greater => (b, a),
        std::cmp::Ordering::Equal => return None,
    };
    let excess_db = soft.level_db? - loud.level_db?;
    let sd = soft.level_sd_db?.hypot(loud.level_sd_db?);
    let place = format!("bars {} and {}", soft.bar, loud.bar);
    let broken = review
        .dynamics
        .order_breaks
        .iter()
        .any(|o| o.softer_bar == soft.bar && o.louder_bar == loud.bar);
    let told = broken || excess_db + FOR_SDS * sd <= 0.0;
    told.then_some((place, broken, (excess_db, sd)))
}

/// How the answers of two reviews of one performance agree.
#[derive(Clone, Debug, Default)]
pub struct Agreement {
    /// Answered in both.
    pub both: usize,
    /// Answered in one.
    pub one: usize,
    /// Answered against the player in at least one of both.
    pub against: usize,
    /// Where, and both answers.
    pub contradictions: Vec<(String, Said, Said)>,
}

/// Compares two reviews of one performance, a row for each of [`About::ALL`].
pub fn agreement(a: &Review, b: &Review) -> BTreeMap<About, Agreement> {
    let (a, b) = (said(a), said(b));
    let mut rows: BTreeMap<About, Agreement> = BTreeMap::new();
    for ((about, place), first) in &a {
        let row = rows.entry(*about).or_default();
        let Some(second) = b.get(&(*about, place.clone())) else {
            row.one += 1;
            continue;
        };
        row.both += 1;
        row.against += usize::from(first.against || second.against);
        if first.answer != second.answer {
            row.contradictions
                .push((place.clone(), first.clone(), second.clone()));
        }
    }
    for key in b.keys().filter(|k| !a.contains_key(k)) {
        rows.entry(key.0).or_default().one += 1;
    }
    rows
}

impl Agreement {
    /// Adds another, whose places are told apart by `name`.
    pub fn merge(&mut self, other: Self, name: &str) {
        self.both += other.both;
        self.one += other.one;
        self.against += other.against;
        let named = other.contradictions.into_iter();
        self.contradictions
            .extend(named.map(|(place, a, b)| (format!("{name} {place}"), a, b)));
    }
}
