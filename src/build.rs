//! Hands the commit the program is built from to `--version`.
//!
//! Outside a git checkout (a source archive) the version stands alone.

use std::process::Command;

fn git(arguments: &[&str]) -> Option<String> {
    let output = Command::new("git").args(arguments).output().ok()?;
    let text = String::from_utf8(output.stdout).ok()?;
    let text = text.trim();
    (output.status.success() && !text.is_empty()).then(|| text.to_owned())
}

fn main() {
    println!("cargo:rerun-if-changed=src/build.rs");
    // The commit changes with the reflog of HEAD, wherever git keeps it.
    if let Some(log) = git(&["rev-parse", "--git-path", "logs/HEAD"]) {
        println!("cargo:rerun-if-changed={log}");
    }
    let version = env!("CARGO_PKG_VERSION");
    let long = match git(&["rev-parse", "--short=10", "HEAD"]) {
        Some(hash) => format!("{version} ({hash})"),
        None => version.to_owned(),
    };
    println!("cargo:rustc-env=KETTLEMARK_VERSION={long}");
}
