//! Why an action did not do what was asked: one enum for all verbs.
//!
//! The web floor turns it into a problem with a status; the command line into lines and exit
//! code 1. It holds sentences, never prose, and keeps the private source of a breakdown apart.

use crate::rules::access::Denied;
use crate::rules::fault::Fault;
use crate::rules::ledger::Refusal;
use crate::words::Sentence;

/// Why an action did not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// The rules say no: 401, 403, 404, 409, 412, 422 or 428.
    #[error("refused: {0:?}")]
    Refused(Refusal),
    /// 412 or 428, with the score that is there now.
    #[error("refused: {refusal:?}")]
    Stale {
        /// Which of them.
        refusal: Refusal,
        /// What its sender should have seen.
        current: Box<super::views::ScoreView>,
    },
    /// The input cannot be read at all: 400.
    #[error("unreadable: {0:?}")]
    Unreadable(Vec<Fault>),
    /// The same idempotency key came with another body: 422.
    #[error("the idempotency key was used for another request")]
    KeyReused,
    /// The same request is being done right now: 409, to be asked again.
    #[error("the same request is being done")]
    BeingMade,
    /// Too much work waits: nothing was done, 503.
    #[error("too much work is waiting")]
    Busy,
    /// The database cannot be written, or not reached: nothing was done, 503.
    #[error("the database is not available")]
    Unavailable,
    /// It cannot be said whether the change was stored: 503, to be repeated with the same key.
    #[error("the outcome is unknown")]
    OutcomeUnknown,
    /// It is stored, and what is there now cannot be shown: 503.
    #[error("stored, and cannot be shown")]
    Stored,
    /// A part is done for good, as the sentence says, and the same may be asked again: 503.
    #[error("done in part: {0:?}")]
    InPart(Sentence, #[source] anyhow::Error),
    /// The standings have not reached the state asked for within two seconds: 503.
    #[error("the standings are behind the state asked for")]
    Behind,
    /// Something broke: 500, with the source for the log alone.
    #[error("something broke")]
    Broken(#[source] anyhow::Error),
}

impl Failure {
    /// 404 with a sentence.
    #[must_use]
    pub fn not_found(sentence: Sentence) -> Self {
        Self::Refused(Refusal::NotFound(sentence))
    }

    /// 422 with faults.
    #[must_use]
    pub fn faults(faults: Vec<Fault>) -> Self {
        Self::Refused(Refusal::Faults(faults))
    }

    /// The same without the faults at one place; `None`: nothing else was wrong.
    #[must_use]
    pub fn but(self, pointer: &str) -> Option<Self> {
        let Self::Refused(Refusal::Faults(mut faults)) = self else { return Some(self) };
        faults.retain(|fault| fault.pointer != pointer);
        (!faults.is_empty()).then(|| Self::faults(faults))
    }

    /// 422 with one fault.
    pub fn fault(pointer: impl Into<String>, sentence: Sentence) -> Self {
        Self::faults(vec![Fault::new(pointer, sentence)])
    }
}

impl From<Refusal> for Failure {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(refusal)
    }
}

impl From<Denied> for Failure {
    fn from(denied: Denied) -> Self {
        Self::Refused(match denied {
            Denied::NotSignedIn => Refusal::NotSignedIn,
            Denied::NotAllowed => Refusal::NotAllowed(Sentence::new("not_allowed")),
        })
    }
}
