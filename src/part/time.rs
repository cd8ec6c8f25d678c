//! Exact musical time that stays small enough to be exact.

use super::Quarters;

/// Denominators beyond this come from damaged files or from rounding in the
/// program that wrote the file.
const LARGEST_DENOMINATOR: i64 = 50_400;
/// What such a value is rounded to: halves, thirds, fifths, sevenths and
/// sixty-fourths all fit.
const GRID: i64 = 20_160;
/// No single length in a part is longer, in quarter notes.
const LONGEST: i64 = 10_000;

/// Keeps fractions from growing until they overflow.
pub(super) fn tidy(q: Quarters) -> Quarters {
    if *q.denom() <= LARGEST_DENOMINATOR {
        return q;
    }
    let rounded = i128::from(*q.numer()) * i128::from(GRID) / i128::from(*q.denom());
    Quarters::new(rounded as i64, GRID)
}

/// A decimal number such as "12", "-3" or "10.5", exactly. `None` when it is no
/// number, or too large to be a length of music.
pub(super) fn decimal(text: &str) -> Option<Quarters> {
    let text = text.trim();
    let (sign, digits) = match text.strip_prefix('-') {
        Some(rest) => (-1, rest),
        None => (1, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, part) = digits.split_once('.').unwrap_or((digits, ""));
    let plain = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    if !plain(whole) || !plain(part) || whole.len() + part.len() == 0 || whole.len() > 9 {
        return None;
    }
    let part = &part[..part.len().min(4)];
    let scale = 10_i64.pow(part.len() as u32);
    let value: i64 = format!("{whole}{part}").parse().ok()?;
    Some(Quarters::new(sign * value, scale))
}

/// A fraction "3/2" or a decimal, of a size that a part can have.
pub(super) fn fraction(text: &str) -> Option<Quarters> {
    let value = match text.split_once('/') {
        Some((over, under)) => {
            let (over, under) = (decimal(over)?, decimal(under)?);
            if *under.numer() == 0 || *over.denom() != 1 || *under.denom() != 1 {
                return None;
            }
            over / under
        }
        None => decimal(text)?,
    };
    (size(value) <= Quarters::from(LONGEST) && *value.denom() <= LARGEST_DENOMINATOR)
        .then_some(value)
}

/// "3/2", or "2" for a whole number.
pub(super) fn written(q: Quarters) -> String {
    if q.is_integer() {
        q.numer().to_string()
    } else {
        format!("{}/{}", q.numer(), q.denom())
    }
}

/// A length without its sign.
pub(super) fn size(q: Quarters) -> Quarters {
    q.max(-q)
}
