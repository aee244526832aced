//! The command line: one file per subcommand.

mod demo;

use std::ffi::OsString;
use std::process::ExitCode;

/// Parses the arguments and does what they say. 0: done; 1: refused; 2: used wrongly.
pub fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    let _ = args.into_iter();
    todo!()
}
