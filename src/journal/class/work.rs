//! A process for every take: a decoder that runs wild, or a recording that
//! wants all memory, costs one take and not the class.

use std::io::Read;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;
use std::time::{Duration, Instant};

/// How often a process is looked at that has closed its standard error: it is
/// about to end.
const LOOK: Duration = Duration::from_millis(1);
/// The same of one that has not, or whose own processes hold it open.
const LOOK_UP: Duration = Duration::from_millis(15);
/// How long what an ended process said may take to arrive.
const LAST_WORDS: Duration = Duration::from_secs(5);
/// No more than this of what a process says is kept.
const MOST_SAID: u64 = 4000;

/// How the process of one take ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ended {
    /// With an exit code, and what it said.
    Code(i32, String),
    /// It took longer than it may.
    TooLong,
    /// It died, of what, and what it said: out of memory, or a fault in a
    /// decoder.
    Died(String, String),
    NotStarted(String),
}

/// Runs a command for every number below `count`, `at_once` of them at a
/// time, each for no longer than `limit`. `done` hears of each end as it
/// comes, from any thread.
pub fn run(
    count: usize,
    at_once: usize,
    limit: Duration,
    command: impl Fn(usize) -> Command + Sync,
    done: impl Fn(usize, &Ended) + Sync,
) {
    let next = AtomicUsize::new(0);
    let work = || {
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            if i >= count {
                break;
            }
            done(i, &one(command(i), limit));
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..at_once.clamp(1, count.max(1)) {
            scope.spawn(work);
        }
    });
}

fn one(mut command: Command, limit: Duration) -> Ended {
    command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    let mut child = match command.spawn() {
        Ok(child) => child,
        Err(error) => return Ended::NotStarted(error.to_string()),
    };
    let (tell, told) = mpsc::channel();
    if let Some(mut stream) = child.stderr.take() {
        std::thread::spawn(move || {
            let mut said = Vec::new();
            // Read on beyond what is kept: a full pipe would stop the process.
            let _ = stream.by_ref().take(MOST_SAID).read_to_end(&mut said);
            let _ = std::io::copy(&mut stream, &mut std::io::sink());
            let _ = tell.send(String::from_utf8_lossy(&said).trim().to_owned());
        });
    }
    let mut said = None;
    let Some(status) = wait(&mut child, limit, &told, &mut said) else {
        return Ended::TooLong;
    };
    // A process that it left behind may hold its standard error open.
    let said = said.unwrap_or_else(|| told.recv_timeout(LAST_WORDS).unwrap_or_default());
    match status {
        Err(error) => Ended::Died(error.to_string(), said),
        Ok(status) => match status.code() {
            Some(code) => Ended::Code(code, said),
            None => Ended::Died(status.to_string(), said),
        },
    }
}

/// Waits, and takes in what it said; ends the process where it takes too
/// long, and gives `None`.
fn wait(
    child: &mut Child,
    limit: Duration,
    told: &mpsc::Receiver<String>,
    said: &mut Option<String>,
) -> Option<std::io::Result<ExitStatus>> {
    let start = Instant::now();
    loop {
        match child.try_wait() {
            Ok(Some(status)) => return Some(Ok(status)),
            Ok(None) if start.elapsed() < limit => match said {
                Some(_) => std::thread::sleep(LOOK),
                None => *said = told.recv_timeout(LOOK_UP).ok(),
            },
            Ok(None) => {
                // It may have ended by itself in this moment.
                let _ = child.kill();
                let _ = child.wait();
                return None;
            }
            Err(error) => return Some(Err(error)),
        }
    }
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::sync::Mutex;

    /// The ends of all in order.
    fn ends(
        count: usize,
        at_once: usize,
        limit: Duration,
        command: impl Fn(usize) -> Command + Sync,
    ) -> Vec<Ended> {
        let ends = Mutex::new(vec![None; count]);
        let done = |i: usize, ended: &Ended| {
            ends.lock().expect("no test panics here")[i] = Some(ended.clone());
        };
        run(count, at_once, limit, command, done);
        ends.into_inner()
            .expect("nor here")
            .into_iter()
            .flatten()
            .collect()
    }

    #[test]
    fn a_process_that_runs_wild_costs_nobody_else() {
        let script = [
            "exit 1",
            "echo no such >&2; exit 2",
            // Given up while a process of its own still holds the pipe.
            "sleep 60; true",
            "kill -9 $$",
            "true",
            // Nothing more is said, and yet it goes on.
            "exec 2>&-; sleep 0.1; exit 3",
        ];
        let limit = Duration::from_secs(2);
        let ends = ends(script.len(), 2, limit, |i| {
            let mut command = Command::new("sh");
            command.args(["-c", script[i]]);
            command
        });
        assert_eq!(ends[0], Ended::Code(1, String::new()));
        assert_eq!(ends[1], Ended::Code(2, "no such".into()));
        assert_eq!(ends[2], Ended::TooLong);
        assert!(matches!(ends[3], Ended::Died(..)));
        assert_eq!(ends[4], Ended::Code(0, String::new()));
        assert_eq!(ends[5], Ended::Code(3, String::new()));
    }

    #[test]
    fn a_program_that_is_not_there_is_named() {
        let ends = ends(1, 8, LOOK, |_| Command::new("/no/such"));
        assert!(matches!(&ends[0], Ended::NotStarted(_)));
    }
}
