//! How much every frame sounds like the contact of a stroke inside a roll.

use crate::listen::BANDS;

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
/// From the sum of the bands and what it lacks to the highest one around to
/// the natural log of how much likelier a stroke makes it. Fitted by logistic
/// regression on the rolls of tuning seeds 0 to 11 of four kinds, a third of
/// the frames of each stroke given to its contact alone; rounded.
const CONSTANT: f64 = 0.45;
const HEIGHT: f64 = 0.113;
const LACK: f64 = 0.181;
/// No frame says more than this, nats.
const MOST: f64 = 6.0;

/// How much each frame from `first` up to before `last` sounds like the
/// contact of a stroke inside a roll, nats. Every band is compared with itself
/// a little before and after, in units of its own scatter there: a roll in a
/// room, soft or loud, then looks much the same. `None`: no such frames.
pub fn evidence(levels_db: &[[f32; BANDS]], first: usize, last: usize) -> Option<Vec<f64>> {
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
    let rise: Vec<f64> = (from..to)
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
            f64::from(sum)
        })
        .collect();
    let nats = (first..last)
        .map(|place| {
            let here = place - from;
            let rivals = here.saturating_sub(RIVALS)..(here + RIVALS + 1).min(rise.len());
            let highest = rise[rivals].iter().copied().fold(f64::MIN, f64::max);
            let nats = CONSTANT + HEIGHT * rise[here] + LACK * (rise[here] - highest);
            nats.clamp(-MOST, MOST)
        })
        .collect();
    Some(nats)
}
