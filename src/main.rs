//! The command line: parse, wire, run.

fn main() {}
