//! Which reader reads a file, and what a reader may be told.

use super::{Part, assign, derive, midi, musicxml, sheet};
use crate::error::{Error, reason};
use std::path::Path;

/// Larger files are no parts.
const LARGEST_BYTES: u64 = 200_000_000;

/// What the person at the terminal may say about a part.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadOptions {
    /// Which part of a full score, by its name or a piece of it; `None`: the
    /// one that is for timpani.
    pub part_name: Option<String>,
    /// A tremolo of three strokes is measured thirty-seconds, not a roll.
    pub three_strokes_measured: bool,
    /// Diameters of the drums at hand in inches; `None`: the sizes the part
    /// names, else 32, 29, 26 and 23.
    pub drums: Option<Vec<f64>>,
    /// Time that one retuning takes, seconds. Common practice, no source.
    pub retune_s: f64,
    /// Tempo by which rests are timed where the part marks none, quarter notes
    /// a minute. Common practice, no source.
    pub default_bpm: f64,
}

impl Default for ReadOptions {
    fn default() -> Self {
        Self {
            part_name: None,
            three_strokes_measured: false,
            drums: None,
            retune_s: 2.0,
            default_bpm: 100.0,
        }
    }
}

/// Why a part cannot be read: where it stands (empty for the whole file) and
/// what to do.
#[derive(Debug)]
pub(super) struct Fault {
    pub place: String,
    pub what: String,
}

impl Fault {
    pub fn new(place: impl Into<String>, what: impl Into<String>) -> Self {
        Self {
            place: place.into(),
            what: what.into(),
        }
    }
}

/// Reads a part from a file, whatever its kind: `MusicXML` (plain or `.mxl`), a
/// Standard MIDI File, or a text sheet (`.kettle`). The kind is taken from the
/// content, so that a wrong extension does no harm.
///
/// # Errors
/// The file cannot be opened, is none of these kinds, or is damaged; the place
/// and what to do are told.
pub fn read(path: &Path, options: &ReadOptions) -> Result<Part, Error> {
    let fault = |what: String| Error::Part {
        path: path.to_owned(),
        place: String::new(),
        what,
    };
    let size = std::fs::metadata(path).map_err(|e| fault(reason(&e)))?;
    if size.is_dir() {
        return Err(fault(
            "it is a folder; name the file of the part".to_owned(),
        ));
    }
    if size.len() > LARGEST_BYTES {
        return Err(fault("it is larger than 200 MB; no part is".to_owned()));
    }
    let bytes =
        std::fs::read(path).map_err(|e| fault(format!("it cannot be read: {}", reason(&e))))?;
    read_bytes(&bytes, path, options)
}

/// The same from bytes; `path` names the part in errors and gives a title to
/// one that has none.
///
/// # Errors
/// As [`read`].
pub fn read_bytes(bytes: &[u8], path: &Path, options: &ReadOptions) -> Result<Part, Error> {
    let stem = path
        .file_stem()
        .map(|s| s.to_string_lossy().into_owned())
        .unwrap_or_default();
    parse(bytes, options)
        .and_then(|(mut part, own_plan)| {
            if part.notes.is_empty() {
                return Err(no_notes(&part));
            }
            if part.title.is_empty() {
                part.title = stem;
            }
            derive::settle(&mut part);
            if !own_plan {
                assign::assign(&mut part, options)?;
            }
            Ok(part)
        })
        .map_err(|Fault { place, what }| Error::Part {
            path: path.to_owned(),
            place,
            what,
        })
}

/// A part without notes, with what was left out of it.
fn no_notes(part: &Part) -> Fault {
    let mut what = "it holds no notes; choose a part that has some".to_owned();
    if let Some(first) = part.unread.first() {
        let bar = first.bar.map_or(String::new(), |b| format!("bar {b}: "));
        what = format!("{what} (not understood: {bar}{}", first.what);
        if part.unread.len() > 1 {
            what = format!("{what}, and {} more", part.unread.len() - 1);
        }
        what.push(')');
    }
    Fault::new("", what)
}

/// The part, and whether it names its own drums.
fn parse(bytes: &[u8], options: &ReadOptions) -> Result<(Part, bool), Fault> {
    if bytes.is_empty() {
        return Err(Fault::new("", "it is empty; export the part again"));
    }
    if bytes.starts_with(b"PK") {
        let text = musicxml::unpack(bytes)?;
        return Ok((musicxml::read(&text, options)?, false));
    }
    if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WAVE") {
        return Err(Fault::new(
            "",
            "it is a recording, not a part; name the part after --part",
        ));
    }
    if bytes.starts_with(b"MThd") || bytes.starts_with(b"RIFF") {
        return Ok((midi::read(bytes, options)?, false));
    }
    let text = text_of(bytes)?;
    if text.trim_start().starts_with('<') {
        return Ok((musicxml::read(&text, options)?, false));
    }
    let part = sheet::parse(&text)?;
    let own = !part.drums.is_empty() && options.drums.is_none();
    Ok((part, own))
}

/// UTF-8, or UTF-16 with a byte order mark, as notation programs write.
pub(super) fn text_of(bytes: &[u8]) -> Result<String, Fault> {
    let wide = |read: fn([u8; 2]) -> u16| {
        let units: Vec<u16> = bytes[2..]
            .chunks_exact(2)
            .map(|pair| read([pair[0], pair[1]]))
            .collect();
        String::from_utf16(&units).ok()
    };
    let text = match bytes {
        [0xFF, 0xFE, ..] => wide(u16::from_le_bytes),
        [0xFE, 0xFF, ..] => wide(u16::from_be_bytes),
        [0xEF, 0xBB, 0xBF, rest @ ..] => std::str::from_utf8(rest).ok().map(str::to_owned),
        _ => std::str::from_utf8(bytes).ok().map(str::to_owned),
    };
    text.filter(|t| !t.contains('\0')).ok_or_else(|| {
        Fault::new(
            "",
            "it is neither MusicXML, MIDI nor a text sheet; export the part as MusicXML",
        )
    })
}
