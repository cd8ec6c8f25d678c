//! Matroska and `WebM` (RFC 9559, on EBML, RFC 8794).

use super::{Bytes, Claims};
use crate::take::mended::Patch;

/// The file's one segment, which holds everything, may have a size that the
/// file does not have any more. "Unknown" is a size too: all ones.
pub(super) fn segment(bytes: &mut Bytes) -> Claims {
    let mut claims = Claims::default();
    let length = bytes.length;
    let mut at = 4;
    // The EBML header, then the segment.
    for name in [None, Some([0x18, 0x53, 0x80, 0x67])] {
        if let Some(name) = name {
            if bytes.at::<4>(at) != Some(name) {
                return claims;
            }
            at += 4;
        }
        let Some((size, width)) = size(bytes, at) else {
            return claims;
        };
        let body = at + width;
        if name.is_some() && size.is_some_and(|size| size > length.saturating_sub(body)) {
            let mut unknown = vec![0xFF; width as usize];
            unknown[0] = 0xFF >> (width - 1);
            claims.patches.push(Patch { at, bytes: unknown });
            claims.patches.extend(without_directory(bytes, body));
        }
        at = body.saturating_add(size.unwrap_or(0));
    }
    claims
}

/// The directory at the head of a segment points behind where the file breaks
/// off, so it is read as an element of no meaning (Void, of a size in four
/// bytes) of the same length.
fn without_directory(bytes: &mut Bytes, at: u64) -> Option<Patch> {
    if bytes.at::<4>(at)? != [0x11, 0x4D, 0x9B, 0x74] {
        return None;
    }
    let (inside, width) = size(bytes, at + 4)?;
    let left = u32::try_from(inside? + 4 + width - 5).ok()?;
    if left >= (1 << 28) - 1 {
        return None;
    }
    let mut void = vec![0xEC];
    void.extend((0x1000_0000 | left).to_be_bytes());
    Some(Patch { at, bytes: void })
}

/// A size and how many bytes it takes; `None` inside: unknown.
fn size(bytes: &mut Bytes, at: u64) -> Option<(Option<u64>, u64)> {
    let [first] = bytes.at::<1>(at)?;
    let width = u64::from(first.leading_zeros()) + 1;
    if width > 8 {
        return None;
    }
    let mut value = u64::from(first) & ((1 << (8 - width)) - 1);
    let mut ones = value == (1 << (8 - width)) - 1;
    for i in 1..width {
        let [byte] = bytes.at::<1>(at + i)?;
        ones &= byte == 0xFF;
        value = value << 8 | u64::from(byte);
    }
    Some(((!ones).then_some(value), width))
}
