//! Writes made takes to listen to: `cargo bench --bench make_takes -- room
//! recorded 7 takes` writes `room-recorded-7.wav`, `.kettle` (the
//! part) and `.json` (the truth) into the folder. Several seeds: `7,8,9`.

use kettlemark_test_support::conditions::Kind;
use kettlemark_test_support::kit::Instrument;
use kettlemark_test_support::takes;
use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let [kind, instrument, seeds, folder] = &args[..] else {
        // Run without arguments (as `cargo bench` does) it has nothing to do.
        return ExitCode::SUCCESS;
    };
    let Some(kind) = Kind::ALL.into_iter().find(|k| k.name() == kind) else {
        return ExitCode::from(2);
    };
    let Some(chosen) = Instrument::ALL.into_iter().find(|i| i.name() == instrument) else {
        return ExitCode::from(2);
    };
    let written = seeds
        .split(',')
        .try_for_each(|seed| -> Result<(), Box<dyn std::error::Error>> {
            let take = takes::make(kind, chosen, seed.parse()?);
            std::fs::create_dir_all(folder)?;
            let stem = format!("{}-{instrument}-{seed}", kind.name());
            let base = Path::new(folder).join(stem);
            takes::write_wav(&base.with_extension("wav"), &take.samples, take.rate_hz)?;
            let sheet = kettlemark::part::sheet::to_sheet(&take.part);
            std::fs::write(base.with_extension("kettle"), sheet)?;
            std::fs::write(
                base.with_extension("json"),
                serde_json::to_vec_pretty(&take.truth)?,
            )?;
            Ok(())
        });
    match written {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            use std::io::Write;
            let _ = writeln!(std::io::stderr(), "{error}");
            ExitCode::FAILURE
        }
    }
}
