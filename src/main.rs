//! The command line: thin. What each command does lies in `commands`.

mod commands;

use clap::Parser;
use embertide::settings::Settings;
use std::process::ExitCode;
use tracing_subscriber::EnvFilter;

fn main() -> ExitCode {
    let filter = EnvFilter::try_from_env("EMBERTIDE_LOG").unwrap_or_else(|_| EnvFilter::new("warn,embertide=info"));
    tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).with_target(false).init();
    let settings = Settings::parse();
    let runtime = match tokio::runtime::Builder::new_multi_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(e) => {
            eprintln!("embertide cannot start: {e}");
            return ExitCode::FAILURE;
        }
    };
    match runtime.block_on(commands::run(settings)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("embertide: {e:#}");
            ExitCode::FAILURE
        }
    }
}
