//! SQL, one file per noun; the log; the one writer. Knows nothing of standings or HTTP.

/// Reads, over a pool of connections. Cheap to clone.
#[derive(Clone)]
pub struct Store {}

/// Writes to competitions: a handle on the task that decides and commits in groups.
#[derive(Clone)]
pub struct Writer {}
