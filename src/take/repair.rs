//! A recorder that was switched off in the middle leaves zeros where the
//! length belongs. The file stays as it is; the length is put right while it
//! is read.

use std::fs::File;
use std::io::{Read, Result, Seek, SeekFrom};
use symphonia::core::io::MediaSource;

/// Bytes to read in place of those in the file.
type Patch = (u64, [u8; 4]);

/// A file with some bytes put right.
pub(super) struct Patched {
    file: File,
    length: u64,
    at: u64,
    patches: Vec<Patch>,
}

impl Patched {
    /// `file` stands at its beginning.
    pub(super) fn new(file: File, length: u64, patches: Vec<Patch>) -> Self {
        Self {
            file,
            length,
            at: 0,
            patches,
        }
    }
}

impl Read for Patched {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize> {
        let read = self.file.read(buffer)?;
        for (place, bytes) in &self.patches {
            for (offset, byte) in (*place..).zip(bytes) {
                if (self.at..self.at + read as u64).contains(&offset) {
                    buffer[(offset - self.at) as usize] = *byte;
                }
            }
        }
        self.at += read as u64;
        Ok(read)
    }
}

impl Seek for Patched {
    fn seek(&mut self, to: SeekFrom) -> Result<u64> {
        self.at = self.file.seek(to)?;
        Ok(self.at)
    }
}

impl MediaSource for Patched {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.length)
    }
}

/// Lengths of a WAV file that were left at zero.
pub(super) fn wav(file: &mut File, length: u64, head: &[u8]) -> Vec<Patch> {
    let mut patches = Vec::new();
    if !head.starts_with(b"RIFF") || head.get(8..12) != Some(b"WAVE") {
        return patches;
    }
    let upto_end = |from: u64| {
        u32::try_from(length - from)
            .unwrap_or(u32::MAX)
            .to_le_bytes()
    };
    if head[4..8] == [0; 4] {
        patches.push((4, upto_end(8)));
    }
    let mut at = 12u64;
    while at + 8 < length {
        let mut chunk = [0u8; 8];
        if file
            .seek(SeekFrom::Start(at))
            .and_then(|_| file.read_exact(&mut chunk))
            .is_err()
        {
            break;
        }
        let size = u32::from_le_bytes([chunk[4], chunk[5], chunk[6], chunk[7]]);
        if &chunk[..4] == b"data" {
            if size == 0 {
                patches.push((at + 4, upto_end(at + 8)));
            }
            break;
        }
        at += 8 + u64::from(size) + u64::from(size & 1);
    }
    patches
}
