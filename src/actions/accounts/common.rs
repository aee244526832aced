//! Passwords that are guessed first, of ten characters and more: 10,754 of two lists that are kept
//! elsewhere (`common_passwords.txt.gz`, whose head names them and their licences), and a few of our
//! own that such lists do not have. Shorter ones are refused for their length.
//!
//! OWASP ASVS 5.0.0 §6.2.4 asks for the first 3,000 that a password's rules let through. The file is
//! made, and held against its sources, by `tests/outside/common_passwords.py`.

use std::collections::HashSet;
use std::io::Read;
use std::sync::LazyLock;

const PACKED: &[u8] = include_bytes!("common_passwords.txt.gz");

/// Of the trade, of the season, and spellings that the lists lack.
const OURS: &[&str] = &[
    "changeme123",
    "correcthorsebatterystaple",
    "leaderboard",
    "mypassword1",
    "p@ssw0rd123",
    "p@ssword123",
    "passw0rd123",
    "summer2026",
    "summer2027",
    "tallywright",
    "welcome1234",
    "winter2026",
    "winter2027",
    "workout123",
    "zxcvbnm,./",
];

static ALL: LazyLock<HashSet<String>> = LazyLock::new(|| {
    let mut text = String::new();
    flate2::read::GzDecoder::new(PACKED).read_to_string(&mut text).expect("the list that is built in unpacks");
    let listed = text.lines().skip_while(|line| line.starts_with("# "));
    listed.chain(OURS.iter().copied()).map(str::to_owned).collect()
});

/// Whether a password, folded to lower case, is one of them.
pub(super) fn is_common(folded: &str) -> bool {
    ALL.contains(folded)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_three_thousand_that_are_long_enough_are_there_and_nothing_shorter() {
        let least = super::super::LEAST;
        assert_eq!(ALL.len(), 10_754 + OURS.len(), "no word of ours stands in the lists");
        assert!(ALL.iter().all(|word| word.chars().count() >= least && *word == word.to_lowercase()));
        // From the middle and the ends of the lists, and what looks like one of them.
        for common in ["qwertyuiop", "1234567890", "christopher", "liverpool1", "fallen_angel", "summer2026"] {
            assert!(is_common(common), "{common}");
        }
        for other in ["three old oars", "# common passwords", "", "qwertyuioq"] {
            assert!(!is_common(other), "{other}");
        }
    }
}
