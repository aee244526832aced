//! Figures that cannot be, are asked about, or are only remarked on.

/// Code and sentence.
pub const SENTENCES: &[(&str, &str)] = &[];
