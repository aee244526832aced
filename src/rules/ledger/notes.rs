//! Free text that stands apart from the log, numbered and committed to as a decision is made.

use crate::rules::event::NoteRef;
use crate::rules::fault::Fault;
use crate::rules::people::is_unshown;
use crate::words::Sentence;
use sha2::{Digest, Sha256};

/// Longest free text, in characters.
pub const LONGEST_NOTE: usize = 2_000;

/// Gives out note numbers and salts within one decision.
pub(super) struct Notes {
    last: u64,
    salt: [u8; 32],
    bib: Option<u32>,
    taken: Vec<(u64, String, [u8; 32], Option<u32>)>,
}

impl Notes {
    pub fn after(last: u64, salt: [u8; 32], bib: Option<u32>) -> Self {
        Self { last, salt, bib, taken: Vec::new() }
    }

    /// Keeps `text` apart and returns what the log may have of it.
    pub fn keep(&mut self, text: &str) -> NoteRef {
        self.last += 1;
        let salt = derived_salt(&self.salt, self.last);
        let reference = NoteRef { id: self.last, commitment: commitment(&salt, text) };
        self.taken.push((self.last, text.to_owned(), salt, self.bib));
        reference
    }

    pub fn into_taken(self) -> Vec<(u64, String, [u8; 32], Option<u32>)> {
        self.taken
    }
}

/// A salt for one number out of the random bytes of a request.
pub(super) fn derived_salt(salt: &[u8; 32], number: u64) -> [u8; 32] {
    Sha256::new().chain_update(salt).chain_update(number.to_be_bytes()).finalize().into()
}

/// Hex SHA-256 of salt and text.
#[must_use]
pub fn commitment(salt: &[u8; 32], text: &str) -> String {
    hex::encode(Sha256::new().chain_update(salt).chain_update(text.as_bytes()).finalize())
}

/// A compulsory free text: there, not too long, without what cannot be shown.
pub(super) fn check_text(pointer: &str, text: &str, compulsory: bool) -> Result<(), Fault> {
    let said = text.trim();
    if compulsory && said.is_empty() {
        return Err(Fault::new(pointer, Sentence::new("reason_missing")));
    }
    if said.chars().count() > LONGEST_NOTE {
        return Err(Fault::new(pointer, Sentence::new("text_too_long").with("most", LONGEST_NOTE)));
    }
    if said.chars().any(|c| is_unshown(c) && !matches!(c, '\n' | '\r' | '\t')) {
        return Err(Fault::new(pointer, Sentence::new("control_characters")));
    }
    Ok(())
}
