//! The command line: parse, wire, run.

use std::process::ExitCode;

/// Many short pieces of memory from many threads at once, as requests are.
#[global_allocator]
static MEMORY: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    tallywright::cli::run(std::env::args_os())
}
