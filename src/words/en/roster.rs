//! Rows of gyms, entries and judges, and CSV as such.

/// Code and sentence.
pub const SENTENCES: &[(&str, &str)] = &[];
