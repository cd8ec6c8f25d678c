//! The command line: parse, run, print, exit code.

fn main() {}
