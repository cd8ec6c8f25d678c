//! The commands: clap types in, plain values out. One file a command.
//!
//! Every command has `Args` and `run(&Args, &mut dyn Write) -> Result<u8,
//! Error>`; the writer is standard output, the number the exit code.
//! Messages go to standard error through [`say`].

mod class;
mod compare;
mod given;
mod log;
mod part;
mod progress;
mod review;
mod shell;
mod trend;

use clap::{Parser, Subcommand};
use kettlemark::error::Error;
use kettlemark::report::lettering::harmless;
use kettlemark::report::store;
use std::io::Write;
use std::path::Path;

/// Exit code: done.
pub const DONE: u8 = 0;
/// Exit code: the take was read but could not be judged.
pub const NOT_JUDGED: u8 = 1;
/// Exit code: wrong use, or a file that cannot be read or written.
pub const UNUSABLE: u8 = 2;

#[derive(Parser)]
#[command(
    name = "kettlemark",
    version = env!("KETTLEMARK_VERSION"),
    about = "Hears recorded timpani practice takes, matches them with the part and measures what was played",
    after_help = "Each command explains itself with one example: kettlemark COMMAND --help",
    disable_help_subcommand = true
)]
pub struct Cli {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Subcommand)]
pub enum Command {
    Review(review::ReviewArgs),
    Class(class::ClassArgs),
    Trend(trend::TrendArgs),
    Compare(compare::CompareArgs),
    Log(log::LogArgs),
    Part(part::PartArgs),
    Completions(shell::CompletionsArgs),
    Man(shell::ManArgs),
}

/// Runs one command and gives its exit code.
pub fn run(command: &Command, out: &mut dyn Write) -> Result<u8, Error> {
    match command {
        Command::Review(args) => review::run(args, out),
        Command::Class(args) => class::run(args, out),
        Command::Trend(args) => trend::run(args, out),
        Command::Compare(args) => compare::run(args, out),
        Command::Log(args) => log::run(args, out),
        Command::Part(args) => part::run(args, out),
        Command::Completions(args) => shell::completions(args, out),
        Command::Man(args) => shell::man(args, out),
    }
}

/// Says something to the person at the terminal, apart from the result; names
/// in it cannot steer the terminal.
pub fn say(text: &str) {
    let mut stream = std::io::stderr().lock();
    for line in text.lines() {
        // Nobody is left to tell when standard error itself is closed.
        let _ = writeln!(stream, "{}", harmless(line));
    }
}

/// Writes a page and its charts, the page last.
pub fn write_files(folder: &Path, files: &[(String, String)]) -> Result<(), Error> {
    let files: Vec<(&str, String)> = files.iter().map(|(n, t)| (n.as_str(), t.clone())).collect();
    store::write_all(folder, &files)
}

/// Writes the result. A reader that has seen enough and closed the pipe is
/// no error.
pub fn put(out: &mut dyn Write, text: &str) -> Result<(), Error> {
    match out.write_all(text.as_bytes()) {
        Err(source) if source.kind() != std::io::ErrorKind::BrokenPipe => Err(Error::Write {
            path: "standard output".into(),
            source,
        }),
        _ => Ok(()),
    }
}
