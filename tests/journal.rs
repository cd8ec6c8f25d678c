//! The practice log, the statistics across takes, and the class.

#[path = "journal/common.rs"]
mod common;
#[path = "journal/histories.rs"]
mod histories;
#[path = "journal/keeping.rs"]
mod keeping;
#[path = "journal/scipy.rs"]
mod scipy;
