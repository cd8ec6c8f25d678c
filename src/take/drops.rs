//! Moments at which the sound stops dead: buffers that a recorder lost, blocks
//! of a file that were zeroed.

/// The sound stops dead for a moment: between samples of at least this size,
/// all channels are exactly zero for so many seconds.
const DROP_EDGE: f32 = 3e-3;
const DROP_S: (f64, f64) = (0.005, 2.0);
/// Edges are looked for in so many seconds beside.
const EDGE_S: f64 = 0.002;
/// No more than this many are told.
const MOST_DROPS: usize = 100;

/// Finds where sound was lost on its way into the file.
#[derive(Default)]
pub(super) struct Drops {
    pub(super) rate_hz: f64,
    frames: u64,
    zeros: u64,
    /// Largest samples of the last stretch before the zeros, and after them.
    before: f32,
    after: f32,
    /// Frames since the last zeros ended, while an edge is looked for.
    since: u64,
    candidate: Option<(u64, u64)>,
    /// First frame of each, and the frame behind it.
    pub(super) found: Vec<(u64, u64)>,
}

impl Drops {
    /// Takes in the largest sample of all channels of one frame.
    pub(super) fn frame(&mut self, size: f32) {
        let edge = (EDGE_S * self.rate_hz) as u64;
        if size == 0.0 {
            self.zeros += 1;
        } else {
            let length = self.zeros as f64 / self.rate_hz;
            if (DROP_S.0..DROP_S.1).contains(&length) && self.before >= DROP_EDGE {
                self.candidate = Some((self.frames - self.zeros, self.frames));
                self.after = 0.0;
                self.since = 0;
            }
            if self.zeros > edge {
                self.before = 0.0;
            }
            self.zeros = 0;
            // Decays within the stretch that an edge may take.
            self.before *= 1.0 - 1.0 / edge.max(2) as f32;
            self.before = self.before.max(size);
        }
        if let Some(candidate) = self.candidate {
            self.after = self.after.max(size);
            self.since += 1;
            if self.since >= edge {
                if self.after >= DROP_EDGE && self.found.len() < MOST_DROPS {
                    self.found.push(candidate);
                }
                self.candidate = None;
            }
        }
        self.frames += 1;
    }
}
