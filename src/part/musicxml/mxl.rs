//! The packed form of `MusicXML`: a ZIP archive whose `META-INF/container.xml`
//! names the score (`MusicXML` 4.0, "Compressed .mxl files").

use super::super::read::{Fault, text_of};
use std::io::{Cursor, Read};
use zip::ZipArchive;

/// A score that unpacks to more is a trap for the memory.
const LARGEST_UNPACKED: u64 = 100_000_000;

/// The text of the score inside.
pub(in crate::part) fn unpack(bytes: &[u8]) -> Result<String, Fault> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|e| {
        Fault::new(
            "the archive",
            format!("cannot be unpacked ({e}); export the part again"),
        )
    })?;
    let named = entry(&mut archive, "META-INF/container.xml")
        .ok()
        .and_then(|container| root_file(&container));
    let name = match named {
        Some(name) => name,
        None => first_score(&mut archive).ok_or_else(|| {
            Fault::new(
                "the archive",
                "holds no score; export the part as .mxl again",
            )
        })?,
    };
    entry(&mut archive, &name)
}

fn root_file(container: &str) -> Option<String> {
    let options = roxmltree::ParsingOptions {
        allow_dtd: true,
        ..Default::default()
    };
    let document = roxmltree::Document::parse_with_options(container, options).ok()?;
    document
        .descendants()
        .find(|n| n.tag_name().name() == "rootfile")
        .and_then(|n| n.attribute("full-path"))
        .map(str::to_owned)
}

fn first_score(archive: &mut ZipArchive<Cursor<&[u8]>>) -> Option<String> {
    (0..archive.len()).find_map(|i| {
        let file = archive.by_index(i).ok()?;
        let name = file.name().ok()?.to_string();
        let score = [".xml", ".musicxml"].iter().any(|e| name.ends_with(e));
        (score && !name.starts_with("META-INF")).then_some(name)
    })
}

fn entry(archive: &mut ZipArchive<Cursor<&[u8]>>, name: &str) -> Result<String, Fault> {
    let fault = |what: String| Fault::new(format!("the archive, {name}"), what);
    let file = archive
        .by_name(name)
        .map_err(|e| fault(format!("cannot be unpacked ({e})")))?;
    let mut bytes = Vec::new();
    file.take(LARGEST_UNPACKED + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| fault(format!("is damaged ({e}); export the part again")))?;
    if bytes.len() as u64 > LARGEST_UNPACKED {
        return Err(fault(
            "unpacks to more than 100 MB; no part does".to_owned(),
        ));
    }
    text_of(&bytes)
}
