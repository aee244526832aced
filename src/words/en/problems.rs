//! Problems of the API and its pages.

/// Code and sentence.
pub const SENTENCES: &[(&str, &str)] = &[];
