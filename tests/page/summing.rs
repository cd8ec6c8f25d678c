//! Puts what was made together into a review.

use super::maker::Maker;
use kettlemark::align::Outcome;
use kettlemark::pitch::Pitch;
use kettlemark::review::{
    DrumFacts, Dynamics, FORMAT, Figure, FigureKind, HairpinFacts, IntervalFacts, LevelFacts,
    OrderBreak, PartFacts, PassageFacts, Remark, Review, SettingFacts, TakeFacts, TempoFacts,
    TempoPoint, TuneVerdict, VERSION, Written, WrittenBar, WrittenHairpin, WrittenMark,
    WrittenTempo,
};
use kettlemark::settings::Settings;

impl Maker<'_> {
    pub fn finish(mut self) -> Review {
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
            metronome: None,
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
        // As the program does: those with the commonest number of intervals.
        let of = |parts: usize| figures.iter().filter(move |f| f.shares.len() == parts);
        let parts = (2..5).max_by_key(|p| of(*p).count()).unwrap_or(2);
        let same: Vec<&&Figure> = of(parts).collect();
        let strokes = same.first().map_or(0, |f| f.notes.len());
        let inner = if same.len() < 3 {
            0
        } else {
            strokes.min(parts) - 1
        };
        let mean = middle(figures.iter().filter_map(|f| f.interval_ms).collect()).unwrap_or(1.0);
        let places = |k: usize| -> Vec<f64> {
            same.iter()
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
            median_unevenness_sd_ms: Some(1.7 / (figures.len() as f64).sqrt()),
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
            usual_shape_figures: (inner > 0).then_some(same.len()),
            usual_shape_ms: shape,
            right_ms: (name == "sixteenths").then_some(-2.1),
            right_sd_ms: (name == "sixteenths").then_some(1.6),
            left_ms: (name == "sixteenths").then_some(5.4),
            left_sd_ms: (name == "sixteenths").then_some(1.5),
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
            loud_sharp_sd_cents: Some(0.9),
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
            tempi: vec![WrittenTempo {
                at: 0.0,
                bpm: Some(self.wish.bpm),
                gradual: false,
            }],
            fermatas: Vec::new(),
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
