//! Usual ranges of drums by their diameter.

/// The usual set, largest first, inches.
pub const DEFAULT_SIZES_IN: [f64; 4] = [32.0, 29.0, 26.0, 23.0];

/// Lowest and highest key (60 = C4) of a drum of a diameter in inches.
///
/// The widest compass that either of two sources gives: a teaching page
/// (adamrhancock.wixsite.com/timpaninotesforband/tuning: 32 in D2-A2, 29 in
/// F2-C3, 26 in Bb2-F3, 23 in D3-A3, 20 in F3-C4) and the Vienna Symphonic
/// Library (vsl.co.at/en/Timpani/Range: 75-80 cm C2-C3, 65-70 cm E2-E3, 60-65 cm
/// Ab2-Ab3, 55-60 cm C3-G#3, 45-50 cm G3-C4), so that a pitch is called
/// impossible only where both say so. Sizes between take the nearest one.
pub fn range_of(size_in: f64) -> (i32, i32) {
    const RANGES: [(f64, i32, i32); 5] = [
        (32.0, 36, 48),
        (29.0, 40, 52),
        (26.0, 44, 56),
        (23.0, 48, 57),
        (20.0, 53, 60),
    ];
    let nearest = RANGES
        .iter()
        .min_by(|a, b| (a.0 - size_in).abs().total_cmp(&(b.0 - size_in).abs()))
        .unwrap_or(&RANGES[0]);
    (nearest.1, nearest.2)
}
