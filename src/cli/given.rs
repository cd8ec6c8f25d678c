//! What several commands take from the command line alike: how a part is to
//! be read, and the settings that change a number.

use clap::Args;
use kettlemark::error::Error;
use kettlemark::part::ReadOptions;
use kettlemark::settings::Settings;

/// How a part is to be read.
#[derive(Args, Clone, Debug, Default)]
#[command(next_help_heading = "The part")]
pub struct PartArgs {
    /// Which part of a full score, by its name or a piece of it
    #[arg(long, value_name = "NAME")]
    part_name: Option<String>,
    /// Read a tremolo of three strokes as thirty-seconds, not as a roll
    #[arg(long)]
    three_strokes_measured: bool,
    /// Diameters of the drums at hand in inches, as 32,29,26,23
    #[arg(long, value_name = "INCHES", value_delimiter = ',', value_parser = inches)]
    drums: Option<Vec<f64>>,
}

impl PartArgs {
    pub fn options(&self) -> ReadOptions {
        ReadOptions {
            part_name: self.part_name.clone(),
            three_strokes_measured: self.three_strokes_measured,
            drums: self.drums.clone(),
            ..ReadOptions::default()
        }
    }
}

/// The settings of a review.
#[derive(Args, Clone, Debug, Default)]
#[command(next_help_heading = "Settings (all are written into the review)")]
pub struct SettingsArgs {
    /// Frequency of A4 [default: 440]
    #[arg(long, value_name = "HZ", value_parser = a4)]
    a4: Option<f64>,
    /// Which passage counts, 1 = first [default: the longest]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    passage: Option<u32>,
    /// In tune up to the first, off beyond the second [default: 10,25]
    #[arg(long, value_name = "CENTS,CENTS", value_delimiter = ',', num_args = 1, value_parser = positive)]
    tune_bands: Option<Vec<f64>>,
    /// Noticeable unevenness below 240 ms between strokes [default: 6]
    #[arg(long, value_name = "MS", value_parser = positive)]
    noticeable_ms: Option<f64>,
    /// The same from 240 ms upwards, per cent of the interval [default: 2.5]
    #[arg(long, value_name = "PERCENT", value_parser = positive)]
    noticeable_percent: Option<f64>,
    /// A figure is clean within this many times the noticeable [default: 2]
    #[arg(long, value_name = "FACTOR", value_parser = positive)]
    clean_factor: Option<f64>,
    /// How many times likelier "not as written" must be before a note is
    /// called missed or played on another drum [default: 100]
    #[arg(long, value_name = "RATIO", value_parser = ratio)]
    accuse_ratio: Option<f64>,
}

impl SettingsArgs {
    pub fn settings(&self) -> Result<Settings, Error> {
        let usual = Settings::default();
        let tune_bands_cents = match self.tune_bands.as_deref() {
            None => usual.tune_bands_cents,
            Some([near, far]) if near <= far => [*near, *far],
            Some(other) => {
                return Err(Error::Usage(format!(
                    "--tune-bands wants two numbers, the smaller first, as 10,25; found {other:?}"
                )));
            }
        };
        Ok(Settings {
            a4_hz: self.a4.unwrap_or(usual.a4_hz),
            passage: self.passage.map(|n| n as usize),
            tune_bands_cents,
            noticeable_ms: self.noticeable_ms.unwrap_or(usual.noticeable_ms),
            noticeable_pct: self.noticeable_percent.unwrap_or(usual.noticeable_pct),
            clean_factor: self.clean_factor.unwrap_or(usual.clean_factor),
            accuse_ratio: self.accuse_ratio.unwrap_or(usual.accuse_ratio),
        })
    }
}

fn number(text: &str) -> Result<f64, String> {
    let value: f64 = text
        .trim()
        .parse()
        .map_err(|_| "expected a number".to_owned())?;
    if value.is_finite() {
        Ok(value)
    } else {
        Err("expected a finite number".to_owned())
    }
}

fn positive(text: &str) -> Result<f64, String> {
    number(text).and_then(|value| {
        if value > 0.0 {
            Ok(value)
        } else {
            Err("expected a number above 0".to_owned())
        }
    })
}

/// Pitches of A4 that have been in use lie well inside (common practice, no
/// source); what lies outside is a slip of the finger.
fn a4(text: &str) -> Result<f64, String> {
    number(text).and_then(|value| {
        if (380.0..=500.0).contains(&value) {
            Ok(value)
        } else {
            Err("expected a frequency from 380 to 500".to_owned())
        }
    })
}

fn ratio(text: &str) -> Result<f64, String> {
    number(text).and_then(|value| {
        if value >= 1.0 {
            Ok(value)
        } else {
            Err("expected a ratio of 1 or more".to_owned())
        }
    })
}

fn inches(text: &str) -> Result<f64, String> {
    number(text).and_then(|value| {
        if (10.0..=40.0).contains(&value) {
            Ok(value)
        } else {
            Err("expected a diameter from 10 to 40 inches".to_owned())
        }
    })
}
