//! The shape of the cautions, the same in every language. Their words stand beside the language.

/// The block that every workout's page carries. An organiser can add to it, never remove it.
#[derive(Debug)]
pub struct Cautions {
    /// Heading.
    pub title: &'static str,
    /// First sentence.
    pub intro: &'static str,
    /// Heading and lines of each group.
    pub groups: &'static [(&'static str, &'static [&'static str])],
    /// What comes first in law and medicine; where the cautions are from.
    pub standing: &'static str,
}
