//! What can go wrong, and what the program answers.

use std::path::PathBuf;

/// Every error ends the work on one take or part; the text says what, where
/// and what to do.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A recording cannot be read.
    #[error("{}: {what}", path.display())]
    Take { path: PathBuf, what: String },
    /// A part cannot be read. `place` is "line 3, column 7", "bar 12" ...
    #[error("{}: {place}: {what}", path.display())]
    Part {
        path: PathBuf,
        place: String,
        what: String,
    },
    /// A result cannot be written.
    #[error("{}: cannot be written: {source}", path.display())]
    Write {
        path: PathBuf,
        source: std::io::Error,
    },
    /// The practice log cannot be used.
    #[error("the practice log {}: {what}", path.display())]
    Log { path: PathBuf, what: String },
    /// The command line asks for something impossible.
    #[error("{0}")]
    Usage(String),
}
