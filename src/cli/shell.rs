//! `completions` and `man`: what a packager or a shell asks for.

use super::{Cli, DONE, put};
use clap::CommandFactory;
use kettlemark::error::Error;
use std::io::Write;
use std::path::PathBuf;

/// Print a completion script for a shell
#[derive(clap::Args)]
#[command(
    after_help = "Example:\n  kettlemark completions bash > ~/.local/share/bash-completion/completions/kettlemark"
)]
pub struct CompletionsArgs {
    /// The shell the script is for
    shell: clap_complete::Shell,
}

/// Print the manual page, or write one page a command into a folder
#[derive(clap::Args)]
#[command(after_help = "Example:\n  kettlemark man --out ~/.local/share/man/man1")]
pub struct ManArgs {
    /// Folder for one page a command; without it the main page is printed
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

pub fn completions(args: &CompletionsArgs, out: &mut dyn Write) -> Result<u8, Error> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "kettlemark", &mut script);
    put(out, &String::from_utf8_lossy(&script))?;
    Ok(DONE)
}

pub fn man(args: &ManArgs, out: &mut dyn Write) -> Result<u8, Error> {
    let Some(folder) = &args.out else {
        let mut page = Vec::new();
        clap_mangen::Man::new(Cli::command())
            .render(&mut page)
            .map_err(|source| write_error("standard output".into(), source))?;
        put(out, &String::from_utf8_lossy(&page))?;
        return Ok(DONE);
    };
    std::fs::create_dir_all(folder)
        .and_then(|()| clap_mangen::generate_to(Cli::command(), folder))
        .map_err(|source| write_error(folder.clone(), source))?;
    Ok(DONE)
}

fn write_error(path: PathBuf, source: std::io::Error) -> Error {
    Error::Write { path, source }
}
