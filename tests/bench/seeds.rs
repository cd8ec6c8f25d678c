//! Which seeds takes are drawn from.

use clap::ValueEnum;
use kettlemark_test_support::takes::FIRST_JUDGING_SEED;

#[derive(Clone, Copy, ValueEnum)]
pub enum Seeds {
    Tuning,
    Judging,
}

impl Seeds {
    pub fn first(self) -> u64 {
        match self {
            Self::Tuning => 0,
            Self::Judging => FIRST_JUDGING_SEED,
        }
    }
}
