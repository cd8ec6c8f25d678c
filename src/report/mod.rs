//! The review written down: JSON, CSV, charts, a page, a short text.
//!
//! Nothing here measures; everything here only shows. [`html`], [`svg`],
//! [`scale`], [`number`] and [`lettering`] are shared by all pages.

pub mod html;
pub mod lettering;
pub mod number;
pub mod scale;
pub mod svg;
