//! How far work has come that may turn out to be long: nothing is shown in the
//! first two seconds, nor where standard error is no terminal.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use kettlemark::words::journal as text;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::{Duration, Instant};

/// How long work may take in silence.
const PATIENCE: Duration = Duration::from_secs(2);

/// How often the time left is drawn anew where nothing else changes.
const TICK: Duration = Duration::from_millis(500);

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

/// Does work that counts its steps on a bar with the time left, `done` of
/// `all` before it begins. The bar is on standard error, and silent where that
/// is no terminal.
pub fn with_bar<T>(
    look: &str,
    (done, all): (usize, usize),
    work: impl FnOnce(&ProgressBar) -> T,
) -> T {
    let bar = ProgressBar::with_draw_target(Some(all as u64), ProgressDrawTarget::hidden());
    if let Ok(style) = ProgressStyle::with_template(look) {
        bar.set_style(style);
    }
    bar.set_position(done as u64);
    bar.reset_eta();
    let show = || {
        bar.set_draw_target(ProgressDrawTarget::stderr());
        bar.enable_steady_tick(TICK);
    };
    let result = after(PATIENCE, show, || work(&bar));
    bar.finish_and_clear();
    result
}

/// Does work, and calls `show` from beside it if it is not done after
/// `patience`.
fn after<T>(patience: Duration, show: impl FnOnce() + Send, work: impl FnOnce() -> T) -> T {
    let (working, waiting) = mpsc::channel::<()>();
    std::thread::scope(|scope| {
        let wait = move || {
            if waiting.recv_timeout(patience) == Err(RecvTimeoutError::Timeout) {
                show();
            }
        };
        // Without another thread nothing is shown, and the work is done.
        let _ = std::thread::Builder::new().spawn_scoped(scope, wait);
        let result = work();
        drop(working);
        result
    })
}

/// Does work whose steps cannot be counted, under a line with the time that is
/// gone.
pub fn with_clock<T>(look: &str, work: impl FnOnce() -> T) -> T {
    with_bar(look, (0, 1), |_| work())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicBool, Ordering};

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

    #[test]
    fn long_work_is_shown_while_it_lasts_and_short_work_is_not() {
        let shown = AtomicBool::new(false);
        let show = || shown.store(true, Ordering::SeqCst);
        after(Duration::from_secs(600), show, || ());
        assert!(!shown.load(Ordering::SeqCst));
        after(Duration::from_millis(1), show, || {
            while !shown.load(Ordering::SeqCst) {
                std::thread::yield_now();
            }
        });
    }
}
