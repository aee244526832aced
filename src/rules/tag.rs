//! The tag of one state of something that changes: its place in the log, and what it then was.
//!
//! A place alone is not enough. A database that was put back to an earlier state goes on with other
//! records at the same places: who has seen what stood there before must not change what stands
//! there now.

use serde::Serialize;
use sha2::{Digest, Sha256};
use std::fmt;
use std::str::FromStr;

/// How much of a digest is enough to tell two states of the same place apart.
const MARK: usize = 6;

/// A state that somebody has seen. Written `8812-5f0c1a9be2d3`.
///
/// ```
/// use tallywright::rules::tag::Tag;
/// let seen = Tag::of(8812, &"6+14");
/// assert_eq!(seen.to_string().parse(), Ok(seen));
/// assert_ne!(seen, Tag::of(8813, &"6+14"));
/// assert_ne!(seen, Tag::of(8812, &"6+15"));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tag {
    /// Log position of the last change.
    pub seq: u64,
    mark: [u8; MARK],
}

impl Tag {
    /// Of what holds since the record at `seq`.
    ///
    /// # Panics
    /// When `state` is nothing that JSON has: no type of ours.
    #[must_use]
    #[expect(clippy::expect_used, reason = "derived of texts, numbers and lists, which always serialize")]
    pub fn of(seq: u64, state: &impl Serialize) -> Self {
        let json = serde_json::to_vec(state).expect("texts, numbers and lists always serialize");
        let digest: [u8; 32] = Sha256::digest(json).into();
        let mut mark = [0; MARK];
        mark.copy_from_slice(&digest[..MARK]);
        Self { seq, mark }
    }
}

impl fmt::Display for Tag {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-{}", self.seq, hex::encode(self.mark))
    }
}

/// A text that is none of our tags.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoTag;

impl FromStr for Tag {
    type Err = NoTag;

    /// Only as we write it: another way of writing the same is another tag.
    fn from_str(text: &str) -> Result<Self, NoTag> {
        let (seq, digits) = text.split_once('-').ok_or(NoTag)?;
        let mut mark = [0; MARK];
        hex::decode_to_slice(digits, &mut mark).map_err(|_| NoTag)?;
        let tag = Self { seq: seq.parse().map_err(|_| NoTag)?, mark };
        if tag.to_string() == text { Ok(tag) } else { Err(NoTag) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_we_write_is_a_tag() {
        assert!("7-0a0b0c0d0e0f".parse::<Tag>().is_ok());
        let others =
            ["7", "7-", "-0a0b0c0d0e0f", "07-0a0b0c0d0e0f", "+7-0a0b0c0d0e0f", "7-0A0B0C0D0E0F", "7-0a0b0c0d0e", "v3"];
        for other in others {
            assert_eq!(other.parse::<Tag>(), Err(NoTag), "{other}");
        }
    }
}
