//! The guides say what is so: every file has its line in the code map, every
//! path that is named exists.

use kettlemark_test_support::outside::root;
use std::collections::BTreeSet;
use std::path::Path;

fn read(name: &str) -> String {
    std::fs::read_to_string(root().join(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// Files below a folder of the checkout, with their path from its root.
fn files_below(folder: &str, into: &mut BTreeSet<String>) {
    let entries =
        std::fs::read_dir(root().join(folder)).unwrap_or_else(|e| panic!("{folder}: {e}"));
    for entry in entries {
        let entry = entry.unwrap_or_else(|e| panic!("{folder}: {e}"));
        let path = format!("{folder}/{}", entry.file_name().to_string_lossy());
        if entry.path().is_dir() {
            files_below(&path, into);
        } else {
            into.insert(path);
        }
    }
}

#[test]
fn the_code_map_has_a_line_for_every_source_file() {
    let guide = read("DEVELOPERS.md");
    let mut files = BTreeSet::new();
    files_below("src", &mut files);
    let source = |f: &&String| Path::new(f.as_str()).extension().is_some_and(|e| e == "rs");
    let without_line: Vec<_> = files
        .iter()
        .filter(source)
        .filter(|f| !guide.contains(&format!("`{f}`")))
        .collect();
    assert!(
        without_line.is_empty(),
        "no line in DEVELOPERS.md: {without_line:?}"
    );
}

/// Words in backticks or brackets that look like a path of ours.
fn paths_in(text: &str) -> BTreeSet<&str> {
    const TOPS: [&str; 5] = [
        "src/",
        "tests/",
        "sample-takes/",
        "reports/lantern-2",
        ".ci/",
    ];
    text.split(|c: char| c.is_whitespace() || "`()[]{}<>*,;:\"'|".contains(c))
        .map(|word| word.trim_end_matches('.'))
        .filter(|word| TOPS.iter().any(|top| word.starts_with(top)))
        .collect()
}

#[test]
fn every_path_that_is_named_exists() {
    // Made by runs, so absent from a fresh checkout.
    const MADE: [&str; 3] = ["tests/out", "tests/.venv", "tests/node_modules"];
    for guide in ["README.md", "DEVELOPERS.md", "sample-takes/README.md"] {
        let text = read(guide);
        let absent: Vec<_> = paths_in(&text)
            .into_iter()
            .filter(|path| !MADE.iter().any(|made| path.starts_with(made)))
            .filter(|path| !root().join(path).exists())
            .collect();
        assert!(
            absent.is_empty(),
            "{guide} names what is not there: {absent:?}"
        );
    }
}
