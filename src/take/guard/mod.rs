//! Sizes in a header are claims, held here against the length of the file
//! before a decoder believes them.
//!
//! Claims that would make a decoder ask for gigabytes are refused. Claims that
//! are wrong because the recorder was switched off, or because the file was
//! cut short, are put right, so that what is there can be read.

mod chunks;
mod mkv;
mod mp4;

use super::mended::Patch;
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};

/// Nothing but sound data and pictures is larger than this.
const MOST_CHUNK_BYTES: u64 = 64 << 20;

/// What became of the claims.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Claims {
    pub(super) patches: Vec<Patch>,
    /// The share of the promised sound data that is there, below 1, where the
    /// file was cut short.
    pub(super) share: Option<f64>,
    /// In plain English.
    pub(super) remarks: Vec<String>,
}

impl Claims {
    fn unfinished(&mut self) {
        self.remarks.push(
            "its header was never finished (was the recorder switched off?); what it holds was \
             read"
                .into(),
        );
    }
}

/// Looks at what the file claims. The error says what is wrong and what to do.
pub(super) fn check(file: &mut File, length: u64, head: &[u8]) -> Result<Claims, String> {
    let mut bytes = Bytes { file, length };
    match head.get(..4) {
        Some(b"RIFF") => Ok(chunks::wav(&mut bytes)),
        Some(b"FORM") => Ok(chunks::aiff(&mut bytes)),
        Some(b"caff") => chunks::caf(&mut bytes),
        Some(b"\x1a\x45\xdf\xa3") => Ok(mkv::segment(&mut bytes)),
        _ if super::mp4::is_one(head) => mp4::boxes(&mut bytes),
        _ => Ok(Claims::default()),
    }
}

fn damaged(what: &str) -> String {
    format!(
        "{what}; copy it again from the recorder, or convert it with \"ffmpeg -i FILE take.wav\" \
         and give that"
    )
}

/// Reading a few bytes at known places.
struct Bytes<'a> {
    file: &'a mut File,
    length: u64,
}

impl Bytes<'_> {
    /// `None` beyond the end.
    fn at<const N: usize>(&mut self, place: u64) -> Option<[u8; N]> {
        let mut bytes = [0; N];
        self.file.seek(SeekFrom::Start(place)).ok()?;
        self.file.read_exact(&mut bytes).ok()?;
        Some(bytes)
    }

    /// `None` where there are fewer, or too many for a header.
    fn many(&mut self, place: u64, count: u64) -> Option<Vec<u8>> {
        if count > MOST_CHUNK_BYTES || count > self.length.checked_sub(place)? {
            return None;
        }
        let mut bytes = vec![0; usize::try_from(count).ok()?];
        self.file.seek(SeekFrom::Start(place)).ok()?;
        self.file.read_exact(&mut bytes).ok()?;
        Some(bytes)
    }
}
