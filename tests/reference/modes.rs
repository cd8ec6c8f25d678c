//! The test instrument's modes against published ones.

use kettlemark_test_support::draw::Draw;
use kettlemark_test_support::dsp;
use kettlemark_test_support::modal::ModalDrum;

const RATE_HZ: f64 = 16_000.0;

/// Ratios to the principal tone (1,1) of a 26-inch kettledrum: T. D. Rossing,
/// "The physics of kettledrums", Scientific American 247 (1982), from memory.
/// The (2,1) and (3,1) modes, a fifth and an octave above, agree with the
/// "nearly 2 : 3 : 4" of Rossing and others, "The acoustics of timpani".
const KETTLEDRUM: [(&str, f64); 4] = [
    ("(2,1)", 1.51),
    ("(3,1)", 1.99),
    ("(4,1)", 2.44),
    ("(5,1)", 2.89),
];

/// The same modes of an ideal membrane: first zeros of Bessel functions,
/// of order m over that of order 1, 3.83171 (5.13562, 6.38016, 7.58834, 8.77148).
const IDEAL_MEMBRANE: [f64; 4] = [1.3403, 1.6651, 1.9804, 2.2892];

#[test]
fn a_measured_kettledrum_is_one_that_ours_could_be() {
    for ((name, published), ideal) in KETTLEDRUM.into_iter().zip(IDEAL_MEMBRANE) {
        let mut ratios: Vec<f64> = (0..40)
            .map(|seed| {
                let mut draw = Draw::new(seed, 0);
                let hz = draw.ratio(80.0, 180.0);
                let drum = ModalDrum::draw(&mut draw, hz, true);
                let stroke = drum.stroke(&mut draw, 0.0, &[], RATE_HZ, (2.0 * RATE_HZ) as usize);
                let ring = &stroke[(0.3 * RATE_HZ) as usize..];
                dsp::peak_hz(ring, RATE_HZ, hz * published, 80.0) / hz
            })
            .collect();
        ratios.sort_by(f64::total_cmp);
        // One measured drum: it has to be one that ours could be.
        let (low, high) = (ratios[0], ratios[ratios.len() - 1]);
        assert!(
            (low..=high).contains(&published),
            "{name}: {low:.3} to {high:.3}, published {published}"
        );
        assert!(
            low > ideal * 1.03,
            "{name}: air and stiffness move the modes of a kettle apart"
        );
    }
}
