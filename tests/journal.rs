//! The practice log, the statistics across takes, and the class.

// A failed unwrap is a failed test; what is printed is for reading.
#![allow(clippy::float_cmp, clippy::print_stdout, clippy::unwrap_used)]

#[path = "journal/answers.rs"]
mod answers;
#[path = "journal/classes.rs"]
mod classes;
#[path = "journal/common.rs"]
mod common;
#[path = "journal/elsewhere.rs"]
mod elsewhere;
#[path = "journal/histories.rs"]
mod histories;
#[path = "journal/keeping.rs"]
mod keeping;
#[path = "journal/scipy.rs"]
mod scipy;
#[path = "journal/sharing.rs"]
mod sharing;
