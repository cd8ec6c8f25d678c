//! How far a class is, for whoever waits at a terminal for more than two
//! seconds.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::Duration;

/// Nothing is shown of work that is done by then.
const PATIENCE: Duration = Duration::from_secs(2);
/// How often the time left is drawn anew where nothing else changes.
const TICK: Duration = Duration::from_millis(500);

/// Does work that counts its steps on a bar with the time left, `done` of
/// `all` before it begins. The bar is on standard error, and silent where that
/// is no terminal.
pub fn with_bar<T>(look: &str, (done, all): (usize, usize), work: impl Fn(&ProgressBar) -> T) -> T {
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicBool, Ordering};

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
