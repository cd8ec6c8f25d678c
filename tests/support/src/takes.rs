//! Whole takes with their truth.

use crate::codec::{self, Codec};
use crate::conditions::{self, Chain, Kind};
use crate::draw::Draw;
use crate::dsp;
use crate::kit::{Instrument, Kit};
use crate::parts::{self, Wish};
use crate::player::{self, Performance, Player};
use crate::render::{self, HEAD_S};
use crate::sitting::{self, Aside, Plan};
use crate::truth::{Fate, TrueNote, TruePassage, TrueRoll, TrueStop, TrueStroke, Truth};
use kettlemark::part::{Part, quarters_f64};
use kettlemark::take::Recording;
use std::path::Path;

/// Seeds from here on are for judging and are never looked at while hearing
/// is being tuned. Their modal drums are drawn from wider ranges.
pub const FIRST_JUDGING_SEED: u64 = 10_000;

/// The level of a stroke that leaves nothing in a recording, dB.
const NOTHING_DB: f64 = -300.0;

/// The rate of generated takes, hertz.
pub const RATE_HZ: u32 = 32_000;

/// A made take.
pub struct MadeTake {
    pub part: Part,
    pub samples: Vec<f32>,
    pub rate_hz: u32,
    pub truth: Truth,
    /// How loud each stroke of the truth is by itself as the recorder gets it
    /// (its first 80 ms, 50 to 4000 Hz, before any gain control), dB re one
    /// level for the whole take.
    pub levels_db: Vec<f64>,
    /// The codec it went through.
    pub coded: Option<Codec>,
}

impl MadeTake {
    /// A recording of it.
    pub fn recording(&self) -> Recording {
        let recording = Recording::from_samples(self.samples.clone(), self.rate_hz);
        match self.coded {
            Some(codec) => recording.decoded_from(codec.name()),
            None => recording,
        }
    }
}

/// The part, player and conditions of a seed.
fn drawn(kind: Kind, seed: u64) -> (Part, Player, Chain) {
    let mut draw = Draw::new(seed, 1);
    let wish = Wish {
        soft_after_loud: kind == Kind::SoftAfterLoud,
        ..Wish::default()
    };
    let part = parts::generate(&mut draw, wish);
    let player = Player::draw(&mut Draw::new(seed, 2));
    let chain = Chain::draw(
        kind,
        &mut Draw::new(seed, 3 + kind as u64),
        f64::from(RATE_HZ),
    );
    (part, player, chain)
}

/// Makes a take: part, player, drums and conditions all drawn from the seed.
///
/// # Panics
/// For recorded strokes where the sound set is not installed; ask
/// [`crate::recorded::available`].
pub fn make(kind: Kind, instrument: Instrument, seed: u64) -> MadeTake {
    let (part, player, chain) = drawn(kind, seed);
    let seeds = Seeds {
        kit: seed,
        playing: seed,
    };
    if kind == Kind::Messy {
        let (performance, passages, aside) =
            sitting::sitting(&part, &player, &mut Draw::new(seed, 20));
        let played = Played {
            performance,
            passages,
            aside,
        };
        return sound(part, &player, played, &chain, instrument, seeds, RATE_HZ);
    }
    make_of(part, &player, &chain, instrument, seeds, RATE_HZ)
}

/// Makes a take as [`make`] does, of one whole run, recorded by something that
/// catches nothing of one drum: its notes are played, and none of them is there.
/// `None` where the part has no such drum.
///
/// # Panics
/// As [`make`].
pub fn make_uncaught(kind: Kind, instrument: Instrument, seed: u64, drum: u8) -> Option<MadeTake> {
    let (part, player, chain) = drawn(kind, seed);
    let seeds = Seeds {
        kit: seed,
        playing: seed,
    };
    let mut played = whole_run(&part, &player, &chain, seed);
    let settings = part.settings();
    settings.iter().find(|s| s.drum == drum)?;
    for hit in &mut played.performance.hits {
        if settings[hit.setting].drum == drum {
            hit.level_db = NOTHING_DB;
        }
    }
    let take = sound(part, &player, played, &chain, instrument, seeds, RATE_HZ);
    Some(take)
}

/// Makes a take of a sitting of one kind, of a part in which phrases may come
/// back.
///
/// # Panics
/// As [`make`].
pub fn make_sitting(
    part: Part,
    plan: Plan,
    kind: Kind,
    instrument: Instrument,
    seed: u64,
) -> MadeTake {
    let player = Player::draw(&mut Draw::new(seed, 2));
    let mut draw = Draw::new(seed, 3 + kind as u64);
    let chain = Chain::draw(kind, &mut draw, f64::from(RATE_HZ));
    let (performance, passages, aside) =
        sitting::planned(&part, &player, plan, &mut Draw::new(seed, 20));
    let played = Played {
        performance,
        passages,
        aside,
    };
    let seeds = Seeds {
        kit: seed,
        playing: seed,
    };
    sound(part, &player, played, &chain, instrument, seeds, RATE_HZ)
}

/// A performance with what else is heard.
struct Played {
    performance: Performance,
    passages: Vec<TruePassage>,
    aside: Aside,
}

/// Makes a take as [`make`] does; one by a phone then goes through a codec and
/// back, where `ffmpeg` is installed.
///
/// # Panics
/// As [`make`].
pub fn make_coded(kind: Kind, instrument: Instrument, seed: u64) -> MadeTake {
    let codec = (kind == Kind::Phone).then(|| Codec::of_seed(seed));
    make_through(codec, kind, instrument, seed)
}

/// Makes a take as [`make`] does, through a codec and back, where `ffmpeg` is
/// installed.
///
/// # Panics
/// As [`make`].
pub fn make_through(
    codec: Option<Codec>,
    kind: Kind,
    instrument: Instrument,
    seed: u64,
) -> MadeTake {
    let mut take = make(kind, instrument, seed);
    if let Some(codec) = codec
        && let Some(back) = codec::through(codec, &take.samples, take.rate_hz)
    {
        take.samples = back;
        take.coded = Some(codec);
    }
    take
}

/// Where the drums and the playing are drawn from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Seeds {
    pub kit: u64,
    pub playing: u64,
}

/// Makes a take of a given part by a given player.
///
/// # Panics
/// As [`make`].
pub fn make_of(
    part: Part,
    player: &Player,
    chain: &Chain,
    instrument: Instrument,
    seeds: Seeds,
    rate_hz: u32,
) -> MadeTake {
    let played = whole_run(&part, player, chain, seeds.playing);
    sound(part, player, played, chain, instrument, seeds, rate_hz)
}

/// Plays a part from end to end.
fn whole_run(part: &Part, player: &Player, chain: &Chain, seed: u64) -> Played {
    let steady = chain.click_db.is_some();
    let performance = player::play(part, player, &mut Draw::new(seed, 20), steady);
    Played {
        passages: whole(part, &performance),
        performance,
        aside: Aside::default(),
    }
}

/// The one passage of a performance from end to end.
fn whole(part: &Part, performance: &Performance) -> Vec<TruePassage> {
    let ends = (performance.hits.first(), performance.hits.last());
    let (Some(first), Some(last)) = ends else {
        return Vec::new();
    };
    vec![TruePassage {
        from_s: first.time_s,
        to_s: last.time_s,
        notes: (0, part.notes.len() - 1),
        counted: true,
    }]
}

/// Sounds a performance and tells the truth about it.
fn sound(
    part: Part,
    player: &Player,
    played: Played,
    chain: &Chain,
    instrument: Instrument,
    seeds: Seeds,
    rate_hz: u32,
) -> MadeTake {
    let rate = f64::from(rate_hz);
    let seed = seeds.playing;
    let performance = played.performance;
    let steady = chain.click_db.is_some();
    let mut draw = Draw::new(seed, 21);
    let drawn = |_| draw.between(-player.detune_cents, player.detune_cents);
    let mut detune: Vec<f64> = part.settings().iter().map(drawn).collect();
    for (cents, &laid_down) in detune.iter_mut().zip(&player.script.detune_cents) {
        *cents = laid_down;
    }
    let wide = seeds.kit >= FIRST_JUDGING_SEED;
    let kit = Kit::draw(instrument, seeds.kit, &part, &detune, rate, wide);
    let mut dry = render::render(&part, &performance, &kit, &mut Draw::new(seed, 22), rate);
    conditions::add_aside(
        &mut dry.samples,
        &played.aside,
        &mut Draw::new(seed, 24),
        rate,
    );
    let clicks_s = if steady {
        clicks(&part, &performance)
    } else {
        Vec::new()
    };
    let (contacts, heads): (Vec<usize>, Vec<Vec<f32>>) = dry.heads.into_iter().unzip();
    let (mut samples, heads) = chain.linear(
        &dry.samples,
        &heads,
        &clicks_s,
        &mut Draw::new(seed, 23),
        rate,
    );
    let stand_out: Vec<f64> = contacts
        .iter()
        .zip(&heads)
        .map(|(&at, head)| stand_out_db(&samples, at, head, rate))
        .collect();
    let levels_db = heads.iter().map(|head| level_db(head, rate)).collect();
    chain.record(&mut samples, rate);
    let mut truth = tell(
        &part,
        &performance,
        &kit,
        &contacts,
        &stand_out,
        clicks_s,
        rate,
    );
    truth.passages = played.passages;
    MadeTake {
        part,
        samples,
        rate_hz,
        truth,
        levels_db,
        coded: None,
    }
}

/// A click on every quarter note, a bar of them first.
fn clicks(part: &Part, performance: &Performance) -> Vec<f64> {
    let beats = part
        .bars
        .last()
        .map_or(0.0, |b| quarters_f64(b.at + b.length));
    performance
        .tempo
        .iter()
        .filter(|k| k.0.fract().abs() < 1e-9 && k.0 < beats)
        .map(|k| k.1)
        .collect()
}

/// Edges of the bands in which a stroke may stand out, hertz.
const BANDS_HZ: [f64; 10] = [
    45.0, 80.0, 130.0, 200.0, 320.0, 550.0, 1000.0, 2000.0, 4000.0, 9000.0,
];

/// Energy of a stroke's own head where levels are measured, dB.
fn level_db(head: &[f32], rate_hz: f64) -> f64 {
    let size = head.len().next_power_of_two();
    let bin = rate_hz / size as f64;
    let power = dsp::power(head, |_| 1.0, size);
    let within = (50.0 / bin).ceil() as usize..=(4000.0 / bin).floor() as usize;
    10.0 * (power[within].iter().sum::<f64>() + 1e-12).log10()
}

/// How far a stroke stands out in its best band, dB.
fn stand_out_db(sum: &[f32], contact: usize, head: &[f32], rate_hz: f64) -> f64 {
    let ramp = (0.005 * rate_hz) as usize;
    let length = ((HEAD_S - 0.01) * rate_hz) as usize;
    let mut own = vec![0.0; ramp];
    own.extend(&head[..length.min(head.len())]);
    let rest: Vec<f32> = (0..own.len())
        .map(|i| {
            let place = (contact + i).checked_sub(ramp);
            place.and_then(|p| sum.get(p)).copied().unwrap_or(0.0) - own[i]
        })
        .collect();
    let count = own.len();
    let window = |i: usize| {
        let edge = (i.min(count - 1 - i) as f32 + 0.5) / ramp as f32;
        0.5 - 0.5 * (std::f32::consts::PI * edge.min(1.0)).cos()
    };
    let size = count.next_power_of_two();
    let (own, rest) = (
        dsp::power(&own, window, size),
        dsp::power(&rest, window, size),
    );
    let bin = rate_hz / size as f64;
    BANDS_HZ
        .windows(2)
        .map(|edge| {
            let span = (edge[0] / bin).ceil() as usize..=(edge[1] / bin).floor() as usize;
            let sum = |p: &[f64]| p[span.clone()].iter().sum::<f64>() + 1e-12;
            10.0 * (sum(&own) / sum(&rest)).log10()
        })
        .fold(f64::NEG_INFINITY, f64::max)
        .min(60.0)
}

fn tell(
    part: &Part,
    performance: &Performance,
    kit: &Kit,
    contacts: &[usize],
    stand_out: &[f64],
    clicks_s: Vec<f64>,
    rate_hz: f64,
) -> Truth {
    let strokes: Vec<TrueStroke> = performance
        .hits
        .iter()
        .zip(contacts.iter().zip(stand_out))
        .map(|(hit, (&contact, &stand_out_db))| TrueStroke {
            time_s: contact as f64 / rate_hz,
            note: hit.note,
            setting: hit.setting,
            level_db: hit.level_db,
            grace: hit.grace,
            in_roll: hit.in_roll,
            counted: hit.counted,
            stand_out_db,
        })
        .collect();
    let notes = (0..part.notes.len())
        .map(|index| {
            let first = strokes
                .iter()
                .find(|s| s.note == Some(index) && !s.grace && s.counted);
            TrueNote {
                fate: performance
                    .fates
                    .get(index)
                    .copied()
                    .unwrap_or(Fate::Missed),
                time_s: first.map(|s| s.time_s),
                stand_out_db: first.map(|s| s.stand_out_db),
                setting: first.map(|s| s.setting),
            }
        })
        .collect();
    let rolls = (0..part.notes.len())
        .filter(|&n| part.notes[n].roll)
        .filter_map(|note| {
            let own: Vec<f64> = strokes
                .iter()
                .filter(|s| s.note == Some(note) && s.counted)
                .map(|s| s.time_s)
                .collect();
            let (from_s, to_s) = (*own.first()?, *own.last()?);
            (own.len() > 2).then(|| TrueRoll {
                note,
                from_s,
                to_s,
                strokes_per_s: (own.len() - 1) as f64 / (to_s - from_s),
            })
        })
        .collect();
    Truth {
        strokes,
        notes,
        settings: kit.tuning.clone(),
        stops: performance
            .endings
            .iter()
            .map(|e| TrueStop {
                note: e.note,
                at_s: e.at_s,
                due_s: e.due_s,
            })
            .collect(),
        rolls,
        passages: Vec::new(),
        clicks_s,
        tempo: performance.tempo.clone(),
    }
}

/// Writes mono 16-bit WAV.
///
/// # Errors
/// When the file cannot be written.
pub fn write_wav(path: &Path, samples: &[f32], rate_hz: u32) -> Result<(), hound::Error> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate_hz,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec)?;
    for s in samples {
        writer.write_sample((s.clamp(-1.0, 1.0) * 32767.0).round() as i16)?;
    }
    writer.finalize()
}
