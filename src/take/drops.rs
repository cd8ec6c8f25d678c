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

/// Frames that are looked at together while sound goes on, and how many side by
/// side.
const TOGETHER: usize = 64;
const LANES: usize = 8;

/// Finds where sound was lost on its way into the file.
pub(super) struct Drops {
    pub(super) rate_hz: f64,
    /// Frames of [`EDGE_S`].
    edge: u64,
    /// What is left of a sample after 0, 1, 2 ... frames: it decays within the
    /// stretch that an edge may take.
    left: [f32; TOGETHER + 1],
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
    pub(super) fn new(rate_hz: f64) -> Self {
        let edge = (EDGE_S * rate_hz) as u64;
        let decay = 1.0 - 1.0 / edge.max(2) as f32;
        Self {
            rate_hz,
            edge,
            left: std::array::from_fn(|frames| decay.powi(frames as i32)),
            frames: 0,
            zeros: 0,
            before: 0.0,
            after: 0.0,
            since: 0,
            candidate: None,
            found: Vec::new(),
        }
    }

    /// Takes in the largest sample of all channels of each frame.
    pub(super) fn push(&mut self, sizes: &[f32]) {
        for sizes in sizes.chunks(TOGETHER) {
            let goes_on = self.zeros == 0 && self.candidate.is_none();
            match sizes.try_into() {
                Ok(sizes) if goes_on && none_is_zero(sizes) => self.sounding(sizes),
                _ => sizes.iter().for_each(|&size| self.frame(size)),
            }
        }
    }

    /// Takes in frames of which none is zero, as those before them.
    fn sounding(&mut self, sizes: &[f32; TOGETHER]) {
        let mut largest = [self.before * self.left[TOGETHER]; LANES];
        let left = self.left[..TOGETHER].chunks_exact(LANES).rev();
        for (sizes, left) in sizes.chunks_exact(LANES).zip(left) {
            for ((largest, size), left) in largest.iter_mut().zip(sizes).zip(left.iter().rev()) {
                let size = size * left;
                *largest = if size > *largest { size } else { *largest };
            }
        }
        self.before = largest.into_iter().fold(0.0, f32::max);
        self.frames += TOGETHER as u64;
    }

    fn frame(&mut self, size: f32) {
        if size == 0.0 {
            self.zeros += 1;
        } else {
            let length = self.zeros as f64 / self.rate_hz;
            if (DROP_S.0..DROP_S.1).contains(&length) && self.before >= DROP_EDGE {
                self.candidate = Some((self.frames - self.zeros, self.frames));
                self.after = 0.0;
                self.since = 0;
            }
            if self.zeros > self.edge {
                self.before = 0.0;
            }
            self.zeros = 0;
            self.before = size.max(self.before * self.left[1]);
        }
        if let Some(candidate) = self.candidate {
            self.after = self.after.max(size);
            self.since += 1;
            if self.since >= self.edge {
                if self.after >= DROP_EDGE && self.found.len() < MOST_DROPS {
                    self.found.push(candidate);
                }
                self.candidate = None;
            }
        }
        self.frames += 1;
    }
}

/// Counts, so that all are looked at side by side.
fn none_is_zero(sizes: &[f32; TOGETHER]) -> bool {
    sizes.iter().filter(|&&size| size == 0.0).count() == 0
}
