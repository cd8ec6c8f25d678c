//! Spells pieces of time as words: as few as possible, each a whole number of
//! beats where that can be.

use super::super::Quarters;
use super::super::time::written;

/// Pieces in one word that can still be read at a glance.
const MOST_PIECES: i64 = 24;

/// The word that begins with a piece, and the piece after it.
pub(super) fn word(
    pieces: &[(Quarters, Quarters, String)],
    first: usize,
    beat: Quarters,
) -> (String, usize) {
    let (start, end, text) = &pieces[first];
    let times = |q: Quarters| {
        if q == Quarters::from(1) {
            String::new()
        } else {
            format!("*{}", written(q))
        }
    };
    let alone = (*end - start) / beat;
    if alone.is_integer() {
        return (format!("{text}{}", times(alone)), first + 1);
    }
    let mut common = *end - start;
    for (offset, (from, to, _)) in pieces[first + 1..].iter().enumerate() {
        common = common_part(common, *to - from);
        let beats = (*to - start) / beat;
        let count = (*to - start) / common;
        if *count.numer() > MOST_PIECES {
            break;
        }
        if beats.is_integer() {
            let mut slots = Vec::new();
            for (from, to, text) in &pieces[first..=first + 1 + offset] {
                slots.push(text.clone());
                let more = *((*to - from) / common).numer() - 1;
                let filler = if text.ends_with('.') { "." } else { "_" };
                slots.extend((0..more).map(|_| filler.to_owned()));
            }
            return (
                format!("{}{}", slots.join(","), times(beats)),
                first + offset + 2,
            );
        }
    }
    (format!("{text}{}", times(alone)), first + 1)
}

/// The largest length of which both are multiples.
fn common_part(a: Quarters, b: Quarters) -> Quarters {
    let denominator = *a.denom() * (*b.denom() / gcd(*a.denom(), *b.denom()));
    let scaled = |q: Quarters| *q.numer() * (denominator / *q.denom());
    Quarters::new(gcd(scaled(a), scaled(b)).max(1), denominator)
}

fn gcd(mut a: i64, mut b: i64) -> i64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.abs()
}
