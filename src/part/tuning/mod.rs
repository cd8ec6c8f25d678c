//! The tuning plan: which drum is tuned to what, when it is retuned, in which
//! order to tune before the beginning.
//!
//! Drums change pitch in rests of the whole part, each change taking the time
//! that is set (common practice, no source). The plan found has, in this
//! order: the fewest notes that no drum can play, the fewest retunings, the
//! least movement in semitones, the fewest drums lower than a smaller number,
//! pitches nearest to the middle of each drum's range, where the tone is best
//! ("Best tone mid-compass", Vienna Symphonic Library, Timpani, Range).

mod order;
mod ranges;
mod search;
mod spans;
mod tones;

pub use order::{Plan, PlannedChange, TuningStep, interval_name, plan_of};
pub use ranges::{DEFAULT_SIZES_IN, range_of};
pub use search::{Change, Problem, Solution, Span, solve};
pub use spans::{Spans, spans_of};
pub use tones::write_tones;
