//! What can go wrong, and what the program answers.

use std::path::PathBuf;

/// Every error ends the work on one take or part; the text says what, where
/// and what to do.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A recording cannot be read.
    #[error("{}: {what}", path.display())]
    Take { path: PathBuf, what: String },
    /// A part cannot be read. `place` is "line 3, column 7", "bar 12" ...,
    /// empty for the whole file.
    #[error("{}: {}{what}", path.display(), before(place))]
    Part {
        path: PathBuf,
        place: String,
        what: String,
    },
    /// A result cannot be written.
    #[error("{}: cannot be written: {}", path.display(), reason(source))]
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

fn before(place: &str) -> String {
    if place.is_empty() {
        String::new()
    } else {
        format!("{place}: ")
    }
}

/// Why a file or folder cannot be used, without the number that the system
/// gives it.
pub fn reason(error: &std::io::Error) -> String {
    use std::io::ErrorKind;
    match error.kind() {
        ErrorKind::NotFound => "there is no such file or folder; check the name".to_owned(),
        ErrorKind::PermissionDenied => "it is not allowed here".to_owned(),
        ErrorKind::NotADirectory | ErrorKind::AlreadyExists => {
            "a file stands where a folder is needed".to_owned()
        }
        ErrorKind::StorageFull => "no room is left on the disk".to_owned(),
        _ => {
            let text = error.to_string();
            let end = text.find(" (os error").unwrap_or(text.len());
            text[..end].to_owned()
        }
    }
}
