//! Opening a file: what it is, whether it can be trusted, its hash.

use super::decode::Decoding;
use super::mended::Mended;
use super::mp4;
use super::trace::Trace;
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;
use symphonia::core::errors::Error as LibraryError;
use symphonia::core::formats::FormatOptions;
use symphonia::core::formats::probe::Hint;
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::meta::MetadataOptions;

/// An opened file.
pub(super) struct Opened {
    pub(super) decoding: Decoding,
    /// BLAKE3, hexadecimal.
    pub(super) hash: String,
    pub(super) remarks: Vec<String>,
}

/// Opens a file; the error says what is wrong and what to do.
pub(super) fn open(path: &Path) -> Result<Opened, String> {
    let about = std::fs::metadata(path).map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => "there is no such file; check the name".to_owned(),
        std::io::ErrorKind::PermissionDenied => {
            "it may not be read; check its permissions".to_owned()
        }
        _ => format!("it cannot be read: {e}"),
    })?;
    if about.is_dir() {
        return Err("it is a folder; give one recording, or use \"kettlemark class\"".into());
    }
    if !about.is_file() {
        return Err("it is not an ordinary file; save the recording to a file first".into());
    }
    if about.len() == 0 {
        return Err("it is empty; copy it again from the recorder".into());
    }
    let mut file = File::open(path).map_err(|e| match e.kind() {
        std::io::ErrorKind::PermissionDenied => {
            "it may not be read; check its permissions".to_owned()
        }
        _ => format!("it cannot be read: {e}"),
    })?;
    let hash = hash(&mut file).map_err(|e| format!("it cannot be read to its end: {e}"))?;
    let head = head(&mut file)?;
    if let Some(kind) = foreign(&head) {
        return Err(format!(
            "it is {kind}, which is not read here; convert it with \"ffmpeg -i FILE take.wav\" \
             and give that"
        ));
    }
    if head
        .iter()
        .all(|b| (0x20..0x7f).contains(b) || b"\t\r\n".contains(b))
    {
        return Err("it holds text, not sound; give the recording itself".into());
    }
    let claims = super::guard::check(&mut file, about.len(), &head)?;
    let index = if mp4::is_one(&head) {
        mp4::index(&mut file)
    } else {
        mp4::Index::default()
    };
    rewind(&mut file)?;
    let again = File::open(path).map_err(|e| format!("it cannot be read: {e}"))?;
    let file = Mended::new(file, about.len(), claims.patches);
    let stream = MediaSourceStream::new(Box::new(file), MediaSourceStreamOptions::default());
    let reader = symphonia::default::get_probe()
        .probe(
            &Hint::new(),
            stream,
            FormatOptions::default(),
            MetadataOptions::default(),
        )
        .map_err(|e| explain(&e))?;
    Ok(Opened {
        decoding: Decoding::new(reader, &index, claims.share, || {
            Trace::new(again, about.len())
        })?,
        hash,
        remarks: claims.remarks,
    })
}

fn rewind(file: &mut File) -> Result<(), String> {
    file.seek(SeekFrom::Start(0))
        .map(|_| ())
        .map_err(|e| format!("it cannot be read: {e}"))
}

fn hash(file: &mut File) -> std::io::Result<String> {
    let mut hasher = blake3::Hasher::new();
    let mut buffer = vec![0u8; 1 << 17];
    loop {
        let n = file.read(&mut buffer)?;
        if n == 0 {
            return Ok(hasher.finalize().to_hex().to_string());
        }
        hasher.update(&buffer[..n]);
    }
}

fn head(file: &mut File) -> Result<Vec<u8>, String> {
    rewind(file)?;
    let mut head = Vec::new();
    file.take(512)
        .read_to_end(&mut head)
        .map_err(|e| format!("it cannot be read: {e}"))?;
    Ok(head)
}

/// Names formats that are known by their first bytes and not read.
fn foreign(head: &[u8]) -> Option<&'static str> {
    let at = |place: usize, bytes: &[u8]| head.get(place..place + bytes.len()) == Some(bytes);
    let known = [
        (
            at(0, b"RF64") || at(0, b"BW64"),
            "an RF64 file (a WAV beyond 4 GB)",
        ),
        (at(0, b"riff\x2e\x91\xcf\x11"), "a Wave64 file"),
        (at(0, b"#!AMR"), "an AMR telephone recording"),
        (at(0, b"\x30\x26\xb2\x75"), "a Windows Media (WMA) file"),
        (at(0, b"wvpk"), "a WavPack file"),
        (at(0, b"MAC "), "a Monkey's Audio file"),
        (at(0, b"\x0b\x77"), "an AC-3 file"),
        (at(0, b".snd"), "an AU file"),
        (at(28, b"Speex   "), "a Speex telephone recording"),
        (at(0, b"MThd"), "a MIDI file (a part, not a recording)"),
        (at(0, b"PK\x03\x04"), "a ZIP archive"),
        (at(0, b"%PDF"), "a PDF document"),
        (at(8, b"AVI "), "an AVI video"),
        (at(0, b"FLV"), "a Flash video"),
        (at(0, b"\x89PNG") || at(0, b"\xff\xd8\xff"), "a picture"),
    ];
    known.iter().find(|(is, _)| *is).map(|(_, name)| *name)
}

fn explain(error: &LibraryError) -> String {
    let why = match error {
        LibraryError::IoError(_) => "it breaks off within its header".to_owned(),
        LibraryError::DecodeError(what) => format!("its header is damaged ({what})"),
        LibraryError::Unsupported(_) => {
            "it is not a recording in a format that is known here".into()
        }
        other => format!("it cannot be opened ({other})"),
    };
    format!(
        "{why}; copy it again from the recorder, or convert it with \"ffmpeg -i FILE take.wav\" \
         and give that"
    )
}
