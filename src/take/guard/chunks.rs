//! Files of chunks: WAV (RIFF), AIFF and AIFF-C (IFF), Core Audio Format.

use super::{Bytes, Claims, MOST_CHUNK_BYTES, damaged};
use crate::take::mended::Patch;

/// The first two bytes of a WAV format GUID are the old format tag: 7 for
/// mu-law (RFC 2361, appendix A). The demuxer looks for 4.
const MU_LAW: u16 = 7;
const MU_LAW_LOOKED_FOR: u16 = 4;

/// A WAV: the chunk sizes are put right where they cannot be true.
pub(super) fn wav(bytes: &mut Bytes) -> Claims {
    let mut claims = Claims::default();
    let length = bytes.length;
    let Some(riff) = bytes.at::<4>(4).map(u32::from_le_bytes) else {
        return claims;
    };
    let riff_end = u64::from(riff) + 8;
    let mut at = 12;
    while let Some(head) = bytes.at::<8>(at) {
        let size = u32::from_le_bytes([head[4], head[5], head[6], head[7]]);
        let body = at + 8;
        if &head[..4] == b"fmt " && size >= 40 {
            let tag = bytes.at::<2>(body).map(u16::from_le_bytes);
            let kind = bytes.at::<2>(body + 24).map(u16::from_le_bytes);
            if tag == Some(0xFFFE) && kind == Some(MU_LAW) {
                claims.patches.push(Patch {
                    at: body + 24,
                    bytes: MU_LAW_LOOKED_FOR.to_le_bytes().to_vec(),
                });
            }
        }
        if &head[..4] == b"data" {
            let there = length - body;
            // A program that cannot go back states the largest size.
            let streamed = size == u32::MAX;
            let unfinished = size == 0 && there > 0 && riff_end <= body;
            let mut stated = size;
            if streamed || unfinished {
                stated = u32::try_from(there).unwrap_or(u32::MAX);
                claims.patches.push(le32(at + 4, stated));
            }
            if unfinished {
                claims.unfinished();
            }
            if riff_end < body + u64::from(stated) || streamed {
                claims.patches.push(le32(4, u32::MAX));
            }
            return claims;
        }
        at = next(body, u64::from(size));
    }
    claims
}

/// An AIFF or AIFF-C: one that was cut short, or never finished, ends where
/// the file ends.
pub(super) fn aiff(bytes: &mut Bytes) -> Claims {
    let mut claims = Claims::default();
    let length = bytes.length;
    let mut at = 12;
    while let Some(head) = bytes.at::<8>(at) {
        let size = u32::from_be_bytes([head[4], head[5], head[6], head[7]]);
        let body = at + 8;
        if &head[..4] == b"SSND" {
            let there = length - body;
            let form = bytes.at::<4>(4).map_or(0, u32::from_be_bytes);
            let unfinished = size <= 8 && there > 8 && u64::from(form) + 8 <= body + 8;
            let stated = u32::try_from(there).unwrap_or(u32::MAX);
            if unfinished || u64::from(size) > there {
                claims.patches.push(be32(at + 4, stated));
                claims
                    .patches
                    .push(be32(4, u32::try_from(length - 8).unwrap_or(u32::MAX)));
                if unfinished {
                    claims.unfinished();
                } else if size != u32::MAX {
                    claims.share = share(there.saturating_sub(8), u64::from(size) - 8);
                }
            }
            return claims;
        }
        at = next(body, u64::from(size));
    }
    claims
}

/// A Core Audio file (Apple, Core Audio Format Specification 1.0).
pub(super) fn caf(bytes: &mut Bytes) -> Result<Claims, String> {
    let too_long = || damaged("a chunk of its header is longer than the file");
    let mut claims = Claims::default();
    let length = bytes.length;
    let mut at = 8u64;
    while let Some(head) = bytes.at::<12>(at) {
        let size = u64::from_be_bytes([
            head[4], head[5], head[6], head[7], head[8], head[9], head[10], head[11],
        ]);
        let body = at + 12;
        let there = length - body;
        if &head[..4] == b"data" {
            if size > there {
                claims.patches.push(Patch {
                    at: at + 4,
                    bytes: there.to_be_bytes().to_vec(),
                });
                // All ones: until the end of the file.
                if size != u64::MAX {
                    claims.share = share(there.saturating_sub(4), size.saturating_sub(4));
                }
                return Ok(claims);
            }
        } else if size > MOST_CHUNK_BYTES || size > there {
            return Err(too_long());
        } else if &head[..4] == b"pakt" {
            // Every packet takes at least a byte of the table.
            let packets = bytes.at::<8>(body).map(u64::from_be_bytes);
            if packets.is_none_or(|packets| packets > size) {
                return Err(too_long());
            }
        }
        at = body.saturating_add(size);
    }
    Ok(claims)
}

/// Where the next chunk begins: they start at even places.
fn next(body: u64, size: u64) -> u64 {
    body.saturating_add(size).saturating_add(size % 2)
}

fn share(there: u64, claimed: u64) -> Option<f64> {
    (there < claimed).then(|| there as f64 / claimed as f64)
}

fn le32(at: u64, value: u32) -> Patch {
    let bytes = value.to_le_bytes().to_vec();
    Patch { at, bytes }
}

fn be32(at: u64, value: u32) -> Patch {
    let bytes = value.to_be_bytes().to_vec();
    Patch { at, bytes }
}
