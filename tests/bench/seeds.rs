//! Which seeds takes are drawn from.

use clap::{Args, ValueEnum};
use kettlemark_test_support::takes::FIRST_JUDGING_SEED;

#[derive(Clone, Copy, ValueEnum)]
enum Seeds {
    Tuning,
    Judging,
}

/// The first of the seeds that takes are drawn from.
#[derive(Args)]
pub struct Drawn {
    /// Which seeds to draw from.
    #[arg(long, value_enum, default_value = "tuning")]
    seeds: Seeds,
    /// The first seed, counted within those.
    #[arg(long, default_value_t = 0)]
    from: u64,
}

impl Drawn {
    pub fn first(&self) -> u64 {
        self.from
            + match self.seeds {
                Seeds::Tuning => 0,
                Seeds::Judging => FIRST_JUDGING_SEED,
            }
    }
}
