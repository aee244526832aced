//! What surrounds a write whatever it is about: when it came, what state its sender had seen,
//! and the key under which a repeat is recognised.

use crate::rules::ledger::Precondition;
use jiff::Timestamp;

/// What surrounds a write.
#[derive(Clone, Debug)]
pub struct Request {
    /// When the request's head was read.
    pub received: Timestamp,
    /// What state the sender has seen.
    pub precondition: Precondition,
    /// Under which key a repeat is recognised.
    pub idempotency: Option<IdempotencyKey>,
}

/// A key, and the request it stands for: the same account, method, path and body.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct IdempotencyKey {
    /// As sent, without quotes.
    pub key: String,
    /// SHA-256 over method, path with query, content type and body.
    pub fingerprint: [u8; 32],
}

impl Request {
    /// A write that came at `received`, with nothing else said.
    #[must_use]
    pub fn at(received: Timestamp) -> Self {
        Self { received, precondition: Precondition::None, idempotency: None }
    }

    /// The same, of a sender who has seen `precondition`.
    #[must_use]
    pub fn having_seen(mut self, precondition: Precondition) -> Self {
        self.precondition = precondition;
        self
    }
}

/// Which score.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScorePath {
    /// Competition slug.
    pub competition: String,
    /// Workout slug.
    pub workout: String,
    /// Whose.
    pub bib: u32,
}
