//! Answers kept by key, so that a request sent twice is done once.

/// A request that may be sent again: the same key, account, method, path and body is answered
/// with the first committed answer for 48 h; the same key with another of them is refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Idempotency {
    /// Whose. Keys of different accounts never meet.
    pub account: i64,
    /// As sent, without quotes.
    pub key: String,
    /// Upper case.
    pub method: String,
    /// Path and query.
    pub path: String,
    /// SHA-256 of the body's bytes.
    pub body_digest: [u8; 32],
}
