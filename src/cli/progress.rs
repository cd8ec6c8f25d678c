//! A bar with the time left for work that may turn out to be long: nothing is
//! shown in the first two seconds, nor where standard error is no terminal.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use kettlemark::words::journal as text;
use std::time::{Duration, Instant};

/// How long work may take in silence.
const PATIENCE: Duration = Duration::from_secs(2);

/// Takes that are gone through one by one.
pub struct Late<I> {
    takes: I,
    bar: ProgressBar,
    since: Instant,
    shown: bool,
}

/// Goes through takes, and shows how far it has come once it is late.
pub fn late<I: ExactSizeIterator>(takes: I) -> Late<I> {
    let hidden = ProgressDrawTarget::hidden();
    Late {
        bar: ProgressBar::with_draw_target(Some(takes.len() as u64), hidden),
        takes,
        since: Instant::now(),
        shown: false,
    }
}

impl<I: Iterator> Iterator for Late<I> {
    type Item = I::Item;

    fn next(&mut self) -> Option<I::Item> {
        if !self.shown && self.since.elapsed() >= PATIENCE {
            self.shown = true;
            if let Ok(style) = ProgressStyle::with_template(text::PROGRESS) {
                self.bar.set_style(style);
            }
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
        }
        let next = self.takes.next();
        if next.is_some() {
            self.bar.inc(1);
        }
        next
    }
}

impl<I> Drop for Late<I> {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_take_comes_through_and_is_counted() {
        let mut takes = late([3, 1, 2].iter());
        takes.since = Instant::now()
            .checked_sub(PATIENCE)
            .unwrap_or_else(Instant::now);
        let found: Vec<i32> = takes.by_ref().copied().collect();
        assert_eq!((found, takes.bar.position()), (vec![3, 1, 2], 3));
        assert!(takes.shown);
    }
}
