//! The whole way from a take that was listened to, to its review.

use crate::align::{Alignment, Evidence, align};
use crate::listen::{self, Heard, Voices};
use crate::measure;
use crate::part::Part;
use crate::review::Review;
use crate::settings::Settings;

/// Reviews a take against a part. Pure: the same input gives the same review.
///
/// The matching is done twice: [`first`], and then with what the first round taught about how each drum
/// sounds in this take, and how its sound grows after a contact.
pub fn review(heard: &Heard, part: &Part, settings: &Settings) -> Review {
    let first = first(heard, part, settings);
    let heard = &listen::again(heard, part, &first, settings.a4_hz);
    let voices = Voices::learn(heard, part, &first, settings.a4_hz);
    let evidence = Evidence {
        per: voices.evidence(),
        unheard: listen::unheard(heard, part, &first, &voices),
        ..Evidence::default()
    };
    let alignment = align(part, &heard.candidates, Some(&evidence), settings);
    let heard = &listen::in_step(heard, part, &alignment);
    let strokes = listen::describe(heard, part, &alignment, Some(&evidence), settings);
    measure::assemble(heard, part, &alignment, &strokes, settings)
}

/// The first matching of a take with a part: by time, and by what the written
/// pitches foretell of the drums.
pub fn first(heard: &Heard, part: &Part, settings: &Settings) -> Alignment {
    let foretold = listen::foretold(heard, part, settings.a4_hz);
    align(part, &heard.candidates, Some(&foretold), settings)
}
