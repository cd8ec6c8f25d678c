//! What the README says of other programs, done as it stands there: a class
//! spread with GNU parallel, and a query of `DuckDB` over the reviews.

use kettlemark::review::Review;
use kettlemark_test_support::outside::{self, root};
use serde_json::json;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

/// The lines of the README's indented block that begins so, as they stand.
fn block(begins: &str) -> Vec<String> {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    let lines: Vec<String> = readme
        .lines()
        .skip_while(|line| !line.trim_start().starts_with(begins))
        .take_while(|line| line.starts_with("    "))
        .map(|line| line.trim_start().to_owned())
        .collect();
    assert!(!lines.is_empty(), "the README has no line '{begins}'");
    lines
}

/// Commands as a shell would run them, our program among those it finds.
fn shell(script: &str, folder: &Path) -> Output {
    let program = assert_cmd::cargo::cargo_bin!("kettlemark");
    let path = std::env::var("PATH").unwrap();
    let ours = program.parent().unwrap().display();
    Command::new("bash")
        .args(["-c", script])
        .current_dir(folder)
        .env("PATH", format!("{ours}:{path}"))
        // GNU parallel asks to be cited unless it was told once; no answer
        // is kept outside the folder.
        .env("PARALLEL_HOME", folder)
        .output()
        .unwrap()
}

/// The column of a job log, job by job as written.
fn column(folder: &Path, name: &str) -> Vec<String> {
    let text = fs::read_to_string(folder.join("jobs.tsv")).unwrap();
    let mut lines = text.lines().map(|line| line.split('\t'));
    let place = lines.next().unwrap().position(|head| head == name).unwrap();
    lines
        .map(|mut cells| cells.nth(place).unwrap().to_owned())
        .collect()
}

fn class_of_three(folder: &Path) {
    let sample = |name: &str| root().join("sample-takes").join(name);
    fs::create_dir(folder.join("takes")).unwrap();
    for (name, take) in [("anna", "lantern-2.m4a"), ("boris", "lantern-1.mp3")] {
        // The content decides how a file is read, not its name.
        let copy = folder.join("takes").join(format!("{name}.m4a"));
        fs::copy(sample(take), copy).unwrap();
    }
    fs::write(folder.join("takes/letter.m4a"), "This is no take.").unwrap();
    let part = sample("lantern.musicxml");
    let write = format!(
        "kettlemark part '{}' --as sheet > march.kettle",
        part.display()
    );
    assert!(shell(&write, folder).status.success());
}

#[test]
fn a_class_is_spread_with_gnu_parallel_and_gathered() {
    if outside::tool("parallel").is_none() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    class_of_three(folder);
    let lines = block("parallel --joblog");
    let (gather, spread) = lines.split_last().unwrap();
    assert!(gather.starts_with("kettlemark class --from"));
    let spread = spread.join("\n");
    let first = shell(&spread, folder);
    // GNU parallel answers with the number of jobs that failed.
    let said = String::from_utf8_lossy(&first.stderr).into_owned();
    assert_eq!(first.status.code(), Some(1), "{said}");
    let mut codes = column(folder, "Exitval");
    codes.sort();
    assert_eq!(codes, ["0", "0", "2"]);
    let made = |name: &str| fs::metadata(folder.join(name)).unwrap().modified().unwrap();
    let before = made("reviews/anna/review.json");
    // Again: the failed one alone is tried again.
    let again = shell(&spread, folder);
    assert_eq!(again.status.code(), Some(1));
    assert_eq!(made("reviews/anna/review.json"), before);
    let tried = column(folder, "Command");
    let letters = tried.iter().filter(|c| c.contains("letter.m4a")).count();
    assert_eq!((tried.len(), letters), (4, 2), "{tried:?}");
    // And once it is mended, nothing is left to do.
    fs::copy(
        folder.join("takes/anna.m4a"),
        folder.join("takes/letter.m4a"),
    )
    .unwrap();
    assert_eq!(shell(&spread, folder).status.code(), Some(0));
    let gathered = shell(gather, folder);
    assert_eq!(gathered.status.code(), Some(0));
    let csv = fs::read_to_string(folder.join("reports/class/class.csv")).unwrap();
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let players: Vec<String> = reader.records().map(|r| r.unwrap()[0].to_owned()).collect();
    assert_eq!(players, ["anna", "boris", "letter"]);
    // The reviews lie beside the overview's folder, and it leads to them.
    let page = fs::read_to_string(folder.join("reports/class/class.html")).unwrap();
    for player in players {
        let link = format!("../../reviews/{player}/review.html");
        assert!(page.contains(&format!("href=\"{link}\"")), "{link}");
        assert!(folder.join("reports/class").join(&link).is_file());
    }
}

#[test]
fn duckdb_reads_the_reviews_as_the_readme_says() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let mut expected = Vec::new();
    for name in ["lantern-1.mp3", "lantern-2.m4a"] {
        let out = folder.join("reviews").join(name);
        let status = Command::new(assert_cmd::cargo::cargo_bin!("kettlemark"))
            .args(["review", "--no-log", "--part"])
            .arg(root().join("sample-takes/lantern.musicxml"))
            .arg("--out")
            .arg(&out)
            .arg(root().join("sample-takes").join(name))
            .output()
            .unwrap()
            .status;
        assert!(status.success());
        let text = fs::read_to_string(out.join("review.json")).unwrap();
        let review: Review = serde_json::from_str(&text).unwrap();
        let triplets = review
            .figures
            .iter()
            .filter(|f| f.kind == "triplet-eighths");
        let mut uneven: Vec<f64> = triplets.clone().filter_map(|f| f.unevenness_ms).collect();
        uneven.sort_by(f64::total_cmp);
        let middle = f64::midpoint(uneven[(uneven.len() - 1) / 2], uneven[uneven.len() / 2]);
        expected.push((name, middle, triplets.count()));
    }
    let lines = block("duckdb -c \"").join("\n");
    let sql = lines.split('"').nth(1).unwrap();
    let input = json!({"folder": folder, "sql": sql});
    let Some(rows) = outside::python_json("duckdb_query.py", &input) else {
        return;
    };
    let rows = rows.as_array().unwrap();
    assert_eq!(rows.len(), expected.len());
    for (row, (name, middle, count)) in rows.iter().zip(expected) {
        assert_eq!(row[0], name);
        assert!((row[1].as_f64().unwrap() - middle).abs() < 1e-9);
        assert_eq!(row[2], count);
    }
}
