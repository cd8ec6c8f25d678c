//! The order in which written bars are played: repeats, endings, da capo, dal
//! segno, coda and fine.
//!
//! Common practice, no source: after a jump back repeats are not taken again
//! unless they say so, and of several endings the last one is played.

use super::super::read::Fault;
use super::written::{Signs, WrittenBar};

/// More bars are never played; a file that asks for it is damaged.
const MOST_PLAYED: usize = 200_000;

/// Places in `bars` in the order of playing.
pub(super) struct Order {
    pub places: Vec<usize>,
    /// Signs that could not be followed, with the place of their bar.
    pub told: Vec<(usize, &'static str)>,
}

/// Works out the order of playing.
pub(super) fn order(bars: &[WrittenBar]) -> Result<Order, Fault> {
    let mut walk = Walk {
        bars,
        start: 0,
        pass: 1,
        jumped: false,
        taken: Vec::new(),
        inside: None,
        told: Vec::new(),
    };
    let mut played = Vec::with_capacity(bars.len());
    let mut next = Some(0);
    while let Some(at) = next.filter(|&i| i < bars.len()) {
        let Some(at) = walk.enter(at) else { break };
        played.push(at);
        if played.len() > MOST_PLAYED {
            return Err(Fault::new(
                format!("bar {}", bars[at].number),
                "the repeats never come to an end; check the repeat signs",
            ));
        }
        next = walk.leave(at);
    }
    Ok(Order {
        places: played,
        told: walk.told,
    })
}

struct Walk<'a> {
    bars: &'a [WrittenBar],
    /// Where a repeat goes back to.
    start: usize,
    /// How often the bars from there have been begun.
    pass: u32,
    /// A da capo or dal segno has been taken.
    jumped: bool,
    /// Bars whose jump has been taken; each is taken once.
    taken: Vec<usize>,
    /// First bar of the ending that is being played.
    inside: Option<usize>,
    told: Vec<(usize, &'static str)>,
}

impl Walk<'_> {
    fn signs(&self, at: usize) -> &Signs {
        &self.bars[at].signs
    }

    /// Skips endings that are not for this pass. `None` at the end.
    fn enter(&mut self, mut at: usize) -> Option<usize> {
        if self.signs(at).forward && at != self.start {
            self.start = at;
            self.pass = 1;
        }
        while let Some(passes) = &self.bars.get(at)?.signs.ending {
            let plays = if self.jumped {
                !self.another_ending_follows(at)
            } else {
                passes.contains(&self.pass) || !self.any_ending_for_pass(at)
            };
            if plays {
                self.inside = Some(at);
                break;
            }
            at = self.ending_end(at) + 1;
        }
        self.bars.get(at).map(|_| at)
    }

    fn ending_end(&self, from: usize) -> usize {
        let mut at = from;
        while at + 1 < self.bars.len()
            && !self.signs(at).ending_stop
            && self.signs(at + 1).ending.is_none()
        {
            at += 1;
        }
        at
    }

    fn another_ending_follows(&self, at: usize) -> bool {
        self.bars
            .get(self.ending_end(at) + 1)
            .is_some_and(|b| b.signs.ending.is_some())
    }

    /// Whether an ending from here on is for the present pass.
    fn any_ending_for_pass(&self, mut at: usize) -> bool {
        while let Some(passes) = self.bars.get(at).and_then(|b| b.signs.ending.as_ref()) {
            if passes.contains(&self.pass) {
                return true;
            }
            at = self.ending_end(at) + 1;
        }
        false
    }

    /// Where playing goes on after this bar. `None` at the end.
    fn leave(&mut self, at: usize) -> Option<usize> {
        let signs = self.signs(at).clone();
        let ending = self
            .inside
            .and_then(|first| self.signs(first).ending.clone());
        if signs.ending_stop
            || self
                .bars
                .get(at + 1)
                .is_some_and(|b| b.signs.ending.is_some())
        {
            self.inside = None;
        }
        if let Some(times) = signs.backward
            && (!self.jumped || signs.after_jump)
        {
            let again = match &ending {
                Some(passes) => {
                    let last = passes.iter().copied().max().unwrap_or(1);
                    self.pass < last
                        || (passes.contains(&self.pass)
                            && (self.another_ending_follows(at)
                                || times > self.pass && last == 1 && times > 2))
                }
                None => self.pass < times,
            };
            if again {
                self.pass += 1;
                return Some(self.start);
            }
            self.start = at + 1;
            self.pass = 1;
        }
        if self.jumped {
            if signs.fine {
                return None;
            }
            if signs.to_coda {
                let coda = (at + 1..self.bars.len()).find(|&i| self.signs(i).coda);
                if coda.is_some() {
                    return coda;
                }
                self.told
                    .push((at, "\"to coda\" without a coda sign; it was played on"));
            }
        }
        if (signs.da_capo || signs.dal_segno) && !self.taken.contains(&at) {
            self.jumped = true;
            self.taken.push(at);
            let segno = (0..=at).rev().find(|&i| self.signs(i).segno);
            let target = if signs.dal_segno {
                if segno.is_none() {
                    let what = "\"dal segno\" without a segno; it was played from the beginning";
                    self.told.push((at, what));
                }
                segno.unwrap_or(0)
            } else {
                0
            };
            self.start = target;
            self.pass = 1;
            return Some(target);
        }
        Some(at + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_jump_is_taken_once() {
        let mut bars = vec![WrittenBar::default(); 6];
        bars[1].signs.segno = true;
        bars[2].signs.dal_segno = true;
        bars[3].signs.segno = true;
        bars[4].signs.dal_segno = true;
        let places = order(&bars).map(|o| o.places).unwrap_or_default();
        assert_eq!(places, [0, 1, 2, 1, 2, 3, 4, 3, 4, 5]);
    }
}
