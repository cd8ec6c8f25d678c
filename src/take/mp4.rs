//! What an MP4 or `QuickTime` file says and the demuxer leaves aside: when its
//! sound begins and ends (the edit list, ISO/IEC 14496-12, 8.6.6), and in which
//! order the bytes of bare samples stand.

use std::io::{Read, Seek, SeekFrom};

/// The largest index that is read, bytes. A three-hour take has about 5 MB.
const MOST_INDEX_BYTES: u64 = 256 << 20;

/// Boxes that an MP4 or QuickTime file may begin with.
const FIRST_BOXES: [&[u8]; 7] = [
    b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"styp",
];

/// Whether a file that begins with these bytes is of this family.
pub(super) fn is_one(head: &[u8]) -> bool {
    head.get(4..8).is_some_and(|b| FIRST_BOXES.contains(&b))
}

/// Size in bytes of the largest packet that an index (the body of a `moov` or
/// `moof` box) speaks of; 0 where it speaks of none.
pub(super) fn largest_packet(index: &[u8]) -> u32 {
    boxes(index)
        .filter_map(|(name, inside)| match &name {
            b"trak" => {
                let table = find(find(find(inside, *b"mdia")?, *b"minf")?, *b"stbl")?;
                let sizes = find(table, *b"stsz")?;
                // One size for all, or a table of them.
                match be32(sizes, 4)? {
                    0 => sizes
                        .get(12..)?
                        .chunks_exact(4)
                        .filter_map(|c| be32(c, 0))
                        .max(),
                    all => Some(all),
                }
            }
            b"traf" => boxes(inside)
                .filter_map(|(name, inside)| match &name {
                    b"trun" => largest_in_run(inside),
                    b"tfhd" => default_size(inside),
                    _ => None,
                })
                .max(),
            b"mvex" => boxes(inside)
                .filter(|(name, _)| name == b"trex")
                .filter_map(|(_, trex)| be32(trex, 16))
                .max(),
            _ => None,
        })
        .max()
        .unwrap_or(0)
}

/// Of a `trun` box: its flags say which fields a packet has.
fn largest_in_run(run: &[u8]) -> Option<u32> {
    let flags = be32(run, 0)?;
    let has = |bit: u32| usize::from(flags & bit != 0) * 4;
    if has(0x200) == 0 {
        return None;
    }
    let head = 8 + has(0x1) + has(0x4);
    let entry = has(0x100) + has(0x200) + has(0x400) + has(0x800);
    run.get(head..)?
        .chunks_exact(entry)
        .filter_map(|fields| be32(fields, has(0x100)))
        .max()
}

/// Of a `tfhd` box.
fn default_size(head: &[u8]) -> Option<u32> {
    let flags = be32(head, 0)?;
    let has = |bit: u32, bytes: usize| usize::from(flags & bit != 0) * bytes;
    let at = 8 + has(0x1, 8) + has(0x2, 4) + has(0x8, 4);
    (flags & 0x10 != 0).then(|| be32(head, at)).flatten()
}

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

/// What the demuxer leaves aside.
#[derive(Debug, Default)]
pub(super) struct Index {
    /// Of all tracks that have an edit list.
    pub(super) edits: Vec<Edit>,
    /// Tracks of bare samples with the most significant byte first.
    pub(super) big_endian: Vec<u32>,
}

/// Reads the index. Empty where there is none or the file is not of this
/// family.
pub(super) fn index(file: &mut (impl Read + Seek)) -> Index {
    let Some(moov) = movie_index(file) else {
        return Index::default();
    };
    let scale = find(&moov, *b"mvhd").and_then(times).map_or(0, |t| t.0);
    let tracks = || boxes(&moov).filter(|(name, _)| name == b"trak");
    Index {
        edits: tracks()
            .filter_map(|(_, trak)| track_edit(trak, scale))
            .collect(),
        big_endian: tracks()
            .filter(|(_, trak)| is_big_endian(trak) == Some(true))
            .filter_map(|(_, trak)| track_id(trak))
            .collect(),
    }
}

fn track_id(trak: &[u8]) -> Option<u32> {
    let tkhd = find(trak, *b"tkhd")?;
    be32(tkhd, if tkhd.first() == Some(&1) { 20 } else { 12 })
}

/// Samples of 24 and 32 bits and floating point stand in `QuickTime` files most
/// significant byte first, unless an `enda` box says otherwise (`QuickTime` File
/// Format, "Sound sample descriptions"). `None`: coded otherwise.
fn is_big_endian(trak: &[u8]) -> Option<bool> {
    let table = find(find(find(trak, *b"mdia")?, *b"minf")?, *b"stbl")?;
    let entry = find(table, *b"stsd")?.get(8..)?;
    if ![b"in24", b"in32", b"fl32", b"fl64"].contains(&entry.get(4..8)?.first_chunk::<4>()?) {
        return None;
    }
    let fields = match entry.get(16..18)? {
        [0, 1] => 52,
        _ => 36,
    };
    let little = find(entry.get(fields..)?, *b"wave")
        .and_then(|wave| find(wave, *b"enda"))
        .is_some_and(|enda| enda == [0, 1]);
    Some(!little)
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
    let track = track_id(trak)?;
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
