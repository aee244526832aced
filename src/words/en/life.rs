//! What may not happen to a score now, and what to do instead.

/// Code and sentence.
pub const SENTENCES: &[(&str, &str)] = &[];
