//! The whole way from a take that was listened to, to its review.

use crate::align::{Evidence, align};
use crate::listen::{self, Heard};
use crate::measure;
use crate::part::Part;
use crate::review::Review;
use crate::settings::Settings;

/// Reviews a take against a part. Pure: the same input gives the same review.
///
/// The matching is done twice: by time alone, and then with what the first
/// round taught about how each drum sounds in this take, and how its sound
/// grows after a contact.
pub fn review(heard: &Heard, part: &Part, settings: &Settings) -> Review {
    let first = align(part, &heard.candidates, None, settings);
    let heard = &listen::again(heard, part, &first);
    let evidence = Evidence {
        per: listen::evidence(heard, part, &first, settings.a4_hz),
        unheard: listen::unheard(heard, part, &first),
    };
    let alignment = align(part, &heard.candidates, Some(&evidence), settings);
    let strokes = listen::describe(heard, part, &alignment, Some(&evidence), settings);
    measure::assemble(heard, part, &alignment, &strokes, settings)
}
