//! Long takes: memory grows by less than 2 MB a minute.

use super::common;
use std::process::{Command, Stdio};
use std::time::Duration;

/// Minutes of the long take.
const MINUTES: u64 = 30;
/// What the program takes for a short take, with room to spare, MB.
const BASE_MB: u64 = 40;

/// Highest resident memory so far of a running process, kilobytes (proc(5)).
fn highest_kb(process: u32) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

#[test]
fn memory_grows_slowly() {
    if !common::have(&["ffmpeg"]) {
        return;
    }
    let folder = common::folder_with_clicks(48_000, 1);
    let seconds = (MINUTES * 60).to_string();
    common::ffmpeg(
        folder.path(),
        &[
            "-stream_loop",
            "-1",
            "-i",
            "clicks.wav",
            "-t",
            &seconds,
            "-compression_level",
            "0",
            "long.flac",
        ],
    );
    let part =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-takes/lantern.musicxml");
    let mut child = Command::new(env!("CARGO_BIN_EXE_kettlemark"))
        .args(["review", "long.flac", "--no-log", "--part"])
        .arg(part)
        .current_dir(folder.path())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut most_kb = 0;
    let status = loop {
        most_kb = highest_kb(child.id()).unwrap_or(0).max(most_kb);
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        std::thread::sleep(Duration::from_millis(5));
    };
    // Clicks are no march: whether they are taken for one is not asked here.
    assert!(matches!(status.code(), Some(0 | 1)), "{status}");
    println!("{MINUTES} minutes: {most_kb} kB");
    assert!(most_kb > 10_000, "nothing was measured: {most_kb} kB");
    assert!(most_kb < (BASE_MB + 2 * MINUTES) * 1000, "{most_kb} kB");
}
