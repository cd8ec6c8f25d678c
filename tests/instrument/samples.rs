//! The sample takes are what their generator makes.

use kettlemark_test_support::truth::{Fate, Truth};
use kettlemark_test_support::{lantern, outside};

#[test]
fn the_sample_part_is_the_generated_one() {
    let file = outside::root().join("sample-takes/lantern.musicxml");
    let stored = std::fs::read_to_string(file).expect("the sample part is there");
    assert!(
        stored == lantern::musicxml(),
        "run `cargo bench --bench sample_takes -- write`"
    );
}

/// What the README beside the takes says of each: notes left out, notes on
/// another drum, and whether the last chord is stopped.
#[test]
fn the_sample_takes_hold_what_their_readme_says() {
    let part = lantern::part();
    for (name, missed, other, stopped) in [
        ("lantern-1", &[(7, "D3"), (17, "F3")][..], &[][..], false),
        ("lantern-2", &[(15, "F2")], &[(10, "Bb2")], true),
        ("lantern-3", &[(18, "C3")], &[], true),
    ] {
        let file = outside::root().join(format!("tests/sample-truth/{name}.json"));
        let text = std::fs::read_to_string(file).expect("the truth is there");
        let truth: Truth = serde_json::from_str(&text).expect("the truth is readable");
        let places = |fate: Fate| -> Vec<(usize, String)> {
            (0..part.notes.len())
                .filter(|&i| truth.notes[i].fate == fate)
                .map(|i| (part.notes[i].bar + 1, part.notes[i].pitch.to_string()))
                .collect()
        };
        let named = |list: &[(usize, &str)]| -> Vec<(usize, String)> {
            list.iter().map(|&(bar, p)| (bar, p.to_owned())).collect()
        };
        assert_eq!(places(Fate::Missed), named(missed), "{name}");
        assert_eq!(places(Fate::OtherDrum), named(other), "{name}");
        let last = truth.stops.last().expect("the end asks for a stop");
        assert_eq!(last.at_s.is_some(), stopped, "{name}");
    }
}
