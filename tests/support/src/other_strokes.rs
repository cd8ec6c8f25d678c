//! Single recorded timpani strokes of sound sets that nothing is tuned on: the
//! patch `047_Timpani.pat` of Debian's package `freepats` (a C3, 22 kHz, much
//! compressed, its peak 18 ms behind the contact) and the sample `Timp Drum A1`
//! of `timgm6mb-soundfont`, which sounds two octaves higher than most drums.
//! Both come under GPL-2; they are read where the packages put them and are
//! never copied.
//!
//! Each ends in a loop. As in a player of such sets, it goes round there, and
//! fades at a rate of ours (read off how the strokes fade before).

use crate::dsp::gain;
use crate::recorded::{Sample, chunk, contact, pcm, word};
use std::path::Path;

const PATCH: &str = "/usr/share/midi/freepats/Tone_000/047_Timpani.pat";
const BANK: &str = "/usr/share/sounds/sf2/TimGM6mb.sf2";

/// How long each rings at most, at its own rate, seconds.
const LONGEST_S: f64 = 6.0;

/// A sample that ends in a loop.
struct Looped {
    samples: Vec<f32>,
    /// First sample of the loop, and the first behind it.
    from: usize,
    to: usize,
    rate_hz: f64,
    near_hz: f64,
    /// How fast the loop fades.
    fades_db_per_s: f64,
}

/// Both strokes, `None` where a package is not installed.
pub(crate) fn read() -> Option<Vec<Sample>> {
    let looped = [patch(Path::new(PATCH))?, bank(Path::new(BANK))?];
    Some(looped.into_iter().map(Looped::rung_on).collect())
}

impl Looped {
    fn rung_on(self) -> Sample {
        let mut samples = self.samples;
        samples.truncate(self.to);
        let length = self.to - self.from;
        let longest = (LONGEST_S * self.rate_hz) as usize;
        for i in 0..longest.saturating_sub(self.to) {
            let faded = gain(-self.fades_db_per_s * i as f64 / self.rate_hz) as f32;
            samples.push(faded * samples[self.from + i % length]);
        }
        Sample {
            contact: contact(&samples) as f64,
            left: samples.clone(),
            right: samples,
            rate_hz: self.rate_hz,
            near_hz: self.near_hz,
        }
    }
}

/// The one sample of a GF1 patch: headers of file, instrument and layer (129,
/// 63 and 47 bytes), then the sample's own of 96, in which its size and the ends
/// of its loop stand in bytes (layout read off the file; no published
/// specification known).
fn patch(path: &Path) -> Option<Looped> {
    const HEADER: usize = 129 + 63 + 47;
    let data = std::fs::read(path).ok()?;
    let size = word(&data, HEADER + 8)?;
    let rate = data.get(HEADER + 20..HEADER + 22)?;
    Some(Looped {
        samples: pcm(data.get(HEADER + 96..HEADER + 96 + size)?),
        from: word(&data, HEADER + 12)? / 2,
        to: word(&data, HEADER + 16)? / 2,
        rate_hz: f64::from(u16::from_le_bytes([rate[0], rate[1]])),
        near_hz: 130.7,
        fades_db_per_s: 12.0,
    })
}

/// The timpani sample of a SoundFont.
fn bank(path: &Path) -> Option<Looped> {
    const NAME: &[u8] = b"Timp Drum A1\0";
    let data = std::fs::read(path).ok()?;
    let (sound, _) = chunk(&data, 12, data.len(), *b"smpl")?;
    let (headers, size) = chunk(&data, 12, data.len(), *b"shdr")?;
    let mut headers = data.get(headers..headers + size)?.chunks_exact(46);
    let header = headers.find(|h| h.starts_with(NAME))?;
    let places = [20, 24, 28, 32, 36].map(|at| word(header, at));
    let [start, end, from, to, rate] = places;
    let (start, end) = (start?, end?);
    Some(Looped {
        samples: pcm(data.get(sound + 2 * start..sound + 2 * end)?),
        from: from? - start,
        to: to? - start,
        rate_hz: rate? as f64,
        near_hz: 405.6,
        fades_db_per_s: 40.0,
    })
}
