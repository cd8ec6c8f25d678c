//! The practice log, and what can be said across takes: trends over weeks,
//! comparisons of two sets, overviews of a class.

pub mod charts;
pub mod class;
pub mod compare;
pub mod date;
pub mod export;
pub mod log;
pub mod measures;
pub mod schema;
pub mod stats;
mod tempo_chart;
pub mod trend;
mod trend_page;

pub use log::{Entry, Filter, KeepMeta, Log, keep};

use std::path::{Path, PathBuf};

/// Where the log is: the file given, else the one `KETTLEMARK_LOG` names,
/// else `reports/practice.db`.
pub fn log_path(given: Option<&Path>) -> PathBuf {
    given.map(Path::to_path_buf).unwrap_or_else(|| {
        std::env::var_os("KETTLEMARK_LOG")
            .filter(|v| !v.is_empty())
            .map_or_else(|| PathBuf::from("reports/practice.db"), PathBuf::from)
    })
}
