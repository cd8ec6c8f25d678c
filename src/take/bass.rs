//! Whether a recorder takes bass away, as phones do, heard in the background.

/// Bands below a bass cut, and the band that the background is compared in,
/// hertz. The lowest partial of a drum lies above 60.
const BASS_HZ: [(f64, f64); 3] = [(20.0, 30.0), (30.0, 45.0), (45.0, 58.0)];
const MIDDLE_HZ: (f64, f64) = (250.0, 1000.0);
/// Mean over lower quartile of the middle band beyond which it holds tones, as
/// a ratio of power.
const RINGING: f64 = 6.0;
/// Bass cuts between these are told, hertz: microphones themselves fade below
/// some 70, and a drum's fifths lie above 300.
const LEAST_CUT_HZ: f64 = 85.0;
const MOST_CUT_HZ: f64 = 350.0;
/// Where the background of a recording falls away towards the bass as through
/// a high-pass of second order, hertz: the corner. Rooms hum and rumble, so a
/// background of its own never does that. `None` where it does not, or where
/// something rings in the quietest moments. `power`: mean power spectrum of
/// those moments, `bin` hertz apart.
pub(super) fn bass_cut_hz(power: &[f64], bin: f64) -> Option<f64> {
    let span = |(from, to): (f64, f64)| (from / bin).ceil() as usize..(to / bin) as usize + 1;
    let mean = |slice: &[f64]| slice.iter().sum::<f64>() / slice.len().max(1) as f64;
    let mut middle: Vec<f64> = power.get(span(MIDDLE_HZ))?.to_vec();
    let loud = mean(&middle);
    middle.sort_by(f64::total_cmp);
    let level = *middle.get(middle.len() / 4)?;
    if level <= 0.0 || loud > level * RINGING {
        return None;
    }
    let mut corners = Vec::new();
    for band in BASS_HZ {
        let span = span(band);
        let ratio = level / mean(power.get(span.clone())?).max(1e-30);
        // A second-order Butterworth passes 1 / (1 + (corner / f)^4).
        let fourth = span.map(|i| (i as f64 * bin).powi(4)).collect::<Vec<_>>();
        corners.push((mean(&fourth) * (ratio - 1.0).max(0.0)).powf(0.25));
    }
    corners.sort_by(f64::total_cmp);
    let (lowest, corner) = (corners.first()?, *corners.last()?);
    (*lowest >= LEAST_CUT_HZ / 1.5 && (LEAST_CUT_HZ..MOST_CUT_HZ).contains(&corner))
        .then_some(corner)
}
