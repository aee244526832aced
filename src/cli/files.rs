//! Reading what a person names on the command line.

use super::talk::Stop;
use crate::words::Sentence;
use std::io::Read;
use std::path::Path;

/// The bytes of a file, or of standard input for `-`.
pub(super) fn read(path: &Path) -> Result<Vec<u8>, Stop> {
    let read = if path == Path::new("-") {
        let mut bytes = Vec::new();
        std::io::stdin().read_to_end(&mut bytes).map(|_| bytes)
    } else {
        std::fs::read(path)
    };
    read.map_err(|error| {
        let name = path.display();
        Stop::because(&Sentence::new("cli_file_unreadable").with("file", name).with("why", error))
    })
}

/// The same as text.
pub(super) fn read_text(path: &Path) -> Result<String, Stop> {
    String::from_utf8(read(path)?).map_err(|error| {
        let good = String::from_utf8_lossy(&error.as_bytes()[..error.utf8_error().valid_up_to()]);
        let line = good.matches('\n').count() + 1;
        Stop::because(&Sentence::new("cli_file_not_utf8").with("file", path.display()).with("line", line))
    })
}
