//! What lies between a drum and a file: rooms, noise, clicks, phones.

use crate::draw::Draw;
use crate::dsp::{Biquad, convolve, gain, resample};
use crate::sitting::Aside;
use std::f64::consts::FRAC_1_SQRT_2;
use std::path::PathBuf;

/// Where and how a take is recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// A close microphone in a dead room.
    Clean,
    /// A live room, 1-6 m away.
    Room,
    /// A phone: bass cut, gain control, clipping, noise.
    Phone,
    /// A loud fan or street.
    Noise,
    /// A metronome beside the drums.
    Click,
    /// Soft passages after loud ones, in a small room.
    SoftAfterLoud,
    /// Talk, a count-in, false starts, some bars only, in a small room.
    Messy,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Self; 7] = [
        Self::Clean,
        Self::Room,
        Self::Phone,
        Self::Noise,
        Self::Click,
        Self::SoftAfterLoud,
        Self::Messy,
    ];

    /// In small letters.
    pub fn name(self) -> &'static str {
        match self {
            Self::Clean => "clean",
            Self::Room => "room",
            Self::Phone => "phone",
            Self::Noise => "noise",
            Self::Click => "click",
            Self::SoftAfterLoud => "soft-after-loud",
            Self::Messy => "messy",
        }
    }
}

/// Everything between the drums and the samples.
#[derive(Clone, Debug)]
pub struct Chain {
    /// Impulse response, direct sound first.
    pub room: Option<Vec<f32>>,
    /// Corner of a second-order high-pass, hertz.
    pub bass_cut_hz: Option<f64>,
    /// Noise, dB (root mean square) re the loudest peak of the drums.
    pub noise_db: f64,
    /// Falls with frequency as a fan's does.
    pub noise_brown: bool,
    /// Clicks, dB (peak) re the loudest peak of the drums.
    pub click_db: Option<f64>,
    pub gain_control: Option<GainControl>,
    /// Highest peak before clipping, dB re full scale: above 0 it clips.
    pub peak_db: f64,
}

/// An automatic gain control.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GainControl {
    pub attack_s: f64,
    pub release_s: f64,
    /// dB re the loudest level.
    pub threshold_db: f64,
    pub ratio: f64,
}

impl Chain {
    /// Draws one for a kind of take.
    pub fn draw(kind: Kind, draw: &mut Draw, rate_hz: f64) -> Self {
        let mut chain = Self {
            room: None,
            bass_cut_hz: None,
            noise_db: draw.between(-78.0, -60.0),
            noise_brown: true,
            click_db: None,
            gain_control: None,
            peak_db: draw.between(-12.0, -1.0),
        };
        match kind {
            Kind::Clean => {}
            Kind::Room => {
                chain.room = Some(room(draw, rate_hz, (0.5, 2.0), (1.0, 6.0)));
                chain.noise_db = draw.between(-70.0, -55.0);
            }
            Kind::Phone => {
                chain.room = Some(room(draw, rate_hz, (0.3, 0.8), (1.0, 4.0)));
                chain.noise_db = draw.between(-60.0, -45.0);
                chain.noise_brown = false;
                chain.bass_cut_hz = Some(draw.between(120.0, 200.0));
                chain.gain_control = Some(GainControl {
                    attack_s: draw.between(0.003, 0.02),
                    release_s: draw.between(0.2, 1.0),
                    threshold_db: draw.between(-30.0, -18.0),
                    ratio: draw.between(1.5, 3.0),
                });
                chain.peak_db = draw.between(-6.0, 4.0);
            }
            Kind::Noise => {
                chain.room = Some(room(draw, rate_hz, (0.3, 0.8), (1.0, 3.0)));
                chain.noise_db = draw.between(-48.0, -34.0);
                chain.noise_brown = draw.chance(0.5);
            }
            Kind::Click => {
                chain.room = Some(room(draw, rate_hz, (0.3, 0.6), (1.0, 2.0)));
                chain.click_db = Some(draw.between(-28.0, -12.0));
            }
            Kind::SoftAfterLoud | Kind::Messy => {
                chain.room = Some(room(draw, rate_hz, (0.3, 0.8), (1.0, 3.0)));
            }
        }
        chain
    }

    /// The room and the bass cut alone, on `samples`.
    fn carry(&self, samples: &[f32], rate_hz: f64) -> Vec<f32> {
        match &self.room {
            Some(room) => self.cut(convolve(samples, room), rate_hz),
            None => self.cut(samples.to_vec(), rate_hz),
        }
    }

    fn cut(&self, mut samples: Vec<f32>, rate_hz: f64) -> Vec<f32> {
        if let Some(hz) = self.bass_cut_hz {
            Biquad::high_pass(hz, FRAC_1_SQRT_2, rate_hz).run(&mut samples);
        }
        samples
    }

    /// Everything but gain control and clipping: the drums with what is
    /// added, and each head by the same way.
    pub fn linear(
        &self,
        dry: &[f32],
        heads: &[Vec<f32>],
        clicks_s: &[f64],
        draw: &mut Draw,
        rate_hz: f64,
    ) -> (Vec<f32>, Vec<Vec<f32>>) {
        let mut sum = match &self.room {
            Some(room) => convolve(dry, room),
            None => dry.to_vec(),
        };
        let peak = peak(&sum).max(1e-6);
        self.add_noise(&mut sum, peak, draw, rate_hz);
        if let Some(db) = self.click_db {
            add_clicks(
                &mut sum,
                f64::from(peak) * gain(db),
                clicks_s,
                draw,
                rate_hz,
            );
        }
        let sum = self.cut(sum, rate_hz);
        let heads = heads
            .iter()
            .map(|h| {
                let mut padded = h.clone();
                padded.resize((crate::render::HEAD_S * rate_hz) as usize, 0.0);
                self.carry(&padded, rate_hz)
            })
            .collect();
        (sum, heads)
    }

    fn add_noise(&self, samples: &mut [f32], peak: f32, draw: &mut Draw, rate_hz: f64) {
        let level = f64::from(peak) * gain(self.noise_db);
        let mut low = Biquad::low_pass(if self.noise_brown { 250.0 } else { 7000.0 }, 0.5, rate_hz);
        // The filter takes power away; about this much has to be given back.
        let lift = if self.noise_brown {
            (rate_hz / 2.0 / 300.0).sqrt()
        } else {
            1.3
        };
        for s in samples {
            let white = draw.normal();
            *s += (level * (lift * low.next(white) + 0.15 * white)) as f32;
        }
    }

    /// Gain control, level and clipping.
    pub fn record(&self, samples: &mut [f32], rate_hz: f64) {
        let top = peak(samples).max(1e-6);
        for s in samples.iter_mut() {
            *s /= top;
        }
        if let Some(control) = self.gain_control {
            control.run(samples, rate_hz);
        }
        let scale = gain(self.peak_db) as f32 / peak(samples).max(1e-6);
        for s in samples.iter_mut() {
            *s = (*s * scale).clamp(-1.0, 1.0);
        }
    }
}

impl GainControl {
    fn run(self, samples: &mut [f32], rate_hz: f64) {
        let rise = 1.0 - (-1.0 / (self.attack_s * rate_hz)).exp();
        let fall = 1.0 - (-1.0 / (self.release_s * rate_hz)).exp();
        let mut level = 1e-6f64;
        for s in samples {
            let x = f64::from(s.abs());
            level += (x - level) * if x > level { rise } else { fall };
            let over = 20.0 * level.log10() - self.threshold_db;
            *s *= gain(-over.max(-12.0) * (1.0 - 1.0 / self.ratio)) as f32;
        }
    }
}

fn peak(samples: &[f32]) -> f32 {
    samples.iter().fold(0.0, |a, s| a.max(s.abs()))
}

/// Sticks struck together, and talk: a buzz through two formants that come and
/// go with the syllables.
pub fn add_aside(samples: &mut [f32], aside: &Aside, draw: &mut Draw, rate_hz: f64) {
    for &stick_s in &aside.sticks_s {
        let from = (stick_s * rate_hz) as usize;
        let hz = draw.between(1800.0, 3200.0);
        for (i, s) in samples
            .iter_mut()
            .skip(from)
            .take((0.03 * rate_hz) as usize)
            .enumerate()
        {
            let t = i as f64 / rate_hz;
            let tone = (std::f64::consts::TAU * hz * t).sin() + 0.4 * draw.normal();
            *s += (0.08 * tone * (-t / 0.004).exp()) as f32;
        }
    }
    for &(from_s, to_s) in &aside.talk_s {
        let mut pitch_hz = draw.between(95.0, 210.0);
        let mut phase = 0.0;
        let mut formant = (500.0, 1500.0);
        let mut low = Biquad::low_pass(formant.0, 4.0, rate_hz);
        let mut high = Biquad::low_pass(formant.1, 4.0, rate_hz);
        let range = (from_s * rate_hz) as usize..(to_s * rate_hz) as usize;
        let syllable = (0.18 * rate_hz) as usize;
        for (i, s) in samples
            .iter_mut()
            .enumerate()
            .take(range.end)
            .skip(range.start)
        {
            let inside = (i - range.start) % syllable;
            if inside == 0 {
                formant = (draw.between(300.0, 800.0), draw.between(900.0, 2300.0));
                pitch_hz *= draw.between(0.94, 1.06);
                low = Biquad::low_pass(formant.0, 4.0, rate_hz);
                high = Biquad::low_pass(formant.1, 4.0, rate_hz);
            }
            phase = (phase + pitch_hz / rate_hz).fract();
            let buzz = 2.0 * phase - 1.0 + 0.1 * draw.normal();
            let way = inside as f64 / syllable as f64;
            let loud = (std::f64::consts::PI * way).sin().powi(2);
            *s += (0.02 * loud * (low.next(buzz) + 0.6 * high.next(buzz))) as f32;
        }
    }
}

/// Metronome clicks: a short burst of a high tone.
fn add_clicks(samples: &mut [f32], level: f64, clicks_s: &[f64], draw: &mut Draw, rate_hz: f64) {
    let hz = draw.between(900.0, 2600.0);
    let tau = draw.between(0.004, 0.015) * rate_hz;
    for &click_s in clicks_s {
        let from = (click_s * rate_hz).round() as usize;
        for (i, s) in samples
            .iter_mut()
            .skip(from)
            .take((8.0 * tau) as usize)
            .enumerate()
        {
            let t = i as f64;
            let tone = (std::f64::consts::TAU * hz * t / rate_hz).sin();
            *s += (level * tone * (-t / tau).exp()) as f32;
        }
    }
}

/// A room's impulse response, the direct sound at sample 0: sparse early
/// reflections and a tail of noise in three bands, the low one ringing
/// longest. The level of the tail against the direct sound follows from the
/// distance and the critical distance 0.057 sqrt(V / T60) of a room of
/// volume V (Sabine's theory; H. Kuttruff, Room Acoustics, from memory).
pub fn room(draw: &mut Draw, rate_hz: f64, t60_s: (f64, f64), distance_m: (f64, f64)) -> Vec<f32> {
    let t60 = draw.ratio(t60_s.0, t60_s.1);
    let distance = draw.ratio(distance_m.0, distance_m.1);
    let volume = (draw.ratio(80.0, 400.0) * t60.powf(1.5) * 2.0).max(60.0);
    let critical = 0.057 * (volume / t60).sqrt();
    let reverberant = (distance / critical).powi(2).min(30.0);
    let real = draw.chance(0.3);
    let which = draw.below(2);
    if real
        && t60_s.1 > 1.0
        && let Some(ir) = real_room(which, rate_hz)
    {
        return balance(ir, reverberant);
    }
    let length = (1.1 * t60 * rate_hz) as usize;
    let mut ir = vec![0.0f32; length];
    for (low_hz, high_hz, life) in [
        (40.0, 300.0, 1.15),
        (300.0, 2000.0, 1.0),
        (2000.0, 9000.0, 0.6),
    ] {
        let mut low = Biquad::low_pass(high_hz, 0.7, rate_hz);
        let mut high = Biquad::high_pass(low_hz, 0.7, rate_hz);
        let decay = 6.908 / (t60 * life * rate_hz);
        let begins = 0.004 * rate_hz;
        for (i, v) in ir.iter_mut().enumerate() {
            let noise = high.next(low.next(draw.normal()));
            let t = i as f64;
            let onset = ((t - begins) / (0.01 * rate_hz)).clamp(0.0, 1.0);
            *v += (noise * onset * (-decay * t).exp()) as f32;
        }
    }
    let mean = (ir.iter().map(|v| v * v).sum::<f32>() / (0.14 * t60 * rate_hz) as f32).sqrt();
    for _ in 0..8 {
        let at = (draw.ratio(0.002, 0.05) * rate_hz) as usize;
        if let Some(v) = ir.get_mut(at) {
            *v += mean * draw.between(-5.0, 5.0) as f32;
        }
    }
    ir[0] = 0.0;
    balance(ir, reverberant)
}

/// Sets the energy of everything after the first 2 ms against the direct
/// sound, which becomes 1 at sample 0.
fn balance(mut ir: Vec<f32>, reverberant: f64) -> Vec<f32> {
    let energy: f64 = ir[1..].iter().map(|&v| f64::from(v * v)).sum();
    let scale = (reverberant / energy.max(1e-12)).sqrt() as f32;
    for v in &mut ir {
        *v *= scale;
    }
    ir[0] = 1.0;
    ir
}

/// The two measured rooms beside the repository (MIT licence,
/// github.com/iver56/audiomentations), without their direct sound, or `None`
/// where they are not.
fn real_room(which: usize, rate_hz: f64) -> Option<Vec<f32>> {
    let name = ["rir48000.wav", "stereo_impulse_response.wav"][which];
    let mut reader = hound::WavReader::open(shared().join("rooms").join(name)).ok()?;
    let spec = reader.spec();
    let scale = 0.5f32.powi(i32::from(spec.bits_per_sample) - 1);
    let first: Vec<f32> = reader
        .samples::<i32>()
        .step_by(usize::from(spec.channels))
        .map(|s| s.map(|v| v as f32 * scale))
        .collect::<Result<_, _>>()
        .ok()?;
    let ir = resample(&first, f64::from(spec.sample_rate) / rate_hz);
    let direct = (0..ir.len()).max_by(|&a, &b| ir[a].abs().total_cmp(&ir[b].abs()))?;
    let after = (direct + (0.002 * rate_hz) as usize).min(ir.len());
    let mut tail = ir[direct..].to_vec();
    tail[..after - direct].fill(0.0);
    Some(tail)
}

/// The folder of shared test data: `../shared` beside the checkout, or what
/// `KETTLEMARK_SHARED` names.
pub fn shared() -> PathBuf {
    std::env::var_os("KETTLEMARK_SHARED").map_or_else(
        || PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../../shared"),
        PathBuf::from,
    )
}
