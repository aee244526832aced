//! What is wrong with an input, what is only remarked on, and what is asked.
//!
//! All faults of an input are returned at once, never only the first.

use crate::words::Sentence;
use serde::{Deserialize, Serialize};

/// Something that must be mended before the input is taken.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fault {
    /// Where: a JSON pointer (`/performance`), or the key of a competition file
    /// (`workout[1].stations[0].reps`). Empty for the whole input.
    pub pointer: String,
    /// What, and what to do.
    pub sentence: Sentence,
    /// Line of the text it was read from, from 1, where there is one.
    pub line: Option<u32>,
}

impl Fault {
    /// A fault at `pointer`.
    pub fn new(pointer: impl Into<String>, sentence: Sentence) -> Self {
        Self { pointer: pointer.into(), sentence, line: None }
    }
}

/// Taken, but a person should know.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Warning {
    /// Where, as in [`Fault::pointer`].
    pub pointer: String,
    /// What was noticed.
    pub sentence: Sentence,
}

/// Taken only after a yes: `confirm=` the sentence's code.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Question {
    /// Where, as in [`Fault::pointer`].
    pub pointer: String,
    /// What is asked; its code is what a yes sends back.
    pub sentence: Sentence,
}

/// A value that passed, with what was noticed on the way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked<T> {
    /// The value.
    pub value: T,
    /// What to tell the person.
    pub warnings: Vec<Warning>,
    /// What must be answered with yes before the value is stored. Empty where all was confirmed.
    pub questions: Vec<Question>,
}
