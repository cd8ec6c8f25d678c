//! Sizes in a header are claims. A decoder that believed a forged one would
//! ask for gigabytes and take the whole program down, so they are held
//! against the length of the file first.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};

/// Nothing but sound data is larger than this.
const MOST_CHUNK_BYTES: u64 = 64 << 20;

/// Refuses a Core Audio file whose chunks claim more than there is.
pub(super) fn check(file: &mut File, length: u64, head: &[u8]) -> Result<(), String> {
    if !head.starts_with(b"caff") {
        return Ok(());
    }
    let damaged = "a chunk of its header is longer than the file; copy it again from the \
                   recorder, or convert it with \"ffmpeg -i FILE take.wav\" and give that";
    let mut at = 8u64;
    while at + 12 <= length {
        let mut chunk = [0u8; 12];
        let read = file
            .seek(SeekFrom::Start(at))
            .and_then(|_| file.read_exact(&mut chunk));
        read.map_err(|e| format!("it cannot be read: {e}"))?;
        let mut size = [0u8; 8];
        size.copy_from_slice(&chunk[4..]);
        let size = u64::from_be_bytes(size);
        if &chunk[..4] == b"data" {
            // All ones: until the end of the file.
            if size == u64::MAX {
                return Ok(());
            }
        } else if size > MOST_CHUNK_BYTES || size > length - at - 12 {
            return Err(damaged.into());
        } else if &chunk[..4] == b"pakt" {
            let mut packets = [0u8; 8];
            let read = file.read_exact(&mut packets);
            // Every packet takes at least a byte of the table.
            if read.is_err() || u64::from_be_bytes(packets) > size {
                return Err(damaged.into());
            }
        }
        at = at.saturating_add(12).saturating_add(size);
    }
    Ok(())
}
