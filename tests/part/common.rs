//! What the tests of parts share: reading, and goldens.

use kettlemark::part::{self, Part, ReadOptions};
use kettlemark_test_support::outside;
use std::path::{Path, PathBuf};

/// A committed part of our own invention.
pub fn file(name: &str) -> PathBuf {
    outside::root().join("tests/part/files").join(name)
}

/// Every committed part, by name.
pub fn files() -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(file(""))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    files
}

/// Reads a part as the command line does when nothing else is said.
pub fn read(path: &Path) -> Part {
    part::read(path, &ReadOptions::default()).unwrap_or_else(|e| panic!("{e}"))
}

/// Compares texts with the goldens in `tests/golden/part`. After a change on
/// purpose: `KETTLEMARK_BLESS=1`, then read the difference.
pub fn same_as_golden(texts: &[(String, String)]) {
    let folder = outside::root().join("tests/golden/part");
    let seen = outside::root().join("tests/out/part");
    let bless = std::env::var_os("KETTLEMARK_BLESS").is_some();
    if bless {
        std::fs::create_dir_all(&folder).unwrap();
    }
    let mut different = Vec::new();
    for (name, text) in texts {
        let path = folder.join(name);
        if bless {
            std::fs::write(&path, text).unwrap();
        } else if std::fs::read_to_string(&path).ok().as_ref() != Some(text) {
            std::fs::create_dir_all(&seen).unwrap();
            std::fs::write(seen.join(name), text).unwrap();
            different.push(name);
        }
    }
    assert!(
        different.is_empty(),
        "differ from tests/golden/part (what was written is in tests/out/part): {different:?}"
    );
}

/// The message of a part that cannot be read, without the folder it lies in.
pub fn message(bytes: &[u8], name: &str, options: &ReadOptions) -> String {
    match part::read_bytes(bytes, Path::new(name), options) {
        Ok(part) => panic!("{name} was read: {} notes", part.notes.len()),
        Err(error) => error.to_string(),
    }
}
