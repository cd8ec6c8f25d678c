//! A file of which a few bytes are read as if they were others: lengths that
//! a header has wrong, put right for the demuxer.

use std::fs::File;
use std::io::{Read, Result, Seek, SeekFrom};
use symphonia::core::io::MediaSource;

/// Bytes that stand at `at` instead of those in the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Patch {
    pub(super) at: u64,
    pub(super) bytes: Vec<u8>,
}

/// The file with its patches. Never longer than the file.
pub(super) struct Mended {
    file: File,
    length: u64,
    place: u64,
    patches: Vec<Patch>,
}

impl Mended {
    /// `file` stands at its beginning.
    pub(super) fn new(file: File, length: u64, patches: Vec<Patch>) -> Self {
        Self {
            file,
            length,
            place: 0,
            patches,
        }
    }
}

impl Read for Mended {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize> {
        let n = self.file.read(buffer)?;
        for patch in &self.patches {
            for (i, byte) in patch.bytes.iter().enumerate() {
                let inside = (patch.at + i as u64).checked_sub(self.place);
                if let Some(b) = inside
                    .and_then(|at| usize::try_from(at).ok())
                    .and_then(|at| buffer[..n].get_mut(at))
                {
                    *b = *byte;
                }
            }
        }
        self.place += n as u64;
        Ok(n)
    }
}

impl Seek for Mended {
    fn seek(&mut self, to: SeekFrom) -> Result<u64> {
        self.place = self.file.seek(to)?;
        Ok(self.place)
    }
}

impl MediaSource for Mended {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.length)
    }
}
