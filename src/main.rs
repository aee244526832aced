//! The command line: parse, wire, run.

use std::process::ExitCode;

fn main() -> ExitCode {
    tallywright::cli::run(std::env::args_os())
}
