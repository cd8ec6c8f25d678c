//! What the tests compare with: command line tools, the Python environment in
//! `tests/.venv` (made by `tests/setup`) and the data folder beside the
//! checkout.
//!
//! Each function answers `None` when the thing is absent, after printing a line
//! that begins with `SKIPPED:`, which `tests/all` counts. Where the environment
//! variable `CI` is `true`, a missing tool panics instead: a check that silently
//! stopped looking is worse than one that fails.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The root of the checkout.
pub fn root() -> PathBuf {
    let mut root = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    root.pop();
    root.pop();
    root
}

/// Says that a check was not made, and why.
#[allow(clippy::print_stdout)] // The test runner shows it beside the test.
pub fn skipped(why: &str) {
    println!("SKIPPED: {why}");
}

fn missing(what: &str) {
    assert!(
        std::env::var("CI").as_deref() != Ok("true"),
        "{what} is missing; with CI=true it has to be there (see tests/setup)"
    );
    skipped(&format!("{what} is missing (tests/setup installs it)"));
}

/// A file or folder of the data beside the checkout: `inside` under
/// `../shared`, or under the folder that `KETTLEMARK_SHARED` names.
pub fn shared(inside: &str) -> Option<PathBuf> {
    let folder = std::env::var_os("KETTLEMARK_SHARED")
        .map_or_else(|| root().join("../shared"), PathBuf::from);
    let path = folder.join(inside);
    if path.exists() {
        return Some(path);
    }
    skipped(&format!("../shared/{inside} is absent"));
    None
}

/// The path of a command line tool.
pub fn tool(name: &str) -> Option<PathBuf> {
    let found = std::env::var_os("PATH").and_then(|path| {
        std::env::split_paths(&path)
            .map(|folder| folder.join(name))
            .find(|file| file.is_file())
    });
    if found.is_none() {
        missing(name);
    }
    found
}

/// A file that a Debian package brings, such as
/// `/usr/share/sounds/sf2/FluidR3_GM.sf2`.
pub fn file(path: &str) -> Option<PathBuf> {
    let path = Path::new(path);
    if path.is_file() {
        return Some(path.to_owned());
    }
    missing(&path.display().to_string());
    None
}

/// The Python of `tests/.venv`, set to run `tests/reference/<script>`.
pub fn python(script: &str) -> Option<Command> {
    let python = root().join("tests/.venv/bin/python");
    if !python.is_file() {
        missing("the Python environment tests/.venv");
        return None;
    }
    let mut command = Command::new(python);
    command
        .arg(root().join("tests/reference").join(script))
        .env("PYTHONDONTWRITEBYTECODE", "1")
        .env("NUMBA_CACHE_DIR", root().join("tests/out/numba"))
        .current_dir(root());
    Some(command)
}

/// Runs `tests/reference/<script>` with `input` as JSON on its standard input
/// and reads JSON from its standard output.
///
/// # Panics
/// When the script fails or answers anything but JSON.
pub fn python_json(script: &str, input: &serde_json::Value) -> Option<serde_json::Value> {
    let mut child = python(script)?
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|e| panic!("{script} does not start: {e}"));
    let text = input.to_string();
    let mut stdin = child.stdin.take().expect("the pipe was asked for above");
    // Written beside the reading, so that neither side waits on a full pipe.
    let writer = std::thread::spawn(move || stdin.write_all(text.as_bytes()));
    let output = child
        .wait_with_output()
        .unwrap_or_else(|e| panic!("{script}: {e}"));
    let written = writer.join().expect("the writing thread does not panic");
    assert!(
        output.status.success(),
        "{script} failed ({}; input {written:?}):\n{}",
        output.status,
        String::from_utf8_lossy(&output.stderr)
    );
    Some(serde_json::from_slice(&output.stdout).unwrap_or_else(|e| {
        panic!(
            "{script} answered no JSON: {e}\n{}",
            String::from_utf8_lossy(&output.stdout)
        )
    }))
}
