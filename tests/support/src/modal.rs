//! A kettledrum as a sum of decaying modes.
//!
//! Ratios of the modes to the principal tone (1,1): (0,1) 0.855, (2,1) 1.509,
//! (3,1) 1.998, (4,1) 2.45, (5,1) 2.94 are medians of 24 recorded strokes,
//! each drawn within the range seen there; (0,2) 1.68, (1,2) 2.09, (2,2) 2.67,
//! (0,3) 2.79 are the kettle's as given in T. D. Rossing, "The physics of
//! kettledrums", Scientific American 247 (1982), from memory; (6,1) to (9,1)
//! carry the row on by its own spacing. Concentric modes radiate best and die
//! first (Rossing, ibid.). A T60 of 2.9-4.9 s for the principal tone, doublets
//! about 1.2 Hz apart and a fifth that starts some 17 cents sharp were
//! measured on the same recorded strokes. A harder stroke is brighter because
//! the stick leaves the head sooner: common practice, no source. How far a
//! stroke disturbs what still rings: a guess.

use crate::draw::Draw;
use crate::dsp::gain;
use std::f64::consts::TAU;

/// (ratio, its half range, T60 against the principal tone's, level dB, its
/// half range).
const MODES: [(f64, f64, f64, f64, f64); 15] = [
    (0.855, 0.02, 0.16, -9.0, 4.0),
    (1.0, 0.0, 1.0, 0.0, 2.0),
    (1.509, 0.018, 1.15, -1.0, 5.0),
    (1.68, 0.03, 0.12, -12.0, 4.0),
    (1.998, 0.03, 1.0, -5.0, 5.0),
    (2.09, 0.03, 0.25, -13.0, 4.0),
    (2.45, 0.04, 0.8, -8.0, 5.0),
    (2.67, 0.04, 0.2, -15.0, 4.0),
    (2.79, 0.04, 0.1, -16.0, 4.0),
    (2.94, 0.05, 0.6, -11.0, 5.0),
    (3.42, 0.06, 0.45, -13.0, 5.0),
    (3.90, 0.08, 0.35, -15.0, 5.0),
    (4.38, 0.1, 0.28, -17.0, 5.0),
    (4.86, 0.12, 0.22, -19.0, 5.0),
    (5.9, 0.3, 0.15, -20.0, 5.0),
];

/// One mode of one drum at one setting.
#[derive(Clone, Copy, Debug)]
struct Mode {
    hz: f64,
    /// Nepers a second.
    decay: f64,
    /// At a full stroke.
    amplitude: f64,
    /// Its twin lies this much higher.
    split_hz: f64,
    twin: f64,
    /// Nepers a second under the hand.
    damped: f64,
}

/// A drum tuned to one pitch.
#[derive(Clone, Debug)]
pub struct ModalDrum {
    modes: Vec<Mode>,
    /// Principal tone as it settles.
    pub hz: f64,
    /// Sharpness at the start of a full stroke, cents.
    glide_cents: f64,
    /// Time constant of that, seconds.
    glide_s: f64,
    /// Contact time of a full stroke, seconds.
    contact_s: f64,
    noise: f64,
    noise_hz: f64,
    /// Its time constant, seconds.
    noise_s: f64,
    /// The noise of the head comes this much after the contact.
    noise_late_s: f64,
    /// Share of the old ring's amplitude that a full stroke lets pass.
    passes: f64,
}

/// What happens to a ringing drum after a stroke.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Later {
    /// It is struck again, this hard (0 to 1).
    Struck(f64),
    /// A hand is laid on it.
    Stopped,
}

impl ModalDrum {
    /// A drum whose principal tone is `hz`. `wide`: drawn from the wider
    /// ranges that only judging takes use.
    pub fn draw(draw: &mut Draw, hz: f64, wide: bool) -> Self {
        let spread = if wide { 1.35 } else { 1.0 };
        let t60 = draw.ratio(2.9 / spread, 4.9 * spread) * (110.0 / hz).powf(0.25);
        let weak_principal = draw.chance(0.15);
        let tilt = draw.between(-2.0, 2.0) * spread;
        let crowd_db = draw.between(-8.0, 0.0) + draw.normal() * 3.0 * (spread - 1.0);
        let mut modes: Vec<Mode> = MODES
            .iter()
            .enumerate()
            .map(|(i, &(ratio, range, life, level, level_range))| {
                let own = ratio + draw.between(-range, range) * spread;
                let mode_t60 = t60 * life * draw.ratio(0.8, 1.25);
                let mut db = level
                    + draw.between(-level_range, level_range) * spread
                    + tilt * (ratio - 1.0).max(0.0);
                if i == 1 && weak_principal {
                    db -= draw.between(8.0, 13.0);
                }
                Mode {
                    hz: hz * own,
                    decay: 6.908 / mode_t60,
                    amplitude: gain(db),
                    split_hz: draw.between(0.1, 1.2) * spread,
                    twin: draw.between(0.05, 0.45),
                    damped: 6.908 / draw.between(0.09, 0.22),
                }
            })
            .collect();
        // Above them modes lie so close that only their crowd counts.
        for _ in 0..26 {
            let ratio = draw.ratio(4.0, 24.0);
            modes.push(Mode {
                hz: hz * ratio,
                decay: 6.908 / (draw.ratio(0.2, 0.9) * (6.0 / ratio).sqrt()),
                amplitude: gain(crowd_db + draw.between(-5.0, 5.0)),
                split_hz: draw.between(1.0, 8.0),
                twin: draw.between(0.05, 0.45),
                damped: 6.908 / draw.between(0.05, 0.15),
            });
        }
        // The pair of the principal tone is centred on the pitch asked for.
        let (low, high) = (1.0, modes[1].twin);
        modes[1].hz = hz - modes[1].split_hz * high / (low + high);
        let low_drum = ((150.0 - hz) / 80.0).clamp(0.0, 1.0);
        Self {
            modes,
            hz,
            glide_cents: draw.between(4.0, 26.0) * spread,
            glide_s: draw.between(0.08, 0.25),
            contact_s: draw.ratio(0.0025 / spread, 0.006 * spread),
            noise: gain(draw.between(-24.0, -5.0)),
            noise_hz: draw.ratio(1200.0 / spread, 5000.0 * spread),
            noise_s: draw.ratio(0.008, 0.04),
            noise_late_s: draw.between(0.0, 0.005) * low_drum,
            passes: draw.between(0.55, 0.9),
        }
    }

    /// A stroke of `level_db` (0 = full), from the contact on. `later` lists
    /// what happens to the drum afterwards, (samples after the contact, what).
    pub fn stroke(
        &self,
        draw: &mut Draw,
        level_db: f64,
        later: &[(usize, Later)],
        rate_hz: f64,
        longest: usize,
    ) -> Vec<f32> {
        let strength = gain(level_db);
        let contact_s = self.contact_s * strength.powf(-0.18);
        let mut out = vec![0.0f32; longest.min((rate_hz * 7.0) as usize)];
        let mut length = 0;
        for mode in &self.modes {
            // A longer push reaches high modes less.
            let pushed = 1.0 / (1.0 + (mode.hz * contact_s / 0.8).powf(1.5));
            let spot = gain(draw.normal() * 0.8);
            let amplitude = 0.28 * strength * mode.amplitude * pushed * spot;
            let twin = mode.twin * gain(draw.normal());
            let twin_hz = mode.hz + mode.split_hz;
            for (hz, share) in [(mode.hz, 1.0), (twin_hz, twin)] {
                let ring = Ring {
                    hz,
                    amplitude: amplitude * share,
                    decay: mode.decay,
                    damped: mode.damped,
                    contact_s,
                    sharp: self.glide_cents * strength.min(1.0),
                    glide_s: self.glide_s,
                    passes: self.passes,
                };
                length = length.max(ring.add_to(&mut out, later, rate_hz));
            }
        }
        length = length.max(self.add_noise(draw, strength, &mut out, rate_hz));
        out.truncate(length);
        out
    }

    /// The slap of the stick: noise through a low-pass that opens with the
    /// stroke's strength.
    fn add_noise(&self, draw: &mut Draw, strength: f64, out: &mut [f32], rate_hz: f64) -> usize {
        let late = (self.noise_late_s * rate_hz) as usize;
        let cutoff = self.noise_hz * strength.powf(0.45);
        let mut low = crate::dsp::Biquad::low_pass(cutoff, 0.6, rate_hz);
        let mut high = crate::dsp::Biquad::high_pass(180.0, 0.7, rate_hz);
        let tau = self.noise_s * rate_hz;
        let length = (6.0 * tau) as usize;
        let peak = self.noise * strength * (rate_hz / (2.0 * cutoff)).sqrt() * 0.35;
        for (i, o) in out.iter_mut().skip(late).take(length).enumerate() {
            let t = i as f64;
            let shape = (t / (0.0008 * rate_hz)).min(1.0) * (-t / tau).exp();
            let v = high.next(low.next(draw.normal() * peak * shape));
            *o += v as f32;
        }
        (late + length).min(out.len())
    }
}

/// One partial of one stroke.
struct Ring {
    hz: f64,
    amplitude: f64,
    decay: f64,
    damped: f64,
    contact_s: f64,
    sharp: f64,
    glide_s: f64,
    passes: f64,
}

impl Ring {
    /// Adds it and gives how many samples it lasted.
    fn add_to(&self, out: &mut [f32], later: &[(usize, Later)], rate_hz: f64) -> usize {
        /// Samples between changes of frequency and decay.
        const STEP: usize = 64;
        const SILENT: f64 = 3e-5;
        let mut level = self.amplitude;
        let mut decay = self.decay;
        let (mut re, mut im) = (0.0f64, 1.0f64);
        let contact = self.contact_s * rate_hz;
        // How long and how fast a new stroke still takes from the old ring.
        let (mut easing, mut ease) = (0usize, 1.0f64);
        let mut events = later.iter().peekable();
        let mut at = 0;
        while at < out.len() && level > SILENT {
            let mut step = STEP.min(out.len() - at);
            while let Some(&&(when, what)) = events.peek() {
                if when > at {
                    step = step.min(when - at);
                    break;
                }
                match what {
                    Later::Struck(force) => {
                        let kept = 1.0 - (1.0 - self.passes) * force.powf(0.3);
                        easing = (0.004 * rate_hz) as usize;
                        ease = kept.powf(1.0 / easing as f64);
                    }
                    Later::Stopped => decay = self.decay + self.damped,
                }
                events.next();
            }
            if easing > 0 {
                step = step.min(easing);
            }
            let t = at as f64 / rate_hz;
            let cents = self.sharp * (-t / self.glide_s).exp();
            let w = TAU * self.hz * 2f64.powf(cents / 1200.0) / rate_hz;
            let mut fall = (-decay / rate_hz).exp();
            if easing > 0 {
                fall *= ease;
                easing -= step;
            }
            let (c, s) = (w.cos(), w.sin());
            for (i, o) in out[at..at + step].iter_mut().enumerate() {
                (re, im) = (re * c - im * s, re * s + im * c);
                level *= fall;
                // The push lasts as long as the contact.
                let pushed = ((at + i) as f64 / contact).min(1.0);
                *o += (level * re * pushed) as f32;
            }
            let norm = 1.0 / (re * re + im * im).sqrt();
            (re, im) = (re * norm, im * norm);
            at += step;
        }
        at
    }
}
