//! Letters for the names of players, for hearing blind, and the key to them.
//!
//! A letter that was given once stays: a key that is there already is read,
//! and who is new gets the next free letters.

use super::Job;
use crate::journal::stats::chance::Chance;
use crate::report::lettering::csv_cell;

const SEED: u64 = 0x6c65_7474_6572_7331;
const HEAD: [&str; 3] = ["letter", "player", "file"];

/// One line of a key: a take under its letter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// "B", and "B2" for a second take of the player.
    pub label: String,
    /// Player and take as a cell of a CSV file.
    pub player: String,
    pub take: String,
}

/// A key as it is kept.
pub fn write(key: &[Line]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // A Vec takes every byte: writing cannot fail.
    let _ = writer.write_record(HEAD);
    for line in key {
        let _ = writer.write_record([&line.label, &line.player, &line.take]);
    }
    String::from_utf8_lossy(&writer.into_inner().unwrap_or_default()).into_owned()
}

/// The key that a text is; `None` where it is none.
pub fn read(text: &str) -> Option<Vec<Line>> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let headed = reader.headers().is_ok_and(|head| head.iter().eq(HEAD));
    let line = |record: Result<csv::StringRecord, csv::Error>| -> Option<Line> {
        let record = record.ok()?;
        let label = record.get(0).filter(|l| is_label(l))?;
        Some(Line {
            label: label.to_owned(),
            player: record.get(1)?.to_owned(),
            take: record.get(2)?.to_owned(),
        })
    };
    let lines = headed.then(|| reader.records().map(line).collect());
    lines.flatten()
}

/// "A", "AB", "B2".
pub fn is_label(text: &str) -> bool {
    let letters = letters_of(text);
    !letters.is_empty() && letters.chars().all(|c| c.is_ascii_uppercase())
}

/// The player's letters in the label of a take.
fn letters_of(label: &str) -> &str {
    label.trim_end_matches(|c: char| c.is_ascii_digit())
}

/// Replaces names by letters, and puts the takes into the order of these,
/// which has nothing to do with the names. Takes and players that stand in
/// `key` have theirs; new ones are added to it.
pub fn hide(jobs: &mut [Job], key: &mut Vec<Line>) {
    let mut new: Vec<String> = jobs.iter().map(|j| csv_cell(&j.player)).collect();
    new.retain(|player| !key.iter().any(|line| &line.player == player));
    new.sort();
    new.dedup();
    // The seed holds the names as well: two classes are not in one order.
    let names = blake3::hash(new.join("\n").as_bytes());
    let seed = names.as_bytes()[..8]
        .iter()
        .fold(SEED, |s, b| s.rotate_left(8) ^ u64::from(*b));
    Chance::seeded(seed).shuffle(&mut new);
    let mut given = vec![false; key.len()];
    for job in jobs.iter_mut() {
        let (player, take) = (csv_cell(&job.player), csv_cell(&job.name));
        let known = |i: &usize| !given[*i] && key[*i].player == player && key[*i].take == take;
        let line = (0..given.len()).find(known);
        if let Some(i) = line {
            given[i] = true;
            job.folder.clone_from(&key[i].label);
        } else {
            job.folder.clear();
        }
    }
    let old = key.iter().map(|line| line.player.clone());
    let mut players: Vec<String> = old.collect();
    players.dedup();
    for player in players.iter().chain(&new) {
        let waiting = jobs.iter_mut().filter(|j| j.folder.is_empty());
        for job in waiting.filter(|j| &csv_cell(&j.player) == player) {
            let label = next_label(key, player);
            job.folder.clone_from(&label);
            key.push(Line {
                label,
                player: player.clone(),
                take: csv_cell(&job.name),
            });
        }
    }
    for job in jobs.iter_mut() {
        job.name.clone_from(&job.folder);
        job.player = letters_of(&job.folder).to_owned();
    }
    jobs.sort_by(|a, b| a.name.cmp(&b.name));
}

/// The label of a further take of a player.
fn next_label(key: &[Line], player: &str) -> String {
    // One of so many is free: no key has more labels than lines.
    let most = key.len() + 2;
    let own = key.iter().find(|line| line.player == player);
    let found = if let Some(letters) = own.map(|line| letters_of(&line.label)) {
        let taken = |label: &String| key.iter().any(|line| &line.label == label);
        let mut labels = (2..=most).map(|n| format!("{letters}{n}"));
        labels.find(|label| !taken(label))
    } else {
        let taken = |l: &String| key.iter().any(|line| letters_of(&line.label) == l);
        (0..=most).map(letter).find(|label| !taken(label))
    };
    found.unwrap_or_default()
}

/// A, B ... Z, AA, AB ...
fn letter(place: usize) -> String {
    let last = char::from(b'A' + (place % 26) as u8);
    match place / 26 {
        0 => last.to_string(),
        more => format!("{}{last}", letter(more - 1)),
    }
}

#[cfg(test)]
mod tests {
    use super::super::made_job as job;
    use super::*;

    fn thirty() -> Vec<Job> {
        (0..30)
            .map(|i| job(&format!("take{i}.wav"), &format!("player {}", i / 2)))
            .collect()
    }

    #[test]
    fn letters_hide_the_names() {
        let (mut jobs, mut key) = (thirty(), Vec::new());
        hide(&mut jobs, &mut key);
        assert_eq!(key.len(), 30);
        assert!(
            jobs.iter()
                .all(|j| !j.folder.contains("take") && j.player.len() == 1)
        );
        let letters: Vec<&String> = jobs.iter().map(|j| &j.player).collect();
        assert!(letters.is_sorted() && !key.iter().map(|k| &k.player).is_sorted());
        assert_eq!(
            (letter(25), letter(26), letter(52)),
            ("Z".into(), "AA".into(), "BA".into())
        );
    }

    #[test]
    fn letters_that_were_given_stay() {
        let (mut jobs, mut key) = (thirty(), Vec::new());
        hide(&mut jobs, &mut key);
        let before = key.clone();
        // One is gone, one has a third take, two are new; one of these is
        // named like a formula.
        let mut jobs = thirty();
        jobs.remove(4);
        jobs.push(job("more.wav", "player 3"));
        jobs.push(job("new.wav", "=newcomer"));
        jobs.push(job("a.wav", "another"));
        let mut key = read(&write(&key)).expect("a key");
        hide(&mut jobs, &mut key);
        assert_eq!(key[..30], before[..]);
        let of_three = before.iter().find(|l| l.player == "player 3");
        let letter = of_three.map(|l| letters_of(&l.label)).expect("a letter");
        assert_eq!(key[30].label, format!("{letter}3"));
        let mut new: Vec<&str> = key[31..].iter().map(|l| l.label.as_str()).collect();
        new.sort_unstable();
        assert_eq!(new, ["P", "Q"]);
        assert_eq!(jobs.len(), 32);
        // And once more: nothing is new.
        let mut again = read(&write(&key)).expect("a key");
        hide(&mut [job("new.wav", "=newcomer")], &mut again);
        assert_eq!(again, key);
    }

    #[test]
    fn what_is_no_key_is_not_read_as_one() {
        assert_eq!(read("letter,player,file\n"), Some(Vec::new()));
        for text in [
            "",
            "mine",
            "letter,player,file\n?,x,y\n",
            "letter,player,file\nA,x\n",
        ] {
            assert_eq!(read(text), None, "{text}");
        }
    }
}
