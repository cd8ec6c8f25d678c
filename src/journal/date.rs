//! When a take was recorded, and how we know.
//!
//! In this order: what the recording itself says, what its file name says,
//! the time of the file. Times are as the player's clock showed them where
//! the source says so; only the day is used for trends.

use jiff::civil::{Date, DateTime};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;
use symphonia::core::formats::FormatOptions;
use symphonia::core::formats::probe::Hint;
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::meta::MetadataOptions;

/// Where a date comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Origin {
    /// The recording's own metadata.
    Metadata,
    FileName,
    FileTime,
}

impl Origin {
    /// As it stands in the log.
    pub fn name(self) -> &'static str {
        match self {
            Self::Metadata => "metadata",
            Self::FileName => "file-name",
            Self::FileTime => "file-time",
        }
    }

    /// The reverse of [`Origin::name`].
    pub fn from_name(name: &str) -> Option<Self> {
        [Self::Metadata, Self::FileName, Self::FileTime]
            .into_iter()
            .find(|o| o.name() == name)
    }
}

/// An instant or a day, and its origin.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recorded {
    /// "2026-11-25" or "2026-11-25T18:04:05".
    pub at: String,
    pub origin: Origin,
}

/// No recording is older than sound recording on a computer, and a clock
/// that was never set shows its maker's first day.
const FIRST_YEAR: i16 = 1990;

/// When the take at `path` was recorded. `None` where not even the file's
/// time can be read.
pub fn recorded(path: &Path) -> Option<Recorded> {
    let found = |at: String, origin| Recorded { at, origin };
    if let Some(at) = from_metadata(path) {
        return Some(found(at, Origin::Metadata));
    }
    let name = path.file_name().map(|n| n.to_string_lossy().into_owned());
    if let Some(at) = name.as_deref().and_then(in_name) {
        return Some(found(at, Origin::FileName));
    }
    let modified = std::fs::metadata(path).ok()?.modified().ok()?;
    let at = local(jiff::Timestamp::try_from(modified).ok()?)?;
    Some(found(at.to_string(), Origin::FileTime))
}

/// The first date in a file name: `2026-11-25`, `2026_11_25`, `2026.11.25`
/// or "20261125", not part of a longer number. Orders other than year,
/// month, day cannot be told apart and are not read.
pub fn in_name(name: &str) -> Option<String> {
    let bytes = name.as_bytes();
    let digits = |from: usize, count: usize| -> Option<i16> {
        let part = bytes.get(from..from + count)?;
        part.iter()
            .all(u8::is_ascii_digit)
            .then(|| part.iter().fold(0, |n, b| n * 10 + i16::from(b - b'0')))
    };
    let is_digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    (0..bytes.len()).find_map(|start| {
        if start > 0 && is_digit(start - 1) {
            return None;
        }
        let year = digits(start, 4)?;
        let separator = bytes.get(start + 4).filter(|b| b"-_.".contains(b));
        let (month_at, day_at) = match separator {
            Some(s) if bytes.get(start + 7) == Some(s) => (start + 5, start + 8),
            Some(_) => return None,
            None => (start + 4, start + 6),
        };
        let (month, day) = (digits(month_at, 2)?, digits(day_at, 2)?);
        if is_digit(day_at + 2) {
            return None;
        }
        let date = Date::new(year, month as i8, day as i8).ok()?;
        plausible(date).then(|| date.to_string())
    })
}

/// As the clock on the wall showed it, to the second.
fn local(instant: jiff::Timestamp) -> Option<DateTime> {
    jiff::ZonedDateTime::new(instant, jiff::tz::TimeZone::system())
        .datetime()
        .round(jiff::Unit::Second)
        .ok()
}

fn plausible(date: Date) -> bool {
    (FIRST_YEAR..2200).contains(&date.year())
}

/// Keys of tags that name the time of recording, lower case.
const KEYS: [&str; 8] = [
    "date",
    "creation_time",
    "creationdate",
    "com.apple.quicktime.creationdate",
    "\u{a9}day",
    "icrd",
    "tdrc",
    "date_recorded",
];

fn from_metadata(path: &Path) -> Option<String> {
    // A decoder library that stumbles over a damaged file costs the date,
    // not the take.
    std::panic::catch_unwind(|| {
        from_movie_header(path)
            .or_else(|| from_broadcast_chunk(path))
            .or_else(|| from_tags(path))
    })
    .ok()
    .flatten()
}

fn from_tags(path: &Path) -> Option<String> {
    let stream = MediaSourceStream::new(
        Box::new(File::open(path).ok()?),
        MediaSourceStreamOptions::default(),
    );
    let mut reader = symphonia::default::get_probe()
        .probe(
            &Hint::new(),
            stream,
            FormatOptions::default(),
            MetadataOptions::default(),
        )
        .ok()?;
    let mut metadata = reader.metadata();
    let newest = metadata.skip_to_latest()?;
    newest
        .media
        .tags
        .iter()
        .filter(|tag| KEYS.contains(&tag.raw.key.to_lowercase().as_str()))
        .find_map(|tag| in_tag(&tag.raw.value.to_string()))
}

/// A date as tags write it: a day at least, "2026-11-25" or with a time.
fn in_tag(text: &str) -> Option<String> {
    let text = text.trim().replace(' ', "T");
    let day: Date = text.get(..10)?.parse().ok()?;
    if !plausible(day) {
        return None;
    }
    let time = text
        .get(..19)
        .and_then(|t| t.parse::<DateTime>().ok())
        .map(|t| t.to_string());
    Some(time.unwrap_or_else(|| day.to_string()))
}

const FROM_1904_TO_1970: i64 = 2_082_844_800;

/// `creation_time` of an MP4 or `QuickTime` movie header: seconds since the
/// beginning of 1904 in UTC (ISO/IEC 14496-12, 8.2.2); 0 means not known.
fn from_movie_header(path: &Path) -> Option<String> {
    let mut file = File::open(path).ok()?;
    let end = file.metadata().ok()?.len();
    let movie = find_box(&mut file, 0, end, *b"moov")?;
    let (at, _) = find_box(&mut file, movie.0, movie.1, *b"mvhd")?;
    let head: [u8; 12] = read_at(&mut file, at)?;
    let seconds = if head[0] == 1 {
        u64::from_be_bytes(head[4..12].try_into().ok()?)
    } else {
        u64::from(u32::from_be_bytes(head[4..8].try_into().ok()?))
    };
    let unix = i64::try_from(seconds).ok()? - FROM_1904_TO_1970;
    let at = local(jiff::Timestamp::from_second(unix).ok()?)?;
    plausible(at.date()).then(|| at.to_string())
}

/// Content of the first box of a kind between two places.
fn find_box(file: &mut File, mut at: u64, end: u64, kind: [u8; 4]) -> Option<(u64, u64)> {
    while at + 8 <= end {
        let head: [u8; 8] = read_at(file, at)?;
        let short = u64::from(u32::from_be_bytes(head[..4].try_into().ok()?));
        let (header, size) = match short {
            0 => (8, end - at),
            1 => (16, u64::from_be_bytes(read_at(file, at + 8)?)),
            size => (8, size),
        };
        let next = at.checked_add(size)?;
        if size < header || next > end || !head[4..].is_ascii() && head[4] != 0xa9 {
            return None;
        }
        if head[4..] == kind {
            return Some((at + header, next));
        }
        at = next;
    }
    None
}

/// Date and time of the `bext` chunk of a broadcast wave file (EBU Tech
/// 3285): 10 characters of date and 8 of time after 320 of names.
fn from_broadcast_chunk(path: &Path) -> Option<String> {
    let mut file = File::open(path).ok()?;
    let end = file.metadata().ok()?.len();
    let head: [u8; 12] = read_at(&mut file, 0)?;
    if &head[..4] != b"RIFF" || &head[8..] != b"WAVE" {
        return None;
    }
    let mut at = 12;
    while at + 8 <= end {
        let chunk: [u8; 8] = read_at(&mut file, at)?;
        let size = u64::from(u32::from_le_bytes(chunk[4..].try_into().ok()?));
        if &chunk[..4] == b"bext" {
            let text: [u8; 18] = read_at(&mut file, at + 8 + 320)?;
            let (date, time) = text.split_at(10);
            let part = |bytes: &[u8]| String::from_utf8_lossy(bytes).replace(['_', ':', '.'], "-");
            let time = part(time).replace('-', ":");
            return in_tag(&format!("{}T{time}", part(date)));
        }
        at += 8 + size + size % 2;
    }
    None
}

fn read_at<const N: usize>(file: &mut File, at: u64) -> Option<[u8; N]> {
    let mut bytes = [0; N];
    file.seek(SeekFrom::Start(at)).ok()?;
    file.read_exact(&mut bytes).ok()?;
    Some(bytes)
}

/// The civil day of a date as the log keeps it.
pub fn day(at: &str) -> Option<Date> {
    at.get(..10)?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_in_names() {
        for (name, date) in [
            ("2026-11-25_lantern_take3.m4a", Some("2026-11-25")),
            ("lantern 20261125-180405.wav", Some("2026-11-25")),
            ("A_2026_02_28.flac", Some("2026-02-28")),
            ("2026.11.25 B.mp3", Some("2026-11-25")),
            ("2026-13-25.wav", None),
            ("2026-02-30.wav", None),
            ("120261125.wav", None),
            ("202611250.wav", None),
            ("25-11-2026.wav", None),
            ("take 3.wav", None),
            ("提灯2026-11-25行進.wav", Some("2026-11-25")),
        ] {
            assert_eq!(in_name(name).as_deref(), date, "{name}");
        }
    }

    #[test]
    fn dates_in_tags() {
        assert_eq!(in_tag("2026"), None);
        assert_eq!(in_tag("2026-11-25").as_deref(), Some("2026-11-25"));
        assert_eq!(
            in_tag("2026-11-25T18:04:05+0100").as_deref(),
            Some("2026-11-25T18:04:05")
        );
        assert_eq!(in_tag("1904-01-01"), None);
    }
}
