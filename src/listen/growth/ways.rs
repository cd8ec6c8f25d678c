//! Two ways in which the strokes of a take grow.
//!
//! On a drum at rest a stroke sounds at once. On one that rings the prediction
//! foretells most of what the stroke adds to the same partials; in a room and
//! through a phone its first milliseconds then stand ten decibels and more
//! below a second rise, a strong reflection, and each stroke by itself is best
//! placed there. The mean over all strokes of that kind shows the weak
//! beginning. In some takes every stroke begins weakly, those that seem to sound
//! at once too.
//!
//! A lossy codec lets something of a stroke sound before it, up to the length of
//! its blocks: an echo that looks like a weak beginning, but is longer before
//! one stroke than before another, and mostly high.

use super::{Chances, FOLLOWED, Growth, PARTS, Placed, ROUNDS, TRUST, most};
use crate::listen::opening::{DELAYS, EARLIEST, LATEST, Opening, some};
use crate::listen::residual::BIN;

/// Weak beginnings that are tried, bins, 7 to 16 ms, and their power against
/// the mean of what follows.
const HIDDEN: [usize; 4] = [14, 20, 26, 32];
const WEAK: f32 = 0.1;
/// How many of the strokes are looked at to find a weak beginning. At first sight
/// it must describe them better than one way does, by so many nepers a stroke;
/// it is then learned in so many rounds.
const SEARCHED: usize = 50;
const PROMISING: f64 = 0.25;
const SEARCH_ROUNDS: usize = 3;
/// Rounds of learning from strokes of one drum, where two ways are known.
const ROUNDS_AGAIN: usize = 2;
/// A weak beginning may turn out to be shorter by up to so many bins: first in
/// long steps, then in short ones.
const SHORTER: usize = 30;
const STEP: usize = 5;
/// An echo is believed in where strokes are described so much better with one,
/// nepers a stroke, before the part is known; where some would else begin weakly,
/// which an echo can seem to be, so much.
const LIKELIER: f64 = 3.5;
const LIKELIER_THAN_WEAK: f64 = 1.0;
/// Once it is known how steady strokes come out, they must also be so much
/// steadier with an echo, nepers, unless the recording is coded. Where some would
/// else begin weakly, each neper counts for so many nepers a stroke of what the
/// sound says; where that is less than this, it has decided against an echo.
const STEADIER: f64 = 0.03;
const SOUND: f64 = 50.0;
const OPEN: f64 = -8.0;
/// So much better than one way two must describe the strokes, nepers a stroke;
/// and as many strokes must begin weakly, for as many bins.
const BETTER: f64 = 1.5;
const OFTEN: f64 = 0.25;
const LONG: usize = 10;

/// The ways in which strokes grow.
#[derive(Clone, Debug, Default)]
pub struct Ways {
    at_once: Growth,
    weakly: Option<Weakly>,
}

/// How strokes grow that begin weakly.
#[derive(Clone, Debug)]
struct Weakly {
    growth: Growth,
    /// How many of the strokes do.
    share: f64,
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
        let expected = Growth::expected(openings);
        let echoing = Ways::once(expected.clone().echoing().learn(openings));
        let mut plain = Ways::once(expected.learn(openings));
        if let Some(weakly) = plain.search(&expected, &searched) {
            let prior = Ways::both(expected, weakly.clone());
            plain = Ways::both(plain.at_once, weakly).settle(&prior, openings, ROUNDS);
        }
        let gained = |o| plain.cost(o) - echoing.cost(o);
        let gained: f64 = searched.iter().map(gained).sum();
        Self {
            coded,
            plain,
            echoing,
            gained: gained / searched.len().max(1) as f64,
        }
    }

    /// What the sound alone makes likelier.
    pub fn likelier(&self) -> &Ways {
        let least = match self.plain.weakly {
            Some(_) => LIKELIER_THAN_WEAK,
            None => LIKELIER,
        };
        if self.gained > least {
            &self.echoing
        } else {
            &self.plain
        }
    }

    /// Whether there is an echo, if that does not depend on how steady strokes
    /// come out.
    pub fn echoes_anyway(&self) -> Option<bool> {
        let (least, decides) = match self.plain.weakly {
            Some(_) => (OPEN, false),
            None => (LIKELIER, self.coded),
        };
        if self.gained > least {
            decides.then_some(true)
        } else {
            Some(false)
        }
    }

    /// Whether there is an echo, if strokes come out so much steadier with one,
    /// nepers, where that decides.
    pub fn echoes(&self, steadier: f64) -> bool {
        match self.plain.weakly {
            Some(_) => self.gained + SOUND * steadier > 0.0,
            None => steadier > STEADIER,
        }
    }
}

impl Ways {
    /// Learned from other strokes of the same take: as if all sounded at once,
    /// and, where some strokes of the take begin weakly, in both ways, and as if
    /// all began so.
    pub fn of_others(&self, openings: &[Opening<'_>]) -> Vec<Self> {
        let mut expected = Growth::expected(openings);
        expected.echoes = self.at_once.echoes;
        let once = Self::once(expected.learn(openings));
        let Some(weakly) = &self.weakly else {
            return vec![once];
        };
        let prior = Self::both(expected, weakly.clone());
        let two = Self::both(once.at_once.clone(), weakly.clone());
        let two = two.settle(&prior, openings, ROUNDS);
        let all = two.weakly.as_ref().map(|w| w.growth.learn_again(openings));
        let mut ways = vec![once, two];
        ways.extend(all.map(Self::once));
        ways
    }

    /// What a stroke costs one way or the other, nepers.
    fn cost(&self, opening: &Opening<'_>) -> f64 {
        let once = self.at_once.find(opening).1;
        let weakly = self.weakly.as_ref();
        weakly.map_or(once, |w| either(once, w.growth.find(opening).1, w.share).1)
    }

    fn once(at_once: Growth) -> Self {
        Self {
            at_once,
            weakly: None,
        }
    }

    fn both(at_once: Growth, weakly: Weakly) -> Self {
        Self {
            at_once,
            weakly: Some(weakly),
        }
    }

    /// How strokes grow that begin weakly, where enough of these do; the others
    /// grow like this.
    fn search(&self, expected: &Growth, openings: &[Opening<'_>]) -> Option<Weakly> {
        let count = openings.len() as f64;
        let once: Vec<f64> = openings.iter().map(|o| self.at_once.find(o).1).collect();
        let alone: f64 = once.iter().sum();
        let begun = |&hidden: &usize| {
            let weakly = Weakly {
                growth: self.at_once.with_beginning(hidden, WEAK),
                share: 0.5,
            };
            let each = openings.iter().zip(&once);
            let cost: f64 = each
                .map(|(o, &once)| either(once, weakly.growth.find(o).1, weakly.share).1)
                .sum();
            (alone - cost > PROMISING * count).then_some((hidden, weakly))
        };
        let learned = |(hidden, weakly): (usize, Weakly)| {
            let prior = Self::both(expected.clone(), weakly.clone());
            let two = Self::both(self.at_once.clone(), weakly);
            let two = two.settle(&prior, openings, SEARCH_ROUNDS);
            let (cost, shorter, weakly) = two.shorter(openings)?;
            Some((cost, hidden.saturating_sub(shorter), weakly))
        };
        let enough = |&(cost, hidden, ref weakly): &(f64, usize, Weakly)| {
            alone - cost > BETTER * count && weakly.share > OFTEN && hidden >= LONG
        };
        let found = HIDDEN.iter().filter_map(begun).filter_map(learned);
        let found = found.filter(enough);
        let best = found.min_by(|a, b| a.0.total_cmp(&b.0));
        best.map(|(_, _, weakly)| weakly)
    }

    /// Learned from strokes of one drum, beginning with the ways of its take.
    #[must_use]
    pub fn learn(&self, openings: &[Opening<'_>]) -> Self {
        if self.weakly.is_some() {
            return self.clone().settle(self, openings, ROUNDS_AGAIN);
        }
        Self::once(self.at_once.learn(openings))
    }

    /// Places the contact of one stroke.
    pub fn place(&self, opening: &Opening<'_>) -> Placed {
        let (weakly, [once, weak]) = self.look(opening);
        let (mut sum, mut mean, mut square) = (0.0, 0.0, 0.0);
        for (i, (&once, &weak)) in once.iter().zip(&weak).enumerate() {
            let chance = f64::from(once + weak);
            let delay = f64::from(EARLIEST + i as i32);
            sum += chance;
            mean += chance * delay;
            square += chance * delay * delay;
        }
        mean /= sum;
        Placed {
            at: opening.coarse() as f64 + mean * BIN as f64,
            sd: (square / sum - mean * mean).max(0.0).sqrt() * BIN as f64,
            weakly,
        }
    }

    /// Learns both ways from strokes, with those of `prior` as a few strokes
    /// more.
    fn settle(self, prior: &Self, openings: &[Opening<'_>], rounds: usize) -> Self {
        let mut ways = self;
        for _ in 0..rounds {
            let found = openings.iter().map(|o| ways.look(o));
            let (weakly, each): (Vec<f64>, Vec<[Chances; 2]>) = found.unzip();
            let (once, weak): (Vec<_>, Vec<_>) = each.into_iter().map(Into::into).unzip();
            let trust = f64::from(TRUST);
            ways = Self {
                at_once: prior.at_once.with(openings, &once),
                weakly: prior.weakly.as_ref().map(|prior| Weakly {
                    growth: prior.growth.with(openings, &weak),
                    share: (trust * prior.share + weakly.iter().sum::<f64>())
                        / (trust + openings.len() as f64),
                }),
            };
        }
        ways
    }

    /// With the weak beginning cut to the length that describes the strokes
    /// best: what they cost then, nepers, and how much shorter it is, bins.
    fn shorter(&self, openings: &[Opening<'_>]) -> Option<(f64, usize, Weakly)> {
        let Weakly { growth, share } = self.weakly.as_ref()?;
        let found: Vec<(f64, i32)> = openings
            .iter()
            .map(|o| (self.at_once.find(o).1, most(&growth.find(o).0)))
            .collect();
        let cut = |shorter: usize| {
            let growth = growth.without_beginning(shorter);
            let each = openings.iter().zip(&found).map(|(o, &(once, delay))| {
                let delay = (delay + shorter as i32).min(LATEST);
                either(once, growth.chances(o, delay).1, *share).1
            });
            (each.sum::<f64>(), shorter)
        };
        let least = |tried: &mut dyn Iterator<Item = usize>| {
            tried.map(cut).min_by(|a, b| a.0.total_cmp(&b.0))
        };
        let (_, about) = least(&mut (0..SHORTER).step_by(STEP))?;
        let (cost, shorter) = least(&mut (about.saturating_sub(STEP - 1)..about + STEP))?;
        let weakly = Weakly {
            growth: growth.without_beginning(shorter),
            share: *share,
        };
        Some((cost, shorter, weakly))
    }

    /// The chance that a stroke begins weakly, and the chances of every delay
    /// with either beginning.
    fn look(&self, opening: &Opening<'_>) -> (f64, [Chances; 2]) {
        let (once, once_cost) = self.at_once.find(opening);
        let Some(weakly) = &self.weakly else {
            return (0.0, [once, [0.0; DELAYS]]);
        };
        let (weak, weak_cost) = weakly.growth.find(opening);
        let (chance, _) = either(once_cost, weak_cost, weakly.share);
        let share = |chances: Chances, of: f64| chances.map(|c| c * of as f32);
        (chance, [share(once, 1.0 - chance), share(weak, chance)])
    }
}

/// The chance that a stroke with these costs begins weakly, where such a share
/// of them does, and what it costs one way or the other.
fn either(once: f64, weak: f64, share: f64) -> (f64, f64) {
    let (once, weak) = (once - (1.0 - share).ln(), weak - share.ln());
    let chance = crate::regression::probability(once - weak);
    let least = once.min(weak);
    (chance, least - (-(once - weak).abs()).exp().ln_1p())
}

impl Growth {
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

    /// Without its first bins.
    fn without_beginning(&self, bins: usize) -> Self {
        let mut growth = self.clone();
        for part in 0..PARTS {
            let share = &mut growth.share[part];
            share.copy_within(bins.., 0);
            share[FOLLOWED - bins..].fill(self.share[part][FOLLOWED - 1]);
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

    /// Strokes of which every fourth sounds at once, and the others 12 dB below
    /// what they grow to `weak` bins later, just above what was there before;
    /// each is picked where it is loud. With the true delay of each.
    fn strokes(count: usize, weak: i32) -> (Strokes, Vec<i32>) {
        let mut draw = Draw(5);
        let mut strokes = Strokes::default();
        let delays = (0..count)
            .map(|stroke| {
                let loud_at = (draw.next() * 10.0) as i32;
                let weak = if stroke % 4 == 0 { 0 } else { weak };
                strokes.add(loud_at, |bin| {
                    let fresh = match bin as i32 - COARSE - loud_at + weak {
                        ..0 => 0.0,
                        since if since < weak => 0.06,
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
        let alone = Ways::once(ways.at_once.clone());
        let [once, two, all] = &ways.of_others(&openings)[..] else {
            panic!("three ways");
        };
        let each = [once, two, all].map(|ways| far(&off_ms(ways)));
        assert!(each[0] > 50 && each[1] < 15 && each[2] < 30, "{each:?}");
        assert!(far(&off_ms(&ways)) < 8, "{:?}", off_ms(&ways));
        assert!(far(&off_ms(&alone)) > 50, "{:?}", off_ms(&alone));
        let at_once = openings.iter().step_by(4);
        let told = at_once.filter(|o| ways.place(o).weakly < 0.5).count();
        assert!(told > 13, "{told}");
    }

    #[test]
    fn strokes_that_sound_at_once_are_not_taken_for_others() {
        let (strokes, _) = strokes(80, 0);
        let residual = strokes.residual();
        let openings = openings(&residual, &strokes);
        let ways = Grown::of_take(&openings, false).likelier().clone();
        assert!(ways.weakly.is_none() && !ways.at_once.echoes);
    }

    #[test]
    fn a_coded_take_echoes_where_its_sound_says_so_and_others_where_strokes_do_too() {
        let anyway = |coded, gained| {
            let grown = Grown {
                coded,
                gained,
                ..Grown::default()
            };
            grown.echoes_anyway()
        };
        assert_eq!(anyway(false, 8.0), None);
        assert_eq!(anyway(true, 8.0), Some(true));
        assert_eq!(anyway(false, 1.0), Some(false));
        assert_eq!(anyway(true, 1.0), Some(false));
        // Too few strokes follow one another to tell how steady they are.
        let steadier = [0.1, 0.0, f64::NAN];
        let echoes = steadier.map(|s| Grown::default().echoes(s));
        assert_eq!(echoes, [true, false, false]);
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
        assert!(likelier.at_once.echoes && !other.at_once.echoes);
        assert!(
            far(likelier) < 4 && far(other) > 30,
            "{} and {}",
            far(likelier),
            far(other)
        );
    }
}
