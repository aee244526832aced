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

/// Something that was read member by member, with a stand-in for each that is at fault: so that the
/// rules can say what else is wrong, and all is told at once.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Read<T> {
    /// As far as it could be read.
    pub value: T,
    /// Everything that could not.
    pub faults: Vec<Fault>,
}

impl<T> Read<T> {
    /// The value, if nothing was wrong with it.
    ///
    /// # Errors
    /// Everything that was.
    pub fn whole(self) -> Result<T, Vec<Fault>> {
        if self.faults.is_empty() { Ok(self.value) } else { Err(self.faults) }
    }

    /// Adds what the rules say of the rest. What they say where something could not be read is about
    /// its stand-in, and left out.
    #[must_use]
    pub fn and_others(mut self, others: Vec<Fault>) -> Self {
        let within = |inner: &str, outer: &str| {
            inner.strip_prefix(outer).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
        };
        let unread: Vec<String> = self.faults.iter().map(|f| f.pointer.clone()).collect();
        let apart = |f: &Fault| !unread.iter().any(|at| within(&f.pointer, at) || within(at, &f.pointer));
        self.faults.extend(others.into_iter().filter(apart));
        self
    }

    /// The same, read on.
    pub fn map<U>(self, read: impl FnOnce(T) -> U) -> Read<U> {
        Read { value: read(self.value), faults: self.faults }
    }
}
