//! Faults of a competition file.

/// Code and sentence.
pub const SENTENCES: &[(&str, &str)] = &[];
