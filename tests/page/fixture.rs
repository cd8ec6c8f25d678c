//! Reviews made by hand for the page: what a take could have come to, without
//! any hearing. Every number is drawn from a fixed sequence.

use kettlemark::align::Outcome;
use kettlemark::pitch::Pitch;
use kettlemark::review::{
    Accent, Doubt, DrumFacts, Dynamics, FORMAT, Figure, FigureKind, HairpinFacts, IntervalFacts,
    LevelFacts, NoteFacts, OrderBreak, PartFacts, PassageFacts, Remark, Review, Roll, SettingFacts,
    Stop, StopState, StrokeFacts, TakeFacts, TempoFacts, TempoPoint, TuneVerdict, VERSION, Written,
    WrittenBar, WrittenHairpin, WrittenMark,
};
use kettlemark::settings::Settings;

/// A fixed sequence of numbers: a linear congruential generator with the
/// constants of Numerical Recipes (Press et al., 3rd edition, 7.1).
struct Noise(u64);

impl Noise {
    /// From -1 to 1, roughly bell-shaped.
    fn next(&mut self) -> f64 {
        let sum: f64 = (0..3).map(|_| self.even()).sum();
        sum / 3.0
    }

    fn even(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }

    fn chance(&mut self, share: f64) -> bool {
        self.even() < share * 2.0 - 1.0
    }
}

/// How a made take is to be.
pub struct Wish {
    pub title: &'static str,
    pub file: &'static str,
    pub bars: usize,
    pub bpm: f64,
    pub drums: &'static [&'static str],
    /// 0: as good as it gets; 1: much goes wrong.
    pub faults: f64,
    pub all_rolls: bool,
}

pub fn clean() -> Review {
    make(&Wish {
        title: "Lantern Procession",
        file: "2026-10-28_lantern_A.m4a",
        bars: 24,
        bpm: 96.0,
        drums: &["F2", "Bb2", "D3", "F3"],
        faults: 0.05,
        all_rolls: false,
    })
}

pub fn bad() -> Review {
    let mut review = make(&Wish {
        title: "Lantern Procession",
        file: "2026-09-30_lantern_A.mp3",
        bars: 24,
        bpm: 96.0,
        drums: &["F2", "Bb2", "D3", "F3"],
        faults: 1.0,
        all_rolls: false,
    });
    review.doubts = vec![
        Doubt {
            kind: "gain-control".into(),
            text: "The recorder evens the level out: soft strokes come up, loud ones go down."
                .into(),
            limits: vec!["dynamics".into(), "stops".into()],
        },
        Doubt {
            kind: "bass-cut".into(),
            text: "Below about 150 Hz the recording loses bass.".into(),
            limits: vec!["tuning".into()],
        },
    ];
    review.passages.insert(
        0,
        PassageFacts {
            from_s: 0.3,
            to_s: 1.7,
            from_bar: 1,
            to_bar: 1,
            counted: false,
            median_bpm: Some(90.0),
            played: 2,
            missed: 0,
            other_drum: 0,
            unsure: 0,
            unevenness_ms: None,
        },
    );
    review
}

pub fn five_strokes() -> Review {
    let mut review = make(&Wish {
        title: "Five strokes",
        file: "five.wav",
        bars: 2,
        bpm: 80.0,
        drums: &["A2", "D3"],
        faults: 0.2,
        all_rolls: false,
    });
    review.notes.truncate(5);
    let kept = |note: usize| note < 5;
    review.strokes.retain(|s| s.note.is_some_and(kept));
    review.figures.clear();
    review.figure_kinds.clear();
    review.rolls.clear();
    review.stops.clear();
    review.dynamics.accents.retain(|a| kept(a.note));
    review.dynamics.hairpins.clear();
    review.written.hairpins.clear();
    review.remarks.clear();
    review.tempo.curve.truncate(5);
    for drum in &mut review.drums {
        for setting in &mut drum.settings {
            setting.strokes = 2;
            setting.cents = None;
            setting.cents_sd = None;
            setting.hz = None;
            setting.verdict = None;
            setting.drift_cents_per_min = None;
            setting.drift_sd_cents_per_min = None;
        }
    }
    review.intervals.clear();
    review.part.notes = 5;
    review.take.duration_s = 6.0;
    review
}

pub fn ten_minutes() -> Review {
    make(&Wish {
        title: "A long study for four drums",
        file: "long.flac",
        bars: 240,
        bpm: 96.0,
        drums: &["F2", "Bb2", "D3", "F3"],
        faults: 0.4,
        all_rolls: false,
    })
}

pub fn one_drum() -> Review {
    make(&Wish {
        title: "Study for one drum",
        file: "one.ogg",
        bars: 8,
        bpm: 72.0,
        drums: &["C3"],
        faults: 0.5,
        all_rolls: false,
    })
}

pub fn all_rolls() -> Review {
    make(&Wish {
        title: "Long rolls",
        file: "rolls.wav",
        bars: 8,
        bpm: 60.0,
        drums: &["G2", "C3"],
        faults: 0.3,
        all_rolls: true,
    })
}

pub fn refused() -> Review {
    let mut review = clean();
    review.judged = false;
    review.reason = Some("what is played does not follow this part".into());
    review.same_piece = Some(0.01);
    review.passages.clear();
    review.tempo = TempoFacts::default();
    for note in &mut review.notes {
        note.outcome = Outcome::NotReached;
        note.stroke = None;
        note.deviation_ms = None;
        note.deviation_sd_ms = None;
        note.expected_s = None;
    }
    for stroke in &mut review.strokes {
        stroke.note = None;
        stroke.drum = None;
        stroke.hz = None;
        stroke.cents = None;
        stroke.cents_sd = None;
        stroke.in_roll = false;
    }
    review.figures.clear();
    review.figure_kinds.clear();
    review.rolls.clear();
    review.drums.clear();
    review.intervals.clear();
    review.dynamics = Dynamics::default();
    review.stops.clear();
    review.remarks.clear();
    for bar in &mut review.written.bars {
        bar.time_s = None;
    }
    for mark in &mut review.written.marks {
        mark.time_s = None;
    }
    for hairpin in &mut review.written.hairpins {
        hairpin.from_s = None;
        hairpin.to_s = None;
    }
    review
}

/// Titles, cues, marks and names that try to be something else.
pub fn hostile() -> Review {
    let mut review = clean();
    review.part.title =
        "<script>alert(1)</script>\"'&amp; \u{202e}desrever\u{202c} 🥁 Процессия с \
                         фонарями, 提灯行列のための行進曲、とても長い題名 ünïcödé \
                         Donaudampfschifffahrtsgesellschaftskapitänsmütze\u{1b}[31m"
            .into();
    review.take.file = "=cmd|' \"><img src=x onerror=alert(2)>.m4a".into();
    review.written.bars[0].cue = Some("</text><script>alert(3)</script> кларнет соло".into());
    review.remarks[0].text = "<b>bold</b> & \"quoted\" text in bars 1-4.".into();
    review.figures[0].kind = "<i>odd</i>".into();
    review.doubts.push(Doubt {
        kind: "noise".into(),
        text: "It hums <script>alert(4)</script>.".into(),
        limits: vec!["<u>x</u>".into()],
    });
    review
}

/// All cases with the name of their golden files.
pub fn all() -> Vec<(&'static str, Review)> {
    vec![
        ("clean", clean()),
        ("bad", bad()),
        ("five", five_strokes()),
        ("long", ten_minutes()),
        ("one-drum", one_drum()),
        ("all-rolls", all_rolls()),
        ("refused", refused()),
        ("hostile", hostile()),
    ]
}

struct Maker<'a> {
    wish: &'a Wish,
    noise: Noise,
    pitches: Vec<Pitch>,
    notes: Vec<NoteFacts>,
    strokes: Vec<StrokeFacts>,
    figures: Vec<Figure>,
    rolls: Vec<Roll>,
    stops: Vec<Stop>,
    accents: Vec<Accent>,
}

fn make(wish: &Wish) -> Review {
    let mut maker = Maker {
        wish,
        noise: Noise(7),
        pitches: wish.drums.iter().map(|p| p.parse().unwrap()).collect(),
        notes: Vec::new(),
        strokes: Vec::new(),
        figures: Vec::new(),
        rolls: Vec::new(),
        stops: Vec::new(),
        accents: Vec::new(),
    };
    for bar in 0..wish.bars {
        maker.bar(bar);
    }
    maker.finish()
}

impl Maker<'_> {
    fn bpm(&self, at: f64) -> f64 {
        let end = self.wish.bars as f64 * 4.0;
        let wave = (at / end * 9.0).sin() * 2.0;
        self.wish.bpm * (0.98 + self.wish.faults * 0.08 * at / end) + wave
    }

    /// The pulse: quarter notes to seconds, by small steps.
    fn time(&self, at: f64) -> f64 {
        let whole = at.floor() as usize;
        let sum: f64 = (0..whole).map(|q| 60.0 / self.bpm(q as f64)).sum();
        2.0 + sum + (at - whole as f64) * 60.0 / self.bpm(whole as f64)
    }

    fn bar(&mut self, bar: usize) {
        let at = bar as f64 * 4.0;
        let drums = self.pitches.len();
        let last = bar + 1 == self.wish.bars;
        if self.wish.all_rolls {
            self.roll(bar, at, 4.0, bar % drums);
            return;
        }
        match bar % 4 {
            _ if last => {
                self.roll(bar, at, 2.0, 0);
                self.note(bar, at + 2.0, 2.0, 0);
                self.stop(bar, "final", 2.0);
            }
            0 => {
                for beat in 0..4 {
                    self.note(
                        bar,
                        at + f64::from(beat),
                        1.0,
                        (bar / 4 + beat as usize) % drums,
                    );
                }
                let first = self.notes.len() - 4;
                let contrast = 4.0 + 3.0 * self.noise.next() - self.wish.faults * 2.0;
                self.accents.push(Accent {
                    note: first,
                    bar: bar as i32 + 1,
                    contrast_db: Some(contrast),
                    contrast_sd_db: Some(0.8),
                });
            }
            1 => {
                self.figure(bar, at, 3, "triplet-eighths", true, drums);
                self.figure(bar, at + 1.0, 3, "triplet-eighths", true, drums);
                self.note(bar, at + 2.0, 1.0, 0);
                self.note(bar, at + 3.0, 0.5, drums - 1);
                self.stop(bar, "staccato", 0.5);
            }
            2 => {
                self.figure(bar, at, 4, "sixteenths", true, drums);
                self.figure(bar, at + 1.0, 2, "eighths", true, drums);
                self.note(bar, at + 2.0, 1.0, 1 % drums);
                self.stop(bar, "rest", 1.0);
            }
            _ => {
                self.roll(bar, at, 2.0, drums - 1);
                self.figure(bar, at + 2.0, 4, "sixteenths", false, drums);
            }
        }
    }

    fn figure(
        &mut self,
        bar: usize,
        at: f64,
        parts: usize,
        kind: &str,
        closed: bool,
        drums: usize,
    ) {
        let first = self.notes.len();
        for k in 0..parts {
            let place = at + k as f64 / parts as f64;
            self.note(bar, place, 1.0 / parts as f64, (bar + k) % drums);
            if k == 1 && parts == 3 {
                // The usual fault: the middle of a triplet comes early.
                let shift = -22.0 * self.wish.faults;
                let note = self.notes.last_mut().unwrap();
                if let (Some(ms), Some(i)) = (note.deviation_ms, note.stroke) {
                    note.deviation_ms = Some(ms + shift);
                    self.strokes[i].time_s += shift / 1000.0;
                }
            }
        }
        let mut times: Vec<Option<f64>> = self.notes[first..]
            .iter()
            .map(|n| Some(self.strokes[n.stroke?].time_s))
            .collect();
        if closed {
            let next = self.time(at + 1.0) + 0.004 * self.noise.next();
            times.push(Some(next));
        }
        let whole: Option<Vec<f64>> = times.into_iter().collect();
        let gaps: Vec<f64> = whole
            .iter()
            .flat_map(|t| t.windows(2).map(|w| (w[1] - w[0]) * 1000.0))
            .collect();
        let mean = gaps.iter().sum::<f64>() / gaps.len().max(1) as f64;
        let square =
            gaps.iter().map(|g| (g - mean).powi(2)).sum::<f64>() / gaps.len().max(1) as f64;
        let known = !gaps.is_empty();
        let ms = square.sqrt();
        let limit = 2.0 * (0.025 * mean).max(6.0);
        let worst = gaps.iter().map(|g| (g - mean).abs()).fold(0.0, f64::max);
        let clean = match worst {
            w if w < limit - 3.0 => Some(true),
            w if w > limit + 3.0 => Some(false),
            _ => None,
        };
        self.figures.push(Figure {
            bar: bar as i32 + 1,
            beat: at - bar as f64 * 4.0 + 1.0,
            kind: kind.into(),
            notes: (first..first + parts).collect(),
            shares: gaps.iter().map(|g| g / mean / gaps.len() as f64).collect(),
            interval_ms: known.then_some(mean),
            unevenness_ms: known.then_some(ms),
            unevenness_sd_ms: known.then_some(1.4),
            unevenness_pct: known.then_some(ms / mean * 100.0),
            clean: clean.filter(|_| known),
        });
    }

    fn note(&mut self, bar: usize, at: f64, length: f64, drum: usize) {
        let outcome = match () {
            () if self.noise.chance(0.02 * self.wish.faults) => Outcome::Missed,
            () if self.noise.chance(0.02 * self.wish.faults) => Outcome::OtherDrum,
            () if self.noise.chance(0.02 * self.wish.faults) => Outcome::Unsure,
            () => Outcome::Played,
        };
        let expected = self.time(at);
        let index = self.notes.len();
        let mut deviation = None;
        let mut stroke = None;
        if matches!(outcome, Outcome::Played | Outcome::OtherDrum) {
            let ms = self.noise.next() * (3.0 + 18.0 * self.wish.faults);
            deviation = Some(ms);
            stroke = Some(self.strokes.len());
            let other = (drum + 1) % self.pitches.len();
            let struck = if outcome == Outcome::OtherDrum {
                other
            } else {
                drum
            };
            self.stroke(expected + ms / 1000.0, struck, Some(index), false);
        }
        self.notes.push(NoteFacts {
            index,
            bar: bar as i32 + 1,
            beat: at - bar as f64 * 4.0 + 1.0,
            at,
            length,
            pitch: self.pitches[drum],
            drum: drum as u8 + 1,
            roll: false,
            outcome,
            stroke,
            deviation_ms: deviation,
            deviation_sd_ms: deviation.map(|_| 1.2),
            expected_s: Some(expected),
        });
    }

    fn stroke(&mut self, time_s: f64, drum: usize, note: Option<usize>, in_roll: bool) {
        let phrase = ((time_s / 9.0).sin() + 1.0) * -9.0;
        let level = (phrase - 2.0 + 2.5 * self.noise.next()).min(0.0);
        let off = self.cents(drum) + 4.0 * self.noise.next();
        self.strokes.push(StrokeFacts {
            time_s,
            time_sd_ms: 1.2,
            level_db: level,
            level_sd_db: 0.5,
            drum: Some(drum as u8 + 1),
            hz: Some(self.pitches[drum].hz(440.0) * 2f64.powf(off / 1200.0)),
            cents: Some(off),
            cents_sd: Some(4.0),
            in_roll,
            note,
        });
    }

    fn cents(&self, drum: usize) -> f64 {
        [-4.0, 14.0, -31.0, 6.0][drum % 4] * (0.3 + self.wish.faults)
    }

    fn roll(&mut self, bar: usize, at: f64, length: f64, drum: usize) {
        self.note(bar, at, length, drum);
        let note = self.notes.len() - 1;
        self.notes[note].roll = true;
        let (from, to) = (self.time(at), self.time(at + length));
        let mut t = from + 0.085;
        while t < to - 0.05 {
            self.stroke(t, drum, Some(note), true);
            t += 0.085 + 0.006 * self.wish.faults * self.noise.next();
        }
        let curve: Vec<f64> = (0..24)
            .map(|k| -16.0 + 9.0 * f64::from(k) / 23.0 + 1.2 * self.noise.next())
            .collect();
        self.rolls.push(Roll {
            note,
            bar: bar as i32 + 1,
            from_s: from,
            to_s: to,
            strokes_per_s: Some(11.7 + self.noise.next()),
            strokes_per_s_sd: Some(0.4),
            unevenness_pct: Some(3.0 + 6.0 * self.wish.faults),
            level_curve_db: curve,
            start_accent_db: Some(2.4),
            end_accent_db: if bar % 8 == 3 { None } else { Some(-1.2) },
            gap_ms: Some(35.0 + 40.0 * self.wish.faults),
        });
    }

    /// The last note is to be stopped.
    fn stop(&mut self, bar: usize, expected: &str, length: f64) {
        let Some(note) = self.notes.last() else {
            return;
        };
        let (index, drum) = (note.index, note.drum);
        let written_ms = length * 60_000.0 / self.wish.bpm;
        let late = 18.0 + 150.0 * self.wish.faults * self.noise.next().abs();
        let state = match () {
            () if self.noise.chance(0.25 * self.wish.faults) => StopState::Ringing,
            () if self.noise.chance(0.2 * self.wish.faults) => StopState::Unsure,
            () => StopState::Stopped,
        };
        let stopped = state == StopState::Stopped;
        let after = written_ms + late;
        let hop = 0.02;
        let curve = (0..125)
            .map(|k| {
                let ms = f64::from(k) * hop * 1000.0;
                let free = -ms / 1000.0 * 9.0;
                let fall = if stopped {
                    -(ms - after).max(0.0) * 0.12
                } else {
                    0.0
                };
                (free + fall).max(-46.0) + 0.4 * self.noise.next()
            })
            .collect();
        self.stops.push(Stop {
            note: index,
            bar: bar as i32 + 1,
            drum,
            expected: expected.into(),
            state,
            stopped_after_ms: stopped.then_some(after),
            stopped_after_sd_ms: stopped.then_some(12.0),
            late_ms: stopped.then_some(late),
            ring_db_500ms: (state != StopState::Unsure).then_some(if stopped {
                -33.0
            } else {
                -9.0
            }),
            curve_db: curve,
            curve_hop_s: hop,
        });
    }

    fn finish(mut self) -> Review {
        self.strokes_in_order();
        let end = self.wish.bars as f64 * 4.0;
        let last_bar = self.wish.bars as i32;
        let to_s = self.time(end);
        let written = self.written();
        let tempo = self.tempo();
        let tally = |o: Outcome| self.notes.iter().filter(|n| n.outcome == o).count();
        let passage = PassageFacts {
            from_s: 2.0,
            to_s,
            from_bar: 1,
            to_bar: last_bar,
            counted: true,
            median_bpm: tempo.median_bpm,
            played: tally(Outcome::Played),
            missed: tally(Outcome::Missed),
            other_drum: tally(Outcome::OtherDrum),
            unsure: tally(Outcome::Unsure),
            unevenness_ms: Some(9.0),
        };
        let remarks = self.remarks();
        Review {
            format: FORMAT.into(),
            version: VERSION,
            program: "0.1.0".into(),
            settings: Settings::default(),
            take: self.take(to_s + 3.0),
            part: PartFacts {
                title: self.wish.title.into(),
                bars: self.wish.bars,
                notes: self.notes.len(),
                identity: "5".repeat(64),
            },
            judged: true,
            reason: None,
            same_piece: Some(0.9993),
            passages: vec![passage],
            tempo,
            figure_kinds: self.kinds(),
            drums: self.drums(),
            intervals: self.intervals(),
            dynamics: self.dynamics(&written),
            strokes: self.strokes,
            notes: self.notes,
            figures: self.figures,
            rolls: self.rolls,
            stops: self.stops,
            doubts: Vec::new(),
            remarks,
            written,
        }
    }

    fn strokes_in_order(&mut self) {
        let mut places: Vec<usize> = (0..self.strokes.len()).collect();
        places.sort_by(|a, b| self.strokes[*a].time_s.total_cmp(&self.strokes[*b].time_s));
        let new_place = |old: usize| places.iter().position(|p| *p == old);
        for note in &mut self.notes {
            note.stroke = note.stroke.and_then(new_place);
        }
        self.strokes = places.iter().map(|p| self.strokes[*p].clone()).collect();
    }

    fn take(&mut self, duration_s: f64) -> TakeFacts {
        let hop = 0.05;
        let count = (duration_s / hop) as usize;
        let mut outline = vec![-52.0; count];
        for stroke in &self.strokes {
            let first = (stroke.time_s / hop) as usize;
            for k in 0..40 {
                if let Some(level) = outline.get_mut(first + k) {
                    *level = f64::max(*level, stroke.level_db - 0.5 * k as f64);
                }
            }
        }
        TakeFacts {
            file: self.wish.file.into(),
            hash: "a".repeat(64),
            duration_s,
            sample_rate_hz: 48_000,
            channels: 1,
            codec: "aac".into(),
            start_offset_known: true,
            peak_db: Some(-2.8),
            clipped_share: 0.0,
            noise_floor_db: Some(-58.0),
            bass_cut_hz: None,
            bandwidth_hz: Some(15_800.0),
            gain_control: Some(false),
            gaps: Vec::new(),
            outline_db: outline.into_iter().map(Some).collect(),
            outline_hop_s: hop,
        }
    }

    fn tempo(&self) -> TempoFacts {
        let curve: Vec<TempoPoint> = (0..self.wish.bars * 4)
            .map(|q| TempoPoint {
                bar: (q / 4) as i32 + 1,
                beat: (q % 4) as f64 + 1.0,
                time_s: self.time(q as f64),
                bpm: self.bpm(q as f64),
                marked_bpm: Some(self.wish.bpm),
            })
            .collect();
        TempoFacts {
            median_bpm: Some(self.bpm(self.wish.bars as f64 * 2.0)),
            marked_bpm: Some(self.wish.bpm),
            drift_pct_per_min: Some(4.0 * self.wish.faults),
            drift_sd_pct_per_min: Some(0.6),
            curve,
        }
    }

    fn kinds(&self) -> Vec<FigureKind> {
        let mut names: Vec<&str> = self.figures.iter().map(|f| f.kind.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        names.iter().map(|name| self.kind(name)).collect()
    }

    fn kind(&self, name: &str) -> FigureKind {
        let figures: Vec<&Figure> = self
            .figures
            .iter()
            .filter(|f| f.kind == name && !f.shares.is_empty())
            .collect();
        let inner = figures
            .iter()
            .map(|f| f.shares.len())
            .max()
            .unwrap_or(1)
            .saturating_sub(1);
        let mean = middle(figures.iter().filter_map(|f| f.interval_ms).collect()).unwrap_or(1.0);
        let places = |k: usize| -> Vec<f64> {
            figures
                .iter()
                .filter(|f| f.shares.len() > k + 1)
                .map(|f| {
                    let parts = f.shares.len() as f64;
                    (f.shares[..=k].iter().sum::<f64>() * parts - (k + 1) as f64) * mean
                })
                .collect()
        };
        let shape: Vec<f64> = (0..inner)
            .map(|k| middle(places(k)).unwrap_or(0.0))
            .collect();
        FigureKind {
            kind: name.into(),
            count: figures.len(),
            median_unevenness_ms: middle(figures.iter().filter_map(|f| f.unevenness_ms).collect()),
            median_unevenness_pct: middle(
                figures.iter().filter_map(|f| f.unevenness_pct).collect(),
            ),
            median_interval_ms: Some(mean),
            clean: figures.iter().filter(|f| f.clean == Some(true)).count(),
            not_clean: figures.iter().filter(|f| f.clean == Some(false)).count(),
            usual_shape_sd_ms: vec![2.1; inner],
            usual_shape_count: (0..inner)
                .map(|k| places(k).iter().filter(|p| **p * shape[k] > 0.0).count())
                .collect(),
            usual_shape_ms: shape,
            right_ms: (name == "sixteenths").then_some(-2.1),
            left_ms: (name == "sixteenths").then_some(5.4),
        }
    }

    fn drums(&self) -> Vec<DrumFacts> {
        let last_bar = self.wish.bars as i32;
        let setting = |drum: usize, pitch: Pitch, from: i32, to: i32, cents: f64| SettingFacts {
            pitch,
            from_bar: from,
            to_bar: to,
            hz: Some(pitch.hz(440.0) * 2f64.powf(cents / 1200.0)),
            cents: Some(cents),
            cents_sd: Some(2.6),
            strokes: self
                .strokes
                .iter()
                .filter(|s| s.drum == Some(drum as u8 + 1))
                .count(),
            drift_cents_per_min: Some(-3.0 * self.wish.faults),
            drift_sd_cents_per_min: Some(1.1),
            loud_sharp_cents: Some(2.0),
            verdict: match cents.abs() {
                c if c < 7.0 => Some(TuneVerdict::InTune),
                c if c < 13.0 => None,
                c if c < 25.0 => Some(TuneVerdict::Noticeable),
                _ => Some(TuneVerdict::Off),
            },
        };
        (0..self.pitches.len())
            .map(|d| {
                let pitch = self.pitches[d];
                let settings = if d == 2 && last_bar > 12 {
                    let next = Pitch::from_key(pitch.key() + 1);
                    vec![
                        setting(d, pitch, 1, 12, self.cents(d)),
                        setting(d, next, 13, last_bar, self.cents(d) * 0.4),
                    ]
                } else {
                    vec![setting(d, pitch, 1, last_bar, self.cents(d))]
                };
                DrumFacts {
                    drum: d as u8 + 1,
                    size_in: Some([32.0, 29.0, 26.0, 23.0][d % 4]),
                    settings,
                }
            })
            .collect()
    }

    fn intervals(&self) -> Vec<IntervalFacts> {
        (1..self.pitches.len())
            .map(|d| IntervalFacts {
                from_bar: 1,
                to_bar: self.wish.bars as i32,
                lower_drum: d as u8,
                lower: self.pitches[d - 1],
                upper_drum: d as u8 + 1,
                upper: self.pitches[d],
                cents: self.cents(d) - self.cents(d - 1),
                cents_sd: 3.6,
            })
            .collect()
    }

    fn written(&self) -> Written {
        let cues = [
            "oboe solo",
            "strings enter",
            "horns, then everyone",
            "bells",
        ];
        let bars = (0..self.wish.bars)
            .map(|b| WrittenBar {
                number: b as i32 + 1,
                at: b as f64 * 4.0,
                length: 4.0,
                time_s: Some(self.time(b as f64 * 4.0)),
                cue: (b % 8 == 2).then(|| cues[b / 8 % 4].to_owned()),
            })
            .collect();
        let marks = (0..self.wish.bars)
            .step_by(4)
            .map(|b| WrittenMark {
                at: b as f64 * 4.0,
                bar: b as i32 + 1,
                mark: ["mf", "p", "f", "ff", "pp"][b / 4 % 5].into(),
                time_s: Some(self.time(b as f64 * 4.0)),
            })
            .collect();
        let hairpins = (2..self.wish.bars.saturating_sub(2))
            .step_by(8)
            .enumerate()
            .map(|(i, b)| WrittenHairpin {
                from: b as f64 * 4.0,
                to: b as f64 * 4.0 + 8.0,
                kind: if i % 2 == 0 {
                    "diminuendo"
                } else {
                    "crescendo"
                }
                .into(),
                from_s: Some(self.time(b as f64 * 4.0)),
                to_s: Some(self.time(b as f64 * 4.0 + 8.0)),
            })
            .collect();
        Written {
            bars,
            marks,
            hairpins,
        }
    }

    fn dynamics(&self, written: &Written) -> Dynamics {
        let levels: Vec<LevelFacts> = written
            .marks
            .iter()
            .map(|m| {
                let inside: Vec<f64> = self
                    .strokes
                    .iter()
                    .filter(|s| {
                        let at = s.note.map_or(-1.0, |n| self.notes[n].at);
                        !s.in_roll && at >= m.at && at < m.at + 16.0
                    })
                    .map(|s| s.level_db)
                    .collect();
                LevelFacts {
                    bar: m.bar,
                    beat: 1.0,
                    to_bar: (m.bar + 3).min(self.wish.bars as i32),
                    mark: m.mark.clone(),
                    strokes: inside.len(),
                    level_db: middle(inside.clone()),
                    level_sd_db: Some(0.7),
                    fitted_db: middle(inside).map(|l| l - 1.0),
                }
            })
            .collect();
        let order_breaks = if self.wish.faults > 0.5 {
            vec![OrderBreak {
                softer_mark: "p".into(),
                softer_bar: 5,
                louder_mark: "mf".into(),
                louder_bar: 1,
                excess_db: 3.1,
                excess_sd_db: 0.9,
            }]
        } else {
            Vec::new()
        };
        Dynamics {
            levels,
            order_breaks,
            accents: self.accents.clone(),
            hairpins: written
                .hairpins
                .iter()
                .map(|h| HairpinFacts {
                    from_bar: (h.from / 4.0) as i32 + 1,
                    to_bar: (h.to / 4.0) as i32,
                    written: h.kind.clone(),
                    change_db: Some(if h.kind == "crescendo" { 5.2 } else { -4.4 }),
                    change_sd_db: Some(1.1),
                    steadiness: Some(0.71),
                })
                .collect(),
        }
    }

    fn remarks(&self) -> Vec<Remark> {
        if self.wish.bars < 8 || self.wish.all_rolls {
            return Vec::new();
        }
        vec![
            Remark {
                rank: 1,
                kind: "triplets".into(),
                bars: vec![2, 6],
                text: "In bars 2 and 6 the middle note of the triplets comes 18 ± 3 ms early (9 \
                       of 10 times); an ear notices about 6 ms."
                    .into(),
                practise: "play bar 2 at 72 with the last two notes of each triplet alone, then \
                           add the first."
                    .into(),
                from_s: self.time(4.0),
                to_s: self.time(6.0),
            },
            Remark {
                rank: 2,
                kind: "tuning".into(),
                bars: vec![1],
                text: "Drum 3 (D3) is 31 ± 3 cents flat until bar 12.".into(),
                practise: "tune D3 as a major third over the B flat and sing it first.".into(),
                from_s: self.time(0.0),
                to_s: self.time(4.0),
            },
            Remark {
                rank: 3,
                kind: "stops".into(),
                bars: vec![self.wish.bars as i32],
                text: "The last note rings 120 ± 12 ms beyond its end.".into(),
                practise: "count the rest aloud and let the free hand fall on the word.".into(),
                from_s: self.time(self.wish.bars as f64 * 4.0 - 2.0),
                to_s: self.time(self.wish.bars as f64 * 4.0),
            },
        ]
    }
}

fn middle(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}
