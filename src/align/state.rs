//! Where the player is and how fast he goes, as a Kalman state: what is expected
//! of the next stroke, and what it teaches.

/// Degrees of freedom of the errors in time: heavy tails, so that one uneven
/// stroke neither ends a run nor bends the tempo.
const FREEDOM: f64 = 5.0;
/// ln of the density of Student's t at 0 for five degrees of freedom:
/// lnΓ(3) - lnΓ(2.5) - ln(5π)/2.
const LN_PEAK: f64 = -0.968_619_589_054_724_3;
/// Random walk of the stretch, its square a marked second: 2 % over a second.
const WALK: f64 = 4e-4;
/// Standard deviation of a turn of the tempo, as a share of it.
const TURN_SD: f64 = 0.2;
/// Where on a way of more than half a second the tempo turned is not known: so
/// much of the rest of it may go at either.
const WITHIN: f64 = 0.1;

/// Where the player is: grid time of the onset in hand, and how long a marked
/// second takes.
#[derive(Clone, Copy, Debug)]
pub(super) struct State {
    pub time_s: f64,
    pub stretch: f64,
    /// Variance of the time, covariance, variance of the stretch.
    pub var: [f64; 3],
}

impl State {
    /// At a candidate, with a prior on the stretch.
    pub fn at(time_s: f64, time_var: f64, stretch: f64, stretch_sd: f64) -> Self {
        Self {
            time_s,
            stretch,
            var: [time_var, 0.0, stretch_sd * stretch_sd],
        }
    }

    /// The state a way further on, `way_s` in marked seconds; `sign` -1 goes
    /// backwards.
    pub fn advanced(&self, way_s: f64, sign: f64, loose_time: f64, loose_stretch: f64) -> Self {
        let d = sign * way_s;
        let [p, c, v] = self.var;
        let walk = WALK * way_s;
        // A count over a long rest drifts more than the beat-to-beat walk.
        let count = 0.015 * (way_s - 1.0).max(0.0);
        let v2 = v + walk + loose_stretch;
        Self {
            time_s: self.time_s + self.stretch * d,
            stretch: self.stretch,
            var: [
                p + 2.0 * d * c
                    + d * d * (v + walk / 3.0 + loose_stretch)
                    + loose_time
                    + count * count,
                c + d * (v + walk / 2.0 + loose_stretch),
                v2,
            ],
        }
    }

    /// The same where the tempo turned on the way: with the note before it, or
    /// somewhere within a longer way.
    pub fn turned(&self, way_s: f64, sign: f64, loose_time: f64, loose_stretch: f64) -> Self {
        let within = WITHIN * (way_s - 0.5).max(0.0);
        let free = (TURN_SD * self.stretch).powi(2);
        self.advanced(
            way_s,
            sign,
            loose_time + within * within,
            loose_stretch + free,
        )
    }

    /// The natural log density of a stroke at a time, and the state after it.
    pub fn update(&self, time_s: f64, noise: f64) -> (f64, Self) {
        let [p, c, v] = self.var;
        let off = time_s - self.time_s;
        let spread = p + noise;
        let z2 = off * off / spread;
        let log = LN_PEAK - 0.5 * spread.ln() - 0.5 * (FREEDOM + 1.0) * (z2 / FREEDOM).ln_1p();
        // A surprising stroke is trusted less (the weight of the t).
        let trust = ((FREEDOM + 1.0) / (FREEDOM + z2)).min(1.0);
        let total = p + noise / trust;
        let (gain_t, gain_r) = (p / total, c / total);
        let after = Self {
            time_s: self.time_s + gain_t * off,
            stretch: (self.stretch + gain_r * off).clamp(0.3, 3.5),
            var: [p - gain_t * p, c - gain_t * c, v - gain_r * c],
        };
        (log, after)
    }
}
