//! What an MP4 or QuickTime file says about when its sound begins and ends:
//! the edit list (ISO/IEC 14496-12, 8.6.6), which the demuxer leaves aside.

use std::io::{Read, Seek, SeekFrom};

/// The largest index that is read, bytes. A three-hour take has about 5 MB.
const MOST_INDEX_BYTES: u64 = 256 << 20;

/// Which stretch of one track is presented.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Edit {
    pub(super) track: u32,
    /// First and last unit that is presented, in units of `timescale`.
    pub(super) from: u64,
    /// `None`: to the end.
    pub(super) to: Option<u64>,
    /// Units a second.
    pub(super) timescale: u32,
    /// The list holds more than one stretch of sound; only the first counts.
    pub(super) more: bool,
}

/// The edits of all tracks that have an edit list. Empty where there is none
/// or the file is not of this family.
pub(super) fn edits(file: &mut (impl Read + Seek)) -> Vec<Edit> {
    movie_index(file).map_or_else(Vec::new, |moov| {
        let scale = find(&moov, *b"mvhd").and_then(times).map_or(0, |t| t.0);
        boxes(&moov)
            .filter(|(name, _)| name == b"trak")
            .filter_map(|(_, trak)| track_edit(trak, scale))
            .collect()
    })
}

/// The body of the `moov` box.
fn movie_index(file: &mut (impl Read + Seek)) -> Option<Vec<u8>> {
    let length = file.seek(SeekFrom::End(0)).ok()?;
    let mut at = 0u64;
    while at + 8 <= length {
        file.seek(SeekFrom::Start(at)).ok()?;
        let mut head = [0u8; 16];
        file.read_exact(&mut head[..8]).ok()?;
        let mut size = u64::from(u32::from_be_bytes(head[..4].try_into().ok()?));
        let mut header = 8;
        if size == 1 {
            file.read_exact(&mut head[8..]).ok()?;
            size = u64::from_be_bytes(head[8..].try_into().ok()?);
            header = 16;
        } else if size == 0 {
            size = length - at;
        }
        if size < header {
            return None;
        }
        if &head[4..8] == b"moov" {
            let body = size - header;
            if body > MOST_INDEX_BYTES || body > length - at {
                return None;
            }
            let mut moov = vec![0; body as usize];
            file.read_exact(&mut moov).ok()?;
            return Some(moov);
        }
        at = at.checked_add(size)?;
    }
    None
}

fn track_edit(trak: &[u8], movie_scale: u32) -> Option<Edit> {
    let tkhd = find(trak, *b"tkhd")?;
    let track = be32(tkhd, if tkhd.first() == Some(&1) { 20 } else { 12 })?;
    let (timescale, _) = times(find(find(trak, *b"mdia")?, *b"mdhd")?)?;
    let elst = find(find(trak, *b"edts")?, *b"elst")?;
    let count = be32(elst, 4)?;
    let wide = elst.first() == Some(&1);
    let entry = if wide { 20 } else { 12 };
    let mut stretches = (0..count as usize).map_while(|i| {
        let at = 8 + i * entry;
        if wide {
            Some((be64(elst, at)?, be64(elst, at + 8)? as i64))
        } else {
            Some((
                u64::from(be32(elst, at)?),
                i64::from(be32(elst, at + 4)? as i32),
            ))
        }
    });
    // A media time of -1 is a wait before the sound begins.
    let (duration, from) = stretches.find(|(_, from)| *from >= 0)?;
    let from = from as u64;
    let units = u128::from(duration) * u128::from(timescale);
    Some(Edit {
        track,
        from,
        to: (duration > 0 && movie_scale > 0)
            .then(|| u64::try_from(units.div_ceil(u128::from(movie_scale))).ok())
            .flatten()
            .and_then(|units| from.checked_add(units)),
        timescale,
        more: stretches.any(|(_, from)| from >= 0),
    })
}

/// Time scale and duration out of a `mvhd` or `mdhd` box.
fn times(body: &[u8]) -> Option<(u32, u64)> {
    let (scale, duration) = if body.first() == Some(&1) {
        (be32(body, 20)?, be64(body, 24)?)
    } else {
        (be32(body, 12)?, u64::from(be32(body, 16)?))
    };
    (scale > 0).then_some((scale, duration))
}

/// The boxes inside a box.
fn boxes(mut body: &[u8]) -> impl Iterator<Item = ([u8; 4], &[u8])> {
    std::iter::from_fn(move || {
        let size = be32(body, 0)? as usize;
        let name = body.get(4..8)?.try_into().ok()?;
        let size = if size == 0 { body.len() } else { size };
        let inside = body.get(8..size)?;
        body = &body[size..];
        Some((name, inside))
    })
}

fn find(body: &[u8], wanted: [u8; 4]) -> Option<&[u8]> {
    boxes(body)
        .find(|(name, _)| *name == wanted)
        .map(|(_, inside)| inside)
}

fn be32(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?))
}

fn be64(bytes: &[u8], at: usize) -> Option<u64> {
    Some(u64::from_be_bytes(bytes.get(at..at + 8)?.try_into().ok()?))
}
