//! The written report: the command, its files, goldens. The pages written here are opened
//! in a browser by `tests/page/drive.mjs`.

// A failed unwrap is a failed test.
#![allow(clippy::unwrap_used)]

#[path = "page/across.rs"]
mod across;
#[path = "page/command.rs"]
mod command;
#[path = "page/files.rs"]
mod files;
#[path = "page/fixture.rs"]
mod fixture;
