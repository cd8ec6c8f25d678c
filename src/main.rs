//! The command line: parse, run, print, exit code.

mod cli;

use clap::Parser;
use std::io::Write;
use std::process::ExitCode;

fn main() -> ExitCode {
    let command = cli::Cli::parse().command;
    let mut out = std::io::stdout().lock();
    let code = match cli::run(&command, &mut out) {
        Ok(code) => code,
        Err(error) => {
            cli::say(&format!("kettlemark: {error}"));
            cli::UNUSABLE
        }
    };
    match out.flush() {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            cli::say(&format!("kettlemark: standard output: {error}"));
            ExitCode::from(cli::UNUSABLE)
        }
        _ => ExitCode::from(code),
    }
}
