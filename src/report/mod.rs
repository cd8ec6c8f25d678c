//! The review written down: JSON, CSV, charts, a page, a short text.
//!
//! Nothing here measures; everything here only shows. [`html`], [`svg`],
//! [`scale`] and [`lettering`] are shared by all pages; words and numbers are
//! those of [`crate::words`] and [`crate::number`].

#![allow(
    clippy::format_push_string,
    clippy::format_collect,
    reason = "texts here are short, and a sentence reads best where it is put together"
)]

pub mod audio;
pub mod charts;
pub mod csv;
pub mod html;
pub mod json;
pub mod lettering;
pub mod page;
pub mod scale;
pub mod store;
pub mod svg;

pub use crate::words::terminal::summary;

use crate::error::Error;
use crate::review::Review;
use std::path::{Path, PathBuf};

/// What the report needs besides the review.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Options {
    /// The recording, for playing; without it the page is silent.
    pub take: Option<PathBuf>,
    /// Put a small copy of what was played into the page.
    pub with_audio: bool,
    /// When the take was recorded, as the page is to show it.
    pub recorded: Option<String>,
}

/// Writes review.json, review.html, strokes.csv and the charts into a
/// folder, which is made where it is missing. Earlier output of this program
/// is replaced; if any of the names is somebody else's file, nothing is
/// written.
pub fn write(review: &Review, dir: &Path, options: &Options) -> Result<(), Error> {
    let review = &json::rounded(review);
    let audio = match &options.take {
        Some(take) if options.with_audio => Some(audio::embedded(take, review)?),
        Some(take) => Some(page::Audio {
            src: audio::relative(take, dir),
            starts_s: 0.0,
            inside: false,
        }),
        None => None,
    };
    let around = page::Around {
        audio,
        recorded: options.recorded.clone(),
    };
    let mut files = charts::files(review);
    files.push(("strokes.csv", csv::strokes(review)));
    files.push(("review.html", page::page(review, &around)));
    files.push(("review.json", json::text(review)));
    store::write_all(dir, &files)
}
