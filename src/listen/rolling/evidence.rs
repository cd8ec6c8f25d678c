//! How much every frame sounds like the contact of a stroke inside a roll.

use crate::listen::logistic::Logistic;
use crate::listen::residual::{BIN_S, Residual};
use crate::listen::rises::Scale;
use crate::listen::{BANDS, Bands};
use std::sync::LazyLock;

/// What each sign says; the order of the weights file. `bands` is the rise of
/// the band levels, `quick` and `plain` those of the residual in a quick look and
/// in a usual one; `behind` is what each lacks to the highest one around.
pub const SIGN_NAMES: [&str; 7] = [
    "constant",
    "bands",
    "bands_behind",
    "quick",
    "quick_behind",
    "plain",
    "plain_behind",
];

/// The signs of one frame.
pub type Signs = [f32; SIGN_NAMES.len()];

static MODEL: LazyLock<Logistic<{ SIGN_NAMES.len() }>> =
    LazyLock::new(|| Logistic::read(&SIGN_NAMES, include_str!("../rolls.csv")));

/// Frames on either side over which a level is compared with its surroundings:
/// 80 ms, about the distance of two strokes.
const AROUND: usize = 16;
/// Levels scatter by this much at least, dB.
const LEAST_DB: f32 = 0.5;
/// Frames averaged before and after a moment.
const BEFORE: [usize; 3] = [1, 2, 3];
const AFTER: [usize; 5] = [2, 3, 4, 5, 6];
/// A band says no more than this, in units of its scatter: a click that
/// covers a band must not shout the others down.
const LOUDEST: f32 = 1.5;
/// Frames on either side in which a rise competes with others.
const RIVALS: usize = 6;
/// Bins from a frame at which the residual is looked at, and nepers beyond which
/// a look says no more.
const OFFSETS: [i64; 3] = [-3, 0, 3];
const MOST_GAIN: [f32; 2] = [16.0, 25.0];
/// No frame says more than this, nats.
const MOST: f64 = 6.0;

/// How much each frame from `first` up to before `last` sounds like the
/// contact of a stroke inside a roll, nats. `None`: no such frames.
pub fn evidence(bands: &Bands, residual: &Residual, first: usize, last: usize) -> Option<Vec<f64>> {
    let nats = |signs: &Signs| MODEL.log_odds(signs).clamp(-MOST, MOST);
    Some(
        signs(bands, residual, first, last)?
            .iter()
            .map(nats)
            .collect(),
    )
}

/// The signs of each frame from `first` up to before `last`. Every band is
/// compared with itself a little before and after, in units of its own scatter
/// there: a roll in a room, soft or loud, then looks much the same. `None`: no
/// such frames.
pub fn signs(bands: &Bands, residual: &Residual, first: usize, last: usize) -> Option<Vec<Signs>> {
    let levels_db = &bands.level_db;
    if first >= last || last > levels_db.len() {
        return None;
    }
    let reach = AROUND + RIVALS;
    let from = first.saturating_sub(reach);
    let to = (last + reach).min(levels_db.len());
    let level = |place: usize| levels_db[place.min(levels_db.len() - 1)];
    let around = |place: usize| place.saturating_sub(AROUND)..=place + AROUND;
    let count = (2 * AROUND + 1) as f32;
    let mean = |place: usize| -> [f32; BANDS] {
        let mut sum = [0.0; BANDS];
        let here = around(place);
        let length = (here.end() - here.start() + 1) as f32;
        for l in here.map(level) {
            (0..BANDS).for_each(|b| sum[b] += l[b] / length);
        }
        sum
    };
    // Levels about their own surroundings.
    let begin = from.saturating_sub(AROUND);
    let loose: Vec<[f32; BANDS]> = (begin..to + AROUND)
        .map(|place| {
            let (own, middle) = (level(place), mean(place));
            std::array::from_fn(|b| own[b] - middle[b])
        })
        .collect();
    let rise: Vec<f32> = (from..to)
        .map(|place| {
            let mut sum = 0.0;
            for b in 0..BANDS {
                let square: f32 = around(place)
                    .map(|k| loose[k.saturating_sub(begin).min(loose.len() - 1)][b].powi(2))
                    .sum();
                let scatter = (square / count + LEAST_DB * LEAST_DB).sqrt();
                let after = AFTER.iter().map(|k| level(place + k)[b]).sum::<f32>();
                let before = BEFORE
                    .iter()
                    .map(|&k| level(place.saturating_sub(k))[b])
                    .sum::<f32>();
                let step = after / AFTER.len() as f32 - before / BEFORE.len() as f32;
                sum += (step / scatter).clamp(-LOUDEST, LOUDEST);
            }
            sum
        })
        .collect();
    let scale = Scale::of(residual);
    let last_bin = residual.bins().saturating_sub(1) as i64;
    // Square roots: the scatter of a gain grows with it.
    let looks: Vec<[f32; 2]> = (from..to)
        .map(|place| {
            let bin = (place as f64 * bands.hop_s / BIN_S).round() as i64;
            let at = |offset: i64| scale.looks((bin + offset).clamp(0, last_bin) as usize);
            let each = OFFSETS.map(at);
            std::array::from_fn(|look| {
                let best = each.iter().map(|gains| gains[look]).fold(0.0, f32::max);
                best.min(MOST_GAIN[look]).sqrt()
            })
        })
        .collect();
    let signs = (first - from..last - from)
        .map(|here| {
            let rivals = here.saturating_sub(RIVALS)..(here + RIVALS + 1).min(rise.len());
            let behind = |of: &dyn Fn(usize) -> f32| {
                of(here) - rivals.clone().map(of).fold(f32::MIN, f32::max)
            };
            let [quick, plain] = [0, 1].map(|look| {
                let of = |place: usize| looks[place][look];
                [of(here), behind(&of)]
            });
            let bands = [rise[here], behind(&|place| rise[place])];
            [
                1.0, bands[0], bands[1], quick[0], quick[1], plain[0], plain[1],
            ]
        })
        .collect();
    Some(signs)
}
