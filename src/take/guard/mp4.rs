//! MP4 and `QuickTime`: the top level of boxes, and the sizes of packets.

use super::{Bytes, Claims, damaged};
use crate::take::mended::Patch;
use crate::take::mp4;

/// Sound or picture: no packet is larger than this.
const MOST_PACKET_BYTES: u32 = 64 << 20;

/// A file cut short keeps its sound when its index stands in front.
pub(super) fn boxes(bytes: &mut Bytes) -> Result<Claims, String> {
    let mut claims = Claims::default();
    let length = bytes.length;
    let (mut at, mut index) = (0, false);
    while let Some(head) = bytes.at::<8>(at) {
        let stated = u32::from_be_bytes([head[0], head[1], head[2], head[3]]);
        let (size, width) = match stated {
            0 => (length - at, 8),
            1 => (bytes.at::<8>(at + 8).map_or(0, u64::from_be_bytes), 16),
            n => (u64::from(n), 8),
        };
        if size < width {
            break;
        }
        let there = length - at;
        match &head[4..] {
            b"moov" => {
                index = size <= there;
                let moov = bytes.many(at + width, size - width);
                if moov.is_some_and(|m| mp4::largest_packet(&m) > MOST_PACKET_BYTES) {
                    return Err(damaged(
                        "its index is damaged: a packet is larger than any is",
                    ));
                }
            }
            b"moof" => {
                let moof = bytes.many(at + width, size - width);
                if moof.is_some_and(|m| mp4::largest_packet(&m) > MOST_PACKET_BYTES) {
                    return Err(damaged(
                        "its index is damaged: a packet is larger than any is",
                    ));
                }
            }
            b"mdat" if size > there => {
                // 0: until the end of the file.
                claims.patches.push(Patch {
                    at,
                    bytes: vec![0; 4],
                });
            }
            _ => {}
        }
        at = at.saturating_add(size);
    }
    if !index {
        return Err(
            "its index is missing: it was cut short, or the recorder was switched off before it \
             had written it; copy it again, or let the recorder finish it"
                .into(),
        );
    }
    Ok(claims)
}
