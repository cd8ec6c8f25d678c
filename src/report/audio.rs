//! The recording as the page reaches it: a relative address beside the page,
//! or a small copy inside it.

use super::page::Audio;
use crate::error::Error;
use crate::review::Review;
use crate::take::{ANALYSIS_RATE_HZ, Recording};
use flac_codec::encode::{FlacSampleWriter, Options};
use std::io::Cursor;
use std::path::{Component, Path, PathBuf};

/// A little is kept before and after the passage, seconds.
const AROUND_S: f64 = 1.0;
/// Of the 16 bits of a sample.
const EMPTY_BITS: u32 = 4;

/// The address of `file` as seen from a page in `folder`. Where there is no
/// way from one to the other (another drive), the file's whole address.
pub fn relative(file: &Path, folder: &Path) -> String {
    match way(file, folder) {
        Some(way) => address(&way),
        None => format!("file://{}", address(&absolute(file))),
    }
}

/// The way from a folder to a file or another folder, up and down; `None`
/// where there is none. Empty from a folder to itself.
pub fn way(to: &Path, from: &Path) -> Option<PathBuf> {
    let (to, from) = (absolute(to), absolute(from));
    let to: Vec<Component> = to.components().collect();
    let from: Vec<Component> = from.components().collect();
    let shared = to.iter().zip(&from).take_while(|(a, b)| a == b).count();
    let mut way: PathBuf = std::iter::repeat_n("..", from.len() - shared).collect();
    way.extend(&to[shared..]);
    (shared > 0).then_some(way)
}

/// The whole path without links, also of what does not exist yet.
fn absolute(path: &Path) -> PathBuf {
    let path = std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
    for ancestor in path.ancestors() {
        if let (Ok(real), Ok(rest)) = (ancestor.canonicalize(), path.strip_prefix(ancestor)) {
            return if rest.as_os_str().is_empty() {
                real
            } else {
                real.join(rest)
            };
        }
    }
    path
}

/// A path as an address: everything but unreserved characters and slashes
/// is percent-encoded (RFC 3986, section 2).
fn address(path: &Path) -> String {
    let mut address = String::new();
    for (i, component) in path.components().enumerate() {
        if i > 0 && !address.ends_with('/') {
            address.push('/');
        }
        match component {
            Component::RootDir => address.push('/'),
            other => {
                for byte in other.as_os_str().as_encoded_bytes() {
                    match byte {
                        b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => {
                            address.push(char::from(*byte));
                        }
                        _ => address.push_str(&format!("%{byte:02X}")),
                    }
                }
            }
        }
    }
    // A first part with a colon would read as a scheme; none is left unescaped.
    address
}

/// An address with its percent-encoding taken out, for reading.
pub fn readable(address: &str) -> String {
    let mut bytes = Vec::new();
    let mut rest = address.as_bytes();
    while let Some((first, after)) = rest.split_first() {
        let code = (*first == b'%').then(|| after.get(..2)).flatten();
        let code = code.and_then(|hex| std::str::from_utf8(hex).ok());
        if let Some(byte) = code.and_then(|hex| u8::from_str_radix(hex, 16).ok()) {
            bytes.push(byte);
            rest = &after[2..];
        } else {
            bytes.push(*first);
            rest = after;
        }
    }
    super::lettering::harmless(&String::from_utf8_lossy(&bytes))
}

/// The counted passage (or, without one, the whole take) as a mono FLAC file at
/// the rate of listening, as a data address. Without loss every sample keeps its
/// place, and every browser plays it.
pub fn embedded(file: &Path, review: &Review) -> Result<Audio, Error> {
    let counted = review.passages.iter().find(|p| p.counted);
    let from_s = counted.map_or(0.0, |p| (p.from_s - AROUND_S).max(0.0));
    let to_s = counted.map_or(review.take.duration_s, |p| p.to_s + AROUND_S);
    let rate = f64::from(ANALYSIS_RATE_HZ);
    let (first, last) = ((from_s * rate) as usize, (to_s * rate) as usize);
    let mut recording = Recording::open(file)?;
    let mut kept: Vec<f32> = Vec::new();
    let mut place = 0;
    while let Some(block) = recording.next_block()? {
        let end = place + block.len();
        let (a, b) = (first.clamp(place, end), last.clamp(place, end));
        kept.extend(&block[a - place..b - place]);
        place = end;
        if place >= last {
            break;
        }
    }
    let flac = flac(&kept).map_err(|e| Error::Write {
        path: file.to_path_buf(),
        source: std::io::Error::other(e),
    })?;
    Ok(Audio {
        src: format!("data:audio/flac;base64,{}", base64(&flac)),
        starts_s: first as f64 / rate,
        inside: true,
    })
}

/// Samples as a FLAC file of 16 bits. The lowest bits are left empty, which
/// halves the file; what that adds lies 76 dB below the loudest moment, deeper
/// than the noise of rooms and phones.
fn flac(samples: &[f32]) -> Result<Vec<u8>, flac_codec::Error> {
    let peak = samples.iter().fold(0.0_f32, |peak, s| peak.max(s.abs()));
    // Soft takes are brought up: this copy is for hearing, not measuring.
    let gain = if peak > 1e-4 { 0.9 / peak } else { 1.0 };
    let whole = f32::from(1_i16 << (15 - EMPTY_BITS));
    let coded: Vec<i32> = samples
        .iter()
        .map(|s| ((s * gain * whole).round() as i32) << EMPTY_BITS)
        .collect();
    let mut file = Cursor::new(Vec::new());
    let options = Options::best().no_padding();
    let count = Some(coded.len() as u64);
    let mut writer = FlacSampleWriter::new(&mut file, options, ANALYSIS_RATE_HZ, 16, 1, count)?;
    writer.write(&coded)?;
    writer.finalize()?;
    Ok(file.into_inner())
}

/// Base 64 (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let byte = |i: usize| u32::from(group.get(i).copied().unwrap_or(0));
        let bits = byte(0) << 16 | byte(1) << 8 | byte(2);
        for k in 0..4 {
            let letter = LETTERS[(bits >> (18 - 6 * k)) as usize & 63];
            text.push(if k > group.len() {
                '='
            } else {
                char::from(letter)
            });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The test vectors of RFC 4648, section 10.
    #[test]
    fn base64_agrees_with_rfc_4648() {
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn an_address_is_relative_and_safe() {
        let address = relative(
            Path::new("/nowhere/takes/a #1 \"x\" ü.m4a"),
            Path::new("/nowhere/reports/a"),
        );
        assert_eq!(address, "../../takes/a%20%231%20%22x%22%20%C3%BC.m4a");
        assert_eq!(readable(&address), "../../takes/a #1 \"x\" ü.m4a");
        let inside = relative(Path::new("/nowhere/a/x:y.wav"), Path::new("/nowhere/a"));
        assert_eq!(inside, "x%3Ay.wav");
    }
}
