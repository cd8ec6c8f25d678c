//! Sizes in a header are claims. A decoder that believed a forged one would
//! ask for gigabytes and take the whole program down, so they are held
//! against the length of the file first.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use symphonia::core::codecs::audio::AudioCodecParameters;
use symphonia::core::codecs::audio::well_known::CODEC_ID_ALAC;

/// Nothing but sound data is larger than this.
const MOST_CHUNK_BYTES: u64 = 64 << 20;

/// A decoder sets aside room for one packet of all channels.
const MOST_PACKET_FRAMES: u64 = 1 << 17;
const MOST_CHANNELS: usize = 32;
const MOST_PACKET_BYTES: u32 = 1 << 20;

const DAMAGED: &str = "its header claims sizes that cannot be true; copy it again from the \
                       recorder, or convert it with \"ffmpeg -i FILE take.wav\" and give that";

/// Refuses what would make a decoder set aside gigabytes.
pub(super) fn check_claims(params: &AudioCodecParameters) -> Result<(), String> {
    let channels = params.channels.as_ref().map_or(1, |c| c.count());
    let mut frames = params.max_frames_per_packet.unwrap_or(0);
    frames = frames.max(params.frames_per_block.unwrap_or(0));
    if params.codec == CODEC_ID_ALAC
        && let Some(length) = params
            .extra_data
            .as_deref()
            .and_then(|e| e.first_chunk::<4>())
    {
        // The codec's own header begins with the frames of a packet.
        frames = frames.max(u64::from(u32::from_be_bytes(*length)));
    }
    if channels > MOST_CHANNELS || frames > MOST_PACKET_FRAMES {
        return Err(DAMAGED.into());
    }
    Ok(())
}

/// Refuses a Core Audio file whose chunks claim more than there is.
pub(super) fn check(file: &mut File, length: u64, head: &[u8]) -> Result<(), String> {
    if !head.starts_with(b"caff") {
        return Ok(());
    }
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
            return Err(DAMAGED.into());
        } else if &chunk[..4] == b"desc" {
            let mut desc = [0u8; 32];
            let whole = file.read_exact(&mut desc).is_ok();
            let claim = |from: usize| {
                u32::from_be_bytes([desc[from], desc[from + 1], desc[from + 2], desc[from + 3]])
            };
            if !whole || claim(16) > MOST_PACKET_BYTES || u64::from(claim(20)) > MOST_PACKET_FRAMES
            {
                return Err(DAMAGED.into());
            }
        } else if &chunk[..4] == b"pakt" {
            let mut packets = [0u8; 8];
            let read = file.read_exact(&mut packets);
            // Every packet takes at least a byte of the table.
            if read.is_err() || u64::from_be_bytes(packets) > size {
                return Err(DAMAGED.into());
            }
        }
        at = at.saturating_add(12).saturating_add(size);
    }
    Ok(())
}
