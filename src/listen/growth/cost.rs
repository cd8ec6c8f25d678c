//! What every delay of a stroke costs, and so how likely it is.

use super::rest::Rest;
use super::{Chances, FOLLOWED, Growth};
use crate::listen::opening::{BINS, COARSE, DELAYS, EARLIEST, Opening};
use crate::listen::residual::{PARTS, coder};
use crate::listen::rises::WEIGHT;
use std::sync::LazyLock;

/// Standard deviation of the coarse time, bins.
const COARSE_SD: f64 = 24.0;
/// From this ratio of a power to the expected one its cost grows slowly: it
/// comes from something else.
const STRAY: f32 = 6.0;
/// Delays over which what was there before is taken for equally faded.
const TOGETHER: usize = 13;
/// Delays whose costs are summed side by side.
const AT_ONCE: usize = 4;
/// How far apart delays are looked at, bins: the last steps only beside those that
/// matter.
const STEPS: [usize; 3] = [4, 2, 1];
/// A delay that costs so much more than another needs no close look, nepers for
/// each bin that the look would be away from it.
const NEGLIGIBLE: f64 = 8.0;
/// Parts in which a codec lets a stroke sound before its contact: below them it
/// is left hardly any room to.
const ECHOING: [bool; PARTS] = [false, true, true, true];
/// There a power above the expected one costs no more than this, and a neper
/// for each of its own, as of a power that nothing is known about.
const ECHO: f32 = 2.5;
/// Nepers of power in a step of the code.
const STEP: f32 = std::f32::consts::LN_10 / 20.0;

/// Differences of codes that there can be.
const DIFFERENCES: usize = 512;

/// What a power costs against the expected one, by the difference of their
/// codes plus 256; and, after these, where an echo may be.
static COSTS: LazyLock<[f32; 2 * DIFFERENCES]> = LazyLock::new(|| {
    std::array::from_fn(|d| {
        let ratio = (((d % DIFFERENCES) as f32 - 256.0) * STEP).exp();
        let usual = if ratio < STRAY {
            ratio
        } else {
            STRAY + 0.5 * STRAY * (ratio / STRAY).ln()
        };
        if d < DIFFERENCES || ratio < 1.0 {
            usual
        } else {
            usual.min(ECHO + ratio.ln())
        }
    })
});

/// The chance of each delay of a stroke of this loudness, and what the stroke
/// costs wherever it is, nepers.
pub fn chances(
    growth: &Growth,
    opening: &Opening<'_>,
    rest: &Rest<'_>,
    fresh: &[f32; PARTS],
) -> (Chances, f64) {
    let own: [bool; DELAYS] = std::array::from_fn(|i| {
        (opening.place.own.0..=opening.place.own.1).contains(&(EARLIEST + i as i32))
    });
    let mut expected = vec![Expected::default(); DELAYS / TOGETHER];
    for (group, expected) in expected.iter_mut().enumerate() {
        if own[group * TOGETHER..][..TOGETHER].contains(&true) {
            expect(growth, rest, fresh, group, expected);
        }
    }
    let mut costs = [f64::INFINITY; DELAYS];
    for apart in STEPS {
        let least = costs.iter().copied().fold(f64::INFINITY, f64::min);
        let matters = |i: usize| {
            let near = [i.checked_sub(apart), Some(i + apart)]
                .into_iter()
                .flatten();
            let near = near.filter_map(|near| costs.get(near).copied());
            near.fold(f64::INFINITY, f64::min) < least + NEGLIGIBLE * apart as f64
        };
        let chosen: [bool; DELAYS] = std::array::from_fn(|i| {
            let delay = EARLIEST + i as i32;
            let due = own[i] && delay % apart as i32 == 0 && costs[i].is_infinite();
            due && (apart == STEPS[0] || matters(i))
        });
        for i in (0..DELAYS).filter(|&i| chosen[i]) {
            let off = f64::from(EARLIEST + i as i32) / COARSE_SD;
            costs[i] = 0.5 * off * off;
        }
        add_costs(opening, &expected, &chosen, &mut costs);
    }
    of_costs(&costs)
}

/// What is expected of a stroke whose delay is one of a group.
fn expect(
    growth: &Growth,
    rest: &Rest<'_>,
    fresh: &[f32; PARTS],
    group: usize,
    expected: &mut Expected,
) {
    let mut powers = [[0.0f32; SPAN]; PARTS];
    for (part, powers) in powers.iter_mut().enumerate() {
        let (early, rest_of) = powers.split_at_mut(TOGETHER / 2);
        let (bins, late) = rest_of.split_at_mut(BINS);
        early.fill(rest.at(part, 0));
        for (bin, power) in bins.iter_mut().enumerate() {
            *power = rest.at(part, bin);
        }
        late.fill(rest.at(part, BINS - 1));
        let shares = &growth.share[part];
        let grown = &mut powers[latest(group)..];
        for (power, share) in grown.iter_mut().zip(shares) {
            *power += fresh[part] * share;
        }
        for power in grown.iter_mut().skip(FOLLOWED) {
            *power += fresh[part] * shares[FOLLOWED - 1];
        }
    }
    let code = coder();
    let mut level = [0.0; PARTS];
    for bin in 0..SPAN {
        // The running sums of the parts do not wait for each other.
        for part in 0..PARTS {
            let code = code(powers[part][bin]);
            let echo = growth.echoes && ECHOING[part] && bin < latest(group);
            let first = if echo { DIFFERENCES } else { 0 };
            expected.from[part][bin] = (first + 256) as u16 - u16::from(code);
            level[part] += f32::from(code) * STEP;
            expected.level[part][bin + 1] = level[part];
        }
    }
}

/// What is expected of a stroke, by part and bin from its contact. The first
/// bin stands for the earliest one of the latest delay of a group.
#[derive(Clone, Copy)]
struct Expected {
    /// Where in [`COSTS`] a code of 0 is found.
    from: [[u16; SPAN]; PARTS],
    /// Running sums of the codes before each bin, nepers.
    level: [[f32; SPAN + 1]; PARTS],
}

impl Default for Expected {
    fn default() -> Self {
        Self {
            from: [[0; SPAN]; PARTS],
            level: [[0.0; SPAN + 1]; PARTS],
        }
    }
}

/// Bins that a group of delays looks at.
const SPAN: usize = BINS + TOGETHER - 1;

/// The bin of the contact at the latest delay of a group.
fn latest(group: usize) -> usize {
    (COARSE + EARLIEST) as usize + (group + 1) * TOGETHER - 1
}

/// Adds what the chosen delays cost.
fn add_costs(
    opening: &Opening<'_>,
    expected: &[Expected],
    chosen: &[bool; DELAYS],
    costs: &mut [f64; DELAYS],
) {
    let groups = chosen.chunks(TOGETHER).zip(costs.chunks_mut(TOGETHER));
    for ((chosen, costs), expected) in groups.zip(expected) {
        let places: Vec<usize> = (0..TOGETHER).filter(|&i| chosen[i]).collect();
        for part in 0..PARTS {
            let (costs_from, level) = (&expected.from[part], &expected.level[part]);
            for places in places.chunks(AT_ONCE) {
                let last = places[places.len() - 1];
                let from: [usize; AT_ONCE] =
                    std::array::from_fn(|k| TOGETHER - 1 - places.get(k).unwrap_or(&last));
                let fits = fits(opening.codes[part], from.map(|f| &costs_from[f..f + BINS]));
                for ((&place, from), fit) in places.iter().zip(from).zip(fits) {
                    let cost = fit + level[from + BINS] - level[from];
                    costs[place] += WEIGHT[part] * f64::from(cost);
                }
            }
        }
    }
}

/// What some powers cost against each of several rows of expected ones, which
/// say where in [`COSTS`] they are found.
fn fits(codes: &[u8], expected: [&[u16]; AT_ONCE]) -> [f32; AT_ONCE] {
    let table = &*COSTS;
    let [a, b, c, d] = expected;
    let mut sums = [0.0; AT_ONCE];
    for ((((&is, &a), &b), &c), &d) in codes.iter().zip(a).zip(b).zip(c).zip(d) {
        let is = usize::from(is);
        for (sum, should) in sums.iter_mut().zip([a, b, c, d]) {
            *sum += table[is + usize::from(should)];
        }
    }
    sums
}

/// The chance of each delay from what it costs, nepers, and what all of them
/// cost together.
fn of_costs(costs: &[f64; DELAYS]) -> (Chances, f64) {
    let least = costs.iter().copied().fold(f64::INFINITY, f64::min);
    let chances = costs.map(|cost| (least - cost).exp());
    let sum: f64 = chances.iter().sum();
    (chances.map(|c| (c / sum) as f32), least - sum.ln())
}
