//! The ways in which the strokes of a take grow.
//!
//! On a drum at rest a stroke sounds at once. On one that rings the prediction
//! foretells most of what the stroke adds to the same partials; in a room and
//! through a phone its first milliseconds then stand up to ten decibels and more
//! below a second rise, a strong reflection, and each stroke by itself is best
//! placed there. The mean over all strokes of that kind shows the weak beginning.
//! How weak it is differs from stroke to stroke: several ways are learned side by
//! side, each with the share of the strokes that grow so.
//!
//! A lossy codec lets something of a stroke sound before it, up to the length of
//! its blocks: an echo that looks like a weak beginning, but is longer before
//! one stroke than before another, and mostly high.

use super::{Chances, FOLLOWED, Growth, Placed, TRUST, most};
use crate::listen::opening::{DELAYS, Opening, some};
use crate::listen::residual::PARTS;

/// Beginnings that a growth is tried with before it is learned once more: bins,
/// and their power against the mean of what follows. Strokes that are all picked
/// at a second rise do not show the first by themselves; which beginning is right
/// shows once strokes may begin more strongly or more weakly than it.
const BEGINNINGS: [(usize, f32); 3] = [(22, 0.4), (28, 0.2), (28, 0.5)];
/// How many of the strokes are looked at to find out how they begin.
const SEARCHED: usize = 50;
/// Bins over which strokes begin more or less weakly, 11 ms, and how strongly
/// against the mean of them.
const BEGINNING: usize = 22;
const STRENGTHS: [f32; 2] = [2.0, 0.5];
/// Below such a power, against the mean of what follows, nothing sounds yet.
const SILENT: f32 = 0.05;
/// Two ways must describe strokes so much better than one, nepers a stroke.
const BETTER: f64 = 2.0;
/// Rounds of learning several ways.
const ROUNDS: usize = 2;
/// An echo is believed in where strokes are described so much better with one,
/// nepers a stroke.
const LIKELIER: f64 = 3.5;
/// Two ways to grow describe strokes that echo better than those that do not, by
/// so many nepers a stroke; allowed for where the recording is coded.
const FLATTERED: f64 = 3.4;
/// Close by, the high parts of a stroke are strongest soon after its contact; in a
/// room and through a phone what comes later is stronger, and beginnings are weak
/// without an echo. Each decibel by which these bins of those parts stand out,
/// beyond so many, counts for so many nepers a stroke of what the sound says of an
/// echo.
const SOON: std::ops::Range<usize> = 6..14;
const HIGH: std::ops::Range<usize> = 2..PARTS;
const CLOSE_FROM_DB: f64 = 1.0;
const CLOSE: f64 = 8.0;
/// Once it is known how steady strokes come out, each neper by which they are
/// steadier with an echo counts for so many nepers a stroke; where the sound says
/// less than the second, it has decided against one. They must be steadier by as
/// much as the last, unless the recording is coded.
const STEADY: f64 = 50.0;
const OPEN: f64 = -8.6;
const STEADIER: f64 = 0.03;

/// The ways in which strokes grow.
#[derive(Clone, Debug)]
pub struct Ways(Vec<Way>);

/// One of them.
#[derive(Clone, Debug)]
struct Way {
    growth: Growth,
    /// How many of the strokes grow so.
    share: f64,
}

impl Default for Ways {
    fn default() -> Self {
        Self::once(Growth::default())
    }
}

/// How the strokes of a take may grow: without an echo of a codec before them, or
/// with one.
#[derive(Clone, Debug, Default)]
pub struct Grown {
    /// Whether the codec of the recording is one that lets strokes echo.
    coded: bool,
    pub plain: Ways,
    pub echoing: Ways,
    /// How much better strokes are described with one, nepers a stroke.
    gained: f64,
}

impl Grown {
    /// Learned from the clear strokes of a take, which is `coded` with a codec
    /// that lets strokes echo, or may be.
    pub fn of_take(openings: &[Opening<'_>], coded: bool) -> Self {
        let searched = some(openings, SEARCHED);
        let (plain, echoing) = (Ways::of(openings, false), Ways::of(openings, true));
        let gained = |o| plain.cost(o) - echoing.cost(o);
        let gained: f64 = searched.iter().map(gained).sum();
        Self {
            coded,
            plain,
            echoing,
            gained: gained / searched.len().max(1) as f64,
        }
    }

    /// What the sound alone makes likelier. Where the recording does not say that it
    /// is coded, only what describes the strokes better counts: most have no echo,
    /// however close they are.
    pub fn likelier(&self) -> &Ways {
        let told = if self.coded { self.told() } else { self.gained };
        if told > LIKELIER {
            &self.echoing
        } else {
            &self.plain
        }
    }

    /// Whether how steady strokes come out may speak for an echo loudly enough.
    pub fn may_echo(&self) -> bool {
        self.told() > OPEN
    }

    /// Whether there is an echo, if strokes come out so much steadier with one,
    /// nepers; not a number where nobody knows.
    pub fn echoes(&self, steadier: f64) -> bool {
        let steadier = if steadier.is_nan() { 0.0 } else { steadier };
        (self.coded || steadier > STEADIER) && self.told() + STEADY * steadier > 0.0
    }

    /// What the sound says for an echo, nepers a stroke.
    fn told(&self) -> f64 {
        let expected = match (self.plain.differ(), self.coded) {
            (true, true) => FLATTERED,
            (true, false) => 0.0,
            (false, _) => -LIKELIER,
        };
        let close_db = (self.plain.close_db() - CLOSE_FROM_DB).max(0.0);
        self.gained + expected + CLOSE * close_db
    }
}

impl Ways {
    /// Learned from some strokes of a take, with the echo of a codec before them or
    /// without.
    fn of(openings: &[Opening<'_>], echoes: bool) -> Self {
        let expected = Growth::expected(openings);
        if echoes {
            return Self::once(expected.echoing().learn(openings));
        }
        let once = expected.learn(openings);
        let searched = some(openings, SEARCHED);
        let cost = |ways: &Self| searched.iter().map(|o| ways.cost(o)).sum::<f64>();
        let two = once.begun(&searched).into_iter().map(|begun| {
            // Twice, so that nothing is left of what they began with.
            let two = Self::two(&begun).settle(&searched, ROUNDS);
            let two = two.settle(&searched, ROUNDS).without_silence();
            (cost(&two), two)
        });
        let two = two.min_by(|a, b| a.0.total_cmp(&b.0));
        let once = Self::once(once);
        match two {
            Some((least, two)) if cost(&once) - least > BETTER * searched.len() as f64 => {
                two.settle(openings, ROUNDS)
            }
            _ => once,
        }
    }

    /// Learned from other strokes of the same take.
    #[must_use]
    pub fn again(&self, openings: &[Opening<'_>]) -> Self {
        if self.differ() {
            self.settle(openings, ROUNDS)
        } else {
            Self::of(openings, self.0[0].growth.echoes)
        }
    }

    /// Whether strokes grow in several ways.
    fn differ(&self) -> bool {
        self.0.len() > 1
    }

    /// By how much the high parts stand out soon after a contact, against what
    /// follows, dB on average.
    fn close_db(&self) -> f64 {
        let mean_db = |share: &[f32; FOLLOWED]| {
            let soon = share[SOON].iter().sum::<f32>() / SOON.len() as f32;
            10.0 * f64::from(soon).log10()
        };
        let of_way = |way: &Way| {
            let high = way.growth.share[HIGH].iter().map(mean_db);
            way.share * high.sum::<f64>() / HIGH.len() as f64
        };
        self.0.iter().map(of_way).sum()
    }

    fn once(growth: Growth) -> Self {
        Self(vec![Way { growth, share: 1.0 }])
    }

    /// As a growth that begins more strongly or more weakly.
    fn two(growth: &Growth) -> Self {
        let way = |strength| Way {
            growth: growth.beginning_at(strength),
            share: 1.0 / STRENGTHS.len() as f64,
        };
        Self(STRENGTHS.map(way).into())
    }

    /// Learned from strokes of one drum, beginning with the ways of its take.
    #[must_use]
    pub fn learn(&self, openings: &[Opening<'_>]) -> Self {
        if self.differ() {
            self.settle(openings, ROUNDS)
        } else {
            Self::once(self.0[0].growth.learn(openings))
        }
    }

    /// Places the contact of one stroke.
    pub fn place(&self, opening: &Opening<'_>) -> Placed {
        let (chances, weakly) = self.chances(opening);
        Placed::of(opening, &chances, weakly)
    }

    /// The chance of each delay of a stroke, and that it begins weakly.
    pub fn chances(&self, opening: &Opening<'_>) -> ([f64; DELAYS], f64) {
        let ways = self.look(opening).ways;
        let chance = |i: usize| ways.iter().map(|(_, c)| f64::from(c[i])).sum();
        (std::array::from_fn(chance), 1.0 - ways[0].0)
    }

    /// From where any of them sounds: silence at the beginning says nothing of
    /// where a contact is, and would only place all of them early.
    fn without_silence(mut self) -> Self {
        let silent = |bin: &usize| {
            let mut shares = self.0.iter().flat_map(|way| &way.growth.share);
            shares.all(|part| part[*bin] < SILENT)
        };
        let bins = (0..FOLLOWED).take_while(silent).count();
        for way in &mut self.0 {
            way.growth.without(bins);
        }
        self
    }

    /// Learns all ways from strokes, with these as a few strokes more.
    fn settle(&self, openings: &[Opening<'_>], rounds: usize) -> Self {
        let mut ways = self.clone();
        let mut found: Vec<Look> = openings.iter().map(|o| self.look(o)).collect();
        let trust = f64::from(TRUST);
        for round in 1..=rounds {
            let learned = self.0.iter().enumerate().map(|(i, prior)| {
                let each = found.iter().map(|look| &look.ways[i]);
                let (chance, each): (Vec<f64>, Vec<Chances>) = each.copied().unzip();
                Way {
                    growth: prior.growth.with(openings, &each),
                    share: (trust * prior.share + chance.iter().sum::<f64>())
                        / (trust + openings.len() as f64),
                }
            });
            ways = Self(learned.collect());
            if round < rounds {
                for (opening, found) in openings.iter().zip(&mut found) {
                    *found = ways.look_from(opening, found);
                }
            }
        }
        ways
    }

    /// What a stroke costs one way or another, nepers.
    fn cost(&self, opening: &Opening<'_>) -> f64 {
        self.look(opening).cost
    }

    /// How likely each way and delay of a stroke is.
    fn look(&self, opening: &Opening<'_>) -> Look {
        Look::of(self, |way, _| way.growth.find(opening))
    }

    /// The same of a stroke that lay where it was last seen.
    fn look_from(&self, opening: &Opening<'_>, last: &Look) -> Look {
        Look::of(self, |way, i| {
            way.growth.chances(opening, most(&last.ways[i].1))
        })
    }
}

/// What one stroke shows of how it grows.
struct Look {
    /// The chance that it grows in each way, with the chances of every delay then,
    /// which sum up to it.
    ways: Vec<(f64, Chances)>,
    /// What it costs, nepers.
    cost: f64,
}

impl Look {
    /// From the chances of every delay of a stroke that grows in one way, and what
    /// it costs then.
    fn of(ways: &Ways, found: impl Fn(&Way, usize) -> (Chances, f64)) -> Self {
        let found = ways.0.iter().enumerate().map(|(i, way)| {
            let (chances, cost) = found(way, i);
            (cost - way.share.ln(), chances)
        });
        let mut found: Vec<(f64, Chances)> = found.collect();
        let least = found.iter().map(|f| f.0).fold(f64::INFINITY, f64::min);
        let sum: f64 = found.iter().map(|f| (least - f.0).exp()).sum();
        for (of_way, chances) in &mut found {
            *of_way = (least - *of_way).exp() / sum;
            for chance in chances {
                *chance *= *of_way as f32;
            }
        }
        Self {
            ways: found,
            cost: least - sum.ln(),
        }
    }
}

impl Growth {
    /// This growth, and what is learned once more from strokes with each of
    /// [`BEGINNINGS`].
    fn begun(&self, openings: &[Opening<'_>]) -> Vec<Self> {
        let begun = BEGINNINGS.iter().map(|&(bins, weak)| {
            let begun = self.with_beginning(bins, weak);
            begun.learn_again(openings)
        });
        std::iter::once(self.clone()).chain(begun).collect()
    }

    /// With a weak beginning of so many bins before its own.
    fn with_beginning(&self, bins: usize, weak: f32) -> Self {
        let mut growth = self.clone();
        for (new, old) in growth.share.iter_mut().zip(&self.share) {
            new[..bins].fill(weak);
            new[bins..].copy_from_slice(&old[..FOLLOWED - bins]);
        }
        growth.level();
        growth
    }

    /// Without so many bins at its beginning.
    fn without(&mut self, bins: usize) {
        for part in &mut self.share {
            let last = part[FOLLOWED - 1];
            part.rotate_left(bins);
            part[FOLLOWED - bins..].fill(last);
        }
        self.level();
    }

    /// With its beginning of such strength against its own.
    fn beginning_at(&self, strength: f32) -> Self {
        let mut growth = self.clone();
        for share in growth
            .share
            .iter_mut()
            .flat_map(|part| &mut part[..BEGINNING])
        {
            *share *= strength;
        }
        growth.level();
        growth
    }
}

#[cfg(test)]
mod tests {
    use super::super::COARSE;
    use super::super::tests::{Draw, Strokes, openings};
    use super::*;
    use crate::listen::residual::BIN;

    /// Strokes that sound 12 dB below what they grow to `weak` bins later, just
    /// above what was there before, every fourth of them 4 dB below it; each is
    /// picked where it is loud. With the true delay of each.
    fn strokes(count: usize, weak: i32) -> (Strokes, Vec<i32>) {
        let mut draw = Draw(5);
        let mut strokes = Strokes::default();
        let delays = (0..count)
            .map(|stroke| {
                let loud_at = (draw.next() * 10.0) as i32;
                let beginning = if stroke % 4 == 0 { 0.4 } else { 0.06 };
                strokes.add(loud_at, |bin| {
                    let fresh = match bin as i32 - COARSE - loud_at + weak {
                        ..0 => 0.0,
                        since if since < weak => beginning,
                        _ => 1.0,
                    };
                    std::array::from_fn(|_| 1e-4 * (0.08 * draw.power() + fresh * draw.power()))
                });
                loud_at - weak
            })
            .collect();
        (strokes, delays)
    }

    #[test]
    fn strokes_that_begin_weakly_are_placed_where_they_begin() {
        let (strokes, delays) = strokes(80, 22);
        let residual = strokes.residual();
        let openings = openings(&residual, &strokes);
        let ways = Grown::of_take(&openings, false).likelier().clone();
        let off_ms = |ways: &Ways| -> Vec<f64> {
            let pairs = openings.iter().zip(&delays);
            pairs
                .map(|(o, &delay)| {
                    let at = o.coarse() as f64 + f64::from(delay) * BIN as f64;
                    (ways.place(o).at - at) / 16.0
                })
                .collect()
        };
        let far = |off: &[f64]| off.iter().filter(|ms| ms.abs() > 3.0).count();
        let alone = Ways::once(Growth::expected(&openings).learn(&openings));
        assert!(far(&off_ms(&ways)) < 8, "{:?}", off_ms(&ways));
        assert!(far(&off_ms(&alone)) > 50, "{:?}", off_ms(&alone));
        let strong = openings.iter().step_by(4);
        let told = strong.filter(|o| ways.place(o).weakly < 0.5).count();
        assert!(told > 13, "{told}");
    }

    #[test]
    fn strokes_that_sound_at_once_are_not_taken_for_others() {
        let (strokes, _) = strokes(80, 0);
        let residual = strokes.residual();
        let openings = openings(&residual, &strokes);
        let ways = Grown::of_take(&openings, false).likelier().clone();
        assert!(!ways.differ() && !ways.0[0].growth.echoes);
    }

    /// A take whose strokes grow far away, so that closeness says nothing.
    fn far_away(coded: bool, gained: f64) -> Grown {
        let mut growth = Growth::default();
        for part in &mut growth.share[HIGH] {
            part[SOON].fill(0.1);
        }
        Grown {
            coded,
            gained,
            plain: Ways::two(&growth),
            ..Grown::default()
        }
    }

    #[test]
    fn a_recording_that_does_not_say_that_it_is_coded_must_come_out_steadier_with_an_echo() {
        assert!(far_away(true, -3.0).echoes(0.0) && !far_away(true, -4.0).echoes(0.0));
        assert!(far_away(true, -4.0).echoes(0.02) && far_away(false, -1.0).echoes(0.04));
        assert!(!far_away(false, 8.0).echoes(0.02) && !far_away(false, -3.0).echoes(0.04));
        assert!(!far_away(true, 1.0).echoes(-0.2) && !far_away(true, -20.0).may_echo());
        // Too few strokes follow one another to tell how steady they are.
        assert!(far_away(true, 8.0).echoes(f64::NAN) && !far_away(false, 8.0).echoes(f64::NAN));
    }

    #[test]
    fn what_sounds_before_strokes_that_begin_bright_is_an_echo_rather() {
        let far = far_away(true, -20.0);
        let close = Grown {
            plain: Ways::two(&Growth::default()),
            ..far.clone()
        };
        assert!(close.plain.close_db() > 3.0 && far.plain.close_db() < 0.0);
        assert!(close.echoes(0.0) && !far.echoes(0.0));
    }

    #[test]
    fn what_a_codec_lets_sound_before_strokes_is_not_taken_for_them() {
        let mut draw = Draw(11);
        let mut strokes = Strokes::default();
        let delays: Vec<i32> = (0..80)
            .map(|_| {
                let delay = (draw.next() * 10.0) as i32;
                let echo = (draw.next() * 50.0) as i32;
                let echo_db = -10.0 - 10.0 * draw.next();
                strokes.add(delay - echo, |bin| {
                    let since = bin as i32 - COARSE - delay;
                    std::array::from_fn(|part| {
                        let fresh = match since {
                            0..10 if part > 0 => 4.0,
                            0.. => 1.0,
                            _ if part > 1 && since >= -echo => 10f32.powf(echo_db / 10.0),
                            _ => 0.0,
                        };
                        1e-4 * (0.001 * draw.power() + fresh * draw.power())
                    })
                });
                delay
            })
            .collect();
        let residual = strokes.residual();
        let openings = openings(&residual, &strokes);
        let far = |ways: &Ways| {
            let pairs = openings.iter().zip(&delays);
            pairs
                .filter(|&(o, &delay)| {
                    let at = o.coarse() as f64 + f64::from(delay) * BIN as f64;
                    (ways.place(o).at - at).abs() > 16.0 * 3.0
                })
                .count()
        };
        let grown = Grown::of_take(&openings, false);
        let (likelier, other) = (grown.likelier(), &grown.plain);
        assert!(likelier.0[0].growth.echoes && !other.0[0].growth.echoes);
        assert!(
            far(likelier) < 4 && far(other) > 30,
            "{} and {}",
            far(likelier),
            far(other)
        );
    }
}
