//! From a performance to sound, before any room or microphone.

use crate::draw::Draw;
use crate::dsp::gain;
use crate::kit::Kit;
use crate::modal::Later;
use crate::player::Performance;
use kettlemark::part::Part;

/// How much of each stroke's own sound is kept apart, seconds.
pub const HEAD_S: f64 = 0.08;

/// The sound of a performance.
pub struct Dry {
    pub samples: Vec<f32>,
    /// For every stroke: the sample of its contact, and its own first
    /// [`HEAD_S`] from there.
    pub heads: Vec<(usize, Vec<f32>)>,
}

/// Sounds every stroke. Each stroke on a drum takes a share of what still
/// rings there; a hand laid on it makes it die quickly.
pub fn render(
    part: &Part,
    performance: &Performance,
    kit: &Kit,
    draw: &mut Draw,
    rate_hz: f64,
) -> Dry {
    let settings = part.settings();
    let at = |s: f64| (s * rate_hz).round().max(0.0) as usize;
    let length = at(performance.length_s);
    let mut samples = vec![0.0f32; length];
    let mut heads = Vec::with_capacity(performance.hits.len());
    for (i, hit) in performance.hits.iter().enumerate() {
        let contact = at(hit.time_s);
        let drum = settings[hit.setting].drum;
        let mut later: Vec<(usize, Later)> = performance.hits[i + 1..]
            .iter()
            .filter(|h| settings[h.setting].drum == drum)
            .map(|h| (at(h.time_s) - contact, Later::Struck(gain(h.level_db))))
            .chain(
                performance
                    .touches
                    .iter()
                    .filter(|t| t.drum == drum && at(t.time_s) > contact)
                    .map(|t| (at(t.time_s) - contact, Later::Stopped)),
            )
            .collect();
        later.sort_by_key(|e| e.0);
        let (lead, sound) = kit.stroke(
            draw,
            hit.setting,
            hit.level_db,
            &later,
            rate_hz,
            length - contact.min(length),
        );
        let skip = lead.saturating_sub(contact);
        for (o, s) in samples[(contact + skip).saturating_sub(lead)..]
            .iter_mut()
            .zip(&sound[skip.min(sound.len())..])
        {
            *o += s;
        }
        let head = sound.iter().skip(lead).take(at(HEAD_S)).copied().collect();
        heads.push((contact, head));
    }
    Dry { samples, heads }
}
