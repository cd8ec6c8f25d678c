//! review.json: the review as contract and schema have it.
//!
//! Numbers are rounded far above the noise of arithmetic, so that the same
//! take gives the same bytes on every machine: places in the part and shares
//! to a millionth, seconds to 10 µs, everything else to a thousandth.
//! Settings stand as they were given. Objects deep inside take one line.

use crate::review::Review;
use serde::Serialize;
use serde_json::ser::{Formatter, Serializer};
use std::io::{self, Write};

/// The JSON Schema (draft 2020-12) that every written file fulfils.
pub const SCHEMA: &str = include_str!("review.schema.json");

/// Nested deeper than this, an object or list stands on one line.
const BROKEN_LEVELS: usize = 2;

/// The text of review.json.
pub fn text(review: &Review) -> String {
    let mut bytes = Vec::new();
    let mut serializer = Serializer::with_formatter(&mut bytes, Rounding::default());
    // A review holds no maps and no keys that are not texts, and a Vec takes
    // every byte: serialising cannot fail.
    let _ = review.serialize(&mut serializer);
    bytes.push(b'\n');
    String::from_utf8_lossy(&bytes).into_owned()
}

/// The review as the file says it: the same numbers, rounded. Charts and
/// pages are made of this, so that they can be made again from the file.
pub fn rounded(review: &Review) -> Review {
    // A number that is not finite has no place in JSON; such a review stays
    // as it is, and what is not finite is shown as unknown.
    serde_json::from_str(&text(review)).unwrap_or_else(|_| review.clone())
}

#[derive(Default)]
struct Rounding {
    depth: usize,
    empty: bool,
    in_key: bool,
    /// The key of the innermost value at each depth.
    keys: Vec<String>,
}

impl Rounding {
    fn decimals(&self) -> Option<usize> {
        if self.keys.first().is_some_and(|k| k == "settings") {
            return None;
        }
        let key = self.keys.iter().rev().find(|k| !k.is_empty());
        let key = key.map_or("", String::as_str);
        Some(match key {
            "at" | "beat" | "length" | "shares" | "from" | "to" | "outline_hop_s"
            | "curve_hop_s" => 6,
            "outline_db" => 1,
            "curve_db" | "level_curve_db" => 2,
            "same_piece" | "clipped_share" | "steadiness" => 4,
            "gaps" => 5,
            k if k.ends_with("_per_s") || k.ends_with("_per_s_sd") => 3,
            k if k.ends_with("_s") => 5,
            _ => 3,
        })
    }

    fn new_line<W: ?Sized + Write>(&self, writer: &mut W) -> io::Result<()> {
        if self.depth > BROKEN_LEVELS {
            return Ok(());
        }
        writer.write_all(b"\n")?;
        for _ in 0..self.depth {
            writer.write_all(b"  ")?;
        }
        Ok(())
    }

    fn begin<W: ?Sized + Write>(&mut self, writer: &mut W, bracket: &[u8]) -> io::Result<()> {
        self.depth += 1;
        self.keys.push(String::new());
        self.empty = true;
        writer.write_all(bracket)
    }

    fn end<W: ?Sized + Write>(&mut self, writer: &mut W, bracket: &[u8]) -> io::Result<()> {
        self.keys.pop();
        self.depth -= 1;
        if !self.empty && self.depth < BROKEN_LEVELS {
            self.new_line(writer)?;
        }
        self.empty = false;
        writer.write_all(bracket)
    }

    fn between<W: ?Sized + Write>(&mut self, writer: &mut W, first: bool) -> io::Result<()> {
        if !first {
            writer.write_all(if self.depth > BROKEN_LEVELS {
                b", "
            } else {
                b","
            })?;
        }
        self.empty = false;
        self.new_line(writer)
    }
}

impl Formatter for Rounding {
    fn write_f64<W: ?Sized + Write>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        let Some(decimals) = self.decimals() else {
            return write!(writer, "{value}");
        };
        let text = format!("{value:.decimals$}");
        let short = text.trim_end_matches('0').trim_end_matches('.');
        writer.write_all(if short == "-0" {
            b"0"
        } else {
            short.as_bytes()
        })
    }

    fn begin_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.begin(writer, b"[")
    }

    fn end_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.end(writer, b"]")
    }

    fn begin_array_value<W: ?Sized + Write>(&mut self, w: &mut W, first: bool) -> io::Result<()> {
        self.between(w, first)
    }

    fn begin_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.begin(writer, b"{")
    }

    fn end_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.end(writer, b"}")
    }

    fn begin_object_key<W: ?Sized + Write>(&mut self, w: &mut W, first: bool) -> io::Result<()> {
        self.between(w, first)?;
        self.in_key = true;
        if let Some(key) = self.keys.last_mut() {
            key.clear();
        }
        Ok(())
    }

    fn write_string_fragment<W: ?Sized + Write>(
        &mut self,
        w: &mut W,
        text: &str,
    ) -> io::Result<()> {
        if self.in_key
            && let Some(key) = self.keys.last_mut()
        {
            key.push_str(text);
        }
        w.write_all(text.as_bytes())
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.in_key = false;
        writer.write_all(b": ")
    }
}
