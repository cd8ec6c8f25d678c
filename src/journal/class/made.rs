//! What the folder of a take was made of, written beside its review: with it
//! a class is taken up again where it was stopped, and gathered as it was.

use crate::error::Error;
use serde::{Deserialize, Serialize};
use std::path::Path;

/// The file that [`MadeOf`] is written to.
pub const MADE_OF: &str = "made-of.json";
const FORMAT: &str = "kettlemark-made-of";

/// What a folder was made of, and for whom.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct MadeOf {
    format: String,
    /// Version of the program.
    pub program: String,
    /// BLAKE3 of the recording and of the part, hexadecimal; `None` where it
    /// cannot be read.
    pub take: Option<String>,
    pub part: Option<String>,
    /// The take as the overview names it.
    pub name: String,
    /// Options of the review.
    pub options: Vec<String>,
    /// As the overview names him.
    #[serde(default)]
    pub player: String,
    /// Why there is no review of this take; `None` where there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_read: Option<String>,
}

impl MadeOf {
    /// What a review by this program would be made of.
    pub fn new(take: &Path, part: &Path, (name, player): (&str, &str), options: &[String]) -> Self {
        Self {
            format: FORMAT.to_owned(),
            program: env!("KETTLEMARK_VERSION").to_owned(),
            take: hash(take),
            part: hash(part),
            name: name.to_owned(),
            options: options.to_vec(),
            player: player.to_owned(),
            not_read: None,
        }
    }

    /// The same of a take that could not be read, and why.
    #[must_use]
    pub fn not_read(&self, why: &str) -> Self {
        Self {
            not_read: Some(why.to_owned()),
            ..self.clone()
        }
    }

    /// What stands in a folder, if anything does.
    pub fn read(folder: &Path) -> Option<Self> {
        let text = std::fs::read_to_string(folder.join(MADE_OF)).ok()?;
        let made: Self = serde_json::from_str(&text).ok()?;
        (made.format == FORMAT).then_some(made)
    }

    /// Whether a review made of `other` says what one made of this would. The
    /// player's name changes nothing.
    pub fn serves(&self, other: &Self) -> bool {
        let known = self.take.is_some() && self.part.is_some() && other.not_read.is_none();
        let renamed = Self {
            player: self.player.clone(),
            ..other.clone()
        };
        known && renamed == *self
    }

    /// Written beside and renamed: a program killed in between leaves no
    /// mark, and the take is done again.
    pub fn write(&self, folder: &Path) -> Result<(), Error> {
        let (path, beside) = (folder.join(MADE_OF), folder.join(".made-of"));
        let text = serde_json::to_string_pretty(self).unwrap_or_default() + "\n";
        std::fs::create_dir_all(folder)
            .and_then(|()| std::fs::write(&beside, text))
            .and_then(|()| std::fs::rename(&beside, &path))
            .map_err(|source| Error::Write { path, source })
    }
}

/// `None` for what is no ordinary file: a pipe would never end.
fn hash(path: &Path) -> Option<String> {
    let about = std::fs::metadata(path).ok()?;
    let mut file = about.is_file().then(|| std::fs::File::open(path).ok())??;
    let mut hasher = blake3::Hasher::new();
    std::io::copy(&mut file, &mut hasher).ok()?;
    Some(hasher.finalize().to_hex().to_string())
}
